"""Which channel of a recording gives which input of the controller.

Channels are suggested by name and kind of unit, never by unit alone, and only where one channel
fits.  What a recording lacks may be given as a constant, which is always said.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from ..controller.inputs import INPUTS, SYNC_UNKNOWN
from ..controller.needs import ALWAYS_COMPUTED, SOURCES
from ..controller.outputs import OUTPUTS
from ..core.numbers import with_unit
from ..core.units import known, same_kind
from ..errors import ModelError
from .recording import Recording

OWN = "controller."
"""Before the name of an output of the torque law: the controller's own signal."""
WHEELS = ("wheel_speed_fl", "wheel_speed_fr", "wheel_speed_rl", "wheel_speed_rr")
"""Raw signals from which inputs are derived; the others are inputs themselves."""


@dataclass(frozen=True)
class Target:
    """What a channel may be mapped to.

    Parameters
    ----------
    name, unit, meaning : str
    part : ``"input"``, ``"wheel"`` or ``"controller"``
    """

    name: str
    unit: str
    meaning: str
    part: str

    @property
    def label(self) -> str:
        """The name for reading."""
        return self.name.removeprefix(OWN).replace("_", " ")

    def said(self, value: float, unit: str = "") -> str:
        """Say a value of it for reading, in its own unit or another."""
        if self.name == "shaft_synchronised" and value == SYNC_UNKNOWN:
            return "not known"
        return with_unit(value, unit or self.unit)


_CORNERS = {"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right"}
TARGETS: Mapping[str, Target] = MappingProxyType(
    {
        t.name: t
        for t in (
            *(
                Target(i.name, i.unit, i.meaning, "input")
                for i in INPUTS
                if i.name not in ALWAYS_COMPUTED
            ),
            *(
                Target(w, "km/h", f"speed of the {_CORNERS[w[-2:]]} wheel at its tread", "wheel")
                for w in WHEELS
            ),
            *(
                Target(f"{OWN}{o.name}", o.unit, f"recorded by the controller: {o.meaning}",
                       "controller")
                for o in OUTPUTS
            ),
        )
    }
)  # fmt: skip
"""Everything a channel may be mapped to, by name."""


@dataclass(frozen=True)
class FromChannel:
    """A target's values come from a channel: ``value * factor``, from `unit` to the target's.

    Parameters
    ----------
    channel : str
    unit : str
        The channel's, where the file states none or a wrong one; empty for what it states.
    factor : float
        -1 for a channel with the opposite sign, a ratio for one at another place.
    """

    channel: str
    unit: str = ""
    factor: float = 1.0


@dataclass(frozen=True)
class Constant:
    """A target has one value throughout, since the recording does not hold it.

    Parameters
    ----------
    value : float
    unit : str
        Empty for the target's own.
    """

    value: float
    unit: str = ""


Source = FromChannel | Constant


@dataclass(frozen=True)
class ChannelMap:
    """What gives what.

    Parameters
    ----------
    sources : mapping of target name to FromChannel or Constant

    Raises
    ------
    ModelError
        If a name is no target, or a number is not finite.
    """

    sources: Mapping[str, Source] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, source in self.sources.items():
            if name not in TARGETS:
                raise ModelError(
                    f"{name!r} is nothing that a channel can give.",
                    f"Known are {', '.join(TARGETS)}.",
                )
            number = source.value if isinstance(source, Constant) else source.factor
            if not math.isfinite(number) or (isinstance(source, FromChannel) and number == 0):
                raise ModelError(f"{name}: {number} cannot be used.", "Give another number.")
        object.__setattr__(self, "sources", MappingProxyType(dict(self.sources)))

    def __iter__(self) -> Iterator[str]:
        return iter(self.sources)

    def __len__(self) -> int:
        return len(self.sources)

    def __reduce__(self) -> tuple[Any, ...]:
        return (ChannelMap, (dict(self.sources),))

    def get(self, name: str) -> Source | None:
        """Return what gives a target, or None."""
        return self.sources.get(name)

    def with_source(self, name: str, source: Source | None) -> ChannelMap:
        """Return the map with another source for a target; None takes it out."""
        changed = {k: v for k, v in self.sources.items() if k != name}
        if source is not None:
            changed[name] = source
        return ChannelMap(changed)

    @property
    def constants(self) -> dict[str, Constant]:
        """Targets that a constant stands for."""
        return {k: v for k, v in self.sources.items() if isinstance(v, Constant)}

    @property
    def missing(self) -> tuple[str, ...]:
        """Inputs that nothing gives and that cannot be worked out from what is given."""
        there = set(self.sources)
        if set(WHEELS) <= there:
            there |= {"axle_speed_difference"}
        if {WHEELS[2], WHEELS[3]} <= there:
            there |= {"vehicle_speed"}
        for _ in SOURCES:  # until nothing more follows
            for name, needs in SOURCES.items():
                if needs and all(n in there for n in needs):
                    there.add(name)
        out = ALWAYS_COMPUTED | {"slip_power", "plate_slip_speed", "front_slip"}
        return tuple(i.name for i in INPUTS if i.name not in there and i.name not in out)

    def to_plain(self) -> dict[str, Any]:
        """Return it as JSON can hold it, for settings."""
        plain: dict[str, Any] = {}
        for name, source in self.sources.items():
            if isinstance(source, Constant):
                plain[name] = {"value": source.value, "unit": source.unit}
            else:
                plain[name] = {
                    "channel": source.channel, "unit": source.unit, "factor": source.factor,
                }  # fmt: skip
        return plain

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> ChannelMap:
        """Return the map that `to_plain` wrote.

        Raises
        ------
        ModelError
            If it is something else.
        """
        sources: dict[str, Source] = {}
        try:
            for name, one in plain.items():
                unit = str(one.get("unit", ""))
                if "channel" in one:
                    sources[name] = FromChannel(
                        str(one["channel"]), unit, float(one.get("factor", 1.0))
                    )
                else:
                    sources[name] = Constant(float(one["value"]), unit)
        except (AttributeError, KeyError, TypeError, ValueError, OverflowError):
            raise ModelError("This is no channel mapping.", "Map the channels again.") from None
        return cls(sources)

    def problems(self, recording: Recording) -> dict[str, str]:
        """Return the targets whose source does not fit a recording, each with the reason."""
        found: dict[str, str] = {}
        for name, source in self.sources.items():
            target = TARGETS[name]
            unit = source.unit
            if isinstance(source, FromChannel):
                channel = recording.channels.get(source.channel)
                if channel is None:
                    found[name] = f"the recording has no channel {source.channel!r}"
                    continue
                unit = unit or channel.unit
            if unit and not same_kind(unit, target.unit):
                what = "is no known unit" if not known(unit) else "is of another kind"
                found[name] = f"{unit!r} {what}; {target.label} is in {target.unit!r}"
        return found


def source_key(recording: Recording) -> str:
    """Return a text that is equal for recordings with the same channels in the same units."""
    lines = sorted(f"{c.name}\t{c.unit}" for c in recording.channels.values())
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()[:32]


def suggest(
    recording: Recording, given: ChannelMap | None = None, without: Collection[str] = ()
) -> ChannelMap:
    """Return which channels probably give what, and stated defaults for what is absent.

    A default (`controller.inputs`) is given as a constant, so that it can be seen and changed.

    Parameters
    ----------
    recording : Recording
    given : ChannelMap, optional
        What is known already.  It stands; its channels are not taken for anything else.
    without : collection of str
        Targets that get no source.
    """
    named: dict[str, list[str]] = {}
    for name in recording.channels:
        named.setdefault(_exact(name), []).append(name)
    tokens = {name: _tokens(name) for name in recording.channels}
    sources: dict[str, Source] = dict(given.sources) if given is not None else {}
    taken = {s.channel for s in sources.values() if isinstance(s, FromChannel)}
    for by_alias in (False, True):
        for name, target in TARGETS.items():
            if name in sources or name in without:
                continue
            if by_alias:
                wanted = _ALIASES.get(name, ())
                fits = [c for c, t in tokens.items() if t in wanted and c not in taken]
            else:
                fits = [c for c in named.get(_exact(name), ()) if c not in taken]
            fits = [c for c in fits if _kind_fits(recording.channels[c].unit, target.unit)]
            if len(fits) == 1:
                sources[name] = FromChannel(fits[0])
                taken.add(fits[0])
    derived = {"vehicle_speed", "axle_speed_difference"} if set(WHEELS) <= set(sources) else set()
    for one in INPUTS:
        unsaid = one.name not in sources and one.name not in without
        if unsaid and math.isfinite(one.default) and one.name not in derived:
            sources[one.name] = Constant(one.default)
    order = {name: number for number, name in enumerate(TARGETS)}
    return ChannelMap(dict(sorted(sources.items(), key=lambda item: order[item[0]])))


def _kind_fits(unit: str, wanted: str) -> bool:
    return not unit or same_kind(unit, wanted)


def _exact(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


_WORDS = {
    "veh": "vehicle", "car": "vehicle", "spd": "speed", "vel": "speed", "velocity": "speed",
    "amb": "ambient", "outside": "ambient", "outdoor": "ambient", "temp": "temperature",
    "tmp": "temperature", "whl": "wheel", "steer": "steering", "str": "steering", "swa": "steering",
    "ang": "angle", "acc": "acceleration", "accel": "acceleration", "lat": "lateral",
    "brk": "brake", "ctrl": "control", "mot": "motor", "clu": "clutch", "trq": "torque",
    "tq": "torque",
    "tor": "torque", "cmd": "commanded", "command": "commanded", "req": "commanded",
    "requested": "commanded", "dem": "commanded", "target": "commanded", "cur": "current",
    "curr": "current", "pos": "position", "drv": "drive", "propshaft": "shaft",
    "driveshaft": "shaft", "gradient": "grade", "slope": "grade", "wip": "wiper", "wipers": "wiper",
    "accelerator": "pedal", "plates": "plate", "stage": "state", "status": "state",
    "level": "state", "act": "actual", "force": "clamp", "gas": "pedal",
}  # fmt: skip
_NOISE = {
    "signal", "sig", "value", "val", "actual", "raw", "meas", "measured", "sensor", "pct",
    "percent", "kmh", "kph", "nm", "degc", "celsius", "air", "position", "road", "can", "ecu",
    "abs_sensor", "filtered", "filt",
}  # fmt: skip


def _tokens(name: str) -> frozenset[str]:
    """Return the words of a name: abbreviations spelt out, units and the like left out."""
    parted = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name)
    words = [w for w in re.split(r"[^a-z0-9]+", parted.lower()) if w]
    text = " ".join(_WORDS.get(w, w) for w in words)
    for corner, said in _CORNERS.items():
        text = re.sub(rf"\b{said.replace(' ', '.?')}\b", corner, text)
    return frozenset(w for w in text.split() if w not in _NOISE)


def _sets(*texts: str) -> tuple[frozenset[str], ...]:
    return tuple(frozenset(t.split()) for t in texts)


_ALIASES: dict[str, tuple[frozenset[str], ...]] = {
    "ambient_temperature": _sets("ambient temperature", "ambient"),
    "pedal": _sets("pedal", "pedal acceleration", "throttle pedal", "pedal drive"),
    "vehicle_speed": _sets("vehicle speed", "speed"),
    "wiper_state": _sets("wiper state", "wiper"),
    "brake_state": _sets("brake state", "brake control", "brake control state",
                         "brake control active"),
    "steering_angle": _sets("steering angle", "steering wheel angle", "steering"),
    "plate_temperature": _sets("plate temperature", "clutch temperature",
                               "clutch plate temperature"),
    "oil_temperature": _sets("oil temperature", "clutch oil temperature", "axle oil temperature"),
    "motor_temperature": _sets("motor temperature", "actuator temperature",
                               "actuator motor temperature", "clutch motor temperature"),
    "shaft_speed": _sets("shaft speed"),
    "grade": _sets("grade", "hill grade"),
    "axle_speed_difference": _sets("axle speed difference", "axle speed diff"),
    "inside_brake_request": _sets("inside brake commanded", "turn assist commanded",
                                  "inside brake"),
    "shaft_synchronised": _sets("shaft synchronised", "shaft sync"),
    "yaw_rate": _sets("yaw rate", "yaw"),
    "lateral_acceleration": _sets("lateral acceleration", "ay"),
    **{
        f"wheel_speed_{c}": _sets(f"wheel speed {c}", f"{c} speed", f"wheel {c}", f"{c} wheel")
        for c in _CORNERS
    },
    f"{OWN}torque": _sets("clutch torque", "commanded clutch torque", "commanded torque",
                          "clutch torque controller"),
    f"{OWN}clamp": _sets("clamp", "commanded clamp", "clutch clamp", "commanded clutch clamp"),
    f"{OWN}current": _sets("motor current", "commanded current", "commanded motor current",
                           "actuator current", "clutch motor current"),
    f"{OWN}state": _sets("shaft state", "controller state"),
    f"{OWN}inside_brake": _sets("inside brake torque", "commanded inside brake torque"),
}  # fmt: skip
