"""Read the channels of a recording in the MDF 4 format, in the reading process.

The library loops for ever on a file whose links form a circle: only the time limit of the
reading process ends that.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from ...core.plain_file import open_plain
from ...exchange.measurement_layout import unit_text
from .bounds import REMEDY, too_much
from .layout import MAX_COLUMNS, MAX_TEXT, ChannelColumn, Layout, TimeColumn
from .stream import Block, Refused, Remarks

BATCH_BYTES = 16 << 20
"""Of a group's samples that are taken at a time."""
MOST_BATCHES = 40
"""Where records end with blocks the library unpacks all of them for each batch: so not too many."""
DAMAGED = "Restore it from a backup, or export the recording again."
_SAYS = re.compile(r"vehicle_set_digest\W+([0-9a-f]{64})")


class Mdf4:
    """An open file.

    Parameters
    ----------
    path : Path

    Raises
    ------
    Refused
        If it cannot be opened, or the library is not there.
    """

    def __init__(self, path: Path) -> None:
        with open_plain(path) as file:
            head = file.read(64)
        if head[8:9] != b"4":
            raise Refused("", "It is an MDF file of an older version.", "Convert it to MDF 4.")
        if not head.startswith(b"MDF     "):
            raise Refused(
                "", "It was not finished when it was recorded.", "Have its recorder finish it."
            )
        try:
            from asammdf import MDF
        except ImportError:
            raise Refused("", "Reading MDF 4 needs the package asammdf, which is not installed.",
                          "missing") from None  # fmt: skip
        self.path = path
        try:
            self.file = MDF(path, use_display_names=False)
            self.groups = [self._group(n) for n in range(len(self.file.groups))]
        except MemoryError:
            raise
        except Exception as error:  # the library raises many kinds for damaged files
            raise Refused("", f"It is damaged ({_short(error)}).", DAMAGED) from None

    def _group(self, number: int) -> tuple[int, int, int]:
        """Return (number, samples, channel that holds the time or -1)."""
        group = self.file.groups[number]
        master = self.file.masters_db.get(number)
        return number, int(group.channel_group.cycles_nr), -1 if master is None else int(master)

    def _channels(self, group: int) -> list[Any]:
        return list(self.file.groups[group].channels)

    def layout(self) -> Layout:
        """Return what it holds.

        Raises
        ------
        Refused
        """
        times, channels, left_out = [], [], []
        names: set[str] = set()
        number = 0
        for group, samples, master in self.groups:
            if master < 0 or not samples:
                continue
            own: list[ChannelColumn] = []
            time = number
            number += 1
            for place, channel in enumerate(self._channels(group)):
                if place == master:
                    continue
                name = str(channel.name)[: MAX_TEXT - 20]
                if channel.data_type > 5:  # texts, bytes, dates: no signals
                    left_out.append(name)
                    continue
                if name in names:
                    name = f"{name} (group {group + 1})"
                if name in names:
                    continue
                names.add(name)
                conversion = channel.conversion
                unit = (conversion and conversion.unit) or channel.unit or ""
                comment = _plain(channel.comment or "")
                own.append(
                    ChannelColumn(number, name, unit_text(str(unit))[:80], time, comment,
                                  (str(group), str(place)))
                )  # fmt: skip
                number += 1
            if own:
                label = f"time of group {group + 1}"
                times.append(TimeColumn(time, label, "s"))
                channels += own
            if len(channels) > MAX_COLUMNS:
                raise Refused("", "It has too many channels.", f"At most {MAX_COLUMNS} are read.")
        if not channels:
            raise Refused("", "It has no channel with samples and time stamps.", "Check the file.")
        about = str(getattr(self.file.header, "comment", "") or "")
        digest = _SAYS.search(about)
        return Layout(
            self.path, "MDF 4", tuple(times), tuple(channels), left_out=tuple(left_out[:100]),
            start=self._start(),
            vehicle_set_digest=digest[1] if digest else "", comment=_plain(about),
        )  # fmt: skip

    def _start(self) -> str:
        try:
            return str(self.file.start_time.isoformat())
        except (AttributeError, OverflowError, ValueError):  # damaged, or not told
            return ""

    def blocks(self, layout: Layout, remarks: Remarks) -> Iterator[Block]:
        """Yield time stamps and channels, some channels at a time.

        Raises
        ------
        Refused
        """
        samples = {group: n for group, n, _ in self.groups}
        total, done, unpacked = max(1, len(layout.channels)), 0, 0
        told: set[str] = set()
        for time in layout.times:
            own = [c for c in layout.channels if c.time == time.number]
            count = samples.get(int(own[0].samples[0]), 0)
            unpacked += 8 * count * (len(own) + 1)
            problem = too_much(self.path.stat().st_size, unpacked, count)
            if problem:
                raise Refused("", problem, REMEDY)
            at_once = max(1, BATCH_BYTES // (8 * (len(own) + 1)), -(-count // MOST_BATCHES))
            for first in range(0, count, at_once):
                found = self._signals(own, first, min(at_once, count - first))
                stamps = np.asarray(found[0].timestamps, dtype=np.float64)
                if not stamps.size:
                    raise Refused("", "It ends before its last sample.", DAMAGED)
                columns: dict[int, tuple[Any, int]] = {time.number: (stamps, stamps.size)}
                for column, signal in zip(own, found, strict=True):
                    values = _numbers(signal)
                    if values is None:
                        values = np.full(stamps.size, np.nan)
                        if column.name not in told:
                            remarks.others.append(f"Channel {column.name!r} holds no numbers.")
                            told.add(column.name)
                    columns[column.number] = (values, values.size)
                yield Block((done + len(own) * min(1, (first + at_once) / count)) / total, columns)
            done += len(own)

    def _signals(self, own: list[ChannelColumn], first: int, count: int) -> list[Any]:
        places = [(None, int(c.samples[0]), int(c.samples[1])) for c in own]
        try:
            return list(
                self.file.select(
                    places,
                    record_offset=first,
                    record_count=count,
                    ignore_value2text_conversions=True,
                    copy_master=False,
                )
            )
        except MemoryError:
            raise
        except Exception as error:  # the library raises many kinds for damaged files
            raise Refused(
                f"channel {own[0].name!r}", f"It is damaged ({_short(error)}).", DAMAGED
            ) from None


def _numbers(signal: Any) -> Any:
    """Return a signal's samples as float64, NaN where the file marks them invalid, or None."""
    samples = np.asarray(signal.samples)
    if samples.ndim != 1 or samples.dtype.kind not in "iufb":
        return None
    values = samples.astype(np.float64, copy=False)
    invalid = signal.invalidation_bits
    if invalid is not None and np.any(invalid):
        values = np.where(np.asarray(invalid, dtype=bool), np.nan, values)
    return values


def _plain(text: str) -> str:
    """Return the text of a comment without its XML."""
    return " ".join(re.sub(r"<[^>]*>", " ", text).split())[:MAX_TEXT]


def _short(error: BaseException) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__
