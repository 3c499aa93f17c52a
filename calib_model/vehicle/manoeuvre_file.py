"""A manoeuvre file (TOML): the user's own manoeuvres, and limits for the metrics of any.

::

    [limits.launch_snow]                 # a manoeuvre that ships, or one of this file
    time_to_30 = 7.5

    [[manoeuvre]]
    id = "deep_snow"
    name = "Digging out of deep snow"
    duration = 12.0                      # s
    metrics = ["time_to_30", "peak_plate_temperature"]
    surface = [                          # patches by m of way: a kind, or a peak friction
        { start = 0, left = "snow", rolling = 0.15 },
        { start = 8, left = "ice", right = 0.3 },
    ]
    grade = [[0, 0], [5, 8]]             # m of way, %
    start = { ambient_temperature = -25.0 }      # degC; km/h for speed

    [manoeuvre.driver]
    pedal = [[0.5, 0], [1.0, 80]]        # s, %; linear between
    steering = [[0, 0], [3, 90]]         # s, deg at the steering wheel, left positive

Further keys are those of `Manoeuvre`, `Start` and `Driver`.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..core.plain_reader import Given, nearest, read_toml
from ..core.text_file import read_text
from ..errors import FileProblem, ModelError
from .manoeuvres import MANOEUVRES, Driver, Manoeuvre, Start
from .metrics_all import METRICS
from .scene import SURFACES, WHEELS, Brake, Patch

MAX_FILE = 1 << 20
MOST_POINTS = 20_000
_ID = re.compile(r"[a-z][a-z0-9_]{0,59}")


@dataclass(frozen=True)
class ManoeuvreFile:
    """What a manoeuvre file says.

    Parameters
    ----------
    manoeuvres : mapping of id to Manoeuvre
        The ones that ship and the file's own, with the file's limits.
    own : tuple of str
        Ids of the file's own.
    """

    manoeuvres: Mapping[str, Manoeuvre] = field(default_factory=lambda: MANOEUVRES)
    own: tuple[str, ...] = ()


def read_manoeuvres(path: Path | str) -> ManoeuvreFile:
    """Read a manoeuvre file.

    Raises
    ------
    FileProblem
        Naming the file, the key and the remedy.
    """
    path = Path(path)
    text = read_text(path, "a manoeuvre file", MAX_FILE)
    return parse_manoeuvres(text, path)


def parse_manoeuvres(text: str, path: Path | str = "manoeuvres") -> ManoeuvreFile:
    """Read a manoeuvre file's text; see `read_manoeuvres`."""
    return _manoeuvre_file(read_toml(text, path))


def read_plain(plain: Mapping[str, Any]) -> Manoeuvre:
    """Read one manoeuvre from plain data.

    Raises
    ------
    ModelError
    """
    try:
        return _manoeuvre(Given(plain, "", "manoeuvre"))
    except FileProblem as wrong:
        raise ModelError(f"{wrong.place}: {wrong.problem}", wrong.remedy) from None


def _manoeuvre_file(plain: Given) -> ManoeuvreFile:
    given = plain.known(("manoeuvre", "limits"))
    made = dict(MANOEUVRES)
    own: list[str] = []
    for entry in given["manoeuvre"].listed("[[manoeuvre]]") if "manoeuvre" in given else ():
        one = _manoeuvre(entry)
        if one.id in made:
            whose = "this file" if one.id in own else "the shipped ones"
            problem = f"{one.id!r} is there already, among {whose}."
            entry.table()["id"].refuse(problem, "Choose another id.")
        made[one.id] = one
        own.append(one.id)
    for id, limits in (given["limits"].table() if "limits" in given else {}).items():
        if id not in made:
            limits.refuse("There is no such manoeuvre.", nearest(id, made))
        made[id] = made[id].limited(_limits(limits, made[id].metrics))
    return ManoeuvreFile(MappingProxyType(made), tuple(own))


# -- one manoeuvre ------------------------------------------------------------------------


def _manoeuvre(plain: Given) -> Manoeuvre:
    given = plain.known(
        Manoeuvre.__dataclass_fields__, "id", "name", "duration", "surface", "metrics"
    )
    id = given["id"].text()
    if not _ID.fullmatch(id):
        remedy = "Use small letters, digits and _, a letter first."
        given["id"].refuse(f"{id!r} is no id.", remedy)
    names = tuple(_metric(name) for name in given["metrics"].listed())
    if not names:
        given["metrics"].refuse("It names no metric.", "Name a metric or more.")
    made: dict[str, Any] = {
        "id": id,
        "name": given["name"].text(),
        "duration": given["duration"].number(0.1, 3600.0),
        "surface": _surface(given["surface"]),
        "metrics": tuple(dict.fromkeys(names)),
    }
    for key, read in _PARTS.items():
        if key in given:
            made[key] = read(given[key])
    if "limits" in given:
        made["limits"] = MappingProxyType(_limits(given["limits"], names))
    return Manoeuvre(**made)


def _metric(given: Given) -> str:
    if not isinstance(given.data, str) or given.data not in METRICS:
        given.refuse(f"There is no metric {given.data!r:.60}.", nearest(given.data, METRICS))
    return given.data


def _surface(plain: Given) -> tuple[Patch, ...]:
    if not isinstance(plain.data, list):
        return (Patch(0.0, _friction(plain)),)
    patches: list[Patch] = []
    for entry in plain.listed():
        given = entry.known(("start", "left", "right", "rolling"), "left")
        start = given["start"].number(-1e6, 1e6) if "start" in given else 0.0
        if patches and start <= patches[-1].start:
            place = given.get("start", entry)
            place.refuse("Patches are out of order.", "Put them in order of way.")
        right = given.get("right")
        patches.append(
            Patch(
                start,
                _friction(given["left"]),
                None if right is None or right.data is None else _friction(right),
                given["rolling"].number(0.0, 0.5) if "rolling" in given else 0.0,
            )
        )
    if not patches:
        plain.refuse("There is no road.", "Give a patch or more.")
    return tuple(patches)


def _friction(plain: Given) -> str | float | tuple[float, float, float]:
    if isinstance(plain.data, str):
        return plain.choice(tuple(SURFACES), "kind of ground")
    if isinstance(plain.data, list | tuple):
        if len(plain.data) != 3:
            plain.refuse("A friction curve has three coefficients.", "Give c1, c2 and c3.")
        c1, c2, c3 = (entry.number(0.0, 1e4) for entry in plain.listed())
        if c1 <= 0 or c2 <= 0:
            plain.refuse("c1 and c2 are above zero.", "Mend the coefficients.")
        return c1, c2, c3
    return plain.number(0.02, 1.5)


def _grade(plain: Given) -> tuple[tuple[float, float], ...]:
    if isinstance(plain.data, list):
        return _points(plain, -40.0, 40.0) or ((0.0, 0.0),)
    return ((0.0, plain.number(-40.0, 40.0)),)


_START: Mapping[str, tuple[float, float]] = {
    "speed": (0.0, 250.0),
    "ambient_temperature": (-60.0, 70.0),
    "motor_temperature": (-60.0, 200.0),
    "oil_temperature": (-60.0, 200.0),
    "plate_temperature": (-60.0, 400.0),
    "wiper_state": (0.0, 3.0),
}


def _start(plain: Given) -> Start:
    made: dict[str, Any] = {
        key: value.flag() if key == "connected" else value.number(*_START[key])
        for key, value in plain.known((*_START, "connected")).items()
    }
    return Start(**made)


_DRIVER: Mapping[str, tuple[float, float]] = {
    "pedal": (0.0, 100.0),
    "brake_pedal": (0.0, 100.0),
    "speed_target": (0.0, 250.0),
    "speed_control": (0.0, 1.0),
    "steering": (-900.0, 900.0),
    "inside_brake_request": (0.0, 1.0),
}


def _driver(plain: Given) -> Driver:
    given = plain.known(Driver.__dataclass_fields__)
    made: dict[str, Any] = {
        key: _points(given[key], *bounds) for key, bounds in _DRIVER.items() if key in given
    }
    if "path" in given:
        path = _points(given["path"], -1e5, 1e5, ordered=False)
        if len(path) == 1 or any(a == b for a, b in itertools.pairwise(path)):
            given["path"].refuse("It has points that lie on each other.", "Give a way.")
        made["path"] = path
    if "brakes" in given:
        made["brakes"] = tuple(map(_brake, given["brakes"].listed("[{ start = ... }]")))
    return Driver(**made)


def _brake(plain: Given) -> Brake:
    given = plain.known(Brake.__dataclass_fields__, "start", "end", "wheel", "torque")
    start, end = (given[key].number(0.0, 3600.0) for key in ("start", "end"))
    if end <= start:
        given["end"].refuse("It is not after the start.", "Give a later time.")
    return Brake(
        start,
        end,
        given["wheel"].choice(tuple(WHEELS), "wheel"),
        given["torque"].number(0.0, 5000.0),
        given["active"].flag() if "active" in given else True,
    )


def _limits(plain: Given, names: tuple[str, ...]) -> dict[str, float]:
    given = plain.known(names, what="metric in the manoeuvre")
    return {name: value.number(-1e9, 1e9) for name, value in given.items()}


def _points(
    plain: Given, low: float, high: float, *, ordered: bool = True
) -> tuple[tuple[float, float], ...]:
    made: list[tuple[float, float]] = []
    for pair in plain.listed("[[0, 0], [1, 50]]", MOST_POINTS):
        if not isinstance(pair.data, list | tuple) or len(pair.data) != 2:
            pair.refuse("It is no pair.", "Write [time, value].")
        # Both are named by the pair: a reader looks for that, not for the half of it.
        first, second = (Given(value, pair.file, pair.key) for value in pair.data)
        x = first.number(*((-1e5, 1e6) if ordered else (low, high)))
        if ordered and made and x <= made[-1][0]:
            pair.refuse("It is out of order.", "Put the pairs in order, each once.")
        made.append((x, second.number(low, high)))
    return tuple(made)


_WITHOUT = ("", "inside_brake_request", "brakes")
_PARTS: Mapping[str, Callable[[Given], object]] = {
    "purpose": Given.text,
    "grade": _grade,
    "start": _start,
    "driver": _driver,
    "against_without": lambda given: given.choice(_WITHOUT, "part that can be left out"),
    "traction_control": Given.flag,
    "brake_traction": Given.flag,
    "slip_braking": Given.flag,
    "stop_speed": lambda given: given.number(0.0, 250.0),
    "fixed_clutch_torque": lambda given: given.number(0.0, 2000.0),
}
"""What a manoeuvre may leave to its defaults."""
