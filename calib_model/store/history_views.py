"""Entries of a history that are decoded one by one, when they are asked for.

A history of 100,000 entries takes seconds to decode and a moment to list: who scrolls through it
sees a few dozen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, overload

import numpy as np

from ..errors import ModelError
from .texts import Array

WALK, CELLS = 256, 50_000
"""So many entries, and cells in them, are decoded together for who walks from one to the next."""
Decoder = Any
"""Called with columns that hold one entry; see `calib_model.store.history`."""


class EntryViews(Sequence[Mapping[str, Any]]):
    """The entries in columns, as plain mappings.

    Parameters
    ----------
    columns : mapping of name to array
        As `HistoryColumns` holds them.
    decode : callable
        Returns the entries in columns, given like `columns`.
    """

    def __init__(self, columns: Mapping[str, Array], decode: Decoder) -> None:
        self._columns = columns
        self._decode = decode
        self._last = -2
        self._block: dict[int, dict[str, Any]] = {}
        self._edits = _starts(columns["entry_edit_count"])
        self._cells = _starts(columns["edit_cell_count"])
        self._pieces = {
            name: _starts(columns[f"{name}_count"])
            for name in ("entry_title", "entry_reason", "entry_other", "edit")
        }

    def __len__(self) -> int:
        return len(self._columns["entry_time"])

    @overload
    def __getitem__(self, row: int) -> EntryView: ...
    @overload
    def __getitem__(self, row: slice) -> list[EntryView]: ...
    def __getitem__(self, row: int | slice) -> EntryView | list[EntryView]:
        if isinstance(row, slice):
            return [EntryView(self, number) for number in range(*row.indices(len(self)))]
        return EntryView(self, range(len(self))[row])

    def text(self, key: str, row: int) -> str:
        """Return one of the texts that every entry has."""
        name = f"entry_{key}"
        if name not in self._pieces:
            return str(self._columns[name][row].decode())
        start, end = self._pieces[name][row : row + 2]
        return b"".join(self._columns[f"{name}_text"][start:end].tolist()).decode()

    def whole(self, row: int) -> dict[str, Any]:
        """Return an entry in its plain form.

        Raises
        ------
        ModelError
            If its recorded text is damaged.
        """
        near = abs(row - self._last) == 1
        step, self._last = row - self._last, row
        if near and row not in self._block:  # a walk: what comes next is decoded with it
            try:
                self._block = self._together(self._stretch(row, step))
            except ModelError:  # of another one, which is told when it is asked for
                self._block = {}
        found = self._block.get(row)
        return dict(found or self._together(range(row, row + 1))[row])

    def _stretch(self, row: int, step: int) -> range:
        """Return the rows that a walk comes to next, as many as hold a bounded number of cells."""
        cells, size = self._cells_upto, WALK
        while size:
            rows = range(row, min(row + size, len(self)))
            if step < 0:
                rows = range(max(row - size + 1, 0), row + 1)
            if cells(rows.stop) - cells(rows.start) <= CELLS:
                return rows
            size //= 2
        return range(row, row + 1)

    def _cells_upto(self, row: int) -> int:
        return self._cells[self._edits[row]]

    def _together(self, rows: range) -> dict[int, dict[str, Any]]:
        """Decode neighbouring entries."""
        own = slice(rows.start, rows.stop)
        edits = slice(self._edits[own.start], self._edits[own.stop])
        cells = slice(self._cells[edits.start], self._cells[edits.stop])
        parts = {"entry": own, "edit": edits, "cell": cells}
        for name, starts in self._pieces.items():
            owner = edits if name == "edit" else own
            parts[f"{name}_text"] = slice(starts[owner.start], starts[owner.stop])
        found = self._decode(
            {name: column[parts[_rows_of(name)]] for name, column in self._columns.items()}
        )
        return dict(zip(rows, found, strict=True))


class EntryView(Mapping[str, Any]):
    """One entry; its edits are decoded when asked for, in a walk with those of the next."""

    __slots__ = ("_row", "_views")

    def __init__(self, views: EntryViews, row: int) -> None:
        self._views = views
        self._row = row

    def __getitem__(self, key: str) -> Any:
        if key in ("title", "reason", "author", "time"):
            return self._views.text(key, self._row)
        return self._views.whole(self._row)[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._views.whole(self._row))

    def __len__(self) -> int:
        return len(self._views.whole(self._row))

    def keys(self) -> Any:
        """Return the keys and, through them, what a copy needs; decodes once, not per key."""
        return self._views.whole(self._row).keys()

    def items(self) -> Any:
        """Return keys and values, decoded once."""
        return self._views.whole(self._row).items()


def _starts(counts: Array) -> list[int]:
    return [0, *np.cumsum(counts, dtype=np.int64).tolist()]


def _rows_of(column: str) -> str:
    """Return what a column has a row for."""
    if column in ("edit_cell_number", "edit_before", "edit_after"):
        return "cell"
    return column if column.endswith("_text") else column.split("_")[0]
