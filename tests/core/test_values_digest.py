"""The digest over values alone: what it covers, and that others come to the same."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

import calib_model as cm
from app.__main__ import main

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
AXIS = cm.Axis([0.0, 10.0, 30.0], name="Speed", unit="km/h", quantity="vehicle_speed")
TABLE = cm.Table("limit", [1.0, 0.1, float("nan")], (AXIS,), unit="N.m",
                 storage=cm.Storage("uint16", 1, 10))  # fmt: skip
SET = cm.CalibrationSet([TABLE, cm.Table("gain", -0.0)], programme="Larch", mode="normal")


def test_the_text_is_the_documented_one() -> None:
    """Written out by hand from the module's description; hexadecimal floats by C99 7.19.6.1."""
    text = (
        "bitepoint-values 1\n"
        "table\tid=gain\tunit=-\tstorage=float64 1/1 0\tvalues=0x0.0p+0\n"
        "table\tid=limit\tunit=N.m\tstorage=uint16 1/10 0\taxis1.unit=km/h"
        "\taxis1.storage=float64 1/1 0"
        "\taxis1.breakpoints=0x0.0p+0 0x1.4000000000000p+3 0x1.e000000000000p+4"
        "\tvalues=0x1.0000000000000p+0 0x1.999999999999ap-4 nan\n"
    )
    assert cm.values_digest(SET) == hashlib.sha256(text.encode()).hexdigest()


def test_it_is_of_values_alone() -> None:
    shared = replace(
        AXIS, shared="speed", name="v", quantity="", interpolation=cm.Interpolation.STEP
    )
    other = replace(
        TABLE, axes=(shared,), name="Limit", description="x", lower=0.0, upper=9.0,
        role="hill_torque", relations={"low_grip": ">="},
    )  # fmt: skip
    renamed = cm.CalibrationSet([cm.Table("gain", 0.0), other], {"speed": shared}, "Pine", "wet")
    assert cm.values_digest(renamed) == cm.values_digest(SET)
    assert cm.digest(renamed) != cm.digest(SET)


@pytest.mark.parametrize(
    "table",
    [
        replace(TABLE, id="limit_2"),
        replace(TABLE, unit="kN.m"),
        replace(TABLE, storage=cm.Storage("uint16", 1, 20)),
        TABLE.with_values([1.0, 0.1, 0.0]),
        TABLE.with_axis(0, AXIS.with_values([0.0, 10.0, 31.0]), TABLE.values),
        TABLE.with_axis(0, replace(AXIS, unit="m/s"), TABLE.values),
        TABLE.with_axis(0, replace(AXIS, storage=cm.Storage("uint8")), TABLE.values),
    ],
    ids=["id", "unit", "storage", "value", "breakpoint", "axis unit", "axis storage"],
)
def test_it_covers_each_of_its_parts(table: cm.Table) -> None:
    assert cm.values_digest(SET.replaced({"limit": None}).with_table(table)) != cm.values_digest(
        SET
    )


def test_show_tells_both_digests(capsys: pytest.CaptureFixture[str]) -> None:
    path = SAMPLES / "larch_normal.h5"
    content = cm.open_set(path)
    assert main(["show", str(path)]) == 0
    told = capsys.readouterr().out
    assert cm.digest(content) in told
    assert cm.values_digest(content) in told
