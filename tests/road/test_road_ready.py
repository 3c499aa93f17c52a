"""Compiled code is got ready in a process of its own, which ends when the window does."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest

from app.road import ready
from app.shell.jobs import Cancelled, Control

SLEEP, NOTHING = "import time; time.sleep(60)", "pass"


@pytest.fixture(autouse=True)
def not_ready(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """As if nothing was got ready yet, and nothing is left running."""
    monkeypatch.setattr(ready, "_done", False)
    monkeypatch.setattr(ready, "_child", None)
    yield
    ready.stop()


def control() -> Control:
    return Control(lambda _part, _text: None)


def test_giving_up_ends_the_job_and_closing_ends_the_process(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ready, "_CODE", SLEEP)
    job = control()
    threading.Timer(0.3, job.cancel).start()
    begun = time.monotonic()
    with pytest.raises(Cancelled):
        ready.get_ready(job)
    assert time.monotonic() - begun < 20
    child = ready._child
    assert child is not None
    assert child.poll() is None, "another replay may still want it"
    ready.stop()
    assert child.poll() is not None
    assert not ready._done


def test_it_is_done_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ready, "_CODE", NOTHING)
    started = []
    real = ready.subprocess.Popen
    monkeypatch.setattr(
        ready.subprocess, "Popen", lambda *a, **k: started.append(1) or real(*a, **k)
    )
    ready.start()
    ready.start()
    ready.get_ready(control())
    ready.get_ready(control())
    assert len(started) == 1
    assert ready._done


def test_without_a_compiler_nothing_is_started(monkeypatch: pytest.MonkeyPatch) -> None:
    from calib_model.lookup import compiled

    monkeypatch.setattr(compiled, "available", lambda: False)
    monkeypatch.setattr(ready.subprocess, "Popen", lambda *_a, **_k: pytest.fail("started"))
    ready.get_ready(control())
    assert ready._done
