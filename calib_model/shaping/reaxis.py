"""Move a table to other breakpoints: typed ones, another table's, or a shared axis.

What the controller reads changes wherever an old breakpoint is passed over; the proposal says by
how much and where.  Values may be read at the new breakpoints, be the nearest ones, or stay on the
safe side: nowhere above (a limit), or nowhere below (a least torque).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..core.arrays import FloatArray, IntArray
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..core.units import convert, same_kind
from ..editing.axes import AxisError, exchange_breakpoints
from ..editing.change import SharedAxisEdit, TableEdit
from ..errors import EditRefused
from ..lookup.reference import lookup_values, weights
from .reaxis_proposal import ROUNDING, AxisProposal, places_of, reading_error, settled

METHODS = ("read", "nearest", "not above", "not below")
MOST_LISTED = 8


@dataclass(frozen=True)
class KinkLoss:
    """An old breakpoint that is passed over.

    Parameters
    ----------
    at : float
    below, above : float
        How far the new reading lies below and above the old one there, at most; not negative.
    """

    at: float
    below: float
    above: float


@dataclass(frozen=True, eq=False)
class ReaxisProposal(AxisProposal):
    """A table on other breakpoints.

    Parameters
    ----------
    table_id : str
    axis : int
    kinks : tuple of KinkLoss
        Old breakpoints passed over, worst first.
    """

    table_id: str = ""
    axis: int = 0
    kinks: tuple[KinkLoss, ...] = ()


def breakpoints_of(
    content: CalibrationSet, table: Table, axis: int, source: str, source_axis: int = -1
) -> Axis:
    """Return the axis that another table or the set's shared axes hold, in this axis's unit.

    Parameters
    ----------
    content : CalibrationSet
    table : Table
    axis : int
    source : str
        Id of a shared axis or of a table.
    source_axis : int
        Which axis of that table; the one that reads the same input if -1.

    Raises
    ------
    EditRefused
        If there is none, or its unit is of another kind.
    """
    own = table.axes[axis]
    if source in content.shared_axes:
        found = content.shared_axes[source]
    elif source in content:
        other = content[source]
        number = source_axis if source_axis >= 0 else other.axis_of(own.quantity)
        if own.quantity == "" and source_axis < 0:
            number = next((n for n, a in enumerate(other.axes) if a.name == own.name), -1)
        if not 0 <= number < len(other.axes):
            raise EditRefused(
                f"{other.label} has no axis that reads {own.label.lower()}.",
                "Name the axis by its number.",
            )
        found = other.axes[number]
    else:
        raise EditRefused(
            f"The set has neither a table nor a shared axis {source!r}.",
            f"Shared axes: {', '.join(content.shared_axes) or 'none'}.",
        )
    if found.unit == own.unit:
        return found
    if not same_kind(found.unit, own.unit):
        raise EditRefused(
            f"{found.label} is in {found.unit!r}, but {own.label.lower()} of {table.label} in "
            f"{own.unit!r}."
        )
    return replace(found, values=convert(found.values, found.unit, own.unit), shared="")


def reaxis(
    content: CalibrationSet,
    table: str,
    axis: int = 0,
    breakpoints: npt.ArrayLike | Axis | None = None,
    *,
    like: str = "",
    method: str = "read",
    adopt: bool = False,
    detach: bool = False,
) -> ReaxisProposal:
    """Move a table to other breakpoints.

    Parameters
    ----------
    content : CalibrationSet
    table : str
    axis : int
    breakpoints : array_like or Axis, optional
        In the axis's unit; an axis comes from `breakpoints_of`.
    like : str
        Or: id of a table or shared axis to take them from.
    method : ``read``, ``nearest``, ``not above`` or ``not below``
        Read the old function at the new breakpoints; or take the values whose reading is nearest
        to it everywhere; or nearest on one side of it.  Tables that share the axis are read.
    adopt : bool
        Use the shared axis that was given as such, from now on.
    detach : bool
        For a shared axis: move this table only.

    Raises
    ------
    EditRefused
        If the breakpoints do not rise, the storage cannot hold them apart, or a locked cell would
        be lost.
    """
    if method not in METHODS:
        raise EditRefused(f"Method {method!r} is not known.", f"Use {', '.join(METHODS)}.")
    before = content[table]
    if not 0 <= axis < len(before.axes):
        raise EditRefused(f"{before.label} has no axis {axis + 1}.")
    if (breakpoints is None) == (not like):
        raise EditRefused("Neither breakpoints nor where to take them from are given, or both.")
    if like:
        breakpoints = breakpoints_of(content, before, axis, like)
    source = breakpoints if isinstance(breakpoints, Axis) else None
    wanted = source.values if source is not None else np.asarray(breakpoints, dtype=np.float64)
    values = on_raster(before.axes[axis], wanted)
    if adopt and (source is None or not source.shared):
        raise EditRefused("Only a shared axis of the set can be taken over as such.")
    change = exchange_breakpoints(content, table, axis, values, detach=detach or adopt)
    after = {e.table: e.after for e in change.edits if isinstance(e, TableEdit) and e.after}
    shared = tuple(e for e in change.edits if isinstance(e, SharedAxisEdit))
    moved = after.get(table, before)
    if adopt and source is not None:
        moved = replace(
            moved, axes=(*moved.axes[:axis], source, *moved.axes[axis + 1 :]), values=moved.values
        )
    new_axes = {e.id: e.after for e in shared if e.after is not None}
    notes: list[str] = []
    if method != "read":
        wished = values_for(before, moved, axis, method)
        if method == "nearest":
            found, notes_of = settled(content, moved.with_values(wished), new_axes)
            notes += notes_of
        else:
            found = one_sided(before, moved, wished, method)
        moved = moved.with_values(found)
    after[table] = moved
    return _proposal(content, table, axis, after, shared, method, notes)


def on_raster(axis: Axis, values: FloatArray) -> FloatArray:
    """Breakpoints as the axis's storage holds them.

    Raises
    ------
    EditRefused
        If two of them become one, or one is out of its range.
    """
    values = np.asarray(values, dtype=np.float64).reshape(-1)
    if not np.isfinite(values).all() or values.size == 0:
        raise EditRefused("Breakpoints must be numbers.", "Type at least one.")
    if not (np.diff(values) > 0).all():
        raise EditRefused("Breakpoints must rise strictly.", "Sort them, and leave out repeats.")
    stored = axis.storage.nearest(values)
    if np.abs(stored - values).max() > axis.storage.resolution and axis.storage.is_integer:
        low, high = axis.storage.range
        raise EditRefused(
            f"{axis.label} can only hold {short(low)} to {with_unit(high, axis.unit)}.",
            "Choose breakpoints in that range.",
        )
    if not (np.diff(stored) > 0).all():
        raise EditRefused(
            f"Two breakpoints are closer than a storage step of {axis.label.lower()} "
            f"({with_unit(axis.storage.resolution, axis.unit)}).",
            "Move them apart.",
        )
    return np.asarray(stored)


def values_for(before: Table, after: Table, axis: int, method: str) -> FloatArray:
    """Values on new breakpoints whose reading is nearest to the old one, perhaps on one side.

    The largest miss is least, then the sum of misses; line by line along the axis, since the
    other axes stay as they are.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array, hstack, vstack

    old, new = before.axes[axis], after.axes[axis]
    grid = np.union1d(old.values, new.values)
    cells, shares = weights([new], [grid])
    rows = np.repeat(np.arange(grid.size), cells.shape[1])
    hats = csr_array((shares.reshape(-1), (rows, cells.reshape(-1))), shape=(grid.size, len(new)))
    one = csr_array(np.ones((grid.size, 1)))
    none = csr_array((grid.size, 1))
    over, under = hstack([hats, -one]), hstack([-hats, -one])
    if method == "not above":
        over = hstack([hats, none])
    elif method == "not below":
        under = hstack([-hats, none])
    matrix = csr_array(vstack([over, under]))
    lean = {"nearest": 0.0, "not above": -1.0, "not below": 1.0}[method]
    cost = np.concatenate(
        [lean * 1e-4 * np.asarray(hats.sum(axis=0)).reshape(-1) / grid.size, [1.0]]
    )
    lines = np.moveaxis(before.values, axis, 0).reshape(len(old), -1)
    low, high = (
        max(before.lower, before.storage.range[0]),
        min(before.upper, before.storage.range[1]),
    )
    if method == "nearest":  # rules and limits come afterwards, and say what they changed
        low, high = -np.inf, np.inf
    found = np.empty((len(new), lines.shape[1]))
    for line in range(lines.shape[1]):
        y = lookup_values([old], lines[:, line], [grid])
        if not np.isfinite(y).all():
            found[:, line] = lookup_values([old], lines[:, line], [new.values])
            continue
        middle, size = float(y.mean()), max(float(np.ptp(y)), 1e-300)
        scaled = (y - middle) / size
        limits = [((low - middle) / size, (high - middle) / size)] * len(new)
        result = linprog(
            cost,
            matrix,
            np.concatenate([scaled, -scaled]),
            bounds=[*limits, (0, None)],
            method="highs",
        )
        if result.x is None:
            raise EditRefused(
                f"No values within the limits of {before.label} are {method} the old ones "
                "everywhere.",
                "Read the values, or add breakpoints.",
            )
        found[:, line] = np.clip(middle + size * result.x[:-1], low, high)
    shape = (len(new), *np.delete(np.array(before.shape), axis).tolist())
    return np.moveaxis(found.reshape(shape), 0, axis)


def one_sided(before: Table, after: Table, wished: FloatArray, method: str) -> FloatArray:
    """Round values to the safe side, and make sure that no reading is on the other one."""
    up = method == "not below"
    storage = after.storage
    values = wished
    for _ in range(50):
        if storage.is_integer:
            raw = (values * storage.denominator - storage.offset) / storage.numerator
            close = np.rint(raw)
            whole = np.where(
                np.abs(raw - close) < 1e-7, close, np.ceil(raw) if up else np.floor(raw)
            )
            values = storage.physical(np.clip(whole, *storage.raw_range))
        elif storage.type == "float32":
            single = values.astype(np.float32)
            off = (single < values) if up else (single > values)
            away = np.nextafter(single, np.float32(np.inf if up else -np.inf))
            values = np.where(off, away, single).astype(np.float64)
        wrong = _wrong_side(before, after.with_values(values), up)
        if wrong is None:
            return values
        step = storage.resolution or max(wrong[1], 1e-15 * max(after.span, 1e-300)) * 1.01
        move = np.zeros(after.shape)
        move[wrong[0]] = step if up else -step
        values = values + move
    raise EditRefused("No values were found that stay on one side.", "Read the values instead.")


def _wrong_side(before: Table, after: Table, up: bool) -> tuple[tuple[IntArray, ...], float] | None:
    """Cells that bear on readings of the wrong side, and by how much; None if there are none."""
    grids = [np.union1d(a.values, b.values) for a, b in zip(before.axes, after.axes, strict=True)]
    mesh = np.meshgrid(*grids, indexing="ij")
    apart = lookup_values(after.axes, after.values, mesh) - lookup_values(
        before.axes, before.values, mesh
    )
    over = -apart if up else apart
    bad = over > ROUNDING * max(before.span, float(np.nanmax(np.abs(before.values))))
    if not bad.any():
        return None
    cells, shares = weights(after.axes, [m[bad] for m in mesh])
    hit = np.unique(cells[shares > 0])
    where = tuple(np.asarray(i, dtype=np.int64) for i in np.unravel_index(hit, after.shape))
    return where, float(over[bad].max())


def kinks_passed(before: Table, after: Table, axis: int) -> tuple[KinkLoss, ...]:
    """Old breakpoints that are no longer there, with the difference in reading, worst first."""
    old, new = before.axes[axis], after.axes[axis]
    gone = np.setdiff1d(old.values, new.values)
    if not gone.size:
        return ()
    grids = [
        gone if n == axis else np.union1d(a.values, b.values)
        for n, (a, b) in enumerate(zip(before.axes, after.axes, strict=True))
    ]
    mesh = np.meshgrid(*grids, indexing="ij")
    apart = lookup_values(after.axes, after.values, mesh) - lookup_values(
        before.axes, before.values, mesh
    )
    lines = np.nan_to_num(np.moveaxis(apart, axis, 0).reshape(gone.size, -1))
    found = [
        KinkLoss(float(x), float(max(-row.min(), 0.0)), float(max(row.max(), 0.0)))
        for x, row in zip(gone, lines, strict=True)
    ]
    return tuple(sorted(found, key=lambda k: -max(k.below, k.above)))


def _proposal(
    content: CalibrationSet,
    table: str,
    axis: int,
    after: Mapping[str, Table],
    shared: Sequence[SharedAxisEdit],
    method: str,
    notes: Sequence[str],
) -> ReaxisProposal:
    before = {id: content[id] for id in after}
    errors: dict[str, AxisError] = {id: reading_error(before[id], t) for id, t in after.items()}
    own = before[table].axes[axis]
    kinks = kinks_passed(before[table], after[table], axis)
    said = [e.words(after[id]) for id, e in errors.items()]
    unit = before[table].unit
    least = ROUNDING * max(before[table].span, 1e-300)
    passed = [k for k in kinks if max(k.below, k.above) > least]
    if passed:
        parts = [_kink_words(k, own.unit, unit) for k in passed[:MOST_LISTED]]
        more = len(passed) - MOST_LISTED
        said.append(
            f"Bends passed over: {'; '.join(parts)}{f'; and {more} more' if more > 0 else ''}."
        )
    return ReaxisProposal(
        f"Move {before[table].label} to {len(after[table].axes[axis])} breakpoints of "
        f"{own.label.lower()}",
        places_of(before),
        places_of(after),
        {
            "breakpoints": ", ".join(short(x) for x in after[table].axes[axis].values.tolist()),
            "values": method,
        },
        notes=(*said, *notes),
        shared=tuple(shared),
        errors=errors,
        table_id=table,
        axis=axis,
        kinks=kinks,
    )


def _kink_words(kink: KinkLoss, x_unit: str, unit: str) -> str:
    parts = []
    if kink.below > 1e-9 * kink.above:
        parts.append(f"{with_unit(kink.below, unit, 3)} below")
    if kink.above > 1e-9 * kink.below:
        parts.append(f"{with_unit(kink.above, unit, 3)} above")
    return f"at {with_unit(kink.at, x_unit)} {' and '.join(parts)}"
