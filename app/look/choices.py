"""What the user chose of how values are shown; one choice for the whole application.  No Qt here.

Like the palette it is the application's, not a widget's: every picture of one value has to agree.
"""

from __future__ import annotations

from dataclasses import dataclass

from .tokens import DARK, GREYS, LIGHT, REDS

MOST_DECIMALS = 6

MAPS = {
    "blue": ("Yellow to blue", LIGHT.values, DARK.values),
    "red": ("Yellow to red", *REDS),
    "grey": ("Greys", *GREYS),
}
"""Maps for values by the name they are kept under: what they are called, light and dark anchors."""


@dataclass(frozen=True)
class Choices:
    """How values are shown.

    Parameters
    ----------
    values : str
        A key of `MAPS`.
    decimals : int or None
        Decimals that every number of the grid has at least; None for those of its storage.
    """

    values: str = "blue"
    decimals: int | None = None


FIRST = Choices()
_now = FIRST


def chosen() -> Choices:
    """Return what is chosen now."""
    return _now


def choose(choices: Choices) -> bool:
    """Choose something else; returns whether it differs from before."""
    global _now  # the application's, as its palette is
    before, _now = _now, choices
    return before != choices


def value_anchors(*, dark: bool) -> tuple[str, ...]:
    """Return the anchors of the chosen map for values, lowest first."""
    _, light, deep = MAPS[_now.values]
    return deep if dark else light
