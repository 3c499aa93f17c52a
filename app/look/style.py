"""The window's style: Fusion's geometry, our own drawing.

Drawn, not styled by sheets: those are slow and cut palettes off.  What is not drawn here, Fusion
draws with our palette.
"""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic
from typing import Any

from PySide6.QtCore import QPoint, QRect, QSize
from PySide6.QtGui import QIcon, QPainter, QPalette
from PySide6.QtWidgets import (
    QProxyStyle,
    QStyle,
    QStyleOption,
    QStyleOptionButton,
    QStyleOptionComplex,
    QStyleOptionFrame,
    QStyleOptionMenuItem,
    QStyleOptionTab,
    QStyleOptionToolButton,
    QToolButton,
    QWidget,
)

from . import draw_controls as controls
from . import draw_frames as frames
from . import draw_menus as menus
from .brush import chevron
from .palettes import tones_of
from .tokens import APART, CONTROL, GLOVES, ICON, NEAR
from .type import grown

_P, _C, _X = QStyle.PrimitiveElement, QStyle.ControlElement, QStyle.ComplexControl
_M, _T = QStyle.PixelMetric, QStyle.ContentsType

Drawing = Callable[[QPainter, Any, QWidget | None], None]


def _nothing(_painter: QPainter, _option: QStyleOption, _widget: QWidget | None) -> None:
    """Leave it out."""


def _alone(draw: Callable[[QPainter, Any], None]) -> Drawing:
    return lambda painter, option, _widget: draw(painter, option)


def _arrow(way: str) -> Drawing:
    def draw(painter: QPainter, option: QStyleOption, _widget: QWidget | None) -> None:
        own = tones_of(option.palette)
        able = bool(option.state & QStyle.StateFlag.State_Enabled)
        chevron(painter, option.rect, own.second if able else own.off, way, 3)

    return draw


_PRIMITIVES: dict[QStyle.PrimitiveElement, Drawing] = {
    _P.PE_FrameFocusRect: controls.focus_ring,
    _P.PE_IndicatorCheckBox: controls.check_box,
    _P.PE_IndicatorItemViewItemCheck: controls.check_box,
    _P.PE_IndicatorRadioButton: _alone(controls.radio),
    _P.PE_PanelLineEdit: _alone(controls.line_edit),
    _P.PE_PanelButtonTool: controls.tool_panel,
    _P.PE_FrameTabBarBase: _alone(frames.tab_base),
    _P.PE_FrameTabWidget: _nothing,
    _P.PE_Frame: _alone(frames.frame),
    _P.PE_FrameGroupBox: _nothing,
    _P.PE_PanelMenu: _alone(menus.menu_panel),
    _P.PE_FrameMenu: _nothing,
    _P.PE_PanelTipLabel: _alone(frames.tip),
    _P.PE_FrameStatusBarItem: _nothing,
    _P.PE_PanelItemViewItem: _alone(frames.item),
    _P.PE_PanelItemViewRow: _nothing,
    _P.PE_IndicatorArrowDown: _arrow("down"),
    _P.PE_IndicatorArrowUp: _arrow("up"),
    _P.PE_IndicatorArrowRight: _arrow("right"),
    _P.PE_IndicatorArrowLeft: _arrow("left"),
}
_CONTROLS: dict[QStyle.ControlElement, Drawing] = {
    _C.CE_PushButtonBevel: controls.push_button,
    _C.CE_TabBarTabShape: _alone(frames.tab),
    _C.CE_Splitter: _alone(frames.splitter),
    _C.CE_HeaderSection: _alone(frames.header),
    _C.CE_MenuItem: menus.menu_row,
    _C.CE_MenuBarItem: _alone(menus.bar_item),
    _C.CE_ToolBar: _nothing,
    _C.CE_ProgressBarGroove: _nothing,
}
_METRICS: dict[QStyle.PixelMetric, int] = {
    _M.PM_ScrollBarExtent: frames.SCROLL,
    _M.PM_ScrollBarSliderMin: 28,
    _M.PM_SplitterWidth: 7,
    _M.PM_ToolTipLabelFrameWidth: 6,
    _M.PM_TabBarBaseHeight: 1,
    _M.PM_TabBarBaseOverlap: 0,
    _M.PM_TabBarTabShiftVertical: 0,
    _M.PM_ButtonShiftHorizontal: 0,
    _M.PM_ButtonShiftVertical: 0,
    _M.PM_MenuPanelWidth: 1,
    _M.PM_MenuVMargin: 3,
    _M.PM_MenuBarItemSpacing: 0,
    _M.PM_MenuBarPanelWidth: 0,
}
_MENU = QStyleOptionToolButton.ToolButtonFeature.HasMenu
_SEPARATOR = QStyleOptionMenuItem.MenuItemType.Separator
_TOOL, _SWITCH_WIDTH = 18, 30
_SQUARES = (
    _M.PM_IndicatorWidth,
    _M.PM_IndicatorHeight,
    _M.PM_ExclusiveIndicatorWidth,
    _M.PM_ExclusiveIndicatorHeight,
)


class LookStyle(QProxyStyle):
    """Draws the controls of the window.

    Attributes
    ----------
    control : int
        Height of a control in pixels: 28, or 44 for gloves.
    """

    def __init__(self) -> None:
        super().__init__("Fusion")
        self.control = CONTROL

    def use_gloves(self, wanted: bool) -> None:
        """Make controls large enough for gloves, or as they were."""
        self.control = GLOVES if wanted else CONTROL

    @property
    def for_gloves(self) -> bool:
        """Whether controls are large enough for gloves."""
        return self.control == GLOVES

    # -- drawing -----------------------------------------------------------------------------

    def drawPrimitive(
        self,
        element: QStyle.PrimitiveElement,
        option: QStyleOption,
        painter: QPainter,
        widget: QWidget | None = None,
    ) -> None:
        """Draw what needs no more than a rectangle and a state."""
        draw = _PRIMITIVES.get(element)
        if draw is not None:
            draw(painter, option, widget)
        else:
            super().drawPrimitive(element, option, painter, widget)

    def drawControl(
        self,
        element: QStyle.ControlElement,
        option: QStyleOption,
        painter: QPainter,
        widget: QWidget | None = None,
    ) -> None:
        """Draw a part of a control."""
        draw = _CONTROLS.get(element)
        if draw is not None:
            draw(painter, option, widget)
            return
        if element == _C.CE_PushButtonLabel and isinstance(option, QStyleOptionButton):
            option = _button_label(option, widget)
        elif element == _C.CE_TabBarTabLabel and isinstance(option, QStyleOptionTab):
            option = _tab_label(option)
        elif element == _C.CE_ProgressBarContents:
            frames.progress(painter, option, _phase())  # type: ignore[arg-type]
            return
        elif element == _C.CE_MenuBarEmptyArea:
            painter.fillRect(option.rect, option.palette.color(QPalette.ColorRole.Window))
            return
        super().drawControl(element, option, painter, widget)

    def drawComplexControl(
        self,
        control: QStyle.ComplexControl,
        option: QStyleOptionComplex,
        painter: QPainter,
        widget: QWidget | None = None,
    ) -> None:
        """Draw a control with parts."""
        if control == _X.CC_ComboBox:
            controls.combo_box(painter, option, self, widget)
        elif control == _X.CC_SpinBox:
            controls.spin_box(painter, option, self, widget)
        elif control == _X.CC_ScrollBar:
            frames.scroll_bar(painter, option)
        elif (
            control == _X.CC_ToolButton
            and isinstance(option, QStyleOptionToolButton)
            and not option.features & QStyleOptionToolButton.ToolButtonFeature.MenuButtonPopup
        ):
            controls.tool_button(painter, option, self, widget)
        elif control == _X.CC_Slider:
            controls.slider(painter, option, self, widget)
        else:
            super().drawComplexControl(control, option, painter, widget)

    # -- geometry ----------------------------------------------------------------------------

    def subControlRect(
        self,
        control: QStyle.ComplexControl,
        option: QStyleOptionComplex,
        part: QStyle.SubControl,
        widget: QWidget | None = None,
    ) -> QRect:
        """Return where a part is; scroll bars have no arrows."""
        if control == _X.CC_ScrollBar:
            return frames.scroll_rect(option, part)
        made = super().subControlRect(control, option, part, widget)  # type: ignore[arg-type]
        if control == _X.CC_ComboBox and part == QStyle.SubControl.SC_ComboBoxEditField:
            return made.adjusted(4, 0, 0, 0)
        return made

    def subElementRect(
        self, element: QStyle.SubElement, option: QStyleOption, widget: QWidget | None = None
    ) -> QRect:
        """Return where the inside of a control is."""
        made = super().subElementRect(element, option, widget)  # type: ignore[arg-type]
        if element == QStyle.SubElement.SE_LineEditContents and option.rect.height() > ICON:
            # One inside another field has its room already.
            framed = isinstance(option, QStyleOptionFrame) and option.lineWidth > 0
            return made.adjusted(4, 0, -2, 0) if framed else made
        return made

    def hitTestComplexControl(
        self,
        control: QStyle.ComplexControl,
        option: QStyleOptionComplex,
        position: QPoint,
        widget: QWidget | None = None,
    ) -> QStyle.SubControl:
        """Return the part under a point."""
        if control == _X.CC_ScrollBar:
            for part in (
                QStyle.SubControl.SC_ScrollBarSlider,
                QStyle.SubControl.SC_ScrollBarSubPage,
                QStyle.SubControl.SC_ScrollBarAddPage,
            ):
                if frames.scroll_rect(option, part).contains(position):
                    return part
            return QStyle.SubControl.SC_None
        return super().hitTestComplexControl(control, option, position, widget)

    def pixelMetric(
        self,
        metric: QStyle.PixelMetric,
        option: QStyleOption | None = None,
        widget: QWidget | None = None,
    ) -> int:
        """Return a measure."""
        found = _METRICS.get(metric)
        if found is not None:
            return found
        if metric == _M.PM_ButtonIconSize:
            return grown(_TOOL if isinstance(widget, QToolButton) else ICON)
        if metric == _M.PM_IndicatorWidth and controls.is_switch(widget):
            return grown(_SWITCH_WIDTH)
        if metric in _SQUARES:
            return grown(ICON)
        return super().pixelMetric(metric, option, widget)

    def standardIcon(
        self,
        standard: QStyle.StandardPixmap,
        option: QStyleOption | None = None,
        widget: QWidget | None = None,
    ) -> QIcon:
        """Return an icon of Qt's; none for buttons of dialogs, of which it has some only.

        Style hints are left to Fusion: views ask for hundreds with every edit, and each would go
        through Python.
        """
        if standard.name.startswith("SP_Dialog") and standard.name.endswith("Button"):
            return QIcon()
        return super().standardIcon(standard, option, widget)

    def sizeFromContents(
        self,
        kind: QStyle.ContentsType,
        option: QStyleOption,
        size: QSize,
        widget: QWidget | None = None,
    ) -> QSize:
        """Return a control's size: one height for all that stand in a row."""
        if kind == _T.CT_MenuItem and isinstance(option, QStyleOptionMenuItem):
            wide, tall = menus.row_size(option, option.fontMetrics.height())
            if self.for_gloves and option.menuItemType != _SEPARATOR:
                tall = max(tall, GLOVES)
            return QSize(max(wide, size.width() if option.maxIconWidth else 0), tall)
        made = super().sizeFromContents(kind, option, size, widget)  # type: ignore[arg-type]
        tall = max(self.control, option.fontMetrics.height() + APART) if option is not None else 0
        if kind == _T.CT_PushButton:
            inner = size.width() + 2 * APART
            return QSize(max(inner, made.width() if size.isEmpty() else inner), tall)
        if kind in (_T.CT_LineEdit, _T.CT_ComboBox, _T.CT_SpinBox):
            return QSize(made.width() + (6 if kind != _T.CT_SpinBox else 0), tall)
        if kind == _T.CT_ToolButton and isinstance(option, QStyleOptionToolButton):
            room = controls.MENU_ROOM if option.features & _MENU else 0
            return QSize(max(made.width() + NEAR + room, tall), max(made.height(), tall))
        if kind == _T.CT_TabBarTab:
            return QSize(made.width() + 2, max(made.height(), tall + 2))
        if kind in (_T.CT_CheckBox, _T.CT_RadioButton):
            least = GLOVES if self.for_gloves else self.control - NEAR
            return QSize(made.width(), max(made.height(), least))
        if kind == _T.CT_MenuBarItem:
            least = GLOVES if self.for_gloves else 0
            return QSize(made.width() + NEAR, max(option.fontMetrics.height() + NEAR + 2, least))
        return made


def _phase() -> float:
    at = monotonic() % 2.0
    return at if at <= 1.0 else 2.0 - at


def _button_label(option: QStyleOptionButton, widget: QWidget | None) -> QStyleOptionButton:
    """Return the option with the colour of its rank."""
    if controls.rank_of(widget) != "primary" or not (option.state & QStyle.StateFlag.State_Enabled):
        return option
    made = QStyleOptionButton(option)
    made.palette = controls.text_palette(option, tones_of(option.palette).on_accent)
    return made


def _tab_label(option: QStyleOptionTab) -> QStyleOptionTab:
    """Return the option of a tab, its text weaker while another one is chosen."""
    if option.state & QStyle.StateFlag.State_Selected or not (
        option.state & QStyle.StateFlag.State_Enabled
    ):
        return option
    made = QStyleOptionTab(option)
    made.palette = controls.text_palette(option, tones_of(option.palette).second)
    return made
