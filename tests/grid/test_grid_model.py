"""The grid's model: text, exact editing, marks, colours, what it tells of an edit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QPalette

from app.colours import contrast
from app.desk import Desk
from app.grid.heat import Heat, levels, steps_of
from app.grid.marks import Look, changed_cells
from app.grid.model import GridModel
from app.grid.source import DeskSource, GridSource
from app.grid.texts import cell_text, decimals
from calib_model.core.labels import YES_NO
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.axes import insert_breakpoint
from calib_model.editing.change import table_change, values_change
from calib_model.editing.lock_changes import set_locks
from calib_model.session.document import Document

Role = Qt.ItemDataRole


@pytest.fixture
def model(desk: Desk) -> GridModel:
    return GridModel(DeskSource(desk))


@pytest.mark.parametrize(
    ("table_id", "rows", "columns"),
    [("plate_heat_capacity", 1, 1), ("pre_engage_fade", 1, 8), ("pre_engage_torque", 10, 12),
     ("hill_torque", 4, 3), ("hill_torque_by_load", 2, 3)],
)  # fmt: skip
def test_the_model_is_sound_for_every_shape(  # type: ignore[no-untyped-def]
    desk: Desk, model: GridModel, qtmodeltester, table_id: str, rows: int, columns: int
) -> None:
    desk.open_table(table_id)
    assert (model.rowCount(), model.columnCount()) == (rows, columns)
    qtmodeltester.check(model, force_py=False)


def test_the_model_stays_sound_through_edits_and_other_tables(  # type: ignore[no-untyped-def]
    desk: Desk, model: GridModel, qtmodeltester
) -> None:
    qtmodeltester.check(model, force_py=False)
    assert model.setData(model.index(0, 0), "12.5")
    desk.open_table("pre_engage_fade")
    desk.open_table("hill_torque", (1, 1, 2))
    desk.remove(desk.documents[0])
    assert model.rowCount() == 0


def test_display_is_short_and_aligned_and_the_editor_gets_every_digit(
    desk: Desk, model: GridModel
) -> None:
    desk.open_table("pre_engage_fade")
    values = desk.table.values.copy()  # type: ignore[union-attr]
    values[1], values[2] = 0.123456789, np.nan
    desk.do(values_change(desk.table, values, "Set"))  # type: ignore[arg-type]
    shown = [model.index(0, c).data() for c in range(4)]
    assert shown == ["1.000", "0.12345679", "empty", "0.900"]
    edited = [model.index(0, c).data(Role.EditRole) for c in range(4)]
    assert edited == ["1", "0.123456789", "", "0.9"]


@pytest.mark.parametrize("text", ["0.1", "0.30000000000000004", "1e-7", "123456.789", "-0.5"])
def test_opening_and_taking_an_editors_text_changes_nothing(
    desk: Desk, model: GridModel, text: str
) -> None:
    desk.open_table("wiper_factor")
    index = model.index(1, 2)
    assert model.setData(index, text)
    before = desk.table
    assert model.setData(index, index.data(Role.EditRole))
    assert desk.table is before
    assert before.values[1, 2] == float(text)  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("text", "value"), [("215", 215), ("12,5", 12.5), ("−3", -3), (" 7.25 ", 7.25)]
)
def test_typed_numbers_are_taken(desk: Desk, model: GridModel, text: str, value: float) -> None:
    assert model.setData(model.index(3, 6), text)
    assert desk.table.values[3, 6] == value  # type: ignore[union-attr]


@pytest.mark.parametrize("text", ["1,234", "1.234.567", "abc", "", "2+3", "=5)", "inf"])
def test_what_is_no_clear_number_is_refused_in_words(
    desk: Desk, model: GridModel, told: list[tuple[str, bool]], text: str
) -> None:
    before = desk.table
    assert not model.setData(model.index(3, 6), text)
    assert desk.table is before
    assert len(told) == 1
    assert told[0][1]
    assert len(told[0][0]) > 15


@pytest.mark.parametrize(
    ("text", "value", "title"),
    [
        ("*1.1", 142.45, "Scale Pre-engage torque at −10 °C, 40 % by 1.1"),
        ("+5", 134.5, "Raise Pre-engage torque at −10 °C, 40 % by 5 N·m"),
        ("+10%", 142.45, "Raise Pre-engage torque at −10 °C, 40 % by 10 % of what is there"),
        ("=2*30", 60.0, "Set 60 N·m at −10 °C, 40 %"),
        ("=x-9,5", 120.0, "Set Pre-engage torque at −10 °C, 40 % to x-9,5"),
    ],
)
def test_a_little_arithmetic_is_typed_into_a_cell(
    desk: Desk, model: GridModel, text: str, value: float, title: str
) -> None:
    assert model.setData(model.index(3, 6), text)
    assert desk.table.values[3, 6] == pytest.approx(value, rel=1e-14)  # type: ignore[union-attr]
    assert desk.current.undo_title == title  # type: ignore[union-attr]


def test_arithmetic_filled_into_a_selection_starts_from_each_cells_own_value(
    desk: Desk, model: GridModel
) -> None:
    before = desk.table.values.copy()  # type: ignore[union-attr]
    chosen = np.zeros(before.shape, dtype=bool)
    chosen[3, 6:8] = True
    assert model.set_text("/2", chosen)
    np.testing.assert_array_equal(
        desk.table.values,
        np.where(chosen, before / 2, before),  # type: ignore[union-attr]
    )


def test_labels_stand_for_numbers_in_cells_headers_and_words(
    desk: Desk, model: GridModel, told: list[tuple[str, bool]]
) -> None:
    wet = desk.current.content["wiper_factor"]  # type: ignore[union-attr]
    named = replace(
        wet,
        values=np.zeros(wet.shape),
        axes=(replace(wet.axes[0], labels="off, interval, slow, fast"), wet.axes[1]),
        labels=YES_NO,
    )
    desk.do(table_change(wet, named, "Name the states"))
    desk.open_table("wiper_factor")
    assert [model.headerData(n, Qt.Orientation.Vertical) for n in range(4)] == [
        "off", "interval", "slow", "fast",
    ]  # fmt: skip
    index = model.index(2, 1)
    assert (index.data(), index.data(Role.EditRole), model.look(2, 1).text) == ("no", "no", "no")
    assert index.data(Role.AccessibleTextRole).startswith("no at Wiper state slow, Ambient")
    assert model.setData(index, "Yes")
    assert desk.table.values[2, 1] == 1  # type: ignore[union-attr]
    assert told[-1][0].startswith("Set yes at wiper state slow, −10 °C")
    assert not model.setData(index, "perhaps")
    assert told[-1][0] == "'perhaps' is no label here. The labels are 0 no, 1 yes."


def test_a_cell_speaks_with_axis_values_and_units(desk: Desk, model: GridModel) -> None:
    spoken = model.index(3, 6).data(Role.AccessibleTextRole)
    assert spoken == "129.5 N·m at Ambient temperature −10 °C, Pedal 40 %"
    model.set_findings("pre_engage_torque", {(3, 6): [("error", "It falls.")]})
    assert model.index(3, 6).data(Role.AccessibleTextRole).endswith("; error: It falls.")
    model.set_findings("another", {(3, 6): [("error", "It falls.")]})
    assert "error" not in model.index(3, 6).data(Role.AccessibleTextRole)
    desk.open_table("plate_heat_capacity")
    assert model.index(0, 0).data(Role.AccessibleTextRole) == "480 J/K"


def test_headers_show_breakpoints_and_captions_name_axes(desk: Desk, model: GridModel) -> None:
    across, down = Qt.Orientation.Horizontal, Qt.Orientation.Vertical
    assert [model.headerData(s, across) for s in range(3)] == ["0", "5", "10"]
    assert model.headerData(0, down) == "−40"
    assert model.headerData(0, down, Role.EditRole) == "-40"
    assert model.headerData(0, down, Role.AccessibleTextRole) == "Ambient temperature −40 °C"
    assert model.caption(across) == "Pedal (%)"
    assert model.caption(down) == "Ambient temperature (°C)"
    desk.open_table("wiper_factor")
    assert model.caption(down) == "Wiper state, step"
    desk.open_table("plate_heat_capacity")
    assert (model.caption(across), model.headerData(0, across)) == ("", "")
    assert model.headerData(0, down) == "J/K"


def test_one_rectangle_for_an_edit(desk: Desk, model: GridModel) -> None:
    heard: list[tuple[int, int, int, int]] = []
    model.dataChanged.connect(
        lambda a, b, _r=(): heard.append((a.row(), a.column(), b.row(), b.column()))
    )
    values = desk.table.values.copy()  # type: ignore[union-attr]
    values[2:5, 3] += 1.0
    values[3, 7] += 1.0
    desk.do(values_change(desk.table, values, "Set"))  # type: ignore[arg-type]
    assert heard == [(2, 3, 4, 7)]
    heard.clear()
    values[0, 11] = 440.0  # the largest value: every tint moves
    desk.do(values_change(desk.table, values, "Set"))  # type: ignore[arg-type]
    assert heard == [(0, 0, 9, 11)]


def test_an_edit_in_another_plane_is_not_told(desk: Desk, model: GridModel) -> None:
    desk.open_table("hill_torque", (0, 0, 1))
    heard: list[object] = []
    model.dataChanged.connect(lambda *args: heard.append(args))
    values = desk.table.values.copy()  # type: ignore[union-attr]
    values[1, 1, 3] += 1.0
    desk.do(values_change(desk.table, values, "Set"))  # type: ignore[arg-type]
    assert heard == []
    desk.set_cursor((1, 1, 3))
    assert float(model.index(1, 1).data()) == values[1, 1, 3]


def test_marks_say_locked_off_raster_beyond_and_changed(desk: Desk, model: GridModel) -> None:
    table = desk.table
    assert table is not None
    lock = np.zeros(table.shape, dtype=bool)
    lock[9, 0] = True
    desk.do(lambda: set_locks(table, lock, True))
    values = desk.table.values.copy()  # type: ignore[union-attr]
    values[0, 0], values[0, 1] = 63.3, 451.0
    desk.do(values_change(desk.table, values, "Set"))  # type: ignore[arg-type]
    off, beyond, locked, plain = (model.look(*p) for p in ((0, 0), (0, 1), (9, 0), (5, 5)))
    assert (off.off_raster, off.changed, off.beyond, off.locked) == (True, True, False, False)
    assert (beyond.beyond, beyond.off_raster) == (True, False)
    assert (locked.locked, locked.changed) == (True, False)
    assert plain == Look(plain.text, plain.heat)
    tip = model.index(0, 0).data(Role.ToolTipRole)
    assert "nearest are 63 and 63.5 N·m" in tip
    assert "Outside the limits 0 to 450 N·m." in model.index(0, 1).data(Role.ToolTipRole)
    assert "locked" in model.index(9, 0).data(Role.AccessibleTextRole)


def test_saving_takes_the_changed_marks_away(desk: Desk, model: GridModel) -> None:
    document = desk.current
    assert document is not None
    assert model.setData(model.index(0, 0), "1")
    assert model.look(0, 0).changed
    document.mark_saved(document.content)
    desk.documents_changed.emit()
    assert not model.look(0, 0).changed


def test_after_a_new_breakpoint_only_its_cells_are_changed(desk: Desk) -> None:
    document, table = desk.current, desk.table
    assert document is not None
    assert table is not None
    desk.do(insert_breakpoint(document.content, table.id, 1, 45.0))
    now = desk.table
    assert now is not None
    marks = changed_cells(now, table)
    column = now.axes[1].values.tolist().index(45.0)
    assert marks[:, column].all()
    assert not np.delete(marks, column, axis=1).any()


def test_changed_cells_of_a_scalar_and_of_nan() -> None:
    one = Table("a", np.nan)
    assert not changed_cells(one.with_values(np.nan), one).any()
    assert changed_cells(one.with_values(0.0), one).all()


@pytest.mark.parametrize("ground", ["#ffffff", "#fbfcfc", "#191f22", "#000000", "#808080"])
def test_text_is_readable_on_every_tint(ground: str) -> None:
    palette = QPalette()
    palette.setColor(QPalette.ColorRole.Base, QColor(ground))
    palette.setColor(QPalette.ColorRole.Text, QColor("black" if ground > "#7" else "white"))
    heat = Heat.of(palette)
    # 4.5 is what WCAG 2.1, success criterion 1.4.3, asks for text.
    worst = min(contrast(b, t) for b, t in zip(heat.backgrounds, heat.texts, strict=True))
    assert worst >= 4.5


def test_contrast_of_black_on_white_is_21() -> None:
    # WCAG 2.1, definition of contrast ratio: it ranges from 1 to 21.
    assert contrast(QColor("black"), QColor("white")) == pytest.approx(21)
    assert contrast(QColor("#777777"), QColor("#777777")) == 1


def test_heat_steps_rise_with_values_and_leave_empty_cells_out() -> None:
    values = np.array([[0.0, 5.0, np.nan], [10.0, 7.5, 2.5]])
    steps = steps_of(values, levels(values))
    assert steps[0, 2] == -1
    order = [steps[0, 0], steps[1, 2], steps[0, 1], steps[1, 1], steps[1, 0]]
    assert order == sorted(order)
    assert len(set(order)) == 5
    assert (steps_of(np.ones((2, 2)), levels(np.ones((2, 2)))) == -1).all()


@pytest.mark.parametrize(
    ("storage", "places"),
    [(Storage.of("uint16", "0.5"), 1), (Storage("int8"), 0), (Storage.of("uint8", "1/250"), 3),
     (Storage.of("uint8", "1/3"), None), (Storage(), None), (Storage.of("uint8", "1", "0.25"), 2)],
)  # fmt: skip
def test_decimals_follow_the_storage(storage: Storage, places: int | None) -> None:
    assert decimals(storage) == places


def test_text_that_would_hide_digits_shows_them() -> None:
    assert cell_text(215.0, 1) == "215.0"
    assert cell_text(215.25, 1) == "215.25"
    assert cell_text(-0.5, 1) == "−0.5"
    assert cell_text(float("nan"), 1) == "empty"


def test_a_read_only_document_is_not_editable_and_says_why(
    desk: Desk, told: list[tuple[str, bool]]
) -> None:
    closed = Desk()
    closed.add(Document(desk.current.content, read_only=True))  # type: ignore[union-attr]
    heard: list[str] = []
    closed.told.connect(lambda text, _refused: heard.append(text))
    model = GridModel(DeskSource(closed))
    assert not model.flags(model.index(0, 0)) & Qt.ItemFlag.ItemIsEditable
    assert not model.setData(model.index(0, 0), "1")
    assert "read-only" in heard[0]


def test_another_table_can_be_looked_at_without_a_desk(qtmodeltester) -> None:  # type: ignore[no-untyped-def]
    base = Table("a", 3.0, unit="N.m")
    source = GridSource()
    model = GridModel(source)
    assert model.rowCount() == 0
    source.show_table(replace(base, values=4.0), base)
    assert model.look(0, 0).changed
    assert not model.setData(model.index(0, 0), "5")
    qtmodeltester.check(model, force_py=False)
