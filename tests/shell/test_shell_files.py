"""Opening, saving, closing, dropping and watching files in a real window."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QMessageBox

from app.cli import export
from app.shell import files
from app.shell.prompts import Prompts
from app.shell.window import MainWindow
from calib_model.editing.change import values_change
from calib_model.session.document import Document
from calib_model.session.files import open_document, save_document


def edit(window: MainWindow, add: float = 1.0) -> None:
    table = window.desk.current.content["pre_engage_torque"]  # type: ignore[union-attr]
    values = np.array(table.values)
    values[0, 5] += add
    assert window.desk.do(values_change(table, values, f"Add {add:g} to 1 cell"))


def banner(window: MainWindow, part: str) -> str:
    return next((b.label.text() for b in window.banners.banners.values() if part in b.key), "")


def press(window: MainWindow, part: str, button: str) -> None:
    found = next(b for b in window.banners.banners.values() if part in b.key)
    found.buttons[button].click()


def titles(window: MainWindow) -> list[str]:
    return [d.title for d in window.desk.documents]


def test_the_first_named_is_edited_and_the_base_is_the_reference(
    window: MainWindow, samples: dict[str, Path], wait
) -> None:
    window.files.open([samples["low_grip"], samples["practice"], samples["normal"]])
    wait(lambda: len(window.desk.documents) == 3)
    assert titles(window) == ["larch_low_grip.h5", "larch_practice.h5", "larch_normal.h5"]
    assert window.desk.current.title == "larch_low_grip.h5"
    assert window.desk.reference is not None
    assert window.desk.reference.content.is_base
    window.refresh()
    assert window.windowTitle().startswith("larch_low_grip.h5[*]")
    assert [p.name for p in window.settings.recent][-1] in titles(window)
    assert len(window.settings.recent) == 3


def test_opening_an_open_file_again_goes_to_it(opened: MainWindow, samples, wait) -> None:
    opened.files.open([samples["normal"]])
    wait()
    assert len(opened.desk.documents) == 2
    assert opened.desk.current.title == "larch_normal.h5"


@pytest.mark.usefixtures("reading_process")
def test_files_can_be_dropped(window: MainWindow, samples, wait) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(samples["normal"]))])
    copy, button = Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton
    keys = Qt.KeyboardModifier.NoModifier
    enter = QDragEnterEvent(QPoint(300, 300), copy, data, button, keys)
    QApplication.sendEvent(window, enter)
    assert enter.isAccepted()
    drop = QDropEvent(QPointF(300, 300), copy, data, button, keys)
    QApplication.sendEvent(window, drop)
    wait(lambda: titles(window) == ["larch_normal.h5"])


def test_text_cannot_be_dropped(window: MainWindow) -> None:
    data = QMimeData()
    data.setText("42")
    enter = QDragEnterEvent(
        QPoint(300, 300),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    QApplication.sendEvent(window, enter)
    assert not enter.isAccepted()


def test_the_open_dialog_can_give_several(window: MainWindow, answers, samples, wait) -> None:
    answers.to_open = [samples["normal"], samples["low_grip"]]
    window.book.actions["file.open"].trigger()
    wait(lambda: len(window.desk.documents) == 2)


@pytest.mark.usefixtures("reading_process")
def test_the_practice_set_opens(window: MainWindow, wait) -> None:
    window.book.actions["file.open_practice"].trigger()
    wait(lambda: titles(window) == ["larch_practice.h5"])


@pytest.mark.usefixtures("reading_process")
@pytest.mark.parametrize("content", [b"", b"not a set", b"\x89HDF\r\n\x1a\n cut off"])
def test_a_foreign_file_is_refused_in_words(
    window: MainWindow, tmp_path: Path, wait, content: bytes
) -> None:
    path = tmp_path / "strange.h5"
    path.write_bytes(content)
    window.files.open([path, tmp_path / "missing.h5"])
    wait(lambda: len(window.banners.banners) == 2)
    assert window.desk.documents == []
    assert "strange.h5 could not be opened" in banner(window, "strange")
    assert "There is no such file" in banner(window, "missing")
    press(window, "strange", "Close")
    press(window, "missing", "Close")
    assert not window.banners.isVisible()


@pytest.mark.usefixtures("reading_process")
def test_our_own_recording_opens_as_one_though_it_is_hdf5(
    window: MainWindow, wait, samples
) -> None:
    path = Path(__file__).resolve().parents[2] / "sample_sets" / "larch_highway.h5"
    shown: list[list[Path]] = []
    window.files._show_recordings = lambda paths: shown.append(list(paths))  # type: ignore[method-assign]
    window.files.open([path])
    wait(lambda: bool(shown))
    assert shown == [[path]]
    assert not window.banners.banners
    assert window.desk.documents == []


def test_recent_files_are_offered_and_missing_ones_greyed(
    opened: MainWindow, samples, wait
) -> None:
    opened.files.close(opened.files.document_at(samples["normal"]))
    samples["normal"].unlink()
    opened.live_menus.fill_recent()
    rows = {a.text(): a for a in opened.live_menus.recent.actions() if a.text()}
    gone = next(a for text, a in rows.items() if "larch_normal.h5 (missing)" in text)
    there = next(a for text, a in rows.items() if "larch_practice.h5" in text)
    assert not gone.isEnabled()
    assert there.isEnabled()
    next(a for text, a in rows.items() if "Forget" in text).trigger()
    assert opened.settings.recent == []
    wait()


def test_saving_keeps_the_edit_the_reason_and_the_name(opened: MainWindow, samples, wait) -> None:
    edit(opened, 1.0)
    opened.refresh()
    assert opened.isWindowModified()
    opened.noting.ask_reason()
    assert opened.note.isVisible()
    opened.note.line.setText("trip on ice")
    opened.note.keep.click()
    assert not opened.note.isVisible()
    opened.book.actions["file.save"].trigger()
    wait(lambda: not opened.desk.current.is_modified)
    opened.refresh()
    assert not opened.isWindowModified()
    last = list(open_document(samples["practice"]).history.entries())[-1]
    assert (last["title"], last["reason"], last["author"]) == (
        "Add 1 to 1 cell",
        "trip on ice",
        "Ada",
    )


def test_edits_made_while_a_save_runs_are_kept(opened: MainWindow, samples, wait) -> None:
    edit(opened, 1.0)
    opened.files.save()
    edit(opened, 2.0)
    wait()
    document = opened.desk.current
    assert [c.title for c in document.pending] == ["Add 2 to 1 cell"]
    assert document.is_modified
    opened.files.save()
    wait()
    assert not document.is_modified
    assert open_document(samples["practice"]).content == document.content


def test_save_as_goes_on_with_the_new_file(opened: MainWindow, answers, samples, wait) -> None:
    old = samples["practice"].read_bytes()
    answers.save_to = samples["practice"].with_name("mine.h5")
    edit(opened)
    opened.book.actions["file.save_as"].trigger()
    wait(lambda: opened.desk.current.title == "mine.h5")
    assert samples["practice"].read_bytes() == old
    assert open_document(answers.save_to).content == opened.desk.current.content
    assert opened.settings.recent[0] == answers.save_to
    edit(opened)
    opened.files.save()
    wait(lambda: not opened.desk.current.is_modified)


def test_a_file_open_in_this_window_is_not_saved_over(
    opened: MainWindow, answers, samples, wait
) -> None:
    answers.save_to = samples["normal"]
    before = samples["normal"].read_bytes()
    opened.files.save_as()
    wait()
    assert samples["normal"].read_bytes() == before
    assert "is open in this window" in opened.status.currentMessage()


def test_closing_asks_about_unsaved_edits(opened: MainWindow, answers, samples, wait) -> None:
    edit(opened)
    answers.first = "cancel"
    opened.book.actions["file.close"].trigger()
    assert titles(opened) == ["larch_practice.h5", "larch_normal.h5"]
    assert answers.asked == ["larch_practice.h5: 1"]
    answers.first = "save"
    opened.book.actions["file.close"].trigger()
    assert titles(opened) == ["larch_normal.h5"]
    again = open_document(samples["practice"])
    assert len(list(again.history.entries())) == 10
    wait()


def test_discarded_edits_are_gone_and_leave_nothing_to_recover(
    opened: MainWindow, answers, samples, wait
) -> None:
    from calib_model.store import list_leftovers

    before = samples["practice"].read_bytes()
    edit(opened)
    answers.first = "discard"
    assert opened.files.close()
    assert samples["practice"].read_bytes() == before
    assert list_leftovers() == []
    wait()


def test_the_window_closes_only_when_all_is_said(opened: MainWindow, answers, wait) -> None:
    edit(opened)
    answers.first = "cancel"
    assert not opened.close()
    assert opened.isVisible()
    answers.first = "discard"
    assert opened.close()
    assert opened.desk.documents == []


def test_a_set_without_edits_closes_unasked(opened: MainWindow, answers, wait) -> None:
    edit(opened)
    opened.editing.undo()
    assert opened.files.close()
    assert answers.asked == []
    wait()


def test_a_failed_save_keeps_the_edits_and_says_why(opened: MainWindow, wait, monkeypatch) -> None:
    from calib_model.errors import SaveFailed

    def full(*_args, **_more):
        raise SaveFailed(opened.desk.current.path, "", "The disk is full; nothing was saved.")

    edit(opened)
    with monkeypatch.context() as patched:
        patched.setattr("calib_model.session.files.write_set", full)
        opened.files.save()
        wait()
    assert "The disk is full" in banner(opened, "save")
    assert opened.desk.current.is_modified
    press(opened, "save", "Try again")
    wait()
    assert not opened.desk.current.is_modified
    assert banner(opened, "save") == ""


def test_a_read_only_file_is_said_to_be_and_saved_as_a_copy(
    window: MainWindow, answers, samples, wait
) -> None:
    samples["normal"].chmod(0o444)
    window.files.open([samples["normal"]])
    wait(lambda: "read-only" in banner(window, "read-only"))
    assert "(read-only)" in window.document_bar.current.currentText()
    table = window.desk.current.content["pre_engage_torque"]
    values = np.array(table.values) + 1
    assert not window.desk.do(values_change(table, values, "Add 1"))
    assert "read-only" in window.status.currentMessage()
    answers.save_to = samples["normal"].with_name("copy.h5")
    press(window, "read-only", "Save a copy…")
    wait(lambda: window.desk.current.title == "copy.h5")
    window.refresh()
    assert banner(window, "read-only") == ""
    assert window.desk.do(values_change(table, values, "Add 1"))
    window.files.save()
    wait(lambda: not window.desk.current.is_modified)


# -- other programs ------------------------------------------------------------------------------


def changed_outside(path: Path) -> Document:
    """Another program saves the file."""
    other = open_document(path)
    table = other.content["pre_engage_torque"]
    other.do(values_change(table, np.array(table.values) + 0.5, "Theirs"))
    save_document(other)
    return other


@pytest.mark.usefixtures("reading_process")
def test_an_outside_change_is_noticed_and_reloaded(opened: MainWindow, samples, wait) -> None:
    opened.desk.open_table("reconnect_speed")
    other = changed_outside(samples["practice"])
    wait(lambda: bool(banner(opened, "outside")))
    assert "was changed by another program" in banner(opened, "outside")
    press(opened, "outside", "Reload")
    wait(lambda: opened.desk.current.content == other.content)
    assert titles(opened) == ["larch_practice.h5", "larch_normal.h5"]
    assert opened.desk.table.id == "reconnect_speed"
    assert banner(opened, "outside") == ""


def test_a_refused_save_is_said_and_the_notice_is_reached_by_keyboard(
    opened: MainWindow, samples, wait
) -> None:
    edit(opened)
    mine = opened.desk.current.content
    changed_outside(samples["practice"])
    wait(lambda: bool(banner(opened, "outside")))
    opened.files.save()
    wait(lambda: "was not saved" in opened.status.currentMessage())
    assert opened.desk.current.is_modified
    opened.book.actions["view.notice"].trigger()
    focused = opened.focusWidget()
    assert focused is not None
    assert focused.accessibleName().startswith("Reload")
    QTest.keyClick(focused, Qt.Key.Key_Escape)
    assert opened.focusWidget() is opened.grid
    opened.focus_notice()
    QTest.keyClick(opened.focusWidget(), Qt.Key.Key_Return)  # asks; the answer is no
    assert opened.desk.current.content is mine
    opened.focus_notice()
    QTest.keyClick(opened.focusWidget(), Qt.Key.Key_Tab)
    QTest.keyClick(opened.focusWidget(), Qt.Key.Key_Space)  # Keep mine
    assert banner(opened, "outside") == ""
    assert opened.focusWidget() is opened.grid


def test_reloading_drops_edits_only_when_that_is_sure(
    opened: MainWindow, answers, samples, wait
) -> None:
    edit(opened)
    other = changed_outside(samples["practice"])
    wait(lambda: "discards 1 unsaved edit" in banner(opened, "outside"))
    mine = opened.desk.current.content
    press(opened, "outside", "Reload")
    assert opened.desk.current.content is mine
    assert banner(opened, "outside")
    answers.sure = True
    press(opened, "outside", "Reload")
    wait(lambda: opened.desk.current.content == other.content)


def test_mine_is_kept_only_when_that_is_said(opened: MainWindow, samples, wait) -> None:
    edit(opened)
    other = changed_outside(samples["practice"])
    opened.files.save()
    wait(lambda: bool(banner(opened, "outside")))
    assert open_document(samples["practice"]).content == other.content
    assert opened.desk.current.is_modified
    press(opened, "outside", "Keep mine")
    opened.files.save()
    wait(lambda: not opened.desk.current.is_modified)
    assert open_document(samples["practice"]).content == opened.desk.current.content


def test_a_file_that_is_gone_is_noticed_and_written_again(
    opened: MainWindow, samples, wait
) -> None:
    samples["practice"].unlink()
    wait(lambda: "moved or deleted" in banner(opened, "outside"))
    press(opened, "outside", "Save it again")
    wait(lambda: samples["practice"].exists() and not banner(opened, "outside"))


def test_a_touch_or_an_own_save_is_no_outside_change(
    opened: MainWindow, samples, wait, qtbot
) -> None:
    watch = opened.files.watch
    with qtbot.waitSignal(watch._timer.timeout, timeout=20_000):  # it was told, and looks
        samples["practice"].touch()
        edit(opened)
        opened.files.save()
        wait()
    wait()
    watch.look()  # as it does for whatever the system tells later
    wait()
    assert banner(opened, "outside") == ""


# -- the real prompts ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "answer"),
    [(Qt.Key.Key_Return, "save"), (Qt.Key.Key_Escape, "cancel"), (Qt.Key.Key_D, "discard")],
)
def test_the_prompt_is_answered_by_keys(window: MainWindow, qtbot, key, answer: str) -> None:
    from PySide6.QtCore import QTimer

    seen: list[str] = []

    def respond() -> None:
        box = QApplication.activeModalWidget()
        assert isinstance(box, QMessageBox)
        seen.append(f"{box.text()} {box.informativeText()}")
        if key == Qt.Key.Key_D:
            box.button(QMessageBox.StandardButton.Discard).setFocus()
            qtbot.keyClick(box.focusWidget(), Qt.Key.Key_Space)
        else:
            qtbot.keyClick(box, key)

    QTimer.singleShot(50, respond)
    assert Prompts(window).save_first("demo.h5", 2) == answer
    assert seen == [
        "Save the edits in demo.h5? 2 edits are not saved. Discarded edits cannot be brought back."
    ]


def test_export_writes_every_cell(opened: MainWindow, answers, tmp_path: Path, wait) -> None:
    import csv

    answers.export_to = tmp_path / "out.csv"
    written = tmp_path / "out_UNSIGNED.csv"
    opened.book.actions["file.export_csv"].trigger()
    wait(written.exists)
    assert answers.asked == ["export larch_practice.csv"]
    with written.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == sum(t.values.size for t in opened.desk.current.content)


def test_an_exported_table_says_that_nobody_signed_it(
    opened: MainWindow, answers, tmp_path: Path, wait, samples
) -> None:
    """It is the very file that the command line writes."""
    told: list[str] = []
    opened.desk.told.connect(lambda text, _refused: told.append(text))
    answers.export_to = tmp_path / "out.csv"
    opened.files.export_csv()
    wait(lambda: any("out_UNSIGNED.csv" in text for text in told))
    assert not answers.export_to.exists()
    assert "UNSIGNED" in told[-1]
    export.run([str(samples["practice"]), "--to", "csv", str(tmp_path / "line.csv")])
    ours, theirs = (tmp_path / f"{name}_UNSIGNED.csv" for name in ("out", "line"))
    assert "UNSIGNED" in ours.read_text(encoding="utf-8").splitlines()[1]
    assert ours.read_bytes() == theirs.read_bytes()

    # The dialog asked about out.csv, so that a file of the marked name is not replaced unasked.
    ours.write_text("of somebody else")
    opened.files.export_csv()
    wait(lambda: "is there already" in banner(opened, "export"))
    assert ours.read_text() == "of somebody else"


def test_an_export_that_fails_says_why(opened: MainWindow, answers, tmp_path: Path, wait) -> None:
    answers.export_to = tmp_path / "no such folder" / "out.csv"
    opened.files.export_csv()
    wait(lambda: "did not finish" in banner(opened, "export"))


def test_the_same_file_by_another_name_is_the_same_set(opened: MainWindow, samples, wait) -> None:
    link = samples["practice"].with_name("link.h5")
    link.symlink_to(samples["practice"])
    opened.files.open([link])
    wait()
    assert len(opened.desk.documents) == 2


def test_equal_names_are_told_apart_by_their_folder(
    opened: MainWindow, samples, tmp_path: Path, wait
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    copy = Path(shutil.copy(samples["practice"], other))
    opened.files.open([copy])
    wait(lambda: len(opened.desk.documents) == 3)
    names = [opened.document_bar.current.itemText(i) for i in range(3)]
    assert "larch_practice.h5 (other)" in names
    assert "larch_practice.h5 (sets)" in names


@pytest.mark.parametrize(
    ("label", "name"),
    [
        ("Larch, low grip", "larch__low_grip"),
        ("con", "set_con"),
        ("COM1", "set_com1"),
        ("?", "set"),
    ],
)
def test_a_proposed_name_is_no_device_on_any_system(label: str, name: str) -> None:
    assert files._file_name(SimpleNamespace(content=SimpleNamespace(label=label))) == name
