"""The criteria for an automatic strength, against their textbook forms with dense matrices."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
import scipy.linalg

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.rules.shape import Monotone
from calib_model.shaping import Smoother, smooth
from calib_model.shaping.roughness import penalty
from calib_model.shaping.smooth import STRAIGHT
from tests.shaping.making_shaping import grid

STRENGTHS = np.array([1e-3, 0.1, 1.0, 1e3, 1e5])


def long_curve() -> CalibrationSet:
    """Forty uneven nodes: the roughest direction is some ten million times as rough as a bow."""
    rng = np.random.default_rng(3)
    x = np.cumsum(rng.uniform(0.3, 3, 40))
    z = np.sin(x / 9) + 0.1 * rng.normal(size=40)
    return CalibrationSet([Table("t", z, (Axis(x, "X", "-", "x"),), "T")])


@dataclass(frozen=True)
class Case:
    """A smoothing job."""

    content: CalibrationSet
    more: dict[str, Any]
    straight: int

    @property
    def smoother(self) -> Smoother:
        """Its smoother."""
        return Smoother(self.content, "t", **self.more)

    def raised(self, level: float) -> Smoother:
        """The same on a level, with a slope along the first axis."""
        table = self.content["t"]
        u = table.axes[0].values
        ramp = ((u - u[0]) / (u[-1] - u[0])).reshape([-1] + [1] * (len(table.shape) - 1))
        lifted = table.values + level * (1 + ramp)
        table = replace(table, values=lifted, lower=-np.inf, upper=np.inf)
        return Smoother(self.content.with_table(table), "t", **self.more)


def cases() -> dict[str, Case]:
    rng = np.random.default_rng(0)
    patch = np.zeros((10, 9), dtype=bool)
    patch[3:8, 2:7] = True
    ends = np.zeros(40, dtype=bool)
    ends[1:] = True
    holes = rng.uniform(0.2, 3, (9, 8))
    holes[2, 3] = 0.0
    rows = rng.uniform(0.2, 3, (9, 8))
    rows[:, 4] = 0.0  # a column that nothing speaks of when smoothed along the first axis
    return {
        "curve, weighted": Case(long_curve(), {"weights": rng.uniform(0.2, 3, 40)}, 2),
        "curve, one end fixed": Case(long_curve(), {"selection": ends}, 1),
        "map, weighted": Case(grid((9, 8), noise=9), {"weights": holes}, 4),
        "map, a patch": Case(grid((10, 9), noise=9), {"selection": patch}, 0),
        "map, along one axis": Case(grid((9, 8), noise=9), {"weights": rows, "along": (0,)}, 14),
    }


def textbook(case: Case, criterion: str, strengths: np.ndarray) -> np.ndarray:
    """The criterion from its definition; data near nil, so that no digits are lost.

    Cross-validation with 1.4 edf (Kim & Gu 2004, from memory); restricted likelihood of the
    mixed-model form, less what no strength changes.
    """
    smoother = case.smoother
    table = case.content["t"]
    chosen = smoother.selection.ravel()
    y = table.values.ravel() - table.values.mean()
    given = np.asarray(case.more.get("weights", np.ones(table.shape))).ravel()
    w = (given / given[chosen & (given > 0)].mean())[chosen]
    rough = penalty(table, smoother.along).toarray()
    form = rough[np.ix_(chosen, chosen)]
    pull = rough[np.ix_(chosen, ~chosen)] @ y[~chosen]
    known = np.flatnonzero(w > 0)
    n = known.size
    found = []
    for lam in strengths:
        # Cells that nothing speaks of are left to the least of all answers.
        inverse = np.linalg.pinv(np.diag(w) + lam * form, rcond=1e-14, hermitian=True)
        z = inverse @ (w * y[chosen] - lam * pull)
        missed = (w * (y[chosen] - z) ** 2).sum()
        if criterion == "gcv":
            found.append(n * missed / (n - 1.4 * np.trace(inverse @ np.diag(w))) ** 2)
            continue
        full = y.copy()
        full[chosen] = z
        sizes = np.linalg.eigvalsh(np.diag(w) + lam * form)
        sizes = sizes[sizes > 1e-12 * sizes[-1]]
        rank = sizes.size - case.straight
        found.append(
            (n - case.straight) * np.log(missed + lam * full @ rough @ full)
            + np.log(sizes).sum()
            - rank * np.log(lam)
        )
    return np.array(found)


@pytest.mark.parametrize("name", list(cases()))
def test_scores_are_those_of_the_textbook(name: str) -> None:
    case = cases()[name]
    spectrum = case.smoother.spectrum
    assert spectrum.straight == case.straight
    few = STRENGTHS[:4]  # stronger than that, the dense reference itself has too few digits
    ours, theirs = spectrum.score(few, "gcv"), textbook(case, "gcv", few)
    assert ours == pytest.approx(theirs, rel=1e-6)
    # A likelihood is known but for a constant: the differences between strengths count.
    ours, theirs = spectrum.score(few, "reml"), textbook(case, "reml", few)
    assert np.diff(ours) == pytest.approx(np.diff(theirs), abs=1e-4)


@pytest.mark.parametrize("name", list(cases()))
@pytest.mark.parametrize("criterion", ["gcv", "reml"])
def test_a_level_and_a_slope_change_no_strength(name: str, criterion: str) -> None:
    case = cases()[name]
    plain = case.smoother.spectrum.score(STRENGTHS, criterion)
    raised = case.raised(1e6).spectrum.score(STRENGTHS, criterion)
    assert raised == pytest.approx(plain, rel=1e-6, abs=1e-6)
    assert case.raised(1e6).choose(criterion).strength == pytest.approx(
        case.smoother.choose(criterion).strength, rel=1e-3
    )


@pytest.mark.parametrize("name", list(cases()))
def test_the_straight_limit_counts_the_straight_directions(name: str) -> None:
    case = cases()[name]
    assert case.smoother.at(STRAIGHT).edf == case.straight
    table = case.content["t"]
    rough = penalty(table, case.smoother.along).toarray()
    chosen = case.smoother.selection.ravel()
    nil = scipy.linalg.null_space(rough[np.ix_(chosen, chosen)], rcond=1e-10).shape[1]
    silent = 2 if name == "map, along one axis" else 0
    assert nil == case.straight + silent


@pytest.mark.parametrize("rules", [(), (Monotone("x"),)], ids=["free", "ruled"])
@pytest.mark.parametrize("picked", ["weights", "selection", "both"])
def test_what_is_straight_already_stays_at_any_strength(
    rules: tuple[Monotone, ...], picked: str
) -> None:
    # The roughness of a straight table is nil, so any strength has it for its answer, exactly.
    rng = np.random.default_rng(5)
    x, y = np.cumsum(rng.uniform(0.3, 3, (2, 20)), axis=1)
    axes = (Axis(x, "X", "-", "x"), Axis(y[:12], "Y", "-", "y"))
    values = 100 + 3 * x[:, None] + 2 * y[:12] + 0.1 * x[:, None] * y[:12]
    content = CalibrationSet([Table("t", values, axes, "T", rules=rules)])
    more: dict[str, Any] = {}
    if picked != "selection":
        more["weights"] = rng.uniform(0.1, 4, (20, 12))
    if picked != "weights":
        more["selection"] = np.arange(20)[:, None] * np.ones(12) != 3
    for strength in (1.0, 1e3, 1e5, "straight", "auto"):
        proposal = smooth(content, "t", strength, on_raster=False, **more)
        assert proposal.is_empty, strength
        assert not [n for n in proposal.notes if "do not allow" in n], strength
