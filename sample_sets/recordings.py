"""Two recordings of the invented van: a snowy delivery round (CSV) and a highway run (HDF5).

The drives come from `drives`; the controller's own signals are what the torque law commands with
the normal set, from the very samples that are written.  Then faults are planted: gaps, duplicate
and backward time stamps, drop-outs.  `Planted` tells each of them, so that tests know the truth.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

HERE = Path(__file__).resolve().parent
if __package__ in (None, ""):
    # Started as a script: the folder above holds both this package and the model.
    sys.path[0] = str(HERE.parent)

from calib_model.controller.binding import bind  # noqa: E402
from calib_model.controller.constants import LARCH  # noqa: E402
from calib_model.controller.law import Run, run  # noqa: E402
from calib_model.controller.outputs import DISCONNECTED, OPENING, SPIN_UP  # noqa: E402
from calib_model.core.calibration_set import CalibrationSet  # noqa: E402
from calib_model.core.canonical import digest  # noqa: E402
from calib_model.evidence.mapping import suggest  # noqa: E402
from calib_model.evidence.reading.hdf5 import columns_image  # noqa: E402
from calib_model.evidence.recording import Channel, Recording  # noqa: E402
from calib_model.evidence.ticks import on_ticks  # noqa: E402
from calib_model.store.texts import fixed  # noqa: E402
from sample_sets.drives import BASE_RATE, HIGHWAY, SNOW_ROUND, Script, signals  # noqa: E402

SNOW_FILE = "larch_snow_round.csv"
HIGHWAY_FILE = "larch_highway.h5"
RPM = 60 / (2 * np.pi)  # per rad/s

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Planted:
    """One planted fault.

    Parameters
    ----------
    kind : str
        As `calib_model.evidence.recording` names it.
    channels : tuple of str
        Every channel it is in.
    start_s, end_s : float
        See `calib_model.evidence.recording.Fault`.
    count : int
        Samples to be masked or left out.
    """

    kind: str
    channels: tuple[str, ...]
    start_s: float
    end_s: float
    count: int


@dataclass(frozen=True)
class Written:
    """A column as it is written.

    Parameters
    ----------
    name, unit : str
        In the file.
    signal : str
        The controller's name of what it carries.
    rate : int
        Samples per second.
    digits : int
        After the decimal point.
    factor : float
        From the controller's unit to the file's.
    """

    name: str
    unit: str
    signal: str
    rate: int
    digits: int
    factor: float = 1.0


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
_OWN = ("torque", "clamp", "current", "state")


class Made:
    """A recording with its truth.

    Attributes
    ----------
    columns : tuple of Written
    time : dict of rate to array
        Time stamps as written, faults included.
    values : dict of name to array
        Samples as written, NaN for ``nan``; an empty cell is in `empty`.
    empty : dict of name to bool array
    clean : dict of name to (time, values)
        Without any fault.
    planted : tuple of Planted
    run : Run
        The torque law along the clean drive.
    set_digest : str
    """

    def __init__(self, script: Script, columns: Sequence[Written], content: CalibrationSet) -> None:
        self.columns = tuple(columns)
        self.set_digest = digest(content)
        self.run, raw = _driven(script, columns, content)
        self.time: dict[int, Array] = {}
        self.values: dict[str, Array] = {}
        self.empty: dict[str, npt.NDArray[np.bool_]] = {}
        for column in columns:
            step = BASE_RATE // column.rate
            self.time.setdefault(column.rate, raw["time"][::step].copy())
            own = raw[column.signal][::step] * column.factor
            self.values[column.name] = np.round(own, column.digits) + 0.0
            self.empty[column.name] = np.zeros(own.size, dtype=np.bool_)
        self.clean = {
            c.name: (self.time[c.rate].copy(), self.values[c.name].copy()) for c in columns
        }
        self.planted: tuple[Planted, ...] = ()

    def of_rate(self, rate: int) -> tuple[str, ...]:
        """Names of the channels of a rate."""
        return tuple(c.name for c in self.columns if c.rate == rate)

    def peak(self, name: str) -> tuple[float, float]:
        """Smallest and largest value among the samples that no fault touches."""
        time, values = self.clean[name]
        good = np.ones(time.size, dtype=np.bool_)
        for fault in self.planted:
            if name in fault.channels and fault.kind == "gap":
                good &= (time <= fault.start_s) | (time >= fault.end_s)
            elif name in fault.channels and fault.kind in ("drop-out", "out of range"):
                good &= (time < fault.start_s - 1e-9) | (time > fault.end_s + 1e-9)
        return float(values[good].min()), float(values[good].max())

    # -- faults -----------------------------------------------------------------------------

    def gap(self, start: float, end: float) -> None:
        """The recorder pauses: nothing of any rate between two moments."""
        for rate, time in self.time.items():
            keep = (time <= start) | (time >= end)
            names = self.of_rate(rate)
            if not keep.all() and np.diff(time[keep]).max(initial=0) > 2.5 / rate + 1e-9:
                first, last = time[time <= start][-1], time[time >= end][0]
                if last - first > 2.5 / rate + 1e-9:
                    self._plant(Planted("gap", names, float(first), float(last), 0))
            self.time[rate] = time[keep]
            for name in names:
                self.values[name] = self.values[name][keep]
                self.empty[name] = self.empty[name][keep]

    def duplicates(self, rate: int, at: float, count: int) -> None:
        """A row of a rate is written again, with values that are a little off."""
        place = int(np.searchsorted(self.time[rate], at - 1e-9))
        stamp = self.time[rate][place]
        self.time[rate] = np.insert(self.time[rate], place + 1, np.full(count, stamp))
        for name in self.of_rate(rate):
            again = np.full(count, self.values[name][place])
            again = again if name in ("shaft_state",) else again + 0.5
            self.values[name] = np.insert(self.values[name], place + 1, again)
            self.empty[name] = np.insert(self.empty[name], place + 1, np.zeros(count, np.bool_))
        self._plant(
            Planted("duplicate stamp", self.of_rate(rate), float(stamp), float(stamp), count)
        )

    def backward(self, rate: int, at: float, count: int, shift: float) -> None:
        """The clock is off by `shift` s for some rows of a rate."""
        place = int(np.searchsorted(self.time[rate], at - 1e-9))
        rows = slice(place, place + count)
        self.time[rate][rows] = np.round(self.time[rate][rows] + shift, 4)
        stamps = self.time[rate][rows]
        self._plant(
            Planted("backward stamp", self.of_rate(rate), float(stamps.min()),
                    float(stamps.max()), count)
        )  # fmt: skip

    def drop_out(
        self, name: str, start: float, seconds: float, value: float, kind: str = "drop-out"
    ) -> None:
        """A channel reads something else: NaN for ``nan``, zero, a filler, a spike."""
        rate = next(c.rate for c in self.columns if c.name == name)
        time = self.time[rate]
        rows = np.flatnonzero((time >= start - 1e-9) & (time < start + seconds - 1e-9))
        self.values[name][rows] = value
        ends = float(time[rows[0]]), float(time[rows[-1]])
        self._plant(Planted(kind, (name,), *ends, int(rows.size)))

    def silence(self, name: str, start: float, end: float) -> None:
        """A channel's cells stay empty for a while, as if it were not sent."""
        rate = next(c.rate for c in self.columns if c.name == name)
        time = self.time[rate]
        rows = (time > start + 1e-9) & (time < end - 1e-9)
        self.empty[name][rows] = True
        first, last = (
            time[~rows & (time <= start + 1e-9)][-1],
            time[~rows & (time >= end - 1e-9)][0],
        )
        self._plant(Planted("gap", (name,), float(first), float(last), 0))

    def _plant(self, fault: Planted) -> None:
        self.planted = (*self.planted, fault)


def _driven(
    script: Script, columns: Sequence[Written], content: CalibrationSet
) -> tuple[Run, dict[str, Array]]:
    """Return the law's run along a drive, and all signals at the base rate."""
    raw = dict(signals(script, content))
    bound = bind(content, LARCH)
    # Once with the plate temperature estimated, to have one to record; then with the recorded one.
    for _ in range(2):
        ticks = on_ticks(clean := _recording(raw, columns), suggest(clean), LARCH)
        found = run(bound, ticks.inputs, valid=ticks.valid)
        _fill(raw, found, ticks.tick_s)
    return found, raw


def _fill(raw: dict[str, Array], found: Run, tick_s: float) -> None:
    """Add what the law commanded, held between ticks, and what follows from it."""
    place = np.minimum((raw["time"] / tick_s + 1e-6).astype(np.int64), found.good.size - 1)
    first = int(np.argmax(found.good))
    place = np.maximum(place, first)
    for name in _OWN:
        raw[name] = found.output(name)[place]
    raw.setdefault("plate_temperature", found.output("plate_temperature")[place])
    # The shaft turns with the front wheels while connected, runs down and is spun up again.
    front = 0.5 * (raw["wheel_speed_fl"] + raw["wheel_speed_fr"])
    target = front / 3.6 / LARCH.wheel_radius * LARCH.rear_ratio
    shaft = target.copy()
    for n in range(1, shaft.size):
        state = raw["state"][n]
        if state == DISCONNECTED:
            shaft[n] = max(0.0, shaft[n - 1] - 90.0 / BASE_RATE)
        elif state in (OPENING, SPIN_UP) and shaft[n - 1] < target[n] - 1:
            shaft[n] = min(target[n], shaft[n - 1] + 900.0 / BASE_RATE)
    raw["shaft_speed"] = shaft


def _recording(raw: Mapping[str, Array], columns: Sequence[Written]) -> Recording:
    """Return what would be recorded without faults, to run the law over."""
    channels = {}
    for column in columns:
        if column.signal not in raw or column.signal in _OWN:
            continue
        step = BASE_RATE // column.rate
        time = raw["time"][::step]
        values = np.round(raw[column.signal][::step] * column.factor, column.digits)
        channels[column.name] = Channel(
            column.name, column.unit, time, values, np.ones(time.size, dtype=np.bool_), "",
            1 / column.rate,
        )  # fmt: skip
    return Recording("clean", "", channels)


def snow_round(content: CalibrationSet) -> Made:
    """Return the snowy delivery round with its faults; `content` is the set in the vehicle."""
    made = Made(SNOW_ROUND, _SNOW_COLUMNS, content)
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
    return made


def highway(content: CalibrationSet) -> Made:
    """Return the highway run with its faults; `content` is the set in the vehicle."""
    made = Made(HIGHWAY, _HIGHWAY_COLUMNS, content)
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
    return made


def snow_text(made: Made) -> str:
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
        f"# vehicle_set_digest: {made.set_digest}",
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


def highway_image(made: Made) -> bytes:
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
        "vehicle_set_digest": made.set_digest,
        "comment": "Larch, highway run (invented; made by a script)",
    }
    return columns_image(columns, said)


def main(content: CalibrationSet | None = None, folder: Path = HERE) -> None:
    """Write both files into `folder`, in place of what is there."""
    from sample_sets.sets import normal

    content = content or normal()
    makers: tuple[tuple[str, Callable[[CalibrationSet], Made]], ...] = (
        (SNOW_FILE, snow_round), (HIGHWAY_FILE, highway),
    )  # fmt: skip
    for name, make in makers:
        made = make(content)
        data = snow_text(made).encode() if name.endswith(".csv") else highway_image(made)
        (folder / name).write_bytes(data)
        print(f"{name}: {len(made.columns)} channels, {len(made.planted)} faults planted")


if __name__ == "__main__":
    main()
