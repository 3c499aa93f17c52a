"""What does not show, or steers what shows, is spelt out; everything else stays as it is."""

from __future__ import annotations

import sys
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.foreign_text import plain_line, plain_lines

JOINERS = "\u200c\u200d"
HIDING = ("Cc", "Cf", "Cs", "Zl", "Zp")


def test_every_character_that_hides_is_spelt_and_no_other() -> None:
    # Outside check: the categories of the Unicode Character Database, as Python has it.
    for code in range(sys.maxunicode + 1):
        sign = chr(code)
        hides = unicodedata.category(sign) in HIDING and sign not in JOINERS
        if unicodedata.category(sign) == "Cn":
            continue  # this Python's tables are older than the character
        assert (plain_line(sign) != sign) is hides, hex(code)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("Signed\nby", "Signed\\nby"),
        ("\x1b[2K\rgone", "\\x1b[2K\\rgone"),
        ("\u202etxt.exe", "\\u202etxt.exe"),
        ("a\u2028b\u2066c", "a\\u2028b\\u2066c"),
        ("\x9b31m", "\\x9b31m"),
        ("\ud800", "\\ud800"),
        ("\U000e0041", "\\U000e0041"),
        ("N·m → 5 °C, Ω, ش, क्‍ष, é", "N·m → 5 °C, Ω, ش, क्‍ष, é"),
    ],
)
def test_how_it_is_spelt(text: str, line: str) -> None:
    assert plain_line(text) == line


@given(st.text(st.characters(codec=None)))
def test_a_line_is_a_line_and_spelling_it_again_changes_nothing(text: str) -> None:
    line = plain_line(text)
    assert len(line.splitlines()) <= 1
    assert plain_line(line) == line
    line.encode()
    lines = plain_lines(text)
    assert lines.count("\n") == text.count("\n")
    assert [plain_line(part) for part in text.split("\n")] == lines.split("\n")
