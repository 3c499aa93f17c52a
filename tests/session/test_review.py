"""Remarks and waivers as edits: made, answered, settled, approved, withdrawn."""

from __future__ import annotations

from pathlib import Path

import pytest

import calib_model
from calib_model.editing.change import apply
from calib_model.errors import EditRefused
from calib_model.rules.check import check
from calib_model.session.review import approve, places_of, remark, settle, waive, withdraw
from tests.signoff.making import allowed, signed, small_set


def test_a_remark_is_made_answered_and_settled() -> None:
    content = small_set()
    made = remark(content, " Why? ", author="Ines", table="base", cells=[(1,), (1,), (2,)])
    content = apply(content, made)
    (first,) = content.record.remarks
    assert (first.text, first.places, first.is_open) == ("Why?", ((10.0,), (20.0,)), True)
    content = apply(content, remark(content, "So.", author="Ada", answers=first))
    answer = content.record.remarks[1]
    assert (answer.table, answer.places, answer.answers) == ("base", first.places, first.id)
    content = apply(content, settle(first, "Ines"))
    assert [r.is_open for r in content.record.remarks] == [False, True]
    general = apply(content, remark(content, "Snow", author="Ines"))
    assert general.record.remarks[-1].table == ""
    assert places_of(content["tick"], [()]) == ((),)


def test_a_script_keeps_and_adds_to_the_record(tmp_path: Path) -> None:
    path = tmp_path / "x.h5"
    first = apply(small_set(), remark(small_set(), "Snow", author="Ines"))
    calib_model.save_set(first, path)
    calib_model.save_set(calib_model.edit(small_set(), "tick", 0.01), path)
    kept = calib_model.open_set(path)
    assert kept.record == first.record
    assert float(kept["tick"].values) == 0.01
    calib_model.save_set(signed(kept), path)
    again = calib_model.open_set(path)
    assert calib_model.verify(again, allowed()).genuine
    assert again.record.remarks == first.record.remarks


def test_nobody_says_nothing() -> None:
    for text, author in (("", "Ines"), ("x", " ")):
        with pytest.raises(EditRefused):
            remark(small_set(), text, author=author)
    made = remark(small_set(), "x", author="Ines")
    with pytest.raises(EditRefused):
        settle(made.edits[0].after, " ")  # type: ignore[union-attr, arg-type]


def test_a_waiver_is_asked_for_approved_and_withdrawn() -> None:
    content = calib_model.edit(small_set(), "base", {(1,): 4.0})
    blocking = [f for f in check(content).findings if f.rule == "monotone"]
    change = waive(content, blocking, reason="wanted", author="Ada")
    assert change.title == "Waive monotone in Base"
    content = apply(content, change)
    assert check(content).counts()[0] == 1, "nobody approved it yet"
    (waiver,) = content.record.waivers
    content = apply(content, approve(waiver, "Ines"))
    assert check(content).counts()[0] == 0
    (waiver,) = content.record.waivers
    content = apply(content, withdraw(waiver))
    assert check(content).counts()[0] == 1
    assert content.record.waivers == ()
