"""What results on a desk can and cannot tell: the words that every face of the program shows."""

from __future__ import annotations

from html import escape

__all__ = ["ESTIMATES", "LINE", "POINTS", "as_html"]

POINTS = (
    "This is a desk aid. Its results do not replace tests with the vehicle.",
    (
        "What a check finds, or does not find, says nothing about safety: checks know only the "
        "rules that were written down."
    ),
    (
        "Unintended or stuck rear-axle torque at speed, and unintended braking of one wheel, are "
        "hazards."
    ),
    "Changes are verified on a closed course, by trained drivers, and with a way back.",
    (
        "The organisation's functional-safety process (ISO 26262, in particular its part on "
        "configuration and calibration data), local codes and licensed practice come first."
    ),
)
"""Every caution, where there is room to read: reports, the Help menu, empty pages."""

LINE = (
    "Desk aid: verify on a closed course with trained drivers; the functional-safety process "
    "(ISO 26262), local codes and licensed practice come first."
)
"""The cautions in one line: the lower edge of a work area, the end of a verb's output."""

ESTIMATES = " ".join((POINTS[0], *POINTS[2:]))
"""What goes with estimates of what a vehicle will do."""


def as_html(*more: str, heading: str = "h3") -> str:
    """Return the cautions as a heading and a list.

    Parameters
    ----------
    more : str
        Plain text that the page at hand has to add.
    heading : str, optional
        Element of the heading.
    """
    points = "".join(f"<li>{escape(point)}</li>" for point in (*POINTS, *more))
    return f"<{heading}>Cautions</{heading}><ul>{points}</ul>"
