"""Driving over the grid, the heat map and the lines, and the operating point with its trail."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from scipy.interpolate import RegularGridInterpolator

from app.desk import Desk
from app.grid.model import GridModel
from app.grid.source import DeskSource
from app.grid.view import GridView
from app.plots.curve import CurveView
from app.plots.heatmap import HeatMapView
from app.plots.panel import PlotPanel
from app.plots.slices import SlicesView
from app.plots.trail import trail_of
from app.plots.view import PlotView
from app.tune.header import TableHeader
from calib_model.editing.lock_changes import set_locks
from tests.overlay.driving import drive, driven_desk, moment, used
from tests.plots import demo_set as demo
from tests.waiting import settled


def shown(qtbot, view: PlotView, size: tuple[int, int] = (620, 520)) -> PlotView:
    qtbot.addWidget(view)
    view.resize(*size)
    view.show()
    qtbot.waitUntil(lambda: view.canvas is not None)
    view.refresh()
    settled(qtbot, view)
    return view


def places(view: PlotView, kind: str) -> set[tuple[float, float]]:
    """Where marks of a kind are drawn."""
    found = set()
    for item in view._over.marks[kind]:
        if item.isVisible():
            found |= {(float(p.pos().x()), float(p.pos().y())) for p in item.points()}
    return found


def cells_of(view: HeatMapView, kind: str) -> set[tuple[int, int]]:
    return {
        (int(np.searchsorted(view._y, y)) - 1, int(np.searchsorted(view._x, x)) - 1)
        for x, y in places(view, kind)
    }


def where(mask: np.ndarray) -> set[tuple[int, ...]]:
    return {tuple(int(i) for i in cell) for cell in np.argwhere(mask)}


def test_the_heat_map_marks_the_cells_that_histogramdd_counts(qtbot) -> None:
    """Dwell by numpy.histogramdd over the midpoints between breakpoints."""
    desk = driven_desk()
    view = shown(qtbot, HeatMapView(desk))
    use = used(demo.pre_engage(), drive())
    decided = use.decided > 0
    assert cells_of(view, "box") == where(decided)
    assert cells_of(view, "half") == where((use.dwell > 0) & ~decided)
    assert where(decided)
    assert where((use.dwell > 0) & ~decided)
    # The arrow head stands right of the mark, in the same cell.
    assert cells_of(view, "beyond") == where(use.extrapolated > 0) != set()
    words = [e.words for e in view.legend.entries]
    assert "driven, the table never decided" in words
    assert "driven, and the table decided (larger from 1, 10 and 60 s)" in words


def test_a_longer_stay_has_a_larger_mark(qtbot) -> None:
    desk = driven_desk()
    view = shown(qtbot, HeatMapView(desk), (1400, 1000))
    use = used(demo.pre_engage(), drive())
    sizes: dict[int, set[float]] = {}
    for item in view._over.marks["box"]:
        for point in item.points() if item.isVisible() else ():
            row = int(np.searchsorted(view._y, point.pos().y())) - 1
            column = int(np.searchsorted(view._x, point.pos().x())) - 1
            level = int(np.searchsorted([1.0, 10.0, 60.0], use.dwell[row, column], side="right"))
            sizes.setdefault(level, set()).add(point.size())
    assert len(sizes) >= 2
    assert all(len(s) == 1 for s in sizes.values())
    rising = [sizes[level].copy().pop() for level in sorted(sizes)]
    assert rising == sorted(set(rising))


def test_the_switch_takes_the_marks_away_everywhere(qtbot) -> None:
    desk = driven_desk()
    panel = PlotPanel(desk)
    qtbot.addWidget(panel)
    panel.resize(900, 600)
    panel.show()
    qtbot.waitUntil(lambda: panel.heat.canvas is not None)
    panel.heat.refresh()
    assert places(panel.heat, "box")
    panel.driving_box.click()
    assert not desk.driving.shows_driving
    panel.heat.refresh()
    assert not places(panel.heat, "box")
    assert not any("driven" in e.words for e in panel.heat.legend.entries)
    desk.driving.show_driving(True)
    assert panel.driving_box.isChecked()
    desk.driving.set_coverage(None)
    assert panel.driving_box.isHidden()


def test_a_curve_is_marked_at_its_foot_under_the_breakpoints(qtbot) -> None:
    desk = driven_desk("pre_engage_fade")
    view = shown(qtbot, CurveView(desk))
    use = used(demo.fade(), drive())
    speeds = np.array([0, 5, 10, 20, 40, 60, 90, 130.0])
    drawn = {x for x, _ in places(view, "box") | places(view, "half")}
    assert drawn == set(speeds[use.dwell > 0].tolist())
    (_, _), (low, _) = view.canvas.shown_range()
    assert all(y == pytest.approx(low + 8 * view.canvas.pixel()[1]) for _, y in places(view, "box"))


def test_slices_mark_the_cells_of_the_slice_in_work(qtbot) -> None:
    desk = driven_desk()
    view = shown(qtbot, SlicesView(desk))
    use = used(demo.pre_engage(), drive())
    for row in (3, 8):
        desk.set_cursor((row, 2))
        view.refresh()
        drawn = {x for x, _ in places(view, "box") | places(view, "half")}
        assert drawn == set(np.array(demo.PEDAL, float)[use.dwell[row] > 0].tolist())
    assert not (use.dwell[8] > 0).any()


def test_the_read_out_and_the_header_say_it(qtbot) -> None:
    desk = driven_desk()
    view = shown(qtbot, HeatMapView(desk))
    header = TableHeader(desk)
    qtbot.addWidget(header)
    use = used(demo.pre_engage(), drive())
    cell = np.unravel_index(int(use.dwell.argmax()), use.dwell.shape)
    desk.set_cursor((int(cell[0]), int(cell[1])))
    view.refresh()
    expected = f"driven {use.dwell[cell]:.1f} s, decided {use.decided[cell]:.1f} s"
    assert use.dwell[cell] < 99.9
    assert expected in view.read_out.whole
    assert expected in header._cell.text()
    assert f"in {int((use.dwell > 0).sum())} of 120 cells" in header._facts.text()


def test_the_grid_says_and_draws_how_cells_were_driven(qtbot) -> None:
    desk = driven_desk()
    model = GridModel(DeskSource(desk))
    use = used(demo.pre_engage(), drive())
    for row in range(10):
        for column in range(12):
            look = model.look(row, column)
            assert (look.level > 0) == (use.dwell[row, column] > 0)
            assert look.full == (use.decided[row, column] > 0)
            assert look.past_end == (use.extrapolated[row, column] > 0)
    row, column = (int(i) for i in np.argwhere(use.extrapolated > 0)[0])
    index = model.index(row, column)
    spoken = model.data(index, Qt.ItemDataRole.AccessibleTextRole)
    assert f"{use.extrapolated[row, column]:.1f} s beyond the end" in spoken
    assert "Driven" in model.data(index, Qt.ItemDataRole.ToolTipRole)
    changed = []
    model.dataChanged.connect(lambda first, last: changed.append((first.row(), last.row())))
    desk.driving.show_driving(False)
    assert changed == [(0, 9)]
    assert model.look(row, column).level == 0
    assert "driven" not in model.data(index, Qt.ItemDataRole.AccessibleTextRole)


def cell_image(view: GridView, row: int, column: int) -> QImage:
    return view.viewport().grab(view.visualRect(view.model().index(row, column))).toImage()


def test_the_grids_bar_is_longer_for_longer_and_dotted_where_nothing_was_decided(qtbot) -> None:
    desk = driven_desk()
    view = GridView(desk)
    qtbot.addWidget(view)
    view.resize(1100, 420)
    view.show()
    settled(qtbot, view)
    desk.set_cursor((9, 11))
    use = used(demo.pre_engage(), drive())
    bare = GridView(demo.demo_desk())
    qtbot.addWidget(bare)
    bare.resize(1100, 420)
    bare.show()
    settled(qtbot, bare)
    bare.source.set_cursor((9, 11))

    def inked(row: int, column: int) -> np.ndarray:
        """Columns of pixels that differ from a grid without driving."""
        a, b = cell_image(view, row, column), cell_image(bare, row, column)
        assert a.size() == b.size()
        return np.array(
            [any(a.pixel(x, y) != b.pixel(x, y) for y in range(a.height()))
             for x in range(a.width())]
        )  # fmt: skip

    decided = use.decided > 0
    short_stay = tuple(np.argwhere(decided & (use.dwell < 20) & (use.extrapolated == 0))[0])
    long_stay = tuple(np.argwhere(decided & (use.dwell >= 60) & (use.extrapolated == 0))[0])
    undecided = tuple(np.argwhere((use.dwell >= 1) & ~decided)[0])
    empty = tuple(np.argwhere(use.dwell == 0)[0])
    assert 0 < inked(*short_stay).sum() < inked(*long_stay).sum()
    assert not inked(*empty).any()
    runs = np.diff(np.flatnonzero(np.diff(inked(*undecided).astype(int))))
    assert runs.size > 4
    assert runs.max() == 2  # two pixels on, two off
    assert np.diff(np.flatnonzero(inked(*long_stay))).max() == 1  # solid


# -- the operating point ----------------------------------------------------------------------


def test_the_trail_is_what_scipy_reads_from_the_table(qtbot) -> None:
    """scipy.interpolate.RegularGridInterpolator, linear, on points held at the ends."""
    desk = driven_desk()
    moment(desk, 9000, 700)
    table, inputs = desk.table, drive()
    trail = trail_of(table, desk.driving.play_head, desk.driving.trail)
    span = slice(8300, 9001)
    assert np.array_equal(trail.places[0], inputs["ambient_temperature"][span])
    assert np.array_equal(trail.places[1], inputs["pedal"][span])
    axes = [a.values for a in table.axes]
    points = np.stack(
        [np.clip(p, a[0], a[-1]) for p, a in zip(trail.places, axes, strict=True)], -1
    )
    assert trail.values == pytest.approx(RegularGridInterpolator(axes, table.values)(points))


def test_the_heat_map_draws_the_trail_at_true_places(qtbot) -> None:
    desk = driven_desk()
    view = shown(qtbot, HeatMapView(desk))
    moment(desk, 9000, 700)
    view.refresh()
    inputs = drive()
    x, y = view._over.way.getData()
    assert np.array_equal(x, inputs["pedal"][8300:9001])
    assert np.array_equal(y, inputs["ambient_temperature"][8300:9001])
    (head,) = view._over.head.points()
    assert (head.pos().x(), head.pos().y()) == (x[-1], y[-1])
    assert not view._over.head_beyond.isVisible()
    assert "operating point" in [e.words for e in view.legend.entries]


def test_a_point_beyond_the_axis_is_drawn_at_its_end_with_a_cross(qtbot) -> None:
    desk = driven_desk()
    view = shown(qtbot, HeatMapView(desk))
    moment(desk, 19_990, 50)  # -44 degC; the axis ends at -40
    view.refresh()
    (head,) = view._over.head.points()
    assert head.pos().y() == -40.0
    assert view._over.head_beyond.isVisible()
    assert "beyond the axis: read at its end" in [e.words for e in view.legend.entries]


def test_lines_draw_the_operating_point_at_the_value_that_is_read(qtbot) -> None:
    desk = driven_desk("pre_engage_fade")
    view = shown(qtbot, CurveView(desk))
    moment(desk, 4000, 100)
    view.refresh()
    speed = drive()["vehicle_speed"][3900:4001]
    x, y = view._over.way.getData()
    assert np.array_equal(x, speed)
    curve = demo.fade()
    assert y == pytest.approx(np.interp(speed, curve.axes[0].values, curve.values))
    slices = shown(qtbot, SlicesView(desk_with_map := driven_desk()))
    moment(desk_with_map, 4000, 100)
    desk_with_map.set_cursor((9, 0))  # the slice in work is another: the point stays where it is
    slices.refresh()
    x, y = slices._over.way.getData()
    assert np.array_equal(x, drive()["pedal"][3900:4001])
    trail = trail_of(
        desk_with_map.table, desk_with_map.driving.play_head, desk_with_map.driving.trail
    )
    assert np.array_equal(y, trail.values)


def test_no_trail_where_the_table_reads_what_is_not_known(qtbot) -> None:
    desk: Desk = driven_desk()
    view = shown(qtbot, HeatMapView(desk))
    desk.driving.set_play_head({"pedal": 40.0})
    view.refresh()
    assert not view._over.head.isVisible()
    desk.driving.set_play_head({"pedal": 40.0, "ambient_temperature": -10.0})
    view.refresh()
    (head,) = view._over.head.points()
    assert (head.pos().x(), head.pos().y()) == (40.0, -10.0)
    desk.driving.set_play_head(None)
    view.refresh()
    assert not view._over.head.isVisible()
    assert not any(e.words == "operating point" for e in view.legend.entries)


def test_units_of_an_axis_are_minded() -> None:
    from dataclasses import replace

    table = demo.fade()
    in_metres = replace(table.axes[0], values=table.axes[0].values / 3.6, unit="m/s")
    trail = trail_of(table.with_axis(0, in_metres, table.values), {"vehicle_speed": 36.0}, {})
    assert trail.places[0] == pytest.approx([10.0])  # 36 km/h
    assert trail.values == pytest.approx([0.56])  # 0.8 at 20, 0.5 at 40 km/h


def test_driving_is_a_mode_of_its_own_with_few_marks(qtbot) -> None:
    """Signs, locks, findings and driving stood in one map; now driving stands alone."""
    desk = driven_desk()
    view = shown(qtbot, HeatMapView(desk))
    view.set_findings({(0, 0): ("error", "Too high.")})
    mask = np.zeros(desk.table.shape, dtype=bool)
    mask[1, 1] = True
    desk.do(set_locks(desk.table, mask, True))
    view.refresh()
    locked = view._items._dark_light["locked"]
    assert not view._items.findings["error"].isVisible()
    assert not any(item.isVisible() for item in locked)
    words = [entry.words for entry in view.legend.entries]
    assert not {"error", "locked"} & set(words)
    assert any("driven" in text for text in words)
    desk.driving.show_driving(False)
    view.refresh()
    assert view._items.findings["error"].isVisible()
    assert any(item.isVisible() for item in locked)
    assert {"error", "locked"} <= {entry.words for entry in view.legend.entries}
