"""Numbers as text: exact ones read back, short ones are for reading only."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.numbers import exact, short, with_unit


@given(st.floats(allow_nan=False))
def test_exact_reads_back(value: float) -> None:
    assert float(exact(value)) == value


def test_texts() -> None:
    assert exact(215.0) == "215"
    assert exact(0.123456789) == "0.123456789"
    assert short(-10.0) == "\N{MINUS SIGN}10"
    assert short(12345678.0) == "12345678"
    assert short(math.nan) == "empty"
    assert with_unit(215.5, "N.m") == "215.5 N·m"
    assert with_unit(1.5, "-") == "1.5"
