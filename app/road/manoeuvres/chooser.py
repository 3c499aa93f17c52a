"""Which vehicle drives which manoeuvre: the left side of the part Manoeuvres."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import (
    QFileDialog,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QMenu,
    QPushButton,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.driving.manoeuvre_words import about
from app.driving.service import Driving
from app.look.parts import primary
from app.plain import PlainLabel, cut_line, plain_tip
from app.quiet import QuietCombo
from calib_model.errors import BitepointError
from calib_model.foreign_text import plain_line

_ID = Qt.ItemDataRole.UserRole


class ManoeuvreList(QListWidget):
    """The manoeuvres, two lines each: the name, and how the last run ended.

    Signals
    -------
    taken
        Enter was pressed, or a double click.
    """

    taken = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("Desk manoeuvres")
        self.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.setSpacing(1)
        self.itemDoubleClicked.connect(lambda _item: self.taken.emit())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter takes the manoeuvre."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not event.isAutoRepeat():
            self.taken.emit()
        else:
            super().keyPressEvent(event)


class Chooser(QWidget):
    """Vehicle, load case and manoeuvre.

    Signals
    -------
    chosen
        Another manoeuvre.
    drive_wanted, drive_all_wanted, cancel_wanted

    Parameters
    ----------
    driving : Driving
    """

    chosen = Signal()
    drive_wanted = Signal()
    drive_all_wanted = Signal()
    cancel_wanted = Signal()

    def __init__(self, driving: Driving, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.driving = driving
        self._states: dict[str, str] = {}
        self.vehicle_words = PlainLabel()
        self.vehicle_words.setWordWrap(True)
        # A name without spaces widens nothing.
        self.vehicle_words.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.vehicle = QToolButton()
        self.vehicle.setText("Veh&icle…")
        self.vehicle.setToolTip("Choose the vehicle file that the desk drives.")
        self.vehicle.setAccessibleName("Choose the vehicle")
        self.vehicle.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.vehicle.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.vehicle.setMenu(QMenu(self.vehicle))
        self.vehicle.menu().aboutToShow.connect(self._fill_menu)
        self.variant = QuietCombo()
        self.variant.setAccessibleName("Load case of the vehicle")
        self.variant.setToolTip("How the vehicle is loaded, from its file.")
        self.variant.setSizeAdjustPolicy(
            QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.variant.setMinimumContentsLength(4)
        self.variant.activated.connect(self._on_variant)
        self.list = ManoeuvreList()
        self.list.currentItemChanged.connect(lambda _now, _before: self.chosen.emit())
        self.list.taken.connect(self.drive_wanted)
        self.about = PlainLabel()
        self.about.setWordWrap(True)
        self.run = QPushButton("Drive")
        self.run.setToolTip("Drives the chosen manoeuvre with every set shown (Ctrl+F11).")
        self.run.clicked.connect(lambda _checked=False: self.drive_wanted.emit())
        self.run_all = QPushButton("Drive all")
        self.run_all.setToolTip("Drives every manoeuvre, in the background (Ctrl+Shift+F11).")
        self.run_all.clicked.connect(lambda _checked=False: self._on_run_all())
        primary(self.run)
        self._running = False
        head = QHBoxLayout()
        head.addWidget(self.vehicle)
        head.addWidget(self.variant, 1)
        foot = QHBoxLayout()
        foot.addWidget(self.run)
        foot.addWidget(self.run_all)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 4, 4, 4)
        column.setSpacing(4)
        column.addLayout(head)
        column.addWidget(self.vehicle_words)
        column.addWidget(self.list, 1)
        column.addWidget(self.about)
        column.addLayout(foot)
        driving.choice_changed.connect(self.refresh)
        self.refresh()

    # -- what is chosen --------------------------------------------------------------------------

    @property
    def manoeuvre(self) -> str:
        """Id of the chosen manoeuvre; empty for none."""
        item = self.list.currentItem()
        return str(item.data(_ID)) if item is not None else ""

    def choose(self, id: str) -> bool:
        """Choose a manoeuvre by its id."""
        for row in range(self.list.count()):
            if self.list.item(row).data(_ID) == id:
                self.list.setCurrentRow(row)
                return True
        return False

    def refresh(self) -> None:
        """Show the vehicle and the manoeuvres as they are now."""
        driving = self.driving
        before = self.manoeuvre or driving.memory.remembered("driving/chosen")
        manoeuvres = driving.manoeuvres
        ids = [self.list.item(r).data(_ID) for r in range(self.list.count())]
        if ids != [d.id for d in manoeuvres]:
            self.list.blockSignals(True)
            self.list.clear()
            for manoeuvre in manoeuvres:
                item = QListWidgetItem()
                item.setData(_ID, manoeuvre.id)
                self.list.addItem(item)
            self.list.blockSignals(False)
            if not self.choose(before) and manoeuvres:
                self.list.setCurrentRow(0)
        self._show_vehicle()
        self.show_states(self._states)

    def _show_vehicle(self) -> None:
        driving = self.driving
        choice = driving.vehicle
        self.variant.clear()
        try:
            for name, words in driving.model.variants(choice.path):
                self.variant.addItem(words, name)
            words = driving.model.vehicle_words(choice)
        except BitepointError as error:
            words = f"\N{WARNING SIGN} {error}"
        self.variant.setEnabled(self.variant.count() > 1)
        place = self.variant.findData(choice.variant)
        if place < 0 and choice.variant and self.variant.count():
            words += f" It has no load case “{choice.variant}”."
        self.variant.setCurrentIndex(max(place, 0))
        said = f"{words} ({driving.vehicle_origin})"
        self.vehicle_words.setText(cut_line(said, 100))
        self.vehicle_words.setToolTip(plain_tip(plain_line(said)))

    def show_states(self, states: dict[str, str]) -> None:
        """Show how runs ended, by manoeuvre id."""
        self._states = states
        for row, manoeuvre in enumerate(self.driving.manoeuvres):
            item = self.list.item(row)
            if item is None:
                continue
            state = states.get(manoeuvre.id, "not driven yet")
            own = " (yours)" if manoeuvre.id in self.driving.file.own else ""
            name = plain_line(manoeuvre.name)
            item.setText(f"{name}{own}\n{plain_line(state)}")
            item.setToolTip(plain_tip(f"{name}\n{about(manoeuvre)}\n{state}".strip()))
            item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{name}, {plain_line(state)}")
        chosen = self.driving.manoeuvre(self.manoeuvre)
        self.about.setText(about(chosen) if chosen is not None else "")

    def set_brief(self, brief: bool) -> None:
        """Leave out what tips say as well, where there is little height."""
        self.about.setVisible(not brief)

    def show_running(self, running: bool) -> None:
        """Turn the button that drives all into one that cancels."""
        self._running = running
        self.run_all.setText("Cancel" if running else "Drive all")

    # -- what the user does ----------------------------------------------------------------------

    def _on_run_all(self) -> None:
        (self.cancel_wanted if self._running else self.drive_all_wanted).emit()

    def _on_variant(self, _index: int) -> None:
        self.driving.choose_variant(self.variant.currentData() or "")

    def _fill_menu(self) -> None:
        menu = self.vehicle.menu()
        menu.clear()
        menu.addAction("Choose a vehicle &file…").triggered.connect(
            lambda _checked=False: self.ask_vehicle()
        )
        programme = self.driving.programme_vehicle
        back = (
            f"The &programme's vehicle ({cut_line(programme.name).replace('&', '&&')})"
            if programme is not None
            else "The &invented vehicle that comes with Bitepoint"
        )
        menu.addAction(back).triggered.connect(
            lambda _checked=False: self.driving.choose_vehicle(None)
        )
        menu.addSeparator()
        menu.addAction("Manoeuvres of &yours, from a file…").triggered.connect(
            lambda _checked=False: self.ask_manoeuvres()
        )
        if self.driving.own_manoeuvres is not None:
            menu.addAction("Only the manoeuvres that &come with Bitepoint").triggered.connect(
                lambda _checked=False: self.driving.choose_manoeuvres(None)
            )

    def ask_vehicle(self) -> None:
        """Ask for a vehicle file."""
        path = self._ask("Vehicle file", self.driving.vehicle.path)
        if path is None:
            return
        try:
            self.driving.model.variants(path)
        except BitepointError as error:
            self.driving.desk.tell(str(error), refused=True)
            return
        self.driving.choose_vehicle(path)

    def ask_manoeuvres(self) -> None:
        """Ask for a file of the user's own manoeuvres."""
        path = self._ask("Manoeuvres of yours", self.driving.own_manoeuvres)
        if path is None:
            return
        try:
            self.driving.choose_manoeuvres(path)
        except BitepointError as error:
            self.driving.desk.tell(str(error), refused=True)

    def _ask(self, title: str, before: Path | None) -> Path | None:
        document = self.driving.desk.current
        start = before or (document.path if document is not None else None) or Path.home()
        folder = start if start.is_dir() else start.parent
        name, _ = QFileDialog.getOpenFileName(self, title, str(folder), "TOML files (*.toml)")
        return Path(name) if name else None

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on to the list."""
        super().focusInEvent(event)
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)
