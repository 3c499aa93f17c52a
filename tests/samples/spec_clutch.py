"""The rows of the demo scenario: clutch, actuator and heat."""

from __future__ import annotations

from math import inf

from tests.samples.spec_row import R, Row, down, up

CLUTCH = (
    Row(
        "plate_friction",
        "Friction coefficient of the plates",
        "-",
        ("plate_slip_speed 0 1 3 8 20 50 100", "plate_temperature -40 -20 0 40 80 120 160"),
        (0.08, 0.16),
        "uint16 0.0001",
        "==",
        "==",
        (R("monotone", axis="plate_slip_speed", direction="up", strict=False, severity="warning"),),
    ),
    Row(
        "current_for_clamp_apply",
        "Motor current for clamp, applying",
        "A",
        (
            "clamp 0 500 1000 2000 3500 5000 7000 9000 10500 12000",
            "motor_temperature -40 -10 20 60 100",
        ),
        (0, 14),
        "uint16 0.001",
        "==",
        "==",
        (
            R("monotone", axis="clamp", direction="up", strict=True),
            R(
                "relation",
                other="touch_point_current",
                sense="==",
                factor=1.0,
                offset=0.0,
                scope=[("clamp", 0, 0)],
            ),
        ),
    ),
    Row(
        "current_for_clamp_release",
        "Motor current for clamp, releasing",
        "A",
        (
            "clamp 0 500 1000 2000 3500 5000 7000 9000 10500 12000",
            "motor_temperature -40 -10 20 60 100",
        ),
        (0, 14),
        "uint16 0.001",
        "==",
        "==",
        (
            R("monotone", axis="clamp", direction="up", strict=True),
            R("hysteresis", other="current_for_clamp_apply", branches=True),
            R("branch_order", other="current_for_clamp_apply", axis="clamp"),
        ),
    ),
    Row(
        "touch_point_current",
        "Touch point current",
        "A",
        ("motor_temperature -40 -20 0 20 60 100",),
        (0.6, 1.8),
        "uint16 0.001",
        "==",
        "==",
        (down("motor_temperature"),),
    ),
    Row(
        "holding_factor",
        "Holding current factor",
        "-",
        ("clamp 0 2000 4000 7000 10000 12000",),
        (0.5, 1),
        "uint8 1/250",
        "==",
        "==",
        (
            R("bounds", lower=0.5, upper=1),
            R(
                "relation",
                other="current_for_clamp_release",
                sense=">=",
                times="current_for_clamp_apply",
            ),
        ),
    ),
    Row(
        "clamp_limit_plate",
        "Clamp limit over plate temperature",
        "N",
        ("plate_temperature -40 20 120 160 200 240 280",),
        (0, 12000),
        "uint16 1",
        "==",
        "==",
        (
            down("plate_temperature"),
            R("zero_end", axis="plate_temperature", end="last"),
            R("bounds", lower=0, upper=12000),
        ),
    ),
    Row(
        "clamp_limit_oil",
        "Clamp limit over oil temperature",
        "N",
        ("oil_temperature -40 0 60 100 120 140 160",),
        (0, 12000),
        "uint16 1",
        "==",
        "==",
        (down("oil_temperature"), R("bounds", lower=0, upper=12000)),
    ),
    Row(
        "slip_power_derate",
        "Slip power derate",
        "-",
        ("slip_power 0 500 1500 3000 5000 8000", "plate_temperature 20 100 140 180 220 260"),
        (0, 1),
        "uint8 1/250",
        "==",
        "==",
        (
            down("slip_power"),
            down("plate_temperature"),
            R(
                "fixed_value",
                value=0.0,
                scope=[("slip_power", 8000, inf), ("plate_temperature", 260, inf)],
            ),
        ),
    ),
    Row(
        "plate_cooling",
        "Plate cooling",
        "W/K",
        ("vehicle_speed 0 20 50 90 150", "oil_temperature -40 0 40 80 120"),
        (5, 60),
        "uint8 0.5",
        "==",
        "==",
        (up("vehicle_speed"),),
    ),
)
