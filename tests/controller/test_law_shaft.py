"""Disconnecting and reconnecting the driveshaft: each way through the states, with its time."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH
from calib_model.controller.law import STATES, Run, run
from calib_model.controller.outputs import CONNECTED, DISCONNECTED, DOG, OPENING, SPIN_UP
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import ROLES
from tests.controller.law_parts import flat_set, rows, table

VALUES = {
    "hill_torque": 60.0,
    "torque_rise_slew": 1500.0,
    "torque_fall_slew": 1500.0,  # 30 N.m a tick: open after two ticks
    "disconnect_allowed": 1.0,
    "disconnect_speed": 100.0,
    "reconnect_speed": 80.0,
    "disconnect_delay": 2.0,
    "reconnect_pedal": 40.0,
    "reconnect_lead_time": 340.0,
    "spin_up_torque": 45.0,
    "low_grip_memory": 5.0,
    "slip_target": 1.0,
    "slip_gain": 40.0,
    "slip_dead_band": 0.5,
}
DELAY = 100  # ticks


def _set(**changed: float) -> CalibrationSet:
    window = table("sync_window", [10.0, 10.0], ("shaft_speed", [0.0, 300.0]))
    return CalibrationSet([*flat_set(**{**VALUES, **changed}), window])


def _run(count: int, content: CalibrationSet | None = None, **signals: npt.ArrayLike) -> Run:
    calm = {"vehicle_speed": 110.0, "pedal": 10.0, "axle_speed_difference": 0.0}
    return run(bind(content or _set(), LARCH), rows(count, **{**calm, **signals}))


def _stays(ran: Run) -> list[tuple[str, int]]:
    """The states in turn, with the number of ticks in each."""
    states = ran.output("state").astype(int)
    cuts = np.flatnonzero(np.diff(states)) + 1
    return [(STATES[part[0]], part.size) for part in np.split(states, cuts)]


def test_disconnects_after_the_delay_once_the_clutch_is_open() -> None:
    ran = _run(120)
    # 99 ticks of waiting and the hundredth opens; 60 N.m fall to 0 within two ticks.
    assert _stays(ran) == [("connected", DELAY - 1), ("opening", 2), ("disconnected", 19)]
    np.testing.assert_allclose(ran.output("torque")[DELAY - 1 : DELAY + 3], [30, 0, 0, 0])
    by = [ROLES[int(n)] for n in ran.output("shaft_by")]
    assert by[: DELAY - 1] == ["disconnect_delay"] * (DELAY - 1)


def _reconnecting(after: int, **signals: npt.ArrayLike) -> Run:
    """A drive that is calm for 120 ticks and then changes by what is given."""
    calm = {"vehicle_speed": 110.0, "pedal": 10.0, "axle_speed_difference": 0.0}
    whole = {name: np.full(120 + after, value) for name, value in calm.items()}
    for name, value in signals.items():
        whole.setdefault(name, np.full(120 + after, -1.0))
        whole[name][120:] = value
    return _run(120 + after, **whole)


@pytest.mark.parametrize(
    ("signal", "value", "role"),
    [
        ("vehicle_speed", 79.0, "reconnect_speed"),
        ("pedal", 41.0, "reconnect_pedal"),
        ("axle_speed_difference", 6.0, "slip_target"),  # 2.8 km/h, above the target
    ],
)
def test_comes_back_on_each_demand_by_spin_up_and_dog(signal: str, value: float, role: str) -> None:
    ran = _reconnecting(60, **{signal: value})
    stays = _stays(ran)
    # Lead time 340 ms: 17 ticks; dog clutch 80 ms: 4 ticks.
    assert stays[-3:] == [("spin-up", 17), ("dog", 4), ("connected", 60 - 21)]
    assert ROLES[int(ran.output("shaft_by")[120])] == role
    assert ran.decided(role)[120]
    # 30 N.m a tick up to the spin-up torque, which then decides.
    np.testing.assert_allclose(ran.output("torque")[120:123], [30, 45, 45])
    assert ran.decided("spin_up_torque")[121:141].all()
    assert ran.output("torque")[-1] >= 60.0


def test_synchronised_shaft_ends_the_spin_up_at_once() -> None:
    sync = np.r_[np.zeros(5), np.ones(55)]
    ran = _reconnecting(60, vehicle_speed=79.0, shaft_synchronised=sync)
    assert _stays(ran)[-3:] == [("spin-up", 5), ("dog", 4), ("connected", 51)]


def test_window_narrower_than_the_slip_never_reconnects() -> None:
    # Common practice, no source: under traction the front wheels slip already. 12 rad/s of slip
    # never come within a window of 10 rad/s, but do within one of 14.
    slipping = {"vehicle_speed": 60.0, "axle_speed_difference": 12.0, "shaft_synchronised": 2.0}
    shaft = 60.0 / (3.6 * LARCH.wheel_radius) * LARCH.rear_ratio  # all that the rear axle can give
    ran = _reconnecting(500, shaft_speed=shaft, **slipping)
    assert _stays(ran)[-1] == ("spin-up", 500)
    assert ran.decided("sync_window")[121:].all()
    wide = _set().with_table(table("sync_window", [14.0, 14.0], ("shaft_speed", [0.0, 300.0])))
    calm = {"vehicle_speed": 110.0, "axle_speed_difference": 0.0, "shaft_synchronised": -1.0}
    signals = {
        name: np.r_[np.full(120, calm[name]), np.full(60, value)]
        for name, value in slipping.items()
    }
    ran = _run(180, wide, shaft_speed=shaft, **signals)
    assert _stays(ran)[-2:] == [("dog", 4), ("connected", 55)]


def test_slip_memory_keeps_the_shaft_connected() -> None:
    # Slip at the start is remembered for 5 s (250 ticks); only then the 2 s of waiting begin.
    slip = np.zeros(400)
    slip[0] = 6.0
    ran = _run(400, axle_speed_difference=slip)
    opening = int(np.argmax(ran.output("state") == OPENING))
    assert opening == 1 + 250 + DELAY - 2  # the tick at which it has faded already waits
    assert ran.decided("low_grip_memory")[1:249].all()


def test_conditions_must_hold_without_a_break() -> None:
    pedal = np.full(250, 10.0)
    pedal[90] = 50.0
    ran = _run(250, pedal=pedal)
    assert int(np.argmax(ran.output("state") == OPENING)) == 90 + DELAY
    assert ran.output("disconnect_wait")[89] == pytest.approx(1.8)
    assert ran.output("disconnect_wait")[90] == 0.0


def test_a_demand_while_opening_closes_again_without_spin_up() -> None:
    pedal = np.full(120, 10.0)
    pedal[DELAY:] = 50.0
    ran = _run(120, pedal=pedal)
    assert _stays(ran) == [("connected", DELAY - 1), ("opening", 1), ("connected", 20)]
    np.testing.assert_allclose(ran.output("torque")[DELAY - 1 : DELAY + 2], [30, 60, 60])


@pytest.mark.parametrize("role", ["disconnect_allowed", "disconnect_speed", "reconnect_speed"])
def test_without_a_table_it_needs_the_shaft_stays_connected(role: str) -> None:
    content = _set()
    ran = _run(200, content.replaced({role: None}))
    assert _stays(ran) == [("connected", 200)]
    if role != "disconnect_allowed":
        assert "disconnect_delay" in ran.left_out


def test_mode_that_never_disconnects() -> None:
    ran = _run(200, _set(disconnect_allowed=0.0))
    assert _stays(ran) == [("connected", 200)]
    assert ran.decided("disconnect_allowed").all()


def test_brake_control_limits_the_spin_up_but_a_steering_limit_does_not() -> None:
    content = CalibrationSet([*_set(), *flat_set(steering_limit=5.0, brake_control_torque=20.0)])
    speed = np.r_[np.full(120, 110.0), np.full(60, 79.0)]
    brake = np.zeros(180)
    brake[130:] = 1.0
    ran = _run(180, content, vehicle_speed=speed, brake_state=brake)
    assert ran.output("state")[121] == SPIN_UP
    np.testing.assert_allclose(ran.output("torque")[[125, 132]], [45.0, 20.0])
    after = ran.output("state") == CONNECTED
    after[:141] = False
    np.testing.assert_allclose(ran.output("torque")[after][2:], 5.0)


def test_state_numbers_are_those_of_the_list() -> None:
    assert [STATES[n] for n in (CONNECTED, OPENING, DISCONNECTED, SPIN_UP, DOG)] == [
        "connected",
        "opening",
        "disconnected",
        "spin-up",
        "dog",
    ]
