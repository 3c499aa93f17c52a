"""One row per action: what it is called, where it stands, its keys, what it does.

Menus, shortcuts, the palette and the key list are all made from these rows, so that a new
action is one new row in one table.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from app.desk import Desk


@dataclass(frozen=True)
class Needs:
    """When an action can be done, and what to say of it when it cannot.

    Parameters
    ----------
    holds : callable
        Asked with the desk.
    reason : str or callable
        Why not, in one sentence that says what to do; a callable is asked with the desk.
    """

    holds: Callable[[Desk], bool]
    reason: str | Callable[[Desk], str]

    def __call__(self, desk: Desk) -> bool:
        """Tell whether the action can be done."""
        return bool(self.holds(desk))

    def why_not(self, desk: Desk) -> str:
        """Return the reason why it cannot be done."""
        return self.reason if isinstance(self.reason, str) else self.reason(desk)


def always(desk: Desk) -> bool:
    """Enabled at any time."""
    return True


def _why_no_edit(desk: Desk) -> str:
    if desk.current is None:
        return NO_SET
    return "Choose a table first." if desk.table is None else READ_ONLY


NO_SET = "Open a set first."
READ_ONLY = "The set is read-only: save it as another file to edit it."
with_document = Needs(lambda desk: desk.current is not None, NO_SET)
"""Enabled when a set is open."""
with_table = Needs(
    lambda desk: desk.table is not None,
    lambda desk: NO_SET if desk.current is None else "Choose a table first.",
)
"""Enabled when a table is in work."""
can_edit = Needs(
    lambda desk: desk.table is not None and desk.current is not None and not desk.current.read_only,
    _why_no_edit,
)
"""Enabled when the table in work can be edited."""


def why_not(enabled: Callable[[Desk], bool], desk: Desk) -> str:
    """Return why an action cannot be done now, in one sentence."""
    return enabled.why_not(desk) if isinstance(enabled, Needs) else "It cannot be done now."


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
    icon : str
        Name of an icon in ``assets/icons``; empty for none.
    """

    id: str
    text: str
    menu: str
    run: Callable[[Any], None]
    keys: tuple[str, ...] = ()
    tip: str = ""
    enabled: Callable[[Desk], bool] = always
    checked: Callable[[Any], bool] | None = None
    icon: str = ""
