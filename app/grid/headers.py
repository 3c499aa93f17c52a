"""Headers that show breakpoints, the axis they belong to, and where the cross-hair is."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QPoint, QRect, QSize, Qt
from PySide6.QtGui import QColor, QHelpEvent, QKeyEvent, QPainter, QPaintEvent, QPalette
from PySide6.QtWidgets import QHeaderView, QLineEdit, QToolTip, QWidget

from app.colours import mixed
from app.plain import plain_tip
from calib_model.errors import BitepointError

from . import axis_edits, edits
from .cells import GridCells
from .model import GridModel

_PAD = 6
_WIDEST_CORNER = 190


class AxisHeader(QHeaderView):
    """Breakpoints of one axis; the one at the cursor stands out.

    Across, a line above the breakpoints carries the axis's name and unit; down, the corner
    (`CornerCaption`) does.
    """

    def __init__(self, orientation: Qt.Orientation, view: GridCells) -> None:
        super().__init__(orientation, view)
        self._view = view
        self.setSectionsClickable(True)
        self.setHighlightSections(True)
        self.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.setMinimumSectionSize(16)
        self.editor: QLineEdit | None = None
        self._edited = -1
        self.sectionDoubleClicked.connect(self.edit_section)

    @property
    def across(self) -> bool:
        """Whether this header runs across."""
        return self.orientation() == Qt.Orientation.Horizontal

    def cursor_section(self) -> int:
        """Return the section under the cross-hair."""
        index = self._view.currentIndex()
        return index.column() if self.across else index.row()

    def choose_at(self, point: QPoint) -> bool:
        """Take the cross-hair to the breakpoint at a point; False beside the breakpoints."""
        section = self.logicalIndexAt(point)
        if section < 0:
            return False
        now = self._view.currentIndex()
        here = (now.row(), section) if self.across else (section, now.column())
        self._view.setCurrentIndex(self._view.model().index(*here))
        return True

    # -- size and painting ---------------------------------------------------------------------

    def sectionSizeFromContents(self, logicalIndex: int) -> QSize:
        """Return the room a breakpoint needs, the caption's line included."""
        metrics = self.fontMetrics()
        text = str(self.model().headerData(logicalIndex, self.orientation()) or "")
        line = metrics.height() + _PAD
        width = metrics.horizontalAdvance(text) + 3 * _PAD
        return QSize(width, 2 * line if self.across else line)

    def sizeHint(self) -> QSize:
        """Return the header's size; down, the corner's caption is let in where there is room."""
        if self.across:
            return super().sizeHint()
        sizes = [self.sectionSizeFromContents(n).width() for n in range(min(self.count(), 64))]
        named = self.fontMetrics().horizontalAdvance(self._caption().split(" (")[0]) + 3 * _PAD
        allowed = min(_WIDEST_CORNER, self._view.width() // 4)
        return QSize(max(*sizes, min(named, allowed), 0) if sizes else 0, 0)

    def _caption(self) -> str:
        model = self.model()
        return model.caption(self.orientation()) if isinstance(model, GridModel) else ""

    def paintSection(self, painter: QPainter, rect: QRect, logicalIndex: int) -> None:
        """Draw one breakpoint."""
        palette = self._view.palette()
        here = logicalIndex == self.cursor_section()
        background = palette.color(QPalette.ColorRole.Button)
        if here:
            accent = palette.color(QPalette.ColorRole.Accent)
            background = mixed(background, accent, 0.3)
        painter.save()
        area = self._breakpoint_area(rect)
        painter.fillRect(rect, palette.color(QPalette.ColorRole.Button))
        painter.fillRect(area, background)
        painter.setPen(_line_colour(palette))
        painter.drawLine(area.topRight(), area.bottomRight())
        painter.drawLine(area.bottomLeft(), area.bottomRight())
        font = self.font()
        font.setBold(here)
        painter.setFont(font)
        painter.setPen(palette.color(QPalette.ColorRole.ButtonText))
        if here:
            # A bar as well as the tint, so that the place is not told by colour alone.
            bar = QRect(area)
            bar.setTop(bar.bottom() - 2) if self.across else bar.setLeft(bar.right() - 2)
            painter.fillRect(bar, palette.color(QPalette.ColorRole.Accent))
        text = self.model().headerData(logicalIndex, self.orientation())
        alignment = Qt.AlignmentFlag.AlignCenter
        if not self.across:
            alignment = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        painter.drawText(area.adjusted(3, 0, -_PAD, 0), alignment, str(text or ""))
        painter.restore()

    def _breakpoint_area(self, rect: QRect) -> QRect:
        return rect.adjusted(0, rect.height() // 2, 0, 0) if self.across else rect

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the sections, then the caption above them, which does not scroll."""
        super().paintEvent(event)
        if not self.across:
            return
        painter = QPainter(self.viewport())
        palette = self._view.palette()
        room = QRect(0, 0, self.viewport().width(), self.height() // 2)
        painter.fillRect(room, palette.color(QPalette.ColorRole.Button))
        painter.setPen(palette.color(QPalette.ColorRole.ButtonText))
        painter.setFont(self.font())
        text = self.fontMetrics().elidedText(
            f"{self._caption()} →", Qt.TextElideMode.ElideMiddle, room.width() - 2 * _PAD
        )
        painter.drawText(room.adjusted(_PAD, 0, -_PAD, 0), Qt.AlignmentFlag.AlignVCenter, text)

    def viewportEvent(self, event: QEvent) -> bool:
        """Tell the whole caption where the pointer rests on it."""
        if event.type() == QEvent.Type.ToolTip and self.across:
            assert isinstance(event, QHelpEvent)
            if event.pos().y() < self.height() // 2:
                QToolTip.showText(event.globalPos(), plain_tip(self._caption()), self)
                return True
        return super().viewportEvent(event)

    # -- editing a breakpoint ------------------------------------------------------------------

    def edit_section(self, section: int) -> bool:
        """Open an editor on a breakpoint; False (told) where it cannot be edited."""
        if not self._view.can_edit_axis(self.orientation()):
            return False
        self.end_edit()
        self._edited = section
        editor = QLineEdit(self.viewport())
        spoken = self.model().headerData(
            section, self.orientation(), Qt.ItemDataRole.AccessibleTextRole
        )
        editor.setAccessibleName(f"New breakpoint for {spoken}")
        exact = self.model().headerData(section, self.orientation(), Qt.ItemDataRole.EditRole)
        editor.setText(str(exact))
        editor.selectAll()
        editor.installEventFilter(self)
        editor.setGeometry(self._editor_place(section))
        self.editor = editor
        editor.show()
        editor.setFocus()
        self._tell_keys()
        return True

    def _editor_place(self, section: int) -> QRect:
        start, size = self.sectionViewportPosition(section), self.sectionSize(section)
        if self.across:
            half = self.height() // 2
            place = QRect(start, half, max(size, 90), self.height() - half)
            place.moveRight(min(place.right(), max(self.viewport().width() - 1, place.width())))
            return place
        return QRect(0, start, self.width(), size)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Enter takes the breakpoint, Shift+Enter too but with the cells' values, Esc neither."""
        if watched is not self.editor or self.editor is None:
            return super().eventFilter(watched, event)
        if event.type() == QEvent.Type.KeyPress:
            assert isinstance(event, QKeyEvent)
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
                self._take(keep_values=shift)
                return True
            if event.key() in (Qt.Key.Key_Escape, Qt.Key.Key_Tab, Qt.Key.Key_Backtab):
                self._view.source.tell("")
                self.end_edit()
                return True
        if event.type() == QEvent.Type.FocusOut:
            self.end_edit()
        return False

    def _take(self, *, keep_values: bool) -> None:
        if self.editor is None:
            return
        if self.move_breakpoint(self._edited, self.editor.text(), keep_values=keep_values):
            self.end_edit()
        elif self.editor is not None:
            self.editor.selectAll()

    def _tell_keys(self) -> None:
        number = self._view.grid.axis_number(self.orientation())
        if number is not None:
            said = (
                "Enter moves the breakpoint and keeps what the table reads; Shift+Enter keeps "
                "the cells' values; Esc cancels."
            )
            shared = axis_edits.sharing_text(self._view.source, number)
            self._view.source.tell(f"{said} {shared}".strip())

    def move_breakpoint(self, section: int, text: str, *, keep_values: bool = False) -> bool:
        """Move a breakpoint to a typed value; False (told) where that is refused.

        The table goes on reading what it did, or else its cells keep their values.
        """
        source, table = self._view.source, self._view.grid.table
        number = self._view.grid.axis_number(self.orientation())
        if number is None or table is None:
            return False
        try:
            value = edits.breakpoint(table.axes[number], text)
        except BitepointError as error:
            source.tell(str(error), refused=True)
            return False
        if value == float(table.axes[number].values[section]):
            return True
        return axis_edits.move(source, number, section, value, keep_values=keep_values)

    def end_edit(self) -> None:
        """Close the breakpoint's editor, if one is open; its focus goes to the grid."""
        editor, self.editor = self.editor, None
        if editor is not None:
            if editor.hasFocus():  # before it hides: Qt would look for the next widget by a Tab
                self._view.setFocus()
            editor.hide()
            editor.deleteLater()


class CornerCaption(QWidget):
    """Names the axis that runs down; a click selects all cells."""

    def __init__(self, view: GridCells) -> None:
        super().__init__(view)
        self._view = view
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def show_caption(self, text: str) -> None:
        """Show another axis's name."""
        self.setToolTip(plain_tip(f"{text}. Click to select all cells." if text else ""))
        self.setAccessibleName(f"Rows: {text}" if text else "")
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw name and unit on two lines, the name elided where it is too long."""
        painter = QPainter(self)
        palette = self._view.palette()
        painter.fillRect(self.rect(), palette.color(QPalette.ColorRole.Button))
        model = self._view.model()
        text = model.caption(Qt.Orientation.Vertical) if isinstance(model, GridModel) else ""
        painter.setPen(_line_colour(palette))
        painter.drawLine(self.rect().topRight(), self.rect().bottomRight())
        painter.drawLine(self.rect().bottomLeft(), self.rect().bottomRight())
        if not text:
            return
        name, _, rest = text.partition(" (")
        unit = f"({rest} ↓" if rest else "↓"
        painter.setPen(palette.color(QPalette.ColorRole.ButtonText))
        painter.setFont(self._view.horizontalHeader().font())
        room = self.rect().adjusted(_PAD, 0, -_PAD, 0)
        upper, lower = QRect(room), QRect(room)
        upper.setHeight(room.height() // 2)
        lower.setTop(upper.bottom() + 1)
        metrics = painter.fontMetrics()
        elided = metrics.elidedText(name, Qt.TextElideMode.ElideMiddle, room.width())
        painter.drawText(upper, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, elided)
        painter.drawText(lower, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, unit)

    def mousePressEvent(self, event: object) -> None:
        """Select all cells."""
        self._view.setFocus()
        self._view.selectAll()


def edit_breakpoint(view: GridCells, orientation: Qt.Orientation) -> bool:
    """Open an editor on the breakpoint at the cursor; False (told) where it cannot be edited."""
    across = orientation == Qt.Orientation.Horizontal
    header = view.horizontalHeader() if across else view.verticalHeader()
    assert isinstance(header, AxisHeader)
    return header.edit_section(view.place[1] if across else view.place[0])


def _line_colour(palette: QPalette) -> QColor:
    return mixed(
        palette.color(QPalette.ColorRole.Button), palette.color(QPalette.ColorRole.ButtonText), 0.3
    )
