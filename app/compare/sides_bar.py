"""Chooses the two sides, and says in a line how they compare."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QSizePolicy, QToolButton, QWidget

from app.desk import Desk
from app.plain import PlainLabel, plain_tip
from app.plots.frame import OneLine
from app.quiet import QuietCombo
from calib_model.session.document import Document

from .service import Comparing
from .sides import Side

LIVE, EARLIER, KEPT = "live", "earlier", "kept"


class SidesBar(QWidget):
    """Two lists of sets and their earlier states, and the summary in words.

    Signals
    -------
    earlier_wanted : str, Document
        An earlier state of a set is to be chosen for side ``first`` or ``second``.
    result_wanted : bool
        The resulting torque is to be shown, or the tables.
    """

    earlier_wanted = Signal(str, object)
    result_wanted = Signal(bool)

    def __init__(self, desk: Desk, comparing: Comparing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk, self._comparing = desk, comparing
        self.first = self._list("A: the set that differences start from")
        self.second = self._list("B: the set that is held against A")
        self.swap = QToolButton()
        self.swap.setText("⇄")
        self.swap.setAccessibleName("Swap A and B")
        self.swap.setToolTip("Exchanges A and B, so that every difference changes its sign.")
        self.swap.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.swap.clicked.connect(lambda _checked=False: comparing.swap())
        self.result = QToolButton()
        self.result.setText("Resulting torque")
        self.result.setToolTip("Shows what all tables of A and of B command together (Ctrl+F12).")
        self.result.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.result.setCheckable(True)
        self.result.toggled.connect(self.result_wanted)
        self.words = OneLine()
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 4, 8, 4)
        row.setSpacing(6)
        for text, box in (("A", self.first), ("B", self.second)):
            label = PlainLabel(text)
            label.setBuddy(box)
            row.addWidget(label)
            row.addWidget(box, 2)
            if text == "A":
                row.addWidget(self.swap)
        row.addWidget(self.result)
        row.addSpacing(6)
        row.addWidget(self.words, 4)
        self.first.activated.connect(lambda number: self._choose("first", number))
        self.second.activated.connect(lambda number: self._choose("second", number))
        comparing.sides_changed.connect(self.refresh)
        desk.documents_changed.connect(self.refresh)
        self.refresh()

    def _list(self, name: str) -> QuietCombo:
        box = QuietCombo()
        box.setAccessibleName(name)
        box.setToolTip(plain_tip(f"{name}. Choose an open set, or an earlier state of one."))
        box.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        box.setMinimumContentsLength(12)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        box.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        return box

    def refresh(self) -> None:
        """Show which sets are open and which two are compared."""
        for box, side in (
            (self.first, self._comparing.first),
            (self.second, self._comparing.second),
        ):
            box.blockSignals(True)
            box.clear()
            if side is None:
                box.addItem("Choose a set", (KEPT, None))
            elif not side.is_live:
                box.addItem(side.name, (KEPT, None))
            for document in self._desk.documents:
                box.addItem(_name(document, self._desk.documents), (LIVE, document))
            for document in self._desk.documents:
                box.addItem(f"An earlier state of {document.title}…", (EARLIER, document))
            chosen = 0
            if side is not None and side.is_live and side.document in self._desk.documents:
                chosen = self._desk.documents.index(side.document)
            box.setCurrentIndex(chosen)
            box.setEnabled(bool(self._desk.documents))
            box.blockSignals(False)
        self.swap.setEnabled(self._comparing.ready)
        self.result.setEnabled(self._comparing.ready)

    def _choose(self, which: str, number: int) -> None:
        box: QuietCombo = getattr(self, which)
        kind, document = box.itemData(number)
        if kind == EARLIER:
            self.refresh()
            self.earlier_wanted.emit(which, document)
        elif kind == LIVE:
            self.put(which, Side(document))

    def put(self, which: str, side: Side) -> None:
        """Compare another side; chosen for both, the other one makes way where it can."""
        first, second = self._comparing.first, self._comparing.second
        if which == "first":
            if side.same_as(second):
                second = first if first is not None and not first.same_as(side) else None
            first = side
        else:
            if side.same_as(first):
                first = second if second is not None and not second.same_as(side) else None
            second = side
        self._comparing.choose(first, second)


def _name(document: Document, among: list[Document]) -> str:
    name = document.title
    if document.path and sum(d.title == name for d in among) > 1:
        name = f"{name} ({document.path.parent.name})"
    return f"{name} *" if document.is_modified else name
