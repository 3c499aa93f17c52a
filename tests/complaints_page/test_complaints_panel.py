"""The part Complaints, driven by keys: raise, answer, prove, drop, and the way to the cells."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QAbstractItemModelTester

from app.desk import Desk
from app.proving import RunFile
from app.road.complaints.panel import ComplaintsPanel
from app.road.complaints.papers import Paper
from app.road.needs import ShownMoment
from app.work.jobs import Jobs
from calib_model.core.record import Standing
from calib_model.editing.change import values_change
from calib_model.evidence.reading import read_recording
from calib_model.session.document import Document
from calib_model.session.files import open_document
from tests.signoff.making import small_set

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
K = Qt.Key


class Memory:
    """Remembers in a dictionary."""

    author = "Ada"

    def __init__(self) -> None:
        self.kept: dict[str, str] = {}

    def remembered(self, key: str) -> str:
        return self.kept.get(key, "")

    def remember(self, key: str, text: str) -> None:
        self.kept[key] = text


@pytest.fixture
def panel(qtbot) -> Iterator[ComplaintsPanel]:  # type: ignore[no-untyped-def]
    desk = Desk()
    desk.add(Document(small_set(), author="Ada"))
    made = ComplaintsPanel(desk, None, Memory())  # type: ignore[arg-type]
    qtbot.addWidget(made)
    made.resize(1000, 600)
    with qtbot.waitExposed(made):
        made.show()
    return made


def _complain(qtbot, panel: ComplaintsPanel, note: str, sha256: str = "aa") -> None:  # type: ignore[no-untyped-def]
    panel.raise_at("round.csv", sha256, 83.4, ["brake", "gone"])
    qtbot.keyClicks(panel.raise_form.note, note)
    qtbot.keyClick(panel.raise_form.note, K.Key_Return)


def test_a_complaint_by_keys_from_raised_to_answered(qtbot, panel: ComplaintsPanel) -> None:  # type: ignore[no-untyped-def]
    assert panel.left.currentWidget() is panel.empty
    assert "raise" in panel.empty.text()
    assert not panel.details.isVisible(), "there is none to show in full"
    _complain(qtbot, panel, "front spins")
    document = panel.desk.current
    assert document is not None
    (made,) = document.content.record.complaints
    assert (made.number, made.note, made.by, made.moment) == ("C-1", "front spins", "Ada", 83.4)
    assert made.tables == ("brake",), "a table that the set does not have is left out"
    assert panel.view.hasFocus()

    document.do(values_change(document.content["brake"], [0.0, 1.0, 7.0], "Raise the end"))
    document.give_reason("spins")
    qtbot.keyClick(panel.view, K.Key_A)
    assert panel.answer_form.change.currentText().endswith("Raise the end")
    assert panel.answer_form.text.text() == "Raise the end: spins"
    qtbot.keyClick(panel.answer_form.text, K.Key_Return)
    assert document.content.record.complaints[0].standing is Standing.ANSWERED

    panel.shown_moment = lambda: ShownMoment("second.csv", "bb", 12.34)
    qtbot.keyClick(panel.view, K.Key_P)
    assert panel.prove_form.at.text() == "12.3"


@pytest.mark.usefixtures("reading_process")
def test_only_a_run_of_the_very_set_proves(qtbot, panel: ComplaintsPanel, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    document = open_document(shutil.copy(SAMPLES / "larch_normal.h5", tmp_path / "a.h5"), "Ada")
    panel.jobs = Jobs(panel)
    panel.desk.add(document)
    panel.desk.set_current(document)
    panel.raise_at("round.csv", "aa", 83.4, ["pre_engage_torque"])
    qtbot.keyClicks(panel.raise_form.note, "front spins")
    qtbot.keyClick(panel.raise_form.note, K.Key_Return)
    qtbot.keyClick(panel.view, K.Key_A)
    qtbot.keyClicks(panel.answer_form.text, "raised")
    qtbot.keyClick(panel.answer_form.text, K.Key_Return)
    form = panel.prove_form

    def prove(path: Path, at: str = "") -> None:
        qtbot.keyClick(panel.view, K.Key_P)
        form.recording.show_path(path)
        form.at.setText(at)
        form.note.setText("gone")
        qtbot.keyClick(form.note, K.Key_Return)
        qtbot.waitUntil(lambda: not form.busy, timeout=120_000)

    junk = tmp_path / "junk.csv"
    junk.write_text("a,b\n1,2\n3,4\n")
    shipped = SAMPLES / "larch_snow_round.csv"
    for path, at in ((junk, ""), (shipped, "99999")):
        prove(path, at)
        assert "is not a proof, because" in form.answer.text()
        assert panel.chosen is not None
        assert panel.chosen.standing is Standing.ANSWERED
        qtbot.keyClick(form.note, K.Key_Escape)
    # A recording that is open is read as it was read there.
    shown = read_recording(shipped)
    panel.shown_moment = lambda: ShownMoment(shown.name, shown.sha256, 10.0)
    panel.run_wanted = lambda sha256: RunFile(shipped) if sha256 == shown.sha256 else None
    prove(Path(shown.name))
    (proved,) = document.content.record.complaints
    assert (proved.standing, proved.proof_sha256) == (Standing.PROVED, shown.sha256)
    assert "proved by larch_snow_round.csv: gone" in panel.details.toPlainText()
    document.undo()
    assert panel.chosen is not None
    assert panel.chosen.standing is Standing.ANSWERED
    panel.jobs.finish()


def test_from_the_list_to_the_moment_and_to_the_deciding_table(
    qtbot, panel: ComplaintsPanel
) -> None:  # type: ignore[no-untyped-def]
    _complain(qtbot, panel, "front spins")
    with qtbot.waitSignal(panel.moment_wanted) as wanted:
        qtbot.keyClick(panel.view, K.Key_Return)
    assert wanted.args == ["aa", 83.4]
    panel.desk.open_table("base")
    with qtbot.waitSignal(panel.jumped):
        qtbot.keyClick(panel.view, K.Key_T)
    assert panel.desk.table is not None
    assert panel.desk.table.id == "brake"
    told: list[tuple[str, bool]] = []
    panel.desk.told.connect(lambda text, refused: told.append((text, refused)))
    qtbot.keyClick(panel.view, K.Key_2)
    assert told[-1] == ("C-1 names 1 table.", True)


def test_open_ones_stand_first_and_the_chosen_one_stays_chosen(
    qtbot, panel: ComplaintsPanel
) -> None:  # type: ignore[no-untyped-def]
    QAbstractItemModelTester(panel.rows, QAbstractItemModelTester.FailureReportingMode.Fatal)
    _complain(qtbot, panel, "first")
    _complain(qtbot, panel, "second")
    assert [panel.rows.line(n).title for n in (0, 1)] == ["C-2", "C-1"]
    assert panel.chosen is not None
    assert panel.chosen.number == "C-2", "the newest is chosen once it is raised"
    qtbot.keyClick(panel.view, K.Key_D)
    qtbot.keyClicks(panel.drop_form.reason, "worn tyres")
    qtbot.keyClick(panel.drop_form.reason, K.Key_Return)
    assert [panel.rows.line(n).title for n in (0, 1)] == ["C-1", "C-2"]
    assert panel.chosen.number == "C-2", "it stays chosen, wherever it goes"
    assert panel.steps["drop"].text() == "Take &up again (D)"
    qtbot.keyClick(panel.view, K.Key_D)
    assert panel.chosen.standing is Standing.OPEN
    qtbot.keyClick(panel.view, K.Key_Delete)
    assert panel.rows.rowCount() == 1


def test_a_refusal_is_said_in_the_form_and_esc_goes_back(qtbot, panel: ComplaintsPanel) -> None:  # type: ignore[no-untyped-def]
    qtbot.keyClick(panel.empty.buttons[0], K.Key_N)
    qtbot.keyClick(panel.raise_form.note, K.Key_Return)
    assert "empty" in panel.raise_form.answer.text()
    qtbot.keyClick(panel.raise_form.note, K.Key_Escape)
    assert panel.form is None
    _complain(qtbot, panel, "hums")
    qtbot.keyClick(panel.view, K.Key_P)
    panel.prove_form.recording.show_path("nowhere/at all.csv")
    qtbot.keyClick(panel.prove_form.note, K.Key_Return)
    assert "Answer it by a change first" in panel.prove_form.answer.text()
    qtbot.keyClick(panel.prove_form.note, K.Key_Escape)
    qtbot.keyClick(panel.view, K.Key_A)
    qtbot.keyClicks(panel.answer_form.text, "raised")
    qtbot.keyClick(panel.answer_form.text, K.Key_Return)
    qtbot.keyClick(panel.view, K.Key_P)
    qtbot.keyClick(panel.prove_form.note, K.Key_Return)
    assert "A proof needs a recording" in panel.prove_form.answer.text()
    panel.prove_form.recording.show_path("nowhere/at all.csv")
    panel.prove_form.at.setText("2 min")
    qtbot.keyClick(panel.prove_form.note, K.Key_Return)
    assert "no time" in panel.prove_form.answer.text()


def test_the_papers_are_written(panel: ComplaintsPanel, qtbot, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    _complain(qtbot, panel, "front spins")
    panel.write(Paper.DAY, tmp_path / "day.html")
    assert "front spins" in (tmp_path / "day.html").read_text(encoding="utf-8")
    panel.write(Paper.CHANGES, tmp_path / "note.html")
    assert "change note" in (tmp_path / "note.html").read_text(encoding="utf-8")
