"""Nobody accepts what they edited, and nothing is driven because somebody says so."""

from __future__ import annotations

import pytest

import calib_model
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Level, Outcome
from calib_model.editing.change import apply
from calib_model.errors import EditRefused
from calib_model.evidence.gaps import called_driven, undriven
from calib_model.rules.check import check
from calib_model.session.document import Document
from calib_model.session.history import Entry, entries_of
from calib_model.signoff.authors import authors_of
from calib_model.signoff.decisions import decide, give_level
from calib_model.signoff.gate import Gate, Obstacle, gate
from tests.evidence.test_grades import BASE, EDITED, drive
from tests.signoff.making import NOW, accepted, added, allowed, signed, signed_off, small_set


def edited_by(
    name: str, content: CalibrationSet | None = None
) -> tuple[CalibrationSet, list[Entry]]:
    """A set whose table ``brake`` somebody edited, and its history."""
    document = Document(content or small_set(), author=name)
    changed = calib_model.edit(document.content, "brake", {(2,): 3.0})
    from calib_model.editing.difference import change_between

    document.do(change_between(document.content, changed, "Edit"))
    return document.content, entries_of(document)


def of(content: CalibrationSet, entries: list[Entry]) -> Gate:
    return gate(content, check(content), signers=allowed(), entries=entries, now=NOW)


@pytest.mark.parametrize("name", ["Ada Berg", "ada  berg", " ADA BERG", "Ada\u00a0Berg"])
def test_the_author_does_not_accept_her_own_edit(name: str) -> None:
    content, entries = edited_by("Ada Berg")
    mine = of(content, entries).authors
    assert mine == {"brake": ("Ada Berg",)}
    with pytest.raises(EditRefused, match="another person"):
        decide(content, ["base", "brake"], Outcome.ACCEPTED, by=name, authors=mine)
    decide(content, ["brake"], Outcome.QUERIED, by=name, comment="Why?", authors=mine)
    # Done past that, as a script could, the gate still tells.
    content = apply(content, decide(content, content.tables, Outcome.ACCEPTED, by=name))
    (item,) = of(content, entries).blocking()
    assert (item.kind, item.table) == (Obstacle.DECISION, "brake")
    assert "who edited it" in item.text
    content = apply(content, decide(content, ["brake"], Outcome.ACCEPTED, by="Ines", authors=mine))
    assert of(content, entries).is_open


def test_two_who_edited_a_table_need_a_third() -> None:
    content, entries = edited_by("Ada Berg")
    again, more = edited_by("Ines", content.replaced({"brake": small_set()["brake"]}))
    authors = authors_of(again, [*entries, *more])
    assert authors["brake"] == ("Ada Berg", "Ines")
    with pytest.raises(EditRefused):
        decide(again, ["brake"], Outcome.ACCEPTED, by="Ines", authors=authors)
    decide(again, ["brake"], Outcome.ACCEPTED, by="Olu", authors=authors)


def test_who_signed_as_author_accepts_nothing_of_that_set() -> None:
    content = signed(small_set())
    assert authors_of(content, []) == dict.fromkeys(content.tables, ("Ada Berg",))
    content = apply(content, decide(content, content.tables, Outcome.ACCEPTED, by="Ada Berg"))
    assert len(of(content, []).blocking()) == 3
    assert of(accepted(content), []).is_open


def test_only_edits_since_the_last_sign_off_count() -> None:
    released = signed_off()
    assert authors_of(released, [])["brake"] == ("Ada Berg",)
    since = of(released, []).since
    assert since is not None
    assert authors_of(released, [], since) == {}
    content, entries = edited_by("Ines", released)
    before = [Entry({"author": "Ada Berg", "edits": [{"kind": "cells", "table": "tick"}]}, True)]
    last = released.record.sign_offs[-1]
    sign = {"kind": "record", "item": "sign-off", "after": {"id": last.id}}
    history = [*before, Entry({"author": "Ines", "edits": [sign]}, True), *entries]
    assert authors_of(content, history, since) == {"brake": ("Ines",)}
    content = apply(content, decide(content, ["brake"], Outcome.ACCEPTED, by="Ines"))
    assert [i.table for i in of(content, history).blocking()] == ["brake"]


# -- driven --------------------------------------------------------------------------------------


def test_driven_needs_drives_that_used_the_present_values() -> None:
    def lacking(content: CalibrationSet) -> dict[str, str]:
        return undriven(content, BASE, ["limit", "free"])

    assert set(lacking(EDITED)) == {"limit", "free"}
    with pytest.raises(EditRefused, match="Only drives"):
        give_level(EDITED, ["limit"], Level.DRIVEN, by="Ada")
    with pytest.raises(EditRefused, match="Limit cannot be called driven: 2 of 2 edited cells"):
        give_level(EDITED, ["limit"], Level.DRIVEN, by="Ada", undriven=lacking(EDITED))
    half = added(EDITED, drive((0.0, 3.0, 2.0, 110.0)))
    old = added(EDITED, drive((0.0, 3.0, 2.0, 110.0), (50.0, 3.0, 2.0, 200.0)))
    idle = added(EDITED, drive((0.0, 3.0, 2.0, 110.0), (50.0, 3.0, 0.0, 210.0)))
    desk = added(EDITED, drive((0.0, 3.0, 2.0, 110.0), (50.0, 3.0, 2.0, 210.0), source="manoeuvre"))
    for content in (half, old, idle, desk):
        assert "limit" in lacking(content)
    whole = added(EDITED, drive((0.0, 3.0, 2.0, 110.0), (50.0, 3.0, 2.0, 210.0)))
    assert set(lacking(whole)) == {"free"}, "of an unchanged table no cell was driven either"
    content = apply(
        whole, give_level(whole, ["limit"], Level.DRIVEN, by="Ada", undriven=lacking(whole))
    )
    assert called_driven(content) == ["limit"]


def test_a_level_that_no_drive_bears_out_blocks() -> None:
    content = apply(EDITED, give_level(EDITED, ["limit"], Level.DRIVEN, by="Ada", undriven={}))
    content = apply(content, decide(content, content.tables, Outcome.ACCEPTED, by="Ines"))
    why = undriven(content, BASE, called_driven(content))
    (item,) = gate(content, check(content), undriven=why).blocking()
    assert (item.kind, item.table) == (Obstacle.MATURITY, "limit")
    assert "called driven by Ada" in item.text
    proved = added(content, drive((0.0, 3.0, 2.0, 110.0), (50.0, 3.0, 2.0, 210.0)))
    assert gate(proved, check(proved), undriven=undriven(proved, BASE, ["limit"])).is_open
