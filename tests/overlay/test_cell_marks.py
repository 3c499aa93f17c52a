"""Marks of cells in words and sizes, and what the desk hands out of them."""

from __future__ import annotations

import numpy as np
import pytest

from app.cell_marks import DWELL_STEPS, driven, seconds, signed_marks
from calib_model.editing.axes import insert_breakpoint
from tests.overlay.driving import Use, drive, driven_desk, used
from tests.plots import demo_set as demo


def one_row(*dwell: float) -> Use:
    times = np.array(dwell)
    return Use(times, np.ceil(times), times * 0.0, np.where(times > 5, times / 4, 0.0))


def test_sizes_follow_the_stated_steps() -> None:
    use = one_row(0.0, 0.5, 1.0, 9.9, 10.0, 59.9, 60.0, 4000.0)
    assert driven(use).levels.tolist() == [0, 1, 2, 2, 3, 3, 4, 4]
    assert driven(use).size_words == "larger from 1, 10 and 60 s"
    assert DWELL_STEPS == (1.0, 10.0, 60.0)


def test_a_cell_in_words() -> None:
    use = Use(
        np.array([12.41, 0.0, 3.0]),
        np.array([4.0, 0.0, 1.0]),
        np.array([0.8, 0.0, 0.0]),
        np.array([3.06, 0.0, 0.0]),
    )
    marks = driven(use)
    assert marks.words((0,)) == "driven 12.4 s, decided 3.1 s, 4 visits, 0.8 s beyond the end"
    assert marks.words((1,)) == "not driven"
    assert marks.words((2,)) == "driven 3.0 s, never decided, 1 visit"
    assert marks.summary == "driven 15.4 s in 2 of 3 cells, decided in 1"
    assert marks.full.tolist() == [True, False, False]
    assert marks.beyond is not None
    assert marks.beyond.tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("time", "words"),
    [(0.01, "under 0.1 s"), (99.94, "99.9 s"), (100.2, "100 s"), (900, "15 min"), (5400, "1.5 h")],
)
def test_times_in_words(time: float, words: str) -> None:
    assert seconds(time) == words


def test_amounts_with_a_sign_have_a_shape_per_sign_and_a_size_per_share() -> None:
    marks = signed_marks("peak slip", "km/h", np.array([[-2.0, 0.0, np.nan], [0.1, 0.7, 2.0]]))
    assert marks.levels.tolist() == [[4, 0, 0], [1, 3, 4]]
    assert marks.full.tolist() == [[False, False, False], [True, True, True]]
    assert marks.words((0, 0)) == "peak slip −2 km/h"
    assert marks.words((1, 1)) == "peak slip +0.7 km/h"
    assert marks.words((0, 2)) == "peak slip: not known"
    assert signed_marks("x", "s", np.zeros(3)).levels.tolist() == [0, 0, 0]


def test_the_desk_gives_driving_unless_it_is_switched_off_or_something_else_is_marked() -> None:
    desk = driven_desk()
    use = used(desk.table, drive())
    assert use.dwell.sum() == pytest.approx(400.0)  # every tick of the drive is in one cell
    assert np.array_equal(desk.driving.cell_marks.amounts, use.dwell)
    told = []
    desk.driving.cell_marks_changed.connect(lambda: told.append(1))
    desk.driving.show_driving(False)
    assert desk.driving.cell_marks is None
    desk.driving.show_driving(True)
    other = signed_marks("peak slip", "km/h", np.ones(desk.table.shape))
    desk.driving.set_cell_marks({desk.table.id: other})
    assert desk.driving.cell_marks is other
    desk.open_table("pre_engage_fade")
    assert (
        desk.driving.cell_marks is None
    )  # one kind of mark at a time: not driving here and slip there
    desk.driving.set_cell_marks(None)
    assert desk.driving.cell_marks.label == "driven"
    desk.driving.set_coverage(None)
    assert desk.driving.cell_marks is None
    assert len(told) == 5


def test_marks_of_another_shape_are_not_drawn() -> None:
    desk = driven_desk("pre_engage_fade")
    desk.do(insert_breakpoint(desk.current.content, "pre_engage_fade", 0, 75.0))
    assert desk.table.shape == (9,)
    assert desk.driving.cell_marks is None
    assert demo.fade().shape == (8,)
