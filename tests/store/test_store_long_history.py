"""A long history is listed without being decoded, and read entry by entry."""

from __future__ import annotations

import pytest

from calib_model.errors import ModelError
from calib_model.store import HistoryColumns, history, history_views
from tests.store.making import entries


def packed(count: int) -> HistoryColumns:
    return HistoryColumns().with_entries(entries(count)).packed()


def test_what_is_seen_one_by_one_is_what_is_read_at_once() -> None:
    found = packed(40).with_entries(entries(2))
    views = found.views()
    assert len(views) == len(found) == 42
    whole = list(found.entries())
    assert [dict(view) for view in views] == whole
    assert all(view == entry for view, entry in zip(views, whole, strict=True))
    for view, entry in zip(views, whole, strict=True):
        assert [view[k] for k in ("title", "reason", "author", "time")] == [
            entry[k] for k in ("title", "reason", "author", "time")
        ]
        assert (view.get("note"), "note" in view) == (entry.get("note"), "note" in entry)
    assert packed(0).views() == []


def test_listing_decodes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    found = packed(500)
    decoded: list[int] = []
    real = history._decoded

    def counted(columns):  # type: ignore[no-untyped-def]
        decoded.append(len(columns["entry_time"]))
        return real(columns)

    monkeypatch.setattr(history, "_decoded", counted)
    views = found.views()
    assert [view["title"] for view in views] == [f"Edit number {n}" for n in range(500)]
    assert decoded == []
    assert views[321]["edits"][0]["after"] == [321.0, 36.5]
    assert decoded == [1]


def test_a_damaged_entry_is_told_when_it_is_read() -> None:
    columns = packed(3).columns()
    texts = columns["edit_text"].copy()
    texts[0] = b"{no JSON"
    columns["edit_text"] = texts
    views = HistoryColumns(columns).views()
    assert views[0]["title"] == "Edit number 0"
    with pytest.raises(ModelError, match="not the JSON"):
        views[0]["edits"]
    assert views[1]["edits"]


@pytest.mark.parametrize("backwards", [False, True])
def test_who_walks_through_has_what_comes_next_decoded_with_it(
    monkeypatch: pytest.MonkeyPatch, backwards: bool
) -> None:
    found = packed(600)
    decoded: list[int] = []
    real = history._decoded

    def counted(columns):  # type: ignore[no-untyped-def]
        decoded.append(len(columns["entry_time"]))
        return real(columns)

    whole = list(found.entries())
    monkeypatch.setattr(history, "_decoded", counted)
    views = found.views()
    order = range(599, -1, -1) if backwards else range(600)
    for number in order:
        assert views[number]["edits"] == whole[number]["edits"]
    assert len(decoded) <= 5
    assert max(decoded) <= history_views.WALK


def test_a_walk_decodes_no_more_than_so_many_cells_at_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(history_views, "CELLS", 7)
    found = packed(40)
    whole = list(found.entries())
    assert [view["edits"] for view in found.views()] == [entry["edits"] for entry in whole]


def test_a_damaged_entry_on_the_way_is_told_at_its_place() -> None:
    columns = packed(30).columns()
    texts = columns["edit_text"].copy()
    texts[len(texts) // 2] = b"{no JSON"
    columns["edit_text"] = texts
    told = []
    for number, view in enumerate(HistoryColumns(columns).views()):
        try:
            assert view["edits"]
        except ModelError:
            told.append(number)
    assert len(told) == 1
