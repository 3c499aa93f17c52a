"""The torque law: what the controller commands, tick by tick.

It is written once, in `calib_model.controller.kernel`, for replay and for simulation.  Here are
its names and the calls that run it over recorded inputs.

Each tick, in words:

1. Feed-forward is the largest of pre-engage torque times fade, cruise base torque times ambient
   and wiper factor, and hill torque.  A factor acts on its own branch only.
2. Front slip is the axle speed difference less the expected one.  Within the dead band it counts
   as none and the integral is released; up to the target the integral is held; above it the
   error asks for gain times error and lets the integral grow.
3. The demand is the larger of the two, plus the torque from the yaw-rate error; never negative.
4. Limits: brake control, inside brake, steering, lateral acceleration, clamp (plates and oil,
   times the derate), motor current.  The integral keeps to what they leave.
5. The driveshaft: connected, opening, disconnected, spin-up, dog.
6. The slew of the torque; then clamp force by the friction of the plates, and motor current by
   the applying or releasing branch, the holding factor or the touch point.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from calib_model.controller.binding import Bound
from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.controller.needs import ESTIMATE_ROLES, left_out, needed_inputs
from calib_model.controller.outputs import (
    BESIDE,
    DEMAND_ROLES,
    OUTPUT_INDEX,
    OUTPUTS,
    PARTNERS,
    ROLE_INDEX,
    STATES,
    Output,
)
from calib_model.controller.state import STATE_SIZE, fresh_state
from calib_model.core.arrays import BoolArray, FloatArray, IntArray
from calib_model.core.roles import ROLES
from calib_model.errors import ModelError
from calib_model.lookup.bank import Bank

__all__ = [
    "BESIDE",
    "OUTPUTS",
    "OUTPUT_INDEX",
    "PARTNERS",
    "ROLE_INDEX",
    "STATES",
    "Output",
    "Prepared",
    "Run",
    "prepared",
    "run",
    "settled",
]

_SLEWS = ("torque_rise_slew", "torque_fall_slew")


@dataclass(frozen=True, eq=False)
class Prepared:
    """What `kernel.step` needs, for the inputs that are there.

    Parameters
    ----------
    bank : Bank
        Holds the roles that take part.
    constants : ndarray of float64
        `Constants.array`.
    tick_s : float
    needed : frozenset of str
        Inputs that must be numbers at every tick.
    left_out : mapping of role to str
        Bound roles that take no part, with the reason.
    """

    bank: Bank
    constants: FloatArray
    tick_s: float
    needed: frozenset[str]
    left_out: Mapping[str, str]


def prepared(bound: Bound, given: Collection[str]) -> Prepared:
    """Leave out the roles whose inputs are not there.

    Parameters
    ----------
    bound : Bound
    given : collection of str
        Names of the inputs that will be numbers.

    Raises
    ------
    ModelError
        On a name that is no input.
    """
    for name in given:
        if name not in INPUT_INDEX:
            raise ModelError(
                f"{name!r} is no input of the controller.", f"Known are {', '.join(INPUT_INDEX)}."
            )
    out = left_out(bound.tables, given)
    active = [role for role in bound.tables if role not in out]
    return Prepared(
        bound.bank.without(ROLE_INDEX[role] for role in out),
        bound.constants.array,
        bound.tick_s,
        needed_inputs(bound.tables, active, given),
        MappingProxyType(out),
    )


@dataclass(frozen=True, eq=False)
class Run:
    """What the law commanded over T ticks.

    Parameters
    ----------
    outputs : ndarray of float64, shape (T, len(OUTPUTS))
        NaN at ticks that are no good.
    used : ndarray of float64, shape (T, len(INPUTS))
        The inputs as the law used them, with those it worked out itself (slip_error, clamp, ...).
    governing : ndarray of int64, shape (T,)
        Number of the role whose table decided the torque; -1 for none and where no good.
    good : ndarray of bool, shape (T,)
        Where the law could run.
    left_out : mapping of role to str
        Bound roles that took no part, with the reason.
    roles : frozenset of str
        Roles that took part.
    given : frozenset of str
        Inputs that were there.
    tick_s : float
    state : ndarray of float64, shape (STATE_SIZE,)
        After the last tick, to go on from.
    """

    outputs: FloatArray
    used: FloatArray
    governing: IntArray
    good: BoolArray
    left_out: Mapping[str, str]
    roles: frozenset[str]
    given: frozenset[str]
    tick_s: float
    state: FloatArray

    def output(self, name: str) -> FloatArray:
        """Return one output, shape (T,)."""
        return self.outputs[:, OUTPUT_INDEX[name]]

    def input(self, name: str) -> FloatArray:
        """Return one input as the law used it, shape (T,)."""
        return self.used[:, INPUT_INDEX[name]]

    def decided(self, role: str) -> BoolArray:
        """Return at which ticks the table of a role took part in what was commanded.

        That is where it governed, or its value went into the branch, limit or slew that did; and
        for tables beside the torque, where the current, the inside brake or what the driveshaft
        does came from them.
        """
        none = np.zeros(self.good.shape, dtype=np.bool_)
        if role not in self.roles:
            return none
        if role in ESTIMATE_ROLES and "plate_temperature" in self.given:
            return none
        number = ROLE_INDEX[role]
        asking = np.isin(self.governing, [ROLE_INDEX[r] for r in DEMAND_ROLES])
        yaw = self.output("yaw_term") != 0.0
        decided = self._by(self.governing, role)
        decided |= asking & self._by(self.output("branch"), role)
        if role in ("yaw_error_torque", "yaw_dead_band"):
            decided |= asking & yaw
        decided |= self.output("shaft_by") == number
        decided |= self.output("current_by") == number
        if role == "current_for_clamp_apply":
            decided |= self.output("current_by") == ROLE_INDEX["holding_factor"]
        if role == "plate_friction":
            decided |= self.output("torque") > 0.0
        if role == "inside_rear_brake":
            # Where the aid is wanted; that it is given none is this table's word as well.
            decided |= self.input("inside_brake_request") >= 0.5
        return np.asarray(decided & self.good)

    @staticmethod
    def _by(numbers: npt.NDArray[np.generic], role: str) -> BoolArray:
        """Where a role is the one named, or one of its partners."""
        named = [role, *(r for r, partners in PARTNERS.items() if role in partners)]
        return np.isin(numbers, [ROLE_INDEX[r] for r in named])


def run(
    bound: Bound,
    inputs: npt.ArrayLike,
    *,
    valid: npt.ArrayLike | None = None,
    state: npt.ArrayLike | None = None,
    tick_s: float | None = None,
) -> Run:
    """Run the law over ticks.

    Parameters
    ----------
    bound : Bound
    inputs : array_like of float, shape (T, len(INPUTS))
        One row per controller tick.  A column without any number is an input that is not there;
        the roles that need it take no part.  A NaN in another column that is needed is a gap.
    valid : array_like of bool, shape (T,), optional
        False marks a gap too.  In a gap outputs are NaN; after it the law starts afresh.
    state : array_like of float, shape (STATE_SIZE,), optional
        Where to go on from, such as `Run.state`; by default a fresh start.
    tick_s : float, optional
        Time between two rows in s, where it is not the set's own tick.

    Raises
    ------
    ModelError
        If a shape does not fit, or the tick is not above zero.
    """
    return _run(bound, inputs, valid, state, tick_s, apart=False)


def settled(bound: Bound, points: npt.ArrayLike) -> Run:
    """Run the law at points that have nothing to do with each other, without any slew.

    What is asked for at a point as such: connected, nothing remembered, no integral.

    Parameters
    ----------
    bound : Bound
    points : array_like of float, shape (n, len(INPUTS))
        See `run`.

    Raises
    ------
    ModelError
        If the shape does not fit.
    """
    return _run(bound, points, None, None, None, apart=True)


def _run(
    bound: Bound,
    inputs: npt.ArrayLike,
    valid: npt.ArrayLike | None,
    state: npt.ArrayLike | None,
    tick_s: float | None,
    *,
    apart: bool,
) -> Run:
    from calib_model.controller import kernel as compiled

    kernel: Any = compiled  # its functions carry no types
    tick = bound.tick_s if tick_s is None else float(tick_s)
    if not tick > 0.0:
        raise ModelError(f"A controller tick of {tick:g} s is none.", "Give one above zero.")
    rows = np.ascontiguousarray(inputs, dtype=np.float64)
    if rows.ndim != 2 or rows.shape[1] != len(INPUTS):
        raise ModelError(
            f"Inputs of shape {rows.shape} are not one row of {len(INPUTS)} per tick.",
            "Give a column per input of the controller.",
        )
    count = rows.shape[0]
    good = np.ones(count, dtype=np.bool_) if valid is None else np.array(valid, dtype=np.bool_)
    if good.shape != (count,):
        raise ModelError(f"{good.size} marks of validity do not fit {count} ticks.")
    now = fresh_state() if state is None else np.array(state, dtype=np.float64)
    if now.shape != (STATE_SIZE,):
        raise ModelError(
            f"A state of shape {now.shape} is none of the torque law.", "Give `Run.state` as it is."
        )
    numbers = np.isfinite(rows)
    there = np.any(numbers[good], axis=0)
    given = frozenset(name for name, column in INPUT_INDEX.items() if there[column])
    ready = prepared(bound, given)
    needed = sorted(INPUT_INDEX[name] for name in ready.needed)
    good &= np.all(numbers[:, needed], axis=1)
    outputs = np.empty((count, len(OUTPUTS)))
    used = np.empty((count, len(INPUTS)))
    bank = ready.bank
    if apart:
        bank = bank.without(ROLE_INDEX[role] for role in _SLEWS)
        kernel.run_points(bank.arrays, ready.constants, rows, good, now, outputs, used)
    else:
        kernel.run_ticks(bank.arrays, ready.constants, tick, rows, good, now, outputs, used)
    governing = np.full(count, -1, dtype=np.int64)
    governing[good] = outputs[good, OUTPUT_INDEX["governing"]].astype(np.int64)
    return Run(
        outputs,
        used,
        governing,
        good,
        ready.left_out,
        frozenset(role for role in ROLES if bank.present(ROLE_INDEX[role])),
        given,
        tick,
        now,
    )
