"""Measures of desk runs as a table: as saved, now, of the reference, and the user's limits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QSize, Qt
from PySide6.QtGui import QFont

from app.driving.looks import NOW, REFERENCE, SAVED
from app.driving.manoeuvre_words import how_read, metrics_of
from app.driving.service import Driving
from app.driving.shapes import DeskRun
from app.driving.verdict import DIRECTION, judge, limit_words, number, signed, within
from app.plain import plain_tip
from calib_model.core.numbers import exact
from calib_model.core.typed_number import parse_number
from calib_model.core.units import shown
from calib_model.errors import BitepointError
from calib_model.foreign_text import plain_line

if TYPE_CHECKING:
    from calib_model.vehicle.manoeuvres import Manoeuvre
    from calib_model.vehicle.metrics import Metric

Index = QModelIndex | QPersistentModelIndex
_ROLE = Qt.ItemDataRole

MEASURE, BETTER, AS_SAVED, CURRENT, SINCE, OTHER, AGAINST, LIMIT, KEPT = range(9)
HEADS = (
    "Desk estimate", "Better", "As saved", "Now", "Since saved", "Reference",
    "Now against reference", "Your limit", "Limit kept",
)  # fmt: skip
TIPS = (
    "What is read off the manoeuvre, with its unit: an estimate of the desk, not a measurement.",
    "Whether lower or higher is better.",
    "With the set as it was opened or last saved.",
    "With the set as it is now.",
    "The change by the edits since the last save, and whether it is better or worse.",
    "With the reference set as it is now.",
    "How the set as it is now differs from the reference set.",
    "A limit that you set: F2 changes it, Delete goes back to the first one. It is remembered.",
    "Whether the set as it is now keeps your limit.",
)


@dataclass(frozen=True)
class Entry:
    """One row: a measure of a manoeuvre, or the title of a manoeuvre."""

    manoeuvre: Manoeuvre
    measure: Metric | None
    runs: Mapping[str, DeskRun] = field(default_factory=dict)

    def value(self, part: str) -> float:
        """Return the measure of a part's run; NaN if there is none."""
        run = self.runs.get(part)
        if run is None or self.measure is None or not run.completed:
            return math.nan
        return run.value(self.measure.name)


class MetricsModel(QAbstractTableModel):
    """Measures of one or several manoeuvres.

    Parameters
    ----------
    driving : Driving
        Keeps the limits.
    """

    def __init__(self, driving: Driving) -> None:
        super().__init__()
        self._driving = driving
        self._entries: list[Entry] = []
        driving.limits_changed.connect(self._on_limits)

    @property
    def entries(self) -> Sequence[Entry]:
        """The rows."""
        return self._entries

    def show_runs(self, runs: Sequence[tuple[Manoeuvre, Mapping[str, DeskRun]]]) -> None:
        """Show runs by part; titles between manoeuvres where there are several."""
        entries = []
        for manoeuvre, by_part in runs:
            if len(runs) > 1:
                entries.append(Entry(manoeuvre, None, by_part))
            entries += [Entry(manoeuvre, measure, by_part) for measure in metrics_of(manoeuvre)]
        same = [(e.manoeuvre.id, e.measure) for e in entries]
        if same == [(e.manoeuvre.id, e.measure) for e in self._entries]:
            self._entries = entries
            if entries:
                self.dataChanged.emit(
                    self.index(0, 0), self.index(len(entries) - 1, len(HEADS) - 1)
                )
            return
        self.beginResetModel()
        self._entries = entries
        self.endResetModel()

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(self._entries)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(HEADS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = _ROLE.DisplayRole
    ) -> Any:
        if orientation != Qt.Orientation.Horizontal or not 0 <= section < len(HEADS):
            return None
        if role == _ROLE.DisplayRole:
            return HEADS[section]
        if role == _ROLE.ToolTipRole:
            return TIPS[section]
        if role == _ROLE.TextAlignmentRole:
            return int(_alignment(section))
        return None

    def flags(self, index: Index) -> Qt.ItemFlag:
        if not index.isValid():
            return Qt.ItemFlag.NoItemFlags
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        entry = self._entries[index.row()]
        if index.column() == LIMIT and entry.measure is not None:
            flags |= Qt.ItemFlag.ItemIsEditable
        return flags

    def data(self, index: Index, role: int = _ROLE.DisplayRole) -> Any:
        if not index.isValid():
            return None
        entry, column = self._entries[index.row()], index.column()
        if role == _ROLE.TextAlignmentRole:
            return int(_alignment(column))
        if role == _ROLE.FontRole and (entry.measure is None or column == CURRENT):
            font = QFont()
            font.setBold(True)
            return font
        if entry.measure is None and role == _ROLE.SizeHintRole:
            return QSize(10, 10)  # it spans the row, so it does not widen the first column
        if entry.measure is None:
            text = _title(entry)
            if role == _ROLE.DisplayRole:
                return text if column == 0 else ""
            if role == _ROLE.ToolTipRole:
                return plain_tip(text)
            return text if role == _ROLE.AccessibleTextRole else None
        if role == _ROLE.DisplayRole:
            return self._text(entry, column)
        if role == _ROLE.EditRole:
            if column != LIMIT:
                return self._text(entry, column)
            limit = self._limit(entry)
            return exact(limit) if math.isfinite(limit) else ""
        if role == _ROLE.ToolTipRole:
            return plain_tip(self._tip(entry, column))
        if role == _ROLE.AccessibleTextRole:
            head = f"{HEADS[column]}: " if column else ""
            return f"{entry.measure.label}, {head}{self._text(entry, column) or 'none'}"
        return None

    def setData(self, index: Index, value: Any, role: int = _ROLE.EditRole) -> bool:
        entry = self._entries[index.row()] if index.isValid() else None
        if entry is None or entry.measure is None or role != _ROLE.EditRole:
            return False
        if index.column() != LIMIT:
            return False
        text = str(value).strip().lstrip("≤≥<>=").strip()
        try:
            limit = parse_number(text) if text else math.nan
        except BitepointError as error:
            self._driving.desk.tell(str(error), refused=True)
            return False
        self._driving.set_limit(entry.manoeuvre.id, entry.measure.name, limit)
        return True

    # -- words -----------------------------------------------------------------------------------

    def _limit(self, entry: Entry) -> float:
        assert entry.measure is not None
        return self._driving.limit(entry.manoeuvre, entry.measure.name)

    def _text(self, entry: Entry, column: int) -> str:
        measure = entry.measure
        assert measure is not None
        now = entry.value(NOW)
        if column == MEASURE:
            unit = shown(measure.unit)
            return f"{measure.label}, {unit}" if unit else measure.label
        if column == BETTER:
            return "–" if measure.better == "neither" else DIRECTION[measure.better].split(" is")[0]
        if column in (AS_SAVED, CURRENT, OTHER):
            return number(entry.value({AS_SAVED: SAVED, CURRENT: NOW, OTHER: REFERENCE}[column]))
        if column in (SINCE, AGAINST):
            verdict = judge(measure, entry.value(SAVED if column == SINCE else REFERENCE), now)
            if verdict.kind == "unknown":
                return ""
            if verdict.kind == "same":
                return verdict.words
            return f"{signed(verdict.change)}  {verdict.words}"
        limit = self._limit(entry)
        if column == LIMIT:
            return limit_words(measure, limit)
        kept = within(measure, now, limit)
        return "" if kept is None else "✓ kept" if kept else "✗ not kept"

    def _tip(self, entry: Entry, column: int) -> str:
        measure = entry.measure
        assert measure is not None
        part = {AS_SAVED: SAVED, CURRENT: NOW, OTHER: REFERENCE}.get(column)
        run = entry.runs.get(part) if part else None
        if run is not None and math.isnan(entry.value(part or "")):
            reading = run.readings.get(measure.name)
            why = reading.why if reading is not None else ""
            return run.why or why or "This run does not give the number."
        if column == LIMIT:
            return TIPS[LIMIT]
        if column > BETTER:
            return ""
        return f"{how_read(measure)} {DIRECTION[measure.better].capitalize()}."

    def _on_limits(self) -> None:
        if self._entries:
            last = self.index(len(self._entries) - 1, KEPT)
            self.dataChanged.emit(self.index(0, LIMIT), last)


def _title(entry: Entry) -> str:
    now = entry.runs.get(NOW)
    if now is None:
        return f"{plain_line(entry.manoeuvre.name)}: not driven yet"
    if not now.completed:
        return f"{plain_line(entry.manoeuvre.name)}: not completed. {plain_line(now.why)}"
    return plain_line(entry.manoeuvre.name)


def _alignment(column: int) -> Qt.AlignmentFlag:
    left = column in (MEASURE, BETTER, SINCE, AGAINST, KEPT)
    side = Qt.AlignmentFlag.AlignLeft if left else Qt.AlignmentFlag.AlignRight
    return side | Qt.AlignmentFlag.AlignVCenter
