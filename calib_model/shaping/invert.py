"""Turn a table round: from clamp over current to current over clamp, per temperature.

Only where the table rises or falls all along the axis; where it stays level, every input of that
stretch gives the same value, so the plateau is reported as an interval and one end is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..core.arrays import BoolArray, FloatArray
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short, with_unit
from ..core.storage import FLOAT64
from ..core.table import Table
from ..core.units import convert, same_kind
from ..errors import EditRefused
from ..lookup.reference import lookup_values
from .breakpoints import place, raster_of
from .breakpoints_lines import Lines
from .invert_lines import ENDS, Plateau, inverse_of, plateaus_of, sense_of
from .reaxis import on_raster
from .reaxis_proposal import AxisProposal, places_of, settled
from .tools import INVERT

MOST_LISTED = 6


@dataclass(frozen=True)
class RoundTrip:
    """How far there and back again ends from where it began.

    Parameters
    ----------
    value : float
        Largest of ``f(g(y)) - y``, in the source's unit, over values that are reached.
    value_at : tuple of float
        The value and the place on the other axes.
    input : float
        Largest of ``g(f(x)) - x``, in the unit of the source's axis, plateaus aside.
    input_at : tuple of float
    """

    value: float
    value_at: tuple[float, ...]
    input: float
    input_at: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class InvertProposal(AxisProposal):
    """A table that was made by turning another one round.

    Parameters
    ----------
    table_id, source : str
    plateaus : tuple of Plateau
    trip : RoundTrip, optional
    beyond : bool array, the table's shape
        Cells whose value the source never reaches; they hold its end.
    """

    table_id: str = ""
    source: str = ""
    plateaus: tuple[Plateau, ...] = ()
    trip: RoundTrip | None = None
    beyond: BoolArray | None = None


def invert(
    content: CalibrationSet,
    source: str,
    axis: int = 0,
    *,
    into: str = "",
    new_id: str = "",
    breakpoints: npt.ArrayLike | None = None,
    count: int | None = None,
    tolerance: float | None = None,
    step: float = 0.0,
    end: str = "inner",
) -> InvertProposal:
    """Turn a curve, or a map along one axis, round.

    Parameters
    ----------
    content : CalibrationSet
    source : str
        Id of the table to turn round.
    axis : int
        The input that becomes the value.
    into : str
        Id of a table of the set that takes the outcome on its own breakpoints (or those given).
    new_id : str
        Or: id of a table to add.
    breakpoints, count, tolerance : optional
        Breakpoints of the value that becomes an input; or how many, or which error (in the unit
        of the source's axis), for the best ones.  A new table without any gets one for each
        value of the source.
    step : float
        Breakpoints are to be multiples of it.
    end : ``inner``, ``low``, ``middle`` or ``high``
        Which input of a plateau to take; see `inverse_of`.

    Raises
    ------
    EditRefused
        If the table neither rises nor falls all along the axis, is level throughout, or the
        table to fill does not fit.
    """
    if end not in ENDS:
        raise EditRefused(f"End {end!r} of a plateau is not known.", f"Use {', '.join(ENDS)}.")
    if bool(into) == bool(new_id):
        raise EditRefused("Name a table to fill, or the id of a new one.")
    for name, number in (("count", count), ("tolerance", tolerance), ("step", step)):
        if number is not None:
            INVERT[name].check(number)
    if sum(g is not None for g in (breakpoints, count, tolerance)) > 1:
        raise EditRefused("Give breakpoints, or a number of them, or a tolerance.")
    table = content[source]
    sense = sense_of(table, axis)
    if into:
        if into == source:
            raise EditRefused("A table cannot be turned round into itself.")
        target, value_axis = _fitting(table, axis, content[into])
    else:
        if new_id in content:
            raise EditRefused(f"The set has a table {new_id!r} already.", "Choose another id.")
        target, value_axis = _new(table, axis, new_id), axis
    given = target.axes[value_axis]
    to_target = _Units(table, axis, target, value_axis)
    points = _breakpoints(
        table, axis, sense, target, value_axis, to_target, breakpoints, count, tolerance, step, end
    )
    moved_axis = replace(given, values=points, shared=given.shared if _equal(points, given) else "")
    axes = (*target.axes[:value_axis], moved_axis, *target.axes[value_axis + 1 :])
    values, beyond = _inverted(table, axis, sense, axes, value_axis, to_target, end)
    wished = replace(target, axes=axes, values=values)
    trial = content if into else content.with_table(wished)
    final, notes = settled(trial, wished)
    after = wished.with_values(final)
    plateaus = plateaus_of(table, axis)
    trip = _round_trip(table, axis, after, value_axis, to_target, beyond, plateaus)
    return _proposal(
        content, table, axis, after, into, value_axis, plateaus, trip, beyond, end, notes, to_target
    )


@dataclass(frozen=True)
class _Units:
    """Conversions between the source and the table to fill."""

    source: Table
    axis: int
    target: Table
    value_axis: int

    def value_to_target(self, y: FloatArray) -> FloatArray:
        return convert(y, self.source.unit, self.target.axes[self.value_axis].unit)

    def value_to_source(self, y: FloatArray) -> FloatArray:
        return convert(y, self.target.axes[self.value_axis].unit, self.source.unit)

    def input_to_target(self, x: FloatArray) -> FloatArray:
        return convert(x, self.source.axes[self.axis].unit, self.target.unit)

    def input_to_source(self, x: FloatArray) -> FloatArray:
        return convert(x, self.target.unit, self.source.axes[self.axis].unit)


def _equal(points: FloatArray, axis: Axis) -> bool:
    return bool(np.array_equal(points, axis.values))


def _fitting(source: Table, axis: int, target: Table) -> tuple[Table, int]:
    """The table to fill, and which of its axes takes the source's value."""
    others = [a for n, a in enumerate(source.axes) if n != axis]
    used: set[int] = set()
    for other in others:
        number = next(
            (
                n
                for n, a in enumerate(target.axes)
                if n not in used
                and (a.quantity == other.quantity if other.quantity else a.name == other.name)
            ),
            -1,
        )
        if number < 0:
            raise EditRefused(f"{target.label} does not read {other.label.lower()}.")
        used.add(number)
    rest = [n for n in range(len(target.axes)) if n not in used]
    if len(rest) != 1:
        raise EditRefused(
            f"{target.label} does not have one axis for the value of {source.label}.",
            "Choose a table with the same other inputs.",
        )
    number = rest[0]
    if not same_kind(target.axes[number].unit, source.unit):
        raise EditRefused(
            f"{target.axes[number].label} of {target.label} is in {target.axes[number].unit!r}, "
            f"the values of {source.label} are in {source.unit!r}."
        )
    if not same_kind(target.unit, source.axes[axis].unit):
        raise EditRefused(
            f"{target.label} is in {target.unit!r}, {source.axes[axis].label.lower()} of "
            f"{source.label} is in {source.axes[axis].unit!r}."
        )
    return target, number


def _new(source: Table, axis: int, id: str) -> Table:
    own = source.axes[axis]
    value_axis = Axis(np.array([0.0, 1.0]), source.label, source.unit, storage=source.storage)
    axes = (*source.axes[:axis], value_axis, *source.axes[axis + 1 :])
    shape = tuple(len(a) for a in axes)
    return Table(
        id,
        np.full(shape, np.nan),
        axes,
        name=f"{own.label} over {source.label[:1].lower()}{source.label[1:]}",
        unit=own.unit,
        function=source.function,
        description=f"Made by turning {source.label} round along {own.label.lower()}.",
        lower=float(own.values[0]),
        upper=float(own.values[-1]),
        storage=own.storage if own.storage.is_integer else FLOAT64,
    )


def _lines_at(source: Table, axis: int, others: Sequence[FloatArray]) -> FloatArray:
    """The source at its own breakpoints along the axis, at places on the other axes.

    Shape (m, product of the places).
    """
    grids = list(others)
    grids.insert(axis, source.axes[axis].values)
    mesh = np.meshgrid(*grids, indexing="ij")
    read = lookup_values(source.axes, source.values, mesh, source.id)
    return np.moveaxis(read, axis, 0).reshape(len(source.axes[axis]), -1)


def _others(
    source: Table, axis: int, target_axes: Sequence[Axis], value_axis: int
) -> list[FloatArray]:
    """Places of the table to fill on the source's other axes, in the source's order and units."""
    found = []
    for n, own in enumerate(source.axes):
        if n == axis:
            continue
        match = next(
            a
            for m, a in enumerate(target_axes)
            if m != value_axis
            and (a.quantity == own.quantity if own.quantity else a.name == own.name)
        )
        found.append(convert(match.values, match.unit, own.unit))
    return found


def _order_of(source: Table, axis: int, target_axes: Sequence[Axis], value_axis: int) -> list[int]:
    """For each other axis of the source, the axis of the table to fill."""
    return [
        next(
            m
            for m, a in enumerate(target_axes)
            if m != value_axis
            and (a.quantity == own.quantity if own.quantity else a.name == own.name)
        )
        for n, own in enumerate(source.axes)
        if n != axis
    ]


def _inverted(
    source: Table,
    axis: int,
    sense: int,
    target_axes: tuple[Axis, ...],
    value_axis: int,
    units: _Units,
    end: str,
) -> tuple[FloatArray, BoolArray]:
    """Values of the table to fill, and which cells the source never reaches."""
    order = _order_of(source, axis, target_axes, value_axis)
    lines = _lines_at(source, axis, _others(source, axis, target_axes, value_axis))
    at = units.value_to_source(target_axes[value_axis].values)
    x = source.axes[axis].values
    found = np.empty((at.size, lines.shape[1]))
    beyond = np.zeros(found.shape, dtype=bool)
    for n in range(lines.shape[1]):
        found[:, n], beyond[:, n] = inverse_of(x, sense * lines[:, n], sense * at, end)
    found = units.input_to_target(found)
    other_sizes = [len(target_axes[m]) for m in order]
    shape = (at.size, *other_sizes)
    # Axes are now (value, others in the source's order): bring them where they belong.
    places = [value_axis, *order]
    back = np.argsort(places)
    return (
        np.transpose(found.reshape(shape), back).copy(),
        np.transpose(beyond.reshape(shape), back).copy(),
    )


def _breakpoints(
    source: Table,
    axis: int,
    sense: int,
    target: Table,
    value_axis: int,
    units: _Units,
    breakpoints: npt.ArrayLike | None,
    count: int | None,
    tolerance: float | None,
    step: float,
    end: str,
) -> FloatArray:
    """Breakpoints of the value that becomes an input, in the unit of the table to fill."""
    given = target.axes[value_axis]
    if breakpoints is not None:
        return on_raster(given, np.asarray(breakpoints, dtype=np.float64))
    existing = not np.isnan(target.values).all()
    if count is None and tolerance is None and existing:
        return given.values
    lines = _lines_at(source, axis, _others(source, axis, target.axes, value_axis))
    nodes = np.unique(units.value_to_target(lines.reshape(-1)))
    # Values closer than a hair are one.
    apart = np.concatenate([[True], np.diff(nodes) > 1e-9 * max(float(np.ptp(nodes)), 1e-300)])
    nodes = nodes[apart]
    if count is None and tolerance is None:
        return _stored(given, nodes)
    x = source.axes[axis].values
    at = units.value_to_source(nodes)
    # At a jump of the inverse (a plateau) the end that is taken counts.
    columns = [
        inverse_of(x, sense * lines[:, n], sense * at, end)[0] for n in range(lines.shape[1])
    ]
    reference = Lines(nodes, units.input_to_target(np.stack(columns, axis=1)))
    raster = raster_of(given, float(nodes[0]), float(nodes[-1]), step)
    limit = None
    if tolerance is not None:
        own = source.axes[axis].unit
        zero = convert([0.0, tolerance], own, target.unit)
        limit = float(abs(zero[1] - zero[0]))
    found = place(reference, count=count, tolerance=limit, raster=raster)
    return _stored(given, found.breakpoints)


def _stored(axis: Axis, values: FloatArray) -> FloatArray:
    return np.unique(axis.storage.nearest(values))


def _round_trip(
    source: Table,
    axis: int,
    target: Table,
    value_axis: int,
    units: _Units,
    beyond: BoolArray,
    plateaus: Sequence[Plateau],
) -> RoundTrip:
    order = _order_of(source, axis, target.axes, value_axis)
    others = _others(source, axis, target.axes, value_axis)
    mesh = [m.reshape(-1) for m in np.meshgrid(*others, indexing="ij")] if others else []
    lines = _lines_at(source, axis, others)
    own_x = source.axes[axis].values
    worst_y: tuple[float, tuple[float, ...]] = (0.0, ())
    worst_x: tuple[float, tuple[float, ...]] = (0.0, ())
    target_points = target.axes[value_axis].values
    for n in range(lines.shape[1]):
        place = [float(m[n]) for m in mesh]
        line = lines[:, n]
        low, high = float(line.min()), float(line.max())
        y = np.union1d(units.value_to_source(target_points), line)
        y = np.union1d(y, (y[1:] + y[:-1]) / 2)
        y = y[(y >= low) & (y <= high)]
        back = _read_target(
            target, value_axis, order, units.value_to_target(y), place, source, axis
        )
        x = np.clip(units.input_to_source(back), own_x[0], own_x[-1])
        again = np.interp(x, own_x, line)
        apart = np.abs(again - y)
        at = int(apart.argmax())
        if apart[at] > worst_y[0]:
            worst_y = (float(apart[at]), (float(y[at]), *place))
        fine = np.union1d(own_x, (own_x[1:] + own_x[:-1]) / 2)
        level = np.zeros(fine.size, dtype=bool)
        for p in plateaus:
            level |= (fine >= p.first) & (fine <= p.last)
        fine = fine[~level]
        if not fine.size:
            continue
        there = np.interp(fine, own_x, line)
        returned = units.input_to_source(
            _read_target(
                target, value_axis, order, units.value_to_target(there), place, source, axis
            )
        )
        apart = np.abs(returned - fine)
        at = int(apart.argmax())
        if apart[at] > worst_x[0]:
            worst_x = (float(apart[at]), (float(fine[at]), *place))
    return RoundTrip(worst_y[0], worst_y[1], worst_x[0], worst_x[1])


def _read_target(
    target: Table,
    value_axis: int,
    order: Sequence[int],
    values: FloatArray,
    place: Sequence[float],
    source: Table,
    axis: int,
) -> FloatArray:
    """Read the table to fill at values, at one place given in the source's units."""
    points: list[Any] = [None] * len(target.axes)
    points[value_axis] = values
    own = [a for n, a in enumerate(source.axes) if n != axis]
    for m, at, a in zip(order, place, own, strict=True):
        points[m] = convert(at, a.unit, target.axes[m].unit)
    return lookup_values(target.axes, target.values, points, target.id)


def _proposal(
    content: CalibrationSet,
    source: Table,
    axis: int,
    after: Table,
    into: str,
    value_axis: int,
    plateaus: tuple[Plateau, ...],
    trip: RoundTrip,
    beyond: BoolArray,
    end: str,
    notes: tuple[str, ...],
    units: _Units,
) -> InvertProposal:
    own = source.axes[axis]
    trip_words = (
        f"There and back: values return within {with_unit(trip.value, source.unit, 3)}, "
        f"{own.label.lower()} within {with_unit(trip.input, own.unit, 3)}."
    )
    said = [trip_words]
    if plateaus:
        parts = [
            f"{with_unit(p.value, source.unit)} from {short(p.first)} to "
            f"{with_unit(p.last, own.unit)}{_where(source, axis, p.line)}"
            for p in plateaus[:MOST_LISTED]
        ]
        more = len(plateaus) - MOST_LISTED
        what = "place" if end == "middle" else "end"
        said.append(
            f"Level stretches, of which the {end} {what} is taken: {'; '.join(parts)}"
            f"{f'; and {more} more' if more > 0 else ''}."
        )
    if beyond.any():
        count = int(beyond.sum())
        said.append(
            f"{count} cell{' asks' if count == 1 else 's ask'} for values that {source.label} "
            f"never reaches; {'it holds' if count == 1 else 'they hold'} the end of "
            f"{own.label.lower()}."
        )
    before = {into: content[into]} if into else {}
    return InvertProposal(
        f"Turn {source.label} round into {after.label}",
        places_of(before),
        places_of({after.id: after}),
        {"source": source.label, "along": own.label.lower(), "level stretches": f"{end} end"},
        notes=(*said, *notes),
        table_id=after.id,
        source=source.id,
        plateaus=plateaus,
        trip=trip,
        beyond=beyond,
    )


def _where(source: Table, axis: int, line: tuple[float, ...]) -> str:
    others = [a for n, a in enumerate(source.axes) if n != axis]
    if not others:
        return ""
    parts = [with_unit(x, a.unit) for x, a in zip(line, others, strict=True)]
    return f" at {', '.join(parts)}"
