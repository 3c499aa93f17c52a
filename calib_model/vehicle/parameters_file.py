"""The vehicle file (TOML): a section per part of the vehicle, every parameter of it, no other.

::

    name = "Larch"

    [body]
    mass = 1700.0            # kg, empty, with driver (scenario)
    ...
    [variants.laden]         # what differs from the vehicle above
    payload = 700.0
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Never

import numpy as np

from calib_model.core.arrays import FloatArray
from calib_model.core.text_file import read_text
from calib_model.errors import FileProblem, ModelError
from calib_model.vehicle.parameters import PARAMETERS, Vehicle, faults
from calib_model.vehicle.parameters_list import SECTIONS, Curve, Parameter

MAX_FILE = 1 << 20


def read(path: Path | str) -> Vehicle:
    """Read a vehicle file; see `calib_model.vehicle.parameters.read_vehicle`."""
    place = Path(path).absolute()
    text = read_text(place, "a vehicle file", MAX_FILE)
    try:
        plain = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # not only TOML's own: a number may be too long
        raise FileProblem(place, "", f"This is not valid TOML: {error}.", "Mend it.") from None
    return from_plain(plain, place)


def from_plain(plain: Mapping[str, Any], path: Path | None = None) -> Vehicle:
    """Return a vehicle from plain values; see `calib_model.vehicle.parameters.read_vehicle`."""
    return _Reader(path or Path("vehicle")).vehicle(plain, path)


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path = path

    def refuse(self, place: str, problem: str, remedy: str) -> Never:
        raise FileProblem(self.path, place, problem, remedy)

    def vehicle(self, plain: Mapping[str, Any], path: Path | None) -> Vehicle:
        known = ("name", *SECTIONS, "variants")
        self.unknown("", plain, known)
        name = plain.get("name", "")
        if not isinstance(name, str) or not name:
            self.refuse("name", "The vehicle has no name.", 'Write name = "...".')
        values: dict[str, float] = {}
        curves: dict[str, FloatArray] = {}
        for section, rows in SECTIONS.items():
            part = self.section(plain, section)
            self.unknown(section, part, [row.name for row in rows])
            for row in rows:
                if row.name not in part:
                    continue
                key = f"{section}.{row.name}"
                if isinstance(row, Parameter):
                    values[row.name] = self.number(key, part[row.name])
                else:
                    curves[key] = self.numbers(key, part[row.name])
        wrong = list(faults(values, curves))
        if wrong:
            first = wrong[0]
            missing = [f.key for f in wrong if f.problem.startswith("It is missing")]
            problem = first.problem
            if first.key in missing and len(missing) > 1:
                problem += f" So are {', '.join(missing[1:8])}" + (
                    f" and {len(missing) - 8} more." if len(missing) > 8 else "."
                )
            self.refuse(first.key, problem, first.remedy)
        variants = {
            str(v): self.variant(str(v), entries)
            for v, entries in self.section(plain, "variants").items()
        }
        made = Vehicle(name, values, curves, variants, path)
        for variant in variants:
            try:
                made.variant(variant)
            except ModelError as error:
                self.refuse(f"variants.{variant}", error.problem, error.remedy)
        return made

    def variant(self, name: str, plain: Any) -> dict[str, float]:
        place = f"variants.{name}"
        if not isinstance(plain, dict):
            self.refuse(place, "This is no section.", f"Begin it with a line [{place}].")
        self.unknown(place, plain, list(PARAMETERS))
        return {k: self.number(f"{place}.{k}", v) for k, v in plain.items()}

    def section(self, plain: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        part = plain.get(key, {})
        if not isinstance(part, dict):
            self.refuse(key, "This is no section.", f"Begin it with a line [{key}].")
        return part

    def unknown(self, section: str, plain: Mapping[str, Any], known: Any) -> None:
        for key in plain:
            if key not in known:
                place = f"{section}.{key}" if section else key
                names = list(known)
                some = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
                self.refuse(place, "There is no such parameter.", f"There are: {some}.")

    def number(self, key: str, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(key, f"{value!r} is no number.", "Write it like 12.5, without a unit.")
        try:
            return float(value)
        except OverflowError:
            self.refuse(key, "The number is too large.", "Mend it.")

    def numbers(self, key: str, value: Any) -> FloatArray:
        rows = (
            value
            if isinstance(value, list)
            else self.refuse(
                key, "This is no list.", "Write it as [1.0, 2.0], a grid as a list of lists."
            )
        )
        if rows and all(isinstance(r, list) for r in rows):
            if len({len(r) for r in rows}) > 1:
                self.refuse(key, "Its rows differ in length.", "Give every row as many numbers.")
            return np.array([[self.number(key, v) for v in r] for r in rows])
        return np.array([self.number(key, v) for v in rows], dtype=np.float64)


def to_text(vehicle: Vehicle) -> str:
    """Return a vehicle as the text of a vehicle file, with unit, meaning and origin beside it."""
    lines = [
        f"# The vehicle {vehicle.name}: what the desk manoeuvres drive.",
        "# It is the truth of the desk; a calibration set says only what the controller believes.",
        "# Every parameter is needed. In brackets: where its value comes from.",
        f'name = "{vehicle.name}"',
    ]
    for section, rows in SECTIONS.items():
        lines += ["", f"[{section}]"]
        for row in rows:
            about = f"# {row.unit}, {row.meaning} ({row.origin})"
            if isinstance(row, Parameter):
                lines.append(f"{row.name} = {vehicle[row.name]!r}  {about}")
            else:
                lines += _curve_lines(row, vehicle.curves[f"{section}.{row.name}"], about)
    for name, entries in vehicle.variants.items():
        lines += ["", f"[variants.{name}]"]
        for key, value in entries.items():
            row = PARAMETERS[key]
            lines.append(f"{key} = {value!r}  # {row.unit}, {row.meaning} ({row.origin})")
    return "\n".join(lines) + "\n"


def _curve_lines(row: Curve, values: FloatArray, about: str) -> list[str]:
    if values.ndim == 1:
        return [f"{row.name} = {values.tolist()}  {about}"]
    body = [f"    {r.tolist()}," for r in values]
    return [f"{row.name} = [  {about}", *body, "]"]
