"""Waivers cover a breach where it is and as large as it is, and say why when they lapse."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.names import same_person
from calib_model.core.record import Waiver
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.errors import EditRefused
from calib_model.rules import waivers
from calib_model.rules.check import Checker, Finding, check
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Monotone
from calib_model.rules.waivers import approved, waiver_for

SPEED = Axis([0.0, 10.0, 20.0, 30.0], "Speed", "km/h", "vehicle_speed")
RULE = Monotone(axis="vehicle_speed")


def a_set(*values: float, rules: tuple[object, ...] = (RULE,), **about: object) -> CalibrationSet:
    table = Table("t", values, (SPEED,), unit="N.m", rules=rules, **about)  # type: ignore[arg-type]
    return CalibrationSet([table], programme="Larch", mode="normal", base_mode="normal")


def only(content: CalibrationSet, kind: str = "monotone", **about: object) -> Finding:
    (found,) = [f for f in check(content, **about).findings if f.rule == kind]  # type: ignore[arg-type]
    return found


def waived(content: CalibrationSet, finding: Finding, **about: object) -> CalibrationSet:
    given = {"reason": "meant", "author": "Ada", "approver": "Ines", **about}
    waiver = waiver_for(content, finding, **given)  # type: ignore[arg-type]
    return content.with_record(content.record.exchanged(None, waiver))


BREACH = a_set(0.0, 5.0, 3.0, 8.0)


def test_a_waived_finding_no_longer_blocks() -> None:
    assert check(BREACH).counts()[0] == 1
    content = waived(BREACH, only(BREACH))
    finding = only(content)
    assert finding.waived
    assert finding.waiver == content.record.waivers[0].id
    assert check(content).counts()[0] == 0


@pytest.mark.parametrize(
    ("values", "still"),
    [
        ((0.0, 5.0, 3.0, 80.0), True),  # an unrelated value
        ((0.0, 5.0, 4.0, 8.0), True),  # the breach shrinks
        ((0.0, 5.0, 2.5, 8.0), False),  # it grows
        ((0.0, 5.0, 8.0, 7.0), False),  # it moves
        ((0.0, 5.0, 3.0, 2.0), False),  # it spreads
    ],
)
def test_it_lapses_when_the_breach_grows_or_moves(values: tuple[float, ...], still: bool) -> None:
    content = waived(BREACH, only(BREACH))
    now = content.with_table(content["t"].with_values(values))
    finding = only(now)
    assert finding.waived is still
    assert ("lapsed" in finding.message) is not still
    # After an edit only what reads the table is checked again: the same answer.
    checker = Checker(content)
    assert checker.update(now, ["t"]).findings == check(now).findings


def test_it_says_why_it_lapsed() -> None:
    content = waived(BREACH, only(BREACH))
    grown = content.with_table(content["t"].with_values([0.0, 5.0, 2.5, 8.0]))
    assert "has grown to 2.5 N·m, above the waived 2 N·m" in only(grown).message
    moved = content.with_table(content["t"].with_values([0.0, 5.0, 8.0, 7.0]))
    assert "(30) is not among the cells" in only(moved).message
    stricter = Monotone(axis="vehicle_speed", strict=True)
    other = content.with_table(replace(content["t"], rules=(stricter,)))
    assert "the rule has other settings now" in only(other).message
    unit = content.with_table(replace(content["t"], unit="kN.m"))
    assert "it was in N.m" in only(unit).message


def test_another_breakpoint_does_not_move_a_cell() -> None:
    content = waived(BREACH, only(BREACH))
    axis = SPEED.with_values([0.0, 5.0, 10.0, 20.0, 30.0])
    wider = content.with_table(content["t"].with_axis(0, axis, [0.0, 2.0, 5.0, 3.0, 8.0]))
    assert only(wider).waived


def test_it_ends_on_its_last_day() -> None:
    content = waived(BREACH, only(BREACH), expires="2099-03-01")
    assert only(content, day=date(2099, 3, 1)).waived
    over = only(content, day=date(2099, 3, 2))
    assert not over.waived
    assert "ended on 2099-03-01" in over.message


def test_its_last_day_may_be_today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waivers, "today", lambda: date(2099, 3, 1))
    assert waived(BREACH, only(BREACH), expires="2099-03-01").record.waivers
    with pytest.raises(EditRefused, match="ended on 2099-02-28 already"):
        waived(BREACH, only(BREACH), expires="2099-02-28")


def test_a_stated_size_leaves_room() -> None:
    content = waived(BREACH, only(BREACH), size=3.0)
    assert only(content.with_table(content["t"].with_values([0.0, 5.0, 2.0, 8.0]))).waived
    assert not only(content.with_table(content["t"].with_values([0.0, 5.0, 1.9, 8.0]))).waived


def test_a_size_without_end_is_refused() -> None:
    with pytest.raises(EditRefused, match="finite size"):
        waived(BREACH, only(BREACH), size=float("inf"))


def test_the_approver_is_another_person() -> None:
    finding = only(BREACH)
    with pytest.raises(EditRefused, match="their own"):
        waived(BREACH, finding, approver=" ada ")
    asked = waived(BREACH, finding, approver="")
    assert not only(asked).waived
    assert "awaits an approver" in only(asked).message
    (waiver,) = asked.record.waivers
    with pytest.raises(EditRefused, match="their own"):
        approved(waiver, "ADA")
    record = asked.record.exchanged(waiver, approved(waiver, "Ines"))
    assert only(asked.with_record(record)).waived
    # Past our own maker, in a stranger's file, it does not count either.
    forged = asked.record.exchanged(waiver, replace(waiver, approver="Ada"))
    assert not only(asked.with_record(forged)).waived


@pytest.mark.parametrize(
    ("about", "words"),
    [
        ({"reason": " "}, "reason"),
        ({"author": ""}, "author"),
        ({"size": 1.0}, "the breach is"),
        ({"size": float("nan")}, "the breach is"),
        ({"expires": "soon"}, "no day"),
        ({"expires": "2020-01-01"}, "already"),
    ],
)
def test_what_is_missing_is_said(about: dict[str, object], words: str) -> None:
    with pytest.raises(EditRefused, match=words):
        waived(BREACH, only(BREACH), **about)


def test_empty_cells_disorder_and_raster_are_mended_never_waived() -> None:
    empty = a_set(0.0, float("nan"), 3.0, 4.0)
    off = a_set(0.0, 0.3, 3.0, 4.0, storage=Storage.of("uint16", "0.5"))
    for content, kind in ((empty, "finite"), (off, "on_raster")):
        with pytest.raises(EditRefused, match="cannot be waived"):
            waived(content, only(content, kind))
        finding = only(content, kind)
        smuggled = Waiver(table="t", rule=f'{{"kind":"{kind}"}}', places=finding.axis_values,
                          size=9.0, unit="N.m", author="Ada", approver="Ines")  # fmt: skip
        record = content.record.exchanged(None, smuggled)
        assert not only(content.with_record(record), kind).waived


def test_two_rules_of_one_kind_are_two() -> None:
    low, high = Bounds(upper=4.0), Bounds(upper=6.0)
    content = a_set(0.0, 5.0, 7.0, 8.0, rules=(low, high))
    first = next(f for f in check(content).findings if f.source == low)
    content = waived(content, first)
    by_rule = {f.source: f for f in check(content).findings}
    assert by_rule[low].waived
    assert not by_rule[high].waived
    assert "lapsed" not in by_rule[high].message


def test_a_relation_between_modes_is_waived_in_the_mode_set_only() -> None:
    base = a_set(1.0, 2.0, 3.0, 4.0, rules=())
    table = replace(base["t"], relations={"low_grip": ">="}).with_values([1.0, 1.5, 3.0, 4.0])
    mode = CalibrationSet([table], programme="Larch", mode="low_grip", base_mode="normal")
    (finding,) = check(mode, [base]).findings
    with pytest.raises(EditRefused, match="mode low_grip"):
        waived(base, finding)
    mode = waived(mode, finding)
    assert check(mode, [base]).sound
    assert check(base, [mode]).sound, "the same from the other side"
    lower = base.with_table(base["t"].with_values([1.0, 2.1, 3.0, 4.0]))
    assert not check(mode, [lower]).sound, "the base rose: the breach has grown"
    turned = mode.with_table(replace(table, relations={"low_grip": "=="}))
    assert "other settings" in check(turned, [base]).findings[0].message


def test_names_are_compared_as_people_write_them() -> None:
    assert same_person("Ada  Berg ", "ada berg")
    assert not same_person("Ada Berg", "Ada Borg")
