"""Tables, rule sets and independent judges for the shaping tests."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import strategies as st
from scipy.optimize import nnls

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Rule
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.rules.limits import Bounds, Locked
from calib_model.rules.shape import Curvature, Kink, Monotone, Slope
from calib_model.shaping.problem import RuleSystem

QUANTITIES = ("pedal", "vehicle_speed", "ambient_temperature", "clamp")


def axes_of(shape: tuple[int, ...], seed: int = 0, even: bool = False) -> tuple[Axis, ...]:
    rng = np.random.default_rng(seed)
    made = []
    for n, quantity in zip(shape, QUANTITIES, strict=False):
        x = np.arange(n) * 2.0 if even else np.cumsum(rng.uniform(1.0, 3.0, n))
        made.append(Axis(x, quantity.replace("_", " "), "-", quantity))
    return tuple(made)


def grid(
    shape: tuple[int, ...],
    *rules: Rule,
    seed: int = 0,
    noise: float = 5.0,
    storage: Storage | None = None,
    even: bool = False,
    **about: Any,
) -> CalibrationSet:
    """One table `t` that rises along every axis, plus noise, within 0 and 300."""
    axes = axes_of(shape, seed, even)
    z = np.full(shape, 40.0)
    for number, axis in enumerate(axes):
        u = (axis.values - axis.values[0]) / (axis.values[-1] - axis.values[0])
        part = np.sqrt(u) if number % 2 == 0 else u**2
        z = z + 80 * part.reshape([-1 if a == number else 1 for a in range(len(shape))])
    z = z + noise * np.random.default_rng(seed + 1).normal(size=shape)
    storage = storage or Storage()
    z = storage.nearest(np.clip(z, 0, 300))
    given = {"lower": 0.0, "upper": 300.0, "storage": storage, **about}
    return CalibrationSet([Table("t", z, axes, "T", "N.m", rules=rules, **given)])


def locked(content: CalibrationSet, cells: dict[tuple[int, ...], float]) -> CalibrationSet:
    """The set with a lock on some cells of `t`, at values that need not be the present ones."""
    table = content["t"]
    lock = Locked(tuple(table.coordinates(c) for c in cells), tuple(cells.values()))
    return content.with_table(replace(table, rules=(*table.rules, lock)))


MAP_RULES = (
    Monotone("pedal"),
    Monotone("vehicle_speed"),
    Slope("pedal", 20.0),
    Curvature("pedal", "concave"),
)


@st.composite
def feasible_sets(draw: st.DrawFn, storage: Storage | None = None) -> CalibrationSet:
    """A set of one curve or map whose rules all hold for some hidden values; present values are
    those with noise."""
    dims = draw(st.integers(1, 2))
    shape = tuple(draw(st.integers(3, 7)) for _ in range(dims))
    seed = draw(st.integers(0, 10_000))
    rng = np.random.default_rng(seed)
    axes = axes_of(shape, seed)
    hidden = np.full(shape, 20.0)
    directions = [draw(st.sampled_from(("up", "down"))) for _ in shape]
    for number, (axis, direction) in enumerate(zip(axes, directions, strict=True)):
        rise = np.concatenate([[0.0], np.cumsum(rng.uniform(2.0, 12.0, len(axis) - 1))])
        if direction == "down":
            rise = rise[::-1]
        hidden = hidden + rise.reshape([-1 if a == number else 1 for a in range(dims)])
    hidden = np.rint(hidden)  # on every raster that is used here
    rules: list[Rule] = []
    for number, (axis, direction) in enumerate(zip(axes, directions, strict=True)):
        name = QUANTITIES[number]
        d = np.diff(hidden, axis=number)
        step = np.diff(axis.values).reshape([-1 if a == number else 1 for a in range(dims)])
        slopes = d / step
        strict = bool(draw(st.booleans())) and bool((np.abs(d) >= 1).all())
        if draw(st.booleans()):
            held = (d >= 0).all() if direction == "up" else (d <= 0).all()
            if held:
                rules.append(Monotone(name, direction, strict=strict))
        if draw(st.booleans()):
            rules.append(Slope(name, float(slopes.max()), float(slopes.min())))
        if draw(st.booleans()) and len(axis) > 2:
            bends = np.abs(np.diff(slopes, axis=number)).max()
            rules.append(Kink(name, float(bends)))
        if draw(st.booleans()) and len(axis) > 2:
            bends_signed = np.diff(slopes, axis=number)
            if (bends_signed >= 0).all():
                rules.append(Curvature(name, "convex"))
            elif (bends_signed <= 0).all():
                rules.append(Curvature(name, "concave"))
    if draw(st.booleans()):
        rules.append(Bounds(float(hidden.min()), float(hidden.max())))
    chosen = storage or Storage()
    noise = draw(st.sampled_from((0.5, 5.0, 40.0)))
    present = chosen.nearest(np.clip(hidden + noise * rng.normal(size=shape), 0, 250))
    table = Table(
        "t", present, axes, "T", "N.m", lower=0, upper=250, storage=chosen, rules=tuple(rules)
    )
    content = CalibrationSet([table])
    if draw(st.booleans()):
        places = draw(st.lists(st.integers(0, present.size - 1), min_size=1, max_size=3))
        cells = {tuple(int(i) for i in np.unravel_index(p, shape)): hidden.flat[p] for p in places}
        content = locked(content, {c: float(v) for c, v in cells.items()})
    return content


def optimality(system: RuleSystem, hessian: Any, gradient: np.ndarray, z: np.ndarray) -> float:
    """Largest violation of the conditions of an optimum, with multipliers of our own.

    The multipliers of the rows that are met are found by non-negative least squares (Lawson and
    Hanson, as in SciPy), from the answer alone.
    """
    span = system.span
    matrix = system.matrix.toarray()
    slack = system.bound - matrix @ z
    scale = np.maximum(np.abs(matrix * span).max(axis=1), 1e-300)
    excess = np.where(system.equal, np.abs(slack), -slack) - system.tolerance
    met = np.flatnonzero(system.equal | (slack / scale < 1e-7))
    held = np.flatnonzero(~system.allowed)
    unit = np.eye(system.size)[held]
    rows = np.concatenate([matrix[met], -matrix[met][system.equal[met]], unit, -unit])
    force = (hessian @ z + gradient) * span
    size = 1.0 + max(np.abs(hessian @ z * span).max(), np.abs(gradient * span).max())
    if not rows.size:
        return float(np.abs(force).max() / size)
    rows = rows * span / np.maximum(np.abs(rows * span).max(axis=1, keepdims=True), 1e-300)
    _, rest = nnls(rows.T, -force / size, maxiter=200 * rows.shape[0])
    return float(max(rest, (excess / scale).max(initial=0.0)))
