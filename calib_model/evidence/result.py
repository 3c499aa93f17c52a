"""The resulting torque: what the controller commands in the end, over two of its inputs.

Each point holds every input constant, from a fresh start (connected, no torque, nothing
remembered), until nothing moves any more: slews are over, delays have run out, and the driveshaft
has done what it does.  It is what `controller.law.run` gives at its last tick.

**Slip integral.**  Where slip stays above its target the integral grows until a limit holds it, so
that the torque in the end says only what the limits are.  `Integral.EMPTY` (the default) leaves it
at zero: what is asked for as soon as the slip is there.  `Integral.GROWN` lets it grow.

**Governing table.**  The role whose table decided the torque at the point, as the law says it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

import numpy as np

from calib_model.controller.binding import Bound
from calib_model.controller.constants import KMH_PER_SHAFT
from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.controller.law import prepared
from calib_model.controller.outputs import DISCONNECTED, OUTPUT_INDEX, OUTPUTS, ROLE_INDEX
from calib_model.controller.state import STATE_SIZE
from calib_model.core.arrays import BoolArray, FloatArray, IntArray
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.roles import ROLES
from calib_model.errors import ModelError
from calib_model.evidence.result_inputs import LABELS, inputs_at

LONG_TICK = 100.0
"""Seconds of one tick: longer than any slew, delay or memory of a sound set takes."""
MOST_TICKS = 40
SHAFT_ROLES = ("disconnect_speed", "reconnect_speed", "disconnect_allowed")


class Integral(StrEnum):
    """What becomes of the slip integral."""

    EMPTY = "left at zero"
    GROWN = "grown until a limit holds it"


@dataclass(frozen=True)
class Ask:
    """What a picture of the resulting torque is to show.

    Parameters
    ----------
    x, y : str
        Two different inputs, of those in `result_inputs.LABELS`.
    at : mapping of input name to float
        Where the other inputs stand; what is not named stands where `choices` has it at first.
    integral : Integral
    connected : bool
        Whether the driveshaft is to stay connected, whatever speed and pedal say.
    """

    x: str
    y: str
    at: Mapping[str, float] = field(default_factory=dict)
    integral: Integral = Integral.EMPTY
    connected: bool = False

    def __post_init__(self) -> None:
        # A text of the same value comes back from whoever stores the choice as text.
        object.__setattr__(self, "integral", Integral(self.integral))
        for name in (self.x, self.y, *self.at):
            if name not in LABELS:
                raise ModelError(
                    f"{name!r} cannot be chosen for the resulting torque.",
                    f"Choose of {', '.join(LABELS)}.",
                )
        if self.x == self.y:
            raise ModelError(
                f"{self.x!r} cannot run along both axes.", "Choose two different inputs."
            )


@dataclass(frozen=True, eq=False)
class Resulting:
    """Commanded torque over two inputs; rows run along y, columns along x.

    Parameters
    ----------
    ask : Ask
    x, y : float arrays, shapes (columns,) and (rows,), rising
    torque : float array, shape (rows, columns)
        In N.m at the clutch; NaN where the law cannot run.
    governing : int array, same shape
        Number of the role (in `ROLES`) whose table decided; -1 where nothing asks for torque.
    disconnected : bool array, same shape
        Where the driveshaft is disconnected in the end.
    settled : bool array, same shape
        Where it came to rest at all; elsewhere it goes on between states for ever.
    left_out : mapping of role to str
        Roles that take no part, with the reason.
    labels : mapping of role to str
        Names of the tables that play the roles.
    """

    ask: Ask
    x: FloatArray
    y: FloatArray
    torque: FloatArray
    governing: IntArray
    disconnected: BoolArray
    settled: BoolArray
    left_out: Mapping[str, str]
    labels: Mapping[str, str]

    def name_of(self, number: int) -> str:
        """Return what governs in words: a table's name."""
        if number < 0:
            return "nothing asks for torque"
        role = ROLES[number]
        return self.labels.get(role, role)


def resulting(bound: Bound, ask: Ask, x: FloatArray, y: FloatArray) -> Resulting:
    """Return the resulting torque of a bound set.

    Parameters
    ----------
    bound : Bound
    ask : Ask
    x, y : float arrays, rising
        Points along the two inputs, such as `Choice.points`.
    """
    across, down = np.meshgrid(x, y)
    points: dict[str, FloatArray | float] = {**ask.at}
    points |= {ask.x: across.reshape(-1), ask.y: down.reshape(-1)}
    outputs, _, settled, left_out = _held(bound, ask, points)
    shape = (y.size, x.size)
    governing = np.nan_to_num(outputs[:, OUTPUT_INDEX["governing"]], nan=-1).astype(np.int64)
    return Resulting(
        ask,
        x,
        y,
        outputs[:, OUTPUT_INDEX["torque"]].reshape(shape),
        governing.reshape(shape),
        (outputs[:, OUTPUT_INDEX["state"]] == DISCONNECTED).reshape(shape),
        settled.reshape(shape),
        left_out,
        MappingProxyType({role: table.label for role, table in bound.tables.items()}),
    )


def _held(
    bound: Bound, ask: Ask, points: Mapping[str, FloatArray | float]
) -> tuple[FloatArray, FloatArray, BoolArray, Mapping[str, str]]:
    """Hold the law at points; return outputs, inputs as used, where settled, what is left out."""
    from calib_model.evidence import result_kernel

    rows = inputs_at(points, bound, float(bound.constants.array[KMH_PER_SHAFT]))
    given = [one.name for one in INPUTS if np.isfinite(rows[:, INPUT_INDEX[one.name]]).all()]
    ready = prepared(bound, given)
    bank = ready.bank
    growth = ROLE_INDEX["slip_integral_gain"]
    if ask.integral is Integral.EMPTY and bank.present(growth):
        bank = bank.replaced(growth, np.zeros(bank.values(growth).shape))
    if ask.connected:
        bank = bank.without(ROLE_INDEX[role] for role in SHAFT_ROLES)
    count = len(rows)
    outputs, used = np.empty((count, len(OUTPUTS))), np.empty((count, len(INPUTS)))
    settled = np.empty(count)
    state = np.zeros(STATE_SIZE)
    result_kernel.settle(  # type: ignore[no-untyped-call]
        bank.arrays, ready.constants, LONG_TICK, MOST_TICKS, rows, state, outputs, used, settled
    )
    missing = dict.fromkeys(bound.missing, "no table plays it.")
    return outputs, used, settled > 0, {**missing, **bound.unusable, **ready.left_out}


@dataclass(frozen=True)
class Place:
    """Where a point of the picture comes from.

    Parameters
    ----------
    role, table_id : str
        Empty where nothing governs.
    cell : tuple of int
        The governing table's cell nearest to the point.
    torque : float
    """

    role: str
    table_id: str
    cell: tuple[int, ...]
    torque: float


def place_of(bound: Bound, ask: Ask, x: float, y: float) -> Place:
    """Return which table's cell governs at one point."""
    points: dict[str, FloatArray | float] = {**ask.at, ask.x: np.array([x]), ask.y: np.array([y])}
    outputs, used, _, _ = _held(bound, ask, points)
    torque = float(outputs[0, OUTPUT_INDEX["torque"]])
    number = outputs[0, OUTPUT_INDEX["governing"]]
    if not number >= 0:
        return Place("", "", (), torque)
    role = ROLES[int(number)]
    table = bound.tables[role]
    cell = tuple(_nearest(axis, float(used[0, INPUT_INDEX[axis.quantity]])) for axis in table.axes)
    return Place(role, table.id, cell, torque)


def _nearest(axis: Axis, at: float) -> int:
    if axis.interpolation is Interpolation.STEP:
        return int(np.clip(np.searchsorted(axis.values, at, side="right") - 1, 0, len(axis) - 1))
    return int(np.argmin(np.abs(axis.values - at)))
