"""The drawings of a drive: no peak is lost, gaps stay gaps, a map of cells says what it counts."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.table import Table
from calib_model.evidence.coverage import Coverage
from calib_model.reports.drive_svg import Signal, envelope, strip, time_plot
from calib_model.reports.visits_svg import order_by_use, visits_map

SVG = "{http://www.w3.org/2000/svg}"
PEDAL = Axis([0.0, 50.0, 100.0], name="Pedal <&>", unit="%", quantity="pedal")
SPEED = Axis([0.0, 80.0], name="Speed", unit="km/h", quantity="vehicle_speed")


@given(st.integers(1, 400), st.integers(1, 50), st.integers(0, 10_000))
def test_a_stretch_keeps_its_smallest_and_largest_value(size: int, columns: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(size=size)
    values[rng.random(size) < 0.3] = np.nan
    when, low, high = envelope(np.arange(size, dtype=float), values, columns)
    assert when.size == low.size == high.size <= max(columns, 1) or size <= columns
    if np.isfinite(values).any():
        assert np.nanmin(low) == np.nanmin(values)
        assert np.nanmax(high) == np.nanmax(values)
    else:
        assert np.isnan(low).all()
    assert (np.isnan(low) == np.isnan(high)).all()


def test_one_spike_in_an_hour_is_drawn() -> None:
    values = np.zeros(180_000)
    values[123_456] = 500.0
    drawn = time_plot(np.arange(180_000) * 0.02, [Signal("A", values, "a")], "Torque", "N·m")
    root = ET.fromstring(drawn)
    path = max((p.get("d", "") for p in root.iter(f"{SVG}path")), key=len)
    heights = {float(part) for part in _heights(path)}
    assert min(heights) < 40, "the spike reaches the top of the plot"
    assert len(drawn) < 60_000


def _heights(path: str) -> list[str]:
    import re

    return re.findall(r"[ML][\d.]+ ([\d.]+)", path) + re.findall(r"V([\d.]+)", path)


def test_a_gap_breaks_the_line() -> None:
    values = np.array([1.0, 2, np.nan, np.nan, 3, 4])
    drawn = ET.fromstring(time_plot(np.arange(6.0), [Signal("A", values, "a")], "Torque", "N·m"))
    paths = [p.get("d", "") for p in drawn.iter(f"{SVG}path") if p.get("stroke") == "#000"]
    assert any(path.count("M") == 2 for path in paths)


@pytest.mark.parametrize("values", [[], [np.nan, np.nan], [5.0], [0.0, 0.0]])
def test_little_or_nothing_is_drawn_without_an_error(values: list[float]) -> None:
    array = np.array(values, dtype=np.float64)
    time = np.arange(array.size, dtype=np.float64)
    root = ET.fromstring(time_plot(time, [Signal("A <x>", array, "a")], "T & t", "N·m"))
    assert root.findtext(f"{SVG}title") == "T & t"
    assert ET.fromstring(strip(time, [("row", array > 1)], "Who")).findtext(f"{SVG}title") == "Who"


def test_a_strip_joins_what_cannot_be_told_apart() -> None:
    time = np.arange(100_000) * 0.02
    mask = np.arange(100_000) % 2 == 0
    drawn = strip(time, [("steering limit", mask)], "Who decided")
    assert drawn.count("Z") < 5
    assert "steering limit" in drawn


def covered(table: Table, dwell: Any, decided: Any = 0.0, outside: Any = 0.0) -> Coverage:
    shape = table.shape
    arrays = [
        np.broadcast_to(np.asarray(x, float), shape).copy() for x in (dwell, outside, decided)
    ]
    return Coverage(table.id, table.axes, arrays[0], np.ones(shape, int), arrays[1], arrays[2])


def test_a_map_of_cells_says_the_seconds_of_each() -> None:
    table = Table("map", np.zeros((3, 2)), (PEDAL, SPEED), name="Torque & <co>")
    one = covered(table, [[0, 1.25], [30, 0.02], [0, 900]], [[0, 1], [0, 0], [0, 2]],
                  [[0, 0], [0, 0], [0, 5]])  # fmt: skip
    root = ET.fromstring(visits_map(table, one, {(0, 0): "V"}))
    texts = [t.text for t in root.iter(f"{SVG}text")]
    assert root.findtext(f"{SVG}title") == "Torque & <co>: seconds in each cell"
    for shown in ("1.2", "30", "0.02", "900", "V", "Pedal <&> [%]", "Speed [km/h]"):
        assert shown in texts, shown
    thick = [r for r in root.iter(f"{SVG}rect") if r.get("stroke-width") == "3"]
    assert len(thick) == 2, "two cells decided"
    corners = [p for p in root.iter(f"{SVG}path") if p.get("fill") == "#fff"]
    assert len(corners) == 1, "one cell was used beyond its axes"
    # The longest stay is the darkest, the unused cell white.
    fills = [r.get("fill") for r in root.iter(f"{SVG}rect") if r.get("stroke") == "#999"]
    shades = [255 if f == "#fff" else int(str(f)[4:].split(",")[0]) for f in fills]
    assert shades[0] == 255
    assert shades[5] == min(shades)
    assert shades[5] < shades[2] < shades[1] < shades[3]


def test_curves_are_one_row_and_others_are_not_drawn() -> None:
    curve = Table("curve", np.zeros(3), (PEDAL,))
    root = ET.fromstring(visits_map(curve, covered(curve, [1, 2, 3])))
    assert len([r for r in root.iter(f"{SVG}rect") if r.get("stroke") == "#999"]) == 3
    scalar = Table("scalar", 1.0)
    assert visits_map(scalar, covered(scalar, 1.0)) == ""
    large = Table("large", np.zeros(2000), (Axis(np.arange(2000.0)),))
    assert visits_map(large, covered(large, 1.0)) == ""


def test_those_that_decided_longest_come_first() -> None:
    tables = [Table(id, np.zeros(3), (PEDAL,)) for id in ("a", "b", "c", "d")]
    found = {
        "a": covered(tables[0], 5.0, 0.0),
        "b": covered(tables[1], 5.0, [1, 0, 0]),
        "c": covered(tables[2], 0.0),
        "d": covered(tables[3], 5.0, [2, 0, 0]),
    }
    assert [t.id for t in order_by_use(tables, found)] == ["d", "b", "a"]
