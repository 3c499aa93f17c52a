"""Files of tables that are small and unfold large, and the largest that are let through."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np

from calib_model.bringing import bounds
from calib_model.exchange.spreadsheet import spreadsheet_bytes
from tests.store.making import small_set

SHEET = "xl/worksheets/sheet1.xml"


def _bomb(path: Path, *, lie: bool) -> None:
    """A gigabyte of spaces in a sheet; or as much that says it is a hundred bytes."""
    source = zipfile.ZipFile(io.BytesIO(spreadsheet_bytes(small_set())))
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            target.writestr(name, b" " * (1 << 30) if name == SHEET else source.read(name))
    data = bytearray(made.getvalue())
    if lie:
        for mark, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
            place = -1
            while (place := data.find(mark, place + 1)) >= 0:
                size = struct.unpack_from("<I", data, place + at)[0]
                if size == 1 << 30:
                    struct.pack_into("<I", data, place + at, 100)
    path.write_bytes(data)


def _variables(path: Path) -> None:
    with h5py.File(path, "w") as file:
        for number in range(200):
            file.create_dataset(
                f"v{number}", data=np.zeros(1 << 19), compression="gzip", chunks=(1 << 19,)
            )


def _blocks(count: int) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.write_text("\n\n".join(f"t{n}\n,0,1\n0,1,2\n1,3,4" for n in range(count)))

    return write


def _different(count: int) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        rows = np.arange(count).reshape(-1, 10) + 0.5
        lines = (",".join(map(str, row)) for row in rows.tolist())
        path.write_text("x,a,b,c,d,e,f,g,h,i\n" + "\n".join(lines))

    return write


TOO_LARGE: dict[str, Callable[[Path], None]] = {
    "a zip bomb": lambda path: _bomb(path, lie=False),
    "a zip bomb that lies": lambda path: _bomb(path, lie=True),
    "many blocks": _blocks(4 * bounds.MAX_BLOCKS),
    "different cells": _different(2 * bounds.MAX_DIFFERENT),
}
LET_THROUGH: dict[str, Callable[[Path], None]] = {
    "blocks": _blocks(bounds.MAX_BLOCKS - 1),
    "different cells": _different(bounds.MAX_DIFFERENT - 20),
    "variables": _variables,
}
