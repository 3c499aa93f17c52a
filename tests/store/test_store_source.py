"""A file that changes while it is read is read anew, or refused: never half of each."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from calib_model.store import source
from calib_model.store.source import Stamp, Unreadable, read_bytes

OLD, NEW = b"o" * 4096, b"n" * 4096


def _written_while_read(path: Path, monkeypatch: pytest.MonkeyPatch, times: int) -> None:
    """Have somebody write as many bytes into the file while it is read, so many times."""
    really, left = source._read_all, [times]

    def read_all(handle: int, size: int) -> bytes:
        if not left[0]:
            return really(handle, size)
        left[0] -= 1
        half = os.pread(handle, size // 2, 0)
        path.write_bytes(NEW)
        moment = path.stat().st_mtime_ns + 1_000_000_000 * (left[0] + 1)
        os.utime(path, ns=(moment, moment))
        return half + os.pread(handle, size, size // 2)

    monkeypatch.setattr(source, "_read_all", read_all)


@pytest.mark.parametrize("times", [1, 2])
def test_a_file_written_while_it_is_read_is_read_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    path = tmp_path / "larch.h5"
    path.write_bytes(OLD)
    _written_while_read(path, monkeypatch, times)
    data, stamp = read_bytes(path)
    assert data == NEW
    assert stamp == Stamp.of(path.stat())


def test_a_file_that_keeps_changing_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "larch.h5"
    path.write_bytes(OLD)
    _written_while_read(path, monkeypatch, 99)
    with pytest.raises(Unreadable) as told:
        read_bytes(path)
    assert "keeps changing" in told.value.problem
