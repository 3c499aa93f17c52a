"""A real main window on copies of the sample sets, with prompts that a test answers."""

from __future__ import annotations

import gc
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QEvent
from PySide6.QtWidgets import QApplication

from app.shell.settings import Settings
from app.shell.window import MainWindow
from calib_model.session.files import document_of
from calib_model.store import read_set_here
from calib_model.store.source import Stamp
from tests.collecting import settle_garbage
from tests.waiting import settled

ROOT = Path(__file__).resolve().parents[2]


class Answers:
    """Answers prompts in place of a user, and keeps what was asked."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.to_open: list[Path] = []
        self.save_to: Path | None = None
        self.export_to: Path | None = None
        self.first = "cancel"
        self.sure = False

    def open_paths(self, _folder: Path) -> list[Path]:
        self.asked.append("open")
        return self.to_open

    def save_path(self, proposed: Path) -> Path | None:
        self.asked.append(f"save as {proposed.name}")
        return self.save_to

    def export_path(self, proposed: Path) -> Path | None:
        self.asked.append(f"export {proposed.name}")
        return self.export_to

    def save_first(self, title: str, edits: int) -> str:
        self.asked.append(f"{title}: {edits}")
        return self.first

    def confirm(self, question: str, _details: str, _yes: str) -> bool:
        self.asked.append(question)
        return self.sure


@pytest.fixture
def answers() -> Answers:
    """What the user says."""
    return Answers()


@pytest.fixture
def samples(tmp_path: Path) -> dict[str, Path]:
    """Copies of the sample sets, by short name."""
    folder = tmp_path / "sets"
    folder.mkdir()
    found = {}
    for name in ("normal", "low_grip", "practice"):
        found[name] = Path(shutil.copy(ROOT / "sample_sets" / f"larch_{name}.h5", folder))
    return found


@pytest.fixture
def window(qtbot, answers: Answers) -> Iterator[MainWindow]:  # type: ignore[no-untyped-def]
    """The window, with every part, no set open."""
    settle_garbage()
    made = MainWindow(Settings())
    made.files.prompts = answers  # type: ignore[assignment]
    # Not given to qtbot, which would close and delete it before its work has ended.
    made.build_tune()
    made.show()
    qtbot.waitExposed(made)
    yield made
    made.jobs.finish()
    made.files.let_go()
    made.recovery.leave()
    made.close()
    made.deleteLater()
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    gc.collect()


@pytest.fixture
def opened(window: MainWindow, samples: dict[str, Path], qtbot) -> MainWindow:  # type: ignore[no-untyped-def]
    """The window with the practice set (current) and the normal set."""
    window.settings.author = "Ada"
    for path in (samples["practice"], samples["normal"]):
        # In this process, which saves a second per test; other tests open as a user does.
        stored = read_set_here(path.read_bytes(), path, Stamp.of(path.stat()))
        window.files.take_in(document_of(stored, path, "Ada"))
        window.settings.add_recent(path)
    settle(qtbot, window)
    assert len(window.desk.documents) == 2, [
        b.label.text() for b in window.banners.banners.values()
    ]
    return window


def settle(qtbot, window: MainWindow, until: Callable[[], bool] | None = None) -> None:  # type: ignore[no-untyped-def]
    """Wait for the background work, and for what comes of it."""
    qtbot.waitUntil(lambda: not window.jobs.running and (until is None or until()), timeout=15_000)
    settled(qtbot, window)


@pytest.fixture
def wait(qtbot, window: MainWindow):  # type: ignore[no-untyped-def]
    """`settle` for this test's window."""
    return lambda until=None: settle(qtbot, window, until)
