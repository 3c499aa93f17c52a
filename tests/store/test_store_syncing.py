"""The thread that flushes a journal ends when it is told to, whatever it is doing then."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from calib_model.store import syncing


class Interrupted(threading.Event):
    """An event that is cleared just after somebody else did something."""

    before = staticmethod(lambda: None)

    def clear(self) -> None:
        self.before()
        super().clear()


def test_an_end_that_comes_while_the_thread_begins_to_flush_is_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(syncing, "SYNC_PAUSE", 0.0)
    file = tmp_path / "journal"
    handle = os.open(file, os.O_RDWR | os.O_CREAT)
    reached: list[int] = []
    made = syncing.Syncer(handle, [], [], lambda: 1, reached.append)
    event = Interrupted()

    def end() -> None:  # as `end` does, without waiting for the thread that calls it here
        made._ending.set()
        event.set()

    event.before = end  # type: ignore[method-assign,assignment]
    first, made._wanted = made._wanted, event
    event.set()
    first.set()  # the thread waits for this one still
    made._thread.join(5.0)
    assert not made._thread.is_alive()
    os.close(handle)
