"""Two recordings of the invented van: a snowy delivery round (CSV) and a highway run (HDF5).

The drives come from `clean_drive`; then faults are planted: gaps, duplicate and backward time
stamps, drop-outs.  `Planted` tells each of them.  The clean samples are kept in `truth/`, so that
tests know the truth about the files as they are, whatever the processor rounds otherwise.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from sample_sets.sets import normal

HERE = Path(__file__).resolve().parent
if __package__ in (None, ""):
    # Started as a script: the folder above holds both this package and the model.
    sys.path[0] = str(HERE.parent)

from calib_model.core.calibration_set import CalibrationSet  # noqa: E402
from calib_model.core.canonical import digest  # noqa: E402
from calib_model.evidence.reading.hdf5 import columns_image  # noqa: E402
from calib_model.store.texts import fixed  # noqa: E402
from sample_sets.clean_drive import Drive, drive  # noqa: E402
from sample_sets.drives import HIGHWAY, SNOW_ROUND, Script  # noqa: E402
from sample_sets.planting import Made, Written  # noqa: E402

SNOW_FILE = "larch_snow_round.csv"
HIGHWAY_FILE = "larch_highway.h5"
RPM = 60 / (2 * np.pi)  # per rad/s

Array = npt.NDArray[np.float64]

_SNOW_COLUMNS = (
    *(Written(f"WhlSpd_{c.upper()}", "km/h", f"wheel_speed_{c}", 50, 2)
      for c in ("fl", "fr", "rl", "rr")),
    Written("YawRate", "deg/s", "yaw_rate", 50, 2),
    Written("LatAcc", "m/s2", "lateral_acceleration", 50, 2),
    Written("ClutchTqCmd", "N.m", "torque", 50, 1),
    Written("ClampCmd", "kN", "clamp", 50, 3, 0.001),
    Written("MotorCurrent", "A", "current", 50, 2),
    Written("VehSpd", "km/h", "vehicle_speed", 25, 2),
    Written("SteerAng", "deg", "steering_angle", 25, 1),
    Written("AccelPedal", "%", "pedal", 25, 1),
    Written("BrakeCtrlActive", "0/1", "brake_state", 25, 0),
    Written("ShaftSpd", "rpm", "shaft_speed", 10, 0, RPM),
    Written("RoadGrade", "%", "grade", 10, 1),
    Written("WiperStage", "-", "wiper_state", 10, 0),
    Written("InsideBrakeReq", "0/1", "inside_brake_request", 10, 0),
    Written("AmbTemp", "degC", "ambient_temperature", 1, 1),
    Written("ClutchOilTemp", "degC", "oil_temperature", 1, 1),
    Written("ClutchPlateTemp", "degC", "plate_temperature", 1, 1),
    Written("ActMotorTemp", "degC", "motor_temperature", 1, 1),
)  # fmt: skip
_HIGHWAY_COLUMNS = (
    *(Written(f"wheel_speed_{c}", "km/h", f"wheel_speed_{c}", 100, 2)
      for c in ("fl", "fr", "rl", "rr")),
    Written("yaw_rate", "deg/s", "yaw_rate", 100, 2),
    Written("lateral_acceleration", "m/s2", "lateral_acceleration", 100, 2),
    Written("vehicle_speed", "km/h", "vehicle_speed", 50, 2),
    Written("pedal", "%", "pedal", 50, 1),
    Written("clutch_torque_command", "N.m", "torque", 50, 1),
    Written("clamp_command", "N", "clamp", 50, 0),
    Written("motor_current", "A", "current", 50, 2),
    Written("shaft_state", "-", "state", 50, 0),
    Written("steering_angle", "deg", "steering_angle", 20, 1),
    Written("brake_control", "0/1", "brake_state", 20, 0),
    Written("shaft_speed", "rad/s", "shaft_speed", 20, 1),
    Written("grade", "%", "grade", 20, 1),
    Written("wiper_state", "-", "wiper_state", 20, 0),
    Written("inside_brake_request", "0/1", "inside_brake_request", 20, 0),
    Written("ambient_temperature", "degC", "ambient_temperature", 1, 1),
    Written("clutch_oil_temperature", "degC", "oil_temperature", 1, 1),
    Written("clutch_plate_temperature", "degC", "plate_temperature", 1, 1),
    Written("actuator_motor_temperature", "degC", "motor_temperature", 1, 1),
)  # fmt: skip


def _snow_faults(made: Made) -> None:
    made.duplicates(50, 20.06, 1)
    made.duplicates(50, 131.18, 4)
    made.backward(50, 47.22, 1, -0.73)
    made.backward(50, 205.34, 6, -3.05)
    made.backward(50, 262.46, 1, 12.51)
    made.drop_out("WhlSpd_FL", 33.1, 0.3, 0.0)
    made.drop_out("WhlSpd_RR", 214.5, 0.52, 655.35, "out of range")
    made.drop_out("LatAcc", 250.3, 0.5, np.nan)
    made.drop_out("AccelPedal", 222.04, 0.04, 102.4)
    made.drop_out("AmbTemp", 150.0, 5.0, 215.0)
    made.drop_out("SteerAng", 318.0, 0.4, np.nan)
    made.silence("YawRate", 226.0, 228.1)
    made.gap(59.51, 61.13)
    made.gap(320.01, 325.87)


def _highway_faults(made: Made) -> None:
    made.duplicates(100, 30.07, 1)
    made.duplicates(50, 342.14, 3)
    made.backward(100, 58.03, 2, -0.333)
    made.backward(20, 290.15, 1, -4.02)
    made.drop_out("wheel_speed_rl", 27.0, 0.25, 0.0)
    made.drop_out("vehicle_speed", 33.2, 0.3, 655.35, "out of range")
    made.drop_out("motor_current", 45.0, 0.4, np.nan)
    made.drop_out("clutch_oil_temperature", 36.0, 3.0, np.nan)
    made.gap(14.305, 16.995)
    made.gap(447.005, 450.995)


@dataclass(frozen=True)
class Recipe:
    """How a recording is made.

    Parameters
    ----------
    script : Script
    columns : tuple of Written
    plant : callable
        Plants the faults.
    """

    script: Script
    columns: tuple[Written, ...]
    plant: Callable[[Made], None]

    def drive(self, content: CalibrationSet, kept: Mapping[str, Array] | None = None) -> Drive:
        """Drive it with a set in the vehicle; see `clean_drive.drive`."""
        return drive(self.script, self.columns, content, kept)

    def made(self, clean: Mapping[str, Array]) -> Made:
        """Plant the faults in clean samples."""
        made = Made(self.columns, clean)
        self.plant(made)
        return made


RECIPES = {
    SNOW_FILE: Recipe(SNOW_ROUND, _SNOW_COLUMNS, _snow_faults),
    HIGHWAY_FILE: Recipe(HIGHWAY, _HIGHWAY_COLUMNS, _highway_faults),
}


def kept_samples(name: str, folder: Path = HERE) -> dict[str, Array]:
    """Return the clean samples of a shipped recording, by column."""
    with np.load(_truth(name, folder), allow_pickle=False) as file:
        return {c.name: file[c.name] / 10**c.digits for c in RECIPES[name].columns}


def kept(name: str) -> Made:
    """Return a shipped recording with its truth."""
    return RECIPES[name].made(kept_samples(name))


def _truth(name: str, folder: Path) -> Path:
    return folder / "truth" / Path(name).with_suffix(".npz").name


def _keep(name: str, clean: Mapping[str, Array], folder: Path) -> None:
    """Write clean samples in whole numbers of their last digit."""
    path = _truth(name, folder)
    path.parent.mkdir(exist_ok=True)
    digits = {c.name: c.digits for c in RECIPES[name].columns}
    np.savez_compressed(
        path, **{n: np.rint(v * 10 ** digits[n]).astype("<i4") for n, v in clean.items()}
    )


def snow_text(made: Made, set_digest: str) -> str:
    """Return the snowy round as CSV: the rates mixed, a cell empty where its rate has no sample."""
    at = [(stamp, rate, n) for rate, t in made.time.items() for n, stamp in enumerate(t.tolist())]
    rows: list[tuple[float, dict[int, int]]] = []
    # Rows follow the fastest rate's order, which holds the stamps that are out of order.
    fastest = max(made.time)
    others: dict[float, dict[int, int]] = {}
    for stamp, rate, n in at:
        if rate != fastest:
            others.setdefault(round(stamp, 4), {})[rate] = n
    latest = -1.0
    for n, stamp in enumerate(made.time[fastest].tolist()):
        key = round(stamp, 4)
        here = {fastest: n}
        if key > latest or key in others:
            here.update(others.pop(key, {}))
        latest = max(latest, key)
        rows.append((stamp, here))
    left = sorted(others.items())
    merged = _merged(rows, left)
    head = [
        "# title: Larch, snowy delivery round (invented; made by a script)",
        "# start: 2026-02-11T07:42:00Z",
        f"# vehicle_set_digest: {set_digest}",
        ";".join(["time", *(c.name for c in made.columns)]),
        ";".join(["ms", *(c.unit for c in made.columns)]),
    ]
    texts = {c.name: _texts(made.values[c.name], c.digits) for c in made.columns}
    lines = []
    for stamp, here in merged:
        cells = [f"{stamp * 1000:.0f}"]
        for column in made.columns:
            n = here.get(column.rate)
            gone = n is None or made.empty[column.name][n]
            cells.append("" if gone or n is None else texts[column.name][n])
        lines.append(";".join(cells))
    return "\n".join([*head, *lines]) + "\n"


def _merged(
    rows: list[tuple[float, dict[int, int]]], left: list[tuple[float, dict[int, int]]]
) -> list[tuple[float, dict[int, int]]]:
    """Put rows that only slower rates have at their place."""
    found = []
    at = 0
    highest = -1.0
    for stamp, here in rows:
        while at < len(left) and left[at][0] < stamp and left[at][0] > highest and stamp > highest:
            found.append(left[at])
            at += 1
        found.append((stamp, here))
        highest = max(highest, stamp)
    return [*found, *left[at:]]


def _texts(values: Array, digits: int) -> list[str]:
    return ["nan" if v != v else f"{v:.{digits}f}" for v in values.tolist()]


def highway_image(made: Made, set_digest: str) -> bytes:
    """Return the highway run as our HDF5 recording."""
    rates = list(made.time)
    columns = {
        "base_count": np.array([made.time[r].size for r in rates], dtype="<i8"),
        "times": np.concatenate([made.time[r] for r in rates]),
        "channel": fixed([c.name for c in made.columns], str),
        "channel_unit": fixed([c.unit for c in made.columns], str),
        "channel_base": np.array([rates.index(c.rate) for c in made.columns], dtype="<i4"),
        "values_4": np.concatenate([made.values[c.name] for c in made.columns]).astype("<f4"),
    }
    said = {
        "start": "2026-03-02T13:05:00Z",
        "vehicle_set_digest": set_digest,
        "comment": "Larch, highway run (invented; made by a script)",
    }
    return columns_image(columns, said)


def main(content: CalibrationSet | None = None, folder: Path = HERE) -> None:
    """Write both files into `folder`, in place of what is there."""
    content = content or normal()
    for name, recipe in RECIPES.items():
        clean = recipe.drive(content).clean
        _keep(name, clean, folder)
        made = recipe.made(clean)
        if name == SNOW_FILE:
            data = snow_text(made, digest(content)).encode()
        else:
            data = highway_image(made, digest(content))
        (folder / name).write_bytes(data)
        print(f"{name}: {len(made.columns)} channels, {len(made.planted)} faults planted")


if __name__ == "__main__":
    main()
