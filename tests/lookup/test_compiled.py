"""The compiled lookup agrees with the numpy one in the last bit, and is not needed."""

from __future__ import annotations

import subprocess
import sys
from itertools import product
from math import inf, nextafter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.table import Table
from calib_model.errors import LookupProblem
from calib_model.lookup import compiled, lookup, reference

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.skipif(not compiled.available(), reason="numba is not installed")

_numbers = st.floats(-1e6, 1e6) | st.floats(allow_infinity=False)
_few = st.floats(-5, 5).map(lambda x: round(x * 4) / 4)  # meets nodes and equal values often


@st.composite
def _tables(draw: st.DrawFn) -> Table:
    axes = []
    for _ in range(draw(st.integers(1, 4))):
        spread = draw(st.sampled_from([_numbers, _few]))
        finite = st.lists(spread.filter(np.isfinite), min_size=1, max_size=5, unique=True)
        breakpoints = np.unique(np.array(draw(finite)))  # unique also joins -0 and 0
        axes.append(
            Axis(
                breakpoints,
                interpolation=draw(st.sampled_from(Interpolation)),
                below=draw(st.sampled_from(End)),
                above=draw(st.sampled_from(End)),
            )
        )
    shape = tuple(len(a) for a in axes)
    cell = st.floats(allow_infinity=False) | _few | st.just(float("nan"))
    count = int(np.prod(shape))
    values = draw(st.lists(cell, min_size=count, max_size=count))
    return Table("t", np.array(values).reshape(shape), tuple(axes))


@st.composite
def _tables_and_points(draw: st.DrawFn) -> tuple[Table, list[np.ndarray]]:
    table = draw(_tables())
    points = []
    for axis in table.axes:
        nodes = axis.values.tolist()
        near = st.sampled_from(
            [w for v in nodes for w in (v, nextafter(v, -inf), nextafter(v, inf))]
        )
        one = near | _few | st.floats()
        points.append(np.array(draw(st.lists(one, min_size=12, max_size=12))))
    return table, points


def _same_bits(a: np.ndarray, b: np.ndarray) -> bool:
    # NaN carries no payload that means anything; zeros are compared with their sign.
    both = np.isnan(a) & np.isnan(b)
    return bool((both | (a.view(np.int64) == b.view(np.int64))).all())


@given(_tables_and_points())
@example((Table("t", [1.0, 2.0], (Axis([0.0, 5e-324], above=End.EXTRAPOLATED),)), [np.ones(1)]))
@example((Table("t", [1.0, 2.0], (Axis([-1.7e308, 1.7e308]),)), [np.array([0.0, 1e308])]))
def test_both_forms_agree_in_the_last_bit(case: tuple[Table, list[np.ndarray]]) -> None:
    table, points = case
    by_numpy = lookup(table, points, compiled=False)
    by_numba = lookup(table, points, compiled=True)
    assert compiled.loaded()
    assert _same_bits(by_numpy, by_numba)


@pytest.mark.parametrize(
    ("axis_count", "below", "above"), list(product((1, 2, 3, 4), End, End)), ids=lambda v: str(v)
)
def test_many_points_agree_in_the_last_bit(axis_count: int, below: End, above: End) -> None:
    rng = np.random.default_rng(axis_count)
    axes = tuple(
        Axis(np.cumsum(rng.gamma(0.3, 1.0, 20 - 3 * axis_count) + 1e-9), below=below, above=above)
        for _ in range(axis_count)
    )
    table = Table("t", rng.normal(size=tuple(len(a) for a in axes)), axes)
    points = rng.uniform(-2, 12, (axis_count, 3, 1001))  # more than one run, and not a multiple
    points[:, 0, :7] = np.nan
    by_numba = lookup(table, list(points), compiled=True)
    assert by_numba.shape == (3, 1001)
    assert _same_bits(lookup(table, list(points), compiled=False), by_numba)


def test_crowded_breakpoints_in_one_bucket() -> None:
    # Thousands of buckets over 0..1e9 leave fifty breakpoints below 1 in the first of them.
    axis = Axis([*np.linspace(0, 1, 50), 1e9])
    table = Table("t", np.arange(51.0), (axis,))
    x = np.r_[np.random.default_rng(0).uniform(0, 1.5, 500), axis.values]
    assert _same_bits(lookup(table, [x], compiled=False), lookup(table, [x], compiled=True))


def test_last_bucket_is_left_before_its_end_is_passed() -> None:
    # The bucket number of this point rounds up to the last breakpoint's own.
    table = Table("t", [1.0, 2.0, 3.0], (Axis([-3.25, -2.5, 0.0]),))
    x = np.full(12, -6.07627168e-194)
    assert _same_bits(lookup(table, [x], compiled=False), lookup(table, [x], compiled=True))


def test_strided_and_broadcast_points() -> None:
    axes = (Axis([0.0, 1.0, 2.0]), Axis([0.0, 3.0]))
    table = Table("t", [[0.0, 1.0], [2.0, 4.0], [5.0, 9.0]], axes)
    x = np.linspace(0, 2, 21)[::2]
    result = lookup(table, [x[:, None], 1.5], compiled=True)
    assert result.shape == (11, 1)
    np.testing.assert_array_equal(result, lookup(table, [x[:, None], 1.5], compiled=False))
    assert lookup(table, [1.0, 3.0], compiled=True).shape == ()


def test_disordered_axis_is_refused() -> None:
    table = Table("odd", [1.0, 2.0], (Axis([1.0, 0.0], name="Speed"),))
    with pytest.raises(LookupProblem, match=r"odd.*Speed"):
        lookup(table, [0.5], compiled=True)


def test_works_without_numba(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiled, "available", lambda: False)
    monkeypatch.setattr(compiled, "_kernels", None)
    table = Table("t", [1.0, 3.0], (Axis([0.0, 1.0]),))
    assert lookup(table, [[0.5]], compiled=True).tolist() == [2.0]
    assert not compiled.load()


def test_small_work_does_not_load_numba() -> None:
    code = (
        "import sys; from calib_model.core.axis import Axis; from calib_model.core.table import "
        "Table; from calib_model.lookup import lookup; import numpy as np\n"
        "lookup(Table('t', [1.0, 2.0], (Axis([0.0, 1.0]),)), [np.zeros(10_000)])\n"
        "sys.exit('numba' in sys.modules or 'scipy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_default_choice_follows_the_amount(monkeypatch: pytest.MonkeyPatch) -> None:
    assert compiled.load()
    used: list[str] = []
    for how, name in ((compiled, "numba"), (reference, "numpy")):

        def spy(*arguments: object, name: str = name) -> np.ndarray:
            used.append(name)
            return np.zeros(())

        monkeypatch.setattr(how, "lookup_values", spy)
    table = Table("t", [1.0, 2.0], (Axis([0.0, 1.0]),))
    lookup(table, [np.zeros(10)])
    lookup(table, [np.zeros(10_000)])
    assert used == ["numpy", "numba"]


def test_what_compiled_code_calls_inside_counts_no_references() -> None:
    """Counting took more than half the vehicle model's time; what makes no array needs none."""
    from numba.core.errors import NumbaError

    from calib_model.lookup.jit import inner, jit

    @inner()
    def second(rows):  # type: ignore[no-untyped-def]
        row = rows[1]  # a view, which would be counted
        return row[0]

    @inner()
    def lends(rows):  # type: ignore[no-untyped-def]
        return rows[1]

    read: Any = jit()(lambda rows: second(rows))
    lent: Any = jit()(lambda rows: lends(rows)[0])
    rows = np.arange(6.0).reshape(3, 2)
    assert read(rows) == 2.0
    (inside,) = second.overloads.values()  # type: ignore[attr-defined]
    assert "NRT_" not in inside.library.get_llvm_str()
    # What they make or cut nobody would hold: numba does not compile that.
    with pytest.raises(NumbaError, match="Only accept returning of array passed into"):
        lent(rows)
