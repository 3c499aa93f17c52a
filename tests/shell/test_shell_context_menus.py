"""What the palette knows of a thing, a menu at the thing itself knows too: by mouse and by key."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QContextMenuEvent
from PySide6.QtWidgets import QAbstractItemView, QApplication, QWidget

from app.shell.actions import all_actions
from app.shell.context_contents import CONTENTS
from app.shell.window import MainWindow
from tests.waiting import settled

pytestmark = pytest.mark.qt_log_ignore("This plugin does not support", extend=True)  # pop-ups


def right_click(window: MainWindow, widget: QWidget, point: QPoint) -> list[str]:
    """What Qt does on a right click that no widget takes: the window hears of it."""
    place = widget.mapToGlobal(point)
    assert QApplication.widgetAt(place) is not None
    event = QContextMenuEvent(QContextMenuEvent.Reason.Mouse, window.mapFromGlobal(place), place)
    QApplication.sendEvent(window, event)
    return opened_menu(window)


def opened_menu(window: MainWindow) -> list[str]:
    menu = window.context.menu
    if menu is None or not menu.isVisible():
        return []
    ids = [a.objectName() for a in menu.actions() if not a.isSeparator()]
    assert menu.actions()[0].isSeparator() is False
    assert menu.actions()[-1].isSeparator() is False
    menu.close()
    return ids


def wanted(thing: str) -> list[str]:
    return [id for id in CONTENTS[thing] if id != "-"]


@pytest.fixture
def tune(opened: MainWindow, qtbot):  # type: ignore[no-untyped-def]
    opened.resize(1366, 768)
    opened.show()
    opened.desk.open_table("pre_engage_torque")
    settled(qtbot, opened)
    assert opened.tune is not None
    return opened.tune


def test_every_entry_is_an_action() -> None:
    ids = {row.id for row in all_actions()}
    for thing, entries in CONTENTS.items():
        listed = [id for id in entries if id != "-"]
        assert set(listed) <= ids, thing
        assert len(listed) == len(set(listed)), thing


def test_a_right_click_goes_to_the_cell_first(opened: MainWindow, tune) -> None:  # type: ignore[no-untyped-def]
    grid = tune.grid
    opened.desk.set_cursor((0, 0))
    rect = grid.visualRect(grid.grid.index(3, 4))
    assert right_click(opened, grid.viewport(), rect.center()) == wanted("cell")
    assert opened.desk.cursor == (3, 4)
    # Within a selection the selection stays: the menu is for all of it.
    grid.selectAll()
    everything = opened.desk.selection.copy()
    right_click(opened, grid.viewport(), rect.center())
    assert (opened.desk.selection == everything).all()


def test_a_header_goes_to_its_breakpoint(opened: MainWindow, tune) -> None:  # type: ignore[no-untyped-def]
    across, down = tune.grid.headers
    opened.desk.set_cursor((1, 1))
    at = QPoint(across.sectionViewportPosition(5) + 8, across.height() - 6)
    assert right_click(opened, across.viewport(), at) == wanted("axis across")
    assert opened.desk.cursor == (1, 5)
    at = QPoint(down.width() - 12, down.sectionViewportPosition(4) + 6)
    assert right_click(opened, down.viewport(), at) == wanted("axis down")
    assert opened.desk.cursor == (4, 5)


def test_a_row_of_the_list_opens_its_table(opened: MainWindow, tune) -> None:  # type: ignore[no-untyped-def]
    view, rows = tune.table_list.view, tune.table_list.rows
    row = next(n for n in range(rows.rowCount()) if (t := rows.table_at(n)) is not None
               and t.id != "pre_engage_torque")  # fmt: skip
    rect = view.visualRect(rows.index(row))
    assert right_click(opened, view.viewport(), rect.center()) == wanted("table")
    assert opened.desk.table is not None
    assert opened.desk.table.id == rows.table_at(row).id
    group = view.visualRect(rows.index(0))
    assert right_click(opened, view.viewport(), group.center()) == []


@pytest.mark.parametrize("key", ["menu", "shift f10"])
def test_the_keyboard_opens_the_menu_of_what_is_chosen(
    opened: MainWindow,
    tune,  # type: ignore[no-untyped-def]
    qtbot,  # type: ignore[no-untyped-def]
    key: str,
) -> None:
    findings: QAbstractItemView = tune.findings.list
    qtbot.waitUntil(lambda: findings.model().rowCount() > 0)
    for widget, thing in ((tune.grid, "cell"), (findings, "finding"),
                          (tune.table_list.view, "table")):  # fmt: skip
        opened.activateWindow()
        widget.setFocus()
        qtbot.waitUntil(lambda widget=widget: opened.focusWidget() is widget)
        if key == "menu":
            qtbot.keyClick(widget, Qt.Key.Key_Menu)
        else:
            qtbot.keyClick(widget, Qt.Key.Key_F10, Qt.KeyboardModifier.ShiftModifier)
        assert opened_menu(opened) == wanted(thing)


def test_a_plot_has_a_menu_and_the_frame_has_none(opened: MainWindow, tune) -> None:  # type: ignore[no-untyped-def]
    plots = tune.plots
    assert right_click(opened, plots, QPoint(200, plots.height() // 2)) == wanted("plot")
    assert right_click(opened, opened.document_bar, QPoint(4, 4)) == []


def test_what_cannot_be_done_says_why_in_the_menu(opened: MainWindow, tune) -> None:  # type: ignore[no-untyped-def]
    document = opened.desk.current
    assert document is not None
    document.read_only = True
    menu = opened.context.filled("cell")
    opened.book.refresh()
    paste = next(a for a in menu.actions() if a.objectName() == "edit.paste")
    assert not paste.isEnabled()
    assert "read-only: save it as another file" in paste.toolTip()
    assert menu.toolTipsVisible()
