"""Recordings written by libraries that are not ours, for tests to read."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

Channels = dict[str, tuple[str, np.ndarray]]


def write_csv(
    path: Path,
    time: np.ndarray,
    channels: Channels,
    *,
    separator: str = ",",
    decimal: str = ".",
    unit_row: bool = True,
    time_name: str = "time",
    time_unit: str = "s",
    encoding: str = "utf-8",
    head: tuple[str, ...] = (),
    end: str = "\n",
) -> Path:
    """Write with the shortest text of each number; NaN is an empty cell."""

    def cell(value: Any) -> str:
        if isinstance(value, str):
            return value
        return "" if np.isnan(value) else repr(float(value)).replace(".", decimal)

    def named(name: str, unit: str) -> str:
        return name if unit_row or not unit else f"{name} [{unit}]"

    lines = list(head)
    lines.append(
        separator.join(
            [named(time_name, time_unit), *(named(n, u) for n, (u, _) in channels.items())]
        )
    )
    if unit_row:
        lines.append(separator.join([time_unit, *(u for u, _ in channels.values())]))
    rows = zip(list(time), *(v for _, v in channels.values()), strict=True)
    lines += [separator.join(map(cell, row)) for row in rows]
    path.write_bytes((end.join(lines) + end).encode(encoding))
    return path


def write_parquet(path: Path, time: np.ndarray, channels: Channels) -> Path:
    """Write with pyarrow, units in the fields' metadata."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    arrays = [pa.array(time), *(pa.array(v) for _, v in channels.values())]
    fields = [pa.field("time", pa.float64(), metadata={"unit": "s"})]
    fields += [
        pa.field(name, array.type, metadata={"unit": unit})
        for (name, (unit, _)), array in zip(channels.items(), arrays[1:], strict=True)
    ]
    pq.write_table(
        pa.Table.from_arrays(arrays, schema=pa.schema(fields)), path, write_page_checksum=True
    )
    return path


def write_mdf4(path: Path, groups: list[tuple[np.ndarray, Channels]], comment: str = "") -> Path:
    """Write with asammdf: one channel group per rate."""
    from asammdf import MDF, Signal

    file = MDF(version="4.10")
    file.start_time = datetime(2026, 1, 15, 8, tzinfo=UTC)
    for time, channels in groups:
        file.append([Signal(v, time, name=n, unit=u) for n, (u, v) in channels.items()])
    if comment:
        file.header.comment = comment
    path = path.with_suffix(".mf4")  # the library would add it
    file.save(path, overwrite=True)
    file.close()
    return path


def write_hdf5(path: Path, time: np.ndarray, channels: Channels, **said: str) -> Path:
    """Write our documented layout with plain h5py."""
    import h5py

    def text(items: list[str]) -> np.ndarray:
        return np.array([i.encode() for i in items])

    with h5py.File(path, "w") as file:
        file.attrs.create("format", np.bytes_(b"bitepoint recording"))
        file.attrs.create("format_version", 1, dtype="<i4")
        for name, value in said.items():
            file.attrs.create(name, np.bytes_(value.encode()))
        n = len(channels)
        file["base_count"] = np.array([time.size], dtype="<i8")
        file["times"] = np.asarray(time, dtype="<f8")
        file["channel"] = text(list(channels))
        file["channel_unit"] = text([u or " " for u, _ in channels.values()])
        file["channel_base"] = np.zeros(n, dtype="<i4")
        file["values"] = np.concatenate([v for _, v in channels.values()]).astype("<f8")
    return path


def cycle(published: Path, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return seconds and m/s of a published drive cycle, from the package fastsim 2.1.5."""
    path = published / "fastsim" / "resources" / "cycles" / f"{name}.csv"
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    return (
        np.array([float(r["cycSecs"]) for r in rows]),
        np.array([float(r["cycMps"]) for r in rows]),
    )
