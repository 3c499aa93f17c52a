"""Dwell, visits, extrapolated and deciding time per cell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.errors import ModelError
from calib_model.evidence.bins import bins_of, edges
from calib_model.evidence.coverage import Coverage, added, coverage

TICK = 0.02
PEDAL = Axis([0.0, 10.0, 40.0, 100.0], unit="%", quantity="pedal")
SPEED = Axis([0.0, 5.0, 20.0, 60.0, 130.0], unit="km/h", quantity="vehicle_speed")
WIPER = Axis([0.0, 1.0, 2.0, 3.0], quantity="wiper_state", interpolation=Interpolation.STEP)


@dataclass
class Along:
    """A replay as far as counting needs it."""

    content: CalibrationSet
    fed: dict[str, np.ndarray]
    valid: np.ndarray
    deciding: np.ndarray | None = None
    tick_s: float = TICK

    def why_left_out(self, id: str) -> str:
        return "" if all(a.quantity in self.fed for a in self.content[id].axes) else "not fed"

    def points(self, id: str) -> tuple[np.ndarray, ...]:
        return tuple(self.fed[a.quantity] for a in self.content[id].axes)

    def decided(self, id: str) -> np.ndarray | None:
        return self.deciding


def counted(table: Table, *, valid: Any = None, deciding: Any = None, **fed: Any) -> Coverage:
    arrays = {name: np.asarray(x, dtype=np.float64) for name, x in fed.items()}
    size = max((x.size for x in arrays.values()), default=0)
    valid = np.ones(size, dtype=bool) if valid is None else np.asarray(valid)
    deciding = None if deciding is None else np.asarray(deciding)
    along: Any = Along(CalibrationSet((table,)), arrays, valid, deciding)
    return coverage(along.content, along, along)[table.id]


def test_dwell_is_what_histogramdd_counts() -> None:
    # Outside check: numpy.histogramdd over the midpoints between the breakpoints.
    rng = np.random.default_rng(5)
    count = 20_000
    pedal = np.clip(np.cumsum(rng.normal(0, 1.5, count)) % 200 - 50, -50, 150)
    speed = np.abs(np.cumsum(rng.normal(0, 0.5, count)))
    table = Table("map", np.zeros((4, 5)), (PEDAL, SPEED))
    found = counted(table, pedal=pedal, vehicle_speed=speed)
    middles = [
        np.concatenate([[-np.inf], (a.values[1:] + a.values[:-1]) / 2, [np.inf]])
        for a in (PEDAL, SPEED)
    ]
    expected, _ = np.histogramdd(np.stack([pedal, speed], axis=-1), bins=middles)
    assert expected.sum() == count
    np.testing.assert_allclose(found.dwell, expected * TICK, rtol=1e-12)
    outside = (pedal < 0) | (pedal > 100) | (speed > 130)
    beyond, _ = np.histogramdd(np.stack([pedal, speed], axis=-1)[outside], bins=middles)
    assert beyond.sum() > 0
    np.testing.assert_allclose(found.extrapolated, beyond * TICK, rtol=1e-12)


@given(
    st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=8, unique=True).map(sorted),
    st.lists(st.one_of(st.floats(-1e9, 1e9), st.just(float("nan"))), max_size=30),
)
def test_the_bin_is_the_nearest_breakpoint(breakpoints: list[float], xs: list[float]) -> None:
    axis = Axis(breakpoints)
    cuts = np.array(breakpoints)
    found = bins_of(axis, np.array(xs, dtype=np.float64))
    for x, cell in zip(xs, found.tolist(), strict=True):
        if np.isnan(x):
            assert cell == -1
        else:
            away = np.abs(cuts - x)
            assert away[cell] <= away.min() * (1 + 1e-9) + 1e-9
    assert edges(axis).size == len(axis) + 1


def test_a_step_axis_is_cut_at_its_breakpoints() -> None:
    table = Table("factor", [1.0, 1.1, 1.2, 1.3], (WIPER,))
    found = counted(table, wiper_state=[-1, 0, 0.9, 1.0, 2.7, 3.0, 9.0])
    np.testing.assert_allclose(found.dwell, np.array([3, 1, 1, 2]) * TICK)
    # Below the first breakpoint the first cell holds, beyond the last one the last.
    np.testing.assert_allclose(found.extrapolated, np.array([1, 0, 0, 1]) * TICK)


def test_a_stay_ends_with_a_change_of_cell_or_a_gap() -> None:
    table = Table("curve", [1.0, 2, 3, 4], (PEDAL,))
    pedal = [0, 0, 10, 0, np.nan, 0, 0, 0, 0]
    valid = [True] * 6 + [False] + [True] * 2
    found = counted(table, pedal=pedal, valid=valid)
    assert found.visits.tolist() == [4, 1, 0, 0]
    np.testing.assert_allclose(found.dwell, np.array([6, 1, 0, 0]) * TICK)
    assert found.words == "2 of 4 cells used, 0 of them deciding"


def test_deciding_time_is_part_of_the_dwell() -> None:
    table = Table("curve", [1.0, 2, 3, 4], (PEDAL,))
    found = counted(table, pedal=[0, 0, 40, 40, 100], deciding=[True, False, True, True, False])
    np.testing.assert_allclose(found.decided, np.array([1, 0, 2, 0]) * TICK)
    assert (found.decided <= found.dwell).all()
    assert found.words == "3 of 4 cells used, 2 of them deciding"


def test_a_scalar_is_one_cell() -> None:
    table = Table("tick", 20.0)
    along: Any = Along(CalibrationSet((table,)), {}, np.array([True, False, True]))
    found = coverage(along.content, along, along)["tick"]
    assert (found.dwell.shape, float(found.dwell), int(found.visits)) == ((), 2 * TICK, 2)


def test_tables_that_share_axes_are_counted_alike_and_apart() -> None:
    held = replace(PEDAL, above=End.EXTRAPOLATED)
    tables = (Table("a", np.zeros(4), (PEDAL,)), Table("b", np.zeros(4), (held,)),
              Table("c", np.zeros((4, 1)), (PEDAL, Axis([1.0], quantity="grade"))),
              Table("d", np.zeros(3), (PEDAL.with_values([0.0, 50.0, 100.0]),)))  # fmt: skip
    along: Any = Along(
        CalibrationSet(tables), {"pedal": np.array([0.0, 30, 110])}, np.ones(3, bool)
    )
    found = coverage(along.content, along, along)
    assert set(found) == {"a", "b", "d"}, "what the drive does not feed is left out"
    np.testing.assert_array_equal(found["a"].dwell, found["b"].dwell)
    np.testing.assert_allclose(found["d"].dwell, np.array([1, 1, 1]) * TICK)
    np.testing.assert_allclose(found["a"].dwell, np.array([1, 0, 1, 1]) * TICK)
    assert set(coverage(along.content, along, along, ["a", "c"])) == {"a"}


def test_coverages_add_up() -> None:
    table = Table("map", np.zeros((4, 5)), (PEDAL, SPEED))
    rng = np.random.default_rng(7)
    pedal, speed = rng.uniform(-10, 110, 400), rng.uniform(0, 150, 400)
    mask = rng.random(400) < 0.4
    whole = counted(table, pedal=pedal, vehicle_speed=speed, deciding=mask)
    halves = [
        counted(table, pedal=pedal[half], vehicle_speed=speed[half], deciding=mask[half])
        for half in (slice(0, 150), slice(150, None))
    ]
    total = added([{table.id: one} for one in halves])[table.id]
    for name in ("dwell", "extrapolated", "decided"):
        np.testing.assert_allclose(getattr(total, name), getattr(whole, name), rtol=1e-12)
    assert total.seconds == pytest.approx(400 * TICK)
    # A stay that the cut goes through is two.
    assert whole.visits.sum() <= total.visits.sum() <= whole.visits.sum() + 1


def test_coverages_over_other_breakpoints_do_not_add_up() -> None:
    one = counted(Table("curve", np.zeros(4), (PEDAL,)), pedal=[1.0])
    other = counted(
        Table("curve", np.zeros(4), (PEDAL.with_values([0.0, 20, 40, 100]),)), pedal=[1.0]
    )
    with pytest.raises(ModelError, match="do not add up"):
        added([{"curve": one}, {"curve": other}])
