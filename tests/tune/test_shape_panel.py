"""The shaping tools in the window: preview beside the window, one undo step, words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.tune.shape.panel import ShapePanel
from app.tune.shape.tools import TOOLS
from calib_model.editing.change import values_change
from calib_model.editing.lock_changes import set_locks
from tests.letters import clashes

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


@pytest.fixture
def panel(practice_desk: Desk, qtbot: QtBot) -> ShapePanel:
    made = ShapePanel(practice_desk)
    qtbot.addWidget(made)
    made.resize(320, 600)
    made.show()
    made.set_in_sight(True)
    return made


def test_smoothing_is_proposed_applied_and_undone(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("plate_cooling")
    before = practice_desk.table
    panel.wait()
    proposed = practice_desk.proposed_table
    assert proposed is not None
    assert practice_desk.table is before  # nothing is changed yet
    assert "effective degrees of freedom" in panel.outcome.text()
    panel.apply()
    after = practice_desk.table
    assert after is not None
    assert np.array_equal(after.values, proposed.values)
    document = practice_desk.current
    assert document is not None
    assert "lambda" in document.pending[-1].note
    document.undo()
    assert practice_desk.table == before


def test_a_stronger_lambda_gives_a_straighter_curve(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("pre_engage_fade")
    panel.fields["strength"].set_value("own")
    bends = []
    for strength in (1e-6, 1e-2, 100.0):
        panel.fields["lambda"].set_value(strength)
        panel.ask()
        panel.wait()
        table = practice_desk.proposed_table or practice_desk.table
        assert table is not None
        slopes = np.diff(table.values) / np.diff(table.axes[0].values)
        bends.append(float(np.abs(np.diff(slopes)).sum()))
    assert bends[0] >= bends[1] >= bends[2]


def test_nearest_values_mend_a_broken_order(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("sync_window")
    panel.choose("nearest")
    panel.wait()
    panel.apply()
    report = practice_desk.report
    assert report is not None
    assert report.of("sync_window") == ()


def test_a_mistake_that_has_its_own_remedy_is_told(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("pre_engage_torque")
    panel.choose("nearest")
    panel.wait()
    assert "ten times too small" in panel.outcome.text()
    assert "What suits: Re-interpolate Pre-engage torque" in panel.outcome.text()


def test_a_conflict_is_explained(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("sync_window")
    table = practice_desk.table
    assert table is not None
    values = table.values.copy()
    values[0], values[1] = 20.0, 9.0
    practice_desk.do(values_change(table, values, "Set"))
    mask = np.zeros(table.shape, dtype=bool)
    mask[:2] = True
    practice_desk.do(set_locks(practice_desk.table, mask, True))  # type: ignore[arg-type]
    panel.choose("nearest")
    panel.wait()
    assert "cannot all hold" in panel.outcome.text()
    assert "20" in panel.outcome.text()
    assert not panel.apply_button.isEnabled()


def test_an_edit_drops_the_proposal_and_asks_again(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("plate_cooling")
    panel.wait()
    assert practice_desk.proposed_table is not None
    table = practice_desk.table
    assert table is not None
    practice_desk.do(values_change(table, table.values + 0.5, "Raise"))
    assert practice_desk.proposed_table is None
    panel.wait()
    assert practice_desk.proposed_table is not None


def selected(desk: Desk) -> np.ndarray:
    """Select a block of nine cells."""
    assert desk.table is not None
    mask = np.zeros(desk.table.shape, dtype=bool)
    mask[1:4, 1:4] = True
    desk.set_selection(mask)
    return mask


def test_only_the_selection_moves(panel: ShapePanel, practice_desk: Desk) -> None:
    # Nothing is asked for: who selects cells, means them.
    practice_desk.open_table("plate_cooling")
    table = practice_desk.table
    assert table is not None
    panel.fields["strength"].set_value("straight")
    panel.wait()
    whole = practice_desk.proposed_table
    assert whole is not None
    mask = selected(practice_desk)
    panel.wait()
    proposed = practice_desk.proposed_table
    assert proposed is not None
    assert np.array_equal(proposed.values[~mask], table.values[~mask])
    assert not np.array_equal(proposed.values[mask], table.values[mask])
    assert panel.outcome.text().startswith("Of the 9 selected cells: ")
    panel.apply()
    after = practice_desk.table
    assert after is not None
    assert np.array_equal(after.values[~mask], table.values[~mask])


def test_all_cells_move_where_they_are_asked_for(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("plate_cooling")
    table = practice_desk.table
    assert table is not None
    mask = selected(practice_desk)
    panel.fields["strength"].set_value("straight")
    panel.fields["cells"].set_value("all")
    panel.ask()
    panel.wait()
    proposed = practice_desk.proposed_table
    assert proposed is not None
    assert (proposed.values[~mask] != table.values[~mask]).any()


def test_after_applying_it_waits_to_be_asked(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("plate_cooling")
    panel.wait()
    assert panel.run_button.isHidden()
    panel.apply()
    panel.wait()
    assert practice_desk.proposed_table is None
    assert panel.outcome.text().startswith("Taken.")
    assert not panel.run_button.isHidden()
    panel.run_button.click()
    panel.wait()
    assert not panel.outcome.text().startswith("Taken.")
    document = practice_desk.current
    assert document is not None
    document.undo()  # another state: proposed for, as after any edit
    panel.wait()
    assert practice_desk.proposed_table is not None
    assert panel.run_button.isHidden()


def test_one_axis_may_be_smoothed_more(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("plate_cooling")
    panel.fields["strength"].set_value("own")
    panel.fields["lambda"].set_value(1e-2)
    bends = []
    for balance in (1e-3, 1.0, 1e3):
        panel.fields["balance"].set_value(balance)
        panel.ask()
        panel.wait()
        made = panel.proposal
        assert made is not None
        (ideal,) = made.ideal.values()
        table = made.table("plate_cooling")
        slopes = np.diff(ideal, axis=1) / np.diff(table.axes[1].values)
        bends.append(float(np.square(np.diff(slopes, axis=1)).sum()))
    assert bends[0] > bends[1] > bends[2]
    panel.fields["along"].set_value((0,))
    panel._changed()
    assert not panel.fields["balance"].isVisible()


def test_out_of_sight_it_neither_works_nor_proposes(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("plate_cooling")
    panel.wait()
    panel.set_in_sight(False)
    assert practice_desk.proposed_table is None
    practice_desk.open_table("slip_target")
    panel.wait()
    assert practice_desk.proposed_table is None


def test_every_tool_answers_every_kind_of_table(panel: ShapePanel, practice_desk: Desk) -> None:
    for table_id in ("controller_tick", "pre_engage_fade", "wiper_factor"):
        practice_desk.open_table(table_id)
        for tool in TOOLS:
            panel.choose(tool.id)
            panel.ask()
            panel.wait()
            assert panel.outcome.text() not in ("", "Working…")


def test_measurements_are_looked_for_beside_the_set(
    panel: ShapePanel, practice_desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    from PySide6.QtWidgets import QFileDialog, QPushButton

    begun: list[str] = []
    monkeypatch.setattr(
        QFileDialog, "getOpenFileName", lambda _w, _title, start, _kinds: (begun.append(start), "")
    )
    practice_desk.current.path = SAMPLES / "larch_practice.h5"
    practice_desk.open_table("current_for_clamp_apply")
    panel.choose("fit")
    panel.fields["data"].findChild(QPushButton).click()
    assert begun == [str(SAMPLES)]


def test_a_typed_file_brings_its_columns_and_the_keyboard_goes_on(
    panel: ShapePanel, practice_desk: Desk, qtbot: QtBot
) -> None:
    from PySide6.QtTest import QTest

    practice_desk.open_table("current_for_clamp_apply")
    panel.choose("fit")
    panel.activateWindow()
    line = panel.fields["data"].main
    line.setFocus()
    QTest.keyClicks(line, str(SAMPLES / "larch_bench_sweep.csv"))
    QTest.keyClick(line, Qt.Key.Key_Tab)
    qtbot.wait(50)  # what was taken away is deleted by now
    assert "column_value" in panel.fields
    assert panel.fields["data"].isAncestorOf(panel.focusWidget())
    QTest.keyClick(panel.focusWidget(), Qt.Key.Key_Tab)
    assert panel.fields["column_0"].isAncestorOf(panel.focusWidget())


def test_a_labels_key_reaches_its_field(panel: ShapePanel, practice_desk: Desk) -> None:
    from PySide6.QtWidgets import QLabel

    practice_desk.open_table("pre_engage_torque")
    panel.choose("smooth")
    for label in panel.findChildren(QLabel):
        if "&" in label.text().replace("&&", ""):
            assert label.buddy() is not None
            assert label.buddy().focusPolicy() != Qt.FocusPolicy.NoFocus, label.text()


def test_a_sweep_becomes_two_branches_with_a_gap(
    panel: ShapePanel, practice_desk: Desk, tmp_path: Path
) -> None:
    practice_desk.open_table("current_for_clamp_apply")
    panel.choose("fit")
    panel.ask()
    panel.wait()
    assert "No file of measurements" in panel.outcome.text()
    panel.fields["data"].set_value(SAMPLES / "larch_bench_sweep.csv")
    panel._changed()
    assert {"column_0", "column_1", "column_value", "drive"} <= set(panel.fields)
    panel.fields["falling"].set_value("current_for_clamp_release")
    drive = next(
        name for name, _ in panel.fields["drive"].field.options if "current" in str(name).lower()
    )
    panel.fields["drive"].set_value(drive)
    panel.ask()
    panel.wait()
    text = panel.outcome.text()
    assert "measured" in text, text
    assert "outliers" in text
    assert "Distance between the branches" in text
    proposed = practice_desk.proposed_table
    assert proposed is not None
    panel.apply()
    document = practice_desk.current
    assert document is not None
    rising = document.content["current_for_clamp_apply"].values
    falling = document.content["current_for_clamp_release"].values
    assert (np.diff(rising, axis=0) > 0).all()
    assert (falling[1:] < rising[1:]).all()


def test_a_column_of_weights_counts_in_a_fit(
    panel: ShapePanel, practice_desk: Desk, tmp_path: Path
) -> None:
    practice_desk.open_table("clamp_limit_plate")
    table = practice_desk.table
    assert table is not None
    x = np.linspace(table.axes[0].values[0], table.axes[0].values[-1], 60)
    far = np.arange(60) % 2 == 0  # every other sample lies off, and is not to count
    truth = 0.95 * np.interp(x, table.axes[0].values, table.values)
    y = np.where(far, truth / 2, truth)
    rows = [f"{a:.6f},{b:.6f},{int(not c)}" for a, b, c in zip(x, y, far, strict=True)]
    path = tmp_path / "weighed.csv"
    path.write_text("\n".join(["place,result,counts", *rows]) + "\n", encoding="utf-8")
    panel.choose("fit")
    panel.fields["data"].set_value(path)
    panel._changed()
    panel.fields["column_0"].set_value("place")
    panel.fields["column_value"].set_value("result")
    panel.fields["weight"].set_value("result")
    panel.ask()
    panel.wait()
    assert "Column 'result' is chosen twice" in panel.outcome.text()
    panel.fields["weight"].set_value("counts")
    panel.ask()
    panel.wait()
    assert "30 samples" in panel.outcome.text()
    assert "30 of 60 samples have the weight 0" in panel.outcome.text()
    proposed = practice_desk.proposed_table
    assert proposed is not None
    # Without weights they would lie a quarter lower; the last node obeys a rule of its own.
    assert np.abs(proposed.values - 0.95 * table.values)[:-1].max() < 300


def test_breakpoints_other_breakpoints_and_inverse(panel: ShapePanel, practice_desk: Desk) -> None:
    practice_desk.open_table("clamp_limit_plate")
    panel.choose("breakpoints")
    panel.fields["count"].set_value(5.0)
    panel.ask()
    panel.wait()
    proposed = practice_desk.proposed_table
    assert proposed is not None, panel.outcome.text()
    assert proposed.shape == (5,)
    panel.fields["relative"].set_value(True)
    panel.ask()
    panel.wait()
    assert "% of the value" in panel.outcome.text()
    panel.fields["goal"].set_value("tolerance")
    panel._changed()
    panel.fields["tolerance"].set_value(10.0)
    panel._changed()
    assert panel.fields["tolerance"].field.label == "Error [%]"
    panel.ask()
    panel.wait()
    assert "errors" in panel.proposal.settings  # type: ignore[union-attr]
    panel.choose("reaxis")
    panel.fields["breakpoints"].main.setText("-40; 100; 200; 280")
    panel.ask()
    panel.wait()
    proposed = practice_desk.proposed_table
    assert proposed is not None, panel.outcome.text()
    assert proposed.axes[0].values.tolist() == [-40, 100, 200, 280]
    panel.fields["breakpoints"].main.setText("1 2 x")
    panel.ask()
    panel.wait()
    assert "Breakpoints:" in panel.outcome.text()
    practice_desk.open_table("touch_point_current")
    panel.choose("invert")
    panel.ask()
    panel.wait()
    panel.apply()
    document = practice_desk.current
    assert document is not None
    assert "touch_point_current_inverse" in document.content


def test_letters_of_fields_are_their_own_and_not_the_menus(
    panel: ShapePanel, practice_desk: Desk
) -> None:
    for table_id in ("current_for_clamp_apply", "pre_engage_fade"):
        practice_desk.open_table(table_id)
        for tool in TOOLS:
            panel.choose(tool.id)
            if "data" in panel.fields:
                panel.fields["data"].set_value(SAMPLES / "larch_bench_sweep.csv")
                panel._changed()
            panel.banner.show()  # as while something is proposed
            assert not clashes(panel), tool.id


def test_a_tool_that_ends_unexpectedly_is_told(
    panel: ShapePanel, practice_desk: Desk, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_tool: object, _question: object) -> None:
        raise RuntimeError("out of luck")

    monkeypatch.setattr("app.tune.shape.panel._answer", fail)
    with qtbot.capture_exceptions() as caught:
        practice_desk.open_table("plate_cooling")
        panel.wait()
    assert [str(value) for _, value, _ in caught] == ["out of luck"]
    assert "out of luck" in panel.outcome.text()
    assert not panel.apply_button.isEnabled()
