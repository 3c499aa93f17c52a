"""Sets with foreign names: the sample's tables under other names, among tables that look alike.

Phrases of one column name all roles in one house's way; a style writes phrases as ids.  The
vocabulary and the weights were set with the columns "plain", "shop" and "other" in view.  "far" was
written afterwards, of words that the vocabulary does not hold, and nothing was changed for it: it
is measured only.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table

# role: plain | shop | other | far
PHRASES = """
pre_engage_torque: pre engagement torque | feed forward clutch torque | anticipatory coupling moment | launch readiness load
pre_engage_fade: pre engagement fade | feed forward fade over speed | anticipation washout | readiness roll off
cruise_base_torque: cruise base torque | base clutch torque driving | minimum holding moment underway | running drag load
ambient_factor: ambient factor | cold weather factor | outside air correction | frost modifier
wiper_factor: wiper factor | rain factor | wiping stage correction | precipitation modifier
low_grip_memory: low grip memory | slippery road decay time | low mu retention | ice suspicion period
steering_limit: steering torque limit | tight turn torque limit | handwheel moment ceiling | lock to lock load cap
expected_axle_difference: expected axle speed difference | ackermann speed difference | geometric axle delta | turning geometry speed gap
slip_dead_band: slip dead band | slip threshold | slip insensitive zone | creepage tolerance
slip_target: slip target | slip setpoint | desired wheel slip | permitted creepage
slip_gain: slip gain | slip proportional gain | slip controller amplification | creepage response strength
slip_integral_gain: slip integral gain | slip integrator gain | slip controller i share | creepage accumulator strength
slip_integral_release: slip integral release | integrator discharge rate | i share unwinding | accumulator bleed
torque_rise_slew: torque rise slew | torque ramp up | moment increase gradient | load build speed
torque_fall_slew: torque fall slew | torque ramp down | moment decrease gradient | load shed speed
yaw_error_torque: yaw error torque | yaw control torque | yaw deviation moment | rotation mismatch load
yaw_dead_band: yaw dead band | yaw rate threshold | yaw neutral zone | rotation mismatch tolerance
lateral_limit: lateral torque limit | lat g torque limit | cross acceleration moment ceiling | sideforce load cap
brake_control_torque: brake control torque | brake intervention torque | brake action residual moment | stability event load
plate_friction: plate friction | clutch mu | lining friction value | facing grip number
current_for_clamp_apply: clamp current apply | motor current closing | actuator amps engaging | squeeze drive upward
current_for_clamp_release: clamp current release | motor current unloading | actuator amps releasing | squeeze drive downward
touch_point_current: touch point current | kiss point current | bite point amps | first contact drive
holding_factor: holding factor | hold current factor | retain share | static drive portion
clamp_limit_plate: clamp limit plate | max clamp force plate temp | press force ceiling lining | squeeze cap facing
clamp_limit_oil: clamp limit oil | max clamp force oil temp | press force ceiling fluid | squeeze cap sump
slip_power_derate: slip power derate | friction power derating | thermal power protection | dissipated energy cutback
plate_cooling: plate cooling | clutch cooling | lining heat dissipation | facing cooldown
disconnect_speed: disconnect speed | decoupling speed | opening velocity | part velocity
reconnect_speed: reconnect speed | recoupling speed | rejoin velocity | join velocity
reconnect_pedal: reconnect pedal | recoupling pedal | rejoin accelerator | join throttle
disconnect_delay: disconnect delay | decoupling delay | opening wait | part patience
spin_up_torque: spin up torque | shaft spinup clutch torque | propshaft run up moment | whirl load
sync_window: sync window | synchronisation window | speed matching tolerance | meshing band
inside_rear_brake: inside rear brake torque | inner rear wheel brake torque | curve inner wheel braking moment | nearside rear stopping load
clutch_during_inside_brake: clutch torque inside brake | clutch torque while inner brake | coupling moment inner braking | load during nearside stopping
hill_torque: hill torque | slope launch torque | incline start moment | uphill readiness load
plate_heat_capacity: plate heat capacity | clutch thermal capacity | lining caloric mass | facing energy store
controller_tick: controller tick | task cycle time | computation period | loop interval
reconnect_lead_time: reconnect lead time | recoupling lead time | rejoin advance | join notice
actuator_rate: actuator rate | clamp force rate | press force gradient | squeeze speed
disconnect_allowed: disconnect allowed | decoupling enable | opening permission | may part
"""  # noqa: E501
HOUSES = ("plain", "shop", "other", "far")
ROLE_PHRASES = {
    role.strip(): dict(zip(HOUSES, (p.strip() for p in phrases.split("|")), strict=True))
    for role, phrases in (line.split(":") for line in PHRASES.strip().splitlines())
}
AXIS_PHRASES = {
    "ambient_temperature": (
        "ambient temp",
        "outside temperature",
        "air temperature",
        "outdoor degrees",
    ),
    "pedal": ("pedal", "accelerator pedal", "throttle position", "driver wish"),
    "vehicle_speed": ("vehicle speed", "veh spd", "road velocity", "pace"),
    "wiper_state": ("wiper", "wiper stage", "rain state", "blade mode"),
    "brake_state": ("brake state", "brake active", "braking flag", "stopping flag"),
    "steering_angle": ("steering angle", "steer ang", "handwheel angle", "rim rotation"),
    "steering_angle_abs": (
        "abs steering angle",
        "steer ang abs",
        "handwheel magnitude",
        "rim rotation size",
    ),
    "slip_error": ("slip error", "slip deviation", "slip difference", "creepage excess"),
    "yaw_rate_error": ("yaw error", "yaw rate deviation", "yaw dev", "rotation mismatch"),
    "lateral_acceleration_abs": (
        "lateral accel abs",
        "lat acc",
        "cross acceleration",
        "sideforce size",
    ),
    "plate_slip_speed": ("slip speed", "plate delta speed", "sliding velocity", "rubbing pace"),
    "plate_temperature": ("plate temp", "clutch temp", "lining temperature", "facing degrees"),
    "oil_temperature": ("oil temp", "oil temperature", "fluid temp", "sump degrees"),
    "motor_temperature": ("motor temp", "actuator temp", "mot tmp", "drive degrees"),
    "clamp": ("clamp force", "clamp", "press force", "squeeze"),
    "slip_power": ("slip power", "friction power", "heat flow", "dissipated energy"),
    "shaft_speed": ("shaft speed", "propshaft speed", "shaft rate", "tube pace"),
    "shaft_speed_target": (
        "target shaft speed",
        "shaft speed setpoint",
        "desired shaft rate",
        "tube pace wanted",
    ),
    "grade": ("grade", "road slope", "inclination", "tilt"),
}
SPELLINGS = {
    "N.m": ("Nm", "N*m", "Newton metre"),
    "km/h": ("km/h", "kph", "kmh"),
    "degC": ("°C", "deg C", "Celsius"),
    "%": ("%", "percent", "pct"),
    "deg": ("°", "deg", "degrees"),
    "rad/s": ("rad/s", "rad/sec", "rad s-1"),
    "m/s2": ("m/s^2", "m/s²", "m s-2"),
    "deg/s": ("°/s", "deg/s", "deg/sec"),
    "N.m/(km/h)": ("Nm/(km/h)", "Nm per km/h", "Nm/kph"),
    "N.m/(km/h.s)": ("Nm/(km/h)/s", "Nm/(km/h*s)", "Nm/kph/s"),
    "N.m/s": ("Nm/s", "Nm per s", "Nm/sec"),
    "-": ("", "-", "1"),
    "0/1": ("bool", "-", ""),
}


def snake(words: list[str]) -> str:
    return "_".join(words)


def camel(words: list[str]) -> str:
    return "".join(word.capitalize() for word in words)


def bare(words: list[str]) -> str:
    """Without vowels but the first letter, as ids with few letters allowed are."""
    return "_".join(w[0] + re.sub("[aeiou]", "", w[1:]) if len(w) > 4 else w for w in words)


def short(words: list[str]) -> str:
    """The first four letters of each word, in capitals."""
    return "_".join(word[:4] for word in words).upper()


STYLES: dict[str, Callable[[list[str]], str]] = {
    "snake": snake,
    "camel": camel,
    "bare": bare,
    "short": short,
}
"""Styles "short" and "bare" were looked at with seeds 1 and 2 only."""

# -- tables of other functions: what they are called, in which unit ------------------------

TOPICS = [
    topic.strip()
    for topic in [
        "\nengine torque",
        " boost pressure",
        " fan duty",
        " coolant pump",
        " cabin blower",
        " window heater",
        "\nbattery voltage",
        " charge current",
        " lamp dimming",
        " door lock",
        " horn",
        " seat heating",
        " gear shift",
        "\nconverter lockup",
        " idle speed",
        " lambda",
        " ignition",
        " injection",
        " exhaust flap",
        " steering assist",
        "\nsteering damping",
        " steering return",
        " parking brake",
        " brake booster",
        " brake pad wear",
        " ride\nheight",
        " damper",
        " tyre pressure",
        " trailer stabilisation",
        " lane keeping",
        " distance keeping",
        "\nstart stop",
        " generator load",
        " compressor",
        " fuel pump",
        " air filter",
        " washer pump",
        " mirror\nheating",
        " suspension stiffness",
        " adaptive light\n",
    ]
]
THINGS = ("limit", "gain", "offset", "threshold", "correction", "filter time", "rate", "target",
          "factor", "request", "hysteresis", "ramp", "delay", "base", "minimum")  # fmt: skip
TWISTS = ("backup", "limp home", "diagnosis", "plausibility", "test bench", "spare", "trailer",
          "old variant", "service")  # fmt: skip


def foreign(
    sample: CalibrationSet, house: str, style: str, seed: int, decoys: int = 258, trim: float = 0.1
) -> tuple[CalibrationSet, dict[str, str]]:
    """Return the sample under foreign names among decoys, and the role of each of its tables.

    Parameters
    ----------
    sample : CalibrationSet
    house : str
        Which phrases.
    style : str
        How they are written.
    seed : int
        Units' spelling, order of axes, breakpoints, values and decoys follow from it.
    decoys : int
        A third of them has axes and values of a role's table, and a tenth its name too, with a
        word that says it is another thing.
    trim : float
        By what share values are off those of the sample at most.
    """
    stream = np.random.default_rng(seed)
    made: dict[str, Table] = {}
    roles: dict[str, str] = {}
    originals = list(sample)
    for table in originals:
        words = ROLE_PHRASES[table.role][house].split()
        new = _disguised(table, words, house, style, stream, trim)
        if new.id in made:
            new = replace(new, id=f"{new.id}_B")
        made[new.id] = new
        roles[new.id] = table.role
    for number in range(decoys):
        table = originals[int(stream.integers(len(originals)))]
        if number % 10 == 0:
            twist = TWISTS[int(stream.integers(len(TWISTS)))].split()
            words = [*twist, *ROLE_PHRASES[table.role][house].split()]
        else:
            topic = TOPICS[int(stream.integers(len(TOPICS)))]
            words = [*topic.split(), *THINGS[int(stream.integers(len(THINGS)))].split()]
        new = _disguised(table, words, house, style, stream, trim)
        if number % 3:
            new = _other(new, stream)
        while new.id in made:
            new = replace(new, id=f"{new.id}_{number}")
        made[new.id] = new
    order = stream.permutation(list(made))
    return CalibrationSet([made[id] for id in order.tolist()]), roles


def _disguised(
    table: Table,
    words: list[str],
    house: str,
    style: str,
    stream: np.random.Generator,
    trim: float,
) -> Table:
    column = HOUSES.index(house)
    spelling = int(stream.integers(3))
    axes = []
    for axis in table.axes:
        named = AXIS_PHRASES[axis.quantity][column].split()
        unit = SPELLINGS.get(axis.unit, (axis.unit,) * 3)[spelling]
        axes.append(Axis(axis.values, STYLES[style](named), unit))
    values = table.values * (1 + trim * stream.uniform(-1, 1))
    if len(axes) == 2 and stream.random() < 0.5:
        axes, values = axes[::-1], values.T
    unit = SPELLINGS.get(table.unit, (table.unit,) * 3)[spelling]
    # Half of them keep a written name beside the id, as descriptions often do.
    name = " ".join(words).capitalize() if stream.random() < 0.5 else ""
    return Table(STYLES[style](words), values, tuple(axes), name, unit)


UNITS = ("bar", "V", "A", "%", "-", "s", "ms", "rpm", "Nm", "km/h", "°C", "l/h", "mg", "deg")


def _other(table: Table, stream: np.random.Generator) -> Table:
    """Another unit and other numbers on the same axes."""
    unit = UNITS[int(stream.integers(len(UNITS)))]
    scale = 10 ** stream.uniform(-1, 2)
    base = stream.normal(size=table.shape).cumsum(axis=0) if table.axes else stream.normal()
    return replace(table, unit=unit, values=np.asarray(base) * scale)
