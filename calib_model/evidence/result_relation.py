"""The mode relation held against the resulting torque: tables may each pass while it fails.

**Which relation.**  No table states one for the result.  The relations that the mode's
feed-forward tables state (pre-engage, cruise base and hill torque) all speak of how much torque
the mode asks for, so the result takes theirs over: where every one that states an order says "at
least", the result must be at least the base mode's; likewise "at most", and "equal" where all say
so.  Where they disagree, or none states one, nothing is checked, and the reason is said.

**What is meant.**  A point that falls short while the governing table's own relation asks for
less in that mode (such as a lateral limit that is "at most" the base's for towing) is meant, and
listed apart.  A table whose relation is "free" excuses nothing: this is how tables that each pass
make a result that fails.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calib_model.compare.relation import oriented
from calib_model.controller.outputs import FEED_FORWARD_ROLES
from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import short, with_unit
from calib_model.core.roles import ROLES
from calib_model.errors import ModelError
from calib_model.evidence.regions import regions
from calib_model.evidence.result import Resulting
from calib_model.evidence.result_inputs import LABELS, UNITS

TOLERANCE = 1e-6
"""N.m; what rounding may leave."""
_WORDS = {">=": "at least", "<=": "at most", "==": "equal to"}


@dataclass(frozen=True)
class TorqueRelation:
    """What must hold between the resulting torque of a mode and of its base mode.

    Parameters
    ----------
    sense : str
        ``>=``, ``<=`` or ``==``, read mode to base; empty where nothing is to be checked.
    words : str
        The relation and where it comes from, or why there is none.
    turned : bool
        Whether the mode's set is the first of the two, not the second.
    senses : mapping of role to str
        What the mode's tables state.
    """

    sense: str
    words: str
    turned: bool
    senses: Mapping[str, str]


def torque_relation(first: CalibrationSet, second: CalibrationSet) -> TorqueRelation:
    """Return the relation between the resulting torques of two sets."""
    pair = oriented(first, second)
    if pair is None:
        why = "No mode relation applies: the sets are not a mode and its base mode."
        return TorqueRelation("", why, False, {})
    mode_set, base = pair
    senses = {t.role: t.relations.get(mode_set.mode, "free") for t in mode_set if t.role}
    stated = {
        role: senses[role] for role in FEED_FORWARD_ROLES if senses.get(role, "free") != "free"
    }
    turned = mode_set is first
    sense = _common(set(stated.values()))
    if not sense:
        said = ", ".join(f"{role} {sense}" for role, sense in stated.items())
        why = f"they disagree ({said})" if stated else "none states a relation"
        words = f"Not checked for mode {mode_set.mode}: of the feed-forward tables, {why}."
        return TorqueRelation("", words, turned, senses)
    states = "states" if len(stated) == 1 else "state"
    words = (
        f"The torque of {mode_set.mode} must be {_WORDS[sense]} {base.mode}'s, as "
        f"{_listed(list(stated))} {states}."
    )
    return TorqueRelation(sense, words, turned, senses)


def _common(stated: set[str]) -> str:
    """Return the sense that all agree with, empty if there is none."""
    if not stated:
        return ""
    for sense, those in ((">=", {">=", "=="}), ("<=", {"<=", "==", "zero"})):
        if stated <= those:
            return "==" if stated == {"=="} else sense
    return ""


@dataclass(frozen=True, eq=False)
class ResultBreach:
    """Points that hang together and breach the relation, all decided by the same two tables.

    Parameters
    ----------
    mask : bool array, shape (rows, columns)
    worst : tuple of int
        Row and column of the largest breach.
    amount : float
        How far the mode's torque is beyond there, in N.m, positive.
    mode_by, base_by : str
        Roles that govern; empty for none.
    words : str
    """

    mask: BoolArray
    worst: tuple[int, int]
    amount: float
    mode_by: str
    base_by: str
    words: str


@dataclass(frozen=True, eq=False)
class RelationCheck:
    """The relation held against two pictures.

    Parameters
    ----------
    relation : TorqueRelation
    breaches, meant : tuple of ResultBreach
        The worst first; `meant` are those that the governing table's own relation asks for.
    looked_at : int
        How many points were compared.
    """

    relation: TorqueRelation
    breaches: tuple[ResultBreach, ...]
    meant: tuple[ResultBreach, ...]
    looked_at: int

    @property
    def mask(self) -> BoolArray | None:
        """Where the relation is breached, or None."""
        return np.logical_or.reduce([b.mask for b in self.breaches]) if self.breaches else None

    @property
    def words(self) -> str:
        """Say it in a line."""
        if not self.relation.sense:
            return self.relation.words
        if not self.looked_at:
            return f"Nowhere could both be reckoned. {self.relation.words}"
        points = f"{self.looked_at} points looked at"
        aside = "" if not self.meant else f"; {len(self.meant)} meant by the tables' own relations"
        if not self.breaches:
            return f"Mode relation holds at the {points}{aside}. {self.relation.words}"
        count = int(np.sum([b.mask.sum() for b in self.breaches]))
        worst = with_unit(self.breaches[0].amount, "N.m", 4)
        return (
            f"Mode relation breached at {count} of the {points}, by up to {worst}{aside}. "
            f"{self.relation.words}"
        )


def check_relation(first: Resulting, second: Resulting, relation: TorqueRelation) -> RelationCheck:
    """Hold the relation against two pictures of the same points.

    Raises
    ------
    ModelError
        If the pictures do not show the same points.
    """
    if first.torque.shape != second.torque.shape or first.ask != second.ask:
        raise ModelError("The two results do not show the same points.", "Reckon both alike.")
    mode, base = (first, second) if relation.turned else (second, first)
    more = mode.torque - base.torque
    looked_at = int(np.isfinite(more).sum())
    if not relation.sense:
        return RelationCheck(relation, (), (), looked_at)
    beyond = {">=": -more, "<=": more, "==": np.abs(more)}[relation.sense]
    with np.errstate(invalid="ignore"):
        wrong = beyond > TOLERANCE
    # Pairs of governing tables, numbered: neighbours with the same pair hang together.
    pairs = (mode.governing + 1) * (len(ROLES) + 1) + base.governing + 1
    asked = {">=": {"<=", "zero"}, "<=": {">="}, "==": set[str]()}[relation.sense]
    breaches: list[ResultBreach] = []
    meant: list[ResultBreach] = []
    for region in regions(pairs, wrong):
        found = _breach(region.mask, beyond, mode, base, relation)
        own = relation.senses.get(found.mode_by, "free")
        (meant if own in asked else breaches).append(found)
    breaches.sort(key=lambda b: -b.amount)
    return RelationCheck(relation, tuple(breaches), tuple(meant), looked_at)


def _breach(
    mask: BoolArray,
    beyond: FloatArray,
    mode: Resulting,
    base: Resulting,
    relation: TorqueRelation,
) -> ResultBreach:
    amounts = np.where(mask, beyond, -np.inf)
    row, column = (int(i) for i in np.unravel_index(int(np.argmax(amounts)), mask.shape))
    amount = float(amounts[row, column])
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    where = ", ".join(
        _range(name, places[[index[0], index[-1]]])
        for name, places, index in ((mode.ask.y, mode.y, rows), (mode.ask.x, mode.x, columns))
    )
    side = {">=": "below", "<=": "above", "==": "off"}[relation.sense]
    numbers = int(mode.governing[row, column]), int(base.governing[row, column])
    by = f"decided by {mode.name_of(numbers[0])}" if numbers[0] >= 0 else mode.name_of(-1)
    if numbers[0] != numbers[1]:
        by += f", in the base by {base.name_of(numbers[1])}"
        if numbers[1] < 0:
            by = by.replace("in the base by ", "in the base ")
    count = int(mask.sum())
    points = "1 point" if count == 1 else f"{count} points"
    worst = (
        f"{with_unit(float(mode.torque[row, column]), 'N.m', 5)} against "
        f"{with_unit(float(base.torque[row, column]), 'N.m', 5)} at "
        f"{with_unit(float(mode.y[row]), UNITS[mode.ask.y], 5)}, "
        f"{with_unit(float(mode.x[column]), UNITS[mode.ask.x], 5)}"
    )
    words = (
        f"Up to {with_unit(amount, 'N.m', 4)} {side} the base at {points}: {where}; {by}. "
        f"Worst: {worst}."
    )
    roles = [ROLES[n] if n >= 0 else "" for n in numbers]
    return ResultBreach(mask, (row, column), amount, roles[0], roles[1], words)


def _range(name: str, ends: FloatArray) -> str:
    unit = UNITS[name]
    low, high = (float(v) for v in ends)
    label = LABELS[name][:1].lower() + LABELS[name][1:]
    if low == high:
        return f"{label} {with_unit(low, unit, 5)}"
    return f"{label} {short(low, 5)} to {with_unit(high, unit, 5)}"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
