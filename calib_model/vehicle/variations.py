"""What a campaign varies, between which bounds, and the points at which it does.

The list of variations is common practice of the trade, no source.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..core.arrays import FloatArray
from ..errors import ModelError

MOST_POINTS = 1_000_000


@dataclass(frozen=True)
class Variation:
    """One quantity that differs from run to run, between two bounds.

    Parameters
    ----------
    name : str
        Key in files and on the command line.
    label : str
    unit : str
        ``-`` for a factor.
    low, high : float
        Bounds of this campaign, in `unit`.
    nominal : float
        The value that changes nothing.
    least, most : float
        Bounds that make sense at all.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    nominal: float
    least: float
    most: float

    def within(self, low: float, high: float) -> Variation:
        """Return the same variation between other bounds.

        Raises
        ------
        ModelError
            If they are not in order, or beyond what makes sense.
        """
        if not (math.isfinite(low) and math.isfinite(high) and low <= high):
            raise ModelError(
                f"{self.name} cannot vary from {low:g} to {high:g}.",
                "Give the lower bound first.",
            )
        if low < self.least or high > self.most:
            unit = "" if self.unit == "-" else f" {self.unit}"
            raise ModelError(
                f"{self.name} from {low:g} to {high:g}{unit} is beyond what the model is for.",
                f"Stay within {self.least:g} to {self.most:g}{unit}.",
            )
        return Variation(
            self.name, self.label, self.unit, low, high, self.nominal, self.least, self.most
        )


VARIATIONS: Mapping[str, Variation] = {
    v.name: v
    for v in (
        Variation("friction", "Friction, times the manoeuvre's", "-", 0.8, 1.2, 1.0, 0.2, 5.0),
        Variation("temperature", "Temperature, above the manoeuvre's", "K", -10, 10, 0, -60, 60),
        Variation("mass", "Mass, times the vehicle's", "-", 0.9, 1.3, 1.0, 0.5, 2.0),
        Variation("tyre", "Tyre slip stiffness, times the vehicle's", "-", 0.8, 1.2, 1.0, 0.2, 5.0),
        Variation("sensor_noise", "Sensor noise, times the vehicle's", "-", 0.0, 3.0, 1.0, 0, 20),
    )
}
"""Every variation by name, with its usual bounds."""


def variation(name: str) -> Variation:
    """Return a variation by name.

    Raises
    ------
    ModelError
        Naming those there are.
    """
    found = VARIATIONS.get(name)
    if found is None:
        raise ModelError(f"Nothing called {name!r} can vary.", f"Use {', '.join(VARIATIONS)}.")
    return found


@dataclass(frozen=True)
class Points:
    """Points at which to run.

    Parameters
    ----------
    variations : tuple of Variation
    values : float array, shape (points, variations)
        In the variations' units.
    how : str
        ``latin hypercube`` or ``grid``.
    """

    variations: tuple[Variation, ...]
    values: FloatArray
    how: str

    @property
    def names(self) -> tuple[str, ...]:
        """The variations' names, in the order of the columns."""
        return tuple(v.name for v in self.variations)

    def __len__(self) -> int:
        return int(self.values.shape[0])

    def at(self, point: int) -> dict[str, float]:
        """Return the value of every variation at one point."""
        return dict(zip(self.names, self.values[point].tolist(), strict=True))


def latin_hypercube(variations: Sequence[Variation], count: int, seed: int = 0) -> Points:
    """Return points of a Latin hypercube: every bound-to-bound slice of each variation once.

    Parameters
    ----------
    variations : sequence of Variation
    count : int
        How many points.
    seed : int
        The same seed gives the same points.

    Raises
    ------
    ModelError
        If there is nothing to vary or no point.
    """
    _check(variations, count)
    if seed < 0:
        raise ModelError("A seed is not negative.", "Give 0 or more.")
    from scipy.stats import qmc

    # SciPy renames this argument; both names are understood from 1.15 on, only this one before.
    unit = qmc.LatinHypercube(len(variations), seed=seed).random(count)
    lows, highs = (np.array([getattr(v, end) for v in variations]) for end in ("low", "high"))
    return Points(tuple(variations), lows + unit * (highs - lows), "latin hypercube")


def grid(variations: Sequence[Variation], steps: Sequence[int]) -> Points:
    """Return every combination of equally spaced values, bounds included.

    Parameters
    ----------
    variations : sequence of Variation
    steps : sequence of int
        How many values of each; one is its nominal value, or the middle where that lies outside.
    """
    if len(steps) != len(variations) or any(n < 1 for n in steps):
        raise ModelError("A grid needs a number of steps, at least 1, for every variation.")
    _check(variations, math.prod(steps))
    axes = [_spaced(v, n) for v, n in zip(variations, steps, strict=True)]
    values = np.array(list(itertools.product(*axes)), dtype=np.float64)
    return Points(tuple(variations), values, "grid")


def nominal() -> Points:
    """Return the one point at which nothing is varied."""
    return Points((), np.zeros((1, 0)), "nominal")


def _spaced(one: Variation, steps: int) -> list[float]:
    if steps > 1:
        return [float(v) for v in np.linspace(one.low, one.high, steps)]
    middle = (one.low + one.high) / 2
    return [one.nominal if one.low <= one.nominal <= one.high else middle]


def _check(variations: Sequence[Variation], count: int) -> None:
    names = [v.name for v in variations]
    if not names:
        raise ModelError("Nothing is varied.", f"Name one of {', '.join(VARIATIONS)}.")
    if len(set(names)) != len(names):
        raise ModelError("A variation is named twice.", "Name each once.")
    if not 1 <= count <= MOST_POINTS:
        raise ModelError(f"{count} runs cannot be made.", f"Ask for 1 to {MOST_POINTS:,}.")
