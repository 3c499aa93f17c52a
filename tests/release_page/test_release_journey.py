"""The practice set taken to "signed off" by keyboard in a real window, with one waiver and one
queried table resolved.

The mistakes are those of the invented demo scenario (typed from it).  The signatures are verified
by OpenSSH's ssh-keygen where it is installed, the digest by hashlib.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from functools import partial
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QLineEdit

from app.release.lines import View
from app.shell.window import MainWindow
from calib_model import open_set, verify
from calib_model.core.record import Outcome
from calib_model.signoff.verification import State
from tests.release_page.conftest import AUTHOR, PASSPHRASE, REVIEWER, People

MENDED = (
    ("pre_engage_torque", "outlier", "Re-interpolate Pre-engage torque"),
    ("current_for_clamp_release", "branch_order", "Exchange Motor current for clamp"),
    ("reconnect_speed", "hysteresis", "Lower 2 cells of Reconnect speed"),
    ("clamp_limit_plate", "zero_end", "Set and lock 0 N at the last"),
    ("inside_rear_brake", "zero_end", "Set and lock 0 N·m at the last"),
    ("expected_axle_difference", "covers", "Scale steering wheel angle"),
    ("sync_window", "relation", "Raise 2 cells of Synchronising speed window"),
)
K = Qt.Key
CONTROL, ALT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.AltModifier
SHIFT, NONE = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.NoModifier


class Keyboard:
    """Presses keys at whatever has the keyboard, as a person does."""

    def __init__(self, qtbot, window: MainWindow, wait) -> None:  # type: ignore[no-untyped-def]
        self.qtbot, self.window, self.wait = qtbot, window, wait

    def press(self, key: Qt.Key, modifiers: Qt.KeyboardModifier = NONE, times: int = 1) -> None:
        for _ in range(times):
            top = QApplication.activeModalWidget() or self.window
            self.qtbot.keyClick(top.focusWidget() or top, key, modifiers)

    def type(self, text: str) -> None:
        top = QApplication.activeModalWidget() or self.window
        self.qtbot.keyClicks(top.focusWidget(), text)

    def fill(self, text: str) -> None:
        """Type over what a line holds."""
        field = self.window.focusWidget()
        assert isinstance(field, QLineEdit), field
        self.press(K.Key_A, CONTROL)
        self.press(K.Key_Delete)
        self.type(text)

    def tab_to(self, name: str, back: bool = False) -> None:
        """Press Tab until the field with an accessible name has the keyboard."""
        seen: list[str] = []
        for _ in range(60):
            focused = self.window.focusWidget()
            if focused is not None and focused.accessibleName() == name:
                return
            seen.append(f"{type(focused).__name__} {focused and focused.accessibleName()}")
            self.press(K.Key_Backtab if back else K.Key_Tab, SHIFT if back else NONE)
        raise AssertionError(f"Tab never came to {name!r}, but to {seen}")

    def go_to(self, words: str) -> None:
        """Reach an action through the palette."""
        self.press(K.Key_K, CONTROL)
        self.qtbot.waitUntil(lambda: QApplication.activeModalWidget() is not None)
        palette = QApplication.activeModalWidget()
        self.qtbot.waitUntil(palette.isActiveWindow)  # its first key comes after that
        self.type(words)
        self.press(K.Key_Return)
        self.qtbot.waitUntil(lambda: QApplication.activeModalWidget() is None)
        self.window.activateWindow()  # without a window manager nobody else does
        self.qtbot.waitUntil(self.window.isActiveWindow)
        self.wait()


def is_offered(window: MainWindow, remedy: str) -> bool:
    return any(remedy in b.accessibleName() for b in window.tune.findings._buttons)


def mend(keys: Keyboard, window: MainWindow) -> None:
    """Mend all mistakes but one through Tune."""
    for table, rule, remedy in MENDED:
        for _ in range(2 * len(window.desk.report.findings)):
            keys.press(K.Key_F8)
            chosen = window.tune.findings.finding
            if (chosen.table, chosen.rule) == (table, rule):
                break
        else:
            pytest.fail(f"F8 never came to {rule} of {table}")
        keys.qtbot.waitUntil(partial(is_offered, window, remedy), timeout=10_000)
        buttons = window.tune.findings._buttons
        number = next(n for n, b in enumerate(buttons) if remedy in b.accessibleName())
        keys.press(Qt.Key(K.Key_1 + number), ALT)


@pytest.mark.window
def test_the_practice_set_is_signed_off_by_keyboard(
    window: MainWindow, samples, people: People, monkeypatch, tmp_path: Path, qtbot, wait
) -> None:
    keys = Keyboard(qtbot, window, wait)
    desk = window.desk
    monkeypatch.setattr(window.files.prompts, "open_paths", lambda _folder: [samples["practice"]])
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    keys.press(K.Key_O, CONTROL)
    wait(lambda: desk.current is not None and desk.report is not None)
    mend(keys, window)

    # What is left stands in Release: one finding, and every table without a decision.
    keys.press(K.Key_4, CONTROL)
    wait()
    page = window.areas.page("release")
    left = [line for line in page.list.rows.found if line.kind in ("Error", "Warning")]
    assert [line.table for line in left] == ["ambient_factor"], left
    assert "0 of 43" in page.progress.text()  # the tables and the finding: one count
    keys.press(K.Key_F, CONTROL)
    keys.type("ambient error")
    keys.press(K.Key_Down)
    assert page.list.line.about.finding.rule == "covers"

    # Enter goes to the cell in Tune, Ctrl+4 comes back to the same line.
    keys.press(K.Key_Return)
    assert window.area == "tune"
    assert desk.table.id == "ambient_factor"
    keys.press(K.Key_4, CONTROL)
    wait()
    assert page.list.line.about.finding.rule == "covers"

    # Waived: without a reason it is refused, approved by its author it is refused.
    keys.press(K.Key_W)
    keys.press(K.Key_Return)
    assert "reason" in page.act.waive.answer.text()
    keys.tab_to("Reason for the waiver", back=True)
    keys.type("No trip below -25 degC before the next revision")
    keys.tab_to("Who approves the waiver")
    keys.type(AUTHOR)
    keys.press(K.Key_Return)
    assert "cannot approve their own waiver" in page.act.waive.answer.text()
    assert not desk.current.content.record.waivers
    keys.fill(REVIEWER)
    keys.press(K.Key_Return)
    wait()
    (waiver,) = desk.current.content.record.waivers
    assert (waiver.table, waiver.author, waiver.approver) == ("ambient_factor", AUTHOR, REVIEWER)
    assert not [line for line in page.list.rows.found if line.kind == "Error"]

    # All tables accepted, by another than who edited them; one of them queried and answered.
    keys.press(K.Key_F, CONTROL)
    keys.press(K.Key_Escape)
    keys.go_to("your name in the history")
    keys.type(REVIEWER)
    keys.press(K.Key_Return)
    keys.go_to("changed tables and decisions")
    assert page.list.shown is View.TABLES
    keys.press(K.Key_A, SHIFT)
    assert page.act.decide.rows.rowCount() == 42
    keys.press(K.Key_Return)
    wait()
    assert "42 of 42" in page.progress.text()
    keys.press(K.Key_Home)
    queried = page.list.line.table
    keys.press(K.Key_Q)
    keys.type("Driven at -20 degC?")
    keys.press(K.Key_Return)
    wait()
    assert "41 of 42" in page.progress.text()
    assert "1 open query" in page.progress.text()
    keys.press(K.Key_A)
    keys.press(K.Key_Return)
    assert "answer" in page.act.decide.answer.text()
    keys.type("Yes, on the second day")
    keys.press(K.Key_Return)
    wait()
    latest = desk.current.content.record.latest_decisions[queried]
    assert (latest.outcome, latest.comment) == (Outcome.ACCEPTED, "Yes, on the second day")

    # Nothing is left to do; what was not driven is told, but asked for by no milestone.
    keys.press(K.Key_F8, CONTROL)
    wait()
    assert {line.kind for line in page.list.rows.found} == {"Not driven"}, window.focusWidget()
    assert not any(line.about.blocks for line in page.list.rows.found)
    assert "42 of 42" in page.progress.text()
    keys.press(K.Key_F, CONTROL)
    keys.type("nothing like this")
    assert page.list.pages.currentWidget() is page.list.nothing
    keys.press(K.Key_Escape)

    # Signed by two people.
    keys.go_to("who may sign")
    keys.fill(str(people.signers))
    keys.press(K.Key_Return)
    wait()
    assert REVIEWER in page.trust.used.text()
    for role, name, key in (
        ("author", AUTHOR, people.author),
        ("reviewer", REVIEWER, people.reviewer),
    ):
        keys.press(K.Key_F9, CONTROL)
        keys.tab_to("Role of who signs", back=True)
        keys.press(K.Key_A, CONTROL)
        keys.type(role)
        keys.tab_to("Who signs")
        keys.fill(name)
        keys.tab_to("Private key file")
        keys.fill(str(key))
        keys.tab_to("Passphrase of the key")
        keys.type(PASSPHRASE)
        keys.press(K.Key_Return)
        wait()
        assert "Signed as" in page.sign.answer.text(), page.sign.answer.text()
        assert not page.sign.secret.text()
    wait(lambda: not desk.current.is_modified)
    assert page.standings.standing.verification.state is State.SIGNED_OFF
    assert "Signed off by" in page.words.text()
    saved = open_set(samples["practice"])
    assert verify(saved, people.signers).state is State.SIGNED_OFF

    # Handed over; a reviewer needs only OpenSSH and SHA-256.
    out = tmp_path / "out"
    out.mkdir()
    keys.go_to("hand over")
    keys.tab_to("Folder to write to")
    keys.fill(str(out))
    keys.press(K.Key_Return)
    wait()
    (folder,) = out.iterdir()
    assert "UNSIGNED" not in folder.name
    # A file or folder for each format that is ticked; formats join, so they are not counted here.
    assert {path.suffix for path in folder.iterdir()} >= {".h5", ".txt"}
    assert len(list(folder.iterdir())) == len(page.hand_over.chosen) >= 5
    verify_outside(next(folder.glob("*_sign_off")), people)
    text = next(folder.glob("*.txt")).read_bytes()
    assert hashlib.sha256(text).hexdigest() == page.standings.standing.verification.digest


def verify_outside(folder: Path, people: People) -> None:
    """Verify with ssh-keygen -Y verify (OpenSSH's ssh-keygen(1)) and hashlib alone."""
    last = json.loads((folder / "sign_off_2.json").read_text(encoding="utf-8"))
    content = (folder / "content.txt").read_bytes()
    assert last["content"] == hashlib.sha256(content).hexdigest()
    if shutil.which("ssh-keygen") is None:
        pytest.skip("ssh-keygen is not installed")
    for number, name in ((1, AUTHOR), (2, REVIEWER)):
        path = folder / f"sign_off_{number}.json"
        done = subprocess.run(
            ["ssh-keygen", "-Y", "verify", "-f", str(people.signers), "-I", name,
             "-n", "bitepoint-signoff", "-s", f"{path}.sig"],
            input=path.read_bytes(), capture_output=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert b"Good" in done.stdout
