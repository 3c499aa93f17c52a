"""Files of earlier versions stay readable.  The golden files are never made anew."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from calib_model.core.canonical import canonical_text, digest
from calib_model.core.rule import Rule
from calib_model.editing.change import change_to_plain, remove_table
from calib_model.editing.rule_changes import add_rule
from calib_model.errors import BitepointError, NewerFile
from calib_model.rules.shape import Monotone
from calib_model.rules.step import Step
from calib_model.store import (
    HistoryColumns,
    hdf5,
    image_of,
    layout,
    migrate,
    read_set,
    read_set_here,
    reading,
)
from calib_model.store import digest as digests
from calib_model.store.migrate import to_current
from calib_model.store.structure import Neutral
from tests.store.making import labelled_set, small_set
from tests.store.worker import fingerprint

GOLDEN = Path(__file__).with_name("golden")


@pytest.mark.parametrize("version", [1, 2])
def test_a_file_of_every_version_is_read_as_it_was_meant(version: int) -> None:
    """Beside each file lies what it holds, as plain data written when the file was made."""
    stored = read_set(GOLDEN / f"set_v{version}.h5")
    expected = json.loads((GOLDEN / f"set_v{version}.json").read_text(encoding="utf-8"))
    assert json.loads(fingerprint(stored)) == expected


@pytest.mark.parametrize("version", [1, 2])
def test_the_hash_of_a_version_never_changes(version: int) -> None:
    stored = read_set(GOLDEN / f"set_v{version}.h5")
    assert stored.content_sha == (GOLDEN / f"set_v{version}.sha256").read_text().strip()


def test_the_digest_of_what_version_1_held_is_the_same_in_version_2() -> None:
    """Sign-offs made before labels came stay valid: the text has nothing new without labels."""
    old = read_set(GOLDEN / "set_v1.h5").set
    again = read_set_here(image_of(old)[0], "again.h5").set
    assert again == old
    assert (
        digest(again)
        == digest(old)
        == ("c009111bf95d5926cb01edbaf6327d09dd792f00c18f1013bd34e6a89e9d05aa")
    )
    assert b"labels=" not in canonical_text(again)


def test_an_older_program_reads_a_file_without_labels_and_refuses_one_with(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The reader of version 1: its version, and the columns it knew."""
    plain, labelled = image_of(small_set())[0], image_of(labelled_set())[0]
    known = tuple(c for c in layout.COLUMNS if c.name not in migrate._OF_VERSION_2)
    monkeypatch.setattr(hdf5, "FORMAT_VERSION", 1)
    monkeypatch.setattr(reading, "FORMAT_VERSION", 1)
    monkeypatch.setattr(hdf5, "COLUMNS", known)
    monkeypatch.setattr(digests, "BY_NAME", {c.name: c for c in known})
    neutral, _ = hdf5.read_image(plain)
    assert neutral.attributes["min_reader_version"] == 1
    assert not set(migrate._OF_VERSION_2) & set(neutral.columns)
    with pytest.raises(NewerFile, match=r"made by a newer program \(it needs format version 2"):
        read_set_here(labelled, "labelled.h5")


@pytest.mark.parametrize(
    "rule",
    [Monotone("vehicle_speed", off=True), Step("vehicle_speed", 2.0)],
    ids=lambda rule: rule.kind,
)
def test_rules_that_version_1_had_no_word_for_ask_for_a_newer_program(rule: Rule) -> None:
    """So that it says so, in place of a rule that it calls damaged or would hold on to."""
    content = small_set()
    table = next(t for t in content if t.axes)
    with_rule = content.with_table(replace(table, rules=(*table.rules, rule)))
    for made, version in ((content, 1), (with_rule, 2)):
        neutral = hdf5.read_image(image_of(made)[0])[0]
        assert neutral.attributes["min_reader_version"] == version
    assert read_set_here(image_of(with_rule)[0], "newer.h5").set == with_rule
    change = add_rule(content, [table.id], replace(rule, axis="1"))
    history = HistoryColumns().with_entries([change_to_plain(change)])
    neutral = hdf5.read_image(image_of(content, history)[0])[0]
    assert neutral.attributes["min_reader_version"] == 2


def test_an_edit_that_took_labels_away_still_asks_for_a_program_that_knows_them() -> None:
    content = labelled_set()
    change = remove_table(content, "wash").stamped("A. Calibrator")
    history = HistoryColumns().with_entries([change_to_plain(change)])
    neutral = hdf5.read_image(image_of(small_set(), history)[0])[0]
    assert neutral.attributes["min_reader_version"] == 2
    neutral = hdf5.read_image(image_of(small_set(), HistoryColumns())[0])[0]
    assert neutral.attributes["min_reader_version"] == 1


def test_versions_are_climbed_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(migrate, "FORMAT_VERSION", 3)
    steps = {
        1: lambda n: Neutral(n.columns, {**n.attributes, "seen": f"{n.attributes['seen']}1"}),
        2: lambda n: Neutral(n.columns, {**n.attributes, "seen": f"{n.attributes['seen']}2"}),
    }
    monkeypatch.setattr(migrate, "STEPS", steps)
    assert to_current(Neutral({}, {"format_version": 1, "seen": ""})).attributes["seen"] == "12"
    assert to_current(Neutral({}, {"format_version": 2, "seen": ""})).attributes["seen"] == "2"
    assert to_current(Neutral({}, {"format_version": 3, "seen": ""})).attributes["seen"] == ""
    assert to_current(Neutral({}, {"format_version": 7, "seen": ""})).attributes["seen"] == ""
    with pytest.raises(BitepointError, match="version 0 is not known"):
        to_current(Neutral({}, {"format_version": 0}))
