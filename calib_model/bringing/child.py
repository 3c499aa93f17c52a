"""The reading process for files that are brought in: answers with grids or variables.

Started by `asking`.  A file that crashes, hangs or bloats a library takes down this process and
nothing else.  An answer is a header and what it lists (`store.message`):

- ``{"grid": ...}``: numbers of a grid's different cells as float64, their texts joined by the sign
  0x1F (which no cell may hold), and a code for each place as int32;
- ``{"variable": ...}``: a variable of an HDF5 file, its values as float64;
- ``{"end": true}``, or ``{"error": ...}``.
"""

from __future__ import annotations

import base64
import os
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..store.child import allow_seconds, limit_resources
from ..store.message import BrokenMessage, error_of, pack_header, read_header, write_all

if TYPE_CHECKING:
    from .grid import Builder

ADDRESS_BYTES = 3 << 29
SECONDS = 3
"""Of work on any file: what a damaged one has a library do for ever ends before five..."""
SECONDS_PER_MEBIBYTE = 3
"""...and more for a larger one."""
SIGN = "\x1f"
Answers = Iterator[tuple[dict[str, Any], list[Any]]]


def main() -> None:
    """Answer requests until standard input ends."""
    source = os.fdopen(os.dup(0), "rb", buffering=0)
    target = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # nothing that a library prints may get into the answer
    sys.dont_write_bytecode = True
    limit_resources(ADDRESS_BYTES, seconds=0)
    while True:
        try:
            request = read_header(source.read)
        except BrokenMessage:
            return
        if request is None:
            return
        path = Path(os.fsdecode(base64.b64decode(request["path"])))
        allow_seconds(SECONDS + SECONDS_PER_MEBIBYTE * (int(request.get("size", 0)) >> 20))
        try:
            for header, buffers in answers(path, request):
                write_all(target, pack_header(header))
                for buffer in buffers:
                    write_all(target, buffer)
        except BrokenPipeError:
            return


def answers(path: Path, request: Mapping[str, Any]) -> Answers:
    """Yield headers and what follows them; an error is the last."""
    from ..errors import FileProblem
    from .refused import Refused

    try:
        yield from _answers(path, request)
        yield {"end": True}, []
    except Refused as error:
        yield error_of("refused", error.place, error.problem, error.remedy), []
    except FileProblem as error:
        yield error_of("refused", error.place, error.problem, error.remedy), []
    except MemoryError:
        yield error_of("refused", "", "Reading it needs more memory than tables may.",
                     "Cut the file in parts."), []  # fmt: skip
    except BrokenPipeError:
        raise
    except Exception as error:
        yield error_of("internal", "", f"{type(error).__name__}: {error}", ""), []


def _answers(path: Path, request: Mapping[str, Any]) -> Answers:
    from ..core.plain_file import read_plain
    from .bounds import MAX_FILE_BYTES

    kind = request["kind"]
    hints = {key: str(text) for key, text in request.get("hints", {}).items() if text}
    if kind == "HDF5":
        from .variables import read_variables

        for header, values in read_variables(path):
            yield {"variable": header}, [] if values is None else [values]
        return
    data = read_plain(path, "a file of tables", MAX_FILE_BYTES)
    if kind == "spreadsheet":
        from .grid import Builder
        from .workbook import read_workbook

        for sheet in read_workbook(data):
            rows = Builder()
            for row in sheet.rows:
                rows.add(row)
            about = {"sheet": sheet.name, "notes": sheet.notes[:20], "merged": sheet.merged,
                     "percent": sheet.percent}  # fmt: skip
            yield _packed(rows, about)
    else:
        from .delimited import read_delimited

        text = read_delimited(data, hints)
        about = {"separator": text.separator, "notes": text.notes}
        yield _packed(text.rows, about, text.lines)


def _packed(
    rows: Builder, about: dict[str, Any], lines: list[int] | None = None
) -> tuple[dict[str, Any], list[Any]]:
    import numpy as np

    from .bounds import MAX_DIFFERENT, MAX_TEXTS
    from .grid import Trouble
    from .refused import Refused

    if rows.different > MAX_DIFFERENT:
        place = f"sheet {about['sheet']!r}" if about.get("sheet") else ""
        raise Refused(place, f"It has more than {MAX_DIFFERENT} different cells.", "Part it.")
    cells, codes = rows.cells(), rows.codes()
    numbers = [cell for cell in cells if type(cell) is float]
    texts: list[str] = []
    kinds = bytearray()
    for cell in cells:
        kind = 0 if type(cell) is float else 2 if type(cell) is Trouble else 1
        kinds.append(kind)
        if kind:
            texts.append(str(cell))
    joined = SIGN.join(texts)
    if joined.count(SIGN) != max(len(texts) - 1, 0):
        joined = SIGN.join(text.replace(SIGN, " ") for text in texts)
    data = joined.encode("utf-8", "replace")
    if len(data) > MAX_TEXTS:
        raise Refused("", f"Its texts have more than {MAX_TEXTS >> 20} MiB.", "Cut it in parts.")
    header = {
        **about, "rows": codes.shape[0], "columns": codes.shape[1],
        "cells": len(cells), "numbers": len(numbers), "bytes": len(data),
        "lines": lines is not None,
    }  # fmt: skip
    buffers = [
        bytes(kinds), np.array(numbers, dtype=np.float64).tobytes(), data, codes.tobytes(),
    ]  # fmt: skip
    if lines is not None:
        buffers.append(np.asarray(lines, dtype=np.int32).tobytes())
        buffers.append(np.array(rows.widths, dtype=np.int32).tobytes())
    return {"grid": header}, buffers


if __name__ == "__main__":
    main()
