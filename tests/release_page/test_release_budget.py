"""The budget of a sign-off: keys, clicks and forms from the page to a signed set, counted.

Before rows were grouped it took about 12 clicks and 2 forms: the list of tables, a row, all rows,
accept, the tab, a name, browsing for the key file, the passphrase, scrolling to the button.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QPushButton, QWidget

from app.release.keys_kept import keep_key
from app.release.page import ReleasePage
from app.shell.window import MainWindow
from tests.release_page.conftest import PASSPHRASE, REVIEWER, People

KEYS, CLICKS = 4, 5
"""The budget of a reviewer who signed before on this machine; typing the passphrase apart."""
K, LEFT = Qt.Key, Qt.MouseButton.LeftButton
NONE, SHIFT = Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.ShiftModifier
CONTROL = Qt.KeyboardModifier.ControlModifier


class Hand:
    """Presses keys and clicks, and counts."""

    def __init__(self, qtbot, window: MainWindow, wait) -> None:  # type: ignore[no-untyped-def]
        self.qtbot, self.window, self.wait = qtbot, window, wait
        self.keys = self.clicks = 0

    def press(self, key: Qt.Key, modifiers: Qt.KeyboardModifier = NONE) -> None:
        self.keys += 1
        self.qtbot.keyClick(self.window.focusWidget() or self.window, key, modifiers)
        self.wait()

    def click(self, widget: QWidget, place: QPoint | None = None) -> None:
        assert widget.isVisible()
        assert not isinstance(widget, QPushButton) or widget.isEnabled()
        place = widget.rect().center() if place is None else place
        shown = widget.mapTo(self.window, place)
        assert self.window.rect().contains(shown), "nothing has to be scrolled to"
        self.clicks += 1
        self.qtbot.mouseClick(widget, LEFT, pos=place)
        self.wait()

    def type_passphrase(self, page: ReleasePage) -> None:
        assert self.window.focusWidget() is page.sign.secret, "it is where the keyboard is"
        self.qtbot.keyClicks(page.sign.secret, PASSPHRASE)


@pytest.fixture
def page(window: MainWindow, opened, people: People, wait, qtbot) -> ReleasePage:  # type: ignore[no-untyped-def]
    """Release with the normal set before a reviewer who signed another set here before."""
    window.settings.author = REVIEWER
    window.settings.remember("release/name", REVIEWER)
    keep_key(window.settings, REVIEWER, str(people.reviewer), "reviewer")
    made: ReleasePage = opened("normal")
    made.standings.choose(signers=people.signers)
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    wait()
    return made


def is_signed(page: ReleasePage) -> bool:
    assert "Signed as reviewer" in page.sign.answer.text(), page.sign.answer.text()
    record = page.desk.current.content.record
    return len(record.sign_offs) == 1 and len(record.latest_decisions) == 42


@pytest.mark.usefixtures("reading_process")
def test_by_keyboard(window: MainWindow, page: ReleasePage, qtbot, wait) -> None:
    hand = Hand(qtbot, window, wait)
    hand.press(K.Key_A, SHIFT)
    hand.press(K.Key_Return)
    hand.press(K.Key_F9, CONTROL)
    hand.type_passphrase(page)
    hand.press(K.Key_Return)
    assert is_signed(page)
    assert hand.keys <= KEYS


@pytest.mark.usefixtures("reading_process")
def test_by_mouse(
    window: MainWindow, page: ReleasePage, samples: dict[str, Path], qtbot, wait
) -> None:  # type: ignore[no-untyped-def]
    hand, view = Hand(qtbot, window, wait), page.list.view
    rows = page.list.rows
    head = next(n for n in range(rows.rowCount()) if rows.heading(n) is not None)
    hand.click(view.viewport(), QPoint(120, view.rowViewportPosition(head) + 8))
    hand.click(page.act.buttons["accept"])
    hand.click(page.act.decide.confirm)
    bar = page.tabs.tabBar()
    hand.click(bar, bar.tabRect(1).center())
    hand.type_passphrase(page)
    hand.click(page.sign.submit_button)
    assert is_signed(page)
    assert hand.clicks <= CLICKS
    assert not hand.keys
