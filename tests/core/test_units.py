"""Units against published constants."""

from __future__ import annotations

import numpy as np
import pytest

from calib_model.core.units import convert, known, same_kind, shown
from calib_model.errors import UnitProblem


@pytest.mark.parametrize(
    ("value", "source", "target", "expected"),
    [
        # NIST SP 811 (2008), appendix B.8, factors marked exact; from memory.
        (1.0, "mi/h", "km/h", 1.609344),
        (1.0, "lbf.ft", "N.m", 1.3558179483314004),
        (1.0, "psi", "kPa", 6.894757293168361),
        (100.0, "degC", "degF", 212.0),
        (0.0, "degC", "K", 273.15),
        (-40.0, "degF", "degC", -40.0),
        # SI Brochure, 9th edition, table 8: 1 bar = 100 kPa, 1 degree = pi/180 rad; from memory.
        (1.0, "bar", "kPa", 100.0),
        (180.0, "deg", "rad", np.pi),
        (36.0, "km/h", "m/s", 10.0),
        (1.5, "kN", "N", 1500.0),
        (2.0, "N.m/(km/h)", "N.s", 7.2),
        (12.0, "%", "-", 0.12),
    ],
)
def test_conversion(value: float, source: str, target: str, expected: float) -> None:
    assert convert(value, source, target) == pytest.approx(expected, rel=1e-12)


UNITS = (
    *("N.m", "km/h", "degC", "rad/s", "bar", "A", "kN", "N", "m/s2", "deg", "deg/s", "%", "-"),
    *("0/1", "s", "ms", "N.m/s", "N/s", "W", "W/K", "J/K", "N.m/(km/h)", "N.m/(km/h.s)"),
)


def test_every_unit_of_the_trade_is_known() -> None:
    for unit in [
        "N.m",
        "km/h",
        "degC",
        "rad/s",
        "bar",
        "A",
        "kN",
        "N",
        "m/s2",
        "deg",
        "deg/s",
        "%",
        "-",
        "0/1",
        "s",
        "ms",
        "N.m/s",
        "N/s",
        "W",
        "W/K",
        "J/K",
        "N.m/(km/h)",
        "N.m/(km/h.s)",
    ]:
        assert known(unit), unit


def test_unknown_and_unequal_units_are_refused_in_words() -> None:
    with pytest.raises(UnitProblem, match="'furlongish' is not known"):
        convert(1, "furlongish", "m")
    with pytest.raises(UnitProblem, match=r"'N.m' cannot be converted to 'km/h'"):
        convert(1, "N.m", "km/h")
    assert not same_kind("N.m", "km/h")
    assert same_kind("degC", "K")


def test_shown_text() -> None:
    assert [shown(u) for u in ("N.m", "degC", "m/s2", "-", "0/1", "km/h")] == [
        "N·m", "°C", "m/s²", "", "", "km/h",
    ]  # fmt: skip
