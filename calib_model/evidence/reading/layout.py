"""What a recording looks like, as told from its beginning: to be shown, confirmed or corrected."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ...errors import FileProblem

ISO = "ISO date-time"
TIME_UNITS: dict[str, float] = {
    "s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0,
}  # fmt: skip
"""Units of a time column, in s."""
MAX_COLUMNS = 5000
MAX_TEXT = 500

_TIME_NAMES = {
    "time", "t", "timestamp", "timestamps", "timestamp_utc", "datetime", "date_time", "elapsed",
    "elapsed_time", "rec_time", "time_stamp", "clock",
}  # fmt: skip
_SECONDS = {"sec": "s", "secs": "s", "second": "s", "seconds": "s", "msec": "ms", "µs": "us",
            "usec": "us", "hr": "h", "hours": "h", "minutes": "min"}  # fmt: skip


class UnclearLayout(FileProblem):
    """A file leaves a doubt that only its user can settle.

    Parameters
    ----------
    path : path-like
    what : str
        What to say: ``time``, ``time_unit``, ``decimal`` or ``separator``; the keyword of
        `inspect_recording` that takes the answer.
    choices : sequence of str
        Sensible answers; may be empty.
    problem, remedy : str
    """

    def __init__(
        self, path: Path | str, what: str, choices: Sequence[str], problem: str, remedy: str
    ) -> None:
        self.what = what
        self.choices = tuple(choices)
        super().__init__(path, "", problem, remedy)

    def __reduce__(self) -> tuple[object, ...]:
        return (type(self), (self.path, self.what, self.choices, self.problem, self.remedy))


@dataclass(frozen=True)
class TimeColumn:
    """A column of time stamps.

    Parameters
    ----------
    number : int
        From 0.
    name : str
    unit : str
        One of `TIME_UNITS`, or `ISO`.
    """

    number: int
    name: str
    unit: str


@dataclass(frozen=True)
class ChannelColumn:
    """A column of samples.

    Parameters
    ----------
    number : int
        From 0.
    name : str
    unit : str
        As this program writes it; empty if the file states none.
    time : int
        Number of the time column it goes by.
    comment : str
    samples : tuple of str
        The first few cells, for showing.
    """

    number: int
    name: str
    unit: str
    time: int
    comment: str = ""
    samples: tuple[str, ...] = ()


@dataclass(frozen=True)
class Layout:
    """What a recording looks like.

    Parameters
    ----------
    path : Path
    kind : ``"CSV"``, ``"MDF 4"``, ``"Parquet"`` or ``"HDF5"``
    times : tuple of TimeColumn
    channels : tuple of ChannelColumn
    encoding, separator, decimal : str
        Of a CSV file; empty otherwise.
    first_line : int
        Line of the first row of numbers, counted from 1; 0 otherwise.
    start : str
        ISO 8601 date-time of time zero; empty if not said.
    vehicle_set_digest : str
    comment : str
    left_out : tuple of str
        Columns that are no signals.
    """

    path: Path
    kind: str
    times: tuple[TimeColumn, ...]
    channels: tuple[ChannelColumn, ...]
    encoding: str = ""
    separator: str = ""
    decimal: str = ""
    first_line: int = 0
    start: str = ""
    vehicle_set_digest: str = ""
    comment: str = ""
    left_out: tuple[str, ...] = field(default=())

    def with_unit(self, channel: str, unit: str) -> Layout:
        """Return the layout with another unit for a channel.

        Raises
        ------
        FileProblem
            If there is no such channel.
        """
        if all(c.name != channel for c in self.channels):
            raise FileProblem(self.path, "", f"There is no channel {channel!r}.", "Check the name.")
        channels = tuple(replace(c, unit=unit) if c.name == channel else c for c in self.channels)
        return replace(self, channels=channels)

    def words(self) -> tuple[str, ...]:
        """Return what was found, a line per point, for confirmation."""
        separators = {";": "semicolon", ",": "comma", "\t": "tab", " ": "spaces", "|": "bar"}
        lines = [f"Format: {self.kind}"]
        if self.kind == "CSV":
            lines += [
                f"Columns separated by: {separators.get(self.separator, self.separator)}",
                f"Decimal mark: {'comma' if self.decimal == ',' else 'point'}",
                f"Text encoding: {self.encoding}",
                f"First row of numbers: line {self.first_line}",
            ]
        times = [f"{t.name} ({t.unit})" for t in self.times]
        lines.append(f"Time: {', '.join(times[:20])}{', ...' if len(times) > 20 else ''}")
        units = sum(bool(c.unit) for c in self.channels)
        lines.append(f"Channels: {len(self.channels)}, {units} of them with a unit")
        if self.start:
            lines.append(f"Started: {self.start}")
        if self.vehicle_set_digest:
            lines.append(f"Set in the vehicle: {self.vehicle_set_digest[:12]}...")
        if self.left_out:
            lines.append(f"Left out, no signals: {', '.join(self.left_out[:10])}")
        return tuple(lines)

    def to_plain(self) -> dict[str, Any]:
        """Return it as JSON can hold it, without the path."""
        plain: dict[str, Any] = {
            name: getattr(self, name)
            for name in ("kind", "encoding", "separator", "decimal", "first_line", "start",
                         "vehicle_set_digest", "comment")
        }  # fmt: skip
        plain["times"] = [[t.number, t.name, t.unit] for t in self.times]
        plain["channels"] = [
            [c.number, c.name, c.unit, c.time, c.comment, list(c.samples)] for c in self.channels
        ]
        plain["left_out"] = list(self.left_out)
        return plain


def layout_from_plain(path: Path, plain: Any) -> Layout:
    """Return the layout that `Layout.to_plain` wrote; everything is checked.

    Raises
    ------
    ValueError
    """
    if not isinstance(plain, dict):
        raise ValueError("no layout")
    texts = {
        name: _text(plain.get(name, ""))
        for name in ("kind", "encoding", "separator", "decimal", "start", "vehicle_set_digest",
                     "comment")
    }  # fmt: skip
    times = tuple(
        TimeColumn(_number(n), _text(name), _text(unit)) for n, name, unit in _rows(plain, "times")
    )
    channels = tuple(
        ChannelColumn(
            _number(n), _text(name), _text(unit), _number(time), _text(comment),
            tuple(_text(s) for s in samples),
        )
        for n, name, unit, time, comment, samples in _rows(plain, "channels")
    )  # fmt: skip
    known = {t.number for t in times}
    numbers = [*known, *(c.number for c in channels)]
    if (
        len(numbers) != len(set(numbers))
        or len(known) != len(times)
        or any(c.time not in known for c in channels)
        or any(t.unit != ISO and t.unit not in TIME_UNITS for t in times)
    ):
        raise ValueError("columns that do not belong together")
    left_out = tuple(_text(t) for t in plain.get("left_out", ()))
    return Layout(
        path, times=times, channels=channels, left_out=left_out,
        first_line=_number(plain.get("first_line", 0)), **texts,
    )  # fmt: skip


def _rows(plain: dict[str, Any], name: str) -> list[Any]:
    rows = plain.get(name)
    if not isinstance(rows, list) or len(rows) > MAX_COLUMNS:
        raise ValueError("too many columns")
    return rows


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("not a text")
    return value[:MAX_TEXT]


def _number(value: Any) -> int:
    if type(value) is not int or value < 0:
        raise ValueError("not a number")
    return value


# -- time columns --------------------------------------------------------------------------


@dataclass(frozen=True)
class FoundChannel:
    """A column of the file before its part is known.

    Parameters
    ----------
    number : int
    name, unit, comment : str
    kind : ``"number"``, ``"date-time"`` or ``"text"``
    samples : tuple of str
    """

    number: int
    name: str
    unit: str
    kind: str = "number"
    comment: str = ""
    samples: tuple[str, ...] = ()


def parts(
    path: Path,
    columns: Sequence[FoundChannel],
    time: str | None,
    time_unit: str | None,
) -> tuple[tuple[TimeColumn, ...], tuple[ChannelColumn, ...], tuple[str, ...]]:
    """Tell time columns, channels and what is neither.

    Channels go by the nearest time column before them: files that hold several rates side by
    side repeat the time column for each.

    Raises
    ------
    UnclearLayout
        If no column is plainly the time, or its unit is not said.
    FileProblem
        If the column that was named does not exist, or there is no channel.
    """
    if time is not None:
        stamps = [c for c in columns if c.name == time or str(c.number + 1) == time]
        stamps = [c for c in stamps if c.name == time] or stamps
        if not stamps:
            raise FileProblem(
                path, "", f"There is no column {time!r}.",
                f"It has: {', '.join(c.name for c in columns[:40])}.",
            )  # fmt: skip
        if any(c.kind == "text" for c in stamps):
            raise FileProblem(
                path, "", f"Column {time!r} holds neither numbers nor ISO date-times.",
                "Name another column as the time.",
            )  # fmt: skip
    else:
        stamps = _stamps(path, columns)
    times = tuple(TimeColumn(c.number, c.name, _time_unit(path, c, time_unit)) for c in stamps)
    numbers = [t.number for t in times]
    channels: list[ChannelColumn] = []
    left_out: list[str] = []
    names: set[str] = set()
    for column in columns:
        if column.number in numbers:
            continue
        if column.kind != "number":
            left_out.append(column.name)
            continue
        before = [n for n in numbers if n < column.number]
        name = column.name
        if name in names:
            name = f"{column.name} (column {column.number + 1})"
        names.add(name)
        channels.append(
            ChannelColumn(
                column.number, name, column.unit, before[-1] if before else numbers[0],
                column.comment, column.samples,
            )
        )  # fmt: skip
    if not channels:
        raise FileProblem(path, "", "There is no column of samples.", "Check the file.")
    return times, tuple(channels), tuple(left_out)


def is_time_name(name: str) -> bool:
    """Tell whether a column's name says that it holds the time."""
    return _bare_name(name) in _TIME_NAMES


def _bare_name(name: str) -> str:
    plain = re.sub(r"[^a-z0-9µ]+", "_", name.strip().lower()).strip("_")
    for _ in range(2):  # time_100hz_2, time_ms
        plain = re.sub(r"_?([0-9]+(hz|ms)?|s|ms|us|ns|sec|seconds|msec|utc)$", "", plain) or plain
    return plain.strip("_")


def _stamps(path: Path, columns: Sequence[FoundChannel]) -> list[FoundChannel]:
    named = [c for c in columns if is_time_name(c.name) and c.kind != "text"]
    by_unit = [c for c in named if _seconds(c) or c.kind == "date-time"]
    if named:
        # A bare "t" beside "time [s]" may be a temperature: what says its unit comes first.
        if by_unit and len({_bare_name(c.name) for c in named}) > 1:
            first = _bare_name(by_unit[0].name)
            named = [c for c in by_unit if _bare_name(c.name) == first]
        return named
    likely = [c.name for c in columns if c.kind == "date-time" or c.unit in TIME_UNITS]
    if not columns:
        raise FileProblem(path, "", "There are no columns.", "Check the file.")
    raise UnclearLayout(
        path, "time", likely or [c.name for c in columns[:20] if c.kind == "number"],
        "No column is plainly the time.", "Say which column holds it.",
    )  # fmt: skip


def _seconds(column: FoundChannel) -> str:
    """Return the unit that a time column states, in its unit or in its name; or nothing."""
    unit = column.unit.strip().lower()
    unit = _SECONDS.get(unit, unit)
    if unit in TIME_UNITS:
        return unit
    match = re.search(r"_(s|ms|us|ns|sec|seconds|msec)(_[0-9]+)?$", column.name.strip().lower())
    return _SECONDS.get(match[1], match[1]) if match and not column.unit else ""


def _time_unit(path: Path, column: FoundChannel, told: str | None) -> str:
    if column.kind == "date-time":
        return ISO
    unit = told or _seconds(column)
    if unit not in TIME_UNITS:
        raise UnclearLayout(
            path, "time_unit", ("s", "ms"),
            f"Column {column.name!r} does not say the unit of its time stamps"
            + (f" ({unit or column.unit!r} is none)." if unit or column.unit else "."),
            "Say the unit, such as s or ms.",
        )  # fmt: skip
    return unit
