"""A set along a drive: what every table read, what the torque law commanded, and which decided.

The torque law is `calib_model.controller.law.run`; the tables are read by the same lookup as in
the editor, at the drive's inputs and at those that the law works out itself (slip error, slip
power, clamp, ...).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..controller.binding import bind
from ..controller.constants import Constants
from ..controller.inputs import INPUT_INDEX, INPUTS
from ..controller.law import Run, run
from ..controller.outputs import (
    CONNECTED,
    CURRENT_ROLES,
    DISCONNECTED,
    OUTPUT_INDEX,
    OUTPUTS,
    PARTNERS,
    SHAFT_ROLES,
)
from ..core.arrays import BoolArray, FloatArray
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.canonical import digest
from ..core.record import Place
from ..core.roles import ROLES
from ..core.table import Table
from ..errors import ModelError
from ..lookup.reference import locate, weights
from .feeds import Feeds
from .lookups import Lookups
from .mapping import OWN
from .statistics import DriveStats, entered, figures, time_per_role
from .versus import Versus, compare_replays

if TYPE_CHECKING:
    from .ticks import Ticks

__all__ = ["CHAIN", "CellUse", "Interval", "Replay", "Versus", "compare_replays", "replay"]

CHAIN: frozenset[str] = frozenset(PARTNERS).union(*PARTNERS.values(), CURRENT_ROLES, SHAFT_ROLES)
"""Roles that take part in deciding something; evidence for their tables asks that they decided."""

LIMIT_ROLES = (
    "steering_limit",
    "lateral_limit",
    "clamp_limit_plate",
    "clamp_limit_oil",
    "slip_power_derate",
    "current_for_clamp_apply",
    "brake_control_torque",
    "clutch_during_inside_brake",
    "torque_rise_slew",
    "torque_fall_slew",
)
"""Roles whose table, where it governs, kept the torque from what was demanded."""


@dataclass(frozen=True)
class CellUse:
    """A cell that contributed to a lookup.

    Parameters
    ----------
    cell : tuple of int
    place : tuple of float
        Its axis values.
    value : float
        In the table's unit.
    weight : float
        Its share in the value read; all add up to 1.
    """

    cell: tuple[int, ...]
    place: Place
    value: float
    weight: float


@dataclass(frozen=True)
class Interval:
    """A stretch of a drive, in seconds; the end is the end of its last tick.

    Parameters
    ----------
    start, end : float
    decided : float
        Seconds of it for which the table took part in deciding.
    """

    start: float
    end: float
    decided: float


class Replay:
    """A set along a drive; made by `replay`.

    Attributes
    ----------
    content : CalibrationSet
    digest : str
        Of the content.
    ticks : Ticks
    constants : Constants
    run : Run
        The torque law's.
    roles : mapping of role to Table
        The tables that the law used.
    tables : mapping of table id to float array, shape (T,)
        What every table read, in its unit; see `Lookups`.
    left_out : mapping of table id to str
        Tables that could not be read along the drive, with the reason.
    roles_left_out : mapping of role to str
        Parts of the law that took no part, with the reason.
    """

    def __init__(
        self, content: CalibrationSet, ticks: Ticks, constants: Constants, *, digest_: str = ""
    ) -> None:
        bound = bind(content, constants)
        if not np.isclose(bound.tick_s, ticks.tick_s, rtol=1e-6, atol=0.0):
            raise ModelError(
                f"The drive is on ticks of {1000 * ticks.tick_s:g} ms, but the set's controller "
                f"ticks every {1000 * bound.tick_s:g} ms.",
                "Bring the recording to the set's tick.",
            )
        self.content = content
        self.digest = digest_ or digest(content)
        self.ticks = ticks
        self.constants = constants
        self.run: Run = run(bound, ticks.inputs, valid=ticks.valid)
        self.roles: Mapping[str, Table] = bound.tables
        self._feeds = _feeds(ticks, self.run)
        self.tables = Lookups(content, self._feeds, ticks.time.size)
        self.left_out: Mapping[str, str] = self.tables.left_out
        self.roles_left_out: Mapping[str, str] = {
            **dict.fromkeys(bound.missing, "no table of the set plays this part"),
            **bound.unusable,
            **self.run.left_out,
        }
        self._role_of = {table.id: role for role, table in bound.tables.items()}
        self._decided: dict[str, BoolArray] = {}
        self._stats: DriveStats | None = None

    @property
    def valid(self) -> BoolArray:
        """Ticks at which the recording's inputs count, shape (T,)."""
        return self.ticks.valid

    @property
    def ran(self) -> BoolArray:
        """Ticks at which the law ran, shape (T,)."""
        return self.run.good

    def output(self, name: str) -> FloatArray:
        """Return an output of the law, shape (T,)."""
        return self.run.output(name)

    def points(self, id: str) -> tuple[FloatArray, ...]:
        """Return what a table's axes were fed, one array of shape (T,) per axis."""
        return self._feeds.points(self.content[id])

    def why_left_out(self, id: str) -> str:
        """Return why a table was not read along the drive; empty if it was."""
        return self.left_out.get(id, "")

    def role_of(self, id: str) -> str:
        """Return the part of the law that a table played; empty for none."""
        return self._role_of.get(id, "")

    def decided(self, id: str) -> BoolArray | None:
        """Tell when a table took part in deciding, shape (T,); None if it had no part to play."""
        role = self.role_of(id)
        if role not in self.run.roles or role not in CHAIN:
            return None
        if role not in self._decided:
            self._decided[role] = self.run.decided(role)
        return self._decided[role]

    def in_chain(self, id: str) -> bool:
        """Whether a table's evidence asks that it decided: it has a part in the law's chain."""
        table = self.content.tables.get(id)
        return table is not None and table.role in CHAIN

    def computed(self, signal: str) -> tuple[FloatArray, str, str] | None:
        """Return what is replayed of one of the controller's own signals.

        Parameters
        ----------
        signal : str
            An output of the law (also as `calib_model.evidence.mapping` names it), or the role or
            id of a table.

        Returns
        -------
        (values, unit, table id) or None
            None if the replay does not know it.
        """
        signal = signal.removeprefix(OWN)
        if signal in OUTPUT_INDEX:
            return self.output(signal), OUTPUTS[OUTPUT_INDEX[signal]].unit, ""
        table = self.content.by_role(signal) if signal in ROLES else self.content.tables.get(signal)
        if table is None or table.id in self.left_out:
            return None
        return self.tables[table.id], table.unit, table.id

    # -- from a moment to cells and back -----------------------------------------------

    def tick_at(self, seconds: float) -> int:
        """Return the number of the tick that holds at a moment."""
        place = int(np.searchsorted(self.ticks.time, seconds + 1e-9, side="right")) - 1
        return min(max(place, 0), self.ticks.time.size - 1)

    def cells_at(self, id: str, tick: int) -> tuple[CellUse, ...]:
        """Return the cells that a table's lookup used at a tick, the heaviest first.

        Empty where the tick does not count or an input is not known.

        Raises
        ------
        ModelError
            If the drive does not feed the table.
        """
        table = self._fed(id)
        if not self.valid[tick]:
            return ()
        if not table.axes:
            return (CellUse((), (), float(table.values), 1.0),)
        point = [x[tick : tick + 1] for x in self.points(id)]
        cells, shares = weights(table.axes, point, id)
        total: dict[int, float] = {}
        for cell, share in zip(cells[0].tolist(), shares[0].tolist(), strict=True):
            if share != 0 and share == share:
                total[cell] = total.get(cell, 0.0) + share
        found = []
        for flat in sorted(total, key=lambda cell: -abs(total[cell])):
            index = tuple(int(i) for i in np.unravel_index(flat, table.shape))
            place = tuple(float(a.values[i]) for a, i in zip(table.axes, index, strict=True))
            found.append(CellUse(index, place, float(table.values[index]), total[flat]))
        return tuple(found)

    def moments_of(
        self, id: str, cell: tuple[int, ...], *, deciding: bool = False
    ) -> tuple[Interval, ...]:
        """Return the stretches of the drive in which a table's lookup used a cell.

        Parameters
        ----------
        id : str
        cell : tuple of int
        deciding : bool
            Only those ticks at which the table took part in deciding.

        Raises
        ------
        ModelError
            If the drive does not feed the table.
        """
        table = self._fed(id)
        used = self.valid.copy()
        if table.axes:
            for axis, x, index in zip(table.axes, self.points(id), cell, strict=True):
                used &= _uses(axis, x, index)
        decided = self.decided(id)
        if decided is None:
            decided = np.zeros_like(used)
        if deciding:
            used &= decided
        return _intervals(used, decided, self.ticks.time, self.ticks.tick_s)

    def deciding_at(self, tick: int) -> tuple[str, ...]:
        """Return the ids of the tables that took part in deciding at a tick, governing first."""
        governing = self.governing_at(tick)
        found = []
        for table in self.roles.values():
            mask = self.decided(table.id)
            if mask is not None and mask[tick]:
                found.append(table)
        found.sort(key=lambda table: table is not governing)
        return tuple(table.id for table in found)

    def governing_at(self, tick: int) -> Table | None:
        """Return the table that governed the commanded torque at a tick, if any did."""
        number = int(self.run.governing[tick])
        return self.roles.get(ROLES[number]) if number >= 0 else None

    def _fed(self, id: str) -> Table:
        reason = self.why_left_out(id)
        if reason:
            raise ModelError(f"{id} cannot be read along this drive. {reason}")
        return self.content[id]

    # -- figures -----------------------------------------------------------------------

    def stats(self) -> DriveStats:
        """Return what the law did along the drive, in total."""
        if self._stats is None:
            self._stats = self._reckoned()
        return self._stats

    def _reckoned(self) -> DriveStats:
        ticks, tick_s = self.ticks, self.ticks.tick_s
        ran = self.ran
        governing = self.run.governing
        governed = time_per_role(governing, ran, tick_s, ROLES)
        limited = {role: s for role, s in governed.items() if role in LIMIT_ROLES}
        state = self.output("state")
        away, home = state == DISCONNECTED, state == CONNECTED
        seconds = float(ran.sum() * tick_s)
        reconnections = entered(home & ran, ran)
        return DriveStats(
            seconds=float(ticks.time.size * tick_s),
            valid_seconds=seconds,
            governed=governed,
            idle_seconds=float((ran & (governing < 0)).sum() * tick_s),
            limited=limited,
            limited_seconds=float(sum(limited.values())),
            disconnected_share=float(away.sum() * tick_s / seconds) if seconds else float("nan"),
            disconnections=entered(away & ran, ran),
            reconnections=reconnections,
            reconnections_per_hour=3600.0 * reconnections / seconds if seconds else float("nan"),
            outputs={o.name: figures(ticks.time, self.output(o.name)) for o in OUTPUTS},
        )


def replay(
    content: CalibrationSet, ticks: Ticks, constants: Constants, *, digest_: str = ""
) -> Replay:
    """Run a set along a drive.

    Parameters
    ----------
    content : CalibrationSet
    ticks : Ticks
        The drive, on the controller's tick.
    constants : Constants
        What the controller knows of the vehicle.
    digest_ : str
        Of the content, where it is known already.
    """
    return Replay(content, ticks, constants, digest_=digest_)


def _feeds(ticks: Ticks, ran: Run) -> Feeds:
    """Return what tables can be fed: what is given, else what the law worked out itself."""
    known: dict[str, FloatArray] = {}
    absent: dict[str, str] = {}
    for one in INPUTS:
        column = INPUT_INDEX[one.name]
        given = ticks.inputs[:, column]
        if np.isnan(given).all():
            given = ran.input(one.name)
            if np.isnan(given).all():
                absent[one.name] = "the drive does not give it" + (
                    ", and the law could not work it out" if one.computed else ""
                )
                continue
        known[one.name] = np.ascontiguousarray(given)
    return Feeds(known, {one.name: one.unit for one in INPUTS}, absent)


def _uses(axis: Axis, x: FloatArray, index: int) -> BoolArray:
    """Tell at which points a breakpoint contributes to the lookup."""
    low, high, t = locate(axis, x)
    with np.errstate(invalid="ignore"):
        return np.asarray(
            ((low == index) & (t != 1) & ~np.isnan(t)) | ((high == index) & (np.abs(t) > 0))
        )


def _intervals(
    used: BoolArray, decided: BoolArray, time: FloatArray, tick_s: float
) -> tuple[Interval, ...]:
    edges = np.diff(used.astype(np.int8), prepend=np.int8(0), append=np.int8(0))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    total = np.concatenate([[0], np.cumsum(decided)])
    return tuple(
        Interval(
            float(time[start]),
            float(time[end - 1] + tick_s),
            float(total[end] - total[start]) * tick_s,
        )
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True)
    )
