"""Samples before a fit: what cannot be used, and what looks like a mistake in the mapping."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray
from ..core.axis import End
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..core.units import convert
from .samples import Samples, SamplesRefused

MOST_SEARCHED = 5_000_000
"""Samples among which duplicates are looked for."""
_RELATED = {
    "N": ("kN",), "kN": ("N",), "A": ("mA",), "mA": ("A",), "N.m": ("kN.m",), "m/s": ("km/h",),
    "km/h": ("m/s", "mph"), "rad/s": ("rpm",), "degC": ("K", "degF"), "deg": ("rad",),
    "rad": ("deg",), "W": ("kW",), "kW": ("W",), "s": ("ms",), "ms": ("s",), "%": ("-",),
    "-": ("%",), "Pa": ("kPa", "bar"), "V": ("mV",), "m": ("mm",),
}  # fmt: skip


@dataclass(frozen=True)
class Screening:
    """What was left out, and why.

    Parameters
    ----------
    given, used : int
    empty : int
        Samples with a value missing or not finite.
    outside : tuple of int
        Per axis, samples beyond its ends.
    duplicates : int
        Samples that repeat another one in every column; they are used.
    beyond_limits : int
        Samples whose value is outside the table's limits; they are used.
    weightless : int
        Samples of weight 0.
    least, most : tuple of float
        Per axis, the range of the samples used.
    constant : bool
        Whether all values are the same.
    notes : tuple of str
        The same in sentences.
    """

    given: int
    used: int
    empty: int
    outside: tuple[int, ...]
    duplicates: int
    beyond_limits: int
    least: tuple[float, ...]
    most: tuple[float, ...]
    constant: bool
    notes: tuple[str, ...]
    weightless: int = 0


def screened(
    table: Table, samples: Samples, *, hold: Sequence[int] = ()
) -> tuple[Samples, Screening]:
    """Return the samples that can be fitted into a table, and what was left out.

    Parameters
    ----------
    table : Table
    samples : Samples
    hold : sequence of int
        Axes beyond whose ends samples count at the end (where the table holds its ends).

    Raises
    ------
    SamplesRefused
        If nothing is left, the columns look exchanged or in another unit, or a weight is
        negative or not finite.
    """
    given = len(samples)
    use = samples.use.copy()
    empty = weightless = 0
    outside = [0] * len(table.axes)
    beyond_limits = 0
    columns = len(table.axes) + 1
    lows, highs = _Extremes(columns), _Extremes(columns)
    used_lows, used_highs = _Extremes(columns), _Extremes(columns)
    for index, points, values in samples.chunks():
        finite = np.isfinite(values)
        for p in points:
            finite &= np.isfinite(p)
        empty += int((~finite).sum())
        keep = finite.copy()
        for number, (axis, p) in enumerate(zip(table.axes, points, strict=True)):
            low, high = float(axis.values[0]), float(axis.values[-1])
            with np.errstate(invalid="ignore"):
                off = finite & (
                    ((p < low) & (axis.below is End.HELD)) | ((p > high) & (axis.above is End.HELD))
                )
            outside[number] += int(off.sum())
            if number not in hold:
                keep &= ~off
        if samples.weight.size:
            weights = samples.weights_at(index)
            _refuse_weights(samples, index[keep], weights[keep])
            weightless += int((keep & (weights == 0)).sum())
            keep &= weights > 0
        beyond_limits += int(((values < table.lower) | (values > table.upper))[finite].sum())
        for number, column in enumerate((*points, values)):
            if finite.any():
                lows.take(number, column[finite].min(), least=True)
                highs.take(number, column[finite].max(), least=False)
            if keep.any():
                used_lows.take(number, column[keep].min(), least=True)
                used_highs.take(number, column[keep].max(), least=False)
        use[index] = keep
    kept = samples.only(use)
    used = len(kept)
    if weightless and not used:
        raise SamplesRefused(
            f"{_column_of_weights(samples)}: every sample has the weight 0, so none counts.",
            "Choose another column for the weights, or none.",
        )
    if given == 0 or empty == given:
        raise SamplesRefused(
            "There are no samples with a value in every column.", "Choose other columns."
        )
    share_out = 1 - (used + weightless) / max(given - empty, 1)
    if share_out > 0.5 or beyond_limits > 0.5 * (given - empty):
        raise SamplesRefused(*_diagnosis(table, samples, share_out, lows.values, highs.values))
    duplicates = _duplicates(kept)
    constant = used > 0 and used_lows.values[-1] == used_highs.values[-1]
    notes = _notes(table, given, empty, outside, duplicates, beyond_limits, hold)
    if weightless:
        notes.append(f"{weightless} of {given} samples have the weight 0 and are left out.")
    if constant:
        value = with_unit(used_lows.values[-1], table.unit)
        notes.append(f"Every value is {value}: is the right column chosen?")
    return kept, Screening(
        given,
        used,
        empty,
        tuple(outside),
        duplicates,
        beyond_limits,
        tuple(used_lows.values[:-1]),
        tuple(used_highs.values[:-1]),
        constant,
        tuple(notes),
        weightless,
    )


def _refuse_weights(samples: Samples, index: IntArray, weights: FloatArray) -> None:
    """Raise at the first weight that is none."""
    bad = ~(np.isfinite(weights) & (weights >= 0))
    if not bad.any():
        return
    at = int(np.argmax(bad))
    place = "line" if samples.line.size else "sample"
    weight = float(weights[at])
    wrong = "missing" if np.isnan(weight) else f"{weight:g}, "
    wrong += "" if np.isnan(weight) else "not finite" if weight > 0 else "negative"
    raise SamplesRefused(
        f"{_column_of_weights(samples)}, {place} {samples.line_of(int(index[at]))}: the weight is "
        f"{wrong}.",
        "A weight says how many samples one counts as: 0 leaves it out. Mend it, or choose "
        "another column for the weights, or none.",
    )


def _column_of_weights(samples: Samples) -> str:
    """Where the weights come from."""
    if samples.weight_name:
        return f"{samples.source or 'samples'}, column {samples.weight_name!r}"
    return samples.source or "The samples"


def _notes(
    table: Table,
    given: int,
    empty: int,
    outside: list[int],
    duplicates: int,
    beyond_limits: int,
    hold: Sequence[int],
) -> list[str]:
    notes = []
    if empty:
        notes.append(f"{empty} of {given} samples have an empty or infinite cell and are left out.")
    for number, (axis, count) in enumerate(zip(table.axes, outside, strict=True)):
        if count:
            done = "count at the end" if number in hold else "are left out"
            notes.append(f"{count} samples lie beyond the ends of {axis.label.lower()} and {done}.")
    if duplicates:
        notes.append(
            f"{duplicates} samples repeat another one in every column; if the file holds rows "
            "twice, the standard error is too small."
        )
    if beyond_limits:
        limits = f"{short(table.lower)} to {with_unit(table.upper, table.unit)}"
        notes.append(f"{beyond_limits} values are outside the table's limits, {limits}.")
    return notes


class _Extremes:
    def __init__(self, count: int) -> None:
        self.values = [float("nan")] * count

    def take(self, number: int, value: float, *, least: bool) -> None:
        old = self.values[number]
        better = value < old if least else value > old
        if old != old or better:
            self.values[number] = float(value)


def _duplicates(samples: Samples) -> int:
    """Number of samples that repeat another, by a 64-bit mix of all columns."""
    count = len(samples)
    if count > MOST_SEARCHED or count < 2:
        return 0
    mixed = np.empty(count, dtype=np.uint64)
    at = 0
    with np.errstate(over="ignore"):
        for index, points, values in samples.chunks():
            mix = np.zeros(values.size, dtype=np.uint64)
            columns = [*points, values]
            if samples.specimen.size:
                columns.append(np.asarray(samples.specimen[index], dtype=np.float64))
            if samples.drive.size:
                columns.append(np.asarray(samples.drive[index], dtype=np.float64))
            if samples.weight.size:
                columns.append(samples.weights_at(index))
            for column in columns:
                bits = np.ascontiguousarray(column + 0.0).view(np.uint64)
                mix = (mix ^ bits) * np.uint64(0x9E3779B97F4A7C15)
                mix ^= mix >> np.uint64(29)
            mixed[at : at + values.size] = mix
            at += values.size
    mixed.sort()
    return int((mixed[1:] == mixed[:-1]).sum())


def _ranges(table: Table) -> list[tuple[float, float]]:
    ranges = [(float(a.values[0]), float(a.values[-1])) for a in table.axes]
    return [*ranges, (table.lower, table.upper)]


def _fit_share(data: FloatArray, low: float, high: float) -> float:
    margin = 0.02 * (high - low) if np.isfinite(high - low) else 0.0
    inside: BoolArray = (data >= low - margin) & (data <= high + margin)
    return float(inside.mean()) if data.size else 0.0


def _diagnosis(
    table: Table, samples: Samples, share_out: float, lows: list[float], highs: list[float]
) -> tuple[str, str]:
    """Say what is probably wrong with the mapping."""
    columns = [_some(samples, n) for n in range(len(table.axes) + 1)]
    ranges = _ranges(table)
    labels = [*(a.label.lower() for a in table.axes), "the value"]
    units = [*(a.unit for a in table.axes), table.unit]
    shares = [_fit_share(c, *r) for c, r in zip(columns, ranges, strict=True)]
    worst = int(np.argmin(shares))
    found = f"{with_unit(lows[worst], '-', 4)} to {with_unit(highs[worst], units[worst], 4)}"
    low, high = ranges[worst]
    wants = f"{short(low, 4)} to {with_unit(high, units[worst], 4)}"
    problem = (
        f"{round(100 * (1 - shares[worst]))} % of the samples do not fit {table.label}: "
        f"{labels[worst]} runs from {found}, the table from {wants}."
    )
    for order in permutations(range(len(columns))):
        if order == tuple(range(len(columns))):
            continue
        if all(_fit_share(columns[c], *r) >= 0.9 for c, r in zip(order, ranges, strict=True)):
            exchanged = [labels[n] for n, c in enumerate(order) if n != c]
            return problem, f"Are the columns of {' and '.join(exchanged)} exchanged?"
    for other in _RELATED.get(units[worst], ()):
        if _fit_share(convert(columns[worst], other, units[worst]), low, high) >= 0.9:
            return problem, f"Is the column in {other} instead of {units[worst]}?"
    return problem, "Check which columns were chosen, and their units."


def _some(samples: Samples, column: int) -> FloatArray:
    """Up to 20,000 values of a column, evenly spread."""
    data = samples.values if column == len(samples.points) else samples.points[column]
    step = max(1, samples.rows // 20_000)
    some = np.asarray(data[::step])[samples.use[::step]]
    return some[np.isfinite(some)]
