"""A real main window on copies of the sample sets, and two people with keys on a list."""

from __future__ import annotations

import gc
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from PySide6.QtCore import QEvent, QItemSelectionModel
from PySide6.QtWidgets import QApplication

from app.desk import Desk
from app.release.lines import Line
from app.release.page import ReleasePage
from app.shell.settings import Settings
from app.shell.window import MainWindow
from app.work.jobs import Jobs
from calib_model import open_set, save_set
from calib_model.core.calibration_set import CalibrationSet
from calib_model.session.document import Document
from calib_model.session.files import document_of
from calib_model.store import read_set_here
from calib_model.store.source import Stamp
from tests.collecting import settle_garbage
from tests.quick_keys import make_quick_key, signer_line
from tests.samples.sound import write_kept_promises
from tests.waiting import settled

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
PASSPHRASE = "four words in snow"
AUTHOR, REVIEWER = "calibrator B", "reviewer B"


@pytest.fixture(scope="session")
def made_sets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the low-grip set that keeps its promises, and a practice set on its own."""
    folder = tmp_path_factory.mktemp("made")
    write_kept_promises(folder / "larch_low_grip.h5")
    path = Path(shutil.copy(SAMPLES / "larch_practice.h5", folder))
    practice = open_set(path)
    free = {id: replace(table, relations={}) for id, table in practice.tables.items()}
    save_set(practice.replaced(free), path, author="calibrator C", reason="on its own")
    return folder


@pytest.fixture
def samples(tmp_path: Path, made_sets: Path) -> dict[str, Path]:
    """Copies of sample sets, by short name.

    The low-grip set keeps its promises, so that the normal set can be signed off beside it; the
    practice set lies in a folder of its own and promises nothing to other modes.
    """
    folder, alone = tmp_path / "sets", tmp_path / "practice"
    folder.mkdir()
    alone.mkdir()
    for name in ("larch.toml", "allowed_signers"):
        shutil.copy(SAMPLES / name, folder)
    found = {
        n: Path(shutil.copy(SAMPLES / f"larch_{n}.h5", folder))
        for n in ("normal", "towing", "normal_signed")
    }
    found["low_grip"] = Path(shutil.copy(made_sets / "larch_low_grip.h5", folder))
    found["practice"] = Path(shutil.copy(made_sets / "larch_practice.h5", alone))
    return found


@dataclass(frozen=True)
class People:
    """Two people's key files, and the list that names both."""

    author: Path
    reviewer: Path
    signers: Path


@pytest.fixture(scope="session")
def people(tmp_path_factory: pytest.TempPathFactory) -> People:
    """Author and reviewer."""
    folder = tmp_path_factory.mktemp("keys")
    lines = []
    for name in (AUTHOR, REVIEWER):
        public = make_quick_key(folder / name.split()[0], PASSPHRASE, name)
        lines.append(signer_line(name, public) + "\n")
    (folder / "signers").write_text("".join(lines), encoding="utf-8")
    return People(folder / "calibrator", folder / "reviewer", folder / "signers")


@pytest.fixture
def window(qtbot) -> Iterator[MainWindow]:  # type: ignore[no-untyped-def]
    """The window, with every part, no set open."""
    settle_garbage()
    made = MainWindow(Settings())
    made.settings.author = AUTHOR
    made.build_tune()
    made.resize(1366, 740)
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


def settle(qtbot, window: MainWindow, until: Callable[[], bool] | None = None) -> None:  # type: ignore[no-untyped-def]
    """Wait for the background work, and for what comes of it."""

    def still() -> bool:
        release = window.areas.made("release")
        busy = release is not None and window.area == "release" and release.standings.busy
        return not window.jobs.running and not busy and (until is None or until())

    qtbot.waitUntil(still, timeout=20_000)
    settled(qtbot, window)


@pytest.fixture
def wait(qtbot, window: MainWindow):  # type: ignore[no-untyped-def]
    """`settle` for this test's window."""
    return lambda until=None: settle(qtbot, window, until)


@pytest.fixture
def opened(window: MainWindow, samples: dict[str, Path], wait):  # type: ignore[no-untyped-def]
    """Return a function that opens sample sets by name and shows Release; gives its page."""

    def open_sets(*names: str) -> ReleasePage:
        for name in names:
            path = samples[name]
            stored = read_set_here(path.read_bytes(), path, Stamp.of(path.stat()))
            window.files.take_in(document_of(stored, path, AUTHOR))
        window.show_area("release")
        wait()
        return window.areas.page("release")  # type: ignore[no-any-return]

    return open_sets


@dataclass
class Bench:
    """The page alone, with the desk and jobs of a window."""

    desk: Desk
    jobs: Jobs
    page: ReleasePage
    settings: Settings
    told: list[tuple[str, bool]]
    saved: list[Document]

    def lines(self) -> list[Line]:
        """The lines that are shown."""
        rows = self.page.list.rows
        return [line for n in range(rows.rowCount()) if (line := rows.line(n)) is not None]

    def choose(self, *tables: str, kind: str = "") -> None:
        """Choose the lines of some tables."""
        view = self.page.list.view
        view.clearSelection()
        flags = QItemSelectionModel.SelectionFlag
        places = self.page.list.rows.places()
        for line in self.lines():
            if line.table in tables and (not kind or line.kind == kind):
                index = self.page.list.rows.index(places[line.key])
                view.selectionModel().setCurrentIndex(index, flags.Select)

    @property
    def content(self) -> CalibrationSet:
        """The set as it is now."""
        assert self.desk.current is not None
        return self.desk.current.content


@pytest.fixture
def bench(qtbot) -> Iterator[Bench]:  # type: ignore[no-untyped-def]
    """The page without a set."""
    settle_garbage()
    desk, settings = Desk(), Settings()
    settings.author = AUTHOR
    jobs = Jobs()
    page = ReleasePage(desk, jobs, settings)
    made = Bench(desk, jobs, page, settings, [], [])
    desk.told.connect(lambda text, refused: made.told.append((text, refused)))
    page.save_wanted.connect(made.saved.append)
    page.resize(1266, 640)
    page.show()
    qtbot.waitExposed(page)
    yield made
    jobs.finish()
    page.close()
    page.deleteLater()
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    gc.collect()


@pytest.fixture
def quiet(qtbot, bench: Bench):  # type: ignore[no-untyped-def]
    """Return a function that waits for the page's work to end."""

    def wait() -> None:
        qtbot.waitUntil(
            lambda: not bench.jobs.running and not bench.page.standings.busy, timeout=15_000
        )
        settled(qtbot, bench.page)

    return wait


@pytest.fixture
def with_set(bench: Bench, samples: dict[str, Path], quiet):  # type: ignore[no-untyped-def]
    """Return a function that opens sample sets by name; the first is the one to edit."""

    def open_sets(*names: str) -> Bench:
        for name in names:
            path = samples[name]
            stored = read_set_here(path.read_bytes(), path, Stamp.of(path.stat()))
            bench.desk.add(document_of(stored, path, AUTHOR))
        quiet()
        return bench

    return open_sets


@pytest.fixture
def signers_of_set(samples: dict[str, Path]) -> Path:
    """The demo list of allowed signers."""
    return samples["normal"].with_name("allowed_signers")
