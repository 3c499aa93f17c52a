"""The palette reaches every action and table, by keyboard, and is quick over 30,000 tables.

The limit of 50 ms per key stroke is the project's own acceptance figure.
"""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from app.shell.actions import plain_text
from app.shell.finder import SHOWN, Entry, Finder, Group
from app.shell.palette import PaletteDialog
from app.shell.palette_entries import entries
from app.shell.window import MainWindow
from calib_model.editing.change import values_change


def everything(window: MainWindow) -> list[Group]:
    return entries(window, window.book, window.files.open, window.open_table)


def nothing() -> None:
    return None


def test_every_action_and_table_is_there(opened: MainWindow) -> None:
    found = [group.make(i) for group in everything(opened) for i in range(len(group.texts))]
    texts = [entry.text for entry in found]
    for action in opened.book.actions.values():
        assert plain_text(action.text()) in texts
    details = [entry.detail for entry in found]
    for document in opened.desk.documents:
        for id in document.content.tables:
            assert f"{id}   {document.title}" in details


def test_words_may_come_in_any_order_and_the_best_come_first() -> None:
    listed = ("Save as", "Autosave", "Slip target", "Target of slip", "Save")
    made = [Entry(text, "", nothing) for text in listed]
    finder = Finder([Group.of(made[:2]), Group.of([]), Group.of(made[2:])])
    assert [e.text for e in finder.find("slip target")] == ["Slip target", "Target of slip"]
    assert [e.text for e in finder.find("save")] == ["Save", "Save as", "Autosave"]
    assert [e.text for e in finder.find("save a")] == ["Save as", "Autosave", "Save"]
    assert [e.text for e in finder.find("sa")][:2] == ["Save as", "Save"]
    assert [e.text for e in finder.find("")] == [
        "Save as", "Autosave", "Slip target", "Target of slip", "Save",
    ]  # fmt: skip
    assert finder.find("zzz") == []
    assert len(finder.find("s")) == 5


def test_an_exact_id_or_title_comes_before_anything_else() -> None:
    listed = (
        Entry("Slip target offset", "", nothing, "slip_target_offset"),
        Entry("Slew", "", nothing, "x", "slip target and slip_target are named here"),
        Entry("Slip target", "", nothing, "target_of_slip"),
        Entry("Wheel creep", "", nothing, "slip_target"),
        Entry("Brake, inside slip, rear target", "", nothing, "y"),
    )
    finder = Finder([Group.of(listed)])
    assert [e.text for e in finder.find("slip target")] == [
        "Slip target", "Slip target offset",
        "Brake, inside slip, rear target", "Slew", "Wheel creep",
    ]  # fmt: skip
    assert [e.text for e in finder.find("slip_target")] == [
        "Wheel creep", "Slip target offset", "Slew",
    ]  # fmt: skip


def test_what_was_used_last_comes_first_among_equals() -> None:
    listed = [Entry(f"Torque {n}", "", nothing, f"t{n}") for n in range(5)]
    finder = Finder([Group.of(listed[:2]), Group.of(listed[2:])], ["t3", "t1", "gone"])
    assert [e.id for e in finder.find("")] == ["t3", "t1", "t0", "t2", "t4"]
    assert [e.id for e in finder.find("torque")] == ["t3", "t1", "t0", "t2", "t4"]
    assert [e.id for e in finder.find("t2")] == ["t2"]
    assert [e.id for e in finder.find("torque 4")] == ["t4"]


def test_a_tables_name_finds_the_table_and_not_the_undo_of_its_edit(opened: MainWindow) -> None:
    opened.desk.open_table("slip_target")
    table = opened.desk.table
    assert table is not None
    changed = values_change(table, table.values + 0.1, f"Raise {table.label}")
    assert opened.desk.do(changed)
    opened.book.refresh()
    assert table.label in opened.book.actions["edit.undo"].text()
    found = Finder(everything(opened)).find(table.label)
    assert found[0].id == table.id
    assert "edit.undo" not in [entry.id for entry in found]


def test_what_was_run_is_offered_first_the_next_time(opened: MainWindow, qtbot) -> None:
    for typed in ("reconnect_speed", "road"):
        opened.book.actions["view.palette"].trigger()
        dialog = QApplication.activeModalWidget()
        qtbot.keyClicks(dialog.line, typed)
        qtbot.keyClick(dialog.line, Qt.Key.Key_Return)
    opened.book.actions["view.palette"].trigger()
    dialog = QApplication.activeModalWidget()
    assert [e.id for e in dialog.model.entries[:2]] == ["view.road", "reconnect_speed"]
    dialog.close()


def test_a_table_of_another_set_opens_by_keys(opened: MainWindow, qtbot) -> None:
    opened.show_area("road")
    opened.book.actions["view.palette"].trigger()
    dialog = QApplication.activeModalWidget()
    assert isinstance(dialog, PaletteDialog)
    qtbot.keyClicks(dialog.line, "reconnect_speed larch_normal")
    qtbot.keyClick(dialog.line, Qt.Key.Key_Return)
    assert opened.desk.current.title == "larch_normal.h5"
    assert opened.desk.table.id == "reconnect_speed"
    assert opened.area == "tune"


def test_an_action_runs_by_keys(opened: MainWindow, qtbot) -> None:
    opened.book.actions["view.palette"].trigger()
    dialog = QApplication.activeModalWidget()
    qtbot.keyClicks(dialog.line, "road")
    assert dialog.model.entries[0].text == "Road"
    qtbot.keyClick(dialog.line, Qt.Key.Key_Return)
    assert opened.area == "road"


def test_what_is_not_possible_now_is_passed_over(window: MainWindow, qtbot) -> None:
    dialog = PaletteDialog(everything(window), window)
    dialog.open()
    qtbot.keyClicks(dialog.line, "undo")
    qtbot.keyClick(dialog.line, Qt.Key.Key_Return)
    assert dialog.isVisible()
    qtbot.keyClick(dialog.line, Qt.Key.Key_Escape)
    assert not dialog.isVisible()


def test_arrows_move_and_long_lists_are_cut(window: MainWindow, qtbot) -> None:
    many = [Entry(f"Table {n}", "", nothing, f"t{n}", enabled=n != 1) for n in range(1000)]
    dialog = PaletteDialog([Group.of(many)], window)
    dialog.open()
    assert dialog.model.rowCount() == SHOWN
    assert dialog.count.text().startswith("1000 found")
    qtbot.keyClick(dialog.line, Qt.Key.Key_Down)
    assert dialog.list.currentIndex().row() == 2  # row 1 is not possible now
    qtbot.keyClick(dialog.line, Qt.Key.Key_Up)
    assert dialog.list.currentIndex().row() == 0
    dialog.close()


def test_the_model_keeps_qt_rules(window: MainWindow, qtmodeltester) -> None:
    dialog = PaletteDialog(everything(window), window)
    qtmodeltester.check(dialog.model)
    dialog.close()
