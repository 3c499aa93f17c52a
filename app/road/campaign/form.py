"""What a campaign runs: the form on the left of the part Campaign."""

from __future__ import annotations

import json
import math
import os
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import (
    QCheckBox,
    QFormLayout,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.driving.manoeuvre_words import brief
from app.driving.service import Driving, title_of
from app.driving.shapes import CampaignPlan
from app.forms import PathField
from app.plain import PlainLabel, plain_tip
from app.plots import words
from app.quiet import QuietCombo
from calib_model.core.numbers import exact
from calib_model.core.typed_number import parse_number
from calib_model.errors import BitepointError, EditRefused
from calib_model.foreign_text import plain_line

if TYPE_CHECKING:
    from calib_model.vehicle.variations import Variation

_KEY = "driving/campaign"
METHODS = (("latin", "Latin hypercube"), ("grid", "Grid"))


class Ticks(QListWidget):
    """A short list whose entries can be ticked with the space bar."""

    def __init__(self, name: str, lines: int) -> None:
        super().__init__()
        self.setAccessibleName(name)
        self.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)
        self._lines = lines
        self._fit()

    def _fit(self) -> None:
        line = self.fontMetrics().height() + 4
        self.setFixedHeight(line * max(min(self.count(), self._lines), 1) + 8)

    def show_entries(self, entries: list[tuple[str, str]], ticked: set[str]) -> None:
        """Show entries (key, words); those of `ticked` are chosen."""
        self.blockSignals(True)
        self.clear()
        for key, text in entries:
            item = QListWidgetItem(text)
            item.setData(Qt.ItemDataRole.UserRole, key)
            item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
            state = Qt.CheckState.Checked if key in ticked else Qt.CheckState.Unchecked
            item.setCheckState(state)
            self.addItem(item)
        self.blockSignals(False)
        self._fit()

    @property
    def ticked(self) -> list[str]:
        """Keys of the chosen entries."""
        items = (self.item(row) for row in range(self.count()))
        return [
            str(i.data(Qt.ItemDataRole.UserRole))
            for i in items
            if i.checkState() == Qt.CheckState.Checked
        ]


class CampaignForm(QWidget):
    """Asks for manoeuvres, sets, variations, points, workers and where results go.

    Signals
    -------
    run_wanted, cancel_wanted, open_wanted

    Parameters
    ----------
    driving : Driving
    """

    run_wanted = Signal()
    cancel_wanted = Signal()
    open_wanted = Signal()

    def __init__(self, driving: Driving, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.driving = driving
        self._running = False
        kept = driving.recall(_KEY)
        self._ticked = _texts(kept.get("manoeuvres"))
        self.manoeuvres = Ticks("Manoeuvres of the campaign", 6)
        self.sets = Ticks("Sets of the campaign", 4)
        self.variations: dict[str, tuple[Variation, QCheckBox, QLineEdit, QLineEdit]] = {}
        self.method = QuietCombo()
        for key, text in METHODS:
            self.method.addItem(text, key)
        self.runs, self.seed = _line("Number of points"), _line("Seed of the random numbers")
        self.workers = _line("Workers: processes that drive at a time")
        self.scheduler = _line("Address of a Dask scheduler; empty for this computer")
        self.scheduler.setPlaceholderText("tls://host:8786, or empty")
        self.out = PathField("Results", "save")
        self.out.line.setPlaceholderText("results.parquet or .h5; empty: not kept")
        self.runs_label = PlainLabel("Ru&ns")
        self.total = PlainLabel()
        self.total.setWordWrap(True)
        self.run = QPushButton("Run the campaign")
        self.run.setToolTip("Drives every combination in the background (Ctrl+Shift+F12).")
        self.run.clicked.connect(lambda _checked=False: self._on_run())
        self.open = QPushButton("Open results…")
        self.open.setToolTip("Shows the results of an earlier campaign.")
        self.open.clicked.connect(lambda _checked=False: self.open_wanted.emit())
        self._build(kept)
        self.refresh()

    def _build(self, kept: dict[str, object]) -> None:
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(6, 4, 6, 4)
        column.setSpacing(3)
        for title, widget in (("&Manoeuvres", self.manoeuvres), ("Cali&bration sets", self.sets)):
            label = PlainLabel(title)
            label.setBuddy(widget)
            column.addWidget(label)
            column.addWidget(widget)
            widget.itemChanged.connect(lambda _item: self._count())
        grid = QGridLayout()
        grid.setHorizontalSpacing(4)
        grid.setVerticalSpacing(3)
        grid.addWidget(PlainLabel("Variations"), 0, 0)
        grid.addWidget(PlainLabel("from"), 0, 1)
        grid.addWidget(PlainLabel("to"), 0, 2)
        ranges = kept.get("variations")
        known = ranges if isinstance(ranges, dict) else {}
        for row, variation in enumerate(self.driving.model.variations(), 1):
            self._add_variation(grid, row, variation, known.get(variation.name))
        grid.setColumnStretch(0, 1)
        column.addLayout(grid)
        form = QFormLayout()
        form.setVerticalSpacing(3)
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        self.runs_label.setBuddy(self.runs)
        fields: tuple[tuple[Any, QWidget], ...] = (
            ("Po&ints", self.method), (self.runs_label, self.runs), ("See&d", self.seed),
            ("Wor&kers", self.workers), ("Schedu&ler", self.scheduler), ("Res&ults", self.out),
        )  # fmt: skip
        for label, field in fields:
            form.addRow(label, field)
        column.addLayout(form)
        column.addStretch(1)
        area = QScrollArea()
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(inside)
        foot = QHBoxLayout()
        foot.setContentsMargins(6, 0, 6, 4)
        for button in (self.run, self.open):
            foot.addWidget(button)
        self.total.setContentsMargins(6, 0, 6, 0)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(3)
        whole.addWidget(area, 1)
        whole.addWidget(self.total)
        whole.addLayout(foot)
        self.method.setAccessibleName("How points are chosen")
        self.method.setCurrentIndex(1 if kept.get("method") == "grid" else 0)
        self.method.currentIndexChanged.connect(lambda _i: self._count())
        self.runs.setText(str(kept.get("runs", "50")))
        self.seed.setText(str(kept.get("seed", "1")))
        self.workers.setText(str(kept.get("workers", os.cpu_count() or 1)))
        self.scheduler.setText(str(kept.get("scheduler", "")))
        self.out.show_path(str(kept.get("out", "")))
        for line in (self.runs, self.seed, self.workers):
            line.textChanged.connect(lambda _text: self._count())
        for line in (self.runs, self.seed, self.workers, self.scheduler):
            line.returnPressed.connect(self.run_wanted)

    def _add_variation(
        self, grid: QGridLayout, row: int, variation: Variation, kept: object
    ) -> None:
        full = words.titled(variation.label, variation.unit)
        box = QCheckBox(brief(variation))
        box.setAccessibleName(f"Vary: {full}")
        box.setToolTip(plain_tip(f"Varies from run to run: {full}."))
        ends = (variation.low, variation.high)
        on = True
        if isinstance(kept, list) and len(kept) == 3:
            on, ends = bool(kept[0]), (kept[1], kept[2])
        lines = []
        for end, word in zip(ends, ("from", "to"), strict=True):
            line = _line(f"{variation.label}, {word}")
            line.setText(exact(float(end)) if isinstance(end, int | float) else str(end))
            line.setFixedWidth(max(60, 7 * line.fontMetrics().averageCharWidth()))
            line.textChanged.connect(lambda _text: self._count())
            line.returnPressed.connect(self.run_wanted)
            lines.append(line)
        box.setChecked(on)
        box.toggled.connect(lambda _on: self._count())
        self.variations[variation.name] = (variation, box, lines[0], lines[1])
        grid.addWidget(box, row, 0)
        grid.addWidget(lines[0], row, 1)
        grid.addWidget(lines[1], row, 2)

    # -- what is asked ---------------------------------------------------------------------------

    def refresh(self) -> None:
        """Offer the manoeuvres and open sets there are now."""
        manoeuvres = self.driving.manoeuvres
        ids = [d.id for d in manoeuvres]
        ticked = set(self.manoeuvres.ticked) if self.manoeuvres.count() else self._ticked
        self.manoeuvres.show_entries(
            [(d.id, plain_line(d.name)) for d in manoeuvres], ticked & set(ids) or set(ids[:1])
        )
        desk = self.driving.desk
        titles = [(title_of(d, desk), title_of(d, desk)) for d in desk.documents]
        known = {self.sets.item(r).text() for r in range(self.sets.count())}
        chosen = {t for t, _ in titles if t not in known} | set(self.sets.ticked)
        self.sets.show_entries(titles, chosen)
        self._count()

    def plan(self) -> CampaignPlan:
        """Return what is asked for.

        Raises
        ------
        EditRefused
            Naming the field that cannot be used.
        """
        desk, driving = self.driving.desk, self.driving
        manoeuvres, titles = self.manoeuvres.ticked, self.sets.ticked
        if not manoeuvres:
            raise EditRefused("No manoeuvre is ticked.", "Tick one or more.")
        sets = tuple((t, d.content) for d in desk.documents if (t := title_of(d, desk)) in titles)
        if not sets:
            raise EditRefused("No set is ticked.", "Open a set and tick it.")
        varied = []
        for name, (variation, box, low, high) in self.variations.items():
            if box.isChecked():
                ends = (_number(low), _number(high))
                if not ends[0] <= ends[1] or ends[0] < variation.least or ends[1] > variation.most:
                    raise EditRefused(
                        f"{variation.label} cannot go from {exact(ends[0])} to {exact(ends[1])}.",
                        f"Give the lower end first, within {exact(variation.least)} to "
                        f"{exact(variation.most)}.",
                    )
                varied.append((name, *ends))
        return CampaignPlan(
            tuple(manoeuvres),
            sets,
            driving.vehicle,
            tuple(varied),
            _whole(self.runs, 1, 1_000_000),
            self.method.currentData(),
            _whole(self.seed, 0, 2**31 - 1),
            _whole(self.workers, 1, 4096),
            self.scheduler.text().strip(),
            self.out.path,
        )

    def count_of(self, plan: CampaignPlan) -> int:
        """Return how many runs a plan has."""
        points = 1
        if plan.variations:
            many = len(plan.variations) if plan.method == "grid" else 1
            points = plan.runs**many
        return len(plan.manoeuvres) * len(plan.sets) * points

    def _count(self) -> None:
        grid = self.method.currentData() == "grid"
        self.runs_label.setText("V&alues of each" if grid else "Ru&ns of each")
        try:
            plan = self.plan()
        except BitepointError as error:
            self.total.setText(f"\N{WARNING SIGN} {error}")
            return
        count = self.count_of(plan)
        points = count // (len(plan.manoeuvres) * len(plan.sets))
        parts = (
            _counted(len(plan.manoeuvres), "manoeuvre"),
            _counted(len(plan.sets), "set"),
            _counted(points, "point"),
        )
        self.total.setText(f"{' × '.join(parts)} = {count:,} runs".replace(",", "\N{THIN SPACE}"))

    def keep(self) -> None:
        """Remember what is entered."""
        plain = {
            "manoeuvres": self.manoeuvres.ticked,
            "variations": {
                name: [box.isChecked(), low.text(), high.text()]
                for name, (_, box, low, high) in self.variations.items()
            },
            "method": self.method.currentData(),
            "runs": self.runs.text(),
            "seed": self.seed.text(),
            "workers": self.workers.text(),
            "scheduler": self.scheduler.text().strip(),
            "out": str(self.out.path or ""),
        }
        self.driving.memory.remember(_KEY, json.dumps(plain))

    def show_running(self, running: bool) -> None:
        """Turn the button that runs into one that cancels."""
        self._running = running
        self.run.setText("Cancel" if running else "Run the campaign")

    def _on_run(self) -> None:
        (self.cancel_wanted if self._running else self.run_wanted).emit()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on."""
        super().focusInEvent(event)
        self.manoeuvres.setFocus(Qt.FocusReason.OtherFocusReason)


def _line(name: str) -> QLineEdit:
    line = QLineEdit()
    line.setAccessibleName(name)
    line.setToolTip(plain_tip(f"{name}."))
    return line


def _number(line: QLineEdit) -> float:
    value = parse_number(line.text())
    if not math.isfinite(value):
        raise EditRefused(f"{line.accessibleName()} is empty.", "Enter a number.")
    return value


def _whole(line: QLineEdit, low: int, high: int) -> int:
    text = line.text().strip()
    if not text.isdecimal() or len(text) > 9 or not low <= int(text) <= high:
        raise EditRefused(
            f"{line.accessibleName()}: “{text}” cannot be used.",
            f"Enter a whole number from {low} to {high}.",
        )
    return int(text)


def _counted(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _texts(kept: object) -> set[str]:
    return {str(t) for t in kept} if isinstance(kept, list) else set()
