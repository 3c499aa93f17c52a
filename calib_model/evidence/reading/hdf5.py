"""Our own recording file: HDF5, a data set per column, as the calibration set file has it.

Root attributes: ``format`` (`FORMAT`), ``format_version``, ``start``, ``vehicle_set_digest``,
``comment``.  Data sets, all 1-D, in the root group:

=================  ======  ==========================================================
``base_count``     <i8     per time base: its number of samples
``times``          <f8     time stamps in s, one base after the other
``channel``        S       per channel: its name
``channel_unit``   S       its unit
``channel_comment`` S      a remark
``channel_base``   <i4     row of its time base
``values``         <f8     samples, one channel after the other, NaN for no reading
``values_4``       <f4     the same in single precision, in place of ``values``
=================  ======  ==========================================================

Nothing else in the file is ever looked at.  What `store.guard` refuses is refused here too.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from ...store import hdf5_api as api
from ...store.allowance import Allowance
from ...store.guard import check_attribute, check_dataset, require_hard_link
from ...store.layout import Column
from ...store.structure import Misfit
from ...store.texts import Array, fixed, plain
from ..recording import Recording
from .bounds import MAX_SAMPLES, REMEDY, most_bytes, too_much
from .layout import MAX_COLUMNS, ChannelColumn, Layout, TimeColumn
from .stream import Block, Refused, Remarks

FORMAT = "bitepoint recording"
FORMAT_VERSION = 1
MOST_ROWS = {"base": MAX_COLUMNS, "channel": MAX_COLUMNS}
SLAB_ROWS = 1 << 20
DAMAGED = "Restore it from a backup, or export the recording again."

COLUMNS = {
    c.name: c
    for c in (
        Column("base_count", "<i8", ("base",), "samples of each time base", counts="time"),
        Column("times", "<f8", ("time",), "time stamps in s, one base after the other"),
        Column("channel", "S", ("channel",), "name"),
        Column("channel_unit", "S", ("channel",), "unit of the samples"),
        Column("channel_comment", "S", ("channel",), "remark"),
        Column("channel_base", "<i4", ("channel",), "row of the time base"),
        Column("values", "<f8", ("value",), "samples, one channel after the other"),
        Column("values_4", "<f4", ("value",), "samples in single precision"),
    )
}
_TEXTS = ("start", "vehicle_set_digest", "comment")


class RecordingFile:
    """An open file.

    Parameters
    ----------
    path : Path

    Raises
    ------
    Refused
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        api.forbid_plugins()
        try:
            self.file = api.open_path(str(path))
            self.root = api.root_of(self.file)
            self._read()
        except Misfit as misfit:
            raise _refused(misfit) from None
        except (Refused, MemoryError):
            raise
        except Exception as error:  # h5py raises many kinds for damaged structures
            raise Refused("", f"Its structure is damaged ({_short(error)}).", DAMAGED) from None

    def _read(self) -> None:
        if self._attribute("format") != FORMAT:
            raise Refused(
                "", "This HDF5 file is no recording of this program's own form.",
                "Export the recording as CSV, MDF 4 or Parquet.",
            )  # fmt: skip
        version = self._attribute("format_version")
        if version != FORMAT_VERSION:
            raise Refused("", f"It has format version {version}.", "Update Bitepoint.")
        self.said = {name: str(self._attribute(name) or "") for name in _TEXTS}
        self.allowance = Allowance(most_bytes(self.path.stat().st_size), MOST_ROWS)
        self.counts = self._whole("base_count")
        self.bases = self._whole("channel_base")
        self.names = plain(self._whole("channel"))
        n = len(self.names)
        self.units = plain(self._whole("channel_unit", n))
        self.comments = plain(self._whole("channel_comment", n))
        if (
            not 0 < n <= MAX_COLUMNS
            or not {len(self.units), len(self.comments), self.bases.size} == {n}
            or len(set(self.names)) != n
            or (self.counts < 0).any()
            or (self.bases < 0).any()
            or (self.bases >= self.counts.size).any()
        ):
            raise Misfit("columns", "do not belong together.")
        self.times, times = self._checked("times")
        single = not api.has_link(self.root, "values")
        self.values, values = self._checked("values_4" if single else "values")
        self.type = np.dtype("<f4" if single else "<f8")
        longest = max([0, *self.counts.tolist()])
        if longest > MAX_SAMPLES:
            raise Refused("", too_much(0, 0, longest), REMEDY)
        if times != int(self.counts.sum()) or values != int(self.counts[self.bases].sum()):
            raise Misfit("columns", "do not have the lengths that they say.")

    def _attribute(self, name: str) -> str | int | None:
        if not api.has_attribute(self.root, name):
            return None
        attribute = api.open_attribute(self.root, name)
        return api.read_attribute(attribute, check_attribute(attribute, name))

    def _checked(self, name: str) -> tuple[Any, int]:
        place = f"column {name}"
        if not api.has_link(self.root, name):
            raise Misfit(place, "is missing.")
        require_hard_link(self.root, name, place)
        dataset = api.open_dataset(self.root, name)
        _, shape = check_dataset(dataset, COLUMNS[name], self.allowance)
        return dataset, shape[0]

    def _whole(self, name: str, empty: int | None = None) -> Array:
        if empty is not None and not api.has_link(self.root, name):
            return np.full(empty, b"", dtype="S1")
        dataset, rows = self._checked(name)
        kind = api.plain_type(dataset)
        assert kind is not None
        return api.read_dataset(dataset, kind, (rows,))

    def layout(self) -> Layout:
        """Return what it holds."""
        offset = self.counts.size
        times = tuple(TimeColumn(n, f"time base {n + 1}", "s") for n in range(offset))
        rows = zip(self.names, self.units, self.comments, self.bases.tolist(), strict=True)
        channels = tuple(
            ChannelColumn(offset + n, name, unit, base, comment)
            for n, (name, unit, comment, base) in enumerate(rows)
        )
        return Layout(self.path, "HDF5", times, channels, start=self.said["start"],
                      vehicle_set_digest=self.said["vehicle_set_digest"],
                      comment=self.said["comment"])  # fmt: skip

    def blocks(self, layout: Layout, remarks: Remarks) -> Iterator[Block]:
        """Yield time stamps and samples, slab by slab.

        Raises
        ------
        Refused
        """
        del layout, remarks  # the file says all there is to say
        ends: list[tuple[Any, np.dtype[Any], int, int]] = [
            (self.times, np.dtype("<f8"), n, int(c)) for n, c in enumerate(self.counts)
        ]
        first = len(ends)
        per_channel = self.counts[self.bases]
        ends += [(self.values, self.type, first + n, int(c)) for n, c in enumerate(per_channel)]
        total = max(1, int(self.counts.sum() + per_channel.sum()))
        at, done, last = 0, 0, self.times
        for dataset, kind, number, count in ends:
            at = at if dataset is last else 0
            last = dataset
            for start in range(0, count, SLAB_ROWS):
                rows = min(SLAB_ROWS, count - start)
                try:
                    values = api.read_rows(dataset, kind, at + start, rows)
                except MemoryError:
                    raise
                except Exception as error:
                    raise Refused("", f"It is damaged ({_short(error)}).", DAMAGED) from None
                done += rows
                yield Block(done / total, {number: (values.astype(np.float64), rows)})
            at += count


def recording_image(recording: Recording, *, single: bool = False) -> bytes:
    """Return a recording as the bytes of a file.

    Samples that are not valid are written as NaN; what was left out in cleaning is not there.

    Parameters
    ----------
    recording : Recording
    single : bool
        Keep samples in single precision: half the size, seven digits.
    """
    channels = list(recording.channels.values())
    bases: dict[int, int] = {}
    for channel in channels:
        bases.setdefault(id(channel.time), len(bases))
    by_row = {bases[id(c.time)]: c.time for c in channels}
    times = [by_row[n] for n in range(len(by_row))]
    columns: dict[str, Array] = {
        "base_count": np.array([t.size for t in times], dtype="<i8"),
        "times": np.concatenate([*times, np.empty(0)]),
        "channel": fixed([c.name for c in channels], lambda n: f"Channel {n + 1}'s name"),
        "channel_unit": fixed([c.unit for c in channels], lambda n: f"Channel {n + 1}'s unit"),
        "channel_comment": fixed([c.comment for c in channels], lambda n: f"Remark {n + 1}"),
        "channel_base": np.array([bases[id(c.time)] for c in channels], dtype="<i4"),
        "values_4" if single else "values": np.concatenate(
            [*(c.masked() for c in channels), np.empty(0)]
        ).astype("<f4" if single else "<f8"),
    }
    said = {"start": recording.start, "vehicle_set_digest": recording.vehicle_set_digest,
            "comment": recording.comment}  # fmt: skip
    return columns_image(columns, said)


def columns_image(columns: dict[str, Array], said: dict[str, str]) -> bytes:
    """Return columns of the file as they are, with what the file says of itself, as bytes."""
    with api.new_image() as file:
        for name, value in {"format": FORMAT, **said}.items():
            data = value.encode()
            file.attrs.create(name, data, dtype=api.text_type(max(1, len(data))))
        file.attrs.create("format_version", FORMAT_VERSION, dtype="<i4")
        for name, array in columns.items():
            text = array.dtype.kind == "S"
            rows = max(1, min(array.size, (1 << 20) // array.dtype.itemsize))
            dataset = file.create_dataset(
                name, shape=array.shape, chunks=(rows,), compression="gzip", compression_opts=4,
                shuffle=not text, fletcher32=True,
                dtype=api.text_type(array.dtype.itemsize) if text else array.dtype,
            )  # fmt: skip
            if array.size:
                api.write_dataset(dataset, np.ascontiguousarray(array))
            about = COLUMNS[name].about.encode()
            dataset.attrs.create("long_name", about, dtype=api.text_type(len(about)))
        return api.image_of(file)


def _refused(misfit: Misfit) -> Refused:
    problem = misfit.problem.replace("set file", "recording")
    return Refused(misfit.place, f"It {problem}", DAMAGED)


def _short(error: BaseException) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__
