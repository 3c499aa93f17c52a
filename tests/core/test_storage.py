"""Storage types: the raster, its neighbours, and exact decimal steps."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.storage import Storage
from calib_model.errors import ModelError


def test_raw_over_ten_equals_a_typed_decimal() -> None:
    # 3 * 0.1 is 0.30000000000000004 in binary floating point; 3 / 10 is the double nearest 0.3.
    storage = Storage.of("uint8", "0.1")
    assert storage.physical(3) == 0.3
    assert storage.representable(0.3)
    assert all(storage.physical(n) == float(Fraction(n, 10)) for n in range(256))


@given(
    st.integers(1, 50),
    st.integers(1, 1000),
    st.integers(-500, 500),
    st.integers(0, 65535),
)
def test_conversion_is_one_correctly_rounded_division(
    numerator: int, denominator: int, offset: int, raw: int
) -> None:
    # Outside: Python's fractions give the exact value, float() rounds it once.
    storage = Storage("uint16", numerator, denominator, offset)
    exact = Fraction(raw * numerator + offset, denominator)
    assert storage.physical(raw) == float(exact)
    assert storage.raw(storage.physical(raw)) == raw


def test_nearest_keeps_nan_and_stays_in_range() -> None:
    storage = Storage.of("int8", "0.5")
    got = storage.nearest([np.nan, 0.2, 0.3, 1e9, -1e9])
    assert np.isnan(got[0])
    assert got[1:].tolist() == [0.0, 0.5, 63.5, -64.0]


@pytest.mark.parametrize(
    ("value", "below", "above"), [(215.0, 214.5, 215.5), (215.2, 215.0, 215.5), (0.0, 0.0, 0.5)]
)
def test_neighbours(value: float, below: float, above: float) -> None:
    assert Storage.of("uint16", "0.5").neighbours(value) == (below, above)


def test_float_neighbours_are_the_next_floats() -> None:
    below, above = Storage("float32").neighbours(1.0)
    assert (below, above) == (
        float(np.nextafter(np.float32(1), np.float32(0))),
        float(np.nextafter(np.float32(1), np.float32(2))),
    )


def test_offset_is_physical() -> None:
    storage = Storage.of("uint8", "0.5", -40)
    assert storage.range == (-40.0, 87.5)
    assert str(storage) == "uint8, step 0.5 from -40"


def test_step_text_is_exact() -> None:
    assert str(Storage.of("uint8", "1/250")) == "uint8, step 0.004"
    assert str(Storage.of("uint8", "1/3")) == "uint8, step 1/3"


def test_unusable_storage_is_refused() -> None:
    for bad in (
        lambda: Storage("uint7"),
        lambda: Storage("uint8", 0, 1),
        lambda: Storage("float32", 1, 2),
    ):
        with pytest.raises(ModelError):
            bad()


@pytest.mark.parametrize("kind", ["float32", "float64"])
@given(value=st.floats(allow_nan=False))
def test_neighbours_in_float_storage_are_the_next_floats(kind: str, value: float) -> None:
    storage = Storage(kind)
    low, high = storage.range
    below, above = storage.neighbours(value)
    assert low <= below <= above <= high
    assert storage.representable([below, above]).all()
    if low < value < high:
        assert below < value < above
        # Nothing storable lies between: from one to the other it is a step, or two across `value`.
        steps = 2 if storage.representable(value) else 1
        at = np.dtype(kind).type(below)
        for _ in range(steps):
            at = np.nextafter(at, np.dtype(kind).type(high))
        assert float(at) == above


def test_nearest_stays_inside_the_range_of_float32() -> None:
    top = float(np.finfo(np.float32).max)
    assert Storage("float32").nearest([1e39, -1e39, 0.5]).tolist() == [top, -top, 0.5]
    assert np.isnan(Storage("float32").nearest(np.nan))


def test_a_resolution_that_is_no_number_is_refused() -> None:
    for wrong in ("abc", "1/0", "nan"):
        with pytest.raises(ModelError, match="is no conversion"):
            Storage.of("uint8", wrong)
    assert Storage.of("uint8", f"1/{10**20}").denominator == 10**20
