"""The underlined letters of a part of the window, for tests that they lead to one place each."""

from __future__ import annotations

import re
from collections import Counter

from PySide6.QtWidgets import QAbstractButton, QLabel, QTabWidget, QWidget

from app.shell.actions import MENUS


def letters(texts: list[str]) -> list[str]:
    """Return the letter that each text has underlined, if it has one."""
    return [m.group(1).lower() for text in texts for m in re.finditer(r"&(\w)", text)]


def letters_shown(part: QWidget) -> list[str]:
    """Return the letters of what is seen of a part of the window."""
    texts = []
    for widget in part.findChildren(QWidget):
        if widget.isVisible() and isinstance(widget, QLabel | QAbstractButton):
            texts.append(widget.text())
        elif widget.isVisible() and isinstance(widget, QTabWidget):
            texts += [widget.tabText(n) for n in range(widget.count())]
    return letters(texts)


def clashes(part: QWidget) -> set[str]:
    """Return the letters that lead to two places, or to a menu as well."""
    shown = letters_shown(part)
    assert shown, "no letter is seen"
    twice = {letter for letter, times in Counter(shown).items() if times > 1}
    return twice | (set(shown) & set(letters(list(MENUS.values()))))
