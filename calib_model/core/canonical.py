"""A set's content as one canonical text, and digests over it.

The text has a versioned header line, then the set's programme and modes, its shared axes and its
tables, one line each, sorted by id; fields are ``key=value``, separated by tabs::

    bitepoint-content 1
    set	programme=Larch	mode=normal	base_mode=normal
    axis	id=...	name=...	...	breakpoints=...
    table	id=...	name=...	...	axis1.breakpoints=...	...	values=...

- Numbers are C99 hexadecimal floats, so that every float64 has one text; ``nan`` is a cell that
  is not filled, ``inf`` no limit; -0 is written as 0.
- Texts are in Unicode's normal form C; a backslash is ``\\\\``, and control characters and line
  separators are ``\\t``, ``\\n``, ``\\r`` or ``\\uXXXX``, so that a line is a line everywhere.
- Rules are JSON with sorted keys; relations are JSON pairs of mode and relation, sorted.
- What came later stands in the text only where it is used, so that a digest made before stays
  true: ``labels``, JSON pairs of a hexadecimal number and its name, rising, at the end of an
  axis's fields and before ``values``.  Only then the header says version 2, which a program that
  knows no labels refuses.
- Lines end with a line feed; the encoding is UTF-8.

What belongs to the record (name, revision and description of the set, history, remarks, waivers,
sign-offs) and the order of tables are not in it.
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
import weakref
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from .arrays import FloatArray
from .axis import Axis
from .calibration_set import CalibrationSet
from .labels import Labels
from .numbers import one_form
from .rule import Rule
from .storage import Storage
from .table import Table

VERSION = 2
"""Version 2 brought labels; what has none is written as version 1."""
HEADER = "bitepoint-content 1\n"
LABELS_HEADER = "bitepoint-content 2\n"

_UNSAFE = re.compile("[\\\\\x00-\x1f\x7f-\x9f\u2028\u2029]")
_SHORT = {"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"}


def canonical_text(content: CalibrationSet) -> bytes:
    """Return a set's content as canonical text.

    Parameters
    ----------
    content : CalibrationSet

    Returns
    -------
    bytes
        UTF-8; the same for equal content, different for any difference that has a meaning.
    """
    return "".join(
        [_header(content), _set_line(content), *_axis_lines(content), *_table_lines(content)]
    ).encode()


def digest(content: CalibrationSet) -> str:
    """Return the SHA-256 (hex) of a set's canonical text."""
    return hashlib.sha256(canonical_text(content)).hexdigest()


def table_digest(table: Table) -> str:
    """Return the SHA-256 (hex) of a table's line of canonical text, its header line before it."""
    known = _known_digest(table)
    return known or _keep(table, _line_digest(table, _table_line(table, {}, {})))


def table_digests(content: CalibrationSet) -> dict[str, str]:
    """Return `table_digest` of every table, by id."""
    axes: dict[tuple[int, int], str] = {}
    rules: dict[Rule, str] = {}
    found: dict[str, str] = {}
    for id in sorted(content.tables):
        table = content.tables[id]
        found[id] = _known_digest(table) or _keep(
            table, _line_digest(table, _table_line(table, axes, rules))
        )
    return found


def digests(content: CalibrationSet) -> tuple[str, dict[str, str]]:
    """Return `digest` and `table_digests` of a set, for little more than the price of one."""
    whole = hashlib.sha256()
    for line in (_header(content), _set_line(content), *_axis_lines(content)):
        whole.update(line.encode())
    tables: dict[str, str] = {}
    for id, line in zip(sorted(content.tables), _table_lines(content), strict=True):
        whole.update(line.encode())
        table = content.tables[id]
        tables[id] = _known_digest(table) or _keep(table, _line_digest(table, line))
    return whole.hexdigest(), tables


# A table is a value, so its digest stays true as long as it lives; an edit of one table in 30,000
# then costs one digest. By identity, since comparing tables would cost more than it saves.
_digests: dict[int, tuple[weakref.ref[Table], str]] = {}


def _known_digest(table: Table) -> str:
    kept = _digests.get(id(table))
    return kept[1] if kept is not None and kept[0]() is table else ""


def _keep(table: Table, digest: str) -> str:
    key = id(table)
    _digests[key] = (weakref.ref(table, lambda gone: _forget(key, gone)), digest)
    return digest


def _forget(key: int, gone: weakref.ref[Table]) -> None:
    # The place in memory may be another table's by now.
    kept = _digests.get(key)
    if kept is not None and kept[0] is gone:
        del _digests[key]


def _line_digest(table: Table, line: str) -> str:
    header = LABELS_HEADER if _labelled(table) else HEADER
    return hashlib.sha256((header + line).encode()).hexdigest()


def _labelled(table: Table) -> bool:
    return bool(table.labels) or any(axis.labels for axis in table.axes)


def _header(content: CalibrationSet) -> str:
    shared = any(axis.labels for axis in content.shared_axes.values())
    return LABELS_HEADER if shared or any(map(_labelled, content)) else HEADER


def _set_line(content: CalibrationSet) -> str:
    return (
        f"set\tprogramme={one_line(content.programme)}\tmode={one_line(content.mode)}"
        f"\tbase_mode={one_line(content.base_mode)}\n"
    )


def _axis_lines(content: CalibrationSet) -> Iterator[str]:
    # Ids are ASCII, so the order of characters is the order of UTF-8 bytes.
    for id in sorted(content.shared_axes):
        yield f"axis\tid={id}{_axis_fields(content.shared_axes[id], '')}\n"


def _table_lines(content: CalibrationSet) -> Iterator[str]:
    axes: dict[tuple[int, int], str] = {}  # tables share axes; each is written out once
    rules: dict[Rule, str] = {}
    for id in sorted(content.tables):
        yield _table_line(content.tables[id], axes, rules)


def _table_line(table: Table, axes: dict[tuple[int, int], str], rules: dict[Rule, str]) -> str:
    in_force = ",".join([_rule(rule, rules) for rule in table.rules])
    parts = [
        (
            f"table\tid={table.id}\tname={one_line(table.name)}\tunit={one_line(table.unit)}"
            f"\tfunction={one_line(table.function)}\tdescription={one_line(table.description)}"
            f"\tlower={_number(table.lower)}\tupper={_number(table.upper)}"
            f"\tstorage={storage_text(table.storage)}\trole={one_line(table.role)}"
            f"\trelations={_relations(table)}\trules=[{in_force}]"
        )
    ]
    for number, axis in enumerate(table.axes, start=1):
        # The set holds its axes all the while, so their identities stay theirs.
        key = (id(axis), number)
        text = axes.get(key)
        if text is None:
            text = axes[key] = _axis_fields(axis, f"axis{number}.")
        parts.append(text)
    if table.labels:
        parts.append(f"\tlabels={_labels(table.labels)}")
    parts.append(f"\tvalues={numbers_text(table.values)}\n")
    return "".join(parts)


def _axis_fields(axis: Axis, prefix: str) -> str:
    later = (("labels", _labels(axis.labels)),) if axis.labels else ()
    return "".join(
        f"\t{prefix}{key}={value}"
        for key, value in (
            ("name", one_line(axis.name)),
            ("unit", one_line(axis.unit)),
            ("quantity", one_line(axis.quantity)),
            ("interpolation", axis.interpolation),
            ("below", axis.below),
            ("above", axis.above),
            ("storage", storage_text(axis.storage)),
            ("shared", axis.shared),
            ("breakpoints", numbers_text(axis.values)),
            *later,
        )
    )


def _labels(labels: Labels) -> str:
    pairs = [[_number(number), one_line(text)] for number, text in labels.pairs]
    return json.dumps(pairs, ensure_ascii=False, separators=(",", ":"))


def storage_text(storage: Storage) -> str:
    """Return a storage as canonical text has it: type, numerator/denominator, offset."""
    return f"{storage.type} {storage.numerator}/{storage.denominator} {storage.offset}"


def _relations(table: Table) -> str:
    if not table.relations:
        return ""
    return _pairs(tuple(table.relations.items()))


@lru_cache(maxsize=1000)  # a set has a handful of combinations
def _pairs(relations: tuple[tuple[str, str], ...]) -> str:
    pairs = sorted((one_line(mode), one_line(sense)) for mode, sense in relations)
    return json.dumps(pairs, ensure_ascii=False, separators=(",", ":"))


def _rule(rule: Rule, known: dict[Rule, str]) -> str:
    text = known.get(rule)
    if text is None:
        plain = _canonical(rule.to_plain())
        text = json.dumps(plain, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        known[rule] = text
    return text


def _canonical(plain: Any) -> Any:
    """Return plain data with one form for equal numbers and equal texts."""
    if isinstance(plain, dict):
        return {one_line(key): _canonical(value) for key, value in plain.items()}
    if isinstance(plain, list | tuple):
        return [_canonical(value) for value in plain]
    if isinstance(plain, str):
        return one_line(plain)
    if isinstance(plain, bool) or plain is None:
        return plain
    return one_form(plain)


def numbers_text(values: FloatArray) -> str:
    """Return numbers as canonical text has them: hexadecimal floats, a space between two."""
    return " ".join(map(float.hex, (values.reshape(-1) + 0.0).tolist()))


def _number(value: float) -> str:
    return float.hex(float(value) + 0.0)


def one_line(text: str) -> str:
    """Return a text as canonical text has it: normal form C, nothing that breaks a line."""
    if text.isascii() and text.isprintable() and "\\" not in text:
        return text
    return _UNSAFE.sub(_escaped, unicodedata.normalize("NFC", text))


def _escaped(match: re.Match[str]) -> str:
    sign = match[0]
    return _SHORT.get(sign) or f"\\u{ord(sign):04x}"
