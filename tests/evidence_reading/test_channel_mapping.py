"""Channels are suggested by name and kind of unit, one for one; the map is plain data."""

from __future__ import annotations

import json
import pickle

import numpy as np
import pytest

from calib_model.controller.inputs import INPUTS
from calib_model.controller.outputs import OUTPUTS
from calib_model.errors import ModelError
from calib_model.evidence.mapping import (
    TARGETS,
    ChannelMap,
    Constant,
    FromChannel,
    source_key,
    suggest,
)
from calib_model.evidence.recording import Channel, Recording


def recorded(**units: str) -> Recording:
    time = np.arange(3.0)
    good = np.ones(3, dtype=bool)
    return Recording("r", "", {n: Channel(n, u, time, time, good) for n, u in units.items()})


@pytest.mark.parametrize(
    ("name", "unit", "target"),
    [
        ("vehicle_speed", "km/h", "vehicle_speed"),
        ("VEHICLE SPEED", "m/s", "vehicle_speed"),
        ("VehSpd", "mph", "vehicle_speed"),
        ("v_veh_kmh", "km/h", None),
        ("whl_speed_FL", "km/h", "wheel_speed_fl"),
        ("WheelSpeedRearRight", "km/h", "wheel_speed_rr"),
        ("AccelPedalPos", "%", "pedal"),
        ("Outside Air Temp", "degC", "ambient_temperature"),
        ("SteeringWheelAngle", "deg", "steering_angle"),
        ("YawRate", "deg/s", "yaw_rate"),
        ("lat_acc", "m/s2", "lateral_acceleration"),
        ("ClutchTqCmd", "N.m", "controller.torque"),
        ("motor current", "A", "controller.current"),
        ("clutch_oil_temp", "degF", "oil_temperature"),
        ("BrakeCtrlActive", "", "brake_state"),
        ("engine_speed", "rpm", None),
        ("vehicle_speed", "degC", None),  # the name fits, the kind of unit does not
    ],
)
def test_what_a_channel_is_taken_for(name: str, unit: str, target: str | None) -> None:
    found = suggest(recorded(**{name: unit}))
    from_channel = {k: v for k, v in found.sources.items() if isinstance(v, FromChannel)}
    assert from_channel == ({target: FromChannel(name)} if target else {})


def test_what_is_given_stands_and_the_rest_goes_by_name() -> None:
    recording = recorded(VehSpd="km/h", AccPedal="%", xyz="%", pitch="%", yaw_rate="deg/s")
    given = ChannelMap({"pedal": FromChannel("xyz"), "grade": FromChannel("VehSpd", "%")})
    found = suggest(recording, given, ("yaw_rate",))
    assert found.get("pedal") == FromChannel("xyz")
    assert found.get("vehicle_speed") is None, "its channel is taken already"
    assert found.get("yaw_rate") is None
    assert dict(suggest(recording, ChannelMap({})).sources) == dict(suggest(recording).sources)


def test_where_two_channels_fit_none_is_taken() -> None:
    found = suggest(recorded(VehSpd="km/h", Speed="km/h"))
    assert found.get("vehicle_speed") is None
    assert "vehicle_speed" in found.missing
    # An exact name comes before any abbreviation.
    exact = suggest(recorded(VehSpd="km/h", Speed="km/h", vehicle_speed="km/h"))
    assert exact.get("vehicle_speed") == FromChannel("vehicle_speed")


def test_defaults_are_constants_that_can_be_seen() -> None:
    found = suggest(recorded(pedal="%"))
    defaults = {i.name: i.default for i in INPUTS if np.isfinite(i.default)}
    assert {k: v.value for k, v in found.constants.items()} == defaults
    assert "grade" in defaults


def test_missing_counts_what_can_be_worked_out() -> None:
    wheels = {f"wheel_speed_{c}": "km/h" for c in ("fl", "fr", "rl", "rr")}
    found = suggest(recorded(**wheels, steering_angle="deg", yaw_rate="deg/s"))
    assert not {"vehicle_speed", "axle_speed_difference", "yaw_rate_error"} & set(found.missing)
    assert {"pedal", "ambient_temperature"} <= set(found.missing)


def test_targets_are_the_inputs_the_wheels_and_the_controllers_own_signals() -> None:
    names = {t.name for t in TARGETS.values() if t.part == "controller"}
    assert names == {f"controller.{o.name}" for o in OUTPUTS}
    assert {i.name for i in INPUTS} - set(TARGETS) == {"slip_error", "clamp"}
    assert all(t.meaning for t in TARGETS.values())


def test_the_map_goes_through_json_and_pickle() -> None:
    mapped = ChannelMap(
        {
            "pedal": FromChannel("p", "-", 100.0),
            "yaw_rate": FromChannel("y", factor=-1.0),
            "grade": Constant(0.0, "%"),
        }
    )
    plain = json.loads(json.dumps(mapped.to_plain()))
    assert ChannelMap.from_plain(plain) == mapped
    assert pickle.loads(pickle.dumps(mapped)) == mapped
    assert mapped.with_source("grade", None).get("grade") is None
    assert len(mapped.with_source("wiper_state", Constant(1.0))) == 4


@pytest.mark.parametrize(
    "plain",
    [{"pedal": 3}, {"pedal": {"channel": "a", "factor": "x"}}, {"nothing": {"channel": "a"}},
     {"pedal": {"value": float("nan")}}, {"pedal": {"channel": "a", "factor": 0}}, {"pedal": {}}],
)  # fmt: skip
def test_what_is_no_map_is_refused(plain: dict) -> None:
    with pytest.raises(ModelError):
        ChannelMap.from_plain(plain)


def test_problems_are_named_by_target() -> None:
    mapped = ChannelMap(
        {"pedal": FromChannel("gone"), "yaw_rate": FromChannel("t"), "grade": Constant(1, "m")}
    )
    found = mapped.problems(recorded(t="degC"))
    assert found["pedal"] == "the recording has no channel 'gone'"
    assert "'degC' is of another kind" in found["yaw_rate"]
    assert "grade" in found
    assert ChannelMap({"yaw_rate": FromChannel("t", "rad/s")}).problems(recorded(t="degC")) == {}


def test_a_source_is_known_by_its_channels_and_units() -> None:
    one, other = recorded(a="km/h", b="%"), recorded(b="%", a="km/h")
    assert source_key(one) == source_key(other)
    assert source_key(one) != source_key(recorded(a="m/s", b="%"))
