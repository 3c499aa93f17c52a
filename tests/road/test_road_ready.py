"""Compiled code is got ready in a process of its own, which ends when the user gives up."""

from __future__ import annotations

import threading
import time

import pytest

from app.road import ready
from app.shell.jobs import Cancelled, Control


@pytest.fixture(autouse=True)
def not_ready(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if nothing was got ready yet."""
    monkeypatch.setattr(ready, "_done", False)


def test_giving_up_ends_the_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ready, "_CODE", "import time; time.sleep(60)")
    children = []
    real = ready.subprocess.Popen

    def started(*command, **how):  # type: ignore[no-untyped-def]
        children.append(real(*command, **how))
        return children[-1]

    monkeypatch.setattr(ready.subprocess, "Popen", started)
    control = Control(lambda _part, _text: None)
    threading.Timer(0.3, control.cancel).start()
    begun = time.monotonic()
    with pytest.raises(Cancelled):
        ready.get_ready(control)
    assert time.monotonic() - begun < 20
    assert children[0].poll() is not None
    assert not ready._done


def test_it_is_done_once(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    monkeypatch.setattr(ready, "_fill_cache", calls.append)
    control = Control(lambda _part, _text: None)
    ready.get_ready(control)
    ready.get_ready(control)
    assert len(calls) == 1


def test_without_a_compiler_nothing_is_started(monkeypatch: pytest.MonkeyPatch) -> None:
    from calib_model.lookup import compiled

    monkeypatch.setattr(compiled, "available", lambda: False)
    monkeypatch.setattr(ready.subprocess, "Popen", lambda *_a, **_k: pytest.fail("started"))
    ready.get_ready(Control(lambda _part, _text: None))
    assert ready._done
