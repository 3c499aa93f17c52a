"""The best breakpoints of a curve or along one axis of a map: N of them, or the fewest that do.

The reference is the table itself, a dense set of points, or a fit to samples.  Breakpoints stay on
the raster that the user asks for and that the axis's storage can hold; the error is that of the
values as stored.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..core.arrays import FloatArray
from ..core.axis import Axis, End, Interpolation
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..editing.axes import exchange_breakpoints
from ..editing.change import SharedAxisEdit, TableEdit
from ..errors import EditRefused
from .branches import refuse_two_branches
from .breakpoints_lines import Lines, PlacementError, error_of
from .breakpoints_place import best, fewest, free_values
from .fit import fit, ready
from .fit_estimate import estimate
from .fit_options import FitOptions
from .fit_specimens import combined
from .reaxis_proposal import AxisProposal, places_of, reading_error, settled
from .samples import Samples, SamplesRefused
from .screening import screened

MOST_RASTER = 200_000
DENSE = 121
"""Nodes of a fit to samples that serves as the reference of a curve."""
DENSE_MAP = 41


@dataclass(frozen=True, eq=False)
class Placement:
    """Breakpoints and how well they do.

    Parameters
    ----------
    breakpoints : float array, shape (n,)
    values : float array, shape (n, k)
        Node values, not rounded.
    error : PlacementError
    """

    breakpoints: FloatArray
    values: FloatArray
    error: PlacementError


@dataclass(frozen=True, eq=False)
class BreakpointsProposal(AxisProposal):
    """A table on the best breakpoints.

    Parameters
    ----------
    table_id : str
    axis : int
    reference : Lines, optional
        What the errors are measured against.
    error_before, error_after : PlacementError, optional
        Of the table as it is (with its values) and as proposed (as stored).
    error_placed : PlacementError, optional
        Of the present breakpoints with values taken from the reference: what moving the
        breakpoints alone gains.
    tolerance : float
        NaN if a number of breakpoints was asked for.
    """

    table_id: str = ""
    axis: int = 0
    reference: Lines | None = None
    error_before: PlacementError | None = None
    error_after: PlacementError | None = None
    error_placed: PlacementError | None = None
    tolerance: float = float("nan")


def place(
    lines: Lines,
    *,
    count: int | None = None,
    tolerance: float | None = None,
    raster: FloatArray | None = None,
    kept: Sequence[float] = (),
    free: bool = False,
) -> Placement:
    """Return the best breakpoints for some lines; the ends of their range are among them.

    Parameters
    ----------
    lines : Lines
    count : int
        How many; at least 2.
    tolerance : float
        Or: the largest error allowed, with as few as do.
    raster : float array, optional
        The only allowed inputs, rising, the ends of the range among them.
    kept : sequence of float
        Inputs that must be breakpoints (zero, a limit).
    free : bool
        Whether node values may leave the lines, which halves the error where they are convex.
    """
    if (count is None) == (tolerance is None):
        raise EditRefused("Ask for a number of breakpoints or for a tolerance, not both.")
    if count is not None and count < 2:
        raise EditRefused("An axis needs at least two breakpoints here.")
    if tolerance is not None and not tolerance > 0:
        raise EditRefused("A tolerance must be above zero.")
    kept = [k for k in kept if lines.x[0] < k < lines.x[-1]]
    if count is not None and count < 2 + len(kept):
        raise EditRefused(f"{len(kept) + 2} breakpoints are asked for by name already.")
    if count is not None:
        return _placed(lines, best(lines, count, raster, kept), free)
    assert tolerance is not None
    # Free values err by half as much at best, so fewer breakpoints may do: look from there on.
    few = fewest(lines, tolerance * (2 if free else 1), raster, kept)
    sure = fewest(lines, tolerance, raster, kept) if free else few
    most = sure.size if sure is not None else (few.size if few is not None else lines.x.size)
    for number in range(max((2 if few is None else few.size - 1), 2 + len(kept)), most + 1):
        found = _placed(lines, best(lines, number, raster, kept), free)
        if found.error.largest <= tolerance * (1 + 1e-9):
            return found
    if sure is not None:
        return _placed(lines, sure, free)
    raise EditRefused(
        "No breakpoints on this raster keep to the tolerance.", "Allow a larger error."
    )


def _placed(lines: Lines, knots: FloatArray, free: bool) -> Placement:
    values = free_values(lines, knots) if free else lines.read(knots)
    return Placement(knots, values, error_of(lines, knots, values))


def raster_of(axis: Axis, low: float, high: float, step: float = 0.0) -> FloatArray | None:
    """Inputs that the axis's storage holds and that are multiples of a step; None if any will do.

    The ends of the range are among them, on the raster or not.

    Raises
    ------
    EditRefused
        If the storage cannot hold multiples of the step.
    """
    storage = axis.storage
    if step < 0:
        raise EditRefused("A raster step cannot be negative.")
    if step > 0:
        first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
        if last - first > MOST_RASTER:
            raise EditRefused("The raster is too fine for this axis.", "Use a larger step.")
        points = np.arange(first, last + 1) * step
        points = np.round(points, 12)
        stored = storage.nearest(points)
        if storage.is_integer and (np.abs(stored - points) > 1e-9 * max(abs(high), 1)).any():
            raise EditRefused(
                f"The axis's storage has a step of {with_unit(storage.resolution, axis.unit)} and "
                f"cannot hold every multiple of {with_unit(step, axis.unit)}.",
                "Use a multiple of the storage step.",
            )
        points = stored
    elif storage.is_integer:
        if (high - low) / storage.resolution > MOST_RASTER:
            return None
        first = float(storage.raw(low))
        last = float(storage.raw(high))
        points = storage.physical(np.arange(first, last + 1))
    else:
        return None
    points = points[(points > low) & (points < high)]
    return np.concatenate([[low], points, [high]])


def lines_of(table: Table, axis: int) -> Lines:
    """The table's own lines along one axis, at its breakpoints."""
    _suits(table, axis)
    values = np.moveaxis(table.values, axis, 0).reshape(len(table.axes[axis]), -1)
    if np.isnan(values).any():
        raise EditRefused(f"{table.label} has empty cells.", "Fill them first.")
    return Lines(table.axes[axis].values, values)


def _suits(table: Table, axis: int) -> None:
    if not 0 <= axis < len(table.axes):
        raise EditRefused(f"{table.label} has no axis {axis + 1}.")
    own = table.axes[axis]
    if own.interpolation is Interpolation.STEP:
        raise EditRefused(
            f"{own.label} is read in steps; its breakpoints are states, not places on a scale."
        )
    if not own.ordered:
        raise EditRefused(f"The axis {own.label.lower()} is out of order.", "Mend the axis first.")
    if len(own) < 2:
        raise EditRefused(f"{own.label} has a single breakpoint.", "Insert another one first.")


def place_breakpoints(
    content: CalibrationSet,
    table: str,
    axis: int = 0,
    *,
    count: int | None = None,
    tolerance: float | None = None,
    reference: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
    samples: Samples | None = None,
    options: FitOptions | None = None,
    nominal: Sequence[str] = (),
    step: float = 0.0,
    kept: Sequence[float] = (),
    free: bool = False,
    relative: bool = False,
    detach: bool = False,
) -> BreakpointsProposal:
    """Give a table the best breakpoints along one axis, and the values that go with them.

    Parameters
    ----------
    content : CalibrationSet
    table : str
    axis : int
    count, tolerance
        N breakpoints, or the fewest whose error is at most the tolerance.
    reference : (x, y), optional
        A dense curve, y of shape (m,) or (m, lines); the table itself by default.
    samples : Samples, optional
        Or: samples, fitted finely to serve as the reference; the values are then fitted anew.
    options : FitOptions, optional
        For the fit to samples.
    nominal : sequence of str
        Units under test that make the table; all by default.
    step : float
        Breakpoints are to be multiples of it; 0 for any that the axis's storage holds.
    kept : sequence of float
        Inputs that must be breakpoints.
    free : bool
        Whether values may leave the reference (see `place`).
    relative : bool
        Whether errors, and the tolerance, are shares of the value; see
        `calib_model.shaping.breakpoints_lines.Lines.relative`.
    detach : bool
        For a shared axis: change this table only.
    """
    before = content[table]
    _suits(before, axis)
    own = before.axes[axis]
    if samples is not None:
        lines = lines_of_samples(before, axis, samples, options or FitOptions(), nominal)
    elif reference is not None:
        lines = _given(before, axis, reference)
    else:
        lines = lines_of(before, axis)
    low, high = float(lines.x[0]), float(lines.x[-1])
    stored = own.storage.nearest(np.array([low, high]))
    if own.storage.is_integer and not np.array_equal(stored, [low, high]):
        inside = np.clip(stored, low, high)
        lines = _cut(lines, float(inside[0]), float(inside[1]))
        low, high = float(lines.x[0]), float(lines.x[-1])
    lines = lines.relative() if relative else lines
    found = place(
        lines,
        count=count,
        tolerance=tolerance,
        raster=raster_of(own, low, high, step),
        kept=kept,
        free=free,
    )
    asked: dict[str, Any] = {"breakpoints" if count else "tolerance": count or tolerance}
    if step:
        asked["raster"] = step
    if len(kept):
        asked["kept"] = ", ".join(short(k) for k in kept)
    if relative:
        asked["errors"] = "as shares of the value"
    asked["values"] = "free" if free else "on the reference"
    asked["reference"] = (
        samples.source or "samples"
        if samples is not None
        else ("given points" if reference is not None else "the table itself")
    )
    return _proposal(
        content, before, axis, lines, found, tolerance, detach, asked, samples, options, nominal
    )


def _cut(lines: Lines, low: float, high: float) -> Lines:
    dense = lines.with_points(np.array([low, high]))
    inside = (dense.x >= low) & (dense.x <= high)
    return Lines(dense.x[inside], dense.y[inside])


def _given(table: Table, axis: int, reference: tuple[npt.ArrayLike, npt.ArrayLike]) -> Lines:
    x, y = (np.asarray(p, dtype=np.float64) for p in reference)
    order = np.argsort(x, kind="stable")
    lines = Lines(x[order], y.reshape(x.size, -1)[order])
    wanted = int(np.prod([n for a, n in enumerate(table.shape) if a != axis], dtype=np.int64))
    if lines.y.shape[1] != wanted:
        raise EditRefused(
            f"The reference has {lines.y.shape[1]} lines, but {table.label} has {wanted} along "
            f"{table.axes[axis].label.lower()}.",
            "Give one line for every breakpoint of the other axes.",
        )
    return lines


def lines_of_samples(
    table: Table,
    axis: int,
    samples: Samples,
    options: FitOptions,
    nominal: Sequence[str] = (),
) -> Lines:
    """Fit samples finely along one axis, and return the fit over the range they reach.

    Raises
    ------
    SamplesRefused
        If the samples cannot be fitted.
    """
    ready(table)
    refuse_two_branches(table, samples, options)
    kept, screening = screened(table, samples, hold=options.hold)
    low, high = screening.least[axis], screening.most[axis]
    own = table.axes[axis]
    low, high = max(low, float(own.values[0])), min(high, float(own.values[-1]))
    # A piece at either end that the samples all but reach belongs to the range.
    near = 0.02 * own.span
    low = float(own.values[0]) if low - float(own.values[0]) < near else low
    high = float(own.values[-1]) if float(own.values[-1]) - high < near else high
    if not high > low:
        raise SamplesRefused(
            f"All samples lie at one place of {own.label.lower()}.", "Measure more of it."
        )
    most = DENSE if len(table.axes) == 1 else DENSE_MAP
    number = int(np.clip(len(kept) // 4, 8, most))
    fine = replace(own, values=np.linspace(low, high, number), shared="", storage=_FREE)
    wide = replace(
        table,
        axes=tuple(fine if n == axis else replace(a, shared="") for n, a in enumerate(table.axes)),
        values=np.full([number if n == axis else s for n, s in enumerate(table.shape)], np.nan),
        rules=(),
    )
    filling = replace(options, elsewhere="fill")
    if len(kept.specimens) > 1:
        found = combined(CalibrationSet({wide.id: wide}), {wide.id: kept}, filling, nominal)[0][
            wide.id
        ]
    else:
        found = estimate(wide, kept, filling)
    values = np.moveaxis(found.values.reshape(wide.shape), axis, 0).reshape(number, -1)
    return Lines(fine.values, values)


_FREE = Axis(np.zeros(1)).storage


def _proposal(
    content: CalibrationSet,
    before: Table,
    axis: int,
    lines: Lines,
    found: Placement,
    tolerance: float | None,
    detach: bool,
    asked: Mapping[str, Any],
    samples: Samples | None,
    options: FitOptions | None,
    nominal: Sequence[str],
) -> BreakpointsProposal:
    own = before.axes[axis]
    change = exchange_breakpoints(content, before.id, axis, found.breakpoints, detach=detach)
    after = {e.table: e.after for e in change.edits if isinstance(e, TableEdit) and e.after}
    shared = tuple(e for e in change.edits if isinstance(e, SharedAxisEdit))
    moved = after.get(before.id, before)
    new_axes = {e.id: e.after for e in shared if e.after is not None}
    notes: tuple[str, ...]
    if samples is not None:
        moved, notes = _refitted(content, moved, new_axes, after, samples, options, nominal)
    else:
        shape = (len(found.breakpoints), *np.delete(np.array(before.shape), axis).tolist())
        values = np.moveaxis(found.values.reshape(shape), 0, axis)
        settled_values, notes = settled(content, moved.with_values(values), new_axes)
        moved = moved.with_values(settled_values)
    after[before.id] = moved
    stored = np.moveaxis(moved.values, axis, 0).reshape(found.breakpoints.size, -1)
    error = error_of(lines, found.breakpoints, stored)
    unit = "" if "errors" in asked else before.unit
    old_values = np.moveaxis(before.values, axis, 0).reshape(len(own), -1)
    held = np.isfinite(old_values).all()
    was = error_of(lines, own.values, old_values) if held else None
    reach = own.values[(own.values >= lines.x[0]) & (own.values <= lines.x[-1])]
    placed = error_of(lines, reach, lines.read(reach)) if reach.size >= 2 else None
    said = [
        f"{len(found.breakpoints)} breakpoints: {_listed(found.breakpoints)} {own.unit}.",
        _error_words("Largest error with them", error, unit, own),
    ]
    if was is not None:
        said.append(
            _error_words(f"Largest error of the table as it is ({len(own)})", was, unit, own)
        )
    if placed is not None and reach.size == len(own) and not _same(placed, was):
        said.append(_error_words("With the present breakpoints and new values", placed, unit, own))
    if tolerance is not None and error.largest > tolerance:
        said.append(
            f"Rounding to storage takes the error above the tolerance of "
            f"{_amount(tolerance, unit)}."
        )
    errors = {id: reading_error(content[id], t) for id, t in after.items()}
    said += [errors[id].words(t) for id, t in after.items() if id != before.id]
    if own.below is End.HELD and lines.x[0] > own.values[0] + 1e-9 * own.span:
        said.append(f"Below {with_unit(float(lines.x[0]), own.unit)} the first value holds.")
    if own.above is End.HELD and lines.x[-1] < own.values[-1] - 1e-9 * own.span:
        said.append(f"Above {with_unit(float(lines.x[-1]), own.unit)} the last value holds.")
    return BreakpointsProposal(
        f"Place {len(found.breakpoints)} breakpoints of {own.label.lower()} in {before.label}",
        places_of({id: content[id] for id in after}),
        places_of(after),
        dict(asked),
        notes=(*said, *notes),
        shared=shared,
        errors=errors,
        table_id=before.id,
        axis=axis,
        reference=lines,
        error_before=was,
        error_after=error,
        error_placed=placed,
        tolerance=float("nan") if tolerance is None else tolerance,
    )


def _same(a: PlacementError, b: PlacementError | None) -> bool:
    return b is not None and a.largest == b.largest


def _refitted(
    content: CalibrationSet,
    moved: Table,
    new_axes: Mapping[str, Axis],
    after: Mapping[str, Table],
    samples: Samples,
    options: FitOptions | None,
    nominal: Sequence[str],
) -> tuple[Table, tuple[str, ...]]:
    """Fit the samples anew on the new breakpoints, under the rules in force."""
    tables: dict[str, Table | None] = {id: t for id, t in after.items() if id != moved.id}
    trial = content.replaced({**tables, moved.id: moved}, dict(new_axes))
    found = fit(trial, moved.id, samples, options, nominal=nominal)
    return found.table(moved.id), found.notes


def _listed(values: FloatArray) -> str:
    return ", ".join(short(x) for x in values.tolist())


def _error_words(what: str, error: PlacementError, unit: str, axis: Axis) -> str:
    return (
        f"{what}: {_amount(error.largest, unit, 3)} at {with_unit(error.at, axis.unit, 5)}, "
        f"{_amount(error.rms, unit, 2)} root mean square."
    )


def _amount(error: float, unit: str, digits: int = 4) -> str:
    """An error in its unit; without one it is a share of the value."""
    return (
        with_unit(error, unit, digits) if unit else f"{short(100 * error, digits)} % of the value"
    )
