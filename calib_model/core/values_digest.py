"""A digest over values alone, for what holds no rules: images, recordings, exports.

The text that is summed has a versioned header line, then a line per table, sorted by id, with
fields separated by tabs (shown here in two lines)::

    bitepoint-values 1
    table	id=...	unit=...	storage=...
    ...	axis1.unit=...	axis1.storage=...	axis1.breakpoints=...	values=...

Numbers, texts and storage are written as in canonical text (`calib_model.core.canonical`).  Names,
descriptions, limits, roles, rules, relations, what an axis reads and how, sharing, programme, mode
and the record are not in it: none of them is in a controller's memory, and how the controller
reads between two breakpoints is its software's.
"""

from __future__ import annotations

import hashlib

from .calibration_set import CalibrationSet
from .canonical import numbers_text, one_line, storage_text
from .table import Table

HEADER = "bitepoint-values 1\n"


def values_text(content: CalibrationSet) -> bytes:
    """Return the text that `values_digest` sums.

    Parameters
    ----------
    content : CalibrationSet

    Returns
    -------
    bytes
        UTF-8.
    """
    return "".join([HEADER, *(_line(content.tables[id]) for id in sorted(content.tables))]).encode()


def values_digest(content: CalibrationSet) -> str:
    """Return the SHA-256 (hex) over tables' ids, units, storage, breakpoints and values alone.

    Parameters
    ----------
    content : CalibrationSet

    Examples
    --------
    >>> from calib_model.core.table import Table
    >>> plain = CalibrationSet([Table("gain", 2.0)], programme="Larch")
    >>> named = CalibrationSet([Table("gain", 2.0, name="Gain", upper=5.0)])
    >>> values_digest(plain) == values_digest(named)
    True
    >>> values_digest(plain) == values_digest(CalibrationSet([Table("gain", 2.5)]))
    False
    """
    return hashlib.sha256(values_text(content)).hexdigest()


def _line(table: Table) -> str:
    parts = [
        f"table\tid={table.id}\tunit={one_line(table.unit)}\tstorage={storage_text(table.storage)}"
    ]
    for number, axis in enumerate(table.axes, start=1):
        parts.append(
            f"\taxis{number}.unit={one_line(axis.unit)}"
            f"\taxis{number}.storage={storage_text(axis.storage)}"
            f"\taxis{number}.breakpoints={numbers_text(axis.values)}"
        )
    parts.append(f"\tvalues={numbers_text(table.values)}\n")
    return "".join(parts)
