"""Every parameter of the vehicle model, once: name, unit, value, bounds and origin.

The values are those of the invented van Larch.  "scenario" marks a figure of its description;
"invented" one that was made up for it in the range of common practice (no source).
"""

from __future__ import annotations

from dataclasses import dataclass

SCENARIO = "scenario"
INVENTED = "invented"


@dataclass(frozen=True)
class Parameter:
    """One number of the vehicle.

    Parameters
    ----------
    name, unit : str
    value : float
        Of the invented van.
    low, high : float
        Bounds, both allowed.
    meaning, origin : str
    """

    name: str
    unit: str
    value: float
    low: float
    high: float
    meaning: str
    origin: str = INVENTED


@dataclass(frozen=True)
class Curve:
    """A list of numbers of the vehicle, or a grid of them over two lists.

    Parameters
    ----------
    name, unit : str
    values : tuple
        Of the invented van; of tuples for a grid.
    low, high : float
        Bounds of every number.
    over : tuple of str
        The lists (of the same section) that a value goes with; empty for a list of breakpoints,
        which rises strictly.
    meaning, origin : str
    """

    name: str
    unit: str
    values: tuple[float, ...] | tuple[tuple[float, ...], ...]
    low: float
    high: float
    over: tuple[str, ...]
    meaning: str
    origin: str = INVENTED


P, C = Parameter, Curve

SECTIONS: dict[str, tuple[Parameter | Curve, ...]] = {
    "body": (
        P("mass", "kg", 1700.0, 300, 20000, "empty, with driver", SCENARIO),
        P("front_to_centre", "m", 1.134, 0.1, 6, "front axle to centre of gravity", SCENARIO),
        P("rear_to_centre", "m", 1.566, 0.1, 6, "rear axle to centre of gravity", SCENARIO),
        P("centre_height", "m", 0.62, 0, 2.5, "centre of gravity above the ground", SCENARIO),
        P("track", "m", 1.58, 0.5, 3, "distance of the wheels of an axle", SCENARIO),
        P("yaw_inertia", "kg.m2", 3000.0, 100, 100000, "about the centre of gravity"),
        P("steering_ratio", "-", 15.0, 1, 40, "steering wheel per road wheel angle", SCENARIO),
        P("drag_area", "m2", 1.15, 0, 15, "drag coefficient times frontal area"),
        P("air_density", "kg/m3", 1.25, 0, 2, "about 10 degC at sea level"),
        P("front_roll_share", "-", 0.55, 0, 1, "front axle's share of the roll moment"),
        P("load_lag", "s", 0.05, 0.01, 1, "of the wheel loads behind the accelerations"),
    ),
    "load": (
        P("payload", "kg", 0.0, 0, 20000, "what is loaded"),
        P("payload_from_front", "m", 1.9, -1, 10, "its place behind the front axle"),
        P("payload_height", "m", 0.85, 0, 4, "its centre above the ground"),
    ),
    "trailer": (
        P("trailer_mass", "kg", 0.0, 0, 20000, "mass that is pulled; it does not swing"),
        P("hitch_load", "N", 0.0, 0, 5000, "weight of the trailer on the hitch"),
        P("hitch_behind", "m", 0.9, 0, 4, "hitch behind the rear axle"),
        P("hitch_height", "m", 0.45, 0, 1.5, "hitch above the ground"),
        P("trailer_rolling", "-", 0.014, 0, 0.2, "rolling resistance per weight"),
        P("trailer_drag_area", "m2", 0.0, 0, 15, "drag coefficient times area in the wake"),
    ),
    "tyre": (
        P("wheel_radius", "m", 0.335, 0.1, 0.8, "rolling radius", SCENARIO),
        P("wheel_inertia", "kg.m2", 1.2, 0.05, 50, "one wheel with its brake and half-shaft"),
        P("rolling_resistance", "-", 0.012, 0, 0.2, "share of the wheel load"),
        P("front_side_factor", "-", 0.40, 0.05, 2, "on the slip angle's tangent, front axle"),
        P("rear_side_factor", "-", 0.568, 0.05, 2, "the same, rear axle; larger: understeer"),
        P("slip_stiffness", "-", 1.0, 0.2, 5, "factor on the steepness of the friction curves"),
        P("relaxation_along", "m", 0.25, 0.02, 2, "relaxation length along the wheel"),
        P("relaxation_across", "m", 0.45, 0.02, 3, "relaxation length across the wheel"),
        P("low_speed", "m/s", 2.0, 0.1, 10, "below it the tyre's own damping is added"),
        P("low_speed_damping", "s/m", 0.03, 0, 0.1, "slip per sliding speed at standstill"),
        P("speed_most", "km/h", 190.0, 20, 400, "beyond it there is no tyre data"),
        P("wheel_speed_most", "km/h", 230.0, 20, 600, "circumference; beyond it no tyre data"),
    ),
    "clutch": (
        P("faces", "-", 12.0, 1, 60, "friction faces", SCENARIO),
        P("outer_radius", "m", 0.062, 0.01, 0.4, "of the friction faces", SCENARIO),
        P("inner_radius", "m", 0.048, 0.005, 0.4, "of the friction faces", SCENARIO),
        P("uniform_wear", "0/1", 1.0, 0, 1, "1: radius by uniform wear, 0: uniform pressure"),
        C("slip", "rad/s", (0, 1, 3, 8, 20, 50, 100), 0, 1000, (), "slip speed of the plates"),
        C("temperature", "degC", (-40, 0, 40, 80, 120, 160, 220), -60, 400, (), "of the plates"),
        C(
            "friction",
            "-",
            (
                (0.1202, 0.1184, 0.1165, 0.1146, 0.1128, 0.1109, 0.1081),
                (0.1208, 0.1190, 0.1171, 0.1152, 0.1134, 0.1115, 0.1087),
                (0.1219, 0.1200, 0.1182, 0.1163, 0.1144, 0.1125, 0.1097),
                (0.1240, 0.1221, 0.1202, 0.1182, 0.1163, 0.1144, 0.1115),
                (0.1265, 0.1246, 0.1226, 0.1206, 0.1187, 0.1167, 0.1138),
                (0.1278, 0.1259, 0.1239, 0.1219, 0.1199, 0.1179, 0.1150),
                (0.1279, 0.1260, 0.1240, 0.1220, 0.1200, 0.1180, 0.1151),
            ),
            0.01,
            0.6,
            ("slip", "temperature"),
            "true friction of the plates: slip, temperature",
        ),
        C("oil", "degC", (-40, -20, 0, 40, 90), -60, 200, (), "temperature of the oil"),
        C("drag", "N.m", (1.9, 1.6, 1.2, 0.8, 0.5), 0, 100, ("oil",), "of the open clutch"),
    ),
    "actuator": (
        C(
            "clamp",
            "N",
            (0, 500, 1000, 2000, 3500, 5000, 7000, 9000, 10500, 12000),
            0,
            200000,
            (),
            "clamp force",
        ),
        C("motor", "degC", (-40, -10, 20, 60, 100), -60, 200, (), "temperature of the motor"),
        C(
            "apply",
            "A",
            (
                (1.610, 1.310, 1.005, 0.805, 0.705),
                (2.060, 1.722, 1.410, 1.215, 1.130),
                (2.500, 2.128, 1.810, 1.624, 1.553),
                (3.382, 2.938, 2.608, 2.437, 2.398),
                (4.702, 4.152, 3.802, 3.656, 3.662),
                (6.020, 5.366, 4.994, 4.874, 4.926),
                (7.776, 6.982, 6.584, 6.496, 6.612),
                (9.530, 8.596, 8.172, 8.116, 8.296),
                (10.846, 9.806, 9.362, 9.332, 9.558),
                (12.160, 11.016, 10.552, 10.546, 10.820),
            ),
            0,
            200,
            ("clamp", "motor"),
            "true current that presses the plates, force rising",
        ),
        C(
            "release",
            "A",
            (
                (1.150, 0.934, 0.722, 0.578, 0.506),
                (1.390, 1.226, 1.042, 0.916, 0.858),
                (1.628, 1.517, 1.361, 1.254, 1.210),
                (2.104, 2.100, 2.000, 1.930, 1.914),
                (2.818, 2.974, 2.957, 2.944, 2.970),
                (3.530, 3.846, 3.914, 3.958, 4.024),
                (4.482, 5.010, 5.188, 5.308, 5.430),
                (5.432, 6.174, 6.464, 6.660, 6.836),
                (6.144, 7.046, 7.420, 7.672, 7.890),
                (6.856, 7.918, 8.376, 8.686, 8.944),
            ),
            0,
            200,
            ("clamp", "motor"),
            "true current at which the force is left, force falling",
        ),
        C("lag", "s", (0.14, 0.1, 0.08, 0.075, 0.075), 0.005, 2, ("motor",), "first-order lag"),
        C(
            "rate",
            "N/s",
            (25000, 45000, 62000, 70000, 74000),
            100,
            2e6,
            ("motor",),
            "fastest rise of the clamp force",
        ),
        P("release_factor", "-", 2.0, 1, 10, "times the rate: springs help letting go"),
        P(
            "gap",
            "N",
            600.0,
            0,
            20000,
            "how far the plates open below the touch point, as the clamp force of that travel",
        ),
        P("current_most", "A", 14.0, 0.1, 200, "what the motor may be given", SCENARIO),
    ),
    "driveline": (
        P("rear_ratio", "-", 2.6, 0.5, 10, "shaft turns per rear wheel turn", SCENARIO),
        P("shaft_inertia", "kg.m2", 0.035, 0.001, 2, "driveshaft and ring gear", SCENARIO),
        P("shaft_drag", "N.m", 2.0, 0, 20, "bearings; above the open clutch when warm"),
        P("rear_inertia", "kg.m2", 0.06, 0, 20, "rear drive, at the wheels' axis"),
        P("dog_time", "s", 0.08, 0, 2, "engaging of the dog clutch"),
        P("dog_window", "rad/s", 30.0, 1, 500, "speed difference at which its teeth go in"),
    ),
    "engine": (
        P("drive_force_most", "N", 6000.0, 100, 100000, "at the wheels, full pedal", SCENARIO),
        P("power_most", "kW", 85.0, 1, 1000, "at the front wheels"),
        P("rise_lag", "s", 0.15, 0.01, 3, "first-order lag of more torque"),
        P("fall_lag", "s", 0.06, 0.01, 3, "first-order lag of less torque"),
        P("overrun_torque", "N.m", 180.0, 0, 5000, "braking at the front axle, pedal released"),
        P("drive_inertia", "kg.m2", 3.0, 0.01, 500, "engine and gears, at the wheels' axis"),
        C("pedal", "%", (0, 5, 10, 20, 30, 40, 60, 80, 100), 0, 100, (), "accelerator"),
        C(
            "share",
            "-",
            (0, 0.062, 0.149, 0.340, 0.515, 0.660, 0.855, 0.954, 1),
            0,
            1,
            ("pedal",),
            "share of the largest drive force",
        ),
        P("traction_slip", "km/h", 6.0, 0.5, 50, "front slip that traction control allows"),
        P("traction_share", "-", 0.08, 0, 1, "slip it allows on top, as share of the speed"),
        P("traction_gain", "s/m", 0.2, 0, 5, "torque taken per slip beyond"),
        P("traction_integral", "1/m", 0.4, 0, 20, "torque taken per slip beyond and second"),
    ),
    "brakes": (
        P("front_torque_most", "N.m", 2600.0, 0, 50000, "per front wheel, full pedal"),
        P("rear_torque_most", "N.m", 1100.0, 0, 50000, "per rear wheel, full pedal"),
        P("brake_lag", "s", 0.06, 0.005, 2, "first-order lag of the pressure"),
        P("inside_brake_lag", "s", 0.10, 0.005, 2, "the same, of the turning aid"),
        P("slip_most", "-", 0.12, 0.01, 0.9, "slip at which lock prevention lets go"),
        P("slip_let_go", "1/s", 12.0, 0.1, 200, "share of the pressure let go per second"),
        P("slip_build_up", "1/s", 3.0, 0.1, 200, "share of the pressure built up per second"),
        P("spin_threshold", "km/h", 5.0, 0.1, 50, "speed difference before one wheel is braked"),
        P("spin_gain", "N.m.h/km", 90.0, 0, 2000, "brake torque per speed difference beyond"),
        P("spin_torque_most", "N.m", 900.0, 0, 20000, "most brake torque of that kind"),
        P("spin_speed_most", "km/h", 40.0, 0, 200, "no braking of that kind beyond"),
    ),
    "sensors": (
        P("wheel_speed_step", "km/h", 0.05, 0, 5, "resolution"),
        P("wheel_speed_filter", "s", 0.02, 0.001, 1, "first-order filter"),
        P("wheel_speed_noise", "km/h", 0.02, 0, 5, "standard deviation"),
        P("yaw_rate_step", "deg/s", 0.05, 0, 5, "resolution"),
        P("acceleration_step", "m/s2", 0.02, 0, 2, "resolution"),
        P("acceleration_filter", "s", 0.04, 0.001, 1, "first-order filter, also of the yaw rate"),
        P("steering_step", "deg", 0.1, 0, 10, "resolution, at the steering wheel"),
        P("pedal_step", "%", 0.4, 0, 5, "resolution"),
        P("delay", "s", 0.015, 0, 0.2, "on the bus"),
    ),
    "heat": (
        P("plate_capacity", "J/K", 445.0, 10, 20000, "true heat capacity of the plates"),
        P("oil_capacity", "J/K", 3200.0, 50, 200000, "oil and housing"),
        C("speed", "km/h", (0, 20, 50, 90, 150), 0, 400, (), "vehicle speed"),
        C(
            "plate_cooling",
            "W/K",
            (8.2, 13.4, 20.2, 28.5, 40.6),
            0.01,
            2000,
            ("speed",),
            "from plates to oil",
        ),
        C("oil_cooling", "W/K", (5, 9, 15, 23, 34), 0.01, 5000, ("speed",), "from oil to air"),
        C("oil", "degC", (-40, 0, 40, 80, 120), -60, 200, (), "temperature of the oil"),
        C(
            "oil_factor",
            "-",
            (0.7, 0.85, 1.0, 1.08, 1.12),
            0.01,
            5,
            ("oil",),
            "on the plates' cooling: cold oil hardly moves",
        ),
    ),
    "driver": (
        P("pedal_gain", "%.h/km", 7.0, 0.1, 200, "accelerator per speed error"),
        P("pedal_integral", "%.h/(km.s)", 2.5, 0, 200, "accelerator per speed error and second"),
        P("pedal_rate_most", "%/s", 200.0, 5, 2000, "fastest foot, when following a speed"),
        P("brake_share", "-", 0.6, 0, 5, "brake pedal per accelerator wanted below zero"),
        P("preview", "s", 0.7, 0.1, 5, "looks ahead along a path"),
        P("preview_least", "m", 3.5, 0.5, 50, "at least as far"),
        P("steering_most", "deg", 540.0, 30, 2000, "full lock, at the steering wheel", SCENARIO),
        P("steering_rate_most", "deg/s", 700.0, 10, 3000, "fastest hands, when following a path"),
    ),
}
"""Parameters by section of the vehicle file, in the order of the file."""
