"""Better or worse: said in words with a mark, so that no colour is needed to tell."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib_model.core.numbers import short
from calib_model.core.units import shown

if TYPE_CHECKING:
    from calib_model.vehicle.metrics import Metric

DIRECTION = {
    "lower": "↓ lower is better",
    "higher": "↑ higher is better",
    "neither": "neither is better",
}
SAME_SHARE = 1e-4
"""Differences below this share of the value do not show in the four digits that are written."""
NOTHING = 1e-9
"""Sizes below this are rounding of a zero."""


@dataclass(frozen=True)
class Verdict:
    """How a value stands against another.

    Parameters
    ----------
    kind : str
        ``better``, ``worse``, ``same``, ``other`` (changed, where neither is better) or
        ``unknown``.
    change : float
        New less old; NaN if one of them is not known.
    """

    kind: str
    change: float

    @property
    def mark(self) -> str:
        """A sign of its own for each kind."""
        return {"better": "✓", "worse": "✗", "same": "=", "other": "≠"}.get(self.kind, "?")

    @property
    def words(self) -> str:
        """The mark with its word; empty if nothing can be said."""
        word = {"better": "better", "worse": "worse", "same": "same", "other": "changed"}
        return f"{self.mark} {word[self.kind]}" if self.kind in word else ""


def judge(measure: Metric, old: float, new: float) -> Verdict:
    """Return how `new` stands against `old`."""
    if not (math.isfinite(old) and math.isfinite(new)):
        return Verdict("unknown", math.nan)
    change = new - old
    rounding = max(SAME_SHARE * max(abs(old), abs(new)), NOTHING)
    if abs(change) <= rounding or abs(change) < measure.floor:
        return Verdict("same", 0.0)
    if measure.better == "neither":
        return Verdict("other", change)
    return Verdict("better" if (change < 0) == (measure.better == "lower") else "worse", change)


def within(measure: Metric, value: float, limit: float) -> bool | None:
    """Tell whether a value keeps a limit; None if that cannot be said.

    Where lower is better (or neither is) the limit is the most that is allowed, where higher is
    better the least.
    """
    if not (math.isfinite(value) and math.isfinite(limit)):
        return None
    return value >= limit if measure.better == "higher" else value <= limit


def number(value: float, unit: str = "", digits: int = 4) -> str:
    """Return a measure for reading, with four digits; a dash for none."""
    if math.isnan(value):
        return "–"
    label = shown(unit)
    text = short(value if abs(value) > NOTHING else 0.0, digits)
    return text + label if label in ("°", "′", "″") else f"{text} {label}".strip()


def signed(value: float, unit: str = "") -> str:
    """Return a difference for reading, with its sign."""
    if math.isnan(value):
        return ""
    text = number(abs(value), unit, 3)
    return f"+{text}" if value > 0 else f"\N{MINUS SIGN}{text}" if value < 0 else f"±{text}"


def limit_words(measure: Metric, limit: float) -> str:
    """Return a limit with its direction, such as ``≤ 6 km/h``."""
    if not math.isfinite(limit):
        return ""
    return f"{'≥' if measure.better == 'higher' else '≤'} {number(limit)}"
