"""What replay and manoeuvres can do with a set as it is bound, and what they still lack."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from ..controller.binding import bind
from ..controller.constants import Constants
from ..controller.inputs import INPUTS
from ..controller.needs import left_out
from ..controller.outputs import BESIDE
from ..core.calibration_set import CalibrationSet
from ..core.roles import QUANTITIES, ROLES
from ..core.unit_words import alike

ABILITIES: Mapping[str, tuple[str, ...]] = {
    "torque before slip": ("pre_engage_torque", "pre_engage_fade", "hill_torque"),
    "torque while cruising": ("cruise_base_torque", "ambient_factor", "wiper_factor"),
    "slip control": (
        "slip_target",
        "slip_gain",
        "slip_dead_band",
        "slip_integral_gain",
        "slip_integral_release",
        "expected_axle_difference",
    ),
    "yaw term": ("yaw_error_torque", "yaw_dead_band"),
    "limits of the torque": ("steering_limit", "lateral_limit", "brake_control_torque"),
    "slew of the torque": ("torque_rise_slew", "torque_fall_slew", "controller_tick"),
    "clamp limits and heat": (
        "clamp_limit_plate",
        "clamp_limit_oil",
        "slip_power_derate",
        "plate_heat_capacity",
        "plate_cooling",
    ),
    "clamp force and motor current": (
        "plate_friction",
        "current_for_clamp_apply",
        "current_for_clamp_release",
        "touch_point_current",
        "holding_factor",
    ),
    "disconnecting and reconnecting": (
        "disconnect_speed",
        "reconnect_speed",
        "reconnect_pedal",
        "disconnect_delay",
        "disconnect_allowed",
        "low_grip_memory",
        "reconnect_lead_time",
        "spin_up_torque",
        "sync_window",
    ),
    "inside brake": ("inside_rear_brake", "clutch_during_inside_brake"),
    "rules only": ("actuator_rate",),
}
"""What a desk run does, with the roles that take part; each role once."""


@dataclass(frozen=True)
class Ability:
    """One thing that replay and manoeuvres do.

    Parameters
    ----------
    name : str
    there : tuple of str
        Roles that take part.
    lacking : mapping of role to str
        Those that do not, with the reason.
    """

    name: str
    there: tuple[str, ...]
    lacking: Mapping[str, str]

    @property
    def state(self) -> str:
        """``complete``, ``in part`` or ``not there``."""
        if not self.lacking:
            return "complete"
        return "in part" if self.there else "not there"


@dataclass(frozen=True)
class Readiness:
    """What a set can do at the desk.

    Parameters
    ----------
    abilities : tuple of Ability
    repeated : mapping of role to tuple of str
        Roles that several tables claim.
    strangers : mapping of table id to str
        Tables bound to a role that is not known.
    unread : mapping of table id to str
        Tables that replay cannot look up along a recording, with the reason.
    tables : int
        How many tables the set has.
    """

    abilities: tuple[Ability, ...]
    repeated: Mapping[str, tuple[str, ...]]
    strangers: Mapping[str, str]
    unread: Mapping[str, str]
    tables: int

    @property
    def missing(self) -> dict[str, str]:
        """Roles that take no part, with the reason."""
        return {r: why for one in self.abilities for r, why in one.lacking.items()}

    @property
    def words(self) -> str:
        """How far it is, in a sentence."""
        there = sum(len(one.there) for one in self.abilities)
        read = self.tables - len(self.unread)
        return (
            f"{there} of {len(ROLES)} roles are played and take part; replay can look up {read} "
            f"of {self.tables} tables along a recording."
        )


def readiness(content: CalibrationSet, constants: Constants | None = None) -> Readiness:
    """Return what replay and manoeuvres can do, if a recording held every input.

    Parameters
    ----------
    content : CalibrationSet
    constants : Constants, optional
        Of the vehicle; they decide nothing here.
    """
    found = bind(content, constants or Constants())
    given = [one.name for one in INPUTS if not one.computed]
    out = {role: why for role, why in left_out(found.tables, given).items() if role not in BESIDE}
    why = {
        **dict.fromkeys(found.missing, "no table plays it"),
        **found.unusable,
        **out,
    }
    abilities = tuple(
        Ability(
            name,
            tuple(role for role in roles if role not in why),
            MappingProxyType({role: why[role] for role in roles if role in why}),
        )
        for name, roles in ABILITIES.items()
    )
    return Readiness(
        abilities, found.repeated, found.strangers, MappingProxyType(_unread(content)), len(content)
    )


def _unread(content: CalibrationSet) -> dict[str, str]:
    reasons = {}
    for table in content:
        for axis in table.axes:
            wanted = QUANTITIES.get(axis.quantity)
            if wanted is None:
                said = (
                    f"reads {axis.quantity!r}, no known input" if axis.quantity else "reads nothing"
                )
                reasons[table.id] = f"its axis {axis.label} {said}"
                break
            if alike(axis.unit, wanted) != "same":
                reasons[table.id] = f"its axis {axis.label} is in {axis.unit}, not {wanted}"
                break
    return reasons
