"""What the palette can reach: every action, every table of every open set, recent files."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from app.needs import TUNE
from calib_model.session.document import Document

from .actions import plain_text
from .palette import Entry, Group

if TYPE_CHECKING:
    from .window import MainWindow


def entries(window: MainWindow) -> list[Group]:
    """Return everything, actions first."""
    current = window.desk.current
    # Tables of the set in work come before those of the others.
    documents = sorted(window.desk.documents, key=lambda d: d is not current)
    tables = [_tables(window, document) for document in documents]
    return [Group.of(_actions(window)), *tables, Group.of(_recent(window))]


def _actions(window: MainWindow) -> Iterator[Entry]:
    for id, row in window.book.rows.items():
        action = window.book.actions[id]
        text = plain_text(action.text())
        where = plain_text(row.menu.lstrip("-").replace("/", " › "))
        keys = window.book.keys_of(id)
        detail = f"{where}   {keys}" if keys else where
        yield Entry(text, detail, action.trigger, f"{text} {row.tip}".lower(), action.isEnabled())


def _tables(window: MainWindow, document: Document) -> Group:
    title = document.title
    lower = title.lower()
    tables = list(document.content.tables.values())
    texts = [f"{t.name} {t.id} {t.function} ".lower() + lower for t in tables]

    def make(number: int) -> Entry:
        table = tables[number]
        return Entry(
            table.label,
            f"{table.id}   {title}",
            lambda: open_table(window, document, table.id),
            texts[number],
        )

    return Group(texts, make)


def _recent(window: MainWindow) -> Iterator[Entry]:
    opened = {d.path for d in window.desk.documents}
    for path in window.settings.recent:
        if path not in opened:
            yield Entry(
                f"Open {path.name}",
                str(path.parent),
                partial(window.files.open, [path]),
                f"open recent {path}".lower(),
                path.exists(),
            )


def open_table(window: MainWindow, document: Document, id: str) -> None:
    """Work on a table of an open set."""
    window.desk.set_current(document)
    window.desk.open_table(id)
    window.show_area(TUNE)
