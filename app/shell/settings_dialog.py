"""The settings: every change is shown at once, and each has a way back."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFrame,
    QGridLayout,
    QLineEdit,
    QScrollArea,
    QSpinBox,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.forms import PathField
from app.look.choices import MAPS, MOST_DECIMALS
from app.look.icons import icon
from app.look.parts import TextLabel, switch
from app.look.tokens import NEAR, WIDE
from app.look.type import grown
from app.plain import PlainLabel, plain_tip

from .base import Shell
from .help_pages import PageDialog
from .looks import Looks
from .noting import Noting

KEY = "release/key"
"""Where signing remembers the path of the private key; the key itself is never read here."""
_THEMES = (("system", "As the system has them"), ("light", "Light"), ("dark", "Dark"))
_REFERENCES = (
    ("base", "The base set of the programme"),
    ("newest", "The set opened last"),
    ("none", "None"),
)
Field = TypeVar("Field", bound=QWidget)


class SettingsDialog(PageDialog):
    """Settings in sections; changes count at once, *as before* takes one back.

    Parameters
    ----------
    window : Shell
    looks : Looks
    noting : Noting
    parent : QWidget
    """

    def __init__(self, window: Shell, looks: Looks, noting: Noting, parent: QWidget) -> None:
        super().__init__("Settings", parent, grown(640), grown(680))
        self._window, self._looks, self._noting = window, looks, noting
        self._settings = window.settings
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(NEAR)
        self._grid.setVerticalSpacing(NEAR)
        self._grid.setColumnStretch(1, 1)
        self._person()
        self._values()
        self._reading()
        self._sets()
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.addLayout(self._grid)
        column.addStretch(1)
        area = QScrollArea()
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setWidget(inside)
        self.put(area)
        self.name.setFocus()

    # -- sections ------------------------------------------------------------------------------

    def _person(self) -> None:
        self._section("You")
        self.name = self._row("Your name in the history", QLineEdit(self._settings.author))
        before = self._settings.author
        self.name.editingFinished.connect(self._take_name)
        self._way_back(self.name, self.name.editingFinished, lambda: self.name.text() != before,
                       lambda: self._name_again(before))  # fmt: skip
        self.key = self._row("Signing key", PathField("Signing key"))
        first = self._settings.remembered(KEY)
        self.key.show_path(first)
        self.key.show_hint("Path of your private key file")
        self.key.changed.connect(self._take_key)
        self._way_back(self.key, self.key.changed, lambda: self.key.line.text() != first,
                       lambda: self._key_again(first))  # fmt: skip
        self._remark("Only where the key lies is kept; never the key or its passphrase.")

    def _values(self) -> None:
        self._section("Values")
        maps = [(id, name) for id, (name, _light, _dark) in MAPS.items()]
        self.map = self._choice("Colours for values", maps, self._settings.values_map,
                                lambda id: self._look("values_map", id))  # fmt: skip
        self.decimals = self._row("Decimals in the grid", QSpinBox())
        self.decimals.setRange(-1, MOST_DECIMALS)
        self.decimals.setSpecialValueText("As stored")
        now = self._settings.decimals
        self.decimals.setValue(-1 if now is None else now)
        self.decimals.valueChanged.connect(
            lambda count: self._look("decimals", None if count < 0 else count)
        )
        first = self.decimals.value()
        self._way_back(self.decimals, self.decimals.valueChanged,
                       lambda: self.decimals.value() != first,
                       lambda: self.decimals.setValue(first))  # fmt: skip
        self._remark("A value that needs more decimals keeps them: no digit is hidden.")

    def _reading(self) -> None:
        self._section("Text and controls")
        self.theme = self._choice("Colours of the window", _THEMES, self._settings.theme,
                                  lambda id: self._look("theme", id))  # fmt: skip
        self.text_size = self._row("Text size", QSpinBox())
        self.text_size.setRange(7, 24)
        self.text_size.setSuffix(" points")
        self.text_size.setKeyboardTracking(False)
        first = self._settings.font_size
        self.text_size.setValue(first)
        self.text_size.valueChanged.connect(lambda points: self._look("font_size", points))
        self._way_back(self.text_size, self.text_size.valueChanged,
                       lambda: self.text_size.value() != first,
                       lambda: self.text_size.setValue(first))  # fmt: skip
        self.gloves = self._row("Large controls for gloves", switch(QCheckBox()))
        was = self._settings.gloves
        self.gloves.setChecked(was)
        self.gloves.toggled.connect(lambda on: self._look("gloves", on))
        self._way_back(self.gloves, self.gloves.toggled, lambda: self.gloves.isChecked() != was,
                       lambda: self.gloves.setChecked(was))  # fmt: skip

    def _sets(self) -> None:
        self._section("Sets")
        self.reference = self._choice("Usual reference", _REFERENCES,
                                      self._settings.usual_reference,
                                      self._take_reference)  # fmt: skip
        self._remark("Of the open sets of the same programme; you can choose another at any time.")

    # -- rows ----------------------------------------------------------------------------------

    def _section(self, title: str) -> None:
        row = self._grid.rowCount()
        label = TextLabel(title, "title")
        if row > 1:
            label.setContentsMargins(0, WIDE, 0, 0)
        self._grid.addWidget(label, row, 0, 1, 3)

    def _row(self, name: str, field: Field) -> Field:
        row = self._grid.rowCount()
        label = PlainLabel(name)
        label.setBuddy(field)
        field.setAccessibleName(name)
        self._grid.addWidget(label, row, 0)
        self._grid.addWidget(field, row, 1)
        return field

    def _choice(
        self,
        name: str,
        choices: tuple[tuple[str, str], ...] | list[tuple[str, str]],
        now: str,
        take: Callable[[str], None],
    ) -> QComboBox:
        box = self._row(name, QComboBox())
        for id, text in choices:
            box.addItem(text, id)
        # Narrow where large text leaves no more; the list itself always shows its rows whole.
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        box.setMinimumContentsLength(8)
        first = box.findData(now)
        box.setCurrentIndex(first)
        box.currentIndexChanged.connect(lambda _index: take(str(box.currentData())))
        self._way_back(box, box.currentIndexChanged, lambda: box.currentIndex() != first,
                       lambda: box.setCurrentIndex(first))  # fmt: skip
        return box

    def _way_back(
        self, field: QWidget, changed: object, differs: Callable[[], bool], go: Callable[[], object]
    ) -> None:
        """Add the button that takes a change of this sitting back; off while there is none."""
        name = field.accessibleName()
        button = QToolButton()
        button.setIcon(icon("undo-2"))
        button.setAutoRaise(True)
        button.setAccessibleName(f"{name}: as before")
        button.setToolTip(plain_tip(f"{name}: as before."))
        button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        button.setEnabled(False)
        changed.connect(lambda *_: button.setEnabled(differs()))  # type: ignore[attr-defined]

        def take_back() -> None:
            go()
            field.setFocus()
            button.setEnabled(differs())

        button.clicked.connect(lambda _checked=False: take_back())
        self._grid.addWidget(button, self._grid.rowCount() - 1, 2)

    def _remark(self, text: str) -> None:
        label = TextLabel(text, "small", second=True)
        label.setWordWrap(True)
        self._grid.addWidget(label, self._grid.rowCount(), 1, 1, 2)

    # -- what a change does --------------------------------------------------------------------

    def _look(self, key: str, value: object) -> None:
        setattr(self._settings, key, value)
        self._looks.apply()

    def _take_name(self) -> None:
        if self.name.text().strip() != self._settings.author:
            self._noting.set_author(self.name.text())
            self.name.setText(self._settings.author)

    def _name_again(self, name: str) -> None:
        self.name.setText(name)
        self._take_name()

    def _key_again(self, path: str) -> None:
        self.key.show_path(path)
        self._take_key()

    def _take_key(self) -> None:
        self._settings.remember(KEY, str(self.key.path or ""))

    def _take_reference(self, id: str) -> None:
        self._settings.usual_reference = id
        self._window.desk.use_reference(id)
