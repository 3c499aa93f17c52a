"""Draws cells: tint, text, marks, selection; and makes the editor for exact text."""

from __future__ import annotations

from PySide6.QtCore import (
    QEvent,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    QPoint,
    QRect,
    QRectF,
    Qt,
)
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFocusEvent,
    QKeyEvent,
    QPainter,
    QPalette,
    QPen,
)
from PySide6.QtWidgets import (
    QAbstractItemDelegate,
    QLineEdit,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from app.colours import mixed, text_on
from app.severity import paint_severity, severity_colour

from . import layout
from .cells import GridCells
from .entry_hint import EntryHint
from .layout import RIGHT
from .marks import Look
from .model import GridModel

Index = QModelIndex | QPersistentModelIndex
_SELECTED = 0.4
_HATCH = Qt.BrushStyle.BDiagPattern
_HOLD_OPEN = (Qt.FocusReason.PopupFocusReason, Qt.FocusReason.ActiveWindowFocusReason)


class CellDelegate(QStyledItemDelegate):
    """Delegate of `GridView`.

    Marks have shapes, so that none depends on colour: finding (triangle, diamond or dot, top
    left), changed (bar at the left edge), locked (a padlock), between storage steps (``≈``),
    outside the limits (text underlined), driven (bar along the foot, the longer the more; dotted
    where the table never decided; an arrow head where beyond the axis's end), another value
    proposed (a dashed frame), far from the other values (hatched).
    """

    def __init__(self, view: GridCells) -> None:
        super().__init__(view)
        self._view = view
        self._colours: dict[tuple[object, ...], tuple[QColor, QColor]] = {}

    # -- painting ------------------------------------------------------------------------------

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw one cell."""
        model = index.model()
        assert isinstance(model, GridModel)
        look = model.look(index.row(), index.column())
        background, ink = self.colours(model, look, option)
        rect = option.rect
        painter.save()
        painter.fillRect(rect, background)
        if look.off_scale:
            painter.fillRect(rect, QBrush(mixed(background, ink, 0.35), _HATCH))
        self._paint_text(painter, option, look, ink)
        self._paint_marks(painter, option, look, background, ink)
        if look.level:
            self._paint_amount(painter, rect, look, ink)
        if look.to_change:
            painter.setPen(QPen(mixed(background, ink, 0.55), 1, Qt.PenStyle.DashLine))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(rect.adjusted(1, 1, -3, -3))
        sides = self._view.outline[index.row()][index.column()]
        if any(sides):
            self._paint_border(painter, rect, sides, option.palette)
        if index == self._view.currentIndex():
            self._paint_ring(painter, rect, background)
        painter.restore()

    def colours(
        self, model: GridModel, look: Look, option: QStyleOptionViewItem
    ) -> tuple[QColor, QColor]:
        """Return background and text colour of a cell; the text always reads well."""
        palette = option.palette
        selected = bool(option.state & QStyle.StateFlag.State_Selected)
        key = (look.heat, selected, palette.cacheKey(), id(model.heat))
        if key not in self._colours:
            if look.heat >= 0:
                background = model.heat.backgrounds[look.heat]
            else:
                background = palette.color(QPalette.ColorRole.Base)
            if selected:
                accent = palette.color(QPalette.ColorRole.Accent)
                background = mixed(background, accent, _SELECTED)
            if len(self._colours) > 1000:  # palettes come and go
                self._colours.clear()
            self._colours[key] = background, text_on(background)
        return self._colours[key]

    def _paint_text(
        self, painter: QPainter, option: QStyleOptionViewItem, look: Look, ink: QColor
    ) -> None:
        font = option.font
        if look.beyond or look.proposed or look.text == "empty":
            font.setUnderline(look.beyond)
            font.setItalic(look.proposed or look.text == "empty")
            font.setBold(look.proposed)
        painter.setFont(font)
        painter.setPen(ink)
        room = option.rect.adjusted(layout.left_of_text(look), 0, -RIGHT, 0)
        if option.fontMetrics.horizontalAdvance(look.text) > room.width():
            painter.setFont(layout.fitted(font, look.text, room.width()))
        painter.drawText(
            room, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, look.text
        )

    def _paint_marks(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        look: Look,
        background: QColor,
        ink: QColor,
    ) -> None:
        rect = option.rect
        left = rect.x() + 2
        if look.changed:
            painter.fillRect(rect.x(), rect.y() + 2, 3, rect.height() - 4, ink)
            left += 2
        if look.severity:
            size = layout.MARK
            corner = QRectF(left, rect.y() + 2, size, size)
            fill = severity_colour(look.severity, background)
            paint_severity(painter, corner, look.severity, fill, ink)
        if look.locked:
            self._paint_padlock(painter, left, rect.bottom() - 3, ink)

    @staticmethod
    def _paint_amount(painter: QPainter, rect: QRect, look: Look, ink: QColor) -> None:
        """Draw the bar along the foot: as long as its level says, dotted if it is not full."""
        left, foot = rect.x() + 4, rect.bottom() - 1
        length = max(6, round((rect.width() - 14) * look.level / 4))
        if look.full:
            painter.fillRect(left, foot - 2, length, 3, ink)
        else:
            for x in range(left, left + length, 4):
                painter.fillRect(x, foot - 1, 2, 2, ink)
        if look.past_end:
            x, y = left + length + 2, foot - 1
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(ink)
            painter.drawPolygon([QPoint(x, y - 3), QPoint(x + 4, y), QPoint(x, y + 3)])

    @staticmethod
    def _paint_padlock(painter: QPainter, x: int, bottom: int, ink: QColor) -> None:
        painter.setPen(QPen(ink, 1.2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawArc(x + 1, bottom - 10, 5, 8, 0, 180 * 16)
        painter.fillRect(x, bottom - 6, 8, 6, ink)

    @staticmethod
    def _paint_border(painter: QPainter, rect: QRect, sides: list[bool], palette: QPalette) -> None:
        """Draw the selection's outline where this cell is at its edge."""
        inside = rect.adjusted(0, 0, -1, -1)
        ends = (
            (inside.topLeft(), inside.topRight()),
            (inside.bottomLeft(), inside.bottomRight()),
            (inside.topLeft(), inside.bottomLeft()),
            (inside.topRight(), inside.bottomRight()),
        )
        painter.setPen(QPen(palette.color(QPalette.ColorRole.Accent), 2))
        for edge, (start, end) in zip(sides, ends, strict=True):
            if edge:
                painter.drawLine(start, end)

    def _paint_ring(self, painter: QPainter, rect: QRect, background: QColor) -> None:
        ink = text_on(background)
        focused = self._view.hasFocus() or self._view.viewport().hasFocus()
        pen = QPen(ink, 3 if focused else 1)
        pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(pen)
        inset = 1 if focused else 0
        painter.drawRect(rect.adjusted(inset, inset, -1 - inset, -1 - inset))

    # -- editing -------------------------------------------------------------------------------

    def createEditor(self, parent: QWidget, option: QStyleOptionViewItem, index: Index) -> QWidget:
        """Return a plain line for the cell's exact text."""
        editor = QLineEdit(parent)
        editor.textChanged.connect(lambda text: self._grow(editor, text))
        editor.setAlignment(Qt.AlignmentFlag.AlignRight)
        editor.setAccessibleName(f"New value: {index.data(Qt.ItemDataRole.AccessibleTextRole)}")
        self._view.editor = editor
        self._view.edited_cell = self._view.grid.plane.cell(index.row(), index.column())
        table = self._view.grid.table
        if table is not None:
            EntryHint(editor, table, self._view.edited_cell)
        return editor

    def updateEditorGeometry(
        self, editor: QWidget, option: QStyleOptionViewItem, index: Index
    ) -> None:
        """Place the editor on its cell."""
        editor.setGeometry(option.rect)
        assert isinstance(editor, QLineEdit)
        self._grow(editor, editor.text())

    @staticmethod
    def _grow(editor: QLineEdit, text: str) -> None:
        """Make the editor as wide as its text needs, to the right while there is room."""
        wanted = editor.fontMetrics().horizontalAdvance(text) + 20
        parent = editor.parentWidget()
        if wanted > editor.width() and parent is not None:
            left = max(0, min(editor.x(), parent.width() - wanted))
            editor.setGeometry(left, editor.y(), wanted, editor.height())

    def setEditorData(self, editor: QWidget, index: Index) -> None:
        """Fill the editor with the exact text, once: what a user types is not overwritten."""
        assert isinstance(editor, QLineEdit)
        if editor.property("filled") is None:
            text = str(index.data(Qt.ItemDataRole.EditRole))
            editor.setProperty("filled", text)
            editor.setText(text)
            editor.selectAll()

    def setModelData(self, editor: QWidget, model: object, index: Index) -> None:
        """Take what was typed when Qt ends editing because the cursor went elsewhere.

        Keys are taken by `eventFilter`, since the view decides what happens on a refusal.
        """
        if isinstance(editor, QLineEdit) and editor is self._view.editor:
            self._view.take_text(editor)

    def eventFilter(self, editor: QObject, event: QEvent) -> bool:
        """Take the keys that end editing."""
        if not isinstance(editor, QLineEdit):
            return super().eventFilter(editor, event)
        if event.type() == QEvent.Type.KeyPress:
            assert isinstance(event, QKeyEvent)
            return self._on_key(editor, event)
        if event.type() == QEvent.Type.ShortcutOverride:
            assert isinstance(event, QKeyEvent)
            if event.key() in (Qt.Key.Key_Escape, Qt.Key.Key_Return, Qt.Key.Key_Enter):
                event.accept()
                return True
            return False
        if event.type() == QEvent.Type.FocusOut:
            assert isinstance(event, QFocusEvent)
            if event.reason() not in _HOLD_OPEN:
                self._view.commit_editor("stay", leave=True)
            return False
        return False

    def _on_key(self, editor: QLineEdit, event: QKeyEvent) -> bool:
        shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        control = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        match event.key():
            case Qt.Key.Key_Escape:
                self._view.source.tell("")  # a refusal of what was typed is no news any more
                self.closeEditor.emit(editor, QAbstractItemDelegate.EndEditHint.NoHint)
            case Qt.Key.Key_Return | Qt.Key.Key_Enter:
                then = "fill" if control else "up" if shift else "down"
                self._view.commit_editor(then)
            case Qt.Key.Key_Tab:
                self._view.commit_editor("right")
            case Qt.Key.Key_Backtab:
                self._view.commit_editor("left")
            case Qt.Key.Key_Up | Qt.Key.Key_Down if not shift:
                self._view.commit_editor("up" if event.key() == Qt.Key.Key_Up else "down")
            case _:
                return False
        return True
