"""From the columns of a file to a recording: rates told apart, stamps and samples checked."""

from __future__ import annotations

import hashlib
import math
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from ...core.arrays import BoolArray, FloatArray
from ...errors import FileProblem
from ..cleaning import Stamps, check_samples, clean_stamps
from ..recording import DAMAGED_ROW, Channel, Fault, Recording
from .bounds import REMEDY, too_much
from .layout import ISO, TIME_UNITS, ChannelColumn, Layout
from .source import Answer

SPOOL_BYTES = 320 << 20
"""Above this they go to a temporary file: an hour at 100 Hz with 60 channels stays below."""


@dataclass
class _Column:
    parts: list[tuple[int, BoolArray | None, Any]] = field(default_factory=list)


class Collected:
    """The columns of a file as they come in."""

    def __init__(self, numbers: set[int]) -> None:
        self._columns = {n: _Column() for n in numbers}
        self._bytes = 0
        self._rows: dict[int, int] = {}
        self._file: Any = None

    def take(self, answer: Answer, listed: Any) -> None:
        """Read the columns of a block.

        Raises
        ------
        FileProblem
        """
        if not isinstance(listed, list):
            raise answer.broken()
        for entry in listed:
            if not isinstance(entry, list) or [type(v) for v in entry] != [int] * 3:
                raise answer.broken()
            number, rows, filled = entry
            if number not in self._columns or not 0 <= filled <= rows <= 1 << 31:
                raise answer.broken()
            self._bytes += 8 * filled + (rows if filled < rows else 0)
            self._rows[number] = self._rows.get(number, 0) + rows
            problem = too_much(answer.stat.st_size, self._bytes, self._rows[number])
            if problem:
                raise FileProblem(answer.path, "", problem, REMEDY)
            mask: BoolArray | None = None
            if filled < rows:
                mask = np.zeros(rows, dtype=np.bool_)
                if filled:
                    answer.fill(mask.view(np.uint8).data)
                    mask = mask.view(np.uint8) != 0  # any byte is a bool now
                    if int(np.count_nonzero(mask)) != filled:
                        raise answer.broken()
            values = np.empty(filled, dtype=np.float64)
            if filled:
                answer.fill(values.view(np.uint8).data)
            self._columns[number].parts.append((rows, mask, self._kept(values)))

    def column(self, number: int) -> tuple[FloatArray, BoolArray | None, int]:
        """Return values, which rows they stand in (None: all) and the number of rows; once."""
        parts = self._columns.pop(number).parts
        rows = sum(p[0] for p in parts)
        loaded = [self._loaded(p[2]) for p in parts]
        values = loaded[0] if len(loaded) == 1 else np.concatenate([*loaded, np.empty(0)])
        if all(p[1] is None for p in parts):
            return values, None, rows
        masks = [np.ones(p[0], dtype=np.bool_) if p[1] is None else p[1] for p in parts]
        return values, np.concatenate(masks), rows

    def settled(self, values: FloatArray) -> FloatArray:
        """Return an array to keep: in memory, or mapped from a file where there is much."""
        if self._file is None or not values.size:
            return values
        with tempfile.TemporaryFile() as file:
            file.write(np.ascontiguousarray(values).data)
            file.flush()
            return np.memmap(file, dtype=np.float64, mode="r", shape=values.shape)

    def close(self) -> None:
        """Remove the temporary file."""
        if self._file is not None:
            self._file.close()

    def _kept(self, values: FloatArray) -> Any:
        if self._bytes <= SPOOL_BYTES:
            return values
        if self._file is None:
            self._file = tempfile.TemporaryFile()  # noqa: SIM115
        place = self._file.seek(0, 2)
        self._file.write(values.data)
        return place, values.size

    def _loaded(self, kept: Any) -> FloatArray:
        if isinstance(kept, np.ndarray):
            return kept
        place, size = kept
        self._file.seek(place)
        return np.frombuffer(self._file.read(8 * size), dtype=np.float64)


@dataclass
class _Base:
    """Time stamps that some channels share."""

    stamps: Stamps
    rows: int
    full: BoolArray
    names: list[str] = field(default_factory=list)


def received(
    answer: Answer, layout: Layout, progress: Callable[[float], None] | None
) -> tuple[Collected, list[str], dict[str, int]]:
    """Take in every column.

    Returns
    -------
    Collected
    words : list of str
        Remarks of the reader.
    damage : dict
        Rows that could not be read, by what was wrong.

    Raises
    ------
    FileProblem
    """
    numbers = {t.number for t in layout.times} | {c.number for c in layout.channels}
    collected = Collected(numbers)
    try:
        for header in answer.headers():
            if "end" in header:
                end = header["end"] if isinstance(header["end"], dict) else {}
                words = [str(w)[:1000] for w in end.get("words", ())]
                damage = {str(k)[:300]: int(v) for k, v in dict(end.get("damage", {})).items()}
                return collected, words, damage
            collected.take(answer, header.get("block"))
            if progress is not None:
                progress(min(1.0, float(header.get("at", 0.0))))
    except OSError as error:
        collected.close()
        raise FileProblem(
            answer.path, "", f"There is no room to unpack it ({error}).", "Free some space."
        ) from None
    except BaseException:
        collected.close()
        raise
    raise answer.broken()


def assembled(
    path: Path, layout: Layout, collected: Collected, words: list[str], damage: dict[str, int]
) -> Recording:
    """Build the recording; the sum of its file is left empty.

    Raises
    ------
    FileProblem
        If columns do not belong together, or hold nothing.
    """
    start = layout.start
    times: dict[int, tuple[FloatArray, BoolArray | None, int]] = {}
    origin = math.nan
    for column in layout.times:
        values, mask, rows = collected.column(column.number)
        if column.unit == ISO:
            finite = values[np.isfinite(values)]
            if math.isnan(origin) and finite.size:
                origin = float(finite[0])
                start = start or _iso(origin)
            values = values - origin
        elif column.unit != "s":
            values = values * TIME_UNITS[column.unit]
        times[column.number] = values, mask, rows
    bases: dict[tuple[int, bytes], _Base] = {}
    channels: dict[str, Channel] = {}
    own_faults: list[Fault] = []
    for about in layout.channels:
        values, mask, rows = collected.column(about.number)
        key = about.time, b"" if mask is None else hashlib.sha256(np.packbits(mask).data).digest()
        base = bases.get(key)
        if base is None:
            base = bases[key] = _base(path, about, times[about.time], mask, rows, collected)
        if values.size != base.rows:
            raise FileProblem(
                path, f"channel {about.name!r}", f"It has {values.size} samples for {base.rows} "
                "time stamps.", "Export the recording again.",
            )  # fmt: skip
        keep = base.stamps.keep
        if keep is not None:
            values = values[keep]
        valid, faults = check_samples(base.stamps.time, values, about.unit)
        own_faults += [replace(f, channel=about.name, channels=(about.name,)) for f in faults]
        base.names.append(about.name)
        channels[about.name] = Channel(
            about.name, about.unit, base.stamps.time, collected.settled(values),
            base.full if valid is None else valid, about.comment, base.stamps.period,
        )  # fmt: skip
    if not any(c.values.size for c in channels.values()):
        raise FileProblem(path, "", "It holds no samples.", "Check the file.")
    listed = [*_base_faults(bases), *own_faults, *_row_faults(damage)]
    listed.sort(key=lambda f: (f.start_s if math.isfinite(f.start_s) else -math.inf, f.kind))
    return Recording(
        path.name,
        "",
        channels,
        tuple(listed),
        start,
        layout.vehicle_set_digest,
        str(path),
        layout.comment,
        tuple(words),
    )


def _base(
    path: Path,
    about: ChannelColumn,
    time: tuple[FloatArray, BoolArray | None, int],
    mask: BoolArray | None,
    rows: int,
    collected: Collected,
) -> _Base:
    """Check the time stamps of a channel's samples."""
    stamps, stamped, time_rows = time
    if rows != time_rows:
        raise FileProblem(
            path, f"channel {about.name!r}", f"It has {rows} rows, its time column {time_rows}.",
            "Export the recording again.",
        )  # fmt: skip
    if stamped is not None:  # rows without a stamp
        whole = np.full(rows, np.nan)
        whole[stamped] = stamps
        stamps = whole
    if mask is not None:
        stamps = stamps[mask]
    found = clean_stamps(stamps)
    found = replace(found, time=collected.settled(found.time))
    return _Base(found, stamps.size, np.ones(found.time.size, dtype=np.bool_))


def _base_faults(bases: dict[tuple[int, bytes], _Base]) -> list[Fault]:
    faults = []
    for base in bases.values():
        label = base.names[0]
        if len(base.names) > 1:
            period = base.stamps.period
            rate = f" at {1 / period:.4g} Hz" if math.isfinite(period) and period > 0 else ""
            label = f"{len(base.names)} channels{rate}"
        faults += [
            replace(f, channel=label, channels=tuple(base.names)) for f in base.stamps.faults
        ]
    return faults


def _row_faults(damage: dict[str, int]) -> list[Fault]:
    return [
        Fault(DAMAGED_ROW, "", math.nan, math.nan, count, f"Left out: {count} {what}.")
        for what, count in damage.items()
    ]


def _iso(seconds: float) -> str:
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
    except (OverflowError, ValueError):
        return ""
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
