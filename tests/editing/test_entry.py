"""What a user types for a value."""

from __future__ import annotations

import contextlib
import math
import operator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.labels import Labels
from calib_model.core.table import Table
from calib_model.editing.entry import parse_entry
from calib_model.errors import EditRefused

WIPER = Labels.of("off, interval, slow, fast")
HELD = np.array([100.0, -50.0, np.nan])


@pytest.mark.parametrize(
    ("typed", "new"),
    [
        ("60", [60, 60, 60]),
        ("-5", [-5, -5, -5]),
        ("\u22125", [-5, -5, -5]),
        ("12,5", [12.5, 12.5, 12.5]),
        ("nan", [math.nan] * 3),
        ("+5", [105, -45, math.nan]),
        ("+-5", [95, -55, math.nan]),
        ("+2*3", [106, -44, math.nan]),
        ("*1.1", [110, -55, math.nan]),
        ("\u00d71,5", [150, -75, math.nan]),
        ("/4", [25, -12.5, math.nan]),
        ("+3%", [103, -51.5, math.nan]),
        ("-3 %", [97, -48.5, math.nan]),
        ("= 2*30", [60, 60, 60]),
        ("=2+3*4-6/2", [11, 11, 11]),
        ("=-(2+3)*-2", [10, 10, 10]),
        ("=20%*50", [10, 10, 10]),
        ("=1e3/8", [125, 125, 125]),
        ("=x-5", [95, -55, math.nan]),
        ("=(X+20)/2", [60, -15, math.nan]),
        ("=x*x/x", [100, -50, math.nan]),
    ],
)
def test_every_way_to_type_a_value(typed: str, new: list[float]) -> None:
    np.testing.assert_allclose(parse_entry(typed).of(HELD), new, rtol=1e-15)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("abc", "not a number"),
        ("=abc", "has no place in a sum"),
        ("=__import__('os')", "has no place in a sum"),
        ("=2**3", "a number is missing before"),
        ("=2*", "missing at its end"),
        ("=", "missing at its end"),
        ("+", "missing at its end"),
        ("=(2", "bracket is not closed"),
        ("=2)", "not expected"),
        ("=2 3", "not expected"),
        ("=xx", "has no place in a sum"),
        ("=1/0", "divides by zero"),
        ("/0", "divides by zero"),
        ("*x", "needs a number after its sign"),
        ("=1,234*2", "decimal comma or a thousands separator"),
        ("1,234", "decimal comma or a thousands separator"),
        ("=1e400", "too large"),
        ("=1e308*10", "too large"),
        ("=" + "-" * 100 + "1", "too many brackets"),
        ("=" + "(" * 100 + "1" + ")" * 100, "too long"),
        ("=1..2", "not a number"),
    ],
)
def test_what_is_not_understood_is_refused_with_a_reason(typed: str, words: str) -> None:
    with pytest.raises(EditRefused, match=words) as refused:
        parse_entry(typed).of(HELD)
    assert refused.value.remedy


def test_labels_are_typed_by_name_in_any_case_of_letters() -> None:
    assert parse_entry("Slow", WIPER).amount == 2
    assert parse_entry("2", WIPER).amount == 2
    with pytest.raises(EditRefused, match=r"no label here.*0 off, 1 interval, 2 slow, 3 fast"):
        parse_entry("sluggish", WIPER)


_OPERATIONS = {"+": operator.add, "-": operator.sub, "*": operator.mul}
_sums = st.recursive(
    st.integers(0, 99).map(lambda n: (str(n), n)),
    lambda part: st.tuples(part, st.sampled_from("+-*"), part).map(
        lambda p: (f"({p[0][0]}{p[1]}{p[2][0]})", _OPERATIONS[p[1]](p[0][1], p[2][1]))
    ),
    max_leaves=8,
)


@given(_sums)
def test_sums_are_what_whole_numbers_say(case: tuple[str, int]) -> None:
    """Outside check: Python's own integers, in the same brackets."""
    text, expected = case
    if len(text) < 150:
        assert parse_entry(f"={text}").amount == expected


@given(st.text(max_size=40))
def test_any_text_is_understood_or_refused(typed: str) -> None:
    for text in (typed, f"={typed}", f"+{typed}"):
        with contextlib.suppress(EditRefused):
            assert parse_entry(text, WIPER).text == text.strip()


def test_an_entry_says_what_it_does_and_spares_the_other_cells() -> None:
    table = Table("torque", [10.0, 20.0, np.nan], (Axis([0, 1, 2]),), unit="N.m")
    chosen = np.array([True, False, False])
    entry = parse_entry("+5%")
    np.testing.assert_array_equal(entry.values(table, chosen), [10.5, 20, np.nan])
    assert entry.title("2 cells", table) == "Raise 2 cells by 5 % of what is there"
    assert parse_entry("+-5").title("it", table) == "Lower it by 5 N·m"
    assert parse_entry("*1.1").title("it", table) == "Scale it by 1.1"
    assert parse_entry("=x-1").title("it", table) == "Set it to x-1"
    with pytest.raises(EditRefused, match="empty: there is nothing to reckon"):
        entry.values(table, np.array([False, False, True]))
    with pytest.raises(EditRefused, match="too large"):
        parse_entry("*1e308").values(table, chosen)
