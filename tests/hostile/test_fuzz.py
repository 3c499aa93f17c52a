"""Hostile files of every kind: hundreds in the suite, ten thousand of each under ``--slow``.

`BITEPOINT_FUZZ_CASES` sets another number for the slow ones; `fuzz.py` says how to run one kind.
"""

from __future__ import annotations

import os
import random
import sys
from pathlib import Path

import pytest

from tests.hostile import fuzz, table_kinds, text_kinds
from tests.hostile.mutate import damaged, mutated
from tests.hostile.recording_kinds import WRITERS, use_recording
from tests.hostile.set_kinds import _rich, use_stored
from tests.hostile.text_kinds import TEXTS
from tests.reading_here import read_here

KINDS = fuzz.kinds()
SUITE = 60
PATIENT = ("journal", "note of a journal", "measurement CSV")
"""Kinds of which what cannot be read is told and left out, not refused."""
SLOW = int(os.environ.get("BITEPOINT_FUZZ_CASES", "10000"))

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="peaks from /proc")


def check(kind: str, count: int, first: int = 0) -> fuzz.Tally:
    tally = fuzz.run(kind, count, first)
    assert tally.outcomes.total() == count
    assert not tally.failures, f"{tally.words}\n" + "\n".join(
        f"case {seed}: {words}" for seed, words in tally.failures[:3]
    )
    return tally


@pytest.mark.timeout(300)
@pytest.mark.parametrize("kind", KINDS)
def test_no_hostile_file_hangs_bloats_or_surprises(kind: str) -> None:
    tally = check(kind, SUITE)
    assert tally.outcomes["refused"] > 2 or kind in PATIENT, tally.words


@pytest.mark.slow
@pytest.mark.timeout(4 * 3600)
@pytest.mark.parametrize("kind", KINDS)
def test_very_many_hostile_files(kind: str) -> None:
    check(kind, SLOW)


@pytest.mark.parametrize("name", TEXTS)
def test_the_texts_that_are_changed_are_sound_ones(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Or every case would be refused for the same reason, and nothing would be tried."""
    monkeypatch.setenv("BITEPOINT_STATE_DIR", str(tmp_path / "state"))
    for text in text_kinds._texts_of(name):
        place = tmp_path / f"sound{TEXTS[name].suffix}"
        place.write_text(text, "utf-8")
        TEXTS[name].use(place)


def test_the_set_and_the_recordings_that_are_changed_are_sound_ones(tmp_path: Path) -> None:
    from calib_model.store import read_set_here
    from tests.hostile.large_files import image_of

    columns, attributes = _rich()
    use_stored(read_set_here(image_of(columns, attributes), "rich.h5"))
    for kind, write in WRITERS.items():
        use_recording(write(tmp_path / kind.replace(" ", "")))


def test_the_files_of_tables_that_are_changed_are_sound_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_here(monkeypatch)
    for kind in table_kinds.KINDS:
        for data in table_kinds.whole(kind):
            place = tmp_path / f"sound{table_kinds.SUFFIX[kind]}"
            place.write_bytes(data)
            table_kinds.use_tables(place)


def test_the_harness_tells_what_may_not_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """A check that cannot fail would prove nothing."""

    def surprise(_seed: int, _folder: Path) -> None:
        raise KeyError("x")

    assert fuzz._judged(surprise, 0, Path())[0] == "KeyError"
    tally = fuzz.Tally()
    fuzz._note(tally, 7, "differs", "words", 0.1, 5)
    assert tally.failures == [(7, "differs: words")]


def test_a_case_is_made_from_its_number_alone() -> None:
    text = "a = 1\nb = [2, 3]\n" * 20
    for seed in range(50):
        assert mutated(text, random.Random(seed)) == mutated(text, random.Random(seed))
        data = text.encode()
        assert damaged(data, random.Random(seed)) == damaged(data, random.Random(seed))
