"""Clutch and actuator: what presses the plates, and with what current."""

from __future__ import annotations

import numpy as np

from calib_model.core.rule import Range, Severity
from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.plausibility import BranchOrder
from calib_model.rules.relations import Hysteresis, Relation
from calib_model.rules.shape import Curvature, Monotone

from . import larch
from .parts import CLAMP_BRANCH, MOTOR_BRANCH, MOTOR_DRAG, SAME, at, axis, over, table

GROUP = "Clutch and actuator"
SWEEP = "From the bench sweep"

# Touch point over the motor temperatures of MOTOR_DRAG: stiff grease costs 10 mA per kelvin
# up to room temperature, then the drag levels off.
TOUCH = np.array([1.6, 1.4, 1.2, 1.0, 0.8, 0.7])
NEWTON_PER_AMPERE = 1400.0  # ball ramp and gear without friction


def tables() -> list[Table]:
    """Return the tables of the group; they are physical, so every mode has the same."""
    apply, release = _branches()
    return [
        _friction(),
        apply,
        release,
        _touch_point(),
        _holding(apply, release),
        _rate(),
    ]


def _friction() -> Table:
    slip = axis("plate_slip_speed", (0, 1, 3, 8, 20, 50, 100))
    plate = axis("plate_temperature", (-40, -20, 0, 40, 80, 120, 160))
    v, t = over(slip, plate)
    # Rises with slip speed, so that shudder is damped; warm oil takes a little away.
    friction = (0.1165 + 0.0075 * (1 - np.exp(-v / 12))) * (1 - 0.0004 * (t - 40))
    return table(
        "plate_friction",
        "Friction coefficient of the plates",
        "-",
        GROUP,
        (slip, plate),
        friction,
        (0.08, 0.16),
        ("uint16", "0.0001"),
        (
            Monotone(
                "plate_slip_speed",
                "up",
                severity=Severity.WARNING,
                reason="falling friction is shudder; it must be seen, never smoothed away",
            ),
        ),
        SAME,
        "Friction coefficient over the slip speed of the plates (absolute) and their temperature. "
        "It decides how true the torque is. Where it falls with slip speed the clutch shudders.",
    )


def _branches() -> tuple[Table, Table]:
    f, t = over(CLAMP_BRANCH, MOTOR_BRANCH)
    touch = np.interp(t, MOTOR_DRAG.values, TOUCH)
    # Warm magnets lose about 0.1 % of their torque per kelvin.
    magnets = 1 + 0.001 * (t - 20)
    # Friction of gear and ball ramp: adds while pressing, holds back while letting go.
    grease = np.array([0.30, 0.16, 0.11, 0.09, 0.09])
    ramp = f / NEWTON_PER_AMPERE * magnets
    pressing = touch + ramp * (1 + grease)
    letting_go = 0.72 * touch + ramp * (1 - grease)
    axes = (CLAMP_BRANCH, MOTOR_BRANCH)
    more = Monotone("clamp", "up", strict=True, reason="more current presses harder")
    apply = table(
        "current_for_clamp_apply",
        "Motor current for clamp, applying",
        "A",
        GROUP,
        axes,
        pressing,
        (0, 14),
        ("uint16", "0.001"),
        (
            more,
            Relation(
                "touch_point_current",
                "==",
                scope=at("clamp", 0),
                reason="at no clamp the plates just touch",
            ),
        ),
        SAME,
        f"Motor current that presses the plates with a clamp force, while it rises. {SWEEP}, "
        "upward branch; friction adds to what the ramp needs, most of all in cold grease.",
    )
    release = table(
        "current_for_clamp_release",
        "Motor current for clamp, releasing",
        "A",
        GROUP,
        axes,
        letting_go,
        (0, 14),
        ("uint16", "0.001"),
        (
            more,
            Hysteresis(
                "current_for_clamp_apply",
                branches=True,
                scope=(Range("clamp", 1.0),),
                reason="friction holds the clamp while letting go",
            ),
            BranchOrder("current_for_clamp_apply", "clamp", reason="a sweep has two branches"),
        ),
        SAME,
        f"Motor current at which a clamp force is left, while it falls. {SWEEP}, downward branch; "
        "the lower one of the hysteresis pair.",
    )
    return apply, release


def _touch_point() -> Table:
    return table(
        "touch_point_current",
        "Touch point current",
        "A",
        GROUP,
        (MOTOR_DRAG,),
        TOUCH,
        (0.6, 1.8),
        ("uint16", "0.001"),
        (
            Monotone("motor_temperature", "down", reason="grease gets thinner"),
            Curvature("motor_temperature", "convex", reason="the drag of grease levels off"),
        ),
        SAME,
        "Motor current at which the plates just touch; pre-engagement starts beyond it. The gap "
        "and the stiffness of the grease decide it.",
    )


def _holding(apply: Table, release: Table) -> Table:
    clamp = axis("clamp", (0, 2000, 4000, 7000, 10000, 12000))
    # The largest share of the applying current that is still on the way down, over temperature,
    # and three hundredths to spare.
    grid = np.unique(np.concatenate([clamp.values, CLAMP_BRANCH.values]))
    share = np.max(
        [
            np.interp(grid, CLAMP_BRANCH.values, release.values[:, column])
            / np.interp(grid, CLAMP_BRANCH.values, apply.values[:, column])
            for column in range(apply.shape[1])
        ],
        axis=0,
    )
    factor = np.interp(clamp.values, grid, np.maximum.accumulate(share)) + 0.03
    return table(
        "holding_factor",
        "Holding current factor",
        "-",
        GROUP,
        (clamp,),
        np.ceil(factor * 250) / 250,
        (0.5, 1),
        ("uint8", "1/250"),
        (
            Bounds(0.5, 1),
            Relation(
                "current_for_clamp_release",
                ">=",
                offset=0.001,
                times="current_for_clamp_apply",
                reason="a held clamp must not slip down the releasing branch",
            ),
        ),
        SAME,
        "Share of the applying current that is kept while a clamp force is held. It spares the "
        "motor heat, but must stay above the releasing branch at every temperature.",
    )


def _rate() -> Table:
    # What the motor has left after turning stiff grease.
    drag = np.array([2.35, 1.15, 0.6, 0.32, 0.16, 0.1])
    return table(
        "actuator_rate",
        "Actuator clamp rate capability",
        "N/s",
        GROUP,
        (MOTOR_DRAG,),
        np.round(78000 / (1 + drag), -2),
        (10000, 80000),
        ("uint32", 1),
        (Monotone("motor_temperature", "up", reason="the motor is slow in cold grease"),),
        SAME,
        "How fast the actuator can raise the clamp force; times "
        f"{larch.TORQUE_PER_CLAMP:g} N.m/N it is a torque slew at the clutch. The slew tables "
        "must stay inside it.",
    )
