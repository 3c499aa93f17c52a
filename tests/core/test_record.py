"""The record of a set: a value beside the content, written and read without loss."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.core.record import (
    EMPTY_RECORD,
    Complaint,
    Decision,
    Drive,
    Level,
    Maturity,
    Outcome,
    Record,
    Remark,
    SignOff,
    Standing,
    Trial,
    Waiver,
    new_id,
)
from calib_model.core.record_plain import (
    item_from_plain,
    item_to_plain,
    record_from_plain,
    record_to_plain,
    rule_text,
)
from calib_model.core.table import Table
from calib_model.errors import ModelError
from calib_model.rules.limits import Bounds
from calib_model.store import read_set, write_set

ITEMS = (
    Remark(text="µ?", author="Ines", time="2026-01-10T08:00:00Z", table="t", places=((1.0, -0.5),)),
    Waiver(table="t", rule=rule_text(Bounds(upper=3.0).to_plain()), places=((),), size=0.25,
           reason="meant", author="Ada", approver="Ines", expires="2026-12-31"),
    Decision(table="t", outcome=Outcome.QUERIED, digest="ab", by="Ines", comment="why?"),
    Maturity(table="t", level=Level.DRIVEN, by="Ada", note="trip 4"),
    Trial(vehicle="Van 7", trip="Snow", expires="2026-02-01", digest="cd", changed=("a", "b")),
    Complaint(number="C-3", recording="round.csv", sha256="ef", moment=83.4, note="spins",
              standing=Standing.PROVED, tables=("t",), answer="raised", proof_recording="r2.csv",
              proof_moment=1.5, by="Ada", time="2026-01-10T08:00:00Z"),
    Drive(source="manoeuvre", name="launch", set_digest="ab", seconds=12.5, visits="{}", by="Ada"),
    SignOff(statement='{"a": 1}\n', signature="-----BEGIN"),
)  # fmt: skip


def _record() -> Record:
    record = EMPTY_RECORD
    for item in ITEMS:
        record = record.exchanged(None, item)
    return record


def test_items_come_back_from_plain_data_and_from_a_file(tmp_path: Path) -> None:
    record = _record()
    assert record_from_plain(record_to_plain(record)) == (record, ())
    content = CalibrationSet([Table("t", 1.0)]).with_record(record)
    write_set(tmp_path / "x.h5", content)
    assert read_set(tmp_path / "x.h5").set == content
    assert pickle.loads(pickle.dumps(content)) == content


def test_the_record_is_no_content_but_part_of_the_value() -> None:
    plain = CalibrationSet([Table("t", 1.0)])
    full = plain.with_record(_record())
    assert digest(plain) == digest(full)
    assert plain != full
    assert full.with_record(EMPTY_RECORD) == plain
    assert full.with_table(Table("t", 2.0)).record is full.record
    assert full.described(name="x").record is full.record


def test_what_a_newer_version_wrote_is_kept_as_it_is(tmp_path: Path) -> None:
    foreign = [
        ("promise", {"id": "1", "text": "new kind"}),
        ("remark", {"id": "2", "colour": "red"}),
        ("waiver", {"id": "3", "size": "large"}),
    ]
    record, unknown = record_from_plain([*record_to_plain(_record()), *foreign])
    assert record == _record()
    assert list(unknown) == foreign
    content = CalibrationSet([Table("t", 1.0)]).with_record(record)
    write_set(tmp_path / "x.h5", content, records=unknown)
    stored = read_set(tmp_path / "x.h5")
    assert (stored.set, list(stored.records)) == (content, foreign)


def test_of_two_items_with_one_id_neither_counts_whatever_their_order() -> None:
    first = Decision(table="t", by="Ines")
    listed = [("decision", item_to_plain(first)), ("decision", {**item_to_plain(first), "by": "E"})]
    for given in (listed, listed[::-1]):
        record, unknown = record_from_plain(given)
        assert record == EMPTY_RECORD
        assert list(unknown) == given
    assert record_from_plain([listed[0], listed[0]])[0].decisions == (first,)


@pytest.mark.parametrize(
    ("kind", "plain"),
    [
        ("remark", {"text": "no id"}),
        ("remark", {"id": 3}),
        ("remark", {"id": "x", "places": [1.0]}),
        ("remark", {"id": "x", "places": [[True]]}),
        ("remark", {"id": "x", "places": [[float("nan")]]}),
        ("waiver", {"id": "x", "size": float("inf")}),
        ("waiver", {"id": "x", "size": True}),
        ("decision", {"id": "x", "outcome": "maybe"}),
        ("maturity", {"id": "x", "level": "great"}),
        ("trial", {"id": "x", "changed": "abc"}),
        ("nothing", {"id": "x"}),
    ],
)
def test_damaged_items_are_refused(kind: str, plain: dict[str, object]) -> None:
    with pytest.raises(ModelError):
        item_from_plain(kind, plain)


def test_exchange_needs_what_it_exchanges() -> None:
    remark = Remark(text="a")
    record = EMPTY_RECORD.exchanged(None, remark)
    with pytest.raises(ModelError, match="already"):
        record.exchanged(None, remark)
    with pytest.raises(ModelError, match="any more"):
        EMPTY_RECORD.exchanged(remark, None)
    assert record.exchanged(remark, None) == EMPTY_RECORD
    assert not record.exchanged(remark, None)


def test_the_last_word_on_a_table_counts() -> None:
    record = EMPTY_RECORD
    for by in ("Ines", "Ada"):
        record = record.exchanged(None, Decision(table="t", by=by))
    assert record.latest_decisions["t"].by == "Ada"


def test_equal_rules_have_one_text() -> None:
    assert rule_text({"b": 1, "a": [2.0, True]}) == rule_text({"a": [2, True], "b": 1.0})
    assert rule_text({"a": 1}) != rule_text({"a": True})
    assert rule_text({"a": float("inf")}) == '{"a":"inf"}'


def test_levels_have_an_order_and_ids_differ() -> None:
    assert [level.rank for level in Level] == [0, 1, 2, 3]
    assert len({new_id() for _ in range(1000)}) == 1000
