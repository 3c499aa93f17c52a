"""A drive at the desk, replayed: the torque law is one, so it commands the same to the last bit."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.controller.inputs import INPUTS
from calib_model.controller.outputs import OUTPUTS
from calib_model.errors import ModelError
from calib_model.evidence.coverage import coverage
from calib_model.evidence.desk import desk_ticks
from calib_model.evidence.drives import desk_drive
from calib_model.evidence.grades import Grade, grades
from calib_model.evidence.replay import replay
from calib_model.evidence.trust import Level, trust
from calib_model.vehicle.manoeuvres import MANOEUVRES
from calib_model.vehicle.parameters import LARCH as VAN
from calib_model.vehicle.runs import bench
from tests.evidence.made_drives import sample

LAUNCH = next(id for id in MANOEUVRES if "snow" in id and "launch" in id)


def test_the_replay_of_a_desk_run_commands_what_the_run_did() -> None:
    normal = sample("normal")
    found = bench(normal, VAN).drive(MANOEUVRES[LAUNCH])
    trace = found.trace
    torque = trace["law_torque"]
    ticks = desk_ticks(trace.time, trace.inputs, trace.tick, {"torque": torque})
    along = replay(normal, ticks, VAN.constants)
    np.testing.assert_array_equal(along.run.governing, trace.governing)
    for one in OUTPUTS:
        np.testing.assert_array_equal(along.output(one.name), trace[f"law_{one.name}"], one.name)
    assert trust(along, along.digest).level is Level.AGREES
    covered = coverage(normal, along, ticks)
    made = desk_drive(along, covered, LAUNCH, by="calibrator B")
    assert made.seconds == pytest.approx(trace.time.size * trace.tick)
    decided = covered["pre_engage_torque"].decided
    assert decided.any(), "a launch on snow starts with pre-engagement"
    cell = tuple(int(i) for i in np.unravel_index(int(decided.argmax()), decided.shape))
    values = normal["pre_engage_torque"].values.copy()
    values[cell] -= 5
    base = normal.replaced({"pre_engage_torque": normal["pre_engage_torque"].with_values(values)})
    (graded,) = grades(normal, base, [made]).cells
    assert graded.grade is Grade.DESK


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ModelError, match="rows of"):
        desk_ticks([0.0, 0.02], np.zeros((3, len(INPUTS))), 0.02)
