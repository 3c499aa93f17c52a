"""What the palette can reach: every action, every table of every open set, recent files."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

from calib_model.core.plain_file import is_there
from calib_model.session.document import Document

from .actions import ActionBook, plain_text
from .base import Shell
from .finder import Entry, Group, searched

Open = Callable[[list[Path]], None]
OpenTable = Callable[[Document, str], None]


def entries(
    window: Shell, book: ActionBook, open_files: Open, open_table: OpenTable
) -> list[Group]:
    """Return everything, actions first.

    Parameters
    ----------
    window : Shell
    book : ActionBook
    open_files, open_table : callable
        Called with paths, and with a document and the id of one of its tables.
    """
    current = window.desk.current
    # Tables of the set in work come before those of the others.
    documents = sorted(window.desk.documents, key=lambda d: d is not current)
    tables = [tables_of(document, open_table) for document in documents]
    return [_actions(book), *tables, Group.of(_recent(window, open_files))]


def _actions(book: ActionBook) -> Group:
    shown, texts = [], []
    for id, row in book.rows.items():
        action = book.actions[id]
        where = plain_text(row.menu.lstrip("-").replace("/", " › "))
        detail = f"{where}   {book.keys_of(id)}".rstrip()
        text = plain_text(action.text())
        shown.append(Entry(text, detail, action.trigger, id, enabled=action.isEnabled()))
        # Found by what it is called in general: an undo that names a table is not that table.
        texts.append(searched(plain_text(row.text), id, f"{where} {row.tip}"))
    return Group(texts, list(book.rows), shown.__getitem__)


def tables_of(document: Document, open_table: OpenTable) -> Group:
    """Return the tables of an open set, made into entries only when they are listed."""
    title = document.title
    tables = list(document.content.tables.values())
    texts = [searched(t.label, t.id, f"{t.function} {title}") for t in tables]

    def make(number: int) -> Entry:
        table = tables[number]
        return Entry(
            table.label,
            f"{table.id}   {title}",
            lambda: open_table(document, table.id),
            table.id,
        )

    return Group(texts, [t.id for t in tables], make)


def _recent(window: Shell, open_files: Open) -> Iterator[Entry]:
    opened = {d.path for d in window.desk.documents}
    for path in window.settings.recent:
        if path not in opened:
            yield Entry(
                f"Open {path.name}",
                str(path.parent),
                partial(open_files, [path]),
                str(path),
                f"open recent {path}",
                is_there(path),
            )
