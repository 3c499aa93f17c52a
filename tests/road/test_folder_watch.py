"""A watched folder offers a run once it is complete, and what lay there before never."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from app.road.recordings.folder_watch import FolderWatch


@pytest.fixture
def watched(tmp_path: Path, qapp) -> tuple[FolderWatch, list[Path], Path]:  # type: ignore[no-untyped-def]
    """A watch on a folder with an old run in it, and what it offered."""
    (tmp_path / "old.csv").write_text("time,a\n0,1\n")
    watch = FolderWatch()
    assert watch.watch(tmp_path)
    watch._timer.stop()  # the test looks by itself
    offered: list[Path] = []
    watch.found.connect(offered.append)
    return watch, offered, tmp_path


def test_what_lay_there_before_is_not_offered(watched) -> None:  # type: ignore[no-untyped-def]
    watch, offered, folder = watched
    for _ in range(3):
        watch.look()
    assert offered == []
    assert watch.newest() == folder / "old.csv"


def test_a_run_that_is_still_written_is_waited_for(watched) -> None:  # type: ignore[no-untyped-def]
    watch, offered, folder = watched
    run = folder / "run.csv"
    run.touch()
    for _ in range(3):
        watch.look()
    assert offered == [], "an empty file is only opened yet"
    for size in range(1, 4):
        run.write_text("time,a\n" + "0,1\n" * size)
        watch.look()
        assert offered == [], "it grew since the last look"
    watch.look()
    assert offered == [run]
    watch.look()
    assert offered == [run], "a run is offered once"


def test_a_run_written_again_is_offered_again(watched) -> None:  # type: ignore[no-untyped-def]
    watch, offered, folder = watched
    run = folder / "old.csv"
    run.write_text("time,a\n0,1\n1,2\n")
    os.utime(run, (2e9, 2e9))
    watch.look()
    watch.look()
    assert offered == [run]


def test_other_files_are_left_alone(watched) -> None:  # type: ignore[no-untyped-def]
    watch, offered, folder = watched
    for name in ("notes.pdf", ".hidden.csv", "run.csv.part"):
        (folder / name).write_text("something")
    watch.look()
    watch.look()
    assert offered == []


def test_a_folder_that_goes_is_told(watched) -> None:  # type: ignore[no-untyped-def]
    watch, _, folder = watched
    told: list[str] = []
    watch.lost.connect(told.append)
    (folder / "old.csv").unlink()
    folder.rmdir()
    watch.look()
    assert "can no longer be read" in told[0]
    assert watch.folder is None


def test_a_folder_that_is_not_there_is_refused(qapp, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    watch = FolderWatch()
    assert not watch.watch(tmp_path / "nowhere")
    assert watch.folder is None
