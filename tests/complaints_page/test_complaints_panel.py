"""The part Complaints, driven by keys: raise, answer, prove, drop, and the way to the cells."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QAbstractItemModelTester

from app.desk import Desk
from app.road.complaints.panel import ComplaintsPanel
from app.road.complaints.papers import Paper
from app.road.needs import ShownMoment
from calib_model.core.record import Standing
from calib_model.editing.change import values_change
from calib_model.session.document import Document
from tests.signoff.making import small_set

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


def test_a_complaint_by_keys_from_raised_to_proved(qtbot, panel: ComplaintsPanel) -> None:  # type: ignore[no-untyped-def]
    assert panel.left.currentWidget() is panel.empty
    assert "raise" in panel.empty.text()
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
    qtbot.keyClicks(panel.prove_form.note, "gone")
    qtbot.keyClick(panel.prove_form.note, K.Key_Return)
    proved = document.content.record.complaints[0]
    assert (proved.standing, proved.proof_recording, proved.proof_sha256) == (
        Standing.PROVED,
        "second.csv",
        "bb",
    )
    assert "proved by second.csv: gone" in panel.details.toPlainText()
    document.undo()
    assert panel.chosen is not None
    assert panel.chosen.standing is Standing.ANSWERED


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
    assert panel.buttons["drop"].text().startswith("Take up")
    qtbot.keyClick(panel.view, K.Key_D)
    assert panel.chosen.standing is Standing.OPEN
    qtbot.keyClick(panel.view, K.Key_Delete)
    assert panel.rows.rowCount() == 1


def test_a_refusal_is_said_in_the_form_and_esc_goes_back(qtbot, panel: ComplaintsPanel) -> None:  # type: ignore[no-untyped-def]
    qtbot.keyClick(panel.buttons["new"], K.Key_N)
    qtbot.keyClick(panel.raise_form.note, K.Key_Return)
    assert "empty" in panel.raise_form.answer.text()
    qtbot.keyClick(panel.raise_form.note, K.Key_Escape)
    assert panel.form is None
    _complain(qtbot, panel, "hums")
    qtbot.keyClick(panel.view, K.Key_P)
    panel.prove_form.recording.show_path("nowhere/at all.csv")
    qtbot.keyClick(panel.prove_form.note, K.Key_Return)
    assert "Cannot be read" in panel.prove_form.answer.text()
    panel.prove_form.at.setText("2 min")
    qtbot.keyClick(panel.prove_form.note, K.Key_Return)
    assert "no time" in panel.prove_form.answer.text()


def test_the_papers_are_written(panel: ComplaintsPanel, qtbot, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    _complain(qtbot, panel, "front spins")
    panel.write(Paper.DAY, tmp_path / "day.html")
    assert "front spins" in (tmp_path / "day.html").read_text(encoding="utf-8")
    panel.write(Paper.CHANGES, tmp_path / "note.html")
    assert "change note" in (tmp_path / "note.html").read_text(encoding="utf-8")
