"""Campaign results as one table of columns: Parquet or HDF5, by the file's suffix.

A row is a run, with the value of every variation; the plan (sets, manoeuvres, vehicle) lies
beside it as text, so that any row can be run again without the files it came from.

Columns: ``run``, ``manoeuvre``, ``set``, ``digest``, ``point``, ``seed``, one per variation,
``done``, ``completed``, ``why``, and one per metric, whose unit is noted beside it (``unit``: field
metadata in Parquet, an attribute in HDF5).  In HDF5 each column is a data set of the root group,
texts are UTF-8 of fixed length, and the plan is a data set of bytes.

``content_sha256``, beside the format, is the SHA-256 of a manifest that has a line per column and
one for the plan (see `content_sum`): both forms of one campaign have the same.  Files of format 1
have none.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..core.plain_file import cannot_read, open_plain, read_plain
from ..errors import BitepointError, DamagedFile, FileProblem, ModelError, SaveFailed
from ..store import write_whole
from ..store.child import limit_resources
from .campaign import Campaign, metric_units, plan_from_text

if TYPE_CHECKING:
    from collections.abc import Mapping

Columns = dict[str, npt.NDArray[Any]]

FORMAT, OLD_FORMAT = "bitepoint campaign 2", "bitepoint campaign 1"
NO_SUM = "The file has no check sum, as older versions wrote it: damage to it would not be noticed."
PARQUET, HDF5 = (".parquet",), (".h5", ".hdf5")
_ADDRESS_BYTES = 2 << 30
"""Of address space: threads of pyarrow reserve some each and fill little of it, and how much that
is differs from run to run.  What the process may allocate stays 1 GiB."""
READ_SECONDS = 120.0
MOST_BYTES = 1 << 30
_ROOT = str(Path(__file__).resolve().parents[2])
_PLAN, _SUM, _MARKS = "plan", "content_sha256", "marks"


def columns_of(campaign: Campaign) -> Columns:
    """Return a campaign as columns, a row per run; texts as numpy's fixed-length text."""
    plan = campaign.plan
    runs = np.arange(len(plan))
    parts = np.array([plan.parts(int(r)) for r in runs], dtype=np.int64).reshape(-1, 3)
    columns: Columns = {
        "run": runs,
        "manoeuvre": np.array([m.id for m in plan.manoeuvres])[parts[:, 0]],
        "set": np.array([s.name for s in plan.sets])[parts[:, 1]],
        "digest": np.array([s.digest for s in plan.sets])[parts[:, 1]],
        "point": parts[:, 2],
        "seed": np.array([plan.seed_of(int(r)) for r in runs], dtype=np.int64),
    }
    for number, name in enumerate(plan.points.names):
        columns[name] = plan.points.values[parts[:, 2], number]
    columns["done"] = campaign.done
    columns["completed"] = campaign.completed
    columns["why"] = np.array(campaign.why, dtype=np.str_)
    columns.update({name: np.asarray(v) for name, v in campaign.metrics.items()})
    return columns


def content_sum(columns: Mapping[str, npt.NDArray[Any]], plan: str) -> str:
    """Return the SHA-256 (hex) that stands for a campaign's whole content.

    Parameters
    ----------
    columns : mapping of name to array
    plan : str

    Notes
    -----
    The manifest has a line ``name kind rows sha256`` per column, sorted by code point and joined
    by line feeds: over little-endian 64-bit floats (``f``), 64-bit integers (``i``), bytes 0 and
    1 (``b``), or for texts (``t``) the UTF-8 of their JSON list without spaces; and a line
    ``@plan sha256`` over the plan's UTF-8.
    """
    lines = [f"@{_PLAN} {hashlib.sha256(plan.encode()).hexdigest()}"]
    for name, column in columns.items():
        kind, data = _summed(column)
        lines.append(f"{name} {kind} {len(column)} {hashlib.sha256(data).hexdigest()}")
    return hashlib.sha256("\n".join(sorted(lines)).encode()).hexdigest()


def _summed(column: npt.NDArray[Any]) -> tuple[str, bytes]:
    if column.dtype.kind == "U":
        text = json.dumps(column.tolist(), ensure_ascii=False, separators=(",", ":"))
        return "t", text.encode()
    if column.dtype.kind == "b":
        return "b", column.astype(np.uint8).tobytes()
    kind = "f" if column.dtype.kind == "f" else "i"
    return kind, column.astype(f"<{kind}8").tobytes()


def write_campaign(path: Path | str, campaign: Campaign) -> None:
    """Write a campaign; the suffix chooses the form.

    Raises
    ------
    SaveFailed
        If the suffix is not known, the software is missing, or the file cannot be written.
    """
    path = Path(path)
    form = form_of(path)
    columns, text = columns_of(campaign), campaign.plan.to_text()
    marks = {"format": FORMAT, _SUM: content_sum(columns, text)}
    data = (
        _parquet_bytes(path, columns, text, metric_units(campaign.plan), marks)
        if form == "parquet"
        else _hdf5_bytes(columns, text, metric_units(campaign.plan), marks)
    )
    write_whole(path, data)


def form_of(path: Path) -> str:
    """Return ``parquet`` or ``hdf5``, by a file's suffix.

    Raises
    ------
    SaveFailed
        If it is neither.
    """
    suffix = path.suffix.lower()
    if suffix in PARQUET:
        return "parquet"
    if suffix in HDF5:
        return "hdf5"
    raise SaveFailed(
        path,
        "",
        f"The suffix {suffix!r} says nothing of the form.",
        "End the name in .parquet, or in .h5 for HDF5.",
    )


def read_campaign(path: Path | str) -> Campaign:
    """Read a campaign, in a process of its own with limits.

    Raises
    ------
    FileProblem
        If it cannot be read.
    DamagedFile
        If it is no campaign.
    """
    path = Path(path)
    return _campaign_of(path, *_from_child(path))


def _campaign_of(path: Path, columns: Columns, text: str, marks: Mapping[str, str]) -> Campaign:
    # Never "none" by damage: a file that says it is of format 2 has one.
    unchecked = marks["format"] == OLD_FORMAT and not marks[_SUM]
    for name in ("done", "completed"):  # HDF5 keeps them as numbers
        if name in columns and columns[name].dtype == np.uint8:
            columns[name] = columns[name].astype(np.bool_)
    if not unchecked and content_sum(columns, text) != marks[_SUM]:
        raise DamagedFile(
            path, "", "It is not what was written: its check sum is wrong.", "Run it again."
        )
    try:
        plan = plan_from_text(text)
        campaign = Campaign(
            plan,
            columns["done"].astype(np.bool_),
            columns["completed"].astype(np.bool_),
            tuple(columns["why"].tolist()),
            {n: columns[n].astype(np.float64) for n in plan.metric_names},
            unchecked,
        )
        expected = columns_of(campaign)
        for name, column in expected.items():
            if not np.array_equal(columns[name], column, equal_nan=column.dtype.kind == "f"):
                raise ValueError(f"column {name} does not belong to the plan")
    except (KeyError, ValueError, BitepointError) as error:
        raise DamagedFile(
            path, "", f"It is no campaign that can be read ({error}).", "Run the campaign again."
        ) from None
    return campaign


def _from_child(path: Path) -> tuple[Columns, str, dict[str, str]]:
    try:
        with open_plain(path) as file:
            size = os.fstat(file.fileno()).st_size
    except OSError as error:
        raise cannot_read(path, error) from None
    if size > MOST_BYTES:
        raise FileProblem(path, "", "It is larger than 1 GiB.", "Make smaller campaigns.")
    entries = [_ROOT, *(p for p in sys.path if Path(p).is_absolute())]
    code = (
        f"import sys; sys.path[:] = {list(dict.fromkeys(entries))!r}; "
        "from calib_model.vehicle.campaign_store import child_main; child_main(sys.argv[1])"
    )
    try:
        child = subprocess.run(
            [sys.executable, "-I", "-S", "-c", code, str(path)],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=READ_SECONDS,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise FileProblem(path, "", f"Reading did not end ({type(error).__name__}).") from None
    if child.returncode == 3:
        problem = child.stderr.decode(errors="replace").strip().splitlines()
        raise DamagedFile(path, "", problem[-1] if problem else "It cannot be read.")
    if child.returncode:
        raise DamagedFile(path, "", "It is damaged: reading it ended abnormally.")
    with np.load(io.BytesIO(child.stdout), allow_pickle=False) as arrays:
        columns = {name: arrays[name] for name in arrays.files}
    text = columns.pop(_PLAN).tobytes().decode()
    marks: dict[str, str] = json.loads(columns.pop(_MARKS).tobytes())
    return columns, text, marks


def child_main(name: str) -> None:
    """Read a file and write its columns to standard output; only ever run in a child process."""
    # pyarrow's own allocator reserves a gigabyte of addresses at once: all that there is.
    os.environ["ARROW_DEFAULT_MEMORY_POOL"] = "system"
    limit_resources(_ADDRESS_BYTES)
    path = Path(name)
    try:
        columns, text, marks = _raw_of(read_plain(path, "a campaign", MOST_BYTES))
    except Exception as error:
        print(f"It cannot be read ({type(error).__name__}: {error}).", file=sys.stderr)
        sys.exit(3)
    out = io.BytesIO()
    kept = {_PLAN: text, _MARKS: json.dumps(marks)}
    texts = {name: np.frombuffer(one.encode(), dtype=np.uint8) for name, one in kept.items()}
    np.savez(out, allow_pickle=False, **columns, **texts)
    sys.stdout.buffer.write(out.getvalue())


def _raw_of(data: bytes) -> tuple[Columns, str, dict[str, str]]:
    # By content, not by name: a renamed file is still what it is.
    return _read_parquet(data) if data[:4] == b"PAR1" else _read_hdf5(data)


# -- Parquet ------------------------------------------------------------------------------


def _parquet_bytes(
    path: Path,
    columns: Columns,
    text: str,
    units: Mapping[str, str],
    marks: Mapping[str, str],
) -> bytes:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise SaveFailed(
            path,
            "",
            "pyarrow, which writes Parquet, is not installed.",
            "Install the extra: pip install 'bitepoint[recordings]', or end the name in .h5.",
        ) from None
    fields, arrays = [], []
    for name, column in columns.items():
        array = pa.array(column.tolist() if column.dtype.kind == "U" else column)
        note = {"unit": units[name]} if name in units else None
        fields.append(pa.field(name, array.type, metadata=note))
        arrays.append(array)
    schema = pa.schema(fields, metadata={**marks, _PLAN: text})
    out = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), out, compression="zstd")
    return out.getvalue()


def _read_parquet(data: bytes) -> tuple[Columns, str, dict[str, str]]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pq.read_table(pa.BufferReader(data), memory_map=False, use_threads=False)
    notes = table.schema.metadata or {}
    marks = {name: notes.get(name.encode(), b"").decode() for name in ("format", _SUM)}
    _check_format(marks["format"])
    columns: Columns = {}
    for name in table.column_names:
        column = table.column(name)
        if pa.types.is_string(column.type):
            columns[name] = np.array(column.to_pylist(), dtype=np.str_)
        else:
            columns[name] = column.to_numpy()
    return columns, notes[_PLAN.encode()].decode(), marks


# -- HDF5 ---------------------------------------------------------------------------------


def _hdf5_bytes(
    columns: Columns, text: str, units: Mapping[str, str], marks: Mapping[str, str]
) -> bytes:
    from ..store import hdf5_api

    file = hdf5_api.new_image()
    root: Any = file
    for name, column in columns.items():
        if column.dtype.kind == "U":
            column = np.char.encode(column, "utf-8")
            column = column.astype(f"S{max(1, column.dtype.itemsize)}")
            made = root.create_dataset(
                name, column.shape, dtype=hdf5_api.text_type(column.dtype.itemsize)
            )
            hdf5_api.write_dataset(made, column)
        else:
            data = column.astype(np.uint8) if column.dtype.kind == "b" else column
            made = root.create_dataset(name, data=data)
        if name in units:
            made.attrs["unit"] = np.bytes_(units[name].encode())
    root.create_dataset(_PLAN, data=np.frombuffer(text.encode(), dtype=np.uint8), compression=6)
    for name, mark in marks.items():
        root.attrs[name] = np.bytes_(mark.encode())
    data_bytes = hdf5_api.image_of(file)
    file.close()
    return data_bytes


def _read_hdf5(data: bytes) -> tuple[Columns, str, dict[str, str]]:
    from ..store import hdf5_api

    hdf5_api.forbid_plugins()
    if not hdf5_api.is_hdf5(data):
        raise ModelError("it is neither Parquet nor HDF5")
    file = hdf5_api.open_image(data)  # what is read from it goes with it
    root = hdf5_api.root_of(file)
    marks = {name: _mark(root, name) for name in ("format", _SUM)}
    _check_format(marks["format"])
    columns: Columns = {}
    for key in root:
        name = key.decode()
        if not hdf5_api.is_hard_link(root, key.decode()):
            raise ModelError(f"{name} is a link to elsewhere")
        dataset = hdf5_api.open_dataset(root, name)
        storage, dtype = hdf5_api.storage_of(dataset), hdf5_api.plain_type(dataset)
        shape = hdf5_api.shape_of(dataset)
        if storage.external or storage.virtual or dtype is None or shape is None:
            raise ModelError(f"{name} is no plain column")
        if len(shape) != 1 or shape[0] * dtype.itemsize > MOST_BYTES // 4:
            raise ModelError(f"{name} is too large")
        column = hdf5_api.read_dataset(dataset, dtype, shape)
        columns[name] = np.char.decode(column, "utf-8") if dtype.kind == "S" else column
    return columns, columns.pop(_PLAN).tobytes().decode(), marks


def _mark(root: Any, name: str) -> str:
    from ..store import hdf5_api

    if not hdf5_api.has_attribute(root, name):
        return ""
    attribute = hdf5_api.open_attribute(root, name)
    kind = hdf5_api.plain_type(attribute)
    return str(hdf5_api.read_attribute(attribute, kind)) if kind is not None else ""


def _check_format(found: str) -> None:
    if found not in (FORMAT, OLD_FORMAT):
        raise ModelError(f"it says {found!r} of itself, not {FORMAT!r}")
