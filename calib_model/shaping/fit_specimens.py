"""Several units under test: the nominal table, the band of all, and the limit samples by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..core.arrays import FloatArray
from ..core.calibration_set import CalibrationSet
from ..core.numbers import with_unit
from .fit_estimate import Estimate, _solved, estimate
from .fit_options import FitOptions, NodeState
from .samples import Samples, SamplesRefused

if TYPE_CHECKING:
    from .fit import FitProposal

FEWEST = 10
"""A unit with fewer samples cannot be told apart from noise."""


@dataclass(frozen=True, eq=False)
class Band:
    """What the units of one table show.

    Parameters
    ----------
    units : tuple of str
    values : mapping of unit to float array, the table's shape
        Each unit's own table, rules aside; NaN where that unit has no data.
    low, high : float arrays, the table's shape
        Ends of the band over all units; NaN where none has data.
    low_unit, high_unit : arrays of str, the table's shape
        Which unit is the limit sample at each node; empty where none has data.
    offset : mapping of unit to float
        Mean distance from the nominal table over the nodes measured.
    """

    units: tuple[str, ...]
    values: Mapping[str, FloatArray]
    low: FloatArray
    high: FloatArray
    low_unit: np.ndarray
    high_unit: np.ndarray
    offset: Mapping[str, float]

    @property
    def lowest(self) -> str:
        """The unit that lies lowest on average."""
        return min(self.offset, key=lambda u: self.offset[u])

    @property
    def highest(self) -> str:
        """The unit that lies highest on average."""
        return max(self.offset, key=lambda u: self.offset[u])


@dataclass(frozen=True, eq=False)
class SpecimenReport:
    """Units under test and their bands.

    Parameters
    ----------
    nominal : tuple of str
        Units that make the proposed tables, each with the same weight.
    bands : mapping of table id to Band
        Filled in once the nominal table is known.
    single : mapping of table id to mapping of unit to Estimate
    """

    nominal: tuple[str, ...]
    bands: Mapping[str, Band]
    single: Mapping[str, Mapping[str, Estimate]]

    def completed(self, found: FitProposal, content: CalibrationSet) -> FitProposal:
        """Return the proposal with the bands around it and what is to be said about them."""
        bands = {id: _band(found.values(id), single) for id, single in self.single.items()}
        report = replace(self, bands=bands)
        notes = []
        for id, band in bands.items():
            table = content[id]
            width = float(np.nanmax(band.high - band.low))
            notes.append(
                f"{table.label}: made from {' and '.join(self.nominal)}; the units differ by up "
                f"to {with_unit(width, table.unit, 3)}. Limit samples: {band.lowest} (low), "
                f"{band.highest} (high)."
            )
        return replace(found, notes=(*notes, *found.notes), specimens=report)


def combined(
    content: CalibrationSet,
    samples: Mapping[str, Samples],
    options: FitOptions,
    nominal: Sequence[str],
) -> tuple[dict[str, Estimate], SpecimenReport]:
    """Estimate every unit by itself, and the nominal tables from some of them, equally weighted.

    Parameters
    ----------
    content : CalibrationSet
    samples : mapping of table id to Samples
        With several units under test.
    options : FitOptions
    nominal : sequence of str
        Units for the nominal tables; all by default.

    Raises
    ------
    SamplesRefused
        If a unit is not in the samples or has too few.
    """
    some = next(iter(samples.values()))
    chosen = tuple(nominal) or some.specimens
    for unit in chosen:
        if unit not in some.specimens:
            raise SamplesRefused(
                f"The samples have no unit {unit!r}.", f"They have: {', '.join(some.specimens)}."
            )
    estimates: dict[str, Estimate] = {}
    singles: dict[str, dict[str, Estimate]] = {}
    for id, every in samples.items():
        table = content[id]
        pooled = every.only(_of(every, chosen))
        whole = estimate(table, pooled, options)
        singles[id] = {}
        for unit in every.specimens:
            mine = every.of_specimen(unit)
            if len(mine) < FEWEST:
                raise SamplesRefused(
                    f"Unit {unit!r} has only {len(mine)} samples for {table.label}.",
                    "Leave it out of the file, or measure more.",
                )
            singles[id][unit] = estimate(table, mine, options, strength=whole.strength)
        mean = _mean(whole, [singles[id][u] for u in chosen])
        estimates[id] = replace(mean, parts=tuple(singles[id].values()))
    return estimates, SpecimenReport(chosen, {}, singles)


def _of(samples: Samples, units: Sequence[str]) -> np.ndarray:
    codes = [samples.specimens.index(u) for u in units]
    return np.isin(np.asarray(samples.specimen), codes)


def _mean(whole: Estimate, parts: Sequence[Estimate]) -> Estimate:
    """Put estimates of several units together, each with the same weight."""
    if len(parts) == 1:
        return parts[0]

    counts = [p.samples.total for p in parts]
    shares = [sum(counts) / len(counts) / n for n in counts]
    normal = sum((p.normal * s for p, s in zip(parts[1:], shares[1:], strict=True)),
                 parts[0].normal * shares[0])  # fmt: skip
    right = sum(
        (p.right * s for p, s in zip(parts, shares, strict=True)), np.zeros_like(whole.right)
    )
    plain = sum((p.plain * s for p, s in zip(parts[1:], shares[1:], strict=True)),
                parts[0].plain * shares[0])  # fmt: skip
    # The noise of one unit, not the distance between units, is what the standard error speaks of.
    sigma = float(np.sqrt(np.mean([p.sigma**2 for p in parts])))
    scale = float(np.sqrt(np.mean([p.scale**2 for p in parts])))
    ratio = float(normal.sum()) / max(float(whole.normal.sum()), 1e-300)
    return replace(
        whole,
        normal=normal,
        right=right,
        plain=plain,
        rough=whole.rough * ratio,
        sigma=sigma,
        scale=scale,
        values=_solved(normal + whole.rough * ratio, right),
    )


def _band(nominal: FloatArray, single: Mapping[str, Estimate]) -> Band:
    units = tuple(single)
    stack = np.stack(
        [
            np.where(e.state(1) == NodeState.MEASURED, e.values.reshape(nominal.shape), np.nan)
            for e in single.values()
        ]
    )
    none = np.isnan(stack).all(axis=0)
    low_at = np.where(np.isnan(stack), np.inf, stack).argmin(axis=0)
    high_at = np.where(np.isnan(stack), -np.inf, stack).argmax(axis=0)
    names = np.array(units)
    offset = {}
    for unit, values in zip(units, stack, strict=True):
        apart = (values - nominal)[np.isfinite(values)]
        offset[unit] = float(apart.mean()) if apart.size else 0.0
    return Band(
        units,
        dict(zip(units, stack, strict=True)),
        np.where(none, np.nan, np.take_along_axis(stack, low_at[None], 0)[0]),
        np.where(none, np.nan, np.take_along_axis(stack, high_at[None], 0)[0]),
        np.where(none, "", names[low_at]),
        np.where(none, "", names[high_at]),
        offset,
    )
