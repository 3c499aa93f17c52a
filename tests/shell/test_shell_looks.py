"""Light, dark, text size, names for screen readers, and what every control says.

Contrast after WCAG 2.1, success criterion 1.4.3 (at least 4.5 to 1 for text) and 1.4.11 (3 to 1
for what shows where the keyboard is); the formula for relative luminance is from its glossary.
Both from memory.
"""

from __future__ import annotations

import pytest
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QColor, QPalette
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QCheckBox,
    QDialog,
    QLabel,
    QLineEdit,
    QScrollBar,
    QStyle,
    QStyleOptionButton,
    QTabBar,
    QWidget,
)

from app.areas import AREAS
from app.look.style import LookStyle
from app.shell import theme as themes
from app.shell.window import MainWindow
from tests.waiting import settled


def luminance(colour: QColor) -> float:
    def linear(part: float) -> float:
        return part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4

    return (
        0.2126 * linear(colour.redF())
        + 0.7152 * linear(colour.greenF())
        + 0.0722 * linear(colour.blueF())
    )


def contrast(a: QColor, b: QColor) -> float:
    lighter, darker = sorted((luminance(a), luminance(b)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("name", ["light", "dark"])
def test_text_can_be_read(name: str) -> None:
    colours = themes.palette(name)
    role = QPalette.ColorRole
    pairs = [
        (role.WindowText, role.Window),
        (role.Text, role.Base),
        (role.Text, role.AlternateBase),
        (role.ButtonText, role.Button),
        (role.HighlightedText, role.Highlight),
        (role.ToolTipText, role.ToolTipBase),
        (role.PlaceholderText, role.Base),
        (role.Link, role.Base),
        (role.LinkVisited, role.Base),
        (role.BrightText, role.Window),
    ]
    for text, ground in pairs:
        found = contrast(colours.color(text), colours.color(ground))
        assert found >= 4.5, f"{text.name} on {ground.name}: {found:.2f}"
    assert contrast(colours.color(role.Accent), colours.color(role.Window)) >= 3


def test_contrast_of_black_on_white_is_21() -> None:
    # The largest contrast there is, as WCAG 2.1 states it.
    assert contrast(QColor("#000"), QColor("#fff")) == pytest.approx(21)


@pytest.fixture
def theme(qapp: QApplication):  # type: ignore[no-untyped-def]
    before, font, style = QPalette(qapp.palette()), qapp.font(), qapp.style().objectName()
    made = themes.Theme(qapp, qapp.font().family())
    yield made
    made.use("light", font.pointSize())
    qapp.styleHints().colorSchemeChanged.disconnect(made._follow)
    qapp.styleHints().setColorScheme(Qt.ColorScheme.Unknown)
    made.deleteLater()
    qapp.setStyle(style)
    qapp.setPalette(before)
    qapp.setFont(font)


def test_the_theme_is_switched_in_the_menu_and_kept(
    window: MainWindow, theme: themes.Theme, qapp: QApplication
) -> None:
    window.looks._theme = theme
    for name in ("dark", "light"):
        window.book.actions[f"view.theme_{name}"].trigger()
        qapp.processEvents()  # Qt spreads the palette by an event
        assert theme.name == name
        assert qapp.palette().color(QPalette.ColorRole.Base) == themes.palette(name).color(
            QPalette.ColorRole.Base
        )
        assert window.document_bar.palette().color(QPalette.ColorRole.Window) == themes.palette(
            name
        ).color(QPalette.ColorRole.Window)
        assert window.book.actions[f"view.theme_{name}"].isChecked()
        assert type(window.settings)(window.settings.path.parent).theme == name


def test_the_system_is_followed(theme: themes.Theme, qapp: QApplication) -> None:
    theme.use("system", 10)
    hints = qapp.styleHints()
    for scheme, name in ((Qt.ColorScheme.Dark, "dark"), (Qt.ColorScheme.Light, "light")):
        hints.setColorScheme(scheme)
        qapp.processEvents()
        if hints.colorScheme() == scheme:  # what the platform plugin lets itself be told
            assert theme.name == name
            assert qapp.palette().color(QPalette.ColorRole.Base) == themes.palette(name).color(
                QPalette.ColorRole.Base
            )
    theme._wanted = "dark"
    theme._follow()
    assert theme.name == "dark"


def test_text_grows_and_shrinks(
    window: MainWindow, theme: themes.Theme, qapp: QApplication
) -> None:
    window.looks._theme = theme
    window.looks.set_font_size(0)
    for id, size in (("view.larger", 11), ("view.smaller", 10), ("view.smaller", 9)):
        window.book.actions[id].trigger()
        assert qapp.font().pointSize() == size
    window.book.actions["view.normal_size"].trigger()
    assert qapp.font().pointSize() == 10
    for _ in range(30):
        window.looks.set_font_size(+1)
    assert qapp.font().pointSize() == 24


def named(widget: QWidget) -> bool:
    """Whether a screen reader has something to say for a widget."""
    if widget.accessibleName().strip():
        return True
    if isinstance(widget, QAbstractButton) and widget.text().strip():
        return True
    labels = widget.window().findChildren(QLabel)
    return any(label.buddy() is widget and label.text().strip() for label in labels)


def unnamed(top: QWidget) -> list[str]:
    found = []
    for widget in [top, *top.findChildren(QWidget)]:
        if widget.focusPolicy() == Qt.FocusPolicy.NoFocus or not widget.isVisibleTo(top):
            continue
        if widget.focusProxy() is not None:  # hands the keyboard on, as a scroll area's inside does
            continue
        inner = isinstance(widget, QScrollBar | QTabBar) or (
            isinstance(widget, QLineEdit) and widget.parentWidget() is not None
            and widget.parentWidget().inherits("QAbstractSpinBox")
        )  # fmt: skip
        if not inner and not named(widget):
            path, at = type(widget).__name__, widget.parentWidget()
            while at is not None and at is not top:
                path, at = f"{type(at).__name__}/{path}", at.parentWidget()
            found.append(path)
    return found


def test_everything_that_takes_the_keyboard_has_a_name(opened: MainWindow, wait, qtbot) -> None:
    for area in AREAS:
        opened.show_area(area.id)
        settled(qtbot, opened)  # plots follow a moment later
        assert unnamed(opened) == []
    for document_table in ("pre_engage_torque", "clamp_limit_plate"):
        opened.show_area("tune")
        opened.desk.open_table(document_table)
        settled(qtbot, opened)  # the plots follow a moment later
        assert unnamed(opened) == []
    wait()


def test_the_welcome_page_has_names(window: MainWindow, samples) -> None:
    window.settings.add_recent(samples["normal"])
    window.refresh()
    assert unnamed(window) == []


@pytest.mark.parametrize(
    "show",
    ["show_keys", "show_about", "show_changes", "show_cautions", "show_history", "show_palette"],
)
def test_dialogs_have_names_and_close_by_escape(opened: MainWindow, qtbot, show: str) -> None:
    getattr(opened, show)()
    dialog = QApplication.activeModalWidget()
    assert isinstance(dialog, QDialog)
    assert dialog.windowTitle()
    assert unnamed(dialog) == []
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: QApplication.activeModalWidget() is None)


def test_tab_reaches_the_switcher_and_the_sets(opened: MainWindow, qtbot) -> None:
    opened.activateWindow()
    opened.switcher.buttons[0].setFocus()
    seen = set()
    for _ in range(200):
        focused = QApplication.focusWidget()
        if focused in seen:
            break
        seen.add(focused)
        if not opened.focusNextChild():
            break
    assert opened.document_bar.current in seen
    assert opened.document_bar.reference in seen
    # Of the areas Tab reaches the one that is shown; arrow keys go on from there.
    assert opened.switcher.buttons[0] in seen
    opened.switcher.buttons[0].setFocus()
    qtbot.keyClick(opened.switcher.buttons[0], Qt.Key.Key_Down)
    assert opened.area == "compare"


def test_the_wheel_does_not_switch_sets(opened: MainWindow, qtbot) -> None:
    from PySide6.QtCore import QPoint, QPointF
    from PySide6.QtGui import QWheelEvent

    box = opened.document_bar.current
    box.setFocus()
    before = box.currentIndex()
    centre = QPointF(box.rect().center())
    wheel = QWheelEvent(
        centre, box.mapToGlobal(centre), QPoint(), QPoint(0, -120), Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(box, wheel)
    assert box.currentIndex() == before
    assert opened.desk.current is opened.desk.documents[before]


@pytest.mark.qt_log_ignore("This plugin does not support", extend=True)  # pop-ups offscreen
def test_sets_are_chosen_by_keyboard(opened: MainWindow, qtbot) -> None:
    opened.book.actions["sets.choose"].trigger()
    box = opened.document_bar.current
    view = box.view()
    qtbot.waitUntil(view.isVisible)
    qtbot.keyClick(view, Qt.Key.Key_Down)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert opened.desk.current.title == "larch_normal.h5"
    opened.book.actions["sets.next"].trigger()
    assert opened.desk.current.title == "larch_practice.h5"
    opened.refresh()
    opened.book.actions["sets.swap"].trigger()
    assert opened.desk.current.title == "larch_normal.h5"
    assert opened.desk.reference.title == "larch_practice.h5"
    opened.book.actions["sets.no_reference"].trigger()
    assert opened.desk.reference is None
    assert opened.document_bar.reference.currentText() == "None"


def test_the_live_menus_follow_the_sets(opened: MainWindow) -> None:
    menus = opened.live_menus
    menus.fill_sets()
    rows = menus.open_sets.actions()
    assert [a.text() for a in rows] == ["&1 larch_practice.h5", "&2 larch_normal.h5"]
    assert [a.isChecked() for a in rows] == [True, False]
    rows[1].trigger()
    assert opened.desk.current.title == "larch_normal.h5"
    menus.fill_references()
    rows = menus.references.actions()
    assert [a.text() for a in rows] == ["&None", "&1 larch_practice.h5", "&2 larch_normal.h5"]
    rows[1].trigger()
    assert opened.desk.reference.title == "larch_practice.h5"


def test_the_window_fits_a_small_screen(opened: MainWindow, wait) -> None:
    # At 200 % scaling a screen of 1366 x 768 leaves 683 x 384 units; menus and frame take some.
    wait()
    for area in AREAS:
        opened.show_area(area.id)
        hint = opened.minimumSizeHint()
        assert hint.width() <= 683, (area.id, hint)
        assert hint.height() <= 384, (area.id, hint)
    opened.resize(683, 384)
    assert (opened.width(), opened.height()) == (683, 384)


def test_palette_changes_reach_every_page(
    window: MainWindow, theme: themes.Theme, qapp: QApplication
) -> None:
    class Seen(QWidget):
        changes = 0

        def changeEvent(self, event: QEvent) -> None:
            self.changes += event.type() == QEvent.Type.PaletteChange

    probe = Seen(window)
    for name in ("dark", "light"):
        theme.use(name, 10)
        qapp.processEvents()
    assert probe.changes >= 2


@pytest.mark.parametrize("name", ["light", "dark"])
def test_an_empty_check_box_is_seen_on_its_ground(qtbot, name: str) -> None:  # type: ignore[no-untyped-def]
    # WCAG 2.1, 1.4.11 (from memory): parts of a control stand out 3:1 from what is beside them.
    box = QCheckBox()
    qtbot.addWidget(box)
    style = LookStyle()
    box.setStyle(style)
    box.setPalette(themes.palette(name))
    box.resize(box.sizeHint())
    option = QStyleOptionButton()
    box.initStyleOption(option)
    rect = style.subElementRect(QStyle.SubElement.SE_CheckBoxIndicator, option, box)
    image = box.grab().toImage()
    middle = rect.center()
    edge = image.pixelColor(rect.left(), middle.y())
    assert contrast(edge, image.pixelColor(middle)) >= 3
    assert contrast(edge, themes.palette(name).color(QPalette.ColorRole.Window)) >= 3
