"""The list of what was understood: groups, a picture per table, what is doubtful, what is taken."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import (
    QAbstractListModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QColor, QFontMetrics, QKeyEvent, QMouseEvent, QPainter, QPalette
from PySide6.QtWidgets import (
    QListView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionButton,
    QStyleOptionViewItem,
    QWidget,
)

from app.look.palettes import tones_of
from app.look.rows import row_focus, row_ground
from app.look.tokens import NEAR, TIGHT
from app.look.type import sized, strong
from app.plain import plain_tip
from app.severity import paint_severity, severity_colour
from app.tune.thumbnails import Thumbnails

from .offer import Key, Row

Index = QModelIndex | QPersistentModelIndex
BOX = 16
PICTURE = QSize(60, 34)


class OfferRows(QAbstractListModel):
    """Rows of an offer with a heading above each group; filtered by words."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._all: list[Row] = []
        self._shown: list[Row | str] = []
        self._counts: dict[str, int] = {}
        self._words: list[str] = []
        self._doubtful_only = False

    def show_rows(self, rows: list[Row]) -> None:
        """Show other rows."""
        self._all = rows
        self._arrange()

    def narrow(self, text: str, *, doubtful: bool) -> None:
        """Show only rows that hold every word, and only doubtful ones if asked."""
        self._words, self._doubtful_only = text.lower().split(), doubtful
        self._arrange()

    def _arrange(self) -> None:
        self.beginResetModel()
        self._shown, self._counts = [], {}
        for row in self._all:
            said = f"{row.title} {row.detail}".lower()
            if self._doubtful_only and not row.doubts:
                continue
            if not all(word in said for word in self._words):
                continue
            if row.group not in self._counts:
                self._shown.append(row.group)
            self._counts[row.group] = self._counts.get(row.group, 0) + 1
            self._shown.append(row)
        self.endResetModel()

    def row_at(self, index: Index) -> Row | None:
        """Return a row; None for a heading."""
        found = self._shown[index.row()] if index.isValid() else None
        return found if isinstance(found, Row) else None

    def index_of(self, key: Key) -> QModelIndex:
        """Return where a row stands; invalid if it is not shown."""
        for number, row in enumerate(self._shown):
            if isinstance(row, Row) and row.key == key:
                return self.index(number)
        return QModelIndex()

    def first(self, after: int = -1, *, doubtful: bool = False) -> QModelIndex:
        """Return the first row (with a doubt) beyond a place."""
        for number in range(max(after + 1, 0), len(self._shown)):
            row = self._shown[number]
            if isinstance(row, Row) and (row.doubts or not doubtful):
                return self.index(number)
        return QModelIndex()

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(self._shown)

    def flags(self, index: Index) -> Qt.ItemFlag:
        if self.row_at(index) is None:
            return Qt.ItemFlag.NoItemFlags  # the arrow keys pass headings by
        return Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable

    def heading(self, index: Index) -> str:
        """Return the text of a group's heading."""
        group = str(self._shown[index.row()])
        return f"{group}  ({self._counts[group]})"

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        row = self.row_at(index)
        if role == Qt.ItemDataRole.DisplayRole:
            return row.title if row is not None else self.heading(index)
        if row is None:
            return None
        doubts = " ".join(doubt.why for doubt in row.doubts)
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip("\n".join(filter(None, (row.title, row.detail, doubts))))
        if role == Qt.ItemDataRole.AccessibleTextRole:
            state = {True: "taken", False: "not taken", None: ""}[row.taken]
            doubt = f"doubtful: {doubts}" if doubts else ""
            return ", ".join(filter(None, (row.title, row.group, state, row.detail, doubt)))
        return None


class OfferDelegate(QStyledItemDelegate):
    """Draws a row: box, picture, name and particulars, and the mark of a doubt."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.pictures = Thumbnails(PICTURE)

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        line = option.fontMetrics.height()
        model = index.model()
        assert isinstance(model, OfferRows)
        if model.row_at(index) is None:
            return QSize(100, line + 2 * TIGHT)
        return QSize(200, max(2 * line + 10, PICTURE.height() + NEAR))

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        model = index.model()
        assert isinstance(model, OfferRows)
        row = model.row_at(index)
        painter.save()
        if row is None:
            row_ground(painter, option, "panel")
            painter.setFont(strong(option.font))
            room = option.rect.adjusted(NEAR, 0, -NEAR, 0)
            painter.drawText(room, Qt.AlignmentFlag.AlignVCenter, model.heading(index))
        else:
            row_ground(painter, option)
            self._paint_row(painter, option, row)
            row_focus(painter, option)
        painter.restore()

    def _paint_row(self, painter: QPainter, option: QStyleOptionViewItem, row: Row) -> None:
        own, rect = tones_of(option.palette), option.rect
        left = rect.left() + NEAR
        if row.taken is not None:
            button = QStyleOptionButton()
            button.rect = QRect(left, rect.center().y() - BOX // 2, BOX, BOX)
            on, off = QStyle.StateFlag.State_On, QStyle.StateFlag.State_Off
            button.state = QStyle.StateFlag.State_Enabled | (on if row.taken else off)
            button.palette = option.palette
            style = option.widget.style()
            kind = QStyle.PrimitiveElement.PE_IndicatorCheckBox
            style.drawPrimitive(kind, button, painter, option.widget)
        if row.table is not None:
            left += BOX + NEAR
            place = QRectF(
                left, rect.top() + (rect.height() - PICTURE.height()) / 2,
                PICTURE.width(), PICTURE.height(),
            )  # fmt: skip
            if not row.table.shape:
                painter.fillRect(place, option.palette.color(QPalette.ColorRole.Base))
            ratio = painter.device().devicePixelRatioF()
            picture = self.pictures.of(row.table, option.palette, ratio)
            painter.drawPixmap(place, picture, QRectF(picture.rect()))
            left += PICTURE.width() + NEAR
        right = rect.right() - NEAR
        line = option.fontMetrics.height()
        top = rect.top() + (rect.height() - 2 * line) // 2
        if row.doubts:
            size = max(9, line - 6)
            right -= size
            severity = "error" if row.blocked else "warning"
            tone = severity_colour(severity, option.palette.color(QPalette.ColorRole.Base))
            mark = QRectF(right, top + (line - size) / 2, size, size)
            paint_severity(painter, mark, severity, tone)
            right -= NEAR
        text = own.text if row.taken is not False else own.second
        painter.setFont(option.font)
        painter.setPen(QColor(text))
        _draw_line(painter, QRect(left, top, right - left, line), row.title)
        painter.setFont(sized(option.font, "small"))
        painter.setPen(QColor(own.second))
        room = QRect(left, top + line, rect.right() - NEAR - left, line)
        _draw_line(painter, room, row.doubts[0].why if row.doubts else row.detail)


def _draw_line(painter: QPainter, room: QRect, text: str) -> None:
    metrics = QFontMetrics(painter.font())
    cut = metrics.elidedText(" ".join(text.split()), Qt.TextElideMode.ElideRight, room.width())
    painter.drawText(room, Qt.AlignmentFlag.AlignVCenter, cut)


class OfferList(QListView):
    """The list.

    Signals
    -------
    turned_over : Row
        Space on a row, or a click into its box.
    entered
        Enter: the keyboard goes to what can be changed.
    moved : object
        Another row is current: a Row or None.
    """

    turned_over = Signal(object)
    entered = Signal()
    moved = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows = OfferRows(self)
        self.setModel(self.rows)
        self.setItemDelegate(OfferDelegate(self))
        self.setMouseTracking(True)
        self.setFrameShape(QListView.Shape.NoFrame)
        self.setVerticalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Tables that were understood")

    def row(self) -> Row | None:
        """Return the current row."""
        return self.rows.row_at(self.currentIndex())

    def go(self, index: QModelIndex) -> None:
        """Make a row current, if there is one."""
        if index.isValid():
            self.setCurrentIndex(index)
            self.scrollTo(index)

    def currentChanged(self, current: Index, previous: Index) -> None:
        super().currentChanged(current, previous)
        self.moved.emit(self.rows.row_at(current))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Space takes or leaves out; Enter goes on to what can be changed."""
        row = self.row()
        if event.key() == Qt.Key.Key_Space and row is not None:
            if row.taken is not None:
                self.turned_over.emit(row)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not event.modifiers():
            self.entered.emit()
        else:
            super().keyPressEvent(event)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """A click into the box takes or leaves out."""
        super().mouseReleaseEvent(event)
        index = self.indexAt(event.position().toPoint())
        row = self.rows.row_at(index)
        inside = event.position().x() <= 2 * NEAR + BOX
        if row is not None and row.taken is not None and inside:
            self.turned_over.emit(row)

    def changeEvent(self, event: QEvent) -> None:
        """Lay the rows out anew when the size of text changes."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self.scheduleDelayedItemsLayout()
