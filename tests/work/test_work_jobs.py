"""Background work: results, errors, progress and cancel come back to the window's thread."""

from __future__ import annotations

import threading
import time

import pytest

from app.work.control import Control
from app.work.jobs import Jobs
from calib_model.errors import BitepointError, EditRefused


@pytest.fixture
def jobs(qapp):  # type: ignore[no-untyped-def]
    made = Jobs()
    yield made
    made.finish()


def test_a_result_comes_back_to_this_thread(jobs: Jobs) -> None:
    here = threading.get_ident()
    seen: list[tuple[int, bool]] = []
    job = jobs.start(
        "Adding",
        lambda _control, a, b: (a + b, threading.get_ident()),
        2,
        3,
        done=lambda found: seen.append((found[0], found[1] != here)),
    )
    assert jobs.running == [job]
    job.wait()
    assert seen == [(5, True)]
    assert job.state == "done"
    assert jobs.running == []


def test_an_error_is_told(jobs: Jobs) -> None:
    told: list[BaseException] = []

    def fail(_control: Control) -> None:
        raise EditRefused("no")

    job = jobs.start("Failing", fail, failed=told.append)
    job.wait()
    assert job.state == "failed"
    assert [str(e) for e in told] == ["no"]


def test_an_error_that_nobody_foresaw_is_told_in_words_and_kept(jobs: Jobs, qtbot) -> None:  # type: ignore[no-untyped-def]
    told: list[BitepointError] = []

    def fail(_control: Control) -> None:
        raise ValueError("no luck")

    with qtbot.capture_exceptions() as caught:
        jobs.start("Failing", fail, failed=told.append).wait()
    assert [str(value) for _, value, _ in caught] == ["no luck"]
    assert "ended unexpectedly (ValueError: no luck)" in str(told[0])


def test_an_error_that_nobody_takes_goes_to_the_crash_dialog(jobs: Jobs, qtbot) -> None:  # type: ignore[no-untyped-def]
    def fail(_control: Control) -> None:
        raise ValueError("unexpected")

    with qtbot.capture_exceptions() as caught:
        jobs.start("Failing", fail).wait()
    assert [str(value) for _, value, _ in caught] == ["unexpected"]
    assert jobs.running == []


def test_progress_and_cancel(jobs: Jobs) -> None:
    parts: list[float] = []
    done: list[object] = []

    def work(control: Control) -> None:
        for number in range(10_000):
            control.progress(number / 10_000, "working")
            time.sleep(0.001)

    job = jobs.start("Working", work, done=done.append, cancellable=True)
    job.progressed.connect(lambda part, _text: (parts.append(part), job.cancel()))
    job.wait()
    assert job.state == "cancelled"
    assert parts[0] >= 0
    assert done == []


def test_cancel_calls_what_the_work_waits_for(jobs: Jobs) -> None:
    stopped = threading.Event()
    ready = threading.Event()

    def work(control: Control) -> None:
        control.on_cancel(stopped.set)
        ready.set()
        assert stopped.wait(10)

    job = jobs.start("Waiting", work, cancellable=True)
    assert ready.wait(10)
    job.cancel()
    job.wait()
    assert job.state == "cancelled"


def test_many_short_jobs_all_end(jobs: Jobs) -> None:
    found: list[int] = []
    for number in range(400):
        jobs.start("Short", lambda _control, n: n, number, done=found.append)
    jobs.finish()
    assert sorted(found) == list(range(400))


def test_finish_cancels_what_can_be_and_waits_for_the_rest(jobs: Jobs) -> None:
    ended: list[str] = []

    def patient(control: Control) -> None:
        while True:
            control.check()
            time.sleep(0.005)

    def short(_control: Control) -> str:
        time.sleep(0.05)
        return "saved"

    jobs.start("Reading", patient, cancellable=True)
    jobs.start("Saving", short, done=ended.append)
    jobs.finish()
    assert ended == ["saved"]
