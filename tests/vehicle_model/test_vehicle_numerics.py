"""Repeatability, convergence, the model's range, and compiled against plain Python."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib_model.controller.binding import Bound
from calib_model.errors import ModelError
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.scene import Scene, ground, profile
from calib_model.vehicle.simulate import simulate

ROOT = Path(__file__).resolve().parents[2]

LAUNCH = Scene(
    8.0,
    ground("snow"),
    pedal=profile((0.2, 0), (0.5, 60)),
    steering=profile((2, 0), (3, 90)),
    ambient_temperature=-10.0,
)


def test_a_second_run_is_the_same_to_the_bit(bound: Bound) -> None:
    one, two = simulate(LARCH, bound, LAUNCH), simulate(LARCH, bound, LAUNCH)
    for name, values in one.columns.items():
        assert values.tobytes() == two[name].tobytes(), name
    assert one.outputs.tobytes() == two.outputs.tobytes()


def test_noise_follows_the_seed(bound: Bound) -> None:
    one = simulate(LARCH, bound, LAUNCH)
    other = simulate(LARCH, bound, replace(LAUNCH, seed=1))
    assert not np.array_equal(one.inputs, other.inputs, equal_nan=True)
    same = simulate(LARCH, bound, LAUNCH)
    assert np.array_equal(one.inputs, same.inputs, equal_nan=True)
    assert one["speed"][-1] == pytest.approx(other["speed"][-1], rel=0.02)


def test_halving_the_step_converges(bound: Bound) -> None:
    # Convergence of a first-order method; the design asks for a launch on snow that hardly
    # depends on the step (0.11 % of the end speed from 2 ms to 0.25 ms).
    v = LARCH.replaced(wheel_speed_noise=0.0, delay=0.016)
    scene = replace(LAUNCH, steering=profile((0, 0)), fixed_clutch_torque=100.0, duration=6.0)
    runs = [simulate(v, bound, scene, step=s) for s in (0.002, 0.001, 0.0005, 0.00025)]
    speed = np.array([r["speed"][-1] for r in runs])
    heat = np.array([r.energy["clutch"] for r in runs])
    assert abs(speed[0] - speed[3]) < 2e-3 * speed[3]
    assert abs(heat[0] - heat[3]) < 1e-2 * heat[3]
    # Each halving changes no more than three quarters of what the one before did.
    assert np.all(np.abs(np.diff(heat))[1:] < 0.75 * np.abs(np.diff(heat))[:-1])


def test_a_lifting_wheel_ends_the_drive_in_words(bound: Bound) -> None:
    tall = LARCH.replaced(centre_height=1.6)
    scene = Scene(4.0, speed=80.0, steering=profile((0, 0), (1, 150)))
    trace = simulate(tall, bound, scene)
    assert not trace.completed
    assert "wheel lifts off" in trace.why
    assert "left" in trace.why  # in a left turn the inner wheels
    assert 0.2 < trace.time[-1] < 4.0


def test_speeds_without_tyre_data_end_the_drive_in_words(bound: Bound) -> None:
    slow = LARCH.replaced(speed_most=50.0)
    trace = simulate(slow, bound, Scene(20.0, pedal=profile((0, 100))))
    assert not trace.completed
    assert "faster than 50 km/h" in trace.why
    scene = Scene(
        20.0, ground("ice"), pedal=profile((0, 100)), traction_control=False, brake_traction=False
    )
    trace = simulate(LARCH, bound, scene)
    assert not trace.completed
    assert "spins faster" in trace.why


def test_a_tick_that_is_no_whole_number_of_steps_is_refused(bound: Bound) -> None:
    with pytest.raises(ModelError, match="whole number of steps"):
        simulate(LARCH, bound, LAUNCH, step=0.0015)


def test_a_drive_may_end_at_a_speed(bound: Bound) -> None:
    trace = simulate(LARCH, bound, replace(LAUNCH, stop_speed=20.0, steering=profile((0, 0))))
    assert trace.completed
    assert trace["speed"][-1] >= 20.0 > trace["speed"][-2]


_PLAIN = """
import sys
sys.path.insert(0, sys.argv[1])
import numpy as np
from pathlib import Path
from calib_model import open_set
from calib_model.controller.binding import bind
from calib_model.vehicle.parameters import LARCH
from calib_model.vehicle.scene import Scene, ground, profile
from calib_model.vehicle.simulate import simulate
content = open_set(Path(sys.argv[1]) / "sample_sets" / "larch_normal.h5")
scene = Scene(0.4, ground("snow"), speed=5.0, pedal=profile((0, 70)), steering=profile((0, 60)),
              brake_pedal=profile((0.3, 0), (0.31, 80)))
trace = simulate(LARCH, bind(content, LARCH.constants), scene)
np.save(sys.argv[2], np.stack(list(trace.columns.values())))
"""


def test_plain_python_runs_the_same_model(tmp_path: Path) -> None:
    # The interpreter is the outside check of the compiler: same source, same numbers.
    found = []
    for disabled in ("0", "1"):
        place = tmp_path / f"{disabled}.npy"
        subprocess.run(
            [sys.executable, "-c", _PLAIN, str(ROOT), str(place)],
            check=True,
            timeout=100,
            env={**os.environ, "NUMBA_DISABLE_JIT": disabled},
        )
        found.append(np.load(place))
    assert found[0].shape[1] == 21
    np.testing.assert_allclose(found[0], found[1], rtol=1e-9, atol=1e-9)
