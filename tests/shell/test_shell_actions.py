"""Every action is in a menu, can be reached by keyboard, says what it does, and claims no other's
keys.  Keys for common actions are those of the platform guidelines, as Qt's StandardKey has them
(doc.qt.io, QKeySequence, "Standard Shortcuts")."""

from __future__ import annotations

import re
from collections import Counter

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QMenu

from app.action import Action
from app.areas import AREAS
from app.shell.actions import all_actions, clashes, part_actions, plain_text, with_letter
from app.shell.help_pages import KeysDialog
from app.shell.window import MainWindow


def walked(window: MainWindow) -> dict[str, list[QAction]]:
    """Every row of every menu, by menu title, submenus included."""
    found: dict[str, list[QAction]] = {}

    def walk(menu: QMenu, path: str) -> None:
        found[path] = [a for a in menu.actions() if not a.isSeparator()]
        for action in found[path]:
            sub = action.menu()
            if isinstance(sub, QMenu):
                walk(sub, f"{path}/{plain_text(action.text())}")

    for action in window.menuBar().actions():
        menu = action.menu()
        assert isinstance(menu, QMenu)
        walk(menu, plain_text(action.text()))
    return found


def test_no_two_actions_share_a_key_or_an_id() -> None:
    assert clashes(all_actions()) == []


def test_a_clash_would_be_found() -> None:
    twice = (
        Action("a", "A", "File", print, ("Ctrl+J",)),
        Action("b", "B", "File", print, ("ctrl+j",)),
        Action("b", "B", "File", print),
    )
    assert clashes(twice) == ["Ctrl+J: a and b", "id b: b and b"]


def test_every_row_stands_in_its_menu(window: MainWindow) -> None:
    menus = walked(window)
    rows = all_actions()
    assert len(rows) == len(window.book.rows) > 50
    for row in rows:
        path = plain_text(row.menu.lstrip("-"))
        assert window.book.actions[row.id] in menus[path], row.id


def test_every_row_has_words(window: MainWindow) -> None:
    for row in window.book.rows.values():
        assert plain_text(row.text).strip(), row.id
        assert row.tip.endswith("."), f"{row.id} has no sentence to explain it"
        said = window.book.actions[row.id].toolTip().split("\n")
        assert said[0] == row.tip
        if window.book.actions[row.id].isEnabled():
            assert len(said) == 1
        else:  # why not
            assert len(said) == 2, row.id
            assert said[1].endswith("."), row.id


def test_menus_open_by_letters_of_their_own(window: MainWindow) -> None:
    titles = [a.text() for a in window.menuBar().actions()]
    letters = [re.search(r"&(\w)", t).group(1).lower() for t in titles]  # type: ignore[union-attr]
    assert max(Counter(letters).values()) == 1, titles


def test_letters_within_a_menu_are_not_shared(window: MainWindow) -> None:
    for path, rows in walked(window).items():
        texts = [row.text() for row in rows]
        letters = [m.group(1).lower() for t in texts if (m := re.search(r"&(\w)", t))]
        assert not letters or max(Counter(letters).values()) == 1, f"{path}: {texts}"


def test_a_taken_letter_gives_way_to_a_free_one() -> None:
    taken: set[str] = set()
    assert with_letter("&Save", taken) == "&Save"
    assert with_letter("&Swap sets", taken) == "S&wap sets"
    assert with_letter("Save && &quit", taken) == "Save && &quit"
    assert taken == {"s", "w", "q"}


@pytest.mark.parametrize(
    ("id", "standard"),
    [
        ("file.open", QKeySequence.StandardKey.Open),
        ("file.save", QKeySequence.StandardKey.Save),
        ("edit.undo", QKeySequence.StandardKey.Undo),
        ("file.close", QKeySequence.StandardKey.Close),
        ("help.guide", QKeySequence.StandardKey.HelpContents),
    ],
)
def test_common_actions_have_their_usual_keys(
    window: MainWindow, id: str, standard: QKeySequence.StandardKey
) -> None:
    usual = QKeySequence.keyBindings(standard)
    assert any(k in usual for k in window.book.actions[id].shortcuts())


def test_no_key_is_what_alt_gr_types(window: MainWindow) -> None:
    # On Windows AltGr is Ctrl+Alt (common practice, no source), so such keys would type signs.
    for row in window.book.rows.values():
        assert not any("Ctrl+Alt" in key for key in row.keys), row.id


def test_keys_page_lists_every_action(window: MainWindow) -> None:
    dialog = KeysDialog(window.book, window)
    table = dialog.table
    listed = {
        (table.item(row, 0).text(), table.item(row, 1).text()) for row in range(table.rowCount())
    }
    for id, action in window.book.actions.items():
        assert (window.book.keys_of(id), plain_text(action.text())) in listed
    dialog.line.setText("undo")
    visible = [
        table.item(row, 1).text() for row in range(table.rowCount()) if not table.isRowHidden(row)
    ]
    assert visible == ["Undo"]
    dialog.close()


def test_actions_wait_for_what_they_need(window: MainWindow) -> None:
    actions = window.book.actions
    for id in ("file.save", "file.save_as", "file.close", "edit.undo", "edit.redo", "sets.swap"):
        assert not actions[id].isEnabled(), id
    for id in ("file.open", "view.palette", "help.keys", "file.quit"):
        assert actions[id].isEnabled(), id


def test_actions_follow_the_set(opened: MainWindow, qtbot) -> None:  # type: ignore[no-untyped-def]
    actions = opened.book.actions
    opened.refresh()
    assert actions["file.close"].isEnabled()
    assert actions["sets.swap"].isEnabled(), (
        opened.desk.current.title,
        opened.desk.reference,
        [d.title for d in opened.desk.documents],
    )
    assert not actions["file.save"].isEnabled()
    assert not actions["edit.undo"].isEnabled()


def test_areas_switch_by_key(window: MainWindow, qtbot) -> None:  # type: ignore[no-untyped-def]
    window.activateWindow()
    for number, key in enumerate((Qt.Key.Key_1, Qt.Key.Key_2, Qt.Key.Key_3, Qt.Key.Key_4)):
        qtbot.keyClick(window, key, Qt.KeyboardModifier.ControlModifier)
        assert window.area == AREAS[number].id
        window.refresh()
        assert window.switcher.buttons[number].isChecked()
        ids = ("view.tune", "view.compare", "view.road", "view.release")
        assert [window.book.actions[id].isChecked() for id in ids].index(True) == number


def test_parts_bring_rows() -> None:
    assert any(row.id.startswith("table.") for row in part_actions())
    assert any(row.id.startswith("plots.") for row in part_actions())
