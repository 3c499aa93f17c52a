"""Reports and folders are written whole or not at all."""

from __future__ import annotations

import errno
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from calib_model.errors import FileProblem, SaveFailed
from calib_model.store import write_whole
from calib_model.store.whole_folder import whole_folder


@pytest.fixture
def full_disk(monkeypatch: pytest.MonkeyPatch) -> Callable[[int], None]:
    """Let so many bytes be written before the disk is full."""
    real = os.write

    def fill(room: int) -> None:
        left = [room]

        def write(handle: int, data: bytes) -> int:
            if not left[0]:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            count = real(handle, bytes(data)[: left[0]])
            left[0] -= count
            return count

        monkeypatch.setattr(os, "write", write)

    return fill


def test_text_is_written_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    write_whole(path, "20 °C\r\nµ\n")
    assert path.read_bytes() == "20 °C\r\nµ\n".encode()
    write_whole(path, b"\xff")
    assert path.read_bytes() == b"\xff"


def test_a_full_disk_leaves_the_older_report(
    tmp_path: Path, full_disk: Callable[[int], None]
) -> None:
    path = tmp_path / "page.html"
    path.write_text("older " * 1000)
    full_disk(3000)
    with pytest.raises(SaveFailed, match="full"):
        write_whole(path, "newer " * 1000)
    assert path.read_text() == "older " * 1000
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == ["page.html"]


def test_a_new_file_that_failed_stands_in_nobodys_way(
    tmp_path: Path, full_disk: Callable[[int], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "page.html"
    full_disk(3000)
    with pytest.raises(SaveFailed, match="full"):
        write_whole(path, "newer " * 1000, new=True)
    monkeypatch.undo()
    write_whole(path, "newer", new=True)
    with pytest.raises(SaveFailed, match="such a file already"):
        write_whole(path, "newest", new=True)
    assert path.read_text() == "newer"


def test_a_folder_is_there_whole_or_not_at_all(
    tmp_path: Path, full_disk: Callable[[int], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "release"
    full_disk(3000)

    def make(size: int) -> None:
        with whole_folder(folder) as partial:
            write_whole(partial / "one", b"1" * size)
            assert not folder.exists()
            write_whole(partial / "two", b"2" * size)

    with pytest.raises(SaveFailed, match="full"):
        make(2000)
    assert not [p for p in tmp_path.iterdir() if "release" in p.name]
    monkeypatch.undo()
    make(1)
    assert sorted((p.name, p.read_bytes()) for p in folder.iterdir()) == [
        ("one", b"1"),
        ("two", b"2"),
    ]
    with pytest.raises(FileProblem, match="such a folder already"):
        make(2)


@pytest.mark.skipif(sys.platform == "win32", reason="it has no named pipes in folders")
def test_a_pipe_is_written_to(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(pipe.read_bytes()))
    reader.start()
    write_whole(pipe, "for another program")
    reader.join()
    assert read == [b"for another program"]
