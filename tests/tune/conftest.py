"""A desk on the practice set, checked, for the tests of the work area Tune."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.desk import Desk
from calib_model.core.calibration_set import CalibrationSet
from calib_model.rules.check import Checker
from calib_model.session.document import Document
from calib_model.store import open_file

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


@pytest.fixture(scope="session")
def practice() -> CalibrationSet:
    """The practice set; immutable, so one reading serves all tests."""
    return open_file(SAMPLES / "larch_practice.h5").result().set


@pytest.fixture
def practice_desk(qapp: object, practice: CalibrationSet) -> Desk:
    """A desk whose findings follow every edit, as the window's service makes them."""
    desk = Desk()
    document = Document(practice, SAMPLES / "larch_practice.h5", author="calibrator A")
    checker = Checker(document.content)

    def on_edit(event: object) -> None:
        desk.report = checker.update(document.content, event.tables)  # type: ignore[attr-defined]
        desk.findings_changed.emit()

    desk.edited.connect(on_edit)
    desk.add(document)
    desk.report = checker.report
    desk.findings_changed.emit()
    return desk
