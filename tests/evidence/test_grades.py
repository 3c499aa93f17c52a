"""Evidence grades per changed cell, by hand.

The grades and their order are common practice of the trade, no source.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Drive
from calib_model.core.record_plain import item_from_plain, item_to_plain
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.evidence.gaps import unproven
from calib_model.evidence.grades import (
    Grade,
    TableVisits,
    Visits,
    changed_cells,
    grades,
    visits_of,
    visits_text,
)
from calib_model.rules.check import check
from calib_model.session.programme import parse_programme
from calib_model.signoff.gate import Gate, Obstacle, gate, must_be_driven

SPEED = Axis([0.0, 50.0, 100.0], name="Speed", unit="km/h", quantity="vehicle_speed")
LIMIT = Table("limit", [100.0, 200.0, 300.0], (SPEED,), name="Limit", unit="N.m",
              storage=Storage.of("uint16", "0.5"))  # fmt: skip
FREE = Table("free", [1.0, 2.0, 3.0], (SPEED,))
BASE = CalibrationSet((LIMIT, FREE))
EDITED = BASE.replaced({"limit": LIMIT.with_values([110.0, 210.0, 300.0])})


def drive(
    *rows: tuple[float, float, float, float],
    table: Table = LIMIT,
    chain: bool = True,
    source: str = "recording",
    name: str = "round",
    stated: bool = False,
) -> Drive:
    """A drive that visited some places: (speed, seconds, decided, value then)."""
    axes = tuple((a.quantity, a.unit) for a in table.axes)
    cells = {(speed,): (seconds, decided, value) for speed, seconds, decided, value in rows}
    visits = Visits({table.id: TableVisits(table.unit, axes, chain, cells)}, stated)
    return Drive(source=source, name=name, visits=visits_text(visits))


def graded(*drives: Drive, content: CalibrationSet = EDITED) -> dict[float, tuple[Grade, str]]:
    found = grades(content, BASE, drives)
    assert set(found.tables) <= {"limit"}, "only what changed is graded"
    return {cell.place[0]: (cell.grade, cell.words) for cell in found.cells}


def test_without_a_drive_every_edit_lacks_evidence() -> None:
    found = graded()
    assert {place: grade for place, (grade, _) in found.items()} == {0: Grade.NONE, 50: Grade.NONE}
    assert grades(EDITED, BASE, []).words == "2 cells changed: 2 no evidence."
    assert grades(BASE, BASE, []).words == "No cell changed."


def test_driven_means_used_and_deciding_with_this_value() -> None:
    found = graded(drive((0, 4.0, 1.5, 110.0), (50, 2.0, 1.0, 200.0)))
    assert found[0] == (Grade.DRIVEN, "driven with this value for 4 s, deciding for 1.5 s (round)")
    assert found[50][0] is Grade.VISITED
    assert "another value, 200 N·m" in found[50][1]


def test_a_limit_that_never_limited_proves_nothing() -> None:
    content = grades(EDITED, BASE, [drive((0, 12.0, 0.0, 110.0))])
    cell = content.cells[0]
    assert (cell.grade, cell.never_decided) == (Grade.NONE, True)
    assert cell.words == "visited for 12 s, but never deciding: another table governed (round)"
    outside = graded(drive((0, 12.0, 0.0, 110.0), chain=False))
    assert outside[0][0] is Grade.DRIVEN, "a table outside the chain need not decide"


@pytest.mark.parametrize(
    ("then", "grade"),
    [(110.0, Grade.DRIVEN), (110.4, Grade.DRIVEN), (110.5, Grade.VISITED), (109.5, Grade.VISITED)],
)
def test_the_same_value_is_the_same_within_a_storage_step(then: float, grade: Grade) -> None:
    # The table is stored in steps of 0.5 N.m: 110.4 is stored as 110.5 or 110, 110.5 is another.
    assert graded(drive((0, 1.0, 1.0, then)))[0][0] is grade


def test_a_table_kept_as_float_has_to_be_equal() -> None:
    content = BASE.replaced({"free": FREE.with_values([1.5, 2, 3])})
    for then, grade in ((1.5, Grade.DRIVEN), (1.5000001, Grade.VISITED)):
        one = drive((0, 1.0, 1.0, then), table=FREE)
        assert grades(content, BASE, [one]).cells[0].grade is grade


def test_the_desk_counts_less_than_a_visit_on_the_road() -> None:
    desk = drive((0, 3.0, 3.0, 110.0), source="manoeuvre", name="launch")
    assert graded(desk)[0] == (
        Grade.DESK, "driven at the desk only, with this value for 3 s, deciding for 3 s (launch)"
    )  # fmt: skip
    road = drive((0, 1.0, 0.5, 100.0))
    assert graded(desk, road)[0][0] is Grade.VISITED
    away = drive((0, 3.0, 3.0, 100.0), source="manoeuvre", name="launch")
    assert graded(away)[0] == (Grade.NONE, "driven at the desk with other values only (launch)")


def test_drives_add_up_and_the_best_grade_counts() -> None:
    found = grades(EDITED, BASE, [
        drive((0, 1.0, 0.5, 100.0), name="a"),
        drive((0, 2.0, 1.0, 110.0), name="b"),
        drive((0, 3.0, 1.0, 110.0), name="c", stated=True),
    ])  # fmt: skip
    cell = found.cells[0]
    assert (cell.grade, cell.seconds, cell.decided, cell.drives) == (
        Grade.DRIVEN, 5.0, 2.0, ("b", "c"),
    )  # fmt: skip
    assert "stated by hand" in cell.words


def test_a_drive_that_spent_no_time_in_a_cell_is_not_named_there() -> None:
    passed = drive((0, 0.0, 0.0, 110.0), name="passed")
    assert graded(passed)[0] == (Grade.NONE, "no drive used this cell")
    cell = grades(EDITED, BASE, [passed, drive((0, 1.0, 1.0, 110.0))]).cells[0]
    assert cell.drives == ("round",)
    # Nor where the table takes part in no chain of decisions, so that a visit alone counts.
    passed, driven = (
        drive((0, seconds, 0.0, 110.0), chain=False, name=name)
        for seconds, name in ((0.0, "passed"), (1.0, "round"))
    )
    assert grades(EDITED, BASE, [passed, driven]).cells[0].drives == ("round",)


def test_a_visit_at_another_axis_is_no_evidence() -> None:
    other = replace(LIMIT, axes=(replace(SPEED, unit="m/s"),))
    assert graded(drive((0, 4.0, 4.0, 110.0), table=other))[0][0] is Grade.NONE
    unit = replace(LIMIT, unit="kN.m")
    assert graded(drive((0, 4.0, 4.0, 110.0), table=unit))[0][0] is Grade.VISITED


def test_a_moved_breakpoint_is_an_edit_where_the_table_reads_otherwise() -> None:
    axis = SPEED.with_values([0.0, 25.0, 100.0])
    same = replace(LIMIT, axes=(axis,), values=[100.0, 150.0, 300.0])
    assert not changed_cells(same, LIMIT).any()
    other = replace(LIMIT, axes=(axis,), values=[100.0, 151.0, 300.0])
    assert changed_cells(other, LIMIT).tolist() == [False, True, False]
    assert changed_cells(LIMIT, None).all()
    assert changed_cells(LIMIT, replace(LIMIT, unit="km/h")).all(), "no common unit"


@given(
    st.dictionaries(
        st.tuples(st.floats(allow_nan=False, allow_infinity=False)),
        st.tuples(
            st.floats(0, 1e6).map(lambda x: round(x, 3)),
            st.floats(0, 1e6).map(lambda x: round(x, 3)),
            st.floats(allow_nan=False, allow_infinity=False),
        ),
        max_size=5,
    )
)
def test_visits_come_back_as_they_were(
    cells: dict[tuple[float, ...], tuple[float, float, float]],
) -> None:
    visits = Visits({"limit": TableVisits("N.m", (("vehicle_speed", "km/h"),), True, cells)}, True)
    made = Drive(visits=visits_text(visits))
    json.loads(made.visits, parse_constant=lambda name: pytest.fail(name))
    assert visits_of(made) == visits
    # ... and through the record's own plain form, as files keep it.
    again = item_from_plain("drive", json.loads(json.dumps(item_to_plain(made))))
    assert isinstance(again, Drive)
    assert visits_of(again) == visits


_DAMAGED = (
    '{"version": 1, "tables": {"limit": {"unit": "N.m", "axes": [["v", "km/h"]], "chain": true, '
    '"places": [[%s]], "seconds": %s, "decided": [1], "values": [1]}}}'
)


@pytest.mark.parametrize(
    "text",
    [
        *("", "{", "[]", "3", '{"version": 2, "tables": {}}', '{"version": 1}', "[" * 5000),
        '{"version": 1, "tables": {"limit": {"unit": "N.m"}}}',
        _DAMAGED % ("0", "[1, 2]"),
        _DAMAGED % ('"0"', "[1]"),
        _DAMAGED % ("0", "[1e999]"),
    ],
)
def test_a_text_that_cannot_be_read_is_no_evidence(text: str) -> None:
    made = Drive(visits=text)
    assert visits_of(made) is None
    assert graded(made)[0][0] is Grade.NONE


# -- what the gate of a sign-off says ------------------------------------------------------


PROGRAMME = """
programme = "Larch"
[milestones."winter trip"]
level = "estimated"
tables = { limit = "driven" }
"""


def _gate(content: CalibrationSet, milestone: str, tmp_path) -> Gate:  # type: ignore[no-untyped-def]
    programme = parse_programme(PROGRAMME, tmp_path / "larch.toml")
    asked = must_be_driven(content, programme, milestone)
    return gate(
        content,
        check(content),
        programme=programme,
        milestone=milestone,
        unproven=unproven(content, BASE, asked),
    )


@pytest.mark.parametrize(("milestone", "blocks"), [("", False), ("winter trip", True)])
def test_the_gate_lists_edits_without_evidence(milestone: str, blocks: bool, tmp_path) -> None:  # type: ignore[no-untyped-def]
    found = _gate(EDITED, milestone, tmp_path)
    (item,) = [i for i in found.items if i.kind is Obstacle.EVIDENCE]
    assert (item.table, item.cells, item.blocks) == ("limit", ((0,), (1,)), blocks)
    assert "2 of 2 edited cells were not driven" in item.text
    assert ("milestone asks" in item.text) is blocks
    assert (item in found.blocking()) is blocks


def test_a_drive_with_these_values_empties_the_gate(tmp_path) -> None:  # type: ignore[no-untyped-def]
    proof = drive((0, 4.0, 1.0, 110.0), (50, 4.0, 1.0, 210.0))
    content = EDITED.replaced({}, record=replace(EDITED.record, drives=(proof,)))
    assert not [
        i for i in _gate(content, "winter trip", tmp_path).items if i.kind is Obstacle.EVIDENCE
    ]
    # One more edit there, and the drive is one with another value.
    later = content.replaced({"limit": content["limit"].with_values([110.0, 215.0, 300.0])})
    (item,) = [
        i for i in _gate(later, "winter trip", tmp_path).items if i.kind is Obstacle.EVIDENCE
    ]
    assert item.cells == ((1,),)
    assert "visited with other values" in item.text


def test_without_an_earlier_state_only_what_is_asked_to_be_driven_counts() -> None:
    assert unproven(EDITED, None) == ()
    (mine,) = unproven(EDITED, None, ["limit"])
    assert (mine.table, len(mine.cells)) == ("limit", 3)


def test_an_empty_cell_that_was_filled_is_an_edit() -> None:
    before = LIMIT.with_values([math.nan, 200.0, 300.0])
    assert changed_cells(LIMIT, before).tolist() == [True, False, False]
    assert not changed_cells(before, LIMIT.with_values(before.values)).any()
    assert np.isnan(before.values[0])
