"""The vehicle file: what it must hold, and how a mistake in it is told."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calib_model.controller.constants import LARCH as CONSTANTS
from calib_model.errors import FileProblem, ModelError
from calib_model.session.programme import read_programme
from calib_model.vehicle.parameters import (
    CURVES,
    LARCH,
    PARAMETERS,
    read_vehicle,
    vehicle_from_plain,
)
from calib_model.vehicle.parameters_file import to_text
from calib_model.vehicle.parameters_list import SECTIONS, Parameter

SETS = Path(__file__).resolve().parents[2] / "sample_sets"
SHIPPED = SETS / "larch_vehicle.toml"


@pytest.fixture
def plain() -> dict[str, Any]:
    return tomllib.loads(to_text(LARCH))


def test_shipped_file_is_the_built_in_vehicle() -> None:
    assert SHIPPED.read_text(encoding="utf-8") == to_text(LARCH)
    made = read_vehicle(SHIPPED)
    assert dict(made.values) == dict(LARCH.values)
    assert all(np.array_equal(made.curves[k], LARCH.curves[k]) for k in CURVES)
    assert made.variants == LARCH.variants


def test_programme_names_the_vehicle_file() -> None:
    programme = read_programme(SETS / "larch.toml")
    assert programme.vehicle is not None
    assert read_vehicle(programme.vehicle).name == "Larch"


def test_every_parameter_is_described_once() -> None:
    names = [r.name for rows in SECTIONS.values() for r in rows if isinstance(r, Parameter)]
    assert len(names) == len(set(names)) == len(PARAMETERS)
    for row in (*PARAMETERS.values(), *CURVES.values()):
        assert row.unit, row.name
        assert row.meaning, row.name
        assert row.origin in ("scenario", "invented"), row.name
        assert row.low < row.high, row.name


def test_the_invented_van_is_the_scenario() -> None:
    # The scenario's description: masses, lengths, clutch, ratio; nothing else is stated there.
    assert (LARCH["mass"], LARCH["front_to_centre"], LARCH["rear_to_centre"]) == (
        1700.0,
        1.134,
        1.566,
    )
    assert (LARCH["centre_height"], LARCH["track"], LARCH["wheel_radius"]) == (0.62, 1.58, 0.335)
    assert (LARCH["faces"], LARCH["outer_radius"], LARCH["inner_radius"]) == (12, 0.062, 0.048)
    assert LARCH["rear_ratio"] == 2.6
    assert LARCH.constants == CONSTANTS  # geometry as the controller knows it


@pytest.mark.parametrize(
    ("section", "key", "value", "says"),
    [
        ("body", "mass", -5.0, "body.mass: -5 kg is not possible"),
        ("body", "mass", float("nan"), "body.mass: nan kg is not possible"),
        ("body", "mass", "heavy", "body.mass: 'heavy' is no number"),
        ("body", "mass", True, "body.mass: True is no number"),
        ("clutch", "faces", 11.5, "whole number"),
        ("clutch", "inner_radius", 0.07, "clutch.inner_radius: It is not below the outer"),
        ("clutch", "slip", [0, 3, 2], "clutch.slip: The breakpoints do not rise"),
        ("clutch", "friction", [[0.1]], "clutch.friction: It does not fit its breakpoints"),
        ("actuator", "clamp", 5.0, "actuator.clamp: This is no list"),
        ("actuator", "apply", [[1.0, 2.0], [3.0]], "actuator.apply: Its rows differ in length"),
        ("tyre", "grip", 1.0, "tyre.grip: There is no such parameter"),
    ],
)
def test_an_impossible_value_is_named(
    plain: dict[str, Any], section: str, key: str, value: Any, says: str
) -> None:
    plain[section][key] = value
    with pytest.raises(FileProblem) as caught:
        vehicle_from_plain(plain, Path("van.toml"))
    assert says in str(caught.value)
    assert str(caught.value).startswith("van.toml: ")
    assert caught.value.remedy


def test_exchanged_branches_are_refused(plain: dict[str, Any]) -> None:
    part = plain["actuator"]
    part["apply"], part["release"] = part["release"], part["apply"]
    with pytest.raises(FileProblem, match=r"actuator\.release: It lies above the applying branch"):
        vehicle_from_plain(plain)


def test_all_that_is_missing_is_named(plain: dict[str, Any]) -> None:
    del plain["body"]["mass"], plain["tyre"]["wheel_radius"], plain["heat"]
    with pytest.raises(FileProblem) as caught:
        vehicle_from_plain(plain)
    text = str(caught.value)
    for key in ("body.mass", "tyre.wheel_radius", "heat.plate_capacity"):
        assert key in text


def test_an_unknown_section_or_variant_key_is_named(plain: dict[str, Any]) -> None:
    with pytest.raises(FileProblem, match="wings: There is no such parameter"):
        vehicle_from_plain({**plain, "wings": {}})
    plain["variants"]["laden"]["payloud"] = 3.0
    with pytest.raises(FileProblem, match=r"variants\.laden\.payloud"):
        vehicle_from_plain(plain)
    plain["variants"]["laden"] = {"payload": -1.0}
    with pytest.raises(FileProblem, match=r"variants\.laden"):
        vehicle_from_plain(plain)


@pytest.mark.parametrize("text", [b"name = ", b"\xff\xfe", b'name = ""'])
def test_a_broken_file_is_told(tmp_path: Path, text: bytes) -> None:
    place = tmp_path / "van.toml"
    place.write_bytes(text)
    with pytest.raises(FileProblem) as caught:
        read_vehicle(place)
    assert str(place) in str(caught.value)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="Cannot be read"):
        read_vehicle(tmp_path / "none.toml")


def test_own_numbers_reach_the_vehicle(plain: dict[str, Any]) -> None:
    plain["body"]["mass"] = 2100
    made = vehicle_from_plain(plain)
    assert made["mass"] == 2100.0
    with pytest.raises(ModelError, match="no parameter 'weight'"):
        made.replaced(weight=1.0)
    with pytest.raises(ModelError, match="no list"):
        made.with_curve("actuator.grip", [1.0])
    with pytest.raises(ModelError, match="no variant 'boat'"):
        made.variant("boat")


def test_a_load_moves_centre_and_inertia() -> None:
    # Centre of mass of two bodies and the parallel axis theorem (textbook mechanics).
    laden = LARCH.variant("laden")
    m, p = LARCH["mass"], laden["payload"]
    at = (m * 1.134 + p * laden["payload_from_front"]) / (m + p)
    assert laden.centre[0] == pytest.approx(at)
    apart = laden["payload_from_front"] - 1.134
    assert laden.body_inertia == pytest.approx(LARCH["yaw_inertia"] + m * p / (m + p) * apart**2)
    front, rear = laden.static_loads()
    assert front + rear == pytest.approx((m + p) * 9.81)
    assert rear > LARCH.static_loads()[1] + 0.6 * p * 9.81


def test_a_hitch_load_lifts_the_front() -> None:
    towing = LARCH.variant("trailer")
    front, rear = (np.subtract(towing.static_loads(), LARCH.static_loads())).tolist()
    assert front + rear == pytest.approx(towing["hitch_load"])
    # Moments about the rear axle.
    assert front * LARCH.wheelbase == pytest.approx(-towing["hitch_load"] * towing["hitch_behind"])
