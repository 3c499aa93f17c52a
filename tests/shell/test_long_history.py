"""The list of a long history opens without reading all of it."""

from __future__ import annotations

import pytest
from PySide6.QtWidgets import QWidget

from app.compare.earlier import EarlierDialog, _States
from app.desk import Desk
from app.shell.history_dialog import SLICE, HistoryDialog, HistoryModel
from calib_model.session.document import Document
from calib_model.session.history import entries_of
from calib_model.store import HistoryColumns, history
from tests.store.making import entries, small_set

COUNT = 5 * SLICE


@pytest.fixture
def document() -> Document:
    made = Document(small_set(), None, author="A. Calibrator")
    made.history = HistoryColumns().with_entries(entries(COUNT)).packed()
    return made


@pytest.fixture
def decoded(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many entries were decoded, each time."""
    counts: list[int] = []
    real = history._decoded

    def counted(columns):  # type: ignore[no-untyped-def]
        counts.append(len(columns["entry_time"]))
        return real(columns)

    monkeypatch.setattr(history, "_decoded", counted)
    return counts


def test_only_the_chosen_entry_is_decoded(qtbot, document: Document, decoded: list[int]) -> None:
    desk = Desk()
    desk.add(document)
    desk.set_current(document)
    parent = QWidget()
    qtbot.addWidget(parent)
    dialog = HistoryDialog(desk, parent)
    assert dialog.model.rowCount() == COUNT
    dialog.show()
    qtbot.waitExposed(dialog)
    assert set(decoded) == {1}
    assert len(decoded) < 20
    assert f"Edit number {COUNT - 1}" in dialog.details.toPlainText()
    dialog.line.setText(f"number {COUNT - 7}")
    assert [dialog.model.entry(0).title, dialog.model.rowCount()] == [f"Edit number {COUNT - 7}", 1]
    assert set(decoded) == {1}
    assert len(decoded) < 40
    dialog.line.clear()
    assert dialog.model.rowCount() == COUNT


def test_texts_to_search_in_are_made_a_few_at_a_time(qtbot, document: Document) -> None:
    model = HistoryModel(entries_of(document))
    assert not model._texts
    qtbot.waitUntil(lambda: len(model._texts) == COUNT)
    assert not model._timer.isActive()


def test_earlier_states_are_worded_when_they_are_seen(
    qtmodeltester, document: Document, decoded: list[int]
) -> None:
    states = _States(entries_of(document), modified=True)
    assert states.rowCount() == COUNT + 1
    assert states.index(0).data() == "As opened or last saved"
    assert f"Before “Edit number {COUNT - 1}”" in states.index(1).data()
    assert decoded == []
    qtmodeltester.check(_States(entries_of(document)[:3], modified=False))
    qtmodeltester.check(_States([], modified=False))


def test_the_list_of_earlier_states_is_drawn_at_once(qtbot, document: Document) -> None:
    dialog = EarlierDialog(document, None, lambda side: None, print)  # type: ignore[arg-type]
    qtbot.addWidget(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    image = dialog.states.viewport().grab().toImage()
    middle = image.width() // 4
    rows = {image.pixel(middle + dx, y) for y in range(0, image.height(), 2) for dx in range(8)}
    assert len(rows) > 3, "nothing but the background is drawn"
