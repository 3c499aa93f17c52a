"""What stands between a set and its sign-off, as a list that empties."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import calib_model
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Level, Outcome, Remark
from calib_model.editing.change import Change, apply
from calib_model.errors import EditRefused, FileProblem
from calib_model.rules.check import check
from calib_model.rules.waivers import waiver_for
from calib_model.session.programme import Programme, parse_programme, read_programme
from calib_model.signoff.decisions import decide, give_level, signer_of
from calib_model.signoff.gate import Gate, Item, Obstacle, gate
from calib_model.signoff.keys import PrivateKey
from calib_model.signoff.signers import AllowedSigners
from tests.signoff.making import (
    INES,
    NOW,
    STRANGER,
    accepted,
    added,
    allowed,
    signed_off,
    small_set,
)

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


def found(
    content: CalibrationSet,
    *others: CalibrationSet,
    signers: AllowedSigners | None = None,
    programme: Programme | None = None,
    milestone: str = "",
) -> Gate:
    report = check(content, others)
    return gate(
        content, report, signers=signers, programme=programme, milestone=milestone,
        others=others, now=NOW,
    )  # fmt: skip


def kinds(result: Gate) -> list[tuple[str, str]]:
    return [(str(i.kind), i.table) for i in result.items]


def do(content: CalibrationSet, change: Change) -> CalibrationSet:
    return apply(content, change)


def test_without_a_sign_off_every_table_awaits_a_decision() -> None:
    result = found(small_set())
    assert kinds(result) == [("awaits a decision", t) for t in ("base", "brake", "tick")]
    assert result.words == "0 of 3 done. To do: 3 tables that await a decision."
    assert not result.is_open
    assert result.blocking("author") == (), "an author submits before anybody accepts"
    assert found(accepted(small_set())).is_open


def test_after_a_sign_off_only_what_changed_awaits_one() -> None:
    content = signed_off()
    result = found(content, signers=allowed())
    assert (result.items, result.changed) == ((), {})
    assert result.words == "No table changed since the last sign-off."
    edited = calib_model.edit(content, "brake", {(2,): 3.0}).replaced({"tick": None})
    result = found(edited, signers=allowed())
    assert result.changed == {"brake": "changed", "tick": "removed"}
    assert kinds(result) == [("awaits a decision", "brake"), ("awaits a decision", "tick")]
    assert "after Ines accepted it" in result.items[0].text
    change = decide(edited, ["brake", "tick"], Outcome.ACCEPTED, by="Ines")
    assert found(do(edited, change), signers=allowed()).is_open


def test_a_sign_off_counts_only_from_an_allowed_reviewer() -> None:
    content = signed_off()
    assert len(found(content).changed) == 3, "nobody says whose sign-off counts"
    forged = content.with_record(replace(content.record, sign_offs=content.record.sign_offs[:1]))
    assert len(found(forged, signers=allowed()).changed) == 3, "only an author signed"
    stranger = AllowedSigners(tuple(s for s in allowed().signers if s.key != INES.public))
    assert len(found(content, signers=stranger).changed) == 3


def test_a_broken_chain_is_said_and_blocks() -> None:
    content = signed_off()
    broken = content.with_record(replace(content.record, sign_offs=content.record.sign_offs[1:]))
    result = found(broken, signers=allowed())
    assert result.items[0].kind is Obstacle.CHAIN
    assert result.blocking("author")


def test_a_query_stays_until_the_table_is_accepted() -> None:
    content = accepted(small_set())
    with pytest.raises(EditRefused, match="question"):
        decide(content, ["base"], Outcome.QUERIED, by="Ines")
    content = do(content, decide(content, ["base"], Outcome.QUERIED, by="Ines", comment="Why 2?"))
    result = found(content)
    assert kinds(result) == [("query", "base")]
    assert "Ines: Why 2?" in result.items[0].text
    # Mending the table answers the query, but somebody has to say so.
    mended = calib_model.edit(content, "base", {(1,): 1.5})
    assert kinds(found(mended)) == [("query", "base")]
    assert found(do(mended, decide(mended, ["base"], Outcome.ACCEPTED, by="Ines"))).is_open


def test_an_edit_after_the_acceptance_asks_again() -> None:
    content = calib_model.edit(accepted(small_set()), "tick", 0.01)
    assert kinds(found(content)) == [("awaits a decision", "tick")]


def test_what_can_only_be_mended_is_not_offered_a_waiver() -> None:
    content = accepted(calib_model.edit(small_set(), "base", {(1,): float("nan")}))
    (item,) = [i for i in found(content).items if i.finding and i.finding.rule == "finite"]
    assert item.remedy == "Re-interpolate."


def test_findings_block_until_mended_or_waived_and_notes_do_not() -> None:
    content = accepted(calib_model.edit(small_set(), "base", {(1,): 4.0}))
    result = found(content)
    blocking = [i for i in result.blocking() if i.kind is Obstacle.FINDING]
    assert {(i.table, i.finding.rule) for i in blocking if i.finding} >= {("base", "monotone")}
    assert blocking[0].cells
    assert result.blocking("author")
    for item in blocking:
        assert item.finding is not None
        waiver = waiver_for(content, item.finding, reason="meant", author="Ada", approver="Ines")
        content = added(content, waiver)
    assert found(content).is_open


def test_a_value_off_its_raster_has_its_own_line() -> None:
    content = accepted(calib_model.edit(small_set(), "base", {(1,): 2.3}))
    (item,) = found(content).items
    assert (item.kind, item.table, item.remedy) == (Obstacle.RASTER, "base", "Round to storage.")
    assert item.cells == ((1,),)


def test_a_relation_that_was_not_checked_blocks() -> None:
    table = replace(small_set()["base"], relations={"low_grip": ">="})
    base = small_set().with_table(table)
    mode = accepted(base.described(mode="low_grip"))
    assert kinds(found(mode)) == [("not checked", "base")]
    assert found(mode, base).is_open


def test_open_remarks_are_shown_but_do_not_block() -> None:
    remark = Remark(text="Why?", author="Ines", table="base", places=((10.0,), (99.0,)))
    content = added(accepted(small_set()), remark)
    (item,) = found(content).items
    assert (item.kind, item.blocks, item.cells) == (Obstacle.REMARK, False, ((1,),))
    settled = replace(remark, settled_by="Ines")
    assert not found(added(accepted(small_set()), settled)).items


# -- the programme ---------------------------------------------------------------------------

TEXT = """
programme = "Larch"
base = "normal"
[sets]
normal = "a.h5"
low_grip = "b.h5"
[common]
tables = ["tick"]
[owners]
"Brak*" = ["Ines"]
[milestones.trip]
level = "desk-checked"
groups = { "Vehicle" = "estimated" }
tables = { brake = "driven" }
"""


def _programme(text: str = TEXT) -> Programme:
    return parse_programme(text, Path("larch.toml").absolute())


def _mode() -> CalibrationSet:
    return small_set().described(mode="low_grip")


def _decided(content: CalibrationSet, key: PrivateKey | None) -> CalibrationSet:
    return do(content, decide(content, ["brake"], Outcome.ACCEPTED, by="Ines", key=key))


def test_an_owned_group_needs_its_owners_key() -> None:
    programme = replace(_programme(), sets={})
    content = accepted(small_set())
    for key, words in ((None, "without a key"), (STRANGER, "a key that may not")):
        result = found(_decided(content, key), signers=allowed(), programme=programme)
        (item,) = result.items
        assert (item.kind, item.table) == (Obstacle.RIGHTS, "brake")
        assert words in item.text
        assert "Ines" in item.remedy
    owned = _decided(content, INES)
    assert found(owned, signers=allowed(), programme=programme).is_open
    assert not found(owned, programme=programme).is_open, "no list says whose key it is"
    # The decision of one mode's set does not count in another's, though the table is the same.
    decision = owned.record.latest_decisions["brake"]
    assert signer_of(owned, decision) == INES.public
    assert signer_of(owned.described(mode="towing"), decision) is None
    assert signer_of(owned, replace(decision, by="Ada")) is None


def test_a_milestone_asks_for_levels() -> None:
    programme = replace(_programme(), sets={}, owners={})
    content = accepted(small_set())
    result = found(content, programme=programme, milestone="trip")
    assert kinds(result) == [("maturity", "base"), ("maturity", "brake")]
    content = do(content, give_level(content, ["base"], Level.BENCH_MEASURED, by="Ada"))
    content = do(content, give_level(content, ["brake"], Level.DRIVEN, by="Ada", undriven={}))
    assert found(content, programme=programme, milestone="trip").is_open
    edited = accepted(calib_model.edit(content, "brake", {(2,): 3.0}))
    (item,) = found(edited, programme=programme, milestone="trip").items
    assert "edited since" in item.text
    with pytest.raises(FileProblem, match="no milestone"):
        found(content, programme=programme, milestone="picnic")


def test_the_base_set_is_checked_against_every_mode() -> None:
    programme = replace(_programme(), owners={})
    content = accepted(small_set())
    (item,) = found(content, programme=programme).items
    assert (item.kind, "b.h5" in item.remedy) == (Obstacle.NOT_CHECKED, True)
    assert found(content, _mode(), programme=programme).is_open


def test_common_tables_are_the_same_in_every_mode() -> None:
    programme = replace(_programme(), owners={})
    other = calib_model.edit(_mode(), "tick", 0.01)
    (item,) = found(accepted(small_set()), other, programme=programme).items
    assert (item.kind, item.table) == (Obstacle.COMMON, "tick")


def test_the_sample_programme_is_read() -> None:
    programme = read_programme(SAMPLES / "larch.toml")
    assert programme.name == "Larch"
    assert programme.signers == SAMPLES / "allowed_signers"
    assert all(path.exists() for path in programme.sets.values())
    assert programme.is_common("plate_friction")
    assert not programme.is_common("pre_engage_torque")
    normal = calib_model.open_set(programme.sets[programme.base])
    release = programme.milestone("release")
    assert release.asks(normal["pre_engage_torque"]) is Level.DRIVEN
    assert release.asks(normal["plate_cooling"]) is Level.BENCH_MEASURED


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x = [", "TOML"),
        (f"x = {'9' * 5000}", "TOML"),
        ("colour = 1", "no such setting"),
        ('[sets]\na = "x"', "none of the sets"),
        ("sets = 3", "no section"),
        ("signers = 3", "no text"),
        ('signers = ""', "no file name"),
        ("[owners]\na = 3", "no list"),
        ("[common]\nb = []", r"common\.b: There is no such setting\. Use one of: tables"),
        ("[milestones.m]\nlevel = 'great'", "no level"),
        ("[milestones.m]\nx = 1", r"milestones\.m\.x: There is no such setting"),
        ("[milestones]\nm = 1", r"milestones\.m: This is no section"),
    ],
)
def test_a_wrong_programme_is_refused_with_its_place(text: str, words: str) -> None:
    with pytest.raises(FileProblem, match=words):
        _programme(text)


def test_names_that_look_alike_are_listed_but_do_not_block() -> None:
    spoofed = apply(
        signed_off(), decide(small_set(), ["brake"], Outcome.ACCEPTED, by="\u0406nes", now=NOW)
    )
    (item,) = [i for i in found(spoofed).items if i.kind is Obstacle.NAMES]
    assert "U+0406" in item.text
    assert not item.blocks
    assert not [i for i in found(signed_off()).items if i.kind is Obstacle.NAMES]


@pytest.mark.parametrize("kind", list(Obstacle))
def test_an_author_clears_what_is_in_the_set_and_a_reviewer_all_of_it(kind: Obstacle) -> None:
    """Who clears what is common practice, no source."""
    one = Gate((Item(kind, "", "It stands in the way.", "Clear it."),))
    assert one.blocking("reviewer") == one.items
    mine = {"CHAIN", "FINDING", "RASTER", "NOT_CHECKED", "COMMON"}
    assert bool(one.blocking("author")) == (kind.name in mine)
