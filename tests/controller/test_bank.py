"""Reading from a bank: bits of the reference, and SciPy's interpolation as an outside check."""

from __future__ import annotations

from math import inf, nextafter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.roles import ROLES
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.errors import LookupProblem, ModelError
from calib_model.lookup import reference
from calib_model.lookup.bank import Bank
from tests.controller.law_parts import sample

PLACES = {"a": 3, "b": 0, "c": 2, "d": 1}
_few = st.floats(-5, 5).map(lambda x: round(x * 4) / 4)  # meets nodes and equal values often
_any = _few | st.floats(-1e6, 1e6) | st.floats(allow_infinity=False)


@st.composite
def _tables(draw: st.DrawFn) -> Table | None:
    if draw(st.integers(0, 5)) == 0:
        return None
    names = draw(st.permutations(sorted(PLACES)))[: draw(st.integers(0, 4))]
    axes = []
    for name in names:
        nodes = draw(st.lists(_few | st.floats(-1e6, 1e6), min_size=1, max_size=5, unique=True))
        axes.append(
            Axis(
                np.unique(np.array(nodes)),  # unique also joins -0 and 0
                quantity=name,
                interpolation=draw(st.sampled_from(Interpolation)),
                below=draw(st.sampled_from(End)),
                above=draw(st.sampled_from(End)),
            )
        )
    shape = tuple(len(a) for a in axes)
    count = int(np.prod(shape))
    cell = _few | st.floats(-1e6, 1e6) | st.just(float("nan"))
    values = draw(st.lists(cell, min_size=count, max_size=count))
    return Table("t", np.array(values).reshape(shape), tuple(axes))


@st.composite
def _banks(draw: st.DrawFn) -> tuple[list[Table | None], list[list[float]]]:
    tables = draw(st.lists(_tables(), min_size=1, max_size=4))
    nodes = [v for t in tables if t for a in t.axes for v in a.values.tolist()] or [0.0]
    near = st.sampled_from([w for v in nodes for w in (v, nextafter(v, -inf), nextafter(v, inf))])
    point = st.lists(near | _any | st.just(float("nan")), min_size=4, max_size=4)
    return tables, draw(st.lists(point, min_size=1, max_size=4))


@given(_banks())
def test_a_bank_reads_the_bits_of_the_reference(
    case: tuple[list[Table | None], list[list[float]]],
) -> None:
    tables, points = case
    bank = Bank.of(tables, PLACES)
    for slot, table in enumerate(tables):
        assert bank.present(slot) == (table is not None)
        for point in points:
            got = bank.read(slot, point)
            if table is None:
                assert np.isnan(got)
                continue
            with np.errstate(all="ignore"):
                want = reference.lookup(table, {name: point[i] for name, i in PLACES.items()})
            same = np.float64(got).view(np.int64) == np.asarray(want).view(np.int64)
            assert same or (np.isnan(got) and np.isnan(want))


@pytest.mark.parametrize("name", ["larch_normal", "larch_low_grip", "larch_towing"])
def test_sample_tables_agree_with_scipy(name: str) -> None:
    # SciPy's RegularGridInterpolator, method linear, inside the grid. On a step axis points lie
    # on nodes, where both mean the same.
    from scipy.interpolate import RegularGridInterpolator

    content = sample(name)
    tables = [content.by_role(role) for role in ROLES]
    bank = Bank.of(tables, INPUT_INDEX)
    rng = np.random.default_rng(7)
    checked = 0
    for slot, table in enumerate(tables):
        assert table is not None
        if not table.axes:
            assert bank.read(slot, np.full(len(INPUTS), np.nan)) == table.values
            continue
        columns = [
            rng.choice(a.values, 40)
            if a.interpolation is Interpolation.STEP
            else rng.uniform(a.values[0], a.values[-1], 40)
            for a in table.axes
        ]
        want = RegularGridInterpolator([a.values for a in table.axes], table.values)
        for point in np.stack(columns, axis=-1):
            inputs = np.full(len(INPUTS), np.nan)
            for axis, x in zip(table.axes, point, strict=True):
                inputs[INPUT_INDEX[axis.quantity]] = x
            scale = max(1.0, float(np.abs(table.values).max()))
            assert bank.read(slot, inputs) == pytest.approx(
                float(want(point)[0]), abs=1e-12 * scale
            )
            checked += 1
    assert checked > 1400


def test_replaced_changes_one_slot_and_keeps_the_old_bank() -> None:
    axis = Axis([0.0, 1.0], quantity="a")
    bank = Bank.of([Table("x", [1.0, 3.0], (axis,)), None, Table("y", 5.0)], PLACES)
    other = bank.replaced(0, [2.0, 6.0])
    point = [0.0, 0.0, 0.0, 0.5]
    assert (bank.read(0, point), other.read(0, point), other.read(2, point)) == (2.0, 4.0, 5.0)
    assert other.arrays[1] is bank.arrays[1]
    assert other.values(0).tolist() == [2.0, 6.0]
    with pytest.raises(ModelError, match="slot 0"):
        bank.replaced(0, [1.0, 2.0, 3.0])
    with pytest.raises(ModelError, match="Slot 1"):
        bank.replaced(1, 1.0)


def test_without_empties_slots() -> None:
    bank = Bank.of([Table("x", 1.0), Table("y", 5.0)], PLACES)
    less = bank.without([0])
    assert [less.present(0), less.present(1), bank.present(0)] == [False, True, True]
    assert np.isnan(less.read(0, np.zeros(4)))


def test_stored_values_are_those_on_the_raster() -> None:
    half = Table(
        "x", [0.74, 1.3], (Axis([0.0, 1.0], quantity="a"),), storage=Storage.of("uint8", "0.5")
    )
    assert Bank.of([half], PLACES).values(0).tolist() == [0.74, 1.3]
    assert Bank.of([half], PLACES, stored=True).values(0).tolist() == [0.5, 1.5]


@pytest.mark.parametrize(
    ("axis", "words"),
    [
        (Axis([1.0, 0.0], quantity="a", name="Speed"), "not above the one before"),
        (Axis([0.0, 1.0], quantity="weight", name="Weight"), "reads 'weight'"),
        (Axis([0.0, 1.0], name="Weight"), "says not what it reads"),
    ],
)
def test_what_cannot_be_packed_is_named(axis: Axis, words: str) -> None:
    with pytest.raises(LookupProblem, match=words) as caught:
        Bank.of([Table("odd", [1.0, 2.0], (axis,))], PLACES)
    assert "odd" in str(caught.value)
    assert axis.name in str(caught.value)
