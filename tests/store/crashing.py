"""Let an editing process end at a random moment, and check what it left."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest

from calib_model.editing.change import apply, change_from_plain
from calib_model.errors import FileProblem
from calib_model.store import StoredSet, list_leftovers, read_set_here, recovery
from calib_model.store.source import Unreadable, read_bytes
from tests.store.making import small_set

ROOT = Path(__file__).resolve().parents[2]
START = small_set().with_table(small_set()["tick"].with_values(0.0))


class Said(NamedTuple):
    """The last edit of each kind that the process told of; see `tests.store.editor`."""

    edit: int
    kept: int
    saved: int


class Left(NamedTuple):
    """The last edit in the file, and after recovery."""

    in_file: int
    recovered: int


class Editors:
    """Starts editing processes, one at a time."""

    def __init__(self, parent: subprocess.Popen[str], out: Path) -> None:
        self._parent = parent
        self._out = out

    def _line(self) -> str:
        assert self._parent.stdout is not None
        return self._parent.stdout.readline().strip()

    def run(
        self, path: Path, state: Path, seed: int, end: Callable[[], None] | None = None
    ) -> Said:
        """Let a process edit a file for a random while of at most half a second, and kill it.

        Parameters
        ----------
        path : Path
            The set it edits.
        state : Path
            Where its journal lies.
        seed : int
        end : callable, optional
            Cuts the power when the while is over, before the process is killed.
        """
        self._out.write_text("")
        assert self._parent.stdin is not None
        self._parent.stdin.write(f"{seed}\t{path}\t{state}\t{self._out}\n")
        self._parent.stdin.flush()
        process = int(self._line())
        give_up = time.monotonic() + 60
        while not self._out.read_text().startswith("ready\n"):
            assert time.monotonic() < give_up, "the editing process does not begin"
            time.sleep(0.005)
        time.sleep(random.Random(seed).uniform(0.0, 0.5))
        if end is not None:
            before = self._last()  # what it says after a power cut, nobody hears
            end()
        os.kill(process, signal.SIGKILL)
        assert self._line() == "ended"
        after = self._last()
        return after if end is None else before._replace(edit=after.edit)

    def _last(self) -> Said:
        last = {"edit": 0, "kept": 0, "saved": 0}
        for line in self._out.read_text().split("\n")[1:-1]:  # the last may be half of one
            kind, number = line.split()
            last[kind] = int(number)
        return Said(**last)


@contextmanager
def editors(folder: Path) -> Iterator[Editors]:
    """Have a process that starts editing processes; `folder` is for what they say."""
    parent = subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("editor.py"))], cwd=ROOT, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        yield Editors(parent, folder / "said")
    finally:
        parent.kill()
        parent.communicate()


def read_at_once(path: Path | str) -> StoredSet:
    """Read a set in this process: starting one for each file would take most of the time."""
    try:
        data, stamp = read_bytes(Path(path))
    except Unreadable as error:
        raise FileProblem(path, "", *error.args) from None
    return read_set_here(data, path, stamp)


def check_left(path: Path, said: Said, patch: pytest.MonkeyPatch) -> Left:
    """Check that the file is whole and nothing that was promised is gone; recover the rest."""
    patch.setattr(recovery, "read_set", read_at_once)
    stored = read_at_once(path)  # whole, whatever happened
    in_file = int(stored.set["tick"].values)
    assert in_file >= said.saved, "a finished save is gone"
    state = stored.set
    leftovers = list_leftovers(path)
    assert len(leftovers) <= 1, (in_file, [(left, left._about) for left in leftovers])
    for leftover in leftovers:
        base, changes, _ = leftover.load()
        state = base.set
        for change in changes:
            state = apply(state, change_from_plain(change))
        leftover.discard()
    recovered = int(state["tick"].values)
    assert state == START.with_table(START["tick"].with_values(float(recovered)))
    assert in_file <= recovered <= said.edit + 1
    done = [e["title"] for e in stored.history.entries()]
    assert done == [f"Set to {n + 1}" for n in range(in_file)], "history and content disagree"
    assert list_leftovers() == []
    return Left(in_file, recovered)
