"""The controller's own estimate of the speed over ground: near the true one, and never told it."""

from __future__ import annotations

import ast
import inspect

import numpy as np
import pytest

from calib_model.controller.inputs import INPUT_INDEX
from calib_model.vehicle import kernel, sensors, speed_estimate
from calib_model.vehicle.manoeuvres import MANOEUVRES
from tests.vehicle_runs.larch_sets import MODES, driven, value

pytestmark = pytest.mark.timeout(400)  # the first drive may have to compile the model

WORST = {"steady_circle": 4.0}
"""km/h; there it slides sideways with all wheels spinning, which acceleration alone cannot tell."""


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("name", MANOEUVRES)
def test_the_estimate_is_near_the_true_speed(name: str, mode: str) -> None:
    trace = driven(name, mode).trace
    error = np.abs(trace["speed_estimate"] - trace["speed"])
    assert error.max() < WORST.get(name, 2.0)
    assert error.mean() < 1.2


def test_where_all_wheels_spin_it_is_far_better_than_the_mean_of_the_rear_ones() -> None:
    for name in ("launch_snow", "launch_ice", "hill_start_split"):
        trace = driven(name).trace
        rear = 0.5 * (trace["wheel_speed_rl"] + trace["wheel_speed_rr"]) - trace["speed"]
        error = trace["speed_estimate"] - trace["speed"]
        assert np.abs(rear).max() > 3.5
        assert np.abs(error).max() < 0.3 * np.abs(rear).max()


def test_what_is_integrated_from_the_acceleration_agrees_on_snow() -> None:
    """Held against numpy's sum of the true acceleration, which knows no wheel."""
    trace = driven("launch_snow").trace
    tick = trace.tick
    by_sum = 3.6 * np.cumsum(trace["longitudinal_acceleration"]) * tick
    assert np.abs(trace["speed_estimate"] - by_sum).max() < 2.0


def test_the_law_reads_the_estimate_and_its_error_is_reported() -> None:
    result = driven("launch_snow")
    trace = result.trace
    read = trace.inputs[:, INPUT_INDEX["vehicle_speed"]]
    np.testing.assert_array_equal(read, np.abs(trace["speed_estimate"]))
    error = trace["speed_estimate"] - trace["speed"]
    assert value(result, "speed_estimate_error") == error[np.argmax(np.abs(error))]
    # The front wheels' speed, which the driveshaft must reach, is not lowered by it.
    front = 0.5 * (trace["wheel_speed_fl"] + trace["wheel_speed_fr"])
    target = trace.inputs[:, INPUT_INDEX["shaft_speed_target"]]
    rolling = front > 5.0
    ratio = target[rolling] / front[rolling]
    assert np.median(ratio) == pytest.approx(2.6 / (3.6 * 0.345), rel=0.05)


SENSED = {
    "pedal", "brake_pedal", "brake_active", "oil", "shaft", "grade", "connected", "time",
    "speed_estimate", "random",
}  # fmt: skip
"""What of the plant's state a controller has a sensor or a message of."""


def test_no_true_speed_reaches_the_law() -> None:
    """What fills in the inputs reads no other field of the state than those, and no wheel."""
    for function in (kernel.see, speed_estimate.estimate_speed, sensors.read):
        plain = getattr(function, "py_func", function)
        read = {
            (node.value.id, node.attr)
            for node in ast.walk(ast.parse(inspect.getsource(plain)))
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
        }
        assert {field for name, field in read if name == "s"} <= SENSED
        assert not any(name == "w" for name, _ in read)
