"""Complaints: raised, answered, proved, dropped; common practice of the trade, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calib_model.core.record import Complaint, Standing
from calib_model.editing.change import Change, TableEdit, values_change
from calib_model.errors import EditRefused
from calib_model.session import complaints as steps
from calib_model.session.document import Document
from calib_model.session.history import entries_of
from tests.signoff.making import small_set


@pytest.fixture
def document() -> Document:
    made = Document(small_set(), author="Ada")
    made.do(steps.raised(made.content, "spins", by="Ada", recording="a.csv", sha256="aa", moment=9))
    return made


def _only(document: Document) -> Complaint:
    (found,) = document.content.record.complaints
    return found


def test_a_complaint_goes_from_open_to_proved_and_back_step_by_step(document: Document) -> None:
    assert _only(document).standing is Standing.OPEN
    document.do(steps.answered(document.content, _only(document), "raised a cell", ["brake"]))
    document.do(steps.proved(_only(document), "gone", recording="b.csv", sha256="bb", moment=4.0))
    done = _only(document)
    assert (done.standing, done.tables, done.proof_recording) == (
        Standing.PROVED,
        ("brake",),
        "b.csv",
    )
    assert steps.words(done) == "answered: raised a cell; proved by b.csv: gone"
    document.undo()
    assert _only(document).standing is Standing.ANSWERED
    document.undo()
    document.undo()
    assert document.content.record.complaints == ()


def test_a_new_answer_needs_a_new_proof(document: Document) -> None:
    document.do(steps.answered(document.content, _only(document), "first"))
    document.do(steps.proved(_only(document), "gone", recording="b.csv"))
    document.do(steps.answered(document.content, _only(document), "second"))
    assert _only(document).standing is Standing.ANSWERED
    assert _only(document).proof_recording == ""


def test_numbers_go_on_in_the_teams_own_style(document: Document) -> None:
    assert _only(document).number == "C-1"
    assert steps.next_number(document.content) == "C-2"
    document.do(steps.raised(document.content, "hums", by="Ada", number="W26-009"))
    assert steps.next_number(document.content) == "C-2", "W26-009 has more than one number in it"
    document.do(steps.raised(document.content, "hums", by="Ada", number="Snow 009"))
    assert steps.next_number(document.content) == "Snow 010"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: steps.raised(d.content, " ", by="Ada"), "empty"),
        (lambda d: steps.raised(d.content, "x", by=""), "name"),
        (lambda d: steps.raised(d.content, "x", by="Ada", number="c-1"), "already"),
        (lambda d: steps.raised(d.content, "x", by="Ada", tables=["no"]), "no table 'no'"),
        (lambda d: steps.raised(d.content, "x", by="Ada", moment=float("nan")), "not a number"),
        (lambda d: steps.answered(d.content, _only(d), ""), "empty"),
        (lambda d: steps.proved(_only(d), "", recording="b.csv"), "answers complaint"),
        (lambda d: steps.dropped(_only(d), " "), "reason"),
        (lambda d: steps.by_number(d.content, "C-9"), "C-1"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(document: Document, change, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(EditRefused, match=words):
        change(document)


def test_the_run_complained_about_proves_nothing(document: Document) -> None:
    document.do(steps.answered(document.content, _only(document), "raised"))
    with pytest.raises(EditRefused, match="came from"):
        steps.proved(_only(document), "", recording="other name.csv", sha256="aa")
    with pytest.raises(EditRefused, match="came from"):
        steps.proved(_only(document), "", recording="a.csv")


def test_a_dropped_complaint_is_taken_up_before_it_is_answered(document: Document) -> None:
    document.do(steps.dropped(_only(document), "tyres were worn"))
    assert steps.words(_only(document)) == "set aside: tyres were worn"
    with pytest.raises(EditRefused, match="set aside"):
        steps.answered(document.content, _only(document), "x")
    document.do(steps.taken_up(_only(document)))
    assert _only(document).standing is Standing.OPEN


def test_changes_of_tables_since_then_are_offered_as_answers(document: Document) -> None:
    document.do(values_change(document.content["brake"], [0.0, 1.0, 7.0], "Raise the end"))
    before = document.content["base"]
    after = replace(before, description="told better")
    document.do(Change("Tell better", (TableEdit(before, after),)))
    offered = steps.possible_answers(entries_of(document), _only(document))
    assert [entry.title for entry in offered] == ["Tell better", "Raise the end"]
    assert [steps.tables_of(entry) for entry in offered] == [("base",), ("brake",)]


def test_moments_are_said_in_minutes_and_seconds() -> None:
    assert steps.moment_words("r.csv", 59.96) == "r.csv at 1 min 0.0 s"
    assert steps.moment_words("r.csv", 3.25) == "r.csv at 3.2 s"
    assert steps.moment_words("", 3.0) == "no recording"
