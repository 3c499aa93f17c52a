"""Cells of delimited text against Python's csv and the examples of RFC 4180 (from memory)."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.text_cells import cells_of, encoding_of, number_in, rows_of

WORDS = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=6)


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b bb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
)
def test_the_examples_of_rfc_4180(text: str, rows: list[list[str]]) -> None:
    assert [cells for _, cells in rows_of(text, ",", 200)] == rows


def test_a_row_says_the_line_it_begins_on() -> None:
    text = '"Torque\n[N.m]";"Speed\n[km/h]"\n1;2\n3;4\n'
    assert list(rows_of(text, ";", 200)) == [
        (0, ["Torque [N.m]", "Speed [km/h]"]), (3, ["1", "2"]), (4, ["3", "4"]),
    ]  # fmt: skip


def test_a_stray_quote_swallows_nothing() -> None:
    text = 'size\n3"\n"4\n5\n'
    assert [cells for _, cells in rows_of(text, ";", 200)] == [["size"], ['3"'], ["4"], ["5"]]


@given(st.lists(st.lists(WORDS.map(lambda t: " ".join(t.split())), min_size=2, max_size=4)))
def test_what_pythons_csv_writes_is_read_back(rows: list[list[str]]) -> None:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    assert [cells for _, cells in rows_of(out.getvalue(), ",", 10_000)] == rows


@given(WORDS, st.sampled_from([";", ",", "\t", "|", " "]))
def test_no_line_is_an_error(line: str, separator: str) -> None:
    assert all(cell == cell.strip() for cell in cells_of(line, separator))


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1.5", ".", 1.5),
        ("1,5", ",", 1.5),
        ("1,5", ".", None),
        ("1.5", ",", None),
        ("1_000", ".", None),
        ("\u22122", ".", -2.0),
        ("1e3", ".", 1000.0),
        ("", ".", None),
        ("abc", ",", None),
    ],
)
def test_a_number_is_never_guessed(cell: str, decimal: str, value: float | None) -> None:
    assert number_in(cell, decimal) == value


@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_the_encoding_is_told_from_the_bytes(codec: str) -> None:
    data = "Länge in µm; Größe\n".encode(codec)
    assert data.decode(encoding_of(data)) == "Länge in µm; Größe\n"


def test_a_sign_cut_at_the_end_is_no_other_encoding() -> None:
    data = "ö".encode() * 10
    assert encoding_of(data[:-1], whole=False) == "utf-8"
    assert encoding_of(data[:-1], whole=True) == "cp1252"
