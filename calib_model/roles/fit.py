"""How well a table fits a role, and an axis an input: evidence with its reasons.

Each piece of evidence adds to a weight.  The scale was set on some ways of naming and measured on
others (`tests/roles/test_roles_benchmark.py`); what matters is the order of weights, and how far
one stands before the next.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import permutations
from math import log

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..core.unit_words import alike, unit_meant
from ..core.units import convert
from .profiles import InputProfile, RoleProfile, profiles
from .words import Heard, vocabulary

NAME, UNIT, AXES, RANGE, SHAPE = 4.0, 1.0, 1.6, 0.8, 0.5
"""What each kind of evidence counts for at most."""
MISSING_AXIS = 1.2
"""What an axis too many or too few takes away."""
IMPOSSIBLE = -np.inf


@dataclass(frozen=True)
class Evidence:
    """What speaks for and against one reading.

    Parameters
    ----------
    weight : float
    name : float
        How much of what such things are called the name says, 0 to 1.
    clean : float
        How much of the name such things explain, 0 to 1.
    units : bool
        Whether every unit means the same or is converted easily.
    inside : bool
        Whether numbers lie where they usually do.
    axes : tuple of str
        The input of each axis, where a table is meant.
    reasons, doubts : tuple of str
    """

    weight: float
    name: float = 0.0
    clean: float = 0.0
    units: bool = False
    inside: bool = False
    axes: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


NOTHING = Evidence(IMPOSSIBLE)


# -- names ---------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _telling() -> Mapping[str, float]:
    """How much each concept tells: a word that few roles hold tells more than ``torque``."""
    every = profiles().roles.values()
    holders: dict[str, int] = {}
    for role in every:
        for concept in set().union(*role.phrases):
            holders[concept] = holders.get(concept, 0) + 1
    count = len(every)
    return {concept: log(1 + count / number) for concept, number in holders.items()}


def _weight(concepts: Iterable[str]) -> float:
    telling = _telling()
    return sum(telling.get(concept, 2.0) for concept in concepts)


UNKNOWN_PIECE = 2.0
"""What a piece of a name counts that stands for nothing: as much as a fairly telling word."""


def named(
    heard: Heard, phrases: tuple[frozenset[str], ...], beside: frozenset[str]
) -> tuple[float, float, frozenset[str]]:
    """Return how much of a phrase a name says, how much of the name it explains, and by what.

    Parameters
    ----------
    heard : Heard
    phrases : tuple of frozenset of str
        Any of them.
    beside : frozenset of str
        Concepts that say nothing for or against, such as those of the axes.
    """
    best: tuple[float, float, frozenset[str]] = (0.0, 0.0, frozenset())
    unknown = UNKNOWN_PIECE * len(heard.unknown)
    for phrase in phrases:
        said = frozenset(phrase & heard.concepts.keys())
        got = sum(_telling().get(c, 2.0) * heard.concepts[c] for c in said)
        whole = _weight(phrase)
        stray = _weight(heard.concepts.keys() - phrase - beside) + unknown
        full = got / whole if whole else 0.0
        clean = got / (got + stray) if got else 0.0
        if full * (0.5 + 0.5 * clean) > best[0] * (0.5 + 0.5 * best[1]):
            best = (full, clean, said)
    return best


# -- numbers -------------------------------------------------------------------------------


def _inside(values: FloatArray, low: float, high: float) -> tuple[float, float]:
    """Return the share of values in a range, a little more allowed, and the share they span."""
    finite = values[np.isfinite(values)]
    if not finite.size:
        return 0.5, 0.0
    span = (high - low) or abs(high) or 1.0
    inside = (finite >= low - 0.1 * span) & (finite <= high + 0.1 * span)
    return float(inside.mean()), min(1.0, float(np.ptp(finite)) / span)


def _converted(values: FloatArray, unit: str, wanted: str) -> FloatArray:
    meant = unit_meant(unit)
    if not meant or meant in ("-", "0/1") or meant == wanted:
        return values
    return convert(values, meant, wanted)


# -- axes ----------------------------------------------------------------------------------


def axis_fit(axis: Axis, one: InputProfile) -> Evidence:
    """Return how well an axis reads an input."""
    if axis.quantity:
        same = axis.quantity == one.name
        return Evidence(1.0, 1.0, 1.0, True, True) if same else NOTHING
    units = alike(axis.unit, one.unit)
    if units == "other":
        return NOTHING
    reasons, doubts = [], []
    weight = {"same": 0.35, "convertible": 0.25, "unsaid": 0.0}[units]
    if units == "unsaid":
        doubts.append(f"its unit {axis.unit!r} does not say {one.unit}")
        values = axis.values
    else:
        reasons.append(f"in {axis.unit}")
        values = _converted(axis.values, axis.unit, one.unit)
    share, spans = _inside(values, one.low, one.high)
    signed_where_not = one.low >= 0 and bool((values < 0).any())
    weight += 0.3 * (2 * share - 1) + 0.15 * spans - 0.5 * signed_where_not
    if one.low < 0 and one.name.startswith(("steering", "yaw")) and not (values < 0).any():
        weight -= 0.3  # a signed input is read on both sides
    inside = share == 1.0 and not signed_where_not
    first, last = float(values.min()), float(values.max())
    (reasons if inside else doubts).append(
        f"runs {short(first)} to {with_unit(last, one.unit)}"
        + ("" if inside else f", usual is {short(one.low)} to {with_unit(one.high, one.unit)}")
    )
    heard = vocabulary().hear(axis.name)
    full, clean, said = named(heard, one.phrases, frozenset())
    weight += 0.5 * full * (0.4 + 0.6 * clean)
    if heard.concepts and not said:
        weight -= 0.35
        doubts.append(f"{axis.label!r} names something else")
    elif said:
        reasons.append(f"its name says {' '.join(sorted(said))}")
    return Evidence(
        weight, full, clean, units != "unsaid", inside, (one.name,), tuple(reasons), tuple(doubts)
    )


def _axes_fit(
    table: Table, role: RoleProfile, fits: Mapping[tuple[int, str], Evidence]
) -> Evidence:
    """Return the best way to read a table's axes as those of a role."""
    count = table.values.ndim
    off = abs(count - len(role.axes))
    if off and min(count, len(role.axes)) == 0:
        return NOTHING
    best = NOTHING
    wanted = list(role.axes) + [""] * max(0, count - len(role.axes))
    for order in permutations(wanted, count):
        if sum(1 for name in order if name) < min(count, len(role.axes)):
            continue
        parts = [fits[number, name] if name else Evidence(0.0) for number, name in enumerate(order)]
        weights = [part.weight for part in parts]
        mean = sum(weights) / len(weights) if weights else 1.0
        if mean > best.weight:
            best = Evidence(
                mean,
                min((p.name for p in parts), default=1.0),
                min((p.clean for p in parts), default=1.0),
                all(p.units for p in parts),
                all(p.inside for p in parts),
                order,
                tuple(
                    f"axis {number} reads {name}: {', '.join(part.reasons)}"
                    for number, (name, part) in enumerate(zip(order, parts, strict=True), 1)
                    if part.reasons
                ),
                tuple(
                    f"axis {number} as {name}: {', '.join(part.doubts)}"
                    for number, (name, part) in enumerate(zip(order, parts, strict=True), 1)
                    if part.doubts
                ),
            )
    return best


# -- tables --------------------------------------------------------------------------------


class TableFits:
    """What speaks for each role of one table.

    Parameters
    ----------
    table : Table
    """

    def __init__(self, table: Table) -> None:
        self.table = table
        every = profiles()
        self.axis_fits = {
            (number, name): axis_fit(axis, one)
            for number, axis in enumerate(table.axes)
            for name, one in every.inputs.items()
        }

    @cached_property
    def heard(self) -> Heard:
        """What id and name say together."""
        by_id, by_name = vocabulary().hear(self.table.id), vocabulary().hear(self.table.name)
        concepts = {**by_id.concepts}
        for concept, surely in by_name.concepts.items():
            concepts[concept] = max(surely, concepts.get(concept, 0.0))
        # An id that is a number or a code says nothing; a name that is written out does.
        unknown = by_name.unknown if self.table.name else by_id.unknown
        return Heard(concepts, unknown)

    @cached_property
    def _axis_concepts(self) -> frozenset[str]:
        return frozenset(
            concept
            for axis in self.table.axes
            for concept in vocabulary().hear(f"{axis.name} {axis.quantity}").concepts
        )

    def of(self, role: RoleProfile) -> Evidence:
        """Return what speaks for a role and against it."""
        table = self.table
        units = alike(table.unit, role.unit)
        if units == "other":
            return NOTHING
        axes = _axes_fit(table, role, self.axis_fits)
        if axes.weight == IMPOSSIBLE:
            return NOTHING
        reasons, doubts = [], []
        weight = UNIT * {"same": 1.0, "convertible": 0.7, "unsaid": 0.0}[units]
        if units == "unsaid":
            doubts.append(f"its unit {table.unit!r} does not say {role.unit}")
            values = table.values
        else:
            reasons.append(
                f"in {table.unit}" if role.unit not in ("-", "0/1") else "without a unit"
            )
            values = _converted(table.values, table.unit, role.unit)
        off = abs(table.values.ndim - len(role.axes))
        weight += AXES * axes.weight - MISSING_AXIS * off
        if off:
            doubts.append(f"has {table.values.ndim} axes, usual are {len(role.axes)}")
        reasons += axes.reasons
        doubts += axes.doubts
        share, spans = _inside(values, role.low, role.high)
        weight += RANGE * (2 * share - 1 + 0.5 * spans)
        if share < 1.0:
            doubts.append(
                f"values leave the usual {short(role.low)} to {with_unit(role.high, role.unit)}"
            )
        elif spans or not table.axes:
            reasons.append(
                f"values lie in the usual {short(role.low)} to {with_unit(role.high, role.unit)}"
            )
        shape, goes, goes_not = self._shape(role, axes.axes)
        weight += SHAPE * shape
        reasons += goes
        doubts += goes_not
        beside = self._axis_concepts.union(
            *(phrase for name in role.axes for phrase in profiles().inputs[name].phrases)
        )
        full, clean, said = named(self.heard, role.phrases, beside)
        weight += NAME * full * (0.4 + 0.6 * clean)
        if said:
            reasons.insert(0, f"its name says {' '.join(sorted(said))}")
        if clean < 0.75 and said:
            doubts.insert(0, "its name says more than that")
        return Evidence(
            weight,
            full,
            clean,
            units != "unsaid" and axes.units,
            share == 1.0 and axes.inside and not off,
            axes.axes,
            tuple(reasons),
            tuple(doubts),
        )

    def _shape(
        self, role: RoleProfile, axes: tuple[str, ...]
    ) -> tuple[float, list[str], list[str]]:
        """Hold a table against the ways in which such tables rise and fall."""
        reasons, doubts, scores = [], [], []
        for name, sign in role.directions:
            if name not in axes:
                continue
            steps = np.diff(self.table.values, axis=axes.index(name)) * sign
            steps = steps[np.isfinite(steps)]
            moving = steps[steps != 0]
            if not moving.size:
                continue
            share = float((moving > 0).mean())
            scores.append(2 * share - 1)
            verb = "rises" if sign > 0 else "falls"
            if share == 1.0:
                reasons.append(f"{verb} with {name}, as such tables do")
            elif share < 0.8:
                doubts.append(f"does not {verb[:-1]} with {name}")
        return (sum(scores) / len(scores) if scores else 0.0), reasons, doubts
