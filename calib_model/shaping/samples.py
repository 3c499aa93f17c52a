"""Scattered samples for a fit: points on a table's axes, a value each, and where they came from.

The columns may be arrays in memory or maps of a temporary file, so that ten million rows need no
more memory than one chunk and a mask.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray
from ..errors import BitepointError, EditRefused

CHUNK = 16_384


class SamplesRefused(BitepointError):
    """Samples that cannot be fitted as they are; the text says what to look at."""


@dataclass(frozen=True, eq=False)
class Samples:
    """Samples of one value over one or more inputs.

    Parameters
    ----------
    points : tuple of float arrays, shape (n,)
        One per axis, in the axes' units.
    values : float array, shape (n,)
        In the table's unit.
    line : int array, shape (n,)
        Line of the source, counted from 1; empty where they have none.
    specimen : int array, shape (n,)
        Which of `specimens` a sample belongs to; empty if there is only one.
    specimens : tuple of str
        Names of the units under test.
    drive : float array, shape (n,)
        The input that a sweep drives up and down, in any unit; empty if none was named.
    use : bool array, shape (n,)
        Which samples count.
    source : str
        Name of the file.
    names : tuple of str
        What each point column, and last the value column, is called in the source.
    notes : tuple of str
        What is to be said about the source.
    weight : float array, shape (n,)
        How many samples each one counts as; empty if each counts as one.  Weights that are known
        up to a factor only, such as one over the variance, want to be divided by their mean:
        then standard errors are those of weighted least squares.
    weight_name : str
        What the column of weights is called in the source.
    """

    points: tuple[FloatArray, ...]
    values: FloatArray
    line: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    specimen: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    specimens: tuple[str, ...] = ()
    drive: FloatArray = field(default_factory=lambda: np.empty(0))
    use: BoolArray = field(default_factory=lambda: np.empty(0, dtype=bool))
    source: str = ""
    names: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    weight: FloatArray = field(default_factory=lambda: np.empty(0))
    weight_name: str = ""

    def __post_init__(self) -> None:
        n = self.values.shape[0]
        if not self.use.size and n:
            object.__setattr__(self, "use", np.ones(n, dtype=bool))
        columns: list[Any] = [*self.points, self.use]
        columns += [c for c in (self.line, self.specimen, self.drive, self.weight) if c.size]
        if any(c.shape != (n,) for c in columns):
            raise EditRefused("The columns of the samples have unequal lengths.")

    @property
    def rows(self) -> int:
        """Number of samples, those left out included."""
        return int(self.values.shape[0])

    def __len__(self) -> int:
        return int(np.count_nonzero(self.use))

    @property
    def total(self) -> float:
        """Sum of the weights of those that count: their number where none has a weight."""
        if not self.weight.size:
            return float(len(self))
        return sum(float(self.weights_at(i).sum()) for i, _, _ in self.chunks(1 << 18))

    def weights_at(self, index: IntArray) -> FloatArray:
        """Weights of some samples, by number; 1 where none has a weight."""
        if not self.weight.size:
            return np.ones(index.size)
        return np.asarray(self.weight[index], dtype=np.float64)

    def weighted(self, weights: Any, name: str = "") -> Samples:
        """Return the samples with weights.

        Parameters
        ----------
        weights : array_like, shape (n,)
            How many samples each one counts as; a fit refuses those that are negative or not
            finite.
        name : str
            What the weights are called in the source.

        Raises
        ------
        EditRefused
            If there is not one weight per sample.
        """
        given = np.array(weights, dtype=np.float64).reshape(-1)
        if given.size != self.rows:
            raise EditRefused(
                f"There are {given.size} weights for {self.rows} samples.",
                "Give one weight per sample.",
            )
        return replace(self, weight=given, weight_name=name)

    def chunks(self, size: int = CHUNK) -> Iterator[tuple[IntArray, list[FloatArray], FloatArray]]:
        """Yield (numbers of the samples, points, values) of those that count."""
        for start in range(0, self.rows, size):
            stop = min(start + size, self.rows)
            use = self.use[start:stop]
            if use.all():
                index = np.arange(start, stop)
                yield (
                    index,
                    [np.asarray(p[start:stop]) for p in self.points],
                    np.asarray(self.values[start:stop]),
                )
                continue
            chosen = np.flatnonzero(use)
            if chosen.size:
                yield (
                    chosen + start,
                    [np.asarray(p[start:stop])[chosen] for p in self.points],
                    np.asarray(self.values[start:stop])[chosen],
                )

    def only(self, use: BoolArray) -> Samples:
        """Return the samples with more of them left out."""
        return replace(self, use=self.use & use)

    def thinned(self, number: int) -> Samples:
        """Return about so many of those that count, or all; the same ones every time.

        One is drawn of each stretch of the source.  Every hundredth would be the same phase of
        whatever repeats in it: all of its outliers, or none.
        """
        index = np.flatnonzero(self.use)
        step = max(1, index.size // number)
        if step > 1:
            starts = np.arange(0, index.size - step + 1, step)
            index = index[starts + np.random.default_rng(0).integers(0, step, starts.size)]
        kept = {name: getattr(self, name) for name in ("line", "specimen", "drive", "weight")}
        return replace(
            self,
            points=tuple(np.asarray(p)[index] for p in self.points),
            values=np.asarray(self.values)[index],
            use=np.ones(index.size, dtype=bool),
            **{name: column[index] if column.size else column for name, column in kept.items()},
        )

    def of_specimen(self, name: str) -> Samples:
        """Return the samples of one unit under test."""
        if name not in self.specimens:
            raise SamplesRefused(
                f"The samples have no unit {name!r}.", f"They have: {', '.join(self.specimens)}."
            )
        return self.only(np.asarray(self.specimen == self.specimens.index(name)))

    def within(self, column: int, low: float, high: float) -> Samples:
        """Return the samples whose point (or value, -1) lies in a range, ends included."""
        data = self.values if column < 0 else self.points[column]
        with np.errstate(invalid="ignore"):
            return self.only(np.asarray((data >= low) & (data <= high)))

    def line_of(self, index: int) -> int:
        """Line of a sample in its source; its number counted from 1 where it has none."""
        return int(self.line[index]) if self.line.size else index + 1

    def specimen_of(self, index: int) -> str:
        """Name of the unit under test of a sample."""
        return self.specimens[int(self.specimen[index])] if self.specimen.size else ""


def from_arrays(
    points: Sequence[Any],
    values: Any,
    *,
    specimen: Sequence[str] | None = None,
    drive: Any = None,
    weights: Any = None,
    source: str = "",
) -> Samples:
    """Make samples from arrays in memory.

    Parameters
    ----------
    points : sequence of array_like, one per axis
    values : array_like, shape (n,)
    specimen : sequence of str, optional
        Unit under test of each sample.
    drive : array_like, optional
    weights : array_like, shape (n,), optional
        How many samples each one counts as; see `Samples`.
    source : str

    Raises
    ------
    EditRefused
        If the columns have unequal lengths.
    """
    names: tuple[str, ...] = ()
    number = np.empty(0, dtype=np.int64)
    if specimen is not None:
        found, number = np.unique(np.asarray(specimen, dtype=str), return_inverse=True)
        names = tuple(str(n) for n in found)
    made = Samples(
        tuple(np.array(p, dtype=np.float64).reshape(-1) for p in points),
        np.array(values, dtype=np.float64).reshape(-1),
        specimen=number.astype(np.int64),
        specimens=names,
        drive=np.empty(0) if drive is None else np.array(drive, dtype=np.float64).reshape(-1),
        source=source,
    )
    return made if weights is None else made.weighted(weights)
