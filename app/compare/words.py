"""What the work area calls things: how a table stands in the edited set and in the reference."""

from __future__ import annotations

from calib_model.compare import State, TableComparison
from calib_model.core.numbers import short, with_unit

STATES = {
    State.SAME: "same",
    State.ROUNDING: "only by rounding",
    State.BELOW: "below threshold",
    State.CHANGED: "changed",
    State.STORAGE_DIFFERS: "storage differs",
    State.AXES_DIFFER: "axes differ",
    State.UNITS_DIFFER: "units differ",
    State.ONLY_FIRST: "only in reference",
    State.ONLY_SECOND: "only in edited set",
}
SIGNS = {
    State.SAME: "=",
    State.ROUNDING: "≈",
    State.BELOW: "<",
    State.CHANGED: "≠",
    State.STORAGE_DIFFERS: "s",
    State.AXES_DIFFER: "↔",
    State.UNITS_DIFFER: "u",
    State.ONLY_FIRST: "\N{MINUS SIGN}",
    State.ONLY_SECOND: "+",
}
"""One sign for each state, so that a list can be read down its edge."""


def signed(value: float, unit: str = "", digits: int = 5) -> str:
    """Return a difference with its sign: ``+15 N·m``, ``−0.5``; zero has none."""
    sign = "+" if value > 0 else ""
    return sign + (with_unit(value, unit, digits) if unit else short(value, digits))


def counted(number: int, what: str) -> str:
    """Return a number with its noun: ``1 cell``, ``4 cells``."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def in_short(pair: TableComparison) -> str:
    """Return state and extent of a difference in a few words."""
    parts = [STATES[pair.state]]
    if pair.cells_changed:
        what = "point" if pair.state is State.AXES_DIFFER else "cell"
        parts.append(counted(pair.cells_changed, what))
    fields = dict.fromkeys(f.field for f in pair.fields)
    if fields:
        named = list(fields)
        more = f" and {len(named) - 2} more" if len(named) > 2 else ""
        parts.append(", ".join(named[:2]) + more)
    return ", ".join(parts)
