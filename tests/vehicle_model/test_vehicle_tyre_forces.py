"""A single tyre: its forces against the published friction curve, its damping by differences."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from calib_model.vehicle import tyre

DRY = (1.28, 23.99, 0.52)
"""Dry asphalt's c1, c2, c3 (M. Burckhardt, Fahrwerktechnik: Radschlupf-Regelsysteme, 1993; from
memory)."""
LOAD = 4000.0


@pytest.fixture(autouse=True)
def in_plain_python(monkeypatch: pytest.MonkeyPatch) -> None:
    """Compiled code takes a vehicle's own records only; both are equal in the last bit."""
    for name in ("friction", "relaxed", "clip", "forces"):
        function = getattr(tyre, name)
        monkeypatch.setattr(tyre, name, getattr(function, "py_func", function))


def _parameters(**changed: float) -> SimpleNamespace:
    about = {
        "wheel_radius": 0.3, "slip_stiffness": 0.8, "relaxation_along": 0.3,
        "relaxation_across": 0.5, "low_speed": 2.0, "low_speed_damping": 0.05,
    }  # fmt: skip
    return SimpleNamespace(**{**about, **changed})


def _rolling(speed: float, **changed: float) -> SimpleNamespace:
    """A wheel that rolls freely along."""
    c1, c2, c3 = DRY
    about = {
        "speed": speed / 0.3, "vx": speed, "vy": 0.0, "load": LOAD, "along": 0.0, "across": 0.0,
        "c1": c1, "c2": c2, "c3": c3, "fx": np.nan, "fy": np.nan,
    }  # fmt: skip
    return SimpleNamespace(**{**about, **changed})


def _forces(p: SimpleNamespace, w: SimpleNamespace, side: float, step: float) -> SimpleNamespace:
    tyre.forces(p, w, side, step)
    return w


@pytest.mark.parametrize("side", [0.5, 1.0, 1.6])
def test_what_springs_back_across_uses_as_much_friction_as_along(side: float) -> None:
    # Where the sliding turns round, only what is elastic springs back: 95 % of c1, by the
    # published curve c1 (1 - exp(-c2 s)) - c3 s, whichever the direction.
    c1, c2, c3 = DRY
    p = _parameters()
    steep = c2 * p.slip_stiffness
    elastic = -np.log(0.05)  # exp(-steep s) = 5 %
    expected = LOAD * (0.95 * c1 - c3 * elastic / steep)
    across = _forces(p, _rolling(20.0, across=0.9, vy=0.01), side, 1e-6)
    assert across.fy == pytest.approx(expected, rel=2e-3)  # 3 stands for ln 20
    assert across.across == pytest.approx(elastic / steep / side, rel=2e-3)
    sliding = _rolling(20.0, along=0.9)
    sliding.vx += 0.01
    along = _forces(p, sliding, side, 1e-6)
    assert along.fx == pytest.approx(across.fy, rel=1e-3)


def _damping(speed: float, p: SimpleNamespace, side: float) -> float:
    """Damping as the side force shows it at a small speed across, nothing being deflected."""
    c1, c2, c3 = DRY
    vy = 1e-7
    w = _forces(p, _rolling(speed, vy=vy), side, 0.0)
    return float(-w.fy / (LOAD * (c1 * c2 * p.slip_stiffness - c3) * side * vy))


@pytest.mark.parametrize("side", [0.7, 1.3])
def test_damping_fades_with_the_square_and_ends_without_a_kink(side: float) -> None:
    p = _parameters()
    h = 1e-4
    for speed in (0.0, 0.5, 1.0, 1.5):
        left = 1 - speed / p.low_speed
        assert _damping(speed, p, side) == pytest.approx(p.low_speed_damping * left**2, rel=1e-4)
        if speed:
            slope = (_damping(speed + h, p, side) - _damping(speed - h, p, side)) / (2 * h)
            assert slope == pytest.approx(-2 * p.low_speed_damping * left / p.low_speed, rel=1e-3)
    before = (_damping(2.0, p, side) - _damping(2.0 - h, p, side)) / h
    assert abs(before) < 1e-4 * p.low_speed_damping / p.low_speed * 2
    assert _damping(2.0 + h, p, side) == 0.0
