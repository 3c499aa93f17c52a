"""One row per action: what it is called, where it stands, its keys, what it does.

Menus, shortcuts, the palette and the key list are all made from these rows, so that a new
action is one new row in one table.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from app.desk import Desk


def always(desk: Desk) -> bool:
    """Enabled at any time."""
    return True


def with_document(desk: Desk) -> bool:
    """Enabled when a set is open."""
    return desk.current is not None


def with_table(desk: Desk) -> bool:
    """Enabled when a table is in work."""
    return desk.table is not None


def can_edit(desk: Desk) -> bool:
    """Enabled when the table in work can be edited."""
    return desk.table is not None and desk.current is not None and not desk.current.read_only


@dataclass(frozen=True)
class Action:
    """One action of the window.

    Parameters
    ----------
    id : str
        Permanent, such as ``values.fill_down``; settings refer to it.
    text : str
        Menu text with its mnemonic (``Fill &down``).
    menu : str
        Menu it stands in, ``File``, ``Edit``, ``Values``, ...; ``Menu/Submenu`` nests;
        a leading ``-`` puts a separator before it.
    run : callable
        Called with the main window (`app.shell.window.MainWindow`).
    keys : tuple of str
        Key sequences in portable text (``Ctrl+D``).
    tip : str
        One sentence: shown in the palette and the status line, and read by screen readers.
    enabled : callable
        Asked with the desk whenever something changes.
    checked : callable or None
        For a switch: asked with the main window whether it is on.
    """

    id: str
    text: str
    menu: str
    run: Callable[[Any], None]
    keys: tuple[str, ...] = ()
    tip: str = ""
    enabled: Callable[[Desk], bool] = always
    checked: Callable[[Any], bool] | None = None
