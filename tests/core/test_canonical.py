"""Canonical text and digests: equal content has equal text, any difference another."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import time
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import canonical_text, digest, table_digest, table_digests
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Monotone

AXIS = Axis([-40.0, 0.1], name="Temperature", unit="degC", quantity="ambient_temperature")
TABLE = Table(
    "b_table",
    [1.5, np.nan],
    (AXIS,),
    name="Größe",
    unit="N.m",
    lower=0.0,
    storage=Storage.of("uint16", "0.5"),
    relations={"towing": "==", "low_grip": ">="},
    rules=(Monotone(axis="ambient_temperature", reason="colder"),),
)
SET = CalibrationSet(
    {"b_table": TABLE, "a_table": Table("a_table", 2.0)},
    programme="Larch",
    mode="normal",
    base_mode="normal",
)


def test_the_text_by_hand() -> None:
    # Hexadecimal floats by hand: 1.5 = 1.8 (hex) * 2^0; 0.1 = 1.999999999999a (hex) * 2^-4.
    lines = canonical_text(SET).decode().split("\n")
    assert lines[0] == "bitepoint-content 1"
    assert lines[1] == "set\tprogramme=Larch\tmode=normal\tbase_mode=normal"
    assert lines[2] == (
        "table\tid=a_table\tname=\tunit=-\tfunction=\tdescription=\tlower=-inf\tupper=inf"
        "\tstorage=float64 1/1 0\trole=\trelations=\trules=[]\tvalues=0x1.0000000000000p+1"
    )
    assert lines[3] == (
        "table\tid=b_table\tname=Größe\tunit=N.m\tfunction=\tdescription=\tlower=0x0.0p+0"
        '\tupper=inf\tstorage=uint16 1/2 0\trole=\trelations=[["low_grip",">="],["towing","=="]]'
        '\trules=[{"axis":"ambient_temperature","kind":"monotone","reason":"colder"}]'
        "\taxis1.name=Temperature\taxis1.unit=degC\taxis1.quantity=ambient_temperature"
        "\taxis1.interpolation=linear\taxis1.below=held\taxis1.above=held"
        "\taxis1.storage=float64 1/1 0\taxis1.shared="
        "\taxis1.breakpoints=-0x1.4000000000000p+5 0x1.999999999999ap-4"
        "\tvalues=0x1.8000000000000p+0 nan"
    )
    assert lines[4:] == [""]


def test_equal_content_has_equal_text() -> None:
    other = CalibrationSet(
        {
            "a_table": Table("a_table", 2.0),
            "b_table": replace(
                TABLE,
                values=[1.5, -np.nan],
                name="Gro\u0308ße",  # the same letters, decomposed
                lower=-0.0,
                relations={"low_grip": ">=", "towing": "=="},
                rules=(Monotone(axis="ambient_temperature", reason="colder"),),
            ),
        },
        programme="Larch",
        mode="normal",
        base_mode="normal",
        name="another name",
        revision="C",
    )
    assert canonical_text(other) == canonical_text(SET)
    minus_zero = np.array([-0.0, 1.0])
    minus_zero.setflags(write=False)  # read-only arrays are taken as they are
    assert digest(CalibrationSet([Table("t", minus_zero, (AXIS,))])) == digest(
        CalibrationSet([Table("t", [0.0, 1.0], (AXIS,))])
    )


def test_a_whole_number_in_a_rule_has_one_text() -> None:
    as_int, as_float = (
        Table("t", 1.0, rules=(Bounds(upper=value, reason="r"),)) for value in (20, 20.0)
    )
    assert as_int == as_float
    assert table_digest(as_int) == table_digest(as_float)


STEP = replace(AXIS, interpolation=Interpolation.STEP)


@pytest.mark.parametrize(
    "changed",
    [
        replace(TABLE, values=[np.nextafter(1.5, 2), np.nan]),
        replace(TABLE, values=[1.5, 0.0]),
        replace(TABLE, axes=(replace(AXIS, values=[-40.0, 0.2]),)),
        replace(TABLE, axes=(STEP,)),
        replace(TABLE, axes=(replace(AXIS, below=End.EXTRAPOLATED),)),
        replace(TABLE, axes=(replace(AXIS, above=End.EXTRAPOLATED),)),
        replace(TABLE, axes=(replace(AXIS, name="T"),)),
        replace(TABLE, axes=(replace(AXIS, unit="K"),)),
        replace(TABLE, axes=(replace(AXIS, quantity="oil_temperature"),)),
        replace(TABLE, axes=(replace(AXIS, storage=Storage("int8")),)),
        replace(TABLE, name="other"),
        replace(TABLE, unit="N"),
        replace(TABLE, function="f"),
        replace(TABLE, description="d"),
        replace(TABLE, lower=1.0),
        replace(TABLE, upper=1.0),
        replace(TABLE, storage=Storage.of("uint16", "0.25")),
        replace(TABLE, storage=Storage.of("int16", "0.5")),
        replace(TABLE, role="hill_torque"),
        replace(TABLE, relations={}),
        replace(TABLE, relations={"towing": "==", "low_grip": "<="}),
        replace(TABLE, rules=()),
        replace(TABLE, labels={1.5: "on"}),
        replace(TABLE, axes=(replace(AXIS, labels={-40.0: "cold"}),)),
        replace(TABLE, rules=(Monotone(axis="ambient_temperature", reason="colder", gap=0.5),)),
    ],
)
def test_every_field_counts(changed: Table) -> None:
    assert table_digest(changed) != table_digest(TABLE)
    assert digest(SET.with_table(changed)) != digest(SET)


def test_no_field_of_the_values_is_forgotten() -> None:
    # If a value class grows a field, the text must grow with it: change this test with it.
    table = {
        *("id", "values", "axes", "name", "unit", "function", "description", "lower", "upper"),
        *("storage", "role", "relations", "rules", "labels"),
    }
    axis = {
        *("values", "name", "unit", "quantity", "interpolation", "below", "above", "storage"),
        *("shared", "labels"),
    }
    content = {"tables", "shared_axes", "programme", "mode", "base_mode"}
    not_content = {"name", "revision", "description", "record"}
    assert {f.name for f in fields(Table)} == table
    assert {f.name for f in fields(Axis)} == axis
    assert {f.name for f in fields(CalibrationSet)} - not_content == content


def test_programme_and_modes_and_shared_axes_count() -> None:
    for about in ({"programme": "x"}, {"mode": "x"}, {"base_mode": "x"}):
        assert digest(SET.described(**about)) != digest(SET)
    shared = replace(AXIS, shared="temperature")
    with_axis = SET.replaced({}, {"temperature": shared})
    assert digest(with_axis) != digest(SET)
    assert b"\naxis\tid=temperature\t" in canonical_text(with_axis)
    used = CalibrationSet([replace(TABLE, axes=(shared,))], [shared])
    detached = CalibrationSet([TABLE], [shared])
    assert digest(used) != digest(detached)


@given(st.text(max_size=30), st.text(max_size=30))
def test_no_text_can_pass_for_another_field_or_line(name: str, function: str) -> None:
    name, function = (t.encode(errors="ignore").decode() for t in (name, function))
    text = canonical_text(CalibrationSet([Table("t", 1.0, name=name, function=function)])).decode()
    assert len(text.splitlines()) == 3
    fields = dict(field.split("=", 1) for field in text.splitlines()[2].split("\t")[1:])
    assert len(fields) == 12
    swapped = Table("t", 1.0, name=function, function=name)
    assert (fields["name"] == fields["function"]) == (
        table_digest(swapped) == table_digest(Table("t", 1.0, name=name, function=function))
    )


@given(st.lists(st.floats(), min_size=1, max_size=20))
def test_every_number_reads_back_by_the_standard_library(values: list[float]) -> None:
    axis = Axis(np.arange(float(len(values))))
    text = canonical_text(CalibrationSet([Table("t", values, (axis,))])).decode()
    read = [float.fromhex(word) for word in text.rstrip().rpartition("values=")[2].split(" ")]
    np.testing.assert_array_equal(read, np.array(values))


def test_digest_is_what_sha256sum_says(tmp_path: Path) -> None:
    tool = shutil.which("sha256sum")
    path = tmp_path / "content.txt"
    path.write_bytes(canonical_text(SET))
    if tool is None:
        assert digest(SET) == hashlib.sha256(path.read_bytes()).hexdigest()
        return
    done = subprocess.run([tool, str(path)], capture_output=True, check=True)
    assert done.stdout.decode().split()[0] == digest(SET)


def test_table_digests_name_what_changed() -> None:
    before, after = table_digests(SET), table_digests(SET.with_table(TABLE.with_values([9.0, 9.0])))
    assert before["b_table"] == table_digest(TABLE)
    assert {id for id in before if before[id] != after[id]} == {"b_table"}


def test_30000_tables_take_a_few_times_the_writing_of_their_numbers() -> None:
    rng = np.random.default_rng(0)
    tables = []
    for number in range(30_000):
        share = number % 20
        counts = () if share < 12 else (12,) if share < 17 else (12, 16)
        axes = tuple(Axis(np.cumsum(rng.uniform(1, 5, n)), quantity="pedal") for n in counts)
        tables.append(
            Table(f"t{number}", rng.uniform(0, 400, counts), axes, name=f"Table {number}")
        )
    content = CalibrationSet({t.id: t for t in tables})
    digest(content)
    start = time.process_time()
    digest(content)
    ours = time.process_time() - start
    start = time.process_time()
    for table in tables:
        for values in (table.values, *(axis.values for axis in table.axes)):
            list(map(float.hex, values.reshape(-1).tolist()))
    plain = time.process_time() - start
    assert ours < 8 * plain, "times the mere writing of the numbers"


def test_a_kept_digest_belongs_to_the_living_table_only() -> None:
    """Tables that come and go in the same place in memory never share a digest."""
    from calib_model.core import canonical

    seen = set()
    before = len(canonical._digests)
    for number in range(200):
        table = Table("t", float(number))
        assert canonical.table_digest(table) == canonical.table_digest(Table("t", float(number)))
        seen.add(canonical.table_digest(table))
        del table
    assert len(seen) == 200
    assert len(canonical._digests) <= before, "digests of tables that are gone are forgotten"
