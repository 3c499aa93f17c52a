"""Manoeuvre files: read, written out as plain data and back, and refused with key and remedy."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.errors import BitepointError, FileProblem
from calib_model.vehicle.manoeuvre_file import parse_manoeuvres, read_manoeuvres, read_plain
from calib_model.vehicle.manoeuvres import (
    MANOEUVRES,
    Driver,
    Manoeuvre,
    Start,
    manoeuvre,
    manoeuvre_to_plain,
)
from calib_model.vehicle.scene import Patch
from tests.vehicle_runs.larch_sets import bench_of, value

pytestmark = pytest.mark.timeout(400)  # the first drive may have to compile the model

GOOD = """
[limits.launch_snow]
time_to_30 = 6.5

[[manoeuvre]]
id = "deep_snow"
name = "Digging out"
duration = 3.0
metrics = ["peak_front_slip", "clutch_energy"]
surface = [
    { start = 0, left = "snow", rolling = 0.1 },
    { start = 8, left = "ice", right = 0.3 },
]
grade = [[0, 0], [5, 8]]
start = { ambient_temperature = -25.0 }
limits = { peak_front_slip = 12 }

[manoeuvre.driver]
pedal = [[0.5, 0], [1.0, 80]]
steering = [[0, 0], [3, 90]]
brakes = [{ start = 2.0, end = 2.5, wheel = "fl", torque = 200 }]
"""


def test_a_file_adds_manoeuvres_and_limits() -> None:
    read = parse_manoeuvres(GOOD)
    assert read.own == ("deep_snow",)
    assert list(read.manoeuvres) == [*MANOEUVRES, "deep_snow"]
    one = read.manoeuvres["deep_snow"]
    assert one.surface[1] == Patch(8.0, "ice", 0.3)
    assert one.start == Start(ambient_temperature=-25.0)
    assert one.driver.pedal == ((0.5, 0.0), (1.0, 80.0))
    assert one.limits == {"peak_front_slip": 12.0}
    assert read.manoeuvres["launch_snow"].limits == {"time_to_30": 6.5}
    assert MANOEUVRES["launch_snow"].limits == {}
    result = bench_of().drive(one)
    assert result.completed
    assert value(result, "peak_front_slip") > 0
    assert result.trace["grade"].max() > 0


def test_plain_data_comes_back_as_it_was() -> None:
    for one in MANOEUVRES.values():
        plain = manoeuvre_to_plain(one)
        again = read_plain(json.loads(json.dumps(plain)))
        assert manoeuvre_to_plain(again) == plain
        assert again.metrics == one.metrics
        assert again.scene().duration == one.duration


@pytest.mark.parametrize(
    ("change", "place", "words"),
    [
        (("duration = 3.0", ""), "manoeuvre[0].duration", "missing"),
        (("duration = 3.0", "duration = -1"), "manoeuvre[0].duration", "0.1 to 3600"),
        (("duration = 3.0", 'duration = "long"'), "manoeuvre[0].duration", "no number"),
        (("duration = 3.0", "durations = 3.0"), "manoeuvre[0].durations", "mean duration?"),
        (('"clutch_energy"', '"clutch_enrgy"'), "manoeuvre[0].metrics[1]", "mean clutch_energy?"),
        (('"clutch_energy"', '"jolt"'), "manoeuvre[0].metrics[1]", "no metric 'jolt'"),
        (('left = "ice"', 'left = "ise"'), "manoeuvre[0].surface[1].left", "mean ice?"),
        (("start = 8", "start = 0"), "manoeuvre[0].surface[1].start", "out of order"),
        (("right = 0.3", "right = 9.0"), "manoeuvre[0].surface[1].right", "0.02 to 1.5"),
        (("[1.0, 80]", "[0.5, 80]"), "manoeuvre[0].driver.pedal[1]", "out of order"),
        (("[1.0, 80]", "[1.0, 800]"), "manoeuvre[0].driver.pedal[1]", "0 to 100"),
        (("[1.0, 80]", "[1.0]"), "manoeuvre[0].driver.pedal[1]", "no pair"),
        (('wheel = "fl"', 'wheel = "xx"'), "manoeuvre[0].driver.brakes[0].wheel", "fl, fr"),
        (("end = 2.5", "end = 1.0"), "manoeuvre[0].driver.brakes[0].end", "later time"),
        (("-25.0", "-250.0"), "manoeuvre[0].start.ambient_temperature", "-60 to 70"),
        (('id = "deep_snow"', 'id = "launch_snow"'), "manoeuvre[0].id", "there already"),
        (('id = "deep_snow"', 'id = "Deep Snow"'), "manoeuvre[0].id", "small letters"),
        (("limits = { peak_front_slip", "limits = { roll_back"), "manoeuvre[0].limits.roll_back",
         "no such metric"),
        (("[limits.launch_snow]", "[limits.lunch_snow]"), "limits.lunch_snow", "mean launch_snow?"),
        (("[[manoeuvre]]", "[[maneuver]]"), "maneuver", "mean manoeuvre?"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_with_file_key_and_remedy(
    change: tuple[str, str], place: str, words: str, tmp_path: Path
) -> None:
    assert GOOD.count(change[0]) >= 1
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace(change[0], change[1], 1), encoding="utf-8")
    with pytest.raises(FileProblem) as caught:
        read_manoeuvres(path)
    assert caught.value.path == path
    assert caught.value.place == place
    assert words in str(caught.value)


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="Cannot be read"):
        read_manoeuvres(tmp_path / "nothing.toml")
    (tmp_path / "bad.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(FileProblem, match="UTF-8"):
        read_manoeuvres(tmp_path / "bad.toml")
    with pytest.raises(FileProblem, match="not valid TOML"):
        parse_manoeuvres("[[manoeuvre")
    with pytest.raises(BitepointError, match="no manoeuvre 'lunch'"):
        manoeuvre("lunch")


_PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["id", "start", "left", "pedal", "x"]), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(st.sampled_from(sorted(Manoeuvre.__dataclass_fields__)), _PLAIN)
def test_any_value_is_read_or_refused_in_words(key: str, value: object) -> None:
    plain = manoeuvre_to_plain(MANOEUVRES["lane_change_brake"])
    plain[key] = value
    told = ""
    try:
        read_plain(plain).scene()
    except BitepointError as error:
        told = error.remedy
    else:
        told = "read"
    assert told


# -- a published drive cycle ------------------------------------------------------------------


def test_the_share_disconnected_is_of_a_published_cycles_time(published: Path) -> None:
    # The highway fuel economy cycle as fastsim 2.1.5 ships it (Apache-2.0): 765 s, 10.26 miles
    # (16.51 km), published by the U.S. EPA.
    (path,) = (published / "fastsim").rglob("hwfet.csv")
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    seconds = [float(r["cycSecs"]) for r in rows]
    speeds = [float(r["cycMps"]) * 3.6 for r in rows]
    cycle = Manoeuvre(
        id="highway_cycle",
        name="Highway cycle",
        duration=765.0,
        surface=(Patch(0.0, "dry"),),
        metrics=("share_disconnected", "reconnects_per_hour"),
        start=Start(ambient_temperature=30.0, oil_temperature=60.0),
        driver=Driver(speed_target=tuple(zip(seconds, speeds, strict=True))),
    )
    result = bench_of().drive(cycle)
    assert result.completed, result.why
    trace = result.trace
    assert trace.time[-1] == pytest.approx(765, abs=0.02)
    assert trace["way"][-1] / 1000 == pytest.approx(16.51, rel=0.01)
    # Denominator: the whole cycle.  Numerator: counted here from the trace, by hand.
    tick = trace.tick
    opened = float(np.count_nonzero(trace["connected"] < 0.5)) * tick
    assert opened > 60
    assert value(result, "share_disconnected") == pytest.approx(opened / 765 * 100, rel=1e-3)
    joined = np.count_nonzero(np.diff(trace["connected"]) > 0.5)
    assert value(result, "reconnects_per_hour") == pytest.approx(joined * 3600 / 765, rel=1e-3)
