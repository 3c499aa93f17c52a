"""The reading process for recordings: takes one request on standard input, answers with columns.

Started by `source`.  A file that crashes, hangs or bloats one of the format libraries takes down
this process and nothing else.

Limits: what it may allocate is 1 GiB, as for set files (a whole hour at 100 Hz with 60 channels
needs less than half of that, since columns go out block by block).  Address space is another
matter: the libraries reserve far more than they fill (0.6 GiB with asammdf imported, 0.8 GiB with
pyarrow's threads at work) and MDF files are mapped, so it is 2 GiB plus the file's size.
"""

from __future__ import annotations

import base64
import os
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from ...store.child import allow_seconds, limit_resources
from ...store.message import BrokenMessage, error_of, pack_header, read_header, write_all

ADDRESS_BYTES = 2 << 30
SECONDS = 5
"""Of work on any file: the library for MDF 4 takes two to be imported on a slow machine, and
follows links that form a circle for ever."""
SECONDS_PER_MEBIBYTE = 2
"""More for a larger file; text that is read cell by cell takes one."""


def main() -> None:
    """Answer one request."""
    source = os.fdopen(os.dup(0), "rb", buffering=0)
    target = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # nothing that a library prints may get between the columns
    try:
        request = read_header(source.read)
    except BrokenMessage:
        return
    if request is None:
        return
    path = Path(os.fsdecode(base64.b64decode(request["path"])))
    # Compiled modules that are cut off at the limit would be left beside their sources.
    sys.dont_write_bytecode = True
    # asammdf writes a byte to a temporary file whenever it opens one; nothing else may write.
    file_bytes = 4096 if request["kind"] == "MDF 4" else 0
    size = int(request.get("size", 0))
    limit_resources(ADDRESS_BYTES + size, file_bytes)
    allow_seconds(SECONDS + SECONDS_PER_MEBIBYTE * (size >> 20))
    try:
        for header, buffers in answers(path, request):
            write_all(target, pack_header(header))
            for buffer in buffers:
                write_all(target, buffer)
    except BrokenPipeError:
        return


def answers(path: Path, request: Mapping[str, Any]) -> Iterator[tuple[dict[str, Any], list[Any]]]:
    """Yield headers and what follows them; an error is the last."""
    # pyarrow's own allocator reserves a gigabyte of addresses at once.
    os.environ["ARROW_DEFAULT_MEMORY_POOL"] = "system"
    from ...errors import FileProblem
    from .layout import UnclearLayout
    from .stream import Refused

    try:
        yield from _answers(path, request)
    except UnclearLayout as error:
        yield {
            "error": "unclear", "what": error.what, "choices": list(error.choices)[:50],
            "problem": error.problem[:2000], "remedy": error.remedy[:2000],
        }, []  # fmt: skip
    except Refused as error:
        yield error_of("refused", error.place, error.problem, error.remedy), []
    except FileProblem as error:
        yield error_of("refused", error.place, error.problem, error.remedy), []
    except MemoryError:
        yield error_of("refused", "", "Reading it needs more memory than a recording may.",
                     "Cut the recording in parts, or export fewer channels."), []  # fmt: skip
    except BrokenPipeError:
        raise
    except Exception as error:
        yield error_of("internal", "", f"{type(error).__name__}: {error}", ""), []


def _answers(path: Path, request: Mapping[str, Any]) -> Iterator[tuple[dict[str, Any], list[Any]]]:
    from .layout import layout_from_plain
    from .stream import Remarks

    kind, given = request["kind"], request.get("layout")
    hints = {k: v for k, v in request.get("hints", {}).items() if v is not None}
    remarks = Remarks()
    layout = None if given is None else layout_from_plain(path, given)
    blocks: Any
    if kind == "CSV":
        from .csv_layout import inspect_csv
        from .csv_recording import read_csv

        layout = layout or inspect_csv(path, **hints)
        blocks = read_csv
    elif kind == "Parquet":
        from .parquet import inspect_parquet, read_parquet

        layout = layout or inspect_parquet(path, hints.get("time"), hints.get("time_unit"))
        blocks = read_parquet
    else:
        from .hdf5 import RecordingFile
        from .mdf4 import Mdf4

        file = Mdf4(path) if kind == "MDF 4" else RecordingFile(path)
        layout = layout or file.layout()
        blocks = lambda _, *rest: file.blocks(*rest)  # noqa: E731
    yield {"layout": layout.to_plain()}, []
    if not request.get("columns"):
        return
    for block in blocks(path, layout, remarks):
        yield _packed(block)
    yield {"end": {"words": remarks.words()[:50], "damage": remarks.damage}}, []


def _packed(block: Any) -> tuple[dict[str, Any], list[Any]]:
    import numpy as np

    listed, buffers = [], []
    for number, (values, rows) in block.columns.items():
        if isinstance(values, np.ma.MaskedArray):
            filled = np.ascontiguousarray(~np.ma.getmaskarray(values))
            kept = np.ascontiguousarray(values.data[filled], dtype=np.float64)
            listed.append([number, rows, int(kept.size)])
            if 0 < kept.size < rows:
                buffers.append(filled.view(np.uint8).data)
        else:
            kept = np.ascontiguousarray(values, dtype=np.float64)
            listed.append([number, rows, rows])
        if kept.size:
            buffers.append(kept.view(np.uint8).data)
    return {"block": listed, "at": float(block.at)}, buffers


if __name__ == "__main__":
    main()
