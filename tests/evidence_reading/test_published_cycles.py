"""Published drive cycles keep their distance and duration through every format and unit.

Traces: the CSV files in the package fastsim 2.1.5 (read here).  Totals: US EPA's dynamometer drive
schedules for UDDS, HWFET and US06, UN GTR 15 for WLTC class 3 (from memory; the package's own
traces add up to them).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calib_model.controller.constants import LARCH
from calib_model.core.units import convert
from calib_model.evidence.mapping import ChannelMap, FromChannel, suggest
from calib_model.evidence.reading import read_recording
from calib_model.evidence.ticks import on_ticks
from tests.evidence_reading.making_recordings import (
    cycle,
    write_csv,
    write_hdf5,
    write_mdf4,
    write_parquet,
)

pytestmark = pytest.mark.usefixtures("at_once")

MILE = 1609.344
TOTALS = {
    "udds": (1369, 7.45 * MILE, 0.005 * MILE),
    "hwfet": (765, 10.26 * MILE, 0.005 * MILE),
    "us06": (600, 8.01 * MILE, 0.005 * MILE),
    "wltc_3a": (1800, 23194.0, 0.5),
    "wltc_3b": (1800, 23266.0, 0.5),
}
"""Duration in s, distance in m, and half a unit of the figure's last digit."""
UNITS = {"km/h": 3.6, "m/s": 1.0, "mph": 3600 / MILE}


@pytest.mark.parametrize("name", TOTALS)
def test_distance_and_duration_survive_every_format_and_unit(
    name: str, published: Path, tmp_path: Path
) -> None:
    seconds, metres = cycle(published, name)
    duration, distance, tolerance = TOTALS[name]
    channels = {f"v {unit}": (unit, metres * factor) for unit, factor in UNITS.items()}
    files = [
        write_csv(tmp_path / "point.csv", seconds, channels),
        write_csv(tmp_path / "comma.csv", seconds * 1000.0, channels, separator=";", decimal=",",
                  unit_row=False, time_unit="ms"),
        write_parquet(tmp_path / "file.parquet", seconds, channels),
        write_mdf4(tmp_path / "file.mf4", [(seconds, channels)]),
        write_hdf5(tmp_path / "file.h5", seconds, channels),
    ]  # fmt: skip
    for file in files:
        recording = read_recording(file)
        assert recording.faults == (), file.name
        assert recording.seconds == duration, file.name
        assert list(recording.channels) == list(channels), file.name
        for unit in UNITS:
            channel = recording.channel(f"v {unit}")
            assert channel.unit == unit, file.name
            assert channel.valid.all()
            speed = convert(channel.values, unit, "m/s")
            np.testing.assert_allclose(speed, metres, rtol=1e-12, atol=1e-12, err_msg=file.name)
            driven = np.trapezoid(speed, channel.time)
            assert abs(driven - distance) <= tolerance, (file.name, unit, driven)


def test_the_same_drive_in_any_unit_gives_the_controller_the_same_speed(
    published: Path, tmp_path: Path
) -> None:
    seconds, metres = cycle(published, "udds")
    found = []
    for unit, factor in UNITS.items():
        path = tmp_path / f"{unit.replace('/', '_')}.csv"
        write_csv(path, seconds, {"VehSpd": (unit, metres * factor)})
        recording = read_recording(path)
        mapped = ChannelMap({"vehicle_speed": FromChannel("VehSpd")})
        assert suggest(recording).get("vehicle_speed") == FromChannel("VehSpd")
        ticks = on_ticks(recording, mapped, LARCH, 1.0)
        assert ticks.valid.all()
        found.append(ticks.input("vehicle_speed"))
        # Samples at whole seconds on ticks of a second: a sum over ticks is the trace's own.
        assert abs(found[-1].sum() / 3.6 - metres.sum()) < 1e-6
    for other in found[1:]:
        np.testing.assert_allclose(other, found[0], rtol=1e-12, atol=1e-12)
