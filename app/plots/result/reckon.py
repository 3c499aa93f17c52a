"""The work behind the picture, away from the window's thread: no Qt here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib_model.controller.binding import bind
from calib_model.core.arrays import BoolArray, IntArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.evidence.result import Ask, resulting
from calib_model.evidence.result_inputs import choices
from calib_model.evidence.result_relation import check_relation, torque_relation
from calib_model.lookup.warming import Warming

if TYPE_CHECKING:
    from app.vehicle_constants import ConstantsOf
    from calib_model.controller.binding import Bound
    from calib_model.evidence.result import Resulting
    from calib_model.evidence.result_inputs import Choice
    from calib_model.evidence.result_relation import RelationCheck

WARMING = Warming("import calib_model.evidence.result_kernel")
RESTLESS, UNKNOWN = -2, -3
"""Kinds of points beside the roles: never comes to rest; the law cannot run."""


@dataclass(frozen=True)
class Named:
    """A set and what it is called."""

    name: str
    content: CalibrationSet


@dataclass(frozen=True, eq=False)
class Picture:
    """Everything that is shown at once.

    Parameters
    ----------
    ask : Ask
    choices : tuple of Choice
    first : Resulting or None
        Of the set that differences start from.
    second : Resulting
    check : RelationCheck or None
    laws : tuple of Bound or None, and Bound
    vehicle : str
        Whose constants the law was given, in words.
    """

    ask: Ask
    choices: tuple[Choice, ...]
    first: Resulting | None
    second: Resulting
    check: RelationCheck | None
    laws: tuple[Bound | None, Bound]
    vehicle: str = ""

    @property
    def breach(self) -> BoolArray | None:
        """Where the relation between the modes is breached."""
        return self.check.mask if self.check is not None else None

    def left_out(self) -> Mapping[str, str]:
        """Return the roles of the second set that no table plays as it should, with the reason."""
        law = self.laws[1]
        told = dict(law.unusable)
        if law.missing:
            told["nobody"] = f"No table plays {', '.join(law.missing)}."
        return told


def kinds_of(result: Resulting) -> IntArray:
    """Return what each point is: the role that governs, -1 for none, or one of the kinds here."""
    kinds = np.where(result.settled, result.governing, RESTLESS)
    return np.where(np.isfinite(result.torque), kinds, UNKNOWN)


def kind_words(result: Resulting, kind: int) -> str:
    """Return a kind in words."""
    if kind == RESTLESS:
        return "never comes to rest"
    if kind == UNKNOWN:
        return "cannot be reckoned"
    return result.name_of(kind)


def reckon(
    first: Named | None, second: Named, ask: Ask | None, vehicle: ConstantsOf
) -> Picture | str:
    """Return the picture, or why there is none.

    Parameters
    ----------
    first : Named or None
    second : Named
    ask : Ask or None
        None for what is shown at first.
    vehicle : ConstantsOf
        Whose constants the law is given.
    """
    try:
        constants = vehicle.read()
        laws = [bind(named.content, constants) for named in (first, second) if named is not None]
        offered = choices(laws)
        points = {choice.name: choice.points for choice in offered}
        if len(points) < 2:
            return (
                f"{second.name} has no tables that play a part in the torque law, or they read "
                "fewer than two inputs. Give tables their roles, and axes their quantities."
            )
        if ask is None:
            usual = [n for n in ("pedal", "vehicle_speed") if n in points]
            x, y = (usual + [n for n in points if n not in usual])[:2]
            ask = Ask(x, y)
        elif not {ask.x, ask.y} <= set(points):
            return reckon(first, second, None, vehicle)
        if not WARMING.wait():
            return "The window closed before the torque law was compiled."
        told = [resulting(law, ask, points[ask.x], points[ask.y]) for law in laws]
        check = None
        if first is not None:
            relation = torque_relation(first.content, second.content)
            check = check_relation(told[0], told[1], relation)
        return Picture(
            ask,
            offered,
            told[0] if first is not None else None,
            told[-1],
            check,
            (laws[0] if first is not None else None, laws[-1]),
            vehicle.words,
        )
    except BitepointError as problem:
        return str(problem)
