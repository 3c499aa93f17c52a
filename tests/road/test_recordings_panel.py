"""Recordings in a real window: opened, replayed, walked through by keys, and what comes of it.

The drives are made by `tests.road.driven`, which knows what lies in them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent

from app.road.ready import get_ready
from app.road.recordings.layouts import head_key
from app.shell.window import MainWindow
from app.vehicle_in_use import vehicle_in_use
from calib_model.core.times import stamp
from calib_model.editing.axes import move_breakpoint
from calib_model.evidence.reading import read_recording
from calib_model.evidence.recording import Recording
from calib_model.session.files import document_of
from tests.road.driven import DOUBLE, GAP, Driven, write_drive
from tests.waiting import settled

K = Qt.Key


class Quiet:
    """What a job says, unheard."""

    def progress(self, _fraction: float, _text: str = "") -> None: ...
    def check(self) -> None: ...
    def on_cancel(self, _stop: object) -> None: ...


SHIFT = Qt.KeyboardModifier.ShiftModifier
CONTROL = Qt.KeyboardModifier.ControlModifier


@pytest.fixture(scope="session")
def drive_file(run_folder: Path) -> Driven:
    """A drive with the normal set in the vehicle."""
    from calib_model.store import read_set_here
    from calib_model.store.source import Stamp

    path = Path(__file__).resolve().parents[2] / "sample_sets" / "larch_normal.h5"
    stored = read_set_here(path.read_bytes(), path, Stamp.of(path.stat()))
    content = document_of(stored, path, "Ada").content
    get_ready(Quiet())
    return write_drive(run_folder / "snow_run.csv", content)


@pytest.fixture(scope="session")
def read_once(drive_file: Driven) -> Recording:
    """The drive as it is read, which takes a process of its own each time."""
    return read_recording(drive_file.path)


@pytest.fixture
def road(opened: MainWindow, drive_file: Driven, read_once: Recording, wait) -> Any:  # type: ignore[no-untyped-def]
    """The part Recordings with the drive open; A is the practice set, B the normal one."""
    opened.resize(1366, 740)
    opened.show_area("road")
    service = opened.areas.page("road").recordings.service
    service._take_in(drive_file.path, read_once, None)
    wait(lambda: _outcome(opened) is not None)
    return opened.areas.page("road").recordings


def _outcome(window: MainWindow) -> Any:
    chosen = window.areas.page("road").recordings.service.chosen
    return None if chosen is None or chosen.running else chosen.outcome


def press(qtbot, widget: Any, *keys: Any) -> None:  # type: ignore[no-untyped-def]
    """Press keys; a pair is a key with a modifier."""
    for key in keys:
        qtbot.keyClick(widget, *(key if isinstance(key, tuple) else (key,)))


def use_normal(window: MainWindow, wait) -> None:  # type: ignore[no-untyped-def]
    """Make the set that was in the vehicle A, and the practice set B."""
    window.editing.swap_sets()
    wait(lambda: _outcome(window) is not None and _outcome(window).a.content is
         window.desk.current.content)  # fmt: skip


@pytest.mark.usefixtures("reading_process")
def test_a_recording_is_opened_and_shown(opened: MainWindow, road, drive_file: Driven) -> None:
    assert opened.area == "road"
    assert opened.areas.page("road").part == "recordings"
    drive = road.service.chosen
    assert drive.name == "snow_run.csv"
    assert drive.recording.vehicle_set_digest == drive_file.set_digest
    names = [view.strip.name for view in road.plot.strips]
    assert names == ["speed", "torque", "difference", "slip"]
    assert [t.role for t in road.plot.strips[1].strip.traces] == ["a", "b", "measured"]


def test_the_planted_faults_are_listed_and_lead_to_their_moments(
    road,
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    kinds = {row.texts[0] for row in road.faults.list.rows}
    assert kinds == {"gap", "duplicate stamp"}
    road.show_tab("faults")
    place = next(i for i, row in enumerate(road.faults.list.rows) if row.texts[0] == "gap")
    road.faults.list.setCurrentIndex(road.faults.list.rows_model.index(place, 0))
    press(qtbot, road.faults.list, K.Key_Return)
    assert road.player.moment == pytest.approx(GAP[0], abs=0.05)
    masked = road.plot.scene.masked
    assert any(start < GAP[0] + 0.1 and end > GAP[1] - 0.1 for start, end in masked)


def test_a_foreign_set_is_no_evidence_and_the_banner_says_why(road) -> None:
    # The practice set is edited, the normal one was in the vehicle and is at hand.
    outcome = road.service.chosen.outcome
    assert outcome.judged.content is not outcome.a.content
    assert outcome.counts
    drive = road.service.chosen
    drive.recording = type(drive.recording)(
        **{
            **{f: getattr(drive.recording, f) for f in drive.recording.__dataclass_fields__},
            "vehicle_set_digest": "f" * 64,
        }
    )
    road.service.outdate()
    road.service.replay_now()
    while drive.running:
        road.service.jobs.running[0].wait()
    assert not drive.outcome.counts
    assert road.bar.mark.text().startswith("✗")
    assert "no evidence" in road.bar.verdict.text()


def test_what_a_set_leaves_empty_is_said_beside_the_verdict(opened: MainWindow, road, wait) -> None:
    from calib_model.editing.change import values_change

    use_normal(opened, wait)
    assert "A is replayed without" not in road.bar.verdict.text()
    table = opened.desk.current.content["slip_gain"]  # type: ignore[union-attr]
    empty = np.full(table.shape, np.nan)
    before = _outcome(opened)
    assert opened.desk.do(values_change(table, empty, "Empty the table"))
    wait(lambda: _outcome(opened) not in (None, before))
    assert "A is replayed without slip gain" in road.bar.verdict.text()


def test_the_vehicles_own_set_is_trusted(opened: MainWindow, road, wait) -> None:
    use_normal(opened, wait)
    assert road.bar.mark.text().startswith("✓")
    road.show_tab("agreement")
    (row,) = road.agreement.list.rows
    assert row.texts[0] == "torque"
    assert row.texts[1] == "100 %"


def test_the_play_head_is_moved_by_keys(opened: MainWindow, road, qtbot) -> None:  # type: ignore[no-untyped-def]
    plot, player = road.plot, road.player
    step = plot.scene.time[1] - plot.scene.time[0]
    start = player.moment
    press(qtbot, plot, K.Key_Right, K.Key_Right, K.Key_Left)
    assert player.moment == pytest.approx(start + step)
    press(qtbot, plot, K.Key_Home, (K.Key_Right, SHIFT))
    assert player.moment == pytest.approx(start + 1.0)
    press(qtbot, plot, K.Key_PageDown)
    assert player.moment == pytest.approx(start + 11.0)
    press(qtbot, plot, K.Key_PageUp, (K.Key_Left, SHIFT), K.Key_End)
    assert player.tick == plot.scene.time.size - 1
    press(qtbot, plot, K.Key_Home, K.Key_F)
    assert player.moment == pytest.approx(DOUBLE, abs=0.05)
    press(qtbot, plot, K.Key_F, (K.Key_F, SHIFT))
    assert player.moment == pytest.approx(DOUBLE, abs=0.05)


def test_changes_of_the_governing_table_are_walked(road, qtbot) -> None:  # type: ignore[no-untyped-def]
    codes = road.service.chosen.outcome.a.run.governing
    press(qtbot, road.plot, K.Key_Home)
    wanted = np.flatnonzero(np.diff(codes)) + 1
    for tick in wanted[:3]:
        press(qtbot, road.plot, K.Key_G)
        assert road.player.tick == tick
    press(qtbot, road.plot, (K.Key_G, SHIFT))
    assert road.player.tick == wanted[1]


def test_zooming_keeps_the_play_head_in_sight(road, qtbot) -> None:  # type: ignore[no-untyped-def]
    road.player.go_to(30.0)
    press(qtbot, road.plot, K.Key_Plus, K.Key_Plus)
    low, high = road.plot.view()
    assert high - low < 12
    assert low <= 30.0 <= high
    road.player.go_to(2.0)
    low, high = road.plot.view()
    assert low <= 2.0 <= high
    press(qtbot, road.plot, K.Key_0)
    assert road.plot.view() == pytest.approx(road.plot.whole())


def test_the_read_out_is_exact_at_the_play_head(road) -> None:
    outcome = road.service.chosen.outcome
    road.player.go_to(27.0)
    tick = road.player.tick
    words = [entry.words for entry in road.plot.key.entries]
    torque = float(outcome.a.output("torque")[tick])
    said = next(w for w in words if "commanded, A" in w)
    number = float(said.split()[-2].replace("\N{MINUS SIGN}", "-"))
    assert number == pytest.approx(torque, rel=1e-5)


def test_a_click_moves_the_play_head(road, qtbot) -> None:  # type: ignore[no-untyped-def]
    view = road.plot.strips[1]
    road.plot.draw_now()
    place = view.to_viewport(12.0, 0.0).toPoint()
    qtbot.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert road.player.moment == pytest.approx(12.0, abs=0.2)


def test_a_moment_lists_its_cells_and_enter_goes_to_tune(
    opened: MainWindow,
    road,
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    road.player.go_to(12.0)
    road.show_tab("moment")
    outcome = road.service.chosen.outcome
    rows = road.moment.list.rows
    decider = outcome.a.governing_at(road.player.tick)
    assert rows[0].texts[0] == decider.label
    assert rows[0].texts[3] == "decides"
    uses = outcome.a.cells_at(decider.id, road.player.tick)
    assert rows[1].key[:2] == (decider.id, uses[0].cell)
    press(qtbot, road.moment.list, K.Key_Return)
    assert opened.area == "tune"
    assert opened.desk.table.id == decider.id
    assert opened.desk.cursor == uses[0].cell


def test_enter_in_the_plots_goes_to_the_deciding_cell(
    opened: MainWindow,
    road,
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    road.player.go_to(12.0)
    decider = road.service.chosen.outcome.a.governing_at(road.player.tick)
    press(qtbot, road.plot, K.Key_Return)
    assert opened.area == "tune"
    assert opened.desk.table.id == decider.id


def test_a_cell_of_tune_lists_its_moments(opened: MainWindow, road, qtbot) -> None:  # type: ignore[no-untyped-def]
    outcome = road.service.chosen.outcome
    road.player.go_to(12.0)
    decider = outcome.a.governing_at(road.player.tick)
    cell = outcome.a.cells_at(decider.id, road.player.tick)[0].cell
    opened.show_area("tune")
    opened.desk.open_table(decider.id, cell)
    opened.activateWindow()
    qtbot.keyClick(opened.grid, K.Key_F5, SHIFT)
    assert opened.area == "road"
    stays = outcome.a.moments_of(decider.id, cell)
    assert len(road.cell.list.rows) == len(stays) > 0
    road.cell.list.setCurrentIndex(road.cell.list.rows_model.index(0, 0))
    press(qtbot, road.cell.list, K.Key_Return)
    assert road.player.moment == pytest.approx(stays[0].start, abs=0.011)


def test_coverage_and_operating_point_reach_the_tables(
    opened: MainWindow,
    road,
    wait,
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    use_normal(opened, wait)
    used = opened.desk.driving.coverage_of("pre_engage_torque")
    outcome = road.service.chosen.outcome
    assert used is not None
    assert used.dwell.sum() == pytest.approx(outcome.ticks.seconds, abs=0.1)
    road.player.go_to(12.0)
    qtbot.waitUntil(lambda: opened.desk.driving.trail["pedal"].size > 10)
    assert opened.desk.driving.play_head["ambient_temperature"] == -8.0
    assert opened.desk.driving.trail["pedal"][-1] == opened.desk.driving.play_head["pedal"]
    road.bar.counts.click()
    assert opened.desk.driving.coverage_of("pre_engage_torque") is None


def test_the_chosen_vehicle_gives_the_constants(
    opened: MainWindow, road, wait, tmp_path: Path
) -> None:
    drive = road.service.chosen
    assert "invented programme Larch" in road.bar.verdict.text()
    before = drive.outcome.ticks.known["axle_speed_difference"]
    shipped = Path(__file__).resolve().parents[2] / "sample_sets" / "larch_vehicle.toml"
    text = shipped.read_text(encoding="utf-8")
    path = tmp_path / "large_wheels.toml"
    path.write_text(text.replace("\nrear_ratio = 2.6", "\nrear_ratio = 5.2"), encoding="utf-8")
    vehicle_in_use(opened.desk).choose(path)
    wait(lambda: _outcome(opened) is not None and _outcome(opened).vehicle.path == path)
    after = _outcome(opened).ticks.known["axle_speed_difference"]
    # A speed at the shaft is the ratio times that at the wheels.
    np.testing.assert_allclose(after, 2 * before, rtol=1e-9)
    assert "large_wheels.toml" in road.bar.verdict.text()
    vehicle_in_use(opened.desk).choose(None)


def test_coverage_of_other_breakpoints_is_not_shown(opened: MainWindow, road, wait) -> None:
    desk = opened.desk
    id = "pre_engage_torque"
    before = desk.driving.coverage_of(id)
    assert before is not None
    others = {t for t in desk.current.content.tables if t != id and desk.driving.coverage_of(t)}
    value = float(desk.current.content[id].axes[0].values[1]) + 1.0
    assert desk.do(lambda: move_breakpoint(desk.current.content, id, 0, 1, value))
    assert desk.driving.coverage_of(id) is None, "the same shape, but other cells"
    assert {t for t in others if desk.driving.coverage_of(t)} == others
    wait(lambda: desk.driving.coverage_of(id) is not None)
    assert desk.driving.coverage_of(id).axes == desk.current.content[id].axes
    assert desk.driving.coverage_of(id).dwell.sum() == pytest.approx(before.dwell.sum())


def test_an_edit_replays_the_drive(opened: MainWindow, road, wait) -> None:
    from calib_model.editing.change import values_change

    use_normal(opened, wait)
    before = road.service.chosen.outcome
    table = opened.desk.current.content["pre_engage_torque"]
    assert opened.desk.do(values_change(table, table.values * 0.5, "Halve"))
    wait(lambda: _outcome(opened) not in (None, before))
    after = road.service.chosen.outcome
    assert after.a.content is opened.desk.current.content
    assert np.nanmax(np.abs(after.a.output("torque") - before.a.output("torque"))) > 10
    assert after.counts, "the state that was in the vehicle is found among the earlier ones"


def test_a_drive_is_recorded_as_evidence(opened: MainWindow, road, wait, qtbot) -> None:  # type: ignore[no-untyped-def]
    use_normal(opened, wait)
    press(qtbot, road.plot, K.Key_E)
    wait(lambda: bool(opened.desk.current.content.record.drives))
    (drive,) = opened.desk.current.content.record.drives
    assert drive.name == "snow_run.csv"
    assert drive.by == "Ada"
    assert drive.seconds == pytest.approx(39, abs=0.2)
    assert stamp()[:10] == drive.time[:10]


def test_a_complaint_is_handed_over(opened: MainWindow, road, qtbot) -> None:  # type: ignore[no-untyped-def]
    road.player.go_to(27.0)
    deciding = road.service.chosen.outcome.a.deciding_at(road.player.tick)
    with qtbot.waitSignal(road.complaint_wanted) as handed:
        press(qtbot, road.plot, K.Key_C)
    name, sha256, moment, tables = handed.args
    assert (name, moment) == ("snow_run.csv", pytest.approx(27.0))
    assert sha256 == road.service.chosen.recording.sha256
    assert tuple(tables) == deciding
    assert opened.areas.page("road").part == "complaints"
    # N in Complaints takes the same moment.
    form = opened.areas.page("road").complaints.raise_form
    form.start(opened.desk.current.content, "Ada")
    assert (form.moment[0], form.tables) == ("", ())
    opened.areas.page("road").complaints.act("new")
    assert form.moment == (name, sha256, moment)
    assert form.tables == deciding
    assert deciding
    opened.areas.page("road").show_moment(sha256, 5.0)
    assert opened.areas.page("road").part == "recordings"
    assert road.player.moment == pytest.approx(5.0)


@pytest.mark.usefixtures("reading_process")
def test_a_dropped_recording_is_read_and_opened(
    opened: MainWindow, drive_file: Driven, wait
) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(drive_file.path))])
    drop = QDropEvent(
        QPointF(50, 50),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    opened.dropEvent(drop)
    wait(lambda: _outcome(opened) is not None)
    assert opened.area == "road"


def test_nothing_is_open_says_what_to_do(opened: MainWindow) -> None:
    opened.show_area("road")
    text = opened.areas.page("road").recordings.empty.text()
    assert "Ctrl+F3" in text
    assert "ISO 26262" not in text, "the line below the parts says it"
    for key in ("change", "fault", "cell", "complaint", "evidence", "right", "last", "whole"):
        opened.areas.page("road").recordings.order(key)  # harmless without a recording


def test_the_plot_has_the_whole_screen_and_gives_it_back(road, qtbot) -> None:  # type: ignore[no-untyped-def]
    place, moment = road.across.indexOf(road.plot), road.player.moment
    press(qtbot, road.plot, Qt.Key.Key_Z)
    assert road.full.on
    assert road.full.isFullScreen()
    assert road.full.size() == road.screen().size()
    assert road.across.indexOf(road.plot) < 0
    press(qtbot, road.plot, Qt.Key.Key_Right)
    assert road.player.moment > moment, "its keys work there as well"
    press(qtbot, road.plot, Qt.Key.Key_Escape)
    assert not road.full.isVisible()
    assert road.across.indexOf(road.plot) == place
    assert road.plot.isVisible()
    press(qtbot, road.plot, Qt.Key.Key_Z, Qt.Key.Key_C)
    assert not road.full.on, "what lies elsewhere ends it"


def test_names_in_the_totals_are_whole(road, qtbot) -> None:  # type: ignore[no-untyped-def]
    """Two tables whose names begin alike were cut to the same words."""
    road.show_tab("totals")
    shown = road.totals.list
    road.across.setSizes([2000, 340])

    def whole() -> bool:
        metrics = shown.fontMetrics()
        lines = [
            metrics.boundingRect(0, 0, shown.columnWidth(0) - 6, 1000,
                                 Qt.TextFlag.TextWordWrap, row.texts[0]).height()
            for row in shown.rows
        ]  # fmt: skip
        return all(shown.rowHeight(n) >= height for n, height in enumerate(lines)) and max(
            lines
        ) > min(lines)

    qtbot.waitUntil(whole)


def test_closing_a_recording_clears_the_tables(opened: MainWindow, road, wait) -> None:
    road.close_recording()
    wait()
    assert not opened.desk.driving.has_coverage
    assert not opened.desk.driving.play_head
    assert road.stack.currentWidget() is road.empty


def test_a_file_that_cannot_be_read_is_told(opened: MainWindow, tmp_path: Path, wait) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_bytes(b"\x00\x01 nothing")
    opened.files.open([bad])
    wait()
    panel = opened.areas.page("road").recordings
    assert panel.notice.isVisible()
    assert "bad.csv could not be read" in panel.notice.words.text()
    worse = tmp_path / "worse.csv"
    worse.write_bytes(b"")
    opened.files.open([worse])
    wait()
    lines = panel.notice.words.text().splitlines()
    assert [line.split()[0] for line in lines] == ["bad.csv", "worse.csv"], "each is told"


def test_a_doubtful_layout_is_asked_about(opened: MainWindow, tmp_path: Path, wait, qtbot) -> None:  # type: ignore[no-untyped-def]
    rows = "\n".join(f"{i * 10};{20 + i % 5};{i % 90}" for i in range(500))
    path = tmp_path / "doubt.csv"
    path.write_text(f"time;pedal;vehicle_speed\n{rows}\n")
    opened.files.open([path])
    wait()
    panel = opened.areas.page("road").recordings
    assert panel.layout_form.isVisible(), "the unit of the time is not said"
    assert "time" in panel.layout_form.words.text()
    field = panel.layout_form.fields["time_unit"]
    field.setCurrentIndex(field.findData("ms"))
    press(qtbot, field, K.Key_Return)
    wait(lambda: panel.service.chosen is not None)
    assert panel.service.chosen.recording.seconds == pytest.approx(4.99)

    # The next run of the same source is not asked about; one with other columns is.
    for name, head, asked in (("next", "time;pedal;vehicle_speed", False),
                              ("other", "time;pedal;yaw_rate", True)):  # fmt: skip
        path = tmp_path / f"{name}.csv"
        path.write_text(f"# driver {name}\n{head}\n{rows}\n")
        opened.files.open([path])
        wait()
        assert panel.layout_form.isVisible() is asked
        assert (panel.service.chosen.name == path.name) is not asked
    press(qtbot, panel.layout_form.fields["separator"], K.Key_Escape)
    drive = panel.service.at(tmp_path / "next.csv")
    assert drive.recording.seconds == pytest.approx(4.99)

    # Where the user takes it back, it is asked again.
    panel.service.open([path.with_name("next.csv")], {})
    wait()
    assert panel.layout_form.isVisible()
    field.setCurrentIndex(field.findData("us"))
    press(qtbot, field, K.Key_Return)
    wait(lambda: panel.service.chosen.recording.seconds < 0.1)
    panel.service.close(panel.service.chosen)
    opened.files.open([path.with_name("next.csv")])
    wait(lambda: panel.service.chosen.name == "next.csv")
    assert panel.service.chosen.recording.seconds == pytest.approx(4.99e-3)


def test_what_was_said_of_a_source_and_fits_a_file_no_more_is_asked_again(
    opened: MainWindow, tmp_path: Path, wait
) -> None:
    rows = "\n".join(f"{i * 10};{20 + i % 5};{i % 90}" for i in range(500))
    path = tmp_path / "doubt.csv"
    path.write_text(f"time;pedal;vehicle_speed\n{rows}\n")
    service = opened.areas.page("road").recordings.service
    service.layouts.keep(head_key(path), {"time": "no such column", "time_unit": "ms"})
    opened.files.open([path])
    wait()
    assert opened.areas.page("road").recordings.layout_form.isVisible()
    assert service.chosen is None


def test_the_mapping_is_changed_by_keys_and_remembered(
    opened: MainWindow,
    road,
    drive_file: Driven,
    wait,
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    from calib_model.evidence.mapping import Constant

    road.show_tab("channels")
    tab = road.channels
    assert tab.list.choose("oil_temperature")
    press(qtbot, tab.list, K.Key_Return)
    tab.source.setCurrentIndex(1)  # a constant
    tab._show_fields()
    tab.number.setText("65")
    press(qtbot, tab.number, K.Key_Return)
    wait(lambda: _outcome(opened) is not None)
    assert road.service.chosen.chosen.get("oil_temperature") == Constant(65.0)
    assert "oil temperature 65" in tab.words.text()
    road.close_recording()
    road.open([drive_file.path])
    wait(lambda: _outcome(opened) is not None)
    assert road.service.chosen.chosen.get("oil_temperature") == Constant(65.0)


def test_a_wrong_number_in_the_mapping_is_refused(road, qtbot) -> None:  # type: ignore[no-untyped-def]
    told: list[tuple[str, bool]] = []
    road.desk.told.connect(lambda text, refused: told.append((text, refused)))
    road.show_tab("channels")
    road.channels.list.choose("grade")
    road.channels.source.setCurrentIndex(1)
    road.channels.number.setText("steep")
    road.channels._use()
    assert told[-1][1]
    assert "is no number" in told[-1][0]


def test_the_newest_run_of_a_watched_folder_is_one_key_away(
    opened: MainWindow,
    drive_file: Driven,
    tmp_path: Path,
    wait,
    qtbot,  # type: ignore[no-untyped-def]
) -> None:
    folder = tmp_path / "runs"
    folder.mkdir()
    opened.show_area("road")
    panel = opened.areas.page("road").recordings
    panel.watching.use(folder)
    panel.watching.watch._timer.stop()
    (folder / "run_1.csv").write_bytes(drive_file.path.read_bytes())
    panel.watching.watch.look()
    panel.watching.watch.look()
    assert "run_1.csv" in panel.notice.words.text()
    opened.activateWindow()
    qtbot.keyClick(opened, K.Key_J, CONTROL | SHIFT)
    wait(lambda: _outcome(opened) is not None)
    assert panel.service.chosen.name == "run_1.csv"
    assert opened.settings.remembered("road/watched") == str(folder)


def test_the_keyboard_goes_round_the_panes(opened: MainWindow, road, qtbot) -> None:  # type: ignore[no-untyped-def]
    opened.activateWindow()
    road.take_keyboard()
    assert road.plot.hasFocus()
    seen = []
    for _ in range(3):
        qtbot.keyClick(opened, K.Key_F6)
        seen.append(opened.focusWidget())
    assert seen[0] is road.moment.list
    assert seen[1] is road.bar.drives
    assert seen[2] is road.plot


@pytest.mark.parametrize("size", [(683, 384), (1366, 768)])
def test_all_fits_on_small_screens(opened: MainWindow, road, size: tuple[int, int], qtbot) -> None:  # type: ignore[no-untyped-def]
    opened.resize(*size)
    settled(qtbot, opened)
    assert road.width() <= opened.width()
    narrow = road.width() < 860
    assert road.plot.isVisible() != road.tabs.isVisible() or not narrow
    assert any(view.isVisible() for view in road.plot.strips)
