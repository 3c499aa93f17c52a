"""What results on this desk can and cannot tell, in the words that every page shows."""

from __future__ import annotations

from html import escape

CAUTIONS = (
    "This is a desk aid. Its results do not replace tests with the vehicle.",
    "No table is safe because a check here found nothing.",
    "Try changes out on a closed course, with trained drivers, and with a way back.",
    "The functional-safety process of the vehicle (ISO 26262) decides what may be released.",
    "Local codes and the judgement of licensed practitioners come first.",
)
LINE = (
    "Desk aid: verify on a closed course with trained drivers; the functional-safety process "
    "(ISO 26262), local codes and licensed practice come first."
)
"""The cautions in one line, for the lower edge of a work area."""


def cautions_html() -> str:
    """Return the cautions as a heading and a list."""
    return "<h3>Cautions</h3><ul>" + "".join(f"<li>{escape(c)}</li>" for c in CAUTIONS) + "</ul>"
