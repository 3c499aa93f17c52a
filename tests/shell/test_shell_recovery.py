"""After a process that ended without saving: which file, when, how many edits; open, compare or
discard; the file itself is never written to."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from app.shell.window import MainWindow
from calib_model.editing.change import values_change
from calib_model.session.files import open_document, save_document
from calib_model.store.journal_file import line_of, read_journal
from calib_model.store.places import ABOUT, JOURNAL, recovery_root

CRASH = """
import os, sys
import numpy as np
from pathlib import Path
from calib_model.editing.change import values_change
from calib_model.session.files import open_document
from calib_model.session.recovery import start_journal
document = open_document(Path(sys.argv[1]), "Ada")
start_journal(document)
for number in range(3):
    table = document.content["pre_engage_torque"]
    values = np.array(table.values)
    values[0, 5] += 0.5
    document.do(values_change(table, values, f"Edit {number + 1}"))
document.give_reason("half way through")
os._exit(9)
"""


@pytest.fixture
def crashed(samples: dict[str, Path]) -> Path:
    """A set whose editing process ended without a word, with three edits."""
    path = samples["practice"]
    root = Path(__file__).resolve().parents[2]
    ended = subprocess.run([sys.executable, "-c", CRASH, str(path)], cwd=root, check=False)
    assert ended.returncode == 9
    return path


def test_nothing_is_said_when_nothing_was_left(window: MainWindow, wait) -> None:
    window.recovery.look()
    wait()
    assert window.banners.banners == {}
    window.book.actions["file.recovery"].trigger()
    wait()
    assert "no unsaved edits" in window.status.currentMessage()


@pytest.mark.usefixtures("reading_process")
def test_left_edits_are_offered_and_opened(window: MainWindow, crashed: Path, wait) -> None:
    before = crashed.read_bytes()
    window.recovery.look()
    wait()
    text = window.banners.banners["recovery"].label.text()
    assert "larch_practice.h5" in text
    assert "4 edits" in text or "3 edits" in text
    window.banners.banners["recovery"].buttons["Show…"].click()
    dialog = window.recovery.dialog
    assert dialog is not None
    assert dialog.table.item(0, 0).text() == "larch_practice.h5"
    assert dialog.table.item(0, 3).text() == "The file is as it was when the edits began."
    dialog.compare_button.click()
    wait()
    said = dialog.details.toPlainText()
    assert "1 table differs from the file as it is now" in said
    assert "Pre-engage torque at Ambient temperature -40 °C, Accelerator pedal 30 %" in said
    dialog.open_button.click()
    wait(lambda: len(window.desk.documents) == 1)
    document = window.desk.current
    assert window.recovery.dialog is None
    assert [c.title for c in document.pending] == ["Edit 1", "Edit 2", "Edit 3"]
    assert document.pending[-1].reason == "half way through"
    assert document.is_modified
    assert crashed.read_bytes() == before
    saved = open_document(crashed).content["pre_engage_torque"].values[0, 5]
    assert document.content["pre_engage_torque"].values[0, 5] == saved + 1.5
    window.editing.undo()
    assert document.content["pre_engage_torque"].values[0, 5] == saved + 1.0
    window.files.save()
    wait(lambda: not document.is_modified)
    assert open_document(crashed).content == document.content


@pytest.mark.parametrize("line_too", [False, True], ids=["note", "note and first line"])
def test_after_a_power_cut_edits_are_offered_without_the_note_of_their_file(
    window: MainWindow, crashed: Path, wait, line_too: bool
) -> None:
    """A version before wrote no note into the journal; then the file's name is not known."""
    (folder,) = recovery_root().iterdir()
    (folder / ABOUT).write_bytes(b"")
    if line_too:
        records = read_journal(folder / JOURNAL).records
        del records[0]["about"]
        (folder / JOURNAL).write_bytes(b"".join(map(line_of, records)))
    window.recovery.look()
    wait()
    name = "a set whose file is not known" if line_too else "larch_practice.h5"
    assert name in window.banners.banners["recovery"].label.text()
    window.banners.banners["recovery"].buttons["Show…"].click()
    dialog = window.recovery.dialog
    assert dialog is not None
    assert dialog.table.item(0, 0).text() == name
    if line_too:
        assert "is not known any more" in dialog.table.item(0, 3).text()
        assert "File: not known" in dialog.details.toPlainText()
    dialog.open_button.click()
    wait(lambda: len(window.desk.documents) == 1)
    document = window.desk.current
    assert [c.title for c in document.pending] == ["Edit 1", "Edit 2", "Edit 3"]
    assert document.path == (None if line_too else crashed)


def test_later_means_the_next_start(window: MainWindow, crashed: Path, wait) -> None:
    window.recovery.look()
    wait()
    window.banners.banners["recovery"].buttons["Later"].click()
    assert window.banners.banners == {}
    window.recovery.look()
    wait()
    assert "recovery" in window.banners.banners


def test_discarding_asks_and_leaves_the_file(
    window: MainWindow, answers, crashed: Path, wait
) -> None:
    before = crashed.read_bytes()
    window.recovery.show()
    wait(lambda: window.recovery.dialog is not None)
    window.recovery.dialog.discard_button.click()
    assert len(window.recovery.leftovers) == 1
    answers.sure = True
    window.recovery.dialog.discard_button.click()
    assert window.recovery.leftovers == []
    assert crashed.read_bytes() == before
    window.recovery.look()
    wait()
    assert window.banners.banners == {}


def test_what_another_program_saved_meanwhile_is_not_replaced(
    window: MainWindow, crashed: Path, wait
) -> None:
    other = open_document(crashed)
    table = other.content["reconnect_speed"]
    other.do(values_change(table, np.array(table.values) + 1, "Theirs"))
    save_document(other)
    window.recovery.show()
    wait(lambda: window.recovery.dialog is not None)
    dialog = window.recovery.dialog
    assert dialog.table.item(0, 3).text() == "Another program wrote to the file since."
    dialog.open_button.click()
    wait(lambda: len(window.desk.documents) == 1)
    window.files.save()
    wait(lambda: any("outside" in key for key in window.banners.banners))
    assert open_document(crashed).content == other.content
    assert window.desk.current.is_modified


def test_the_crash_dialog_says_where_unsaved_edits_are(opened: MainWindow, tmp_path: Path) -> None:
    assert opened.recovery.where() == "There are no unsaved edits."
    table = opened.desk.current.content["reconnect_speed"]
    opened.desk.do(values_change(table, np.array(table.values) + 1, "Add 1"))
    where = opened.recovery.where()
    assert "larch_practice.h5: " in where
    folder = Path(where.split("larch_practice.h5: ")[1].rstrip("."))
    assert folder.is_dir()


def test_a_recovered_set_keeps_the_reference(
    opened: MainWindow, samples: dict[str, Path], wait
) -> None:
    normal = opened.files.document_at(samples["normal"])
    assert opened.desk.reference is normal
    root = Path(__file__).resolve().parents[2]
    opened.files.close(normal)
    subprocess.run(
        [sys.executable, "-c", CRASH, str(samples["normal"])], cwd=root, check=False, timeout=60
    )
    opened.recovery.look()
    wait()
    opened.recovery.show()
    wait()
    opened.recovery.dialog.open_button.click()
    wait(lambda: len(opened.desk.documents) == 2)
    recovered = opened.files.document_at(samples["normal"])
    assert opened.desk.current is recovered
    assert opened.desk.reference is not recovered
