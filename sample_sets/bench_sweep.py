"""A bench sweep of the clutch actuator, made up: currents up and down, clamp forces measured.

Two new actuators and an aged one, at three temperatures.  The truth is known (`current`), so that
tests can tell a good fit from a bad one; noise and outliers come from a fixed random state.
Nothing here was measured on a real actuator.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

HERE = Path(__file__).resolve().parent
if __package__ in (None, ""):
    # Started as a script: the folder above holds both this package and the model.
    sys.path[0] = str(HERE.parent)

FILE = "larch_bench_sweep.csv"
SEED = 20260210
TEMPERATURES = (-38.0, 20.0, 95.0)
PER_RAMP = 150
REPEATS = 2
TOP_CLAMP = 12_300.0  # a little beyond the last breakpoint, as a bench does it
CURRENT_NOISE = 0.010  # A
CLAMP_NOISE = 20.0  # N
TEMPERATURE_NOISE = 0.2  # K
OUTLIERS = 24

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Actuator:
    """One unit under test, relative to the design.

    Parameters
    ----------
    name : str
    ramp, grease, touch : float
        Factors on current per clamp, on friction, and on the touch point.
    """

    name: str
    ramp: float
    grease: float
    touch: float


ACTUATORS = (
    Actuator("new 1", 1.0, 1.0, 1.0),
    Actuator("new 2", 1.012, 1.04, 1.01),
    Actuator("aged", 1.05, 1.28, 1.10),
)

_TOUCH = ((-40, -20, 0, 20, 60, 100), (1.6, 1.4, 1.2, 1.0, 0.8, 0.7))
_GREASE = ((-40, -10, 20, 60, 100), (0.30, 0.16, 0.11, 0.09, 0.09))
_NEWTON_PER_AMPERE = 1400.0
_TAKE_UP, _TAKE_UP_CLAMP = 0.22, 900.0  # the plates' springs are soft before they are hard


def current(
    actuator: Actuator, clamp: npt.ArrayLike, temperature: npt.ArrayLike, rising: bool
) -> Array:
    """Return the true motor current in A that goes with a clamp force in N, on one branch."""
    f, t = np.asarray(clamp, dtype=np.float64), np.asarray(temperature, dtype=np.float64)
    touch = np.interp(t, *_TOUCH) * actuator.touch
    grease = np.interp(t, *_GREASE) * actuator.grease
    ramp = f / _NEWTON_PER_AMPERE * (1 + 0.001 * (t - 20)) * actuator.ramp
    take_up = _TAKE_UP * (1 - np.exp(-f / _TAKE_UP_CLAMP))
    if rising:
        return np.asarray(touch + (ramp + take_up) * (1 + grease))
    return np.asarray(0.72 * touch + (ramp + 0.8 * take_up) * (1 - grease))


@dataclass(frozen=True)
class Sweep:
    """The samples as the bench wrote them.

    Parameters
    ----------
    time, temperature, amperes, clamp : float arrays, shape (n,)
    actuator : list of str, length n
    outlier : int array
        Rows (from 0) at which the current was read wrongly.
    """

    time: Array
    actuator: list[str]
    temperature: Array
    amperes: Array
    clamp: Array
    outlier: npt.NDArray[np.int64]


def sweep() -> Sweep:
    """Return the whole sweep; the same every time."""
    rng = np.random.default_rng(SEED)
    names: list[str] = []
    parts: list[tuple[Array, Array, Array, Array]] = []
    for actuator in ACTUATORS:
        for temperature in TEMPERATURES:
            driven, heat, clamp, on_branch = _one(actuator, temperature)
            parts.append((driven, heat, clamp, on_branch))
            names += [actuator.name] * driven.size
    amperes, heat, clamp, on_branch = (np.concatenate(p) for p in zip(*parts, strict=True))
    n = amperes.size
    amperes = amperes + rng.normal(0, CURRENT_NOISE, n)
    heat = heat + rng.normal(0, TEMPERATURE_NOISE, n)
    clamp = clamp + rng.normal(0, CLAMP_NOISE, n)
    places = np.sort(rng.choice(np.flatnonzero(on_branch), OUTLIERS, replace=False))
    sign = rng.integers(0, 2, OUTLIERS) * 2 - 1
    amperes[places] = np.maximum(amperes[places] + sign * rng.uniform(0.5, 2.0, OUTLIERS), 0.01)
    time = np.arange(n) * 0.1
    return Sweep(time, names, heat, amperes, clamp, places)


def _one(actuator: Actuator, temperature: float) -> tuple[Array, Array, Array, Array]:
    """One temperature: currents there and back, and the clamp that answers."""
    top = float(current(actuator, TOP_CLAMP, temperature, True))
    ramp = np.linspace(0.0, top, PER_RAMP)
    driven = np.concatenate([np.concatenate([ramp, ramp[::-1]]) for _ in range(REPEATS)])
    heat = temperature + np.linspace(0.0, 1.5, driven.size)  # the motor warms a little
    grid = np.linspace(0.0, 1.1 * TOP_CLAMP, 2_000)
    clamp = np.empty(driven.size)
    held = 0.0
    on_branch = np.zeros(driven.size)
    for n, (amperes, t) in enumerate(zip(driven, heat, strict=True)):
        # Friction holds the clamp between what pressing needs and what letting go needs.
        least = float(np.interp(amperes, current(actuator, grid, t, True), grid))
        most = float(np.interp(amperes, current(actuator, grid, t, False), grid))
        held = min(max(held, least), most)
        clamp[n] = held
        moving = held in (least, most)
        on_branch[n] = moving and 300 < held < 11_800
    return driven, heat, clamp, on_branch


def csv_text(found: Sweep) -> str:
    """Return the file's text: header, units, rows."""
    lines = [
        "time;actuator;motor_temperature;motor_current;clamp",
        "s;-;degC;A;kN",
    ]
    for row in zip(
        found.time, found.actuator, found.temperature, found.amperes, found.clamp, strict=True
    ):
        time, name, heat, amperes, clamp = row
        lines.append(f"{time:.1f};{name};{heat:.1f};{amperes:.4f};{clamp / 1000:.4f}")
    return "\n".join(lines) + "\n"


def main(folder: Path = HERE) -> None:
    """Write the file into `folder`, in place of what is there."""
    path = folder / FILE
    found = sweep()
    path.write_text(csv_text(found), encoding="utf-8", newline="\n")
    print(f"{path.name}: {len(found.time)} rows")


if __name__ == "__main__":
    main()
