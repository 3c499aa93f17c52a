"""Canonical text back to a set (`calib_model.core.canonical` writes it and says what it is).

The text may come from anyone: everything is bounded and checked, and what was read has to give
the same text again, or it is refused.  Comment lines (``# ...``) may stand before the header; an
unsigned export says there that it is unsigned.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any, Never

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis, End, Interpolation
from ..core.calibration_set import CalibrationSet
from ..core.canonical import HEADER, LABELS_HEADER, VERSION, canonical_text
from ..core.labels import NO_LABELS, Labels
from ..core.plain_file import read_plain
from ..core.rule import KINDS, Rule
from ..core.rule_plain import rule_from_plain, type_text
from ..core.storage import Storage
from ..core.table import MAX_AXES, Table
from ..errors import DamagedFile, ModelError, NewerFile
from ..rules import shape as _kinds  # noqa: F401  # makes the kinds of rule known

MAX_BYTES = 96 << 20
"""Three times the text of 30,000 tables."""
MAX_VALUES = 8_000_000
MAX_DIGITS = 19  # of a conversion: what a set file can hold
COMMENT = "#"

_NUMBER_TEXT = r"(?:-?0x[01]\.[0-9a-f]{1,13}p[+-][0-9]{1,4}|nan|-?inf)"
_NUMBER = re.compile(_NUMBER_TEXT)
_NUMBERS = re.compile(f"{_NUMBER_TEXT}(?: {_NUMBER_TEXT})*")
_STORAGE = re.compile(
    rf"([a-z0-9]+) ([0-9]{{1,{MAX_DIGITS}}})/([0-9]{{1,{MAX_DIGITS}}}) (-?[0-9]{{1,{MAX_DIGITS}}})"
)
_ESCAPE = re.compile(r"\\(?:([\\tnr])|u([0-9a-f]{4}))")
_STRAY = re.compile(r"\\(?!\\|[tnr]|u[0-9a-f]{4})")
_PLAIN = {"\\": "\\", "t": "\t", "n": "\n", "r": "\r"}
_SET = ("programme", "mode", "base_mode")
_AXIS = (
    "name", "unit", "quantity", "interpolation", "below", "above", "storage", "shared",
    "breakpoints",
)  # fmt: skip
_TABLE = (
    "id", "name", "unit", "function", "description", "lower", "upper", "storage", "role",
    "relations", "rules",
)  # fmt: skip
_REMEDY = "Get the text again from whoever wrote it."


def read_canonical(path: Path | str) -> CalibrationSet:
    """Read a file of canonical text.

    Parameters
    ----------
    path : path-like

    Returns
    -------
    CalibrationSet
        Its name, revision and description are empty, its record too: they are not content.

    Raises
    ------
    FileProblem
        Naming the line: `NewerFile` or `DamagedFile` where that is why.
    """
    place = Path(path)
    return parse_canonical(read_plain(place, "a calibration set", MAX_BYTES), place)


def parse_canonical(data: bytes, path: Path | str = "canonical text") -> CalibrationSet:
    """Read canonical text; see `read_canonical`."""
    return _Reader(Path(path)).read(data)


def without_comments(data: bytes) -> bytes:
    """Return canonical text without the comment lines before its header."""
    while data.startswith(COMMENT.encode()):
        _, _, data = data.partition(b"\n")
    return data


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path = path
        self.line = 0
        self.values = 0
        self.shared: dict[str, Axis] = {}

    def refuse(self, problem: str, remedy: str = _REMEDY) -> Never:
        raise DamagedFile(self.path, f"line {self.line}" if self.line else "", problem, remedy)

    def read(self, data: bytes) -> CalibrationSet:
        if len(data) > MAX_BYTES:
            self.refuse("It is too large for a calibration set.", "Check the name.")
        body = without_comments(data)
        first = data[: len(data) - len(body)].count(b"\n") + 1
        self.line = first
        try:
            text = body.decode()
        except UnicodeDecodeError as error:
            self.line = first + body.count(b"\n", 0, error.start)
            self.refuse("It is not UTF-8 text.")
        self._header(text)
        if not text.endswith("\n"):
            self.line = first + text.count("\n")
            self.refuse("The last line is cut off.")
        if "\r" in text:
            self.line = first + text[: text.index("\r")].count("\n")
            self.refuse("Its line ends were changed.", "Get the text again, as a binary file.")
        tables: list[Table] = []
        about: dict[str, Any] | None = None
        for self.line, line in enumerate(text[:-1].split("\n")[1:], start=first + 1):
            word, *rest = line.split("\t")
            if word == "set" and about is None:
                about = {k: self.text(v) for k, v in self.named(rest, _SET)}
            elif about is None:
                self.refuse("A line `set` is expected here.")
            elif word == "axis" and not tables:
                self._shared_axis(rest)
            elif word == "table":
                tables.append(self._table(rest))
            else:
                self.refuse(f"A line {word[:40]!r} is not expected here.")
        if about is None:
            self.refuse("The text ends after its first line.")
        self.line = 0
        try:
            content = CalibrationSet(tables, self.shared, **about)  # type: ignore[arg-type]
        except ModelError as error:
            self.refuse(error.problem, error.remedy or _REMEDY)
        self._require_same(content, body, first)
        return content

    def _header(self, text: str) -> None:
        if text.startswith((HEADER, LABELS_HEADER)):
            return
        found = re.match(r"bitepoint-content ([0-9]{1,6})\n", text)
        if found and int(found[1]) > VERSION:
            raise NewerFile(
                self.path,
                "",
                f"It was written by a newer program (version {found[1]}; this one reads "
                f"{VERSION}).",
                "Update Bitepoint.",
            )
        self.refuse("This is no canonical text of a set.", "Check the name.")

    def _require_same(self, content: CalibrationSet, body: bytes, first: int) -> None:
        """What was read must mean exactly what was written, or a digest would be of another set."""
        try:
            again = canonical_text(content)
        except UnicodeEncodeError:
            self.refuse("A text holds half of a character.")
        if hashlib.sha256(again).digest() == hashlib.sha256(body).digest():
            return
        for self.line, (a, b) in enumerate(
            zip(again.split(b"\n"), body.split(b"\n"), strict=False), start=first
        ):
            if a != b:
                self.refuse("The line is not in canonical form.", "Export the set again.")
        self.refuse("The text is not in canonical form.", "Export the set again.")

    # -- lines -----------------------------------------------------------------------------

    def _shared_axis(self, parts: list[str]) -> None:
        labelled = ("labels",) if len(parts) > len(_AXIS) + 1 else ()
        pairs = dict(self.named(parts, ("id", *_AXIS, *labelled)))
        axis = self._axis(pairs, "")
        if axis.shared != pairs["id"] or axis.shared in self.shared:
            self.refuse("The shared axis is named twice, or differently.")
        self.shared[axis.shared] = axis

    def _table(self, parts: list[str]) -> Table:
        labels = [key for part in parts if (key := part.partition("=")[0]).endswith("labels")]
        count, left = divmod(len(parts) - len(_TABLE) - 1 - len(labels), len(_AXIS))
        if left or not 0 <= count <= MAX_AXES:
            self.refuse(f"A table has {len(_TABLE) + 1} fields and {len(_AXIS)} for each axis.")
        names = []
        for n in range(1, count + 1):
            names += [f"axis{n}.{key}" for key in _AXIS]
            names += [name for name in (f"axis{n}.labels",) if name in labels]
        names += [name for name in ("labels",) if name in labels]
        given = dict(self.named(parts, (*_TABLE, *names, "values")))
        axes = tuple(self._axis(given, f"axis{n}.") for n in range(1, count + 1))
        values = self.numbers(given["values"])
        shape = tuple(len(axis) for axis in axes)
        if math.prod(shape) != values.size:
            self.refuse(f"There are {values.size} values for {math.prod(shape)} cells.")
        try:
            return Table(
                given["id"],
                values.reshape(shape),
                axes,
                self.text(given["name"]),
                self.text(given["unit"]),
                self.text(given["function"]),
                self.text(given["description"]),
                self.number(given["lower"]),
                self.number(given["upper"]),
                self.storage(given["storage"]),
                self.text(given["role"]),
                self.relations(given["relations"]),
                self.rules(given["rules"]),
                self.labels(given.get("labels", "")),
            )
        except ModelError as error:
            self.refuse(error.problem, error.remedy or _REMEDY)

    def _axis(self, given: dict[str, str], prefix: str) -> Axis:
        def field(key: str) -> str:
            return given[prefix + key]

        try:
            axis = Axis(
                self.numbers(field("breakpoints")),
                self.text(field("name")),
                self.text(field("unit")),
                self.text(field("quantity")),
                Interpolation(field("interpolation")),
                End(field("below")),
                End(field("above")),
                self.storage(field("storage")),
                self.text(field("shared")),
                self.labels(given.get(f"{prefix}labels", "")),
            )
        except ModelError as error:
            self.refuse(error.problem, error.remedy or _REMEDY)
        except ValueError:
            self.refuse("An axis reads in a way that is not known.")
        known = self.shared.get(axis.shared)
        return known if known == axis else axis

    # -- fields ----------------------------------------------------------------------------

    def named(self, parts: list[str], names: tuple[str, ...]) -> Iterator[tuple[str, str]]:
        if len(parts) != len(names):
            self.refuse(f"The line has {len(parts)} fields, not {len(names)}.")
        for part, name in zip(parts, names, strict=True):
            key, equals, value = part.partition("=")
            if key != name or not equals:
                self.refuse(f"The field {name} is expected where {part[:40]!r} stands.")
            yield name, value

    def text(self, escaped: str) -> str:
        if "\\" not in escaped:
            return escaped
        if _STRAY.search(escaped.replace("\\\\", "")):
            self.refuse("A backslash stands before something else than it may.")
        return _ESCAPE.sub(lambda m: _PLAIN[m[1]] if m[1] else chr(int(m[2], 16)), escaped)

    def number(self, text: str) -> float:
        if not _NUMBER.fullmatch(text):
            self.refuse(f"{text[:40]!r} is no hexadecimal number.")
        try:
            return float.fromhex(text)
        except OverflowError:
            self.refuse(f"{text[:40]!r} is too large.")

    def numbers(self, text: str) -> FloatArray:
        self.values += text.count(" ") + 1
        if self.values > MAX_VALUES:
            self.refuse(f"The set has more than {MAX_VALUES} values.")
        if not _NUMBERS.fullmatch(text):
            place = next(i for i, w in enumerate(text.split(" ")) if not _NUMBER.fullmatch(w))
            self.refuse(f"Number {place + 1} of a list is no hexadecimal number.")
        try:
            return np.array(list(map(float.fromhex, text.split(" "))), dtype=np.float64)
        except OverflowError:
            self.refuse("A number is too large.")

    def storage(self, text: str) -> Storage:
        found = _STORAGE.fullmatch(text)
        if not found:
            self.refuse(f"{text[:60]!r} is no storage.")
        return Storage(found[1], int(found[2]), int(found[3]), int(found[4]))

    def relations(self, text: str) -> dict[str, str]:
        if not text:
            return {}
        pairs = self.json(text)
        if not isinstance(pairs, list) or not all(
            isinstance(p, list) and len(p) == 2 and all(isinstance(t, str) for t in p)
            for p in pairs
        ):
            self.refuse("The relations are no list of pairs.")
        return {self.text(mode): self.text(sense) for mode, sense in pairs}

    def labels(self, text: str) -> Labels:
        if not text:
            return NO_LABELS
        pairs = self.json(text)
        if not isinstance(pairs, list) or not all(
            isinstance(p, list) and len(p) == 2 and all(isinstance(t, str) for t in p)
            for p in pairs
        ):
            self.refuse("The labels are no list of pairs.")
        return Labels(tuple((self.number(number), self.text(name)) for number, name in pairs))

    def rules(self, text: str) -> tuple[Rule, ...]:
        listed = self.json(text)
        if not isinstance(listed, list) or not all(isinstance(rule, dict) for rule in listed):
            self.refuse("The rules are no list.")
        try:
            return tuple(rule_from_plain(self.rule(rule)) for rule in listed)
        except (RecursionError, OverflowError, TypeError, ValueError):
            self.refuse("A rule is not what it should be.")

    def rule(self, plain: dict[str, Any]) -> dict[str, Any]:
        """Return a rule's plain data with its texts and infinities as they were."""
        kind = KINDS.get(str(plain.get("kind")))
        types = {f.name: type_text(f) for f in fields(kind)} if kind is not None else {}
        return {
            self.text(key): self._value(value, "float" in types.get(key, ""))
            for key, value in plain.items()
        }

    def _value(self, value: Any, numeric: bool) -> Any:
        if isinstance(value, str):
            if numeric and value in ("inf", "-inf", "nan"):
                return float(value)
            return self.text(value)
        if isinstance(value, list):
            return [self._value(part, numeric) for part in value]
        if isinstance(value, dict):
            return {self.text(k): self._value(v, k in ("low", "high")) for k, v in value.items()}
        return value

    def json(self, text: str) -> Any:
        try:
            return json.loads(text, parse_constant=lambda _: self.refuse("NaN is no JSON."))
        except (ValueError, RecursionError):
            self.refuse("A field is not the JSON it should be.")
