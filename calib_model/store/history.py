"""The history of a set: compact columns, turned into plain data only when asked for.

An entry is the plain form of a change (`calib_model.editing.change.change_to_plain`).  Edits of
cell values lie in numeric columns; everything else is bounded JSON text.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise
from typing import Any

import numpy as np

from ..errors import ModelError
from .history_views import EntryViews
from .jsontext import JsonBudget, json_text, json_value
from .layout import COLUMNS, MAX_EDIT_BYTES, MAX_TEXT_BYTES, MOST_ROWS
from .structure import Columns, empty
from .texts import Array, fixed, in_pieces, joined, plain

Entry = Mapping[str, Any]

HISTORY_COLUMNS = tuple(
    c for c in COLUMNS if c.name.startswith("entry_") or c.name.split("_")[0] == "edit"
)
_NAMES = frozenset(c.name for c in HISTORY_COLUMNS)
MOST_BYTES = 128 << 20
"""Of all columns of a history together: half of what a file may unpack to."""
_ENTRY_TEXTS = ("title", "reason", "author", "time")


class HistoryColumns:
    """What was done to a set, oldest first.

    Parameters
    ----------
    columns : mapping of name to array, optional
        As read from a file; kept as it is and decoded on demand.
    """

    def __init__(self, columns: Mapping[str, Array] | None = None) -> None:
        given = columns or {}
        self._columns: Columns = {
            c.name: given.get(c.name, _nothing(c.name)) for c in HISTORY_COLUMNS
        }
        self._new: list[Entry] = []

    def __len__(self) -> int:
        return len(self._columns["entry_time"]) + len(self._new)

    def append(self, *entries: Entry) -> None:
        """Add entries in their plain form; they must not be changed afterwards."""
        self._new += entries

    def with_entries(self, entries: Iterable[Entry]) -> HistoryColumns:
        """Return a history with entries added; this one stays as it is."""
        longer = HistoryColumns(self._columns)
        longer._new = [*self._new, *entries]
        return longer

    def entries(self) -> Iterator[dict[str, Any]]:
        """Yield the entries in their plain form, oldest first.

        Raises
        ------
        ModelError
            If the recorded text of an entry is damaged.
        """
        yield from _decoded(self._columns)
        for entry in self._new:
            yield dict(entry)

    def views(self) -> list[Mapping[str, Any]]:
        """Return the entries as mappings that decode their edits when asked for, oldest first.

        A damaged text raises `ModelError` then.
        """
        return [*EntryViews(self._columns, _decoded)[:], *self._new]

    def require_text(self) -> None:
        """Raise ModelError unless every text is one; what it says is read when asked for."""
        for column in HISTORY_COLUMNS:
            if column.dtype == "S":
                try:
                    b"".join(self._columns[column.name].tolist()).decode()
                except UnicodeDecodeError:
                    raise ModelError(f"Column {column.name} is not valid UTF-8.") from None

    def columns(self) -> Columns:
        """Return everything as columns; the oldest entries are left out where it is too much.

        Raises
        ------
        ModelError
            If a text is too long to be kept.
        """
        if not self._new:
            return dict(self._columns)
        new = _encoded(self._new)
        if not len(self._columns["entry_time"]):
            return _shortened(new)
        return _shortened(_joined_columns(self._columns, new))

    def packed(self) -> HistoryColumns:
        """Return the same history with every entry in columns."""
        return HistoryColumns(self.columns()) if self._new else self


def _shortened(columns: Columns) -> Columns:
    """Leave out the oldest entries of a history that is more than a file may hold.

    The state of the set needs none of them, and a save that failed would lose far more.  What is
    left fills half of the room, so that this comes once in years, and begins with a note.
    """
    sizes = {c.name: columns[c.name].shape[0] for c in HISTORY_COLUMNS}
    if all(sizes[c.name] <= MOST_ROWS[c.dimensions[0]] for c in HISTORY_COLUMNS) and (
        sum(a.nbytes for a in columns.values()) <= MOST_BYTES
    ):
        return columns
    left_out = len(columns["entry_time"]) // 2 + 1
    while True:
        kept = _from_entry(columns, left_out)
        whole = _joined_columns(_encoded([_note_of(left_out)]), kept)
        if left_out >= len(columns["entry_time"]) or (
            all(2 * whole[c.name].shape[0] <= MOST_ROWS[c.dimensions[0]] for c in HISTORY_COLUMNS)
            and 2 * sum(a.nbytes for a in whole.values()) <= MOST_BYTES
        ):
            return whole
        left_out += (len(columns["entry_time"]) - left_out) // 2 + 1


def _note_of(left_out: int) -> Entry:
    return {"title": f"{left_out} older entries were left out: the history was full", "edits": []}


def _joined_columns(first: Columns, then: Columns) -> Columns:
    return {name: np.concatenate([first[name], then[name]]) for name in first}


def _from_entry(columns: Columns, first: int) -> Columns:
    """Return the columns from an entry on; each dimension begins where its counts say."""
    starts = {"entry": first}
    for column in HISTORY_COLUMNS:  # a count comes before what it counts
        if column.counts:
            before = columns[column.name][: starts[column.dimensions[0]]]
            starts[column.counts] = int(before.sum(dtype=np.int64))
    return {c.name: columns[c.name][starts[c.dimensions[0]] :] for c in HISTORY_COLUMNS}


def _nothing(name: str) -> Array:
    return empty(next(c for c in HISTORY_COLUMNS if c.name == name))


def _encoded(entries: list[Entry]) -> Columns:
    others = [
        {
            key: value
            for key, value in entry.items()
            if key != "edits" and not (key in _ENTRY_TEXTS and isinstance(value, str))
        }
        for entry in entries
    ]

    def where(row: int) -> str:
        return f"The {len(entries) - row}. last entry of the history"

    edits = [edit for entry in entries for edit in entry.get("edits", ())]
    columns = {
        "entry_time": fixed((_text(e, "time") for e in entries), where),
        "entry_author": fixed((_text(e, "author") for e in entries), where),
        "entry_edit_count": np.array([len(e.get("edits", ())) for e in entries], dtype="<i4"),
    }
    for name, texts in (
        ("entry_title", [_text(e, "title") for e in entries]),
        ("entry_reason", [_text(e, "reason") for e in entries]),
        ("entry_other", [json_text(o) if o else "" for o in others]),
    ):
        columns[f"{name}_count"], columns[f"{name}_text"] = in_pieces(texts, MAX_TEXT_BYTES, where)
    return columns | _encoded_edits(edits)


def _text(plain_data: Mapping[str, Any], key: str) -> str:
    value = plain_data.get(key, "")
    return value if isinstance(value, str) else ""


def _encoded_edits(edits: list[Mapping[str, Any]]) -> Columns:
    cells: list[int] = []
    before: list[float] = []
    after: list[float] = []
    counts: list[int] = []
    texts: list[str] = []
    for edit in edits:
        numeric = _is_numeric(edit)
        if numeric:
            cells += edit["cells"]
            before += map(float, edit["before"])
            after += map(float, edit["after"])
        counts.append(len(edit["cells"]) if numeric else 0)
        texts.append("" if numeric else json_text(edit))

    def where(row: int) -> str:
        return f"An edit of table {_text(edits[row], 'table') or '(new)'} in the history"

    text_counts, text_pieces = in_pieces(texts, MAX_EDIT_BYTES, where)
    return {
        "edit_kind": fixed((_text(e, "kind") for e in edits), where),
        "edit_table": fixed((_text(e, "table") for e in edits), where),
        "edit_cell_count": np.array(counts, dtype="<i4"),
        "edit_count": text_counts,
        "edit_text": text_pieces,
        "edit_cell_number": np.array(cells, dtype="<i4"),
        "edit_before": np.array(before, dtype="<f8"),
        "edit_after": np.array(after, dtype="<f8"),
    }


def _is_numeric(edit: Mapping[str, Any]) -> bool:
    return (
        set(edit) == {"kind", "table", "cells", "before", "after"}
        and edit["kind"] == "cells"
        and isinstance(edit["table"], str)
        and len(edit["cells"]) == len(edit["before"]) == len(edit["after"])
        and all(type(c) is int and 0 <= c < 2**31 for c in edit["cells"])
    )


def _decoded(columns: Columns) -> Iterator[dict[str, Any]]:
    times = plain(columns["entry_time"])
    authors = plain(columns["entry_author"])
    titles = _joined(columns, "entry_title")
    reasons = _joined(columns, "entry_reason")
    others = _joined(columns, "entry_other")
    budget = JsonBudget()
    edits = _decoded_edits(columns, budget)
    for row, count in enumerate(columns["entry_edit_count"].tolist()):
        entry: dict[str, Any] = {
            "title": titles[row],
            "reason": reasons[row],
            "author": authors[row],
            "time": times[row],
            "edits": [next(edits) for _ in range(count)],
        }
        if others[row]:
            entry |= _object(others[row], budget)
        yield entry


def _decoded_edits(columns: Columns, budget: JsonBudget) -> Iterator[dict[str, Any]]:
    texts = _joined(columns, "edit")
    kinds = plain(columns["edit_kind"])
    tables = plain(columns["edit_table"])
    ends = np.cumsum(columns["edit_cell_count"], dtype=np.int64).tolist()
    for row, (start, end) in enumerate(pairwise([0, *ends])):
        if texts[row]:
            yield _object(texts[row], budget)
        else:
            yield {
                "kind": kinds[row],
                "table": tables[row],
                "cells": columns["edit_cell_number"][start:end].tolist(),
                "before": _numbers(columns["edit_before"][start:end]),
                "after": _numbers(columns["edit_after"][start:end]),
            }


def _joined(columns: Columns, name: str) -> list[str]:
    return joined(columns[f"{name}_count"], columns[f"{name}_text"])


def _numbers(values: Array) -> list[float | str]:
    return [v if math.isfinite(v) else repr(v) for v in values.tolist()]


def _object(text: str, budget: JsonBudget) -> dict[str, Any]:
    value = json_value(text, MAX_EDIT_BYTES, budget)
    if not isinstance(value, dict):
        raise ModelError("An entry of the history is damaged.")
    return value
