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

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from calib_model.core.arrays import FloatArray
from calib_model.core.plain_reader import Given, read_toml
from calib_model.core.text_file import read_text
from calib_model.errors import FileProblem, ModelError
from calib_model.vehicle.parameters import PARAMETERS, Fault, Vehicle, faults
from calib_model.vehicle.parameters_list import SECTIONS, Curve, Parameter

MAX_FILE = 1 << 20


def read(path: Path | str) -> Vehicle:
    """Read a vehicle file; see `calib_model.vehicle.parameters.read_vehicle`."""
    place = Path(path).absolute()
    text = read_text(place, "a vehicle file", MAX_FILE)
    return _vehicle(read_toml(text, place), place)


def from_plain(plain: Mapping[str, Any], path: Path | None = None) -> Vehicle:
    """Return a vehicle from plain values; see `calib_model.vehicle.parameters.read_vehicle`."""
    return _vehicle(Given(plain, path or Path("vehicle")), path)


def _vehicle(plain: Given, path: Path | None) -> Vehicle:
    given = plain.known(("name", *SECTIONS, "variants"), what="parameter")
    name = given["name"].text() if "name" in given else ""
    if not name:
        raise FileProblem(plain.file, "name", "The vehicle has no name.", 'Write name = "...".')
    values: dict[str, float] = {}
    curves: dict[str, FloatArray] = {}
    for section, rows in SECTIONS.items():
        if section not in given:
            continue
        part = given[section].known([row.name for row in rows], what="parameter")
        for row in rows:
            if row.name not in part:
                continue
            if isinstance(row, Parameter):
                values[row.name] = part[row.name].number()
            else:
                curves[f"{section}.{row.name}"] = _numbers(part[row.name])
    _refuse_first(plain, list(faults(values, curves)))
    sections = given["variants"].table() if "variants" in given else {}
    variants = {
        variant: {k: v.number() for k, v in entries.known(PARAMETERS, what="parameter").items()}
        for variant, entries in sections.items()
    }
    made = Vehicle(name, values, curves, variants, path)
    for variant, entries in sections.items():
        try:
            made.variant(variant)
        except ModelError as error:
            entries.refuse(error.problem, error.remedy)
    return made


def _refuse_first(plain: Given, wrong: list[Fault]) -> None:
    """Refuse a vehicle for its first fault; if that is missing, name what else is."""
    if not wrong:
        return
    first = wrong[0]
    missing = [f.key for f in wrong if f.problem.startswith("It is missing")]
    problem = first.problem
    if first.key in missing and len(missing) > 1:
        problem += f" So are {', '.join(missing[1:8])}" + (
            f" and {len(missing) - 8} more." if len(missing) > 8 else "."
        )
    raise FileProblem(plain.file, first.key, problem, first.remedy)


def _numbers(given: Given) -> FloatArray:
    rows = list(given.listed("[1.0, 2.0], a grid as a list of lists"))
    if rows and all(isinstance(row.data, list) for row in rows):
        if len({len(row.data) for row in rows}) > 1:
            given.refuse("Its rows differ in length.", "Give every row as many numbers.")
        return np.array([[v.number() for v in row.listed()] for row in rows])
    return np.array([v.number() for v in rows], dtype=np.float64)


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
