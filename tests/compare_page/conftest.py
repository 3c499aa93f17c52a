"""The page Compare on a desk of its own, with real jobs, on the sample sets or on small ones."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from app.compare.page import ComparePage
from app.desk import Desk
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.session.document import Document
from calib_model.store import open_file
from tests.waiting import settled

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


@pytest.fixture(scope="session")
def sample_sets() -> dict[str, CalibrationSet]:
    """The normal and the low-grip set; immutable, so one reading serves all tests."""
    return {
        name: open_file(SAMPLES / f"larch_{name}.h5").result().set
        for name in ("normal", "low_grip")
    }


class Bench:
    """A page with what stands around it.

    Attributes
    ----------
    page : ComparePage
    desk : Desk
    told : list of str
        Messages of the status line.
    """

    def __init__(self, qtbot, *documents: Document) -> None:  # type: ignore[no-untyped-def]
        self._qtbot = qtbot
        self.desk = Desk()
        self.told: list[str] = []
        self.desk.told.connect(lambda text, _refused: self.told.append(text))
        for document in documents:
            self.desk.add(document)
        if len(documents) > 1:
            self.desk.set_current(documents[1])  # B in what follows
            self.desk.set_reference(documents[0])  # A
        self.jobs = Jobs()
        self.page = ComparePage(self.desk, self.jobs)
        qtbot.addWidget(self.page)
        self.page.resize(1300, 680)
        self.page.show()
        self.settle()

    def settle(self) -> None:
        """Wait for the background work and what comes of it."""
        self._qtbot.waitUntil(
            lambda: not self.jobs.running and not self.page.comparing.busy, timeout=15_000
        )
        settled(self._qtbot, self.page)

    def swap(self) -> None:
        """Exchange the set being edited and its reference, as the window's action does."""
        current, reference = self.desk.current, self.desk.reference
        self.desk.set_current(reference)
        self.desk.set_reference(current)
        self.settle()

    def end(self) -> None:
        """Let every job come to its end."""
        self.page.hide()
        self.jobs.finish()


Make = Callable[..., Bench]


@pytest.fixture
def make(qtbot) -> Iterator[Make]:  # type: ignore[no-untyped-def]
    """Return a function that makes a bench from documents or sets."""
    made: list[Bench] = []

    def bench(*given: Document | CalibrationSet) -> Bench:
        documents = [g if isinstance(g, Document) else Document(g) for g in given]
        made.append(Bench(qtbot, *documents))
        return made[-1]

    yield bench
    for one in made:
        one.end()


@pytest.fixture
def larch(make: Make, sample_sets: dict[str, CalibrationSet]) -> Bench:
    """The normal set as A, the low-grip set as B."""
    return make(
        Document(sample_sets["normal"], SAMPLES / "larch_normal.h5", author="Ada"),
        Document(sample_sets["low_grip"], SAMPLES / "larch_low_grip.h5", author="Ada"),
    )
