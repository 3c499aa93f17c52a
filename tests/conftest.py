"""What every test gets: its own settings folders, one font, and no thread left behind."""

from __future__ import annotations

import os
import re
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest
from _pytest.mark.expression import Expression

from tests.collecting import settle_garbage

ROOT = Path(__file__).resolve().parent.parent

# Qt's platform is fixed per process, at the first QApplication; `tests/run.py` sets another one
# for the tests that need real windows.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

# One folder per run, shared by the processes that `tests/run.py` starts: compiled code is cached
# in it, and nothing (not even a session fixture) sees the settings of whoever runs the tests.
_own_folder = None
if "BITEPOINT_TEST_RUN_DIR" not in os.environ:
    _own_folder = tempfile.TemporaryDirectory(prefix="bitepoint-tests-", ignore_cleanup_errors=True)
    os.environ["BITEPOINT_TEST_RUN_DIR"] = _own_folder.name
RUN_FOLDER = Path(os.environ["BITEPOINT_TEST_RUN_DIR"])
os.environ["NUMBA_CACHE_DIR"] = str(RUN_FOLDER / "numba")
os.environ["BITEPOINT_CONFIG_DIR"] = str(RUN_FOLDER / "config")
os.environ["BITEPOINT_STATE_DIR"] = str(RUN_FOLDER / "state")

# Derandomised, so that a failure is the same for everybody; without a deadline, since a machine
# that is busy elsewhere is no failure; without a data base, which would make runs differ.
_common = {"derandomize": True, "deadline": None, "database": None, "print_blob": True}
hypothesis.settings.register_profile("suite", max_examples=60, **_common)
hypothesis.settings.register_profile("slow", max_examples=1000, **_common)
hypothesis.settings.load_profile(os.environ.get("BITEPOINT_HYPOTHESIS_PROFILE", "suite"))


_MARK = re.compile(r"\bmark\.(gl|window|slow)\b")


@pytest.fixture(scope="session")
def run_folder() -> Path:
    """The folder of this test run, for what is costly to make and needed once.

    It outlives the pytest process where `tests/run.py` started it: write a file in it under
    another name and rename it, so that a second process never reads half of one.
    """
    return RUN_FOLDER


@pytest.fixture(scope="session")
def published() -> Path:
    """The folder with the packages of published drive cycles that `tests/run.py` fetches."""
    folder = ROOT / ".venv" / "published"
    if not (folder / "complete").exists():
        pytest.fail("The published drive cycles are not there; run `python3 tests/run.py` once.")
    return folder


@pytest.fixture(autouse=True)
def fresh_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Point the app's settings and recovery folders into the test's own folder."""
    monkeypatch.setenv("BITEPOINT_CONFIG_DIR", str(tmp_path / "bitepoint-config"))
    monkeypatch.setenv("BITEPOINT_STATE_DIR", str(tmp_path / "bitepoint-state"))


@pytest.fixture(scope="session")
def qapp(qapp):  # type: ignore[no-untyped-def]
    """pytest-qt's application with the bundled font, so that text has the same size everywhere."""
    from PySide6 import QtGui

    from app.look.type import load_fonts, tabular

    family = load_fonts()
    assert family, "Qt cannot read the bundled font"
    qapp.setFont(tabular(QtGui.QFont(family, 10)))
    return qapp


# Folders whose tests open files, and are about something else.
READ_HERE = {
    "cli", "compare_page", "complaints_page", "fit", "overlay", "release_page", "remedies",
    "reports", "road", "samples", "session", "shell", "signoff",
}  # fmt: skip


@pytest.fixture
def reading_process() -> None:
    """For a test in one of `READ_HERE` that reads as a user does: in a process for each file."""


@pytest.fixture(autouse=True)
def reading_here(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Read without a process for each file, whose start takes most of the time."""
    if request.path.parent.name in READ_HERE and "reading_process" not in request.fixturenames:
        from tests.reading_here import read_here

        read_here(monkeypatch)


@pytest.fixture(autouse=True)
def no_thread_left_behind() -> Iterator[None]:
    """Fail a test that leaves a worker running: it would go on into the next test.

    Daemon threads count too. Threads that Python only knows because Qt or a C library called into
    it ("Dummy") do not: Python cannot tell whether they still run.
    """
    before = set(threading.enumerate())
    yield
    core = sys.modules.get("PySide6.QtCore")
    if core is not None and core.QCoreApplication.instance() is not None:
        assert core.QThreadPool.globalInstance().waitForDone(5000), "a pool job is still running"
    end = time.monotonic() + 30  # a disk that is busy elsewhere may hold an fsync for seconds
    while left := [thread for thread in threading.enumerate() if _is_new(thread, before)]:
        if time.monotonic() > end:
            pytest.fail(f"threads left running: {', '.join(thread.name for thread in left)}")
        time.sleep(0.01)


def _is_new(thread: threading.Thread, before: set[threading.Thread]) -> bool:
    return thread not in before and not isinstance(thread, threading._DummyThread)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep tests for real windows away from the offscreen platform, where OpenGL aborts."""
    if os.environ["QT_QPA_PLATFORM"] != "offscreen":
        return
    skip = pytest.mark.skip(reason="needs a real window; `tests/run.py` runs it in one")
    for item in items:
        if item.get_closest_marker("gl") or item.get_closest_marker("window"):
            item.add_marker(skip)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Pass over files without a mark where only marked tests are asked for.

    Importing them all would take longer than the tests in real windows do.
    """
    chosen = Expression.compile(config.option.markexpr or "")
    if collection_path.suffix != ".py" or chosen.evaluate(lambda _name, **_kwargs: False):
        return None
    return None if _MARK.search(collection_path.read_text("utf-8")) else True


def pytest_collection_finish() -> None:
    """Spare every later collection of garbage what stays to the end: tests and strategies."""
    settle_garbage()


def pytest_unconfigure() -> None:
    """Remove the run's folder, if this process made it."""
    if _own_folder is not None:
        _own_folder.cleanup()
