"""Clamp and current: branches, touch point, holding, the largest current; clutch capacity."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from calib_model.controller.binding import bind
from calib_model.controller.constants import LARCH, Constants, about
from calib_model.controller.law import Run, run
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import ROLES
from calib_model.core.storage import Storage
from calib_model.errors import ModelError
from tests.controller.law_parts import ROUND, flat_set, rows, sample, table

CLAMP = ("clamp", [0.0, 4000.0])
APPLY = table("current_for_clamp_apply", [1.0, 5.0], CLAMP)
RELEASE = table("current_for_clamp_release", [0.5, 4.5], CLAMP)
HOLDING = table("holding_factor", [0.8, 0.9], CLAMP)
HILL = table("hill_torque", [0.0, 200.0], ("grade", [0.0, 20.0]))  # 10 N.m and 200 N per percent


def _run(grade: list[float] | np.ndarray, *tables: object, **signals: object) -> Run:
    content = CalibrationSet([HILL, *tables])  # type: ignore[list-item]
    return run(bind(content, ROUND), rows(len(grade), grade=grade, **signals))  # type: ignore[arg-type]


def _by(ran: Run) -> list[str]:
    return [ROLES[int(n)] if n >= 0 else "" for n in ran.output("current_by")]


def test_branches_follow_the_direction_of_the_clamp() -> None:
    ran = _run([0, 5, 10, 10, 5, 10], APPLY, RELEASE)
    # 5 % are 50 N.m and 1000 N: 2 A applying, 1.5 A releasing.
    np.testing.assert_allclose(ran.output("clamp"), [0, 1000, 2000, 2000, 1000, 2000])
    np.testing.assert_allclose(ran.output("current"), [1, 2, 3, 3, 1.5, 3])
    apply, release = APPLY.id, RELEASE.id
    assert _by(ran) == [apply, apply, apply, apply, release, apply]


def test_a_held_clamp_is_kept_by_the_holding_factor() -> None:
    # 0.2 s are ten ticks: at 2000 N 0.85 x 3 A = 2.55 A. 30 N of change are within the band.
    grade = np.r_[np.full(15, 10.0), np.full(5, 10.15), np.full(3, 5.0)]
    ran = _run(grade, APPLY, RELEASE, HOLDING)
    current = ran.output("current")
    np.testing.assert_allclose(current[:10], 3.0)
    np.testing.assert_allclose(current[10:15], 2.55)
    np.testing.assert_allclose(current[15:20], (0.8 + 0.1 * 2030 / 4000) * (1 + 2.03))
    np.testing.assert_allclose(current[20:], 1.5)
    assert ran.decided("holding_factor").sum() == 10
    assert ran.decided("current_for_clamp_apply").sum() == 20


def test_without_torque_the_plates_wait_at_the_touch_point_or_stand_open() -> None:
    touch = table("touch_point_current", [1.6, 0.8], ("motor_temperature", [-40.0, 40.0]))
    brake = np.array([0.0, 0.0, 1.0])
    ran = _run(
        [0, 0, 0], APPLY, touch, *flat_set(brake_control_torque=0.0),
        motor_temperature=[-40.0, 20.0, 20.0], brake_state=brake,
    )  # fmt: skip
    np.testing.assert_allclose(ran.output("current"), [1.6, 1.0, 0.0])
    assert _by(ran) == [touch.id, touch.id, ""]


def test_current_lies_on_the_raster_of_the_applying_branch() -> None:
    stored = replace(APPLY, storage=Storage.of("uint16", "0.25"))
    ran = _run(np.linspace(0.1, 19.9, 40), stored)
    steps = ran.output("current") / 0.25
    np.testing.assert_allclose(steps, np.rint(steps), atol=1e-12)
    plain = _run(np.linspace(0.1, 19.9, 40), APPLY)
    assert np.abs(plain.output("current") - ran.output("current")).max() <= 0.125 + 1e-12


def test_largest_current_limits_the_torque() -> None:
    # 14 A is far above; with 4 A at most the applying branch gives 3000 N: 150 N.m.
    content = CalibrationSet([HILL, APPLY])
    weak = replace(ROUND, max_current=4.0)
    ran = run(bind(content, weak), rows(3, grade=[10.0, 15.0, 18.0]))
    np.testing.assert_allclose(ran.output("torque"), [100, 150, 150])
    np.testing.assert_allclose(ran.output("current"), [3, 4, 4])
    assert np.isinf(ran.output("limit_current")[:2]).all()
    assert ROLES[ran.governing[2]] == "current_for_clamp_apply"


def test_largest_current_in_a_disordered_branch_is_its_first_passing() -> None:
    # A slip of the pen at 2000 N: 9 A. Passing 4 A lies between 1000 N (2 A) and there.
    wrong = table(
        "current_for_clamp_apply",
        [1.0, 2.0, 9.0, 4.0, 5.0],
        ("clamp", [0.0, 1000.0, 2000.0, 3000.0, 4000.0]),
    )
    content = CalibrationSet([HILL, wrong])
    weak = replace(ROUND, max_current=4.0)
    ran = run(bind(content, weak), rows(1, grade=[10.0]))
    assert ran.output("torque")[0] == pytest.approx((1000 + 1000 * 2 / 7) * 0.05)


def test_friction_of_the_plates_turns_torque_into_clamp() -> None:
    friction = table("plate_friction", [0.1, 0.2], ("plate_slip_speed", [0.0, 10.0]))
    ran = _run([5, 5], friction, axle_speed_difference=[0.0, -10.0])
    np.testing.assert_allclose(ran.output("clamp"), [1000, 500])


def test_plates_without_friction_carry_nothing() -> None:
    ran = _run([5, 5], APPLY, *flat_set(plate_friction=0.0))
    np.testing.assert_allclose(ran.output("torque"), 0.0)
    assert ROLES[ran.governing[0]] == "plate_friction"


def test_exchanged_branches_show_as_exchanged_currents() -> None:
    # Planted mistake of the practice set: the -40 degC columns of the two branches are exchanged.
    right, wrong = sample("larch_normal"), sample("larch_practice")
    given = rows(
        3,
        ambient_temperature=-30.0,
        pedal=[20.0, 40.0, 60.0],
        vehicle_speed=5.0,
        plate_temperature=-20.0,
        axle_speed_difference=0.0,
        motor_temperature=-40.0,
    )
    currents = [run(bind(s, LARCH), given).output("current") for s in (right, wrong)]
    assert (currents[0] > currents[1] + 0.3).all()


# --- Clutch capacity -----------------------------------------------------------------------------
# T = N mu F Re; Re = (ro + ri)/2 for uniform wear and 2/3 (ro^3 - ri^3)/(ro^2 - ri^2) for uniform
# pressure: Shigley's Mechanical Engineering Design, axial clutches, from memory.


def test_capacity_by_uniform_wear_worked_by_hand() -> None:
    # Radii 62 and 48 mm: Re 55 mm. 12 x 0.12 x 5000 N x 0.055 m = 396 N.m.
    assert pytest.approx(0.055, abs=1e-15) == LARCH.effective_radius
    assert LARCH.torque_capacity(5000.0) == pytest.approx(396.0, abs=1e-9)


def test_capacity_by_uniform_pressure_worked_by_hand() -> None:
    # 62^3 = 238328, 48^3 = 110592, difference 127736; 62^2 - 48^2 = 1540; 2/3 x 127736/1540 =
    # 55.297 mm. One face, mu 0.3, 1000 N: 16.589 N.m.
    disc = Constants(faces=1, lining="pressure", friction=0.3)
    assert disc.effective_radius == pytest.approx(0.0552970, abs=1e-7)
    assert disc.torque_capacity(1000.0) == pytest.approx(16.5891, abs=1e-4)


def test_capacity_by_uniform_pressure_is_the_integral_over_the_face() -> None:
    # The same from its definition, by SciPy's quadrature: mu p times radius over the area.
    from scipy.integrate import quad

    disc = Constants(faces=1, lining="pressure", friction=0.3)
    area = math.pi * (disc.outer_radius**2 - disc.inner_radius**2)
    pressure = 1000.0 / area
    torque, _ = quad(
        lambda r: 0.3 * pressure * r * 2 * math.pi * r, disc.inner_radius, disc.outer_radius
    )
    assert disc.torque_capacity(1000.0) == pytest.approx(torque, rel=1e-12)


def test_law_commands_the_clamp_whose_capacity_is_the_torque() -> None:
    for constants in (LARCH, Constants(lining="pressure")):
        ran = run(bind(CalibrationSet([HILL]), constants), rows(2, grade=[3.0, 20.0]))
        for torque, clamp in zip(ran.output("torque"), ran.output("clamp"), strict=True):
            assert constants.torque_capacity(clamp) == pytest.approx(torque, rel=1e-12)


# --- Constants -----------------------------------------------------------------------------------


def test_constants_survive_a_round_trip() -> None:
    other = Constants(faces=8, lining="pressure", max_current=9.5)
    assert Constants.from_plain(other.to_plain()) == other
    assert Constants.from_plain({}) == LARCH
    for name in LARCH.to_plain():
        assert about(name)["unit"]
        assert about(name)["origin"]


@pytest.mark.parametrize(
    ("plain", "words"),
    [
        ({"faces": 0}, "faces"),
        ({"faces": 2.5}, "faces"),
        ({"inner_radius": 0.07}, "inner_radius"),
        ({"lining": "soft"}, "lining"),
        ({"wheel_radius": math.nan}, "wheel_radius"),
        ({"dog_time": -0.1}, "dog_time"),
        ({"max_current": "14"}, "max_current"),
        ({"mass": 1700.0}, "'mass' is no constant"),
    ],
)
def test_impossible_constants_are_named(plain: dict[str, object], words: str) -> None:
    with pytest.raises(ModelError, match=words):
        Constants.from_plain(plain)
