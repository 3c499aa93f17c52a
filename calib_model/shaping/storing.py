"""From ideal values to stored ones: the nearest whole numbers of steps that keep the rules.

First plain rounding: where every rule survives it, nothing is nearer.  Then the rules are taken to
the raster, solved and rounded, which keeps order, gaps, step limits, bounds and locks, and moved to
the nearest such values exactly.  Rules of other kinds (curvature, relations of unlike tables) are
left to an integer programme with a time limit; what it cannot keep is reported.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from .nearest_steps import MOST_CELLS, nearest_steps
from .problem import RuleSystem
from .raster import Raster, on_raster, raster_of
from .reduce import Reduced
from .solve import AtOdds, NotSolved, minimise

SECONDS = 20.0
"""Only a stop for the worst: what is found must not depend on how busy the machine is."""
NODES = 1_000
"""How many branches the search may look at: the same answer on every machine."""
REACH = (3, 12, 50)
"""How many steps away from the ideal value the integer programme looks, one after the other."""


@dataclass(frozen=True, eq=False)
class Stored:
    """Values that storage can hold.

    Parameters
    ----------
    values : float array, shape (n,)
    broken : int array
        Rows of the system that do not hold for them.
    method : str
        ``as it is`` (nothing to round), ``rounded``, ``nearest``, ``searched`` or ``unrounded``.
    """

    values: FloatArray
    broken: IntArray
    method: str


def to_storage(
    system: RuleSystem,
    ideal: FloatArray,
    target: FloatArray | None = None,
    weights: FloatArray | None = None,
    *,
    seconds: float = SECONDS,
) -> Stored:
    """Return the stored values nearest to a target that keep the rules.

    Parameters
    ----------
    system : RuleSystem
    ideal : float array, shape (n,)
        Values that obey the rules, not on the raster.
    target : float array, shape (n,)
        What to stay near; the ideal values by default.
    weights : float array, shape (n,)
        1 by default.
    seconds : float
        Time for each turn of the integer programme; 0 to do without (while a slider is drawn).
    """
    reduced = system.reduced
    raster = raster_of(system)
    aim = ideal if target is None else target
    aim = np.where(np.isfinite(aim), aim, ideal)
    weight = np.ones(system.size) if weights is None else weights
    beyond = np.zeros(system.bound.size, dtype=bool)
    beyond[reduced.beyond] = True

    def judged(values: FloatArray, method: str) -> Stored:
        if not raster.whole.all():
            values = _others_anew(system, raster, values, aim, weight)
            values = reduced.full(_singles(system, values[reduced.free]))
        rows = system.broken(values)
        return Stored(values, rows[~beyond[rows]], method)

    if not raster.whole.any():
        values = reduced.full(_singles(system, ideal[reduced.free]))
        rows = system.broken(values)
        return Stored(values, rows[~beyond[rows]], "as it is")
    plain = reduced.full(
        _singles(system, raster.rounded(ideal[reduced.free], reduced.lower, reduced.upper))
    )
    best = judged(plain, "rounded")
    # Rounding what obeys the rules is nearest to it, but not to another target.
    if not best.broken.size and target is None:
        return best
    nearest = _by_differences(system, reduced, raster, aim, weight)
    if nearest is not None:
        candidate = judged(nearest, "nearest")
        if candidate.broken.size <= best.broken.size:
            best = candidate
    for reach in REACH:
        if not best.broken.size or seconds <= 0:
            break
        searched = _by_search(system, raster, ideal, aim, weight, reach, seconds)
        if searched is not None:
            candidate = judged(searched, "searched")
            if candidate.broken.size < best.broken.size:
                best = candidate
    return best


def _singles(system: RuleSystem, free_values: FloatArray) -> FloatArray:
    """Round what is stored in single precision."""
    single = np.array([t.storage.type == "float32" for t in system.tables])
    mine = single[system.owner[system.reduced.free]]
    if not mine.any():
        return free_values
    return np.where(mine, free_values.astype(np.float32).astype(np.float64), free_values)


def _others_anew(
    system: RuleSystem, raster: Raster, values: FloatArray, aim: FloatArray, weight: FloatArray
) -> FloatArray:
    """Find the cells that are no integers once more, with the integers where they are now."""
    from scipy.sparse import diags_array

    stays = np.ones(system.size, dtype=bool)
    stays[system.reduced.free[~raster.whole]] = False
    held = system.held_at(values, stays)
    hessian = diags_array(weight / system.span**2).tocsr()
    try:
        return minimise(held, hessian, -(hessian @ np.nan_to_num(aim)), prove=False).values
    except (AtOdds, NotSolved):
        return values


def _by_differences(
    system: RuleSystem, reduced: Reduced, raster: Raster, aim: FloatArray, weight: FloatArray
) -> FloatArray | None:
    """Solve on the raster, round half up, and go to the nearest whole numbers."""
    from scipy.sparse import diags_array

    tightened, differences, plain = on_raster(reduced, raster)
    if tightened.clash:
        return None
    hessian = diags_array(weight / system.span**2).tocsr()
    narrowed = system.with_reduced(tightened)
    try:
        solution = minimise(narrowed, hessian, -(hessian @ np.nan_to_num(aim)), prove=False)
    except (AtOdds, NotSolved):
        return None
    free = reduced.free
    values = raster.rounded(solution.values[free], tightened.lower, tightened.upper, up=True)
    if plain.all() and raster.whole.all() and free.size <= MOST_CELLS:
        low, high = raster.limits(reduced.lower, reduced.upper)
        start = np.rint(raster.raw(values))
        steps = nearest_steps(
            start,
            raster.raw(aim[free]),
            (weight * (system.step / system.span) ** 2)[free],
            low,
            high,
            differences,
        )
        values = raster.physical(steps)
    return reduced.full(_singles(system, values))


def _by_search(
    system: RuleSystem,
    raster: Raster,
    ideal: FloatArray,
    aim: FloatArray,
    weight: FloatArray,
    reach: int,
    seconds: float,
) -> FloatArray | None:
    """Look for whole numbers near the ideal values that keep every row."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array, diags_array, eye_array, hstack, vstack

    reduced = system.reduced
    k = reduced.free.size
    whole = raster.whole
    step = np.where(whole, raster.numerator / raster.denominator, system.span[reduced.free])
    origin = np.where(whole, raster.offset / raster.denominator, 0.0)
    here = (ideal[reduced.free] - origin) / step
    wanted = (aim[reduced.free] - origin) / step
    low, high = raster.limits(reduced.lower, reduced.upper)
    low = np.where(whole, low, (reduced.lower - origin) / step)
    high = np.where(whole, high, (reduced.upper - origin) / step)
    low = np.maximum(low, np.where(whole, np.floor(here) - reach, here - 0.05))
    high = np.minimum(high, np.where(whole, np.ceil(here) + reach, here + 0.05))
    if (low > high).any():
        return None
    base = np.where(whole, np.rint(here), here)
    matrix = csr_array(reduced.matrix @ diags_array(step))
    bound = reduced.bound - reduced.matrix @ (base * step + origin)
    largest = abs(matrix).max(axis=1).toarray() if bound.size else np.empty(0)
    scale = 1.0 / np.where(largest > 0, largest, 1.0)
    matrix = csr_array(diags_array(scale) @ matrix)
    allowance = np.minimum(0.5 * reduced.tolerance * scale, 1e-6)
    top = bound * scale + allowance
    bottom = np.where(reduced.equal, bound * scale - allowance, -np.inf)
    # One more unknown per cell bounds its distance from what is wanted.
    unit = eye_array(k)
    nothing = csr_array((bound.size, k))
    conditions = vstack(
        [hstack([matrix, nothing]), hstack([unit, -unit]), hstack([-unit, -unit])], format="csc"
    )
    off = wanted - base
    result = milp(
        np.concatenate([np.zeros(k), _share(weight[reduced.free])]),
        integrality=np.concatenate([whole.astype(np.int64), np.zeros(k, dtype=np.int64)]),
        bounds=Bounds(
            np.concatenate([low - base, np.zeros(k)]),
            np.concatenate([high - base, np.full(k, np.inf)]),
        ),
        constraints=LinearConstraint(
            conditions,
            np.concatenate([bottom, np.full(2 * k, -np.inf)]),
            np.concatenate([top, off, -off]),
        ),
        options={"time_limit": seconds, "node_limit": NODES, "mip_rel_gap": 0.02},
    )
    if result.x is None:
        return None
    moved: Any = result.x[:k]
    steps = base + np.where(whole, np.rint(moved), moved)
    values = np.where(whole, raster.physical(np.rint(steps)), steps * step + origin)
    return reduced.full(_singles(system, values))


def _share(weight: FloatArray) -> FloatArray:
    """Weights of about 1; a little everywhere, so that no cell strays without need."""
    most = float(weight.max(initial=0.0)) or 1.0
    return np.asarray(np.maximum(weight / most, 1e-3))
