"""What dragged nodes become: inside limits, on the raster, together."""

from __future__ import annotations

import numpy as np
import pytest

from app.plots.snap import snapped
from app.plots.surface.moves import moved, stored
from calib_model.core.storage import Storage
from tests.surface.surface_maps import VALUES, uneven


@pytest.mark.parametrize(
    ("storage", "lower", "upper"),
    [
        (Storage.of("uint16", "0.5"), 0.0, 400.0),
        (Storage.of("uint8", "1/250"), 0.03, 0.977),
        (Storage.of("int16", "0.1"), -5.03, 7.07),
        (Storage("float32"), 0.0, 1.0),
        (Storage(), -np.inf, np.inf),
    ],
)
def test_many_are_stored_as_one_is(storage: Storage, lower: float, upper: float) -> None:
    table = uneven(storage=storage, lower=lower, upper=upper)
    inside = np.linspace(max(lower, -9), min(upper, 9), 7)
    start = np.array([snapped(table, v, 0.0) for v in inside])
    for shift in (-3.3, -0.123, 0.0, 0.07, 2.2, 1000.0):
        wanted = start + shift
        expected = [snapped(table, v, 0.0) for v in wanted]
        np.testing.assert_allclose(stored(table, wanted, start), expected, rtol=0, atol=1e-12)


def test_selected_nodes_move_as_far_as_the_one_in_the_hand() -> None:
    table = uneven()
    chosen = np.zeros((4, 6), dtype=bool)
    chosen[1:3, 2:4] = True
    values = moved(table, VALUES, chosen, (1, 2), VALUES[1, 2] + 10.2, 0.3)
    np.testing.assert_array_equal(values[chosen], VALUES[chosen] + 10.0)
    np.testing.assert_array_equal(values[~chosen], VALUES[~chosen])


def test_each_stops_at_the_limit() -> None:
    chosen = np.ones((4, 6), dtype=bool)
    values = moved(uneven(upper=VALUES.max()), VALUES, chosen, (0, 0), VALUES[0, 0] + 50, 0.3)
    assert values.max() == VALUES.max()
    assert values[0, 0] == VALUES[0, 0] + 50
    low = moved(uneven(), VALUES, chosen, (3, 0), -100.0, 0.3)
    assert low[3, 0] == 0.0


def test_a_cell_beyond_a_limit_is_neither_forced_in_nor_moved_further_out() -> None:
    table = uneven(upper=150.0)
    chosen = VALUES >= 0
    held = (0, 0)
    up = moved(table, VALUES, chosen, held, VALUES[held] + 5, 0.1)
    beyond = VALUES > 150
    assert beyond.any()
    np.testing.assert_array_equal(up[beyond], VALUES[beyond])
    down = moved(table, VALUES, chosen, held, VALUES[held] - 5, 0.1)
    np.testing.assert_array_equal(down[beyond], VALUES[beyond] - 5)


def test_empty_cells_stay_empty_and_no_move_changes_nothing() -> None:
    start = VALUES.copy()
    start[1, 1] = np.nan
    chosen = np.ones((4, 6), dtype=bool)
    values = moved(uneven(values=start), start, chosen, (0, 0), start[0, 0] + 3, 0.1)
    assert np.isnan(values[1, 1])
    same = moved(uneven(values=start), start, chosen, (0, 0), start[0, 0] + 0.1, 0.1)
    np.testing.assert_array_equal(same, start)
