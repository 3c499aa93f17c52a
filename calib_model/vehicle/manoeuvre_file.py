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

import difflib
import itertools
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

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


class _Wrong(Exception):
    """What is wrong with a key."""

    def __init__(self, key: str, problem: str, remedy: str) -> None:
        super().__init__(key, problem, remedy)
        self.key, self.problem, self.remedy = key, problem, remedy


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
    try:
        plain = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # not only TOML's own: a number may be too long
        raise FileProblem(path, "", f"It is not TOML: {error}.", "Mend that line.") from None
    try:
        return _file(plain)
    except _Wrong as wrong:
        raise FileProblem(path, wrong.key, wrong.problem, wrong.remedy) from None


def read_plain(plain: Mapping[str, Any]) -> Manoeuvre:
    """Read one manoeuvre from plain data.

    Raises
    ------
    ModelError
    """
    try:
        return _manoeuvre(plain, "manoeuvre")
    except _Wrong as wrong:
        raise ModelError(f"{wrong.key}: {wrong.problem}", wrong.remedy) from None


def _file(plain: Mapping[str, Any]) -> ManoeuvreFile:
    _known(plain, "", ("manoeuvre", "limits"))
    made = dict(MANOEUVRES)
    own: list[str] = []
    listed = plain.get("manoeuvre", [])
    if not isinstance(listed, list):
        raise _Wrong("manoeuvre", "It is no list of tables.", "Write [[manoeuvre]].")
    for number, entry in enumerate(listed):
        one = _manoeuvre(_table(entry, f"manoeuvre[{number}]"), f"manoeuvre[{number}]")
        if one.id in made:
            whose = "this file" if one.id in own else "the shipped ones"
            raise _Wrong(
                f"manoeuvre[{number}].id",
                f"{one.id!r} is there already, among {whose}.",
                "Choose another id.",
            )
        made[one.id] = one
        own.append(one.id)
    for id, limits in _table(plain.get("limits", {}), "limits").items():
        if id not in made:
            raise _Wrong(f"limits.{id}", "There is no such manoeuvre.", _nearest(id, tuple(made)))
        found = _limits(limits, f"limits.{id}", made[id].metrics)
        made[id] = made[id].limited(found)
    return ManoeuvreFile(MappingProxyType(made), tuple(own))


# -- one manoeuvre ------------------------------------------------------------------------


def _manoeuvre(plain: Mapping[str, Any], at: str) -> Manoeuvre:
    keys = tuple(Manoeuvre.__dataclass_fields__)
    _known(plain, at, keys)
    for needed in ("id", "name", "duration", "surface", "metrics"):
        if needed not in plain:
            raise _Wrong(f"{at}.{needed}", "It is missing.", f"Add {needed} to the manoeuvre.")
    id = _text(plain["id"], f"{at}.id")
    if not _ID.fullmatch(id):
        raise _Wrong(
            f"{at}.id", f"{id!r} is no id.", "Use small letters, digits and _, a letter first."
        )
    names = plain["metrics"]
    if not isinstance(names, list | tuple) or not names:
        raise _Wrong(f"{at}.metrics", "It is no list of names.", "Name a metric or more.")
    for name in names:
        if not isinstance(name, str) or name not in METRICS:
            raise _Wrong(
                f"{at}.metrics",
                f"There is no metric {name!r}.",
                _nearest(str(name), tuple(METRICS)),
            )
    made: dict[str, Any] = {
        "id": id,
        "name": _text(plain["name"], f"{at}.name"),
        "duration": _number(plain["duration"], f"{at}.duration", 0.1, 3600.0),
        "surface": _surface(plain["surface"], f"{at}.surface"),
        "metrics": tuple(dict.fromkeys(names)),
        "purpose": _text(plain.get("purpose", ""), f"{at}.purpose"),
        "grade": _grade(plain.get("grade", 0.0), f"{at}.grade"),
        "start": _start(_table(plain.get("start", {}), f"{at}.start"), f"{at}.start"),
        "driver": _driver(_table(plain.get("driver", {}), f"{at}.driver"), f"{at}.driver"),
        "limits": MappingProxyType(_limits(plain.get("limits", {}), f"{at}.limits", tuple(names))),
    }
    without = _text(plain.get("against_without", ""), f"{at}.against_without")
    if without not in ("", "inside_brake_request", "brakes"):
        raise _Wrong(
            f"{at}.against_without",
            f"{without!r} cannot be left out.",
            "Use inside_brake_request or brakes.",
        )
    made["against_without"] = without
    for key in ("traction_control", "brake_traction", "slip_braking"):
        if key in plain:
            made[key] = _yes(plain[key], f"{at}.{key}")
    for key, low, high in (("stop_speed", 0.0, 250.0), ("fixed_clutch_torque", 0.0, 2000.0)):
        if key in plain:
            made[key] = _number(plain[key], f"{at}.{key}", low, high)
    return Manoeuvre(**made)


def _surface(plain: Any, at: str) -> tuple[Patch, ...]:
    if not isinstance(plain, list):
        return (Patch(0.0, _friction(plain, at)),)
    if not plain:
        raise _Wrong(at, "There is no road.", "Give a patch or more.")
    patches: list[Patch] = []
    for number, entry in enumerate(plain):
        here = f"{at}[{number}]"
        entry = _table(entry, here)
        _known(entry, here, ("start", "left", "right", "rolling"))
        if "left" not in entry:
            raise _Wrong(f"{here}.left", "It is missing.", "Say what the ground is.")
        start = _number(entry.get("start", 0.0), f"{here}.start", -1e6, 1e6)
        if patches and start <= patches[-1].start:
            raise _Wrong(f"{here}.start", "Patches are out of order.", "Put them in order of way.")
        right = entry.get("right")
        patches.append(
            Patch(
                start,
                _friction(entry["left"], f"{here}.left"),
                None if right is None else _friction(right, f"{here}.right"),
                _number(entry.get("rolling", 0.0), f"{here}.rolling", 0.0, 0.5),
            )
        )
    return tuple(patches)


def _friction(plain: Any, at: str) -> str | float | tuple[float, float, float]:
    if isinstance(plain, str):
        if plain not in SURFACES:
            raise _Wrong(at, f"There is no ground {plain!r}.", _nearest(plain, tuple(SURFACES)))
        return plain
    if isinstance(plain, list | tuple):
        if len(plain) != 3:
            raise _Wrong(at, "A friction curve has three coefficients.", "Give c1, c2 and c3.")
        c1, c2, c3 = (_number(v, at, 0.0, 1e4) for v in plain)
        if c1 <= 0 or c2 <= 0:
            raise _Wrong(at, "c1 and c2 are above zero.", "Mend the coefficients.")
        return c1, c2, c3
    return _number(plain, at, 0.02, 1.5)


def _grade(plain: Any, at: str) -> tuple[tuple[float, float], ...]:
    if isinstance(plain, list):
        return _points(plain, at, -40.0, 40.0) or ((0.0, 0.0),)
    return ((0.0, _number(plain, at, -40.0, 40.0)),)


_START: Mapping[str, tuple[float, float]] = {
    "speed": (0.0, 250.0),
    "ambient_temperature": (-60.0, 70.0),
    "motor_temperature": (-60.0, 200.0),
    "oil_temperature": (-60.0, 200.0),
    "plate_temperature": (-60.0, 400.0),
    "wiper_state": (0.0, 3.0),
}


def _start(plain: Mapping[str, Any], at: str) -> Start:
    _known(plain, at, (*_START, "connected"))
    made: dict[str, Any] = {
        key: _number(plain[key], f"{at}.{key}", *bounds)
        for key, bounds in _START.items()
        if key in plain
    }
    if "connected" in plain:
        made["connected"] = _yes(plain["connected"], f"{at}.connected")
    return Start(**made)


_DRIVER: Mapping[str, tuple[float, float]] = {
    "pedal": (0.0, 100.0),
    "brake_pedal": (0.0, 100.0),
    "speed_target": (0.0, 250.0),
    "speed_control": (0.0, 1.0),
    "steering": (-900.0, 900.0),
    "inside_brake_request": (0.0, 1.0),
}


def _driver(plain: Mapping[str, Any], at: str) -> Driver:
    _known(plain, at, tuple(Driver.__dataclass_fields__))
    made: dict[str, Any] = {
        key: _points(plain[key], f"{at}.{key}", *bounds)
        for key, bounds in _DRIVER.items()
        if key in plain
    }
    if "path" in plain:
        path = _points(plain["path"], f"{at}.path", -1e5, 1e5, ordered=False)
        if len(path) == 1 or any(a == b for a, b in itertools.pairwise(path)):
            raise _Wrong(f"{at}.path", "It has points that lie on each other.", "Give a way.")
        made["path"] = path
    brakes = plain.get("brakes", [])
    if not isinstance(brakes, list):
        raise _Wrong(f"{at}.brakes", "It is no list of tables.", "Write [{ start = ... }].")
    made["brakes"] = tuple(
        _brake(_table(entry, f"{at}.brakes[{n}]"), f"{at}.brakes[{n}]")
        for n, entry in enumerate(brakes)
    )
    return Driver(**made)


def _brake(plain: Mapping[str, Any], at: str) -> Brake:
    _known(plain, at, tuple(Brake.__dataclass_fields__))
    for needed in ("start", "end", "wheel", "torque"):
        if needed not in plain:
            raise _Wrong(f"{at}.{needed}", "It is missing.", f"Add {needed} to the brake.")
    start = _number(plain["start"], f"{at}.start", 0.0, 3600.0)
    end = _number(plain["end"], f"{at}.end", 0.0, 3600.0)
    if end <= start:
        raise _Wrong(f"{at}.end", "It is not after the start.", "Give a later time.")
    wheel = plain["wheel"]
    if not isinstance(wheel, str) or wheel not in WHEELS:
        raise _Wrong(f"{at}.wheel", f"There is no wheel {wheel!r}.", f"Use {', '.join(WHEELS)}.")
    torque = _number(plain["torque"], f"{at}.torque", 0.0, 5000.0)
    return Brake(start, end, wheel, torque, _yes(plain.get("active", True), f"{at}.active"))


def _limits(plain: Any, at: str, names: tuple[str, ...]) -> dict[str, float]:
    table = _table(plain, at)
    for name in table:
        if name not in names:
            raise _Wrong(f"{at}.{name}", "The manoeuvre has no such metric.", _nearest(name, names))
    return {name: _number(value, f"{at}.{name}", -1e9, 1e9) for name, value in table.items()}


# -- values -------------------------------------------------------------------------------


def _known(plain: Mapping[str, Any], at: str, keys: tuple[str, ...]) -> None:
    for key in plain:
        if key not in keys:
            raise _Wrong(f"{at}.{key}".lstrip("."), "This key is not known.", _nearest(key, keys))


def _nearest(word: str, words: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(word, words, 1)
    return f"Did you mean {near[0]}?" if near else f"Use one of {', '.join(words)}."


def _table(plain: Any, at: str) -> Mapping[str, Any]:
    if not isinstance(plain, Mapping):
        raise _Wrong(at, "It is no table of keys.", "Give key = value.")
    return plain


def _text(plain: Any, at: str) -> str:
    if not isinstance(plain, str) or len(plain) > 2000:
        raise _Wrong(at, "It is no text.", "Put it in quotation marks.")
    return plain


def _yes(plain: Any, at: str) -> bool:
    if not isinstance(plain, bool):
        raise _Wrong(at, "It is neither true nor false.", "Write true or false.")
    return plain


def _number(plain: Any, at: str, low: float, high: float) -> float:
    if isinstance(plain, bool) or not isinstance(plain, int | float) or plain != plain:
        raise _Wrong(at, f"{plain!r:.60} is no number.", f"Give {low:g} to {high:g}.")
    if not low <= plain <= high:  # a whole number may be too large for a float
        raise _Wrong(at, f"{plain!r:.20} cannot be.", f"Give {low:g} to {high:g}.")
    return float(plain)


def _points(
    plain: Any, at: str, low: float, high: float, *, ordered: bool = True
) -> tuple[tuple[float, float], ...]:
    if not isinstance(plain, list | tuple) or len(plain) > MOST_POINTS:
        raise _Wrong(at, "It is no list of pairs.", "Write [[0, 0], [1, 50]].")
    made: list[tuple[float, float]] = []
    for number, pair in enumerate(plain):
        here = f"{at}[{number}]"
        if not isinstance(pair, list | tuple) or len(pair) != 2:
            raise _Wrong(here, "It is no pair.", "Write [time, value].")
        first = _number(pair[0], here, *((-1e5, 1e6) if ordered else (low, high)))
        if ordered and made and first <= made[-1][0]:
            raise _Wrong(here, "It is out of order.", "Put the pairs in order, each once.")
        made.append((first, _number(pair[1], here, low, high)))
    return tuple(made)
