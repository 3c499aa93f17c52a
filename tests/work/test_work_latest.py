"""Questions of which the last counts: what is stale is dropped, what fails is told, all ends."""

from __future__ import annotations

import threading

import pytest
from PySide6.QtCore import QObject

from app.work.control import Unforeseen
from app.work.jobs import Jobs, end_all
from app.work.latest import Latest
from calib_model.errors import BitepointError, EditRefused


class Asker:
    """Somebody who asks."""

    def __init__(self, parent: QObject) -> None:
        self.answers: list[object] = []
        self.failures: list[BitepointError] = []
        self.stopped = threading.Event()
        self.latest = Latest(parent, self.answers.append, self.failures.append, self.stopped.set)


@pytest.fixture
def root(qapp) -> QObject:  # type: ignore[no-untyped-def]
    return QObject()


@pytest.fixture
def asker(root: QObject) -> Asker:
    return Asker(root)


def test_only_the_last_question_is_answered(asker: Asker) -> None:
    hold, worked = threading.Event(), []

    def work(number: int) -> int:
        assert hold.wait(10)
        worked.append(number)
        return number

    for number in range(5):
        asker.latest.ask(lambda number=number: work(number))  # type: ignore[misc]
    hold.set()
    asker.latest.wait()
    assert asker.answers == [4]
    assert set(worked) <= {0, 4}  # what was replaced before it began is never worked on


def test_a_forgotten_question_is_not_answered(asker: Asker) -> None:
    hold = threading.Event()
    asker.latest.ask(lambda: hold.wait(10))
    asker.latest.forget()
    hold.set()
    asker.latest.wait()
    assert not asker.answers
    assert not asker.failures


def test_what_was_foreseen_is_told_to_who_asked(asker: Asker) -> None:
    def refuse() -> None:
        raise EditRefused("The table is locked.", "Unlock it.")

    asker.latest.ask(refuse)
    asker.latest.wait()
    assert [str(error) for error in asker.failures] == ["The table is locked. Unlock it."]


@pytest.mark.parametrize("kind", [KeyError, MemoryError, SystemExit])
def test_what_was_not_foreseen_is_told_and_goes_to_the_crash_dialog(
    asker: Asker, qtbot, kind: type[BaseException], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even an error that ends a thread silently; it used to leave whoever asked waiting."""

    def fail() -> None:
        raise kind("no luck")

    asker.latest.ask(fail)
    thread = asker.latest._thread
    assert thread is not None
    thread.join()
    with pytest.raises(kind):
        asker.latest._take(1, None, _raised(fail))
    told = asker.failures[0]
    assert isinstance(told, Unforeseen)
    assert kind.__name__ in str(told)
    assert "no luck" in str(told)
    asker.latest.forget()  # what the thread sent is not taken a second time


def _raised(fail) -> BaseException:  # type: ignore[no-untyped-def]
    try:
        fail()
    except BaseException as error:
        return error
    raise AssertionError


def test_the_end_of_the_window_ends_all_work(root: QObject) -> None:
    jobs, asker = Jobs(root), Asker(QObject(root))
    begun = threading.Event()

    def work() -> str:
        begun.set()
        assert asker.stopped.wait(10)  # as a process that is waited for would be ended
        return "late"

    asker.latest.ask(work)
    job = jobs.start("Reading", lambda control: _until_cancelled(control), cancellable=True)
    assert begun.wait(10)
    end_all(jobs, root)
    assert not asker.latest.busy
    assert job.state == "cancelled"
    asker.latest.wait()
    assert not asker.answers


def _until_cancelled(control) -> None:  # type: ignore[no-untyped-def]
    while True:
        control.check()
        threading.Event().wait(0.005)
