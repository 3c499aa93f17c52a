"""Sensitivities: against a plain loop over every cell, and only where the controller read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib_model.core.roles import ROLES
from calib_model.errors import ModelError
from calib_model.vehicle.manoeuvres import MANOEUVRES
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.runs import bench
from calib_model.vehicle.sensitivity import cells_read, sensitivity
from tests.vehicle_runs.larch_sets import bench_of, driven, edited, row_of, shipped, value

pytestmark = pytest.mark.timeout(400)  # the first drive may have to compile the model

SHORT = replace(MANOEUVRES["launch_snow"], duration=3.0, metrics=("peak_front_slip",))


def test_every_cell_that_was_not_read_changes_nothing_at_all() -> None:
    # Brute force over every cell of the table, those that count as not read included.
    table = shipped()["pre_engage_torque"]
    read = cells_read(bench_of().trace(SHORT), table)
    assert 0 < read.sum() < table.values.size
    every = np.ones(table.shape, dtype=np.bool_)
    whole = sensitivity(
        bench_of(), SHORT, "pre_engage_torque", "peak_front_slip", 20.0, workers=1, cells=every
    )
    assert (whole.change[~read] == 0).all()
    quick = sensitivity(bench_of(), SHORT, "pre_engage_torque", "peak_front_slip", 20.0, workers=2)
    np.testing.assert_array_equal(quick.change, whole.change)
    assert np.abs(quick.change).max() > 0.1


def test_the_cells_that_matter_lie_at_the_launch_temperature_and_around_its_pedal() -> None:
    found = sensitivity(bench_of(), SHORT, "pre_engage_torque", "peak_front_slip", 20.0)
    cold = row_of("pre_engage_torque", "ambient_temperature", -20.0)
    cells = [cell for cell, _ in found.most(10)]
    assert cells
    assert {row for row, _ in cells} == {cold}
    pedals = shipped()["pre_engage_torque"].axes[1].values[[column for _, column in cells]]
    assert pedals.max() <= 40
    # More torque in these cells: less slip of the front wheels.
    assert min(change for _, change in found.most(3)) < 0


def test_a_step_equals_an_edit_of_the_set() -> None:
    row = row_of("pre_engage_torque", "ambient_temperature", -20.0)
    column = row_of("pre_engage_torque", "pedal", 30.0)

    def change(values: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        values[row, column] += 20
        return values

    found = sensitivity(bench_of(), SHORT, "pre_engage_torque", "peak_front_slip", 20.0)
    by_hand = bench(edited("pre_engage_torque", change), LARCH).drive(SHORT)
    before = bench_of().drive(SHORT)
    expected = value(by_hand, "peak_front_slip") - value(before, "peak_front_slip")
    assert found.change[row, column] == expected


@pytest.mark.parametrize("role", [r for r in ROLES if r != "controller_tick"])
def test_cells_not_read_can_hold_anything(role: str) -> None:
    # For the table of every part: all cells not read get another value at once, and the drive
    # stays the same to the last bit.  The kick-down goes through every state of the driveshaft.
    one = replace(
        MANOEUVRES["kick_down"],
        duration=16.0,
        driver=replace(
            MANOEUVRES["kick_down"].driver,
            speed_control=((0.0, 1.0), (12.5, 0.0)),
            pedal=((12.4, 20.0), (12.6, 90.0)),
        ),
        start=replace(MANOEUVRES["kick_down"].start, ambient_temperature=20.0),
    )
    table = shipped()[role]
    bound = bench_of().bound
    base = bench_of().trace(one)
    read = cells_read(base, table)
    if read.all():
        return
    slot = ROLES.index(role)
    values = np.array(bound.bank.values(slot))
    span = float(np.ptp(values)) or 1.0
    values[~read] = values[~read] * 0.7 + 0.1 * span
    changed = replace(bound, bank=bound.bank.replaced(slot, values))
    trace = replace(bench_of(), bound=changed).trace(one)
    for name, column in base.columns.items():
        np.testing.assert_array_equal(trace.columns[name], column, err_msg=f"{role}, {name}")


def test_a_scalar_a_lost_metric_progress_and_cancelling() -> None:
    seen: list[tuple[int, int]] = []
    # It ends a moment after 30 km/h: with less torque it ends before, and the time has no value.
    base = value(driven("launch_snow"), "time_to_30")
    one = replace(MANOEUVRES["launch_snow"], duration=0.5 + base + 0.03, metrics=("time_to_30",))
    found = sensitivity(
        bench_of(), one, "pre_engage_torque", "time_to_30", -80.0,
        progress=lambda done, every: seen.append((done, every)),
    )  # fmt: skip
    assert found.base == pytest.approx(base)
    lost = np.isnan(found.change)
    assert lost.any()
    assert all("not reached" in why for why in found.why.values())
    assert {tuple(c) for c in np.argwhere(lost).tolist()} == set(found.why)
    assert seen[-1] == (int(found.read.sum()), int(found.read.sum()))
    scalar = sensitivity(bench_of(), SHORT, "plate_heat_capacity", "peak_front_slip", 50.0)
    assert scalar.change.shape == ()
    stopped = sensitivity(
        bench_of(), SHORT, "pre_engage_torque", "peak_front_slip", 20.0, cancelled=lambda: True
    )
    assert not stopped.complete
    assert np.isnan(stopped.change[stopped.read]).all()
    assert (stopped.change[~stopped.read] == 0).all()


def test_what_cannot_be_asked_is_refused_in_words() -> None:
    with pytest.raises(ModelError, match="No table plays no_such_part"):
        sensitivity(bench_of(), SHORT, "no_such_part", "peak_front_slip", 1.0)
    never = replace(SHORT, duration=1.0, metrics=("time_to_30",))
    with pytest.raises(ModelError, match="no value to begin with: 30 km/h is not reached"):
        sensitivity(bench_of(), never, "pre_engage_torque", "time_to_30", 1.0)
