"""Recordings of every format, damaged; read as the reading process and its parent would."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from calib_model.controller.constants import Constants
from calib_model.evidence.mapping import suggest
from calib_model.evidence.reading.assembly import assembled, received
from calib_model.evidence.reading.child import answers
from calib_model.evidence.reading.source import Answer, kind_of
from calib_model.evidence.ticks import on_ticks
from calib_model.store.message import pack_header
from tests.evidence_reading.making_recordings import (
    write_csv,
    write_hdf5,
    write_mdf4,
    write_parquet,
)
from tests.hostile.mutate import damaged

TIME = np.round(np.arange(120) * 0.02, 6)
CHANNELS: dict[str, tuple[str, Any]] = {
    "vehicle_speed": ("km/h", np.round(40 + 5 * np.sin(TIME), 3)),
    "pedal": ("%", np.round(20 + 15 * np.cos(TIME), 2)),
    "ambient_temperature": ("degC", np.where(np.arange(120) % 50 == 0, -8.5, np.nan)),
}
SLOW = TIME[::5]
WRITERS: dict[str, Callable[[Path], Path]] = {
    "CSV": lambda path: write_csv(path, TIME, CHANNELS, separator=";"),
    "Parquet": lambda path: write_parquet(path, TIME, CHANNELS),
    "MDF 4": lambda path: write_mdf4(
        path, [(TIME, CHANNELS), (TIME[::5], {"slow": ("", TIME[::5])})]
    ),
    "HDF5": lambda path: write_hdf5(path, TIME, CHANNELS),
}


class _Stream:
    """Stands for the reading process: what it would have said, already there."""

    timed_out = False

    def __init__(self, data: bytes) -> None:
        self._data = BytesIO(data)

    def read(self, size: int) -> bytes:
        return self._data.read(size)

    def read_into(self, view: memoryview) -> int:
        return self._data.readinto(view)

    def status(self, _seconds: float = 1.0) -> int:
        return 0


class _Answer(Answer):
    def __init__(self, path: Path) -> None:
        self.path = path
        self.kind, self.stat = kind_of(path)
        request = {"kind": self.kind, "columns": True, "hints": {}}
        parts = [
            part
            for header, buffers in answers(path, request)
            for part in (pack_header(header), *map(bytes, buffers))
        ]
        self._child: Any = _Stream(b"".join(parts))


def use_recording(path: Path) -> None:
    """Read a recording and bring it to ticks, without a process for each."""
    answer = _Answer(path)
    layout = answer.layout()
    collected, words, damage = received(answer, layout, None)
    try:
        recording = assembled(path, layout, collected, words, damage)
    finally:
        collected.close()
    recording = replace(recording, sha256="0" * 64)
    on_ticks(recording, suggest(recording), Constants())
    for channel in recording.channels.values():
        _ = channel.whole(), channel.extremes


@cache
def _whole(kind: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        data = bytearray(WRITERS[kind](Path(folder) / "whole").read_bytes())
    if kind == "MDF 4":
        # When the file was made is the one thing that differs between two runs (ASAM MDF 4.1: a
        # history block has 40 bytes of head and links before its time).
        at = data.find(b"##FH")
        data[at + 40 : at + 48] = bytes(8)
    return bytes(data)


def damaged_recording(kind: str, seed: int) -> bytes:
    """Return one damaged recording of a kind."""
    return damaged(_whole(kind), random.Random(seed))


def case(kind: str, seed: int, folder: Path) -> None:
    """Read one damaged recording of a kind."""
    place = folder / "recording"
    place.write_bytes(damaged_recording(kind, seed))
    use_recording(place)
