"""Campaign results as one table of columns: Parquet or HDF5, by the file's suffix.

A row is a run, with the value of every variation; the plan (sets, manoeuvres, vehicle) lies
beside it as text, so that any row can be run again without the files it came from.

Columns: ``run``, ``manoeuvre``, ``set``, ``digest``, ``point``, ``seed``, one per variation,
``done``, ``completed``, ``why``, and one per metric, whose unit is noted beside it (``unit``: field
metadata in Parquet, an attribute in HDF5).  In HDF5 each column is a data set of the root group,
texts are UTF-8 of fixed length, and the plan is a data set of bytes.
"""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..errors import BitepointError, DamagedFile, FileProblem, ModelError, SaveFailed
from .campaign import Campaign, metric_units, plan_from_text

if TYPE_CHECKING:
    from collections.abc import Mapping

Columns = dict[str, npt.NDArray[Any]]

FORMAT = "bitepoint campaign 1"
PARQUET, HDF5 = (".parquet",), (".h5", ".hdf5")
READ_SECONDS = 120.0
MOST_BYTES = 1 << 30
_ROOT = str(Path(__file__).resolve().parents[2])
_PLAN = "plan"


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
    data = (
        _parquet_bytes(path, columns, text, metric_units(campaign.plan))
        if form == "parquet"
        else _hdf5_bytes(columns, text, metric_units(campaign.plan))
    )
    temporary = path.with_name(path.name + ".part")
    try:
        temporary.write_bytes(data)
        temporary.replace(path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise SaveFailed(
            path, "", f"It cannot be written ({error.strerror or error}).", "Give another file."
        ) from None


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
    columns, text = _from_child(path)
    try:
        plan = plan_from_text(text)
        campaign = Campaign(
            plan,
            columns["done"].astype(np.bool_),
            columns["completed"].astype(np.bool_),
            tuple(columns["why"].tolist()),
            {n: columns[n].astype(np.float64) for n in plan.metric_names},
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


def _from_child(path: Path) -> tuple[Columns, str]:
    try:
        size = path.stat().st_size
    except OSError as error:
        raise FileProblem(
            path, "", f"It cannot be read ({error.strerror or error}).", "Check the name."
        ) from None
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
    return columns, text


def child_main(name: str) -> None:
    """Read a file and write its columns to standard output; only ever run in a child process."""
    from ..store.child import limit_resources

    limit_resources()
    path = Path(name)
    try:
        data = path.read_bytes()
        # By content, not by name: a renamed file is still what it is.
        columns, text = _read_parquet(data) if data[:4] == b"PAR1" else _read_hdf5(data)
    except Exception as error:
        print(f"It cannot be read ({type(error).__name__}: {error}).", file=sys.stderr)
        sys.exit(3)
    out = io.BytesIO()
    plan = np.frombuffer(text.encode(), dtype=np.uint8)
    np.savez(out, allow_pickle=False, **{**columns, _PLAN: plan})
    sys.stdout.buffer.write(out.getvalue())


# -- Parquet ------------------------------------------------------------------------------


def _parquet_bytes(path: Path, columns: Columns, text: str, units: Mapping[str, str]) -> bytes:
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
    schema = pa.schema(fields, metadata={"format": FORMAT, _PLAN: text})
    out = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), out, compression="zstd")
    return out.getvalue()


def _read_parquet(data: bytes) -> tuple[Columns, str]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pq.read_table(pa.BufferReader(data), memory_map=False, use_threads=False)
    notes = table.schema.metadata or {}
    _check_format(notes.get(b"format", b"").decode())
    columns: Columns = {}
    for name in table.column_names:
        column = table.column(name)
        if pa.types.is_string(column.type):
            columns[name] = np.array(column.to_pylist(), dtype=np.str_)
        else:
            columns[name] = column.to_numpy()
    return columns, notes[_PLAN.encode()].decode()


# -- HDF5 ---------------------------------------------------------------------------------


def _hdf5_bytes(columns: Columns, text: str, units: Mapping[str, str]) -> bytes:
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
    root.attrs["format"] = np.bytes_(FORMAT.encode())
    data_bytes = hdf5_api.image_of(file)
    file.close()
    return data_bytes


def _read_hdf5(data: bytes) -> tuple[Columns, str]:
    from ..store import hdf5_api

    hdf5_api.forbid_plugins()
    if not hdf5_api.is_hdf5(data):
        raise ModelError("it is neither Parquet nor HDF5")
    file = hdf5_api.open_image(data)  # what is read from it goes with it
    root = hdf5_api.root_of(file)
    attribute = hdf5_api.open_attribute(root, "format")
    kind = hdf5_api.plain_type(attribute)
    _check_format(str(hdf5_api.read_attribute(attribute, kind)) if kind is not None else "")
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
    return columns, columns.pop(_PLAN).tobytes().decode()


def _check_format(found: str) -> None:
    if found != FORMAT:
        raise ModelError(f"it says {found!r} of itself, not {FORMAT!r}")
