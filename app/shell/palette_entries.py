"""What the palette can reach: every action, every table of every open set, recent files."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from calib_model.session.document import Document

from .actions import plain_text
from .palette import Entry

if TYPE_CHECKING:
    from .window import MainWindow


def entries(window: MainWindow) -> list[Entry]:
    """Return everything, actions first."""
    found = list(_actions(window))
    current = window.desk.current
    # Tables of the set in work come before those of the others.
    for document in sorted(window.desk.documents, key=lambda d: d is not current):
        found.extend(_tables(window, document))
    found.extend(_recent(window))
    return found


def _actions(window: MainWindow) -> Iterator[Entry]:
    for id, row in window.book.rows.items():
        action = window.book.actions[id]
        text = plain_text(action.text())
        where = plain_text(row.menu.lstrip("-").replace("/", " › "))
        keys = window.book.keys_of(id)
        detail = f"{where}   {keys}" if keys else where
        yield Entry(text, detail, action.trigger, f"{text} {row.tip}".lower(), action.isEnabled())


def _tables(window: MainWindow, document: Document) -> Iterator[Entry]:
    title = document.title
    for table in document.content.tables.values():
        id = table.id
        yield Entry(
            table.name or id,
            f"{id}   {title}",
            lambda document=document, id=id: open_table(window, document, id),
            f"{table.name} {id} {table.function} {title}".lower(),
        )


def _recent(window: MainWindow) -> Iterator[Entry]:
    opened = {d.path for d in window.desk.documents}
    for path in window.settings.recent:
        if path not in opened:
            yield Entry(
                f"Open {path.name}",
                str(path.parent),
                lambda path=path: window.files.open([path]),
                f"open recent {path}".lower(),
                path.exists(),
            )


def open_table(window: MainWindow, document: Document, id: str) -> None:
    """Work on a table of an open set."""
    window.desk.set_current(document)
    window.desk.open_table(id)
    window.show_area(0)
