"""No part of a text is a formula to a spreadsheet, wherever it begins a cell; nothing is lost.

What a spreadsheet does is from memory: it computes a cell that begins with = + - or @ (OWASP, "CSV
injection"), and some trim spaces or even out widths first.
"""

from __future__ import annotations

import csv
import io
import sys
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.cli.replay_series import series_csv
from calib_model.core.axis import Axis
from calib_model.core.table import Table
from calib_model.exchange.csv_tables import csv_bytes
from calib_model.exchange.formulas import SIGNS, guarded, unguarded

FORMULAS = ("a;=1+1", " =1+1", "\N{FULLWIDTH EQUALS SIGN}1+1", "\x01=1", "\N{ZERO WIDTH SPACE}=1",
            "x|\t@SUM(A1)", 'a;"=1+1"', "two\n-1+1", "a,\xa0+1", "\ufeff=1")  # fmt: skip
odd = st.text(st.sampled_from("=+-@'\";,| \t\n\r\N{FULLWIDTH PLUS SIGN}\u200b1aZ\xa0"), max_size=12)


def computed(data: str, delimiter: str, *, quotes: bool) -> list[str]:
    """The cells that a spreadsheet would compute, by an implementation of its own."""
    if quotes:
        rows = list(csv.reader(io.StringIO(data, newline=""), delimiter=delimiter))
    else:
        rows = [line.split(delimiter) for line in data.replace("\r", "\n").split("\n")]
    found = []
    for cell in (c for row in rows for c in row):
        seen = "".join(
            c for c in cell if unicodedata.category(c) not in ("Cc", "Cf", "Zs") and c != '"'
        )
        if unicodedata.normalize("NFKC", seen)[:1] in ("=", "+", "-", "@") and not _number(cell):
            found.append(cell)
    return found


def _number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("text", FORMULAS)
def test_an_export_holds_no_formula_however_it_is_parted(text: str) -> None:
    axis = Axis([-1.5, 0.0], name=text, unit=text)
    table = Table("t", [-2.5, 1.0], (axis,), name=text, function=text, unit=text)
    data = csv_bytes(table, status=text).decode()
    for delimiter in ",;\t|":
        for quotes in (True, False):
            assert computed(data, delimiter, quotes=quotes) == [], (delimiter, quotes)
    rows = list(csv.DictReader(io.StringIO(data, newline="")))
    assert [unguarded(rows[0][k]) for k in ("name", "function", "unit", "status")] == [text] * 4
    assert [float(row["value"]) for row in rows] == [-2.5, 1.0]  # numbers stay numbers
    assert [float(row["axis_1_value"]) for row in rows] == [-1.5, 0.0]


@given(odd)
def test_nothing_is_lost_and_nothing_is_computed(text: str) -> None:
    assert unguarded(guarded(text)) == text
    for delimiter in ",;\t|":
        assert computed(guarded(text), delimiter, quotes=False) == []


def test_plain_texts_stay_as_they_are() -> None:
    for text in ("Pre-engage torque", "0/1", "N.m", "a, b; c", "5 - 3", "", "µ = 0.3"):
        assert guarded(text) == text


def test_every_width_of_a_sign_is_known() -> None:
    wide = {
        chr(n) for n in range(sys.maxunicode)
        if unicodedata.normalize("NFKC", chr(n))[:1] in ("=", "+", "-", "@")
    }  # fmt: skip
    assert wide <= set(SIGNS)


def test_the_names_above_a_replayed_series_are_texts(monkeypatch: pytest.MonkeyPatch) -> None:
    import numpy as np

    class _Run:
        governing = np.array([-1])

    class _Ticks:
        time, signals = np.array([0.0]), {}

    class _Replay:
        ticks, run = _Ticks(), _Run()

        def output(self, _name: str) -> np.ndarray:
            return np.array([np.nan])

    data = series_csv([("x;=1+1", _Replay())])  # type: ignore[list-item]
    assert computed(data, ";", quotes=False) == []
    assert len(data.splitlines()) == 2
