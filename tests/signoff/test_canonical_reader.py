"""Canonical text reads back to the same set; anything else is refused with its line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import canonical_text, digest
from calib_model.core.rule import Range
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.errors import BitepointError, DamagedFile, FileProblem, NewerFile
from calib_model.exchange.canonical_reader import (
    parse_canonical,
    read_canonical,
    without_comments,
)
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Monotone
from calib_model.store import read_set
from tests.signoff.making import small_set
from tests.store.making import sets

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"

odd = CalibrationSet(
    [
        Table(
            "odd[0].x",
            np.arange(6.0).reshape(2, 3) * 0.1,
            (
                Axis([1.0, -1.0], "Tab\there", interpolation=Interpolation.STEP),
                Axis([0.0, 1e-300, 1e300], above=End.EXTRAPOLATED, storage=Storage.of("int16", 1)),
            ),
            name="Line\nbreak, back\\slash, \\t, \\u0041, \u2028, \x85, =",
            description='{"json": "\\"}',
            lower=-1e308,
            storage=Storage("int32", 3, 7, -5),
            relations={"low grip\t": ">=", "b": "free"},
            rules=(
                Bounds(lower=-np.inf, upper=1e-9, reason="x\ty \\ z", scope=(Range("1", 0.0),)),
                Monotone(axis="2", scope=(Range("1", high=5.0),)),
            ),
        ),
        Table("empty", np.nan),
    ],
    programme="Größe",
)


@pytest.mark.parametrize("name", ["normal", "low_grip", "towing", "practice", "normal_signed"])
def test_the_sample_sets_come_back(name: str) -> None:
    content = read_set(SAMPLES / f"larch_{name}.h5").set
    _same_content(parse_canonical(canonical_text(content)), content)


@pytest.mark.parametrize("content", [odd, small_set(), CalibrationSet()])
def test_odd_sets_come_back(content: CalibrationSet) -> None:
    _same_content(parse_canonical(canonical_text(content)), content)


@given(sets())
def test_any_set_comes_back(content: CalibrationSet) -> None:
    again = parse_canonical(canonical_text(content))
    # Texts come back in normal form C, so the text is what has to be the same.
    assert canonical_text(again) == canonical_text(content)
    for table in content:
        np.testing.assert_array_equal(again[table.id].values, table.values)


def _same_content(a: CalibrationSet, b: CalibrationSet) -> None:
    assert dict(a.tables) == dict(b.tables)
    assert dict(a.shared_axes) == dict(b.shared_axes)
    assert (a.programme, a.mode, a.base_mode) == (b.programme, b.mode, b.base_mode)
    assert digest(a) == digest(b)


def test_comments_before_the_header_are_passed_over(tmp_path: Path) -> None:
    text = canonical_text(small_set())
    marked = b"# UNSIGNED\n# set x\n" + text
    _same_content(parse_canonical(marked), small_set())
    assert without_comments(marked) == text
    path = tmp_path / "x.txt"
    path.write_bytes(marked.replace(b"tick", b"ti\tck"))
    with pytest.raises(DamagedFile, match="line 8"):  # two comments, header, set, axis, two tables
        read_canonical(path)


def _altered(old: bytes, new: bytes) -> bytes:
    text = canonical_text(small_set())
    assert old in text
    return text.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "no canonical text"),
        (b"hello\n", "no canonical text"),
        (_altered(b"content 1", b"content 3"), "newer"),
        (canonical_text(small_set())[:-1], "cut off"),
        (canonical_text(small_set()).replace(b"\n", b"\r\n"), "no canonical text"),
        (_altered(b"speed", b"sp\xff"), "UTF-8"),
        (_altered(b"0x1.8", b"1.5"), "number"),
        (_altered(b"0x1.0000000000000p+1", b"0x1.0000000000000p+9999"), "too large"),
        (_altered(b"0x1.0000000000000p+1", b"0x0.8000000000000p+2"), "canonical form"),
        (_altered(b"0x0.0p+0", b"-0x0.0p+0"), "canonical form"),
        (_altered(b"linear", b"cubic"), "not known"),
        (_altered(b"uint16 1/2 0", b"uint16 1/0 0"), "positive"),
        (_altered(b"uint16 1/2 0", b"uint16 a/2 0"), "storage"),
        (_altered(b"\trole=", b"\troll="), "field role"),
        (_altered(b"\tname=Base", b""), "fields"),
        (_altered(b"\tname=Base", b"\tname=Ba\\xse"), "backslash"),
        (_altered(b"\tname=Base", b"\tname=Ba\\ud800"), "half of a character"),
        (_altered(b"\tname=Base", "\tname=Ba\u0308se".encode()), "canonical form"),
        (_altered(b'"kind":"monotone"', b'"kind":"wish"'), "not known"),
        (_altered(b'"kind":"monotone"', b'"kind":"monotone","axis":{}'), r"JSON|cannot be|canon"),
        (_altered(b'[{"axis"', b'[{"axis":NaN,"axis"'), "JSON"),
        (_altered(b"\trules=[]", b"\trules=" + b"[" * 90_000), "JSON"),
        (_altered(b"\trules=[]", b"\trules=[1]"), "no list"),
        (_altered(b"\trelations=", b"\trelations=[[1,2]]"), "pairs"),
        (_altered(b"id=base", b"id=b se"), "cannot be an id"),
        (_altered(b"\taxis1.shared=speed\taxis1.breakpoints=0x0.0p+0",
                  b"\taxis1.shared=speed\taxis1.breakpoints=0x1.0000000000000p+0"), "shared axis"),
        (_altered(b"set\t", b"sets\t"), "expected"),
        (b"bitepoint-content 1\n", "ends after"),
    ],
)  # fmt: skip
def test_what_is_not_canonical_is_refused(text: bytes, words: str) -> None:
    with pytest.raises(FileProblem, match=words):
        parse_canonical(text)


def test_a_newer_version_and_a_missing_file_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(NewerFile, match="Update"):
        parse_canonical(_altered(b"content 1", b"content 99"))
    with pytest.raises(FileProblem, match="Cannot be read"):
        read_canonical(tmp_path / "none")


def test_tables_out_of_order_or_named_twice_are_refused() -> None:
    lines = canonical_text(small_set()).split(b"\n")
    tables = [line for line in lines if line.startswith(b"table")]
    rest = [line for line in lines[:-1] if not line.startswith(b"table")]
    with pytest.raises(DamagedFile, match="canonical form"):
        parse_canonical(b"\n".join([*rest, *reversed(tables), b""]))
    with pytest.raises(DamagedFile, match="two of table"):
        parse_canonical(b"\n".join([*rest, tables[0], tables[0], b""]))


_TEXT = canonical_text(odd)


@given(st.integers(0, len(_TEXT) - 1), st.integers(0, 255), st.integers(0, 40))
def test_a_changed_text_is_refused_or_means_something_else(place: int, byte: int, cut: int) -> None:
    changed = _TEXT[:place] + bytes([byte]) + _TEXT[place + cut :]
    try:
        content = parse_canonical(changed)
    except BitepointError:
        return
    # Whatever is read is exactly what is written: no two texts are one set.
    assert canonical_text(content) == without_comments(changed)


@given(st.binary(max_size=300))
def test_no_bytes_do_harm(data: bytes) -> None:
    for text in (data, b"bitepoint-content 1\n" + data, b"# x\n" + data):
        with pytest.raises(FileProblem):
            parse_canonical(text)


@pytest.mark.slow
def test_ten_thousand_changed_texts() -> None:
    random = np.random.default_rng(4)
    for _ in range(10_000):
        changed = bytearray(_TEXT)
        for place in random.integers(0, len(changed), random.integers(1, 5)):
            changed[place] = random.integers(256)
        try:
            content = parse_canonical(bytes(changed))
        except BitepointError:
            continue
        assert canonical_text(content) == without_comments(bytes(changed))
