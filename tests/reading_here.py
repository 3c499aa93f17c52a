"""Reading without a process for each file, for tests of what is read and not of how."""

from __future__ import annotations

import base64
import importlib
import io
import os
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from calib_model.store import child as of_sets
from calib_model.store.message import pack_header

ASKED_BY = (
    "app.cli.reading", "calib_model.store.reading", "calib_model.evidence.reading.source",
)  # fmt: skip
"""Where those who start reading processes find the class."""


class InThisProcess:
    """Answers as a `calib_model.store.launch.Child` does, whose start takes most of its time."""

    timed_out = False
    process = SimpleNamespace(stdout=None)

    def __init__(self, seconds: float = 0.0, *, module: str = of_sets.__name__) -> None:
        self._module = importlib.import_module(module)
        self._answers = io.BytesIO()

    def ask(self, path: Path, **request: Any) -> None:
        """Work the whole answer out."""
        out = io.BytesIO()
        if self._module is of_sets:
            of_sets.answer({"path": base64.b64encode(os.fsencode(path)).decode()}, out)
        else:
            for header, buffers in self._module.answers(path, request):
                out.write(pack_header(header))
                out.writelines(buffers)
        place = self._answers.tell()
        self._answers.seek(0, io.SEEK_END)
        self._answers.write(out.getvalue())
        self._answers.seek(place)

    def read(self, size: int) -> bytes:
        """Return at most `size` bytes of the answers."""
        return self._answers.read(size)

    def read_into(self, view: memoryview[Any]) -> int:
        """Fill a buffer from the answers; return how many bytes there were."""
        return self._answers.readinto(view)

    def end(self) -> int:
        """Return the exit status."""
        return 0

    def rest(self) -> None:
        """There is no process that could be kept."""

    def status(self) -> int:
        """Return the exit status."""
        return 0


def read_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have sets and recordings read in this process, until the test ends.

    Reading processes themselves are tested in tests/store, tests/hostile and
    tests/evidence_reading/test_reading_damage.py; tests/cli/test_program.py starts whole programs.
    """
    monkeypatch.setenv("ARROW_DEFAULT_MEMORY_POOL", "system")  # set while reading; taken back
    for name in ASKED_BY:
        monkeypatch.setattr(importlib.import_module(name), "Child", InThisProcess)
    monkeypatch.setattr(
        importlib.import_module("calib_model.store.reading"), "started", InThisProcess
    )
