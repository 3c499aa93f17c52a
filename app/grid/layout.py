"""How wide and high the grid's cells are."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QFont, QFontMetrics
from PySide6.QtWidgets import QTableView

from .marks import Look
from .model import GridModel

RIGHT = 3
"""Room to the right of a cell's text."""
MARK = 8
"""Size of the mark of a finding, which stands left of the digits and never on them."""
TIGHT, ROOMY = RIGHT + 7, RIGHT + 21
"""What a cell needs beside its text, and what it gets where there is space: marks stand left."""
EASY = RIGHT + 13
"""What a cell has where others need the space as well: the mark of a finding beside its text."""
_NARROWEST = 58
_MOST = 64
"""So many rows and columns are measured; more would be slow and tell little."""


def left_of_text(look: Look) -> int:
    """Return the room that a cell's marks take from its text at the left."""
    return (MARK + 3 if look.severity else 1) + (2 if look.changed else 0)


def fitted(font: QFont, text: str, room: int) -> QFont:
    """Return the font in which a text fits: smaller, for half a number is another number."""
    need = QFontMetrics(font).horizontalAdvance(text)
    smaller = QFont(font)
    while need > room > 0 and smaller.pointSizeF() > 4:
        smaller.setPointSizeF(max(smaller.pointSizeF() * min(room / need, 0.97), 4.0))
        need = QFontMetrics(smaller).horizontalAdvance(text)
    return smaller


def _but_for_few(widths: list[int]) -> int:
    """Return the width that all texts but one in fifty need, and at least one: those few are set
    smaller, so that one slipped value does not widen every column; by a third at most."""
    if not widths:
        return 0
    ordered = sorted(widths)
    few = max(1, len(ordered) // 50) if len(ordered) >= 12 else 0
    return max(ordered[-1 - few], round(0.65 * ordered[-1]))


def widest(view: QTableView, top: int, left: int, bottom: int, right: int) -> int:
    """Return the width of the widest text in a block of cells, but for a few slips."""
    metrics, model = view.fontMetrics(), view.model()
    assert isinstance(model, GridModel)
    bottom, right = min(bottom, top + _MOST), min(right, left + _MOST)
    return _but_for_few(
        [
            metrics.horizontalAdvance(model.text(row, column))
            for row in range(top, bottom + 1)
            for column in range(left, right + 1)
        ]
    )


def widest_of_all(view: QTableView) -> int:
    """Return the width of the widest text in cells and breakpoints across."""
    metrics, model = view.fontMetrics(), view.model()
    columns = range(min(model.columnCount(), _MOST))
    heads = [model.headerData(c, Qt.Orientation.Horizontal) for c in columns]
    cells = widest(view, 0, 0, model.rowCount() - 1, model.columnCount() - 1)
    return max([cells, *(metrics.horizontalAdvance(str(text)) for text in heads)])


def least_height(view: QTableView) -> int:
    """Return the least height of a row."""
    return view.fontMetrics().height() + 5


def generous_height(view: QTableView) -> int:
    """Return the height of a row where there is space: room for a gloved finger."""
    return view.fontMetrics().height() + 12


def spread(view: QTableView, text_width: int) -> None:
    """Give the cells generous room where there is space, and less before anything scrolls."""
    model = view.model()
    rows, columns = max(model.rowCount(), 1), max(model.columnCount(), 1)
    room, narrow, low = view.maximumViewportSize(), text_width + TIGHT, least_height(view)
    bar = view.verticalScrollBar().sizeHint().width()
    width = room.width() - (bar if rows * low > room.height() else 0)
    height = room.height() - (bar if columns * narrow > width else 0)
    wide, high = max(text_width + ROOMY, _NARROWEST), generous_height(view)
    view.horizontalHeader().setDefaultSectionSize(max(narrow, min(wide, width // columns)))
    view.verticalHeader().setDefaultSectionSize(max(low, min(high, height // rows)))
