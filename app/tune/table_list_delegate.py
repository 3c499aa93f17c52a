"""Draws a row of the table list: picture, name, id and unit, what is found and changed."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPalette, QPolygonF
from PySide6.QtWidgets import QStyledItemDelegate, QStyleOptionViewItem, QWidget

from app.look.palettes import tones_of
from app.look.rows import row_focus, row_ground
from app.look.type import sized, strong
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
        table = model.table_at(index.row())
        row_ground(painter, option, "base" if table is not None else "panel")
        right = self._paint_counts(painter, option, model, index.row())
        if table is None:
            self._paint_group(painter, option, model, index.row(), right)
        else:
            changed = model.is_changed(table)
            self._paint_table(painter, option, table, right, changed=changed)
        row_focus(painter, option)
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
        middle = QPointF(rect.left() + _PAD + 5, rect.center().y() + 0.5)
        _paint_arrow(painter, middle, folded=model.is_folded(row))
        painter.setFont(strong(sized(option.font, "small")))
        painter.setPen(QColor(tones_of(option.palette).second))
        left = rect.left() + _PAD + 16
        room = QRect(left, rect.top(), right - left, rect.height())
        text = f"{model.group_at(row)}  ({model.size_of_group(row)})"
        text = painter.fontMetrics().elidedText(text, Qt.TextElideMode.ElideRight, room.width())
        painter.drawText(room, Qt.AlignmentFlag.AlignVCenter, text)
        painter.setPen(QColor(tones_of(option.palette).text))

    def _paint_table(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        table: Table,
        right: int,
        *,
        changed: bool,
    ) -> None:
        rect, palette = option.rect, option.palette
        own = tones_of(palette)
        if changed:
            dot = QRectF(rect.left() + 5, rect.center().y() - 2.5, 6, 6)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setBrush(QColor(own.accent))
            painter.setPen(Qt.PenStyle.NoPen)
            painter.drawEllipse(dot)
            painter.setPen(QColor(own.text))
        picture_size = self.thumbnails.size
        place = QRectF(
            rect.left() + _PAD + 8,
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
        painter.setFont(sized(option.font, "small"))
        unit = shown(table.unit)
        detail = f"{table.id} · {unit}" if unit else table.id
        if changed:
            detail = f"changed · {detail}"
        detail = painter.fontMetrics().elidedText(detail, Qt.TextElideMode.ElideRight, right - left)
        painter.setPen(QColor(own.second))
        painter.drawText(
            QRect(left, top + line, right - left, line),
            Qt.AlignmentFlag.AlignVCenter,
            detail,
        )
        painter.setPen(QColor(own.text))

    def _paint_counts(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        model: TableRows,
        row: int,
    ) -> int:
        """Draw marks with numbers at the right; return where they begin."""
        counts = model.counts_at(row)
        lines = 2 if model.table_at(row) is not None else 1
        rect, palette = option.rect, option.palette
        metrics = option.fontMetrics
        right = rect.right() - _PAD
        line = metrics.height()
        size = max(9, line - 6)
        # On a table's second line: the name needs the first one whole.
        top = rect.top() + (rect.height() - lines * line) // 2 + (lines - 1) * line
        painter.setFont(option.font)
        for severity, count in reversed(list(zip(_SEVERITIES, counts, strict=True))):
            if not count:
                continue
            text = str(count)
            # Room for two digits, so that marks and numbers stand in columns down the list.
            room = max(metrics.horizontalAdvance("00"), metrics.horizontalAdvance(text))
            right -= room
            place = QRect(right, top, room, line)
            flags = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignRight
            painter.drawText(place, flags, text)
            right -= size + 3
            colour = severity_colour(severity, palette.color(QPalette.ColorRole.Base))
            paint_severity(
                painter, QRectF(right, top + (line - size) / 2, size, size), severity, colour
            )
            right -= _PAD
        return right


def _paint_arrow(painter: QPainter, middle: QPointF, *, folded: bool) -> None:
    """Draw the sign of a group: to the right while it is folded, else down."""
    turned = [(-2, -4), (2, 0), (-2, 4)] if folded else [(-4, -2), (0, 2), (4, -2)]
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.drawPolyline(QPolygonF([middle + QPointF(x, y) for x, y in turned]))
    painter.restore()
