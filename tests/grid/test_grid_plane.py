"""Rows, columns and rectangles of a table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from app.grid.navigation import jumped, stepped
from app.grid.plane import Plane, bounding_box, rectangles


@pytest.mark.parametrize(
    ("shape", "fixed", "rows", "columns"),
    [((), (), 1, 1), ((5,), (), 1, 5), ((3, 4), (), 3, 4), ((3, 4, 2), (1,), 3, 4),
     ((3, 4, 2, 5), (1, 4), 3, 4)],
)  # fmt: skip
def test_every_cell_has_its_place(
    shape: tuple[int, ...], fixed: tuple[int, ...], rows: int, columns: int
) -> None:
    plane = Plane(shape, fixed)
    assert (plane.rows, plane.columns) == (rows, columns)
    numbers = np.arange(int(np.prod(shape, dtype=int))).reshape(shape)
    for row in range(rows):
        for column in range(columns):
            cell = plane.cell(row, column)
            assert plane.place(cell) == (row, column)
            assert plane.of(numbers)[row, column] == numbers[cell]


def test_a_cell_of_another_plane_has_no_place() -> None:
    assert Plane((3, 4, 2), (1,)).place((0, 0, 0)) is None


def test_flat_cells_are_found_in_their_plane() -> None:
    plane = Plane((3, 4, 2), (1,))
    rows, columns = plane.places(np.array([0, 1, 23]))  # (0,0,0), (0,0,1), (2,3,1)
    assert rows.tolist() == [0, 2]
    assert columns.tolist() == [0, 3]


def test_marks_spread_into_their_plane_only() -> None:
    whole = Plane((2, 2, 3), (2,)).spread(np.array([[True, False], [False, True]]))
    assert np.argwhere(whole).tolist() == [[0, 0, 2], [1, 1, 2]]


@given(hnp.arrays(bool, st.tuples(st.integers(1, 7), st.integers(1, 7))))
def test_rectangles_cover_exactly_the_marks(marks: np.ndarray) -> None:
    covered = np.zeros(marks.shape, dtype=int)
    for top, left, bottom, right in rectangles(marks):
        covered[top : bottom + 1, left : right + 1] += 1
    assert np.array_equal(covered, marks.astype(int))


def test_a_block_is_one_rectangle() -> None:
    marks = np.zeros((9, 9), dtype=bool)
    marks[2:6, 3:8] = True
    assert list(rectangles(marks)) == [(2, 3, 5, 7)]
    assert bounding_box(marks) == (2, 3, 5, 7)
    assert bounding_box(np.zeros((2, 2), dtype=bool)) is None


def test_enter_walks_along_a_single_row() -> None:
    assert stepped(0, 2, 1, 5, "down") == (0, 3)
    assert stepped(0, 4, 1, 5, "down") is None
    assert stepped(1, 2, 3, 5, "down") == (2, 2)
    assert stepped(0, 2, 3, 5, "up") is None


@pytest.mark.parametrize(
    ("start", "direction", "goal"),
    [(0, "right", 2), (2, "right", 4), (4, "right", 6), (6, "right", 6), (6, "left", 4),
     (4, "left", 2), (3, "right", 4), (3, "left", 2)],
)  # fmt: skip
def test_jumps_end_at_gaps_and_edges(start: int, direction: str, goal: int) -> None:
    # Filled: 0 1 2 . 4 . . -> the last one is an empty end
    filled = np.array([[True, True, True, False, True, False, False]])
    assert jumped(0, start, filled, direction) == (0, goal)
