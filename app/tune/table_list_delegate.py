"""Draws a row of the table list: picture, name, id and unit, what is found and changed."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics, QPainter, QPalette
from PySide6.QtWidgets import QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from app.severity import paint_severity, severity_colour
from calib_model.core.table import Table
from calib_model.core.units import shown

from .table_list_model import TableRows
from .thumbnails import Thumbnails

Index = QModelIndex | QPersistentModelIndex
_PAD = 7
_SEVERITIES = ("error", "warning", "note")


class RowDelegate(QStyledItemDelegate):
    """Delegate of the table list; pictures are drawn when a row is first painted."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.thumbnails = Thumbnails(QSize(60, 34))

    def height(self, metrics: QFontMetrics) -> int:
        """Return the height of every row: two lines of text, or the picture."""
        return max(2 * metrics.height() + 10, self.thumbnails.size.height() + 8)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw one row."""
        model = index.model()
        assert isinstance(model, TableRows)
        painter.save()
        palette, rect = option.palette, option.rect
        ground = QPalette.ColorRole.Base
        ink = QPalette.ColorRole.Text
        table = model.table_at(index.row())
        if option.state & QStyle.StateFlag.State_Selected:
            ground, ink = QPalette.ColorRole.Highlight, QPalette.ColorRole.HighlightedText
        elif table is None:
            ground, ink = QPalette.ColorRole.Button, QPalette.ColorRole.ButtonText
        painter.fillRect(rect, palette.color(ground))
        painter.setPen(palette.color(ink))
        right = self._paint_counts(painter, option, model, index.row(), ink)
        if table is None:
            self._paint_group(painter, option, model, index.row(), right)
        else:
            changed = model.is_changed(table)
            self._paint_table(painter, option, table, right, ink, changed=changed)
        if option.state & QStyle.StateFlag.State_HasFocus:
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(palette.color(ink))
            painter.drawRect(rect.adjusted(1, 1, -2, -2))
        painter.restore()

    def _paint_group(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        model: TableRows,
        row: int,
        right: int,
    ) -> None:
        rect = option.rect
        arrow = "▸" if model.is_folded(row) else "▾"
        font = QFont(option.font)
        font.setBold(True)
        painter.setFont(font)
        room = QRect(rect.left() + _PAD, rect.top(), right - rect.left() - _PAD, rect.height())
        text = f"{arrow}  {model.group_at(row)}  ({model.size_of_group(row)})"
        text = painter.fontMetrics().elidedText(text, Qt.TextElideMode.ElideRight, room.width())
        painter.drawText(room, Qt.AlignmentFlag.AlignVCenter, text)

    def _paint_table(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        table: Table,
        right: int,
        ink: QPalette.ColorRole,
        *,
        changed: bool,
    ) -> None:
        rect, palette = option.rect, option.palette
        if changed:
            painter.fillRect(rect.x() + 1, rect.y() + 3, 4, rect.height() - 6, palette.color(ink))
        picture_size = self.thumbnails.size
        place = QRectF(
            rect.left() + _PAD + 2,
            rect.top() + (rect.height() - picture_size.height()) / 2,
            picture_size.width(),
            picture_size.height(),
        )
        if not table.shape:  # a scalar's value is text: it needs the ground it is read on
            painter.fillRect(place, palette.color(QPalette.ColorRole.Base))
        ratio = painter.device().devicePixelRatioF()
        picture = self.thumbnails.of(table, palette, ratio)
        painter.drawPixmap(place, picture, QRectF(picture.rect()))
        left = int(place.right()) + _PAD + 1
        line = option.fontMetrics.height()
        top = rect.top() + (rect.height() - 2 * line) // 2
        painter.setFont(option.font)
        whole = rect.right() - _PAD - left
        name = option.fontMetrics.elidedText(table.label, Qt.TextElideMode.ElideMiddle, whole)
        painter.drawText(QRect(left, top, whole, line), Qt.AlignmentFlag.AlignVCenter, name)
        small = QFont(option.font)
        small.setPointSizeF(option.font.pointSizeF() * 0.87)
        painter.setFont(small)
        unit = shown(table.unit)
        detail = f"{table.id} · {unit}" if unit else table.id
        if changed:
            detail = f"changed · {detail}"
        detail = painter.fontMetrics().elidedText(detail, Qt.TextElideMode.ElideRight, right - left)
        painter.setOpacity(0.85)
        painter.drawText(
            QRect(left, top + line, right - left, line),
            Qt.AlignmentFlag.AlignVCenter,
            detail,
        )
        painter.setOpacity(1)

    def _paint_counts(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        model: TableRows,
        row: int,
        ink: QPalette.ColorRole,
    ) -> int:
        """Draw marks with numbers at the right; return where they begin."""
        counts = model.counts_at(row)
        lines = 2 if model.table_at(row) is not None else 1
        selected = bool(option.state & QStyle.StateFlag.State_Selected)
        rect, palette = option.rect, option.palette
        metrics = option.fontMetrics
        right = rect.right() - _PAD
        line = metrics.height()
        size = max(9, line - 6)
        # On a table's second line: the name needs the first one whole.
        top = rect.top() + (rect.height() - lines * line) // 2 + (lines - 1) * line
        for severity, count in reversed(list(zip(_SEVERITIES, counts, strict=True))):
            if not count:
                continue
            text = str(count)
            right -= metrics.horizontalAdvance(text)
            painter.drawText(QRect(right, top, 200, line), Qt.AlignmentFlag.AlignVCenter, text)
            right -= size + 3
            colour = (
                palette.color(ink)
                if selected
                else severity_colour(severity, palette.color(QPalette.ColorRole.Base))
            )
            paint_severity(
                painter, QRectF(right, top + (line - size) / 2, size, size), severity, colour
            )
            right -= _PAD
        return right
