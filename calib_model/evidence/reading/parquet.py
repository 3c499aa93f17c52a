"""Read the columns of a Parquet recording batch by batch, in the reading process."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from ...exchange.measurement_layout import unit_text
from .bounds import REMEDY, too_much
from .csv_layout import is_iso
from .layout import ISO, MAX_COLUMNS, FoundChannel, Layout, parts
from .stream import Block, Refused, Remarks

BATCH_ROWS = 1 << 16


def inspect_parquet(path: Path, time: str | None = None, time_unit: str | None = None) -> Layout:
    """Find out what a Parquet recording looks like.

    A column's unit is the text of its field's metadata ``unit``, else what stands in brackets at
    the end of its name.  ``start``, ``vehicle_set_digest`` and ``comment`` are read from the
    schema's metadata.

    Raises
    ------
    UnclearLayout
    Refused
    """
    file = _opened(path)
    schema = file.schema_arrow
    if len(schema) > MAX_COLUMNS:
        raise Refused("", f"It has {len(schema)} columns.", f"At most {MAX_COLUMNS} are read.")
    columns = [_column(number, field) for number, field in enumerate(schema)]
    rows = file.metadata.num_rows
    problem = too_much(path.stat().st_size, 8 * rows * len(schema), rows)
    if problem:
        raise Refused("", problem, REMEDY)
    said = {
        k.decode("utf-8", "replace"): v.decode("utf-8", "replace")
        for k, v in (schema.metadata or {}).items()
        if len(v) < 4000
    }
    times, channels, left_out = parts(path, columns, time, time_unit)
    start = said.get("start", "")
    return Layout(
        path, "Parquet", times, channels, left_out=left_out, start=start if is_iso(start) else "",
        vehicle_set_digest=said.get("vehicle_set_digest", ""), comment=said.get("comment", ""),
    )  # fmt: skip


def read_parquet(path: Path, layout: Layout, remarks: Remarks) -> Iterator[Block]:
    """Yield the columns of a Parquet recording, batch by batch.

    Raises
    ------
    Refused
    """
    import pyarrow as pa

    file = _opened(path)
    schema = file.schema_arrow
    numbers = sorted({t.number for t in layout.times} | {c.number for c in layout.channels})
    dates = {t.number for t in layout.times if t.unit == ISO}
    if numbers[-1] >= len(schema):
        raise Refused("", "It has fewer columns than were chosen.", "Look at the file again.")
    unique = len(set(schema.names)) == len(schema)
    names = [schema.names[n] for n in numbers] if unique else None
    places = range(len(numbers)) if unique else numbers
    total, done = max(1, file.metadata.num_rows), 0
    try:
        for batch in file.iter_batches(batch_size=BATCH_ROWS, columns=names):
            done += batch.num_rows
            found = {
                number: (_values(batch.column(place), number in dates), batch.num_rows)
                for number, place in zip(numbers, places, strict=True)
            }
            yield Block(done / total, found)
    except (pa.ArrowException, OSError, ValueError) as error:
        if isinstance(error, MemoryError):
            raise
        raise Refused(f"row {done + 1}", f"It is damaged ({_short(error)}).", DAMAGED) from None


DAMAGED = "Restore it from a backup, or export the recording again."


def _opened(path: Path) -> Any:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise Refused("", "Reading Parquet needs the package pyarrow, which is not installed.",
                      "missing") from None  # fmt: skip
    try:
        return pq.ParquetFile(path, page_checksum_verification=True, memory_map=False)
    except (pa.ArrowException, OSError, ValueError) as error:
        if isinstance(error, MemoryError):
            raise
        raise Refused("", f"It is damaged ({_short(error)}).", DAMAGED) from None


def _column(number: int, field: Any) -> FoundChannel:
    import pyarrow.types as types

    kind = field.type
    said = (field.metadata or {}).get(b"unit", b"").decode("utf-8", "replace")
    name, unit = field.name[:500], said
    if not said and name.endswith(("]", ")")):
        opening = name.rfind("[" if name.endswith("]") else "(")
        if opening > 0:
            name, unit = name[:opening].rstrip(" _"), name[opening + 1 : -1]
    if types.is_timestamp(kind):
        role = "date-time"
    elif types.is_integer(kind) or types.is_floating(kind) or types.is_boolean(kind):
        role = "number"
    elif types.is_duration(kind):
        role, unit = "number", kind.unit
    elif types.is_decimal(kind):
        role = "number"
    else:
        role = "text"
    return FoundChannel(number, name, unit_text(unit)[:80], role)


def _values(column: Any, is_date: bool) -> Any:
    """Return a column as float64: masked where it is null."""
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.types as types

    kind = column.type
    if is_date and types.is_timestamp(kind):
        ticks = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}[kind.unit]
        whole = pc.fill_null(column.cast(pa.int64()), 0).to_numpy(zero_copy_only=False)
        # Whole seconds apart, so that nanoseconds since 1970 lose nothing in a float64.
        each = int(ticks)
        values = (whole // each) + (whole % each) / ticks
    else:
        if types.is_duration(kind):
            column = column.cast(pa.int64())
        if not types.is_float64(kind):
            column = column.cast(pa.float64(), safe=False)
        values = column.to_numpy(zero_copy_only=False)
    if not column.null_count:
        return np.asarray(values, dtype=np.float64)
    empty = np.asarray(column.is_null().to_numpy(zero_copy_only=False), dtype=bool)
    return np.ma.MaskedArray(np.asarray(values, dtype=np.float64), empty)


def _short(error: BaseException) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__
