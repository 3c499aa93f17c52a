"""What a fit is asked for, and the words for how well a node is known."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.numbers import short
from ..errors import EditRefused
from .assembly import LOSSES
from .samples import SamplesRefused

ELSEWHERE = ("fill", "keep")
FEWEST = 3
"""Fewer samples than this leave no residual to judge them by."""


class NodeState(IntEnum):
    """How a node of the table is known."""

    NO_DATA = 0
    """No sample bears on it; its value comes from neighbours, rules, or the table as it was."""
    THIN = 1
    """Samples bear on it, but too few are nearest to it: its value leans on neighbours."""
    MEASURED = 2


STATE_WORDS = {
    NodeState.NO_DATA: "no data",
    NodeState.THIN: "thin data",
    NodeState.MEASURED: "measured",
}


@dataclass(frozen=True)
class FitOptions:
    """What a fit is asked for.

    Parameters
    ----------
    loss : ``squares``, ``huber`` or ``biweight``
    strength : float, optional
        Roughness weight lambda on scaled axes, relative to the mean coverage of a node;
        chosen automatically if not given.
    elsewhere : ``fill`` or ``keep``
        What nodes without data do: continue their neighbours smoothly, or stay as they are.
    least : int
        How many samples must be nearest to a node for it to count as measured.
    outlier : float
        Residuals beyond so many standard deviations are listed as outliers.
    along : tuple of int, optional
        Axes along which roughness counts; all that can be smoothed by default.
    hold : tuple of int
        Axes beyond whose ends samples count at the end; elsewhere they are left out.
    without : tuple of str
        Kinds of rule to leave out.
    also : tuple of str
        Other tables that may move along, where rules tie them to this one.
    gap : float
        Smallest distance between branches; the rule's own, or one storage step, if 0.
    on_raster : bool
        Whether values are to be such as storage can hold.
    """

    loss: str = "huber"
    strength: float | None = None
    elsewhere: str = "fill"
    least: int = 3
    outlier: float = 4.5
    along: tuple[int, ...] | None = None
    hold: tuple[int, ...] = ()
    without: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    gap: float = 0.0
    on_raster: bool = True

    def __post_init__(self) -> None:
        if self.loss not in LOSSES:
            raise EditRefused(f"Loss {self.loss!r} is not known.", f"Use {', '.join(LOSSES)}.")
        if self.elsewhere not in ELSEWHERE:
            raise EditRefused(
                f"Nodes without data cannot {self.elsewhere!r}.", f"Use {', '.join(ELSEWHERE)}."
            )
        if self.strength is not None and not 0 <= self.strength < np.inf:
            raise EditRefused("The roughness weight must be finite and not negative.")
        if self.least < 1 or self.outlier <= 0 or self.gap < 0:
            raise EditRefused("A count, an outlier limit or a gap is not positive.")

    def plain(self) -> dict[str, Any]:
        """Return the settings for the history."""
        said: dict[str, Any] = {"loss": self.loss, "nodes without data": self.elsewhere}
        said["roughness"] = "automatic" if self.strength is None else self.strength
        if self.without:
            said["without rules"] = list(self.without)
        if self.also:
            said["moved along"] = list(self.also)
        if self.gap:
            said["gap"] = self.gap
        if not self.on_raster:
            said["rounded to storage"] = "no"
        return said


@dataclass(frozen=True)
class FitOutlier:
    """A sample far from the fit: listed, not hidden.

    Parameters
    ----------
    line : int
        Line in the source.
    points : tuple of float
    value, fitted : float
    specimen : str
    weight : float
        How many samples it counts as.
    """

    line: int
    points: tuple[float, ...]
    value: float
    fitted: float
    specimen: str = ""
    weight: float = 1.0

    @property
    def residual(self) -> float:
        """Value less fit."""
        return self.value - self.fitted


def states(coverage: FloatArray, nearest: FloatArray, least: int) -> IntArray:
    """How each node is known; see `NodeState`."""
    return np.where(
        nearest >= least,
        NodeState.MEASURED,
        np.where(coverage > 1e-9, NodeState.THIN, NodeState.NO_DATA),
    ).astype(np.int64)


def refuse_few(count: int, weight: float) -> None:
    """Raise if there are too few samples to fit, or their weights add up to too few."""
    if count < FEWEST:
        noun = "One sample is" if count == 1 else f"{count} samples are"
        raise SamplesRefused(
            f"{noun} left, which is not enough: there is nothing to judge a fit by.",
            f"Give at least {FEWEST}; better ten for every node.",
        )
    if weight < FEWEST:
        raise SamplesRefused(
            f"The weights of {count} samples add up to {short(weight, 3)}, as if there were no "
            f"more samples than that; at least {FEWEST} are needed.",
            "A weight says how many samples one counts as: divide weights that are known up to a "
            "factor only by their mean.",
        )
