"""The grid larger and smaller, and what a typed sum gives while it is typed."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.desk import Desk
from app.grid.entry_hint import EntryHint, outcome_words
from app.grid.panel import GridPanel
from calib_model.core.axis import Axis
from calib_model.core.table import Table


def turn(panel: GridPanel, by: int, held: Qt.KeyboardModifier) -> None:
    event = QWheelEvent(
        QPointF(60, 60), QPointF(60, 60), QPoint(), QPoint(0, by), Qt.MouseButton.NoButton,
        held, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(panel.view.viewport(), event)


def test_ctrl_and_the_wheel_zoom(panel: GridPanel) -> None:
    view = panel.view
    size, row = view.fontMetrics().height(), view.rowHeight(0)
    turn(panel, 120, Qt.KeyboardModifier.ControlModifier)
    turn(panel, 120, Qt.KeyboardModifier.ControlModifier)
    assert view.fontMetrics().height() > size
    assert view.minimumSizeHint().height() > 0
    turn(panel, 120, Qt.KeyboardModifier.NoModifier)  # scrolls
    for _ in range(20):
        turn(panel, 120, Qt.KeyboardModifier.ControlModifier)
    largest = view.fontMetrics().height()
    assert size * 1.8 < largest <= size * 2.2
    view.zoom_by(0)
    assert (view.fontMetrics().height(), view.rowHeight(0)) == (size, row)


TABLE = Table("m", [[10.0, np.nan]], (Axis([0]), Axis([0, 1])), "M", "N.m")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("60", ""),
        ("-5", ""),
        ("", ""),
        ("*1.1", "= 11 N·m"),
        ("+5", "= 15 N·m"),
        ("+3%", "= 10.3 N·m"),
        ("=2*30", "= 60 N·m"),
        ("=x-5", "= 5 N·m"),
    ],
)
def test_a_sum_says_what_it_gives(text: str, said: str) -> None:
    assert outcome_words(TABLE, (0, 0), text) == said


@pytest.mark.parametrize("text", ["=", "*", "=2*", "+"])
def test_an_incomplete_sum_says_what_can_be_typed(text: str) -> None:
    assert "*1.1" in outcome_words(TABLE, (0, 0), text)


def test_the_hint_stands_at_the_cell_while_typing(panel: GridPanel, desk: Desk) -> None:
    QTest.keyClicks(panel.view, "*")
    QTest.keyClicks(panel.view.editor, "2")
    (hint,) = panel.view.findChildren(EntryHint)
    assert desk.table is not None
    assert hint.text() == f"= {desk.table.said(2 * float(desk.table.values[desk.cursor]), 9)}"
    assert not hint.isHidden()
    assert not hint.geometry().intersects(panel.view.editor.geometry())
    QTest.keyClick(panel.view.editor, Qt.Key.Key_Escape)
    QTest.qWait(1)
    QApplication.sendPostedEvents(None, 52)  # deferred deletion
    assert panel.view.findChildren(EntryHint) == []
