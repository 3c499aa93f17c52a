"""The automatic strength of a fit: against plain cross-validation, whatever level and slope."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.table import Table
from calib_model.shaping.fit_estimate import estimate
from calib_model.shaping.fit_options import FitOptions
from calib_model.shaping.roughness import penalty
from calib_model.shaping.samples import from_arrays
from tests.fit.making_fits import curve, design, surface

SQUARES = FitOptions(loss="squares")
GRID = np.logspace(-8, 3, 111)
"""The strengths that a fit chooses among."""


def _case(kind: str, rows: int) -> tuple[Table, list[np.ndarray], np.ndarray]:
    rng = np.random.default_rng(rows)
    table = curve(np.linspace(0, 10, 14)) if kind == "curve" else surface(
        np.linspace(0, 10, 6), np.linspace(0, 4, 5)
    )  # fmt: skip
    points = [rng.uniform(a.values[0], a.values[-1], rows) for a in table.axes]
    z = np.sin(points[0] / 3) + rng.normal(size=rows) * 0.2
    return table, points, z + (points[1] ** 2 / 20 if kind == "map" else 0.0)


def _by_hand(table: Table, points: list[np.ndarray], z: np.ndarray) -> float:
    """Generalised cross-validation with the whole influence matrix, by numpy."""
    h = design(table, points)
    rough = penalty(table, range(len(table.axes))).toarray()
    normal = h.T @ h
    per_node = z.size / normal.shape[0]
    scores = []
    for strength in GRID:
        hat = h @ np.linalg.solve(normal + strength * per_node * rough, h.T)
        rest = z - hat @ z
        room = z.size - 1.4 * np.trace(hat)
        scores.append(z.size * (rest @ rest) / room**2)
    return float(GRID[int(np.argmin(scores))])


@pytest.mark.parametrize("kind", ["curve", "map"])
@pytest.mark.parametrize("rows", [90, 400])
def test_strength_is_that_of_plain_cross_validation(kind: str, rows: int) -> None:
    # Craven and Wahba 1979, each degree of freedom counted 1.4 times; from memory.
    table, points, z = _case(kind, rows)
    found = estimate(table, from_arrays(points, z - z.mean()), SQUARES)
    assert found.chosen
    assert abs(np.log10(found.strength / _by_hand(table, points, z - z.mean()))) < 0.25


@pytest.mark.parametrize("kind", ["curve", "map"])
@pytest.mark.parametrize("loss", ["squares", "huber"])
@pytest.mark.parametrize(("level", "slope"), [(1e6, 0.0), (0.0, 1e4), (0.0, 1e6), (-1e6, 1e6)])
def test_level_and_slope_do_not_change_the_choice(
    kind: str, loss: str, level: float, slope: float
) -> None:
    # What is straight has no roughness and no strength touches it.
    table, points, z = _case(kind, 300)
    options = FitOptions(loss=loss)
    plain = estimate(table, from_arrays(points, z), options)
    high = level + slope * sum(points)
    found = estimate(table, from_arrays(points, z + high), options)
    assert abs(np.log10(found.strength / plain.strength)) < 0.11  # a step of the grid
    straight = level + slope * np.add.outer(
        table.axes[0].values, table.axes[1].values if kind == "map" else np.zeros(1)
    )
    apart = found.values - straight.reshape(-1) - plain.values
    assert np.abs(apart).max() < 0.02


def test_straight_samples_without_noise_are_fitted_as_stiff_as_can_be() -> None:
    table, points, _ = _case("curve", 200)
    found = estimate(table, from_arrays(points, 1e6 + 3e5 * points[0]), SQUARES)
    assert found.strength == GRID[-1]
    np.testing.assert_allclose(found.values, 1e6 + 3e5 * table.axes[0].values, rtol=1e-9)
