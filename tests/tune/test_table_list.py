"""The table list: filter, groups, keys, what it shows; with real widgets and keys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QPixmap

from app.desk import Desk
from app.tune.table_list import TableList
from app.tune.table_list_model import NO_GROUP, TableRows, search_text
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import add_table, table_change, values_change
from calib_model.session.document import Document

SPEED = Axis([0.0, 50.0, 100.0], "Vehicle speed", "km/h", "vehicle_speed")
PEDAL = Axis([0.0, 100.0], "Pedal", "%", "pedal")


def tables() -> list[Table]:
    return [
        Table("pre_engage_fade", [1, 0.5, 0], (SPEED,), "Pre-engage fade", function="Pre-engage"),
        Table("cruise_base", np.ones((3, 2)), (SPEED, PEDAL), "Cruise base torque", "N.m",
              "Cruise"),
        Table("pre_engage_torque", np.eye(3, 2), (SPEED, PEDAL), "Pre-engage torque", "N.m",
              "Pre-engage", role="pre_engage_torque"),
        Table("heat", 480.0, name="Plate heat capacity", unit="J/K"),
    ]  # fmt: skip


@pytest.fixture
def desk(qapp) -> Desk:  # type: ignore[no-untyped-def]
    made = Desk()
    made.add(Document(CalibrationSet(tables())))
    return made


@pytest.fixture
def shown(desk: Desk, qtbot) -> TableList:  # type: ignore[no-untyped-def]
    made = TableList(desk)
    qtbot.addWidget(made)
    made.resize(320, 500)
    made.show()
    qtbot.waitExposed(made)
    made.activateWindow()
    made.filter.setFocus()
    qtbot.waitUntil(made.filter.hasFocus)
    return made


def lines(rows: TableRows) -> list[str]:
    """What the rows say; a group's in brackets."""
    return [
        f"[{text}]" if rows.table_at(row) is None else text
        for row in range(rows.rowCount())
        for text in [rows.index(row).data()]
    ]


def test_the_model_is_sound(desk: Desk, qtmodeltester) -> None:  # type: ignore[no-untyped-def]
    rows = TableRows(desk)
    qtmodeltester.check(rows, force_py=False)
    rows.set_filter("pre")
    rows.toggle_group(0)
    qtmodeltester.check(rows, force_py=False)


def test_tables_stand_in_groups_in_the_order_of_the_set(desk: Desk) -> None:
    assert lines(TableRows(desk)) == [
        "[Pre-engage]", "Pre-engage fade", "Pre-engage torque",
        "[Cruise]", "Cruise base torque",
        f"[{NO_GROUP}]", "Plate heat capacity",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("torque", ["Pre-engage torque", "Cruise base torque"]),
        ("TORQUE  cruise", ["Cruise base torque"]),
        ("j/k", ["Plate heat capacity"]),
        ("n·m", ["Pre-engage torque", "Cruise base torque"]),
        ("pre_engage_torque", ["Pre-engage torque"]),
        ("   ", ["Pre-engage fade", "Pre-engage torque", "Cruise base torque",
                 "Plate heat capacity"]),
        ("nothing holds this", []),
    ],
)  # fmt: skip
def test_every_word_must_be_held(desk: Desk, typed: str, expected: list[str]) -> None:
    rows = TableRows(desk)
    rows.set_filter(typed)
    found = [line for line in lines(rows) if not line.startswith("[")]
    assert sorted(found) == sorted(expected)
    assert rows.matching == len(expected)


class CountingText(str):
    """A text that counts how often something is looked for in it."""

    looked = 0

    def __contains__(self, word: object) -> bool:
        CountingText.looked += 1
        return super().__contains__(word)  # type: ignore[operator]


def test_a_key_stroke_looks_at_each_text_once_for_each_word(desk: Desk) -> None:
    many = [replace(tables()[2], id=f"table_{n}", name=f"Torque {n}") for n in range(30_000)]
    desk.add(Document(CalibrationSet(many)))
    desk.set_current(desk.documents[1])
    rows = TableRows(desk)
    rows._texts = [CountingText(text) for text in rows._texts]
    CountingText.looked = 0
    rows.set_filter("torque 2999")
    # Once for the first word in all, once for the second in those that hold the first.
    assert CountingText.looked == 60_000
    assert rows.matching == 13  # 2999, 12999, 22999, and 29990 to 29999
    CountingText.looked = 0
    rows.set_filter("absent 2999")
    assert CountingText.looked == 30_000


def test_a_folded_group_hides_its_tables_unless_something_is_asked(desk: Desk) -> None:
    rows = TableRows(desk)
    rows.toggle_group(0)
    assert lines(rows)[:2] == ["[Pre-engage]", "[Cruise]"]
    assert "folded" in rows.index(0).data(Qt.ItemDataRole.AccessibleTextRole)
    rows.set_filter("fade")
    assert lines(rows) == ["[Pre-engage]", "Pre-engage fade"]
    rows.set_filter("")
    rows.toggle_group(0)
    assert lines(rows)[1] == "Pre-engage fade"


def test_keys_lead_from_the_filter_to_the_grid(shown: TableList, desk: Desk, qtbot) -> None:  # type: ignore[no-untyped-def]
    qtbot.keyClicks(shown.filter, "torque")
    assert shown.count.text() == "2 of 4 tables"
    qtbot.keyClick(shown.filter, Qt.Key.Key_Down)
    assert shown.view.hasFocus()
    assert shown.view.currentIndex().data() == "Pre-engage torque"
    qtbot.keyClick(shown.view, Qt.Key.Key_Down)
    qtbot.keyClick(shown.view, Qt.Key.Key_Down)
    with qtbot.waitSignal(desk.focus_grid):
        qtbot.keyClick(shown.view, Qt.Key.Key_Return)
    assert desk.table is not None
    assert desk.table.id == "cruise_base"


def test_enter_in_the_filter_opens_the_first_table(shown: TableList, desk: Desk, qtbot) -> None:  # type: ignore[no-untyped-def]
    qtbot.keyClicks(shown.filter, "heat")
    with qtbot.waitSignal(desk.focus_grid):
        qtbot.keyClick(shown.filter, Qt.Key.Key_Return)
    assert desk.table is not None
    assert desk.table.id == "heat"


def test_escape_clears_and_the_table_in_work_is_found_again(shown: TableList, qtbot) -> None:  # type: ignore[no-untyped-def]
    qtbot.keyClicks(shown.filter, "heat")
    assert not shown.view.currentIndex().isValid()
    qtbot.keyClick(shown.filter, Qt.Key.Key_Escape)
    assert shown.filter.text() == ""
    assert shown.view.currentIndex().data() == "Pre-engage fade"


def test_resting_on_a_row_opens_it_and_passing_does_not(
    shown: TableList, desk: Desk, qtbot
) -> None:  # type: ignore[no-untyped-def]
    opened: list[str] = []
    desk.table_changed.connect(lambda: opened.append(desk.table.id if desk.table else ""))
    shown.view.setFocus()
    qtbot.keyClick(shown.view, Qt.Key.Key_Down)
    qtbot.keyClick(shown.view, Qt.Key.Key_Down)
    qtbot.keyClick(shown.view, Qt.Key.Key_Down)
    assert opened == []
    qtbot.waitUntil(lambda: opened == ["cruise_base"])


def test_the_list_follows_the_desk(shown: TableList, desk: Desk) -> None:
    desk.open_table("heat")
    assert shown.view.currentIndex().data() == "Plate heat capacity"
    shown.step(-1)
    assert desk.table is not None
    assert desk.table.id == "cruise_base"


def test_stepping_past_the_end_says_so(shown: TableList, desk: Desk, qtbot) -> None:  # type: ignore[no-untyped-def]
    desk.open_table("heat")
    with qtbot.waitSignal(desk.told) as heard:
        shown.step(+1)
    assert heard.args == ["This is the last table of the list.", False]
    assert desk.table is not None
    assert desk.table.id == "heat"


def test_left_and_right_fold_groups(shown: TableList, qtbot) -> None:  # type: ignore[no-untyped-def]
    shown.view.setFocus()
    qtbot.keyClick(shown.view, Qt.Key.Key_Left)
    assert shown.view.currentIndex().data() == "Pre-engage"
    qtbot.keyClick(shown.view, Qt.Key.Key_Left)
    assert shown.rows.is_folded(0)
    assert shown.view.currentIndex().row() == 0
    qtbot.keyClick(shown.view, Qt.Key.Key_Right)
    assert not shown.rows.is_folded(0)
    qtbot.keyClick(shown.view, Qt.Key.Key_Space)
    assert shown.rows.is_folded(0)


def test_letters_typed_in_the_list_go_to_the_filter(shown: TableList, qtbot) -> None:  # type: ignore[no-untyped-def]
    shown.view.setFocus()
    qtbot.keyClicks(shown.view, "h")
    qtbot.keyClicks(shown.filter, "eat")
    assert shown.filter.text() == "heat"
    assert shown.rows.matching == 1


def test_findings_are_counted_shown_and_asked_for(shown: TableList) -> None:
    shown.set_findings({"heat": (1, 0, 2), "cruise_base": (0, 1, 0)})
    shown.with_findings.setChecked(True)
    assert shown.rows.matching == 2
    row = shown.rows.row_of("heat")
    spoken = shown.rows.index(row).data(Qt.ItemDataRole.AccessibleTextRole)
    assert spoken == "Plate heat capacity, heat; scalar in J/K; 1 error; 2 notes"
    assert shown.rows.counts_at(shown.rows.group_row_of(row)) == (1, 0, 2)
    shown.set_findings({})
    assert shown.rows.matching == 0
    assert shown.nothing.isVisible()
    assert "No table has findings" in shown.nothing.text()


def test_changed_tables_are_marked_until_saved(shown: TableList, desk: Desk) -> None:
    document = desk.current
    assert document is not None
    heat = document.content["heat"]
    desk.do(values_change(heat, np.array(500.0), "Set"))
    assert shown.rows.is_changed(document.content["heat"])
    shown.with_changes.setChecked(True)
    assert lines(shown.rows) == [f"[{NO_GROUP}]", "Plate heat capacity"]
    assert "changed since saved" in shown.rows.index(1).data(Qt.ItemDataRole.AccessibleTextRole)
    document.undo()
    assert shown.rows.rowCount() == 0
    document.redo()
    document.mark_saved(document.content)
    desk.documents_changed.emit()
    assert shown.rows.rowCount() == 0
    assert "was changed" in shown.nothing.text()


def test_a_renamed_table_is_found_by_its_new_name(shown: TableList, desk: Desk) -> None:
    heat = desk.current.content["heat"]  # type: ignore[union-attr]
    desk.do(table_change(heat, replace(heat, name="Warmth", function="Cruise"), "Rename"))
    shown.filter.setText("warmth")
    assert lines(shown.rows) == ["[Cruise]", "Warmth"]


def test_an_added_table_appears(shown: TableList, desk: Desk) -> None:
    desk.do(add_table(desk.current.content, Table("new", 1.0, name="New one")))  # type: ignore[union-attr]
    assert "New one" in lines(shown.rows)
    assert shown.count.text() == "5 tables"


def test_without_a_set_the_list_says_what_to_do(qtbot) -> None:  # type: ignore[no-untyped-def]
    empty = TableList(Desk())
    qtbot.addWidget(empty)
    empty.show()
    assert empty.nothing.isVisible()
    assert "No set is open" in empty.nothing.text()


def test_pictures_are_drawn_for_visible_rows_only_and_kept(desk: Desk, qtbot) -> None:  # type: ignore[no-untyped-def]
    many = [replace(tables()[n % 4], id=f"t{n}") for n in range(2_000)]
    desk.add(Document(CalibrationSet(many)))
    desk.set_current(desk.documents[1])
    shown = TableList(desk)
    qtbot.addWidget(shown)
    shown.resize(320, 500)
    pixmap = QPixmap(shown.size())
    shown.render(pixmap)
    pictures = shown.view.itemDelegate().thumbnails  # type: ignore[attr-defined]
    first = pictures.drawn
    assert 3 < first < 20
    shown.render(pixmap)
    assert pictures.drawn == first
    desk.do(values_change(desk.current.content["t0"], np.array([0.0, 1, 0]), "Set"))  # type: ignore[union-attr]
    shown.render(pixmap)
    assert pictures.drawn == first + 1


def test_search_text_holds_what_is_written_on_the_filter() -> None:
    text = search_text(tables()[2])
    for part in ("pre_engage_torque", "pre-engage torque", "n.m", "n·m"):
        assert part in text
