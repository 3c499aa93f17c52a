"""What the headings above a block say of its table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from .grid import EMPTY, Grid
from .said import headed, id_said, is_id, is_unit, unit_said

LONGEST_NAME = 120
_KEYS = {
    "id": "id", "table": "id", "name": "name", "long name": "name", "unit": "unit",
    "units": "unit", "function": "function", "group": "function", "function group": "function",
    "description": "description", "comment": "description", "storage": "storage",
}  # fmt: skip


@dataclass(frozen=True)
class Heading:
    """What was said of a table.

    Parameters
    ----------
    id, name : str
        Empty where it was not said.
    unit : str or None
    columns : str
        A text right above the breakpoints of the columns; empty if there is none.
    said : dict
        Further settings (function, description, storage), as texts.
    """

    id: str = ""
    name: str = ""
    unit: str | None = None
    columns: str = ""
    said: dict[str, str] = field(default_factory=dict)


def heading_of(grid: Grid, heads: Sequence[int], left: int, right: int) -> Heading:
    """Return what rows of text above a block say.

    Parameters
    ----------
    grid : Grid
    heads : sequence of int
        Rows, the nearest last.
    left, right : int
        Columns of the block.
    """
    found = Heading()
    for number, row in enumerate(reversed(heads)):
        inside = [c for c in range(left, right) if grid.kinds[row, c] != EMPTY]
        columns = inside or [c for c in range(grid.kinds.shape[1]) if grid.kinds[row, c] != EMPTY]
        texts = [grid.text(row, column).lstrip("# ").strip() for column in columns]
        texts = [text for text in texts if text]
        if not texts:
            continue
        key = _KEYS.get(texts[0].rstrip(":").strip().lower())
        if key is not None and len(texts) == 2:
            found = _with(found, key, texts[1])
        elif (
            number == 0
            and len(inside) == 1
            and inside[0] > left
            and (right - left > 2 or not is_id(texts[0]))
        ):
            found = replace(found, columns=texts[0])
        elif not found.id and not found.name:
            found = _titled(found, texts)
    return found


def _with(found: Heading, key: str, text: str) -> Heading:
    if key == "id":
        return replace(found, id=id_said(text), name=found.name or ("" if is_id(text) else text))
    if key == "unit":
        return replace(found, unit=unit_said(text.strip("[]() ")))
    if key == "name":
        return replace(found, name=text)
    return replace(found, said={**found.said, key: text})


def _titled(found: Heading, texts: Sequence[str]) -> Heading:
    """Take a row as the table's title: ``id``, ``name [unit]``, or both, or with a unit behind."""
    first, unit = headed(texts[0])
    rest = list(texts[1:])
    if len(first) > LONGEST_NAME:
        return found
    id = first if is_id(first) else ""
    name = "" if id else first
    if id and rest:
        said, own = headed(rest[0])
        if not (own is None and is_unit(said) and len(rest) == 1):
            name, unit, rest = said, own if own is not None else unit, rest[1:]
    if rest and is_unit(rest[0].strip("[]() ")) and unit is None:
        unit = unit_said(rest[0].strip("[]() "))
    return replace(
        found,
        id=id,
        name="" if name == id else name,
        unit=unit if found.unit is None else found.unit,
    )
