"""Compiled code is got ready in a process of its own, which ends with what wanted it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from calib_model.lookup import warming
from calib_model.lookup.warming import Warming


class GivenUp(Exception):
    """The user gave up."""


@pytest.fixture
def sleeper() -> Iterator[Warming]:
    """A process that never ends by itself."""
    made = Warming("import threading; threading.Event().wait()")
    yield made
    made.stop()


def test_it_fills_the_cache() -> None:
    from calib_model.lookup.jit import READY, cache_folder

    made = Warming("from calib_model.lookup import compiled; compiled.load()")
    assert made.wait()
    assert made.done
    assert (cache_folder() / READY).is_file()
    assert list(cache_folder().rglob("kernels.read_map*.nbi"))


def test_giving_up_ends_the_wait_and_not_the_process(sleeper: Warming) -> None:
    def give_up() -> None:
        raise GivenUp

    with pytest.raises(GivenUp):
        sleeper.wait(give_up)
    child = sleeper._child
    assert child is not None
    assert child.poll() is None, "somebody else may still want it"
    sleeper.stop()
    assert child.poll() is not None
    assert not sleeper.done, "who wants it later begins anew"


def test_who_waits_is_told_that_it_was_ended(sleeper: Warming) -> None:
    assert not sleeper.wait(lambda: sleeper._child.kill())  # type: ignore[union-attr]
    assert not sleeper.done


def test_it_is_done_once(monkeypatch: pytest.MonkeyPatch) -> None:
    started = []
    real = warming.subprocess.Popen
    monkeypatch.setattr(
        warming.subprocess, "Popen", lambda *a, **k: started.append(1) or real(*a, **k)
    )
    made = Warming("pass")
    made.start()
    made.start()
    assert made.wait()
    assert made.wait()
    assert len(started) == 1


def test_what_cannot_be_compiled_is_not_tried_again_and_again() -> None:
    made = Warming("import no_such_module")
    assert made.wait()
    assert made.done


def test_without_a_compiler_or_a_process_nothing_is_waited_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refused(*_a: object, **_k: object) -> None:
        raise OSError

    monkeypatch.setattr(warming.subprocess, "Popen", refused)
    assert Warming("pass").wait()
    monkeypatch.setattr(warming, "available", lambda: False)
    monkeypatch.setattr(warming.subprocess, "Popen", lambda *_a, **_k: pytest.fail("started"))
    assert Warming("pass").wait()
