"""The style: what is on, chosen, focused or refused is seen, at any size of text."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtGui import QColor, QImage
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QLineEdit,
    QPushButton,
    QScrollBar,
    QStyle,
    QStyleOptionButton,
    QTabBar,
    QToolButton,
    QWidget,
)

from app.colours import contrast
from app.look.palettes import palette
from app.look.parts import primary, quiet, switch
from app.look.style import LookStyle
from app.look.tokens import CONTROL, DARK, GLOVES, LIGHT
from app.look.type import sized

THEMES = {"light": LIGHT, "dark": DARK}


@pytest.fixture
def style():  # type: ignore[no-untyped-def]
    return LookStyle()


def dressed(widget: QWidget, style: LookStyle, name: str = "light") -> QImage:
    widget.setStyle(style)
    widget.setPalette(palette(name))
    widget.resize(widget.sizeHint())
    return widget.grab().toImage()


def colours_in(image: QImage) -> set[str]:
    return {
        image.pixelColor(x, y).name() for x in range(image.width()) for y in range(image.height())
    }


@pytest.mark.parametrize("name", THEMES)
def test_a_primary_button_is_filled_with_the_accent(qtbot, style, name: str) -> None:  # type: ignore[no-untyped-def]
    own = THEMES[name]
    grounds = {}
    for rank, made in (("primary", primary), ("quiet", quiet), ("plain", None)):
        button = QPushButton("Save")
        qtbot.addWidget(button)
        if made is not None:
            made(button)
        image = dressed(button, style, name)
        grounds[rank] = image.pixelColor(6, image.height() // 2).name()
        if rank == "primary":
            assert own.on_accent in colours_in(image)  # its text
            button.setEnabled(False)
            assert dressed(button, style, name).pixelColor(6, 14).name() != own.accent
    assert grounds == {"primary": own.accent, "quiet": own.frame, "plain": own.hover}


@pytest.mark.parametrize("name", THEMES)
@pytest.mark.parametrize("kind", ["box", "switch"])
def test_on_and_off_differ_by_more_than_colour(qtbot, style, name: str, kind: str) -> None:  # type: ignore[no-untyped-def]
    box = QCheckBox("Reference")
    qtbot.addWidget(box)
    if kind == "switch":
        switch(box)
    dressed(box, style, name)
    option = QStyleOptionButton()
    box.initStyleOption(option)
    images = []
    for on in (False, True):
        box.setChecked(on)
        grey = dressed(box, style, name).convertToFormat(QImage.Format.Format_Grayscale8)
        place = style.subElementRect(QStyle.SubElement.SE_CheckBoxIndicator, option, box)
        images.append(grey.copy(place))
    off, on_ = images
    assert off.size().width() == (30 if kind == "switch" else 16)
    apart = [
        abs(off.pixelColor(x, y).red() - on_.pixelColor(x, y).red())
        for x in range(off.width())
        for y in range(off.height())
    ]
    assert sum(a > 60 for a in apart) > 30
    # Within the shape that is on there are two tones: the tick, or the knob at its end.
    tones = {on_.pixelColor(x, y).red() for x in range(4, 12) for y in range(4, 12)}
    assert kind == "switch" or max(tones) - min(tones) > 60


@pytest.mark.parametrize("name", THEMES)
def test_a_field_has_an_outline_of_three_to_one_and_a_stronger_one_with_the_keyboard(
    qtbot,  # type: ignore[no-untyped-def]
    style,  # type: ignore[no-untyped-def]
    name: str,
) -> None:
    own = THEMES[name]
    for field in (QLineEdit(), QComboBox(), QDoubleSpinBox()):
        qtbot.addWidget(field)
        image = dressed(field, style, name)
        middle = image.height() // 2
        edge = image.pixelColor(0, middle)
        for beside in (own.base, own.frame):
            assert contrast(edge, QColor(beside)) >= 2.9  # smoothed at the edge
    line = QLineEdit()
    holder = QWidget()
    qtbot.addWidget(holder)
    line.setParent(holder)
    line.setStyle(style)
    line.setPalette(palette(name))
    holder.show()
    holder.activateWindow()
    line.setFocus()
    qtbot.waitUntil(line.hasFocus)
    image = line.grab().toImage()
    assert image.pixelColor(1, image.height() // 2).name() == own.accent


@pytest.mark.parametrize("points", [9, 10, 16, 24])
def test_controls_have_one_height_that_grows_with_the_text(qtbot, style, qapp, points: int) -> None:  # type: ignore[no-untyped-def]
    font = qapp.font()
    font.setPointSize(points)
    heights = set()
    widgets = (QPushButton("Apply"), QLineEdit(), QComboBox(), QDoubleSpinBox(), QToolButton())
    for widget in widgets:
        qtbot.addWidget(widget)
        if isinstance(widget, QToolButton):
            widget.setText("Apply")
        widget.setStyle(style)
        widget.setFont(font)
        heights.add(widget.sizeHint().height())
        assert widget.sizeHint().height() >= widget.fontMetrics().height() + 8
    assert len(heights) == 1
    assert heights.pop() >= CONTROL


def test_controls_can_be_made_for_gloves(qtbot, style) -> None:  # type: ignore[no-untyped-def]
    style.use_gloves(True)
    button = QPushButton("Apply")
    qtbot.addWidget(button)
    button.setStyle(style)
    assert button.sizeHint().height() == GLOVES == 44


def test_a_scroll_bar_is_dragged_and_paged(qtbot, style) -> None:  # type: ignore[no-untyped-def]
    bar = QScrollBar(Qt.Orientation.Vertical)
    qtbot.addWidget(bar)
    bar.setStyle(style)
    bar.setRange(0, 100)
    bar.setPageStep(20)
    bar.resize(12, 240)
    bar.show()
    qtbot.mousePress(bar, Qt.MouseButton.LeftButton, pos=QPoint(6, 10))
    qtbot.mouseMove(bar, QPoint(6, 110))
    qtbot.mouseRelease(bar, Qt.MouseButton.LeftButton, pos=QPoint(6, 110))
    assert bar.value() == pytest.approx(50, abs=3)  # 100 of the 200 pixels that it can go
    bar.setValue(0)
    qtbot.mouseClick(bar, Qt.MouseButton.LeftButton, pos=QPoint(6, 230))
    assert bar.value() == 20
    assert bar.sizeHint().width() == 12


def test_the_chosen_tab_is_underlined(qtbot, style) -> None:  # type: ignore[no-untyped-def]
    tabs = QTabBar()
    qtbot.addWidget(tabs)
    for text in ("Findings", "Rules"):
        tabs.addTab(text)
    image = dressed(tabs, style)
    marked = []
    for n in (0, 1):
        rect: QRect = tabs.tabRect(n)
        below = image.pixelColor(rect.center().x(), rect.bottom())
        marked.append(below.name() == LIGHT.accent)
    assert marked == [True, False]


def test_bold_text_is_not_thickened_twice(qtbot, qapp) -> None:  # type: ignore[no-untyped-def]
    from PySide6.QtGui import QRawFont

    font = sized(qapp.font(), "body", strong=True)
    semi = QRawFont.fromFont(font)
    font.setBold(True)
    bold = QRawFont.fromFont(font)
    glyph = semi.glyphIndexesForString("n")[0]
    assert bold.boundingRect(glyph) == semi.boundingRect(glyph)


def test_boxes_and_icons_grow_with_the_text(qtbot, style, qapp) -> None:  # type: ignore[no-untyped-def]
    before = qapp.font()
    metric = QStyle.PixelMetric.PM_IndicatorWidth
    try:
        sizes = []
        for points in (10, 16, 20):
            font = qapp.font()
            font.setPointSize(points)
            qapp.setFont(font)
            sizes.append(style.pixelMetric(metric))
    finally:
        qapp.setFont(before)
    assert sizes[0] == 16
    assert sizes[1] >= 24
    assert sizes[2] >= 30


def test_dialog_buttons_have_no_stock_icons(qtbot, style, qapp) -> None:  # type: ignore[no-untyped-def]
    kinds = QStyle.StandardPixmap
    for standard in (kinds.SP_DialogOkButton, kinds.SP_DialogCancelButton):
        assert style.standardIcon(standard).isNull()
    assert not style.standardIcon(QStyle.StandardPixmap.SP_FileIcon).isNull()
    assert not style.styleHint(QStyle.StyleHint.SH_EtchDisabledText)
