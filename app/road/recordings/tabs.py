"""The lists beside the plots: this moment, moments of a cell, faults, totals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.plain import PlainLabel
from app.road.recordings.moment import DECIDES, Cell, place_words, uses_at
from app.road.recordings.work import Outcome
from app.road.rows import Column, Row, RowsView
from calib_model.core.arrays import FloatArray
from calib_model.core.numbers import short, with_unit
from calib_model.core.table import Table
from calib_model.core.units import shown

if TYPE_CHECKING:
    from calib_model.evidence.recording import Recording
    from calib_model.evidence.replay import Interval


class ListTab(QWidget):
    """A line of words above a list."""

    def __init__(
        self, columns: tuple[Column, ...], stretch: int, name: str, *, wrap: bool = False
    ) -> None:
        super().__init__()
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.words.setContentsMargins(6, 4, 6, 2)
        self.list = RowsView(columns, stretch, name, wrap=wrap)
        self.list.setMinimumHeight(3 * self.fontMetrics().height())
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.words)
        column.addWidget(self.list, 1)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on to the list."""
        super().focusInEvent(event)
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)


class AgreementTab(ListTab):
    """The controller's own signals of the recording against the replay.

    Signals
    -------
    moment_wanted : float
    """

    moment_wanted = Signal(float)

    def __init__(self) -> None:
        super().__init__(
            (
                Column("Signal"),
                Column("Within", True, "Share of the time within the tolerance."),
                Column("Tolerance", True),
                Column("Rms", True, "Of recorded less replayed."),
                Column("Largest", True, "Recorded less replayed, where it is largest."),
                Column("At, s", True),
            ),
            0,
            "Recorded signals against the replay",
        )
        self.list.taken.connect(self._go)

    def show_outcome(self, outcome: Outcome | None) -> None:
        """Show how far the replay agrees, the worst signal first."""
        if outcome is None:
            self.words.setText("Nothing is replayed yet.")
            self.list.show_rows(())
            return
        trust = outcome.trust
        parts = [outcome.found, trust.words, outcome.vehicle.words]
        parts += ["Enter goes to where it departs most."] if trust.residuals else []
        self.words.setText(" ".join(parts))
        self.list.show_rows(
            [
                Row(
                    (
                        residual.signal.replace("_", " "),
                        f"{100 * residual.within:.0f} %" if residual.seconds else "",
                        with_unit(residual.tolerance, shown(residual.unit), 3),
                        short(residual.rms, 3),
                        short(residual.largest, 3),
                        _seconds(residual.largest_at),
                    ),
                    residual.largest_at,
                    residual.level != "agrees",
                    f"{residual.signal}: {residual.words}",
                )
                for residual in trust.residuals
            ]
        )

    def _go(self, moment: float) -> None:
        if math.isfinite(moment):
            self.moment_wanted.emit(moment)


class MomentTab(ListTab):
    """Tables and cells that the moment used.

    Signals
    -------
    cell_wanted : str, tuple of int
        A cell is to be seen in Tune.
    """

    cell_wanted = Signal(str, tuple)

    def __init__(self) -> None:
        super().__init__(
            (
                Column("Table and its cells"),
                Column("Value", True, "What the table gave at that moment; below it its cells."),
                Column("Weight", True, "Share of the cell in what the table gave."),
                Column("Part", False, "Whether the table decided the torque, took part, or was "
                       "only read."),
            ),
            0,
            "Tables and cells used at this moment",
        )  # fmt: skip
        self.list.taken.connect(lambda key: self.cell_wanted.emit(*key[:2]))

    def show_moment(self, outcome: Outcome | None, tick: int) -> None:
        """Show what a tick used."""
        if outcome is None:
            self.words.setText("Nothing is replayed yet.")
            self.list.show_rows(())
            return
        moment = float(outcome.ticks.time[tick])
        uses = uses_at(outcome.a, tick)
        if not uses:
            self.words.setText(
                f"At {moment:.2f} s nothing is known: a fault of the recording is masked here."
            )
            self.list.show_rows(())
            return
        decider = next((u.label for u in uses if u.part == DECIDES), "")
        says = f"{decider} decided" if decider else "No table decided the torque"
        self.words.setText(f"At {moment:.2f} s: {says}. Enter goes to the cell in Tune.")
        rows = []
        for use in uses:
            if use.first:
                texts = (use.label, use.read, "", use.part)
                rows.append(Row(texts, (use.table, use.cell, True), use.part == DECIDES, use.tip))
            texts = (f"      {use.place}", use.value, f"{100 * use.weight:.0f} %", "")
            rows.append(Row(texts, (use.table, use.cell, False), False, use.tip))
        self.list.show_rows(rows, keep=self.list.hasFocus())


class FaultsTab(ListTab):
    """Faults of the recording.

    Signals
    -------
    moment_wanted : float
    """

    moment_wanted = Signal(float)

    def __init__(self) -> None:
        super().__init__(
            (
                Column("Kind"),
                Column("At, s", True),
                Column("For, s", True),
                Column("Samples", True, "How many samples are masked."),
                Column("Channel"),
            ),
            4,
            "Faults of the recording",
            wrap=True,
        )
        self.list.taken.connect(self._go)

    def show_recording(self, recording: Recording | None) -> None:
        """List the faults of a recording."""
        faults = recording.faults if recording is not None else ()
        if recording is None:
            words = "No recording is open."
        elif faults:
            words = (
                f"{len(faults)} found and masked; nothing is filled in. Enter goes to the moment."
            )
        else:
            words = "No fault was found in this recording."
        for remark in recording.remarks if recording is not None else ():
            words += f" {remark}"
        self.words.setText(words)
        self.list.show_rows(
            [
                Row(
                    (
                        fault.kind,
                        _seconds(fault.start_s),
                        _seconds(fault.seconds),
                        str(fault.count),
                        fault.channel,
                    ),
                    number,
                    tip=fault.words,
                )
                for number, fault in enumerate(faults)
            ]
        )
        self._starts = [fault.start_s for fault in faults]

    def _go(self, number: Any) -> None:
        start = self._starts[number]
        if math.isfinite(start):
            self.moment_wanted.emit(start)

    def choose_near(self, moment: float) -> None:
        """Choose the fault that begins at a moment."""
        for number, start in enumerate(self._starts):
            if start == moment:
                self.list.choose(number)
                return


class CellTab(ListTab):
    """Moments that used one cell.

    Signals
    -------
    moment_wanted : float
    """

    moment_wanted = Signal(float)

    def __init__(self) -> None:
        super().__init__(
            (
                Column("From, s", True),
                Column("To, s", True),
                Column("For, s", True),
                Column("Decided, s", True, "For how long the table took part in what decided."),
                Column(""),
            ),
            4,
            "Moments that used the cell",
        )
        self.list.taken.connect(lambda start: self.moment_wanted.emit(float(start)))
        self.at: tuple[str, Cell] | None = None

    def show_cell(
        self, table: Table | None, cell: Cell, stays: Sequence[Interval] | None, why: str = ""
    ) -> None:
        """List when a cell was used.

        Parameters
        ----------
        table : Table or None
        cell : tuple of int
        stays : sequence of Interval, or None
            None where nothing is known.
        why : str
            Why nothing is known.
        """
        if table is None:
            self.words.setText("Open a set and put the cursor of Tune on a cell (Shift+F5 there).")
            self.list.show_rows(())
            return
        self.at = (table.id, cell)
        name = f"{table.label} at {place_words(table, cell)}"
        if not stays:
            said = why or "Nothing is replayed yet." if stays is None else "Not used in this drive."
            self.words.setText(f"{name}: {said}")
            self.list.show_rows(())
            return
        total = sum(stay.end - stay.start for stay in stays)
        times = "once" if len(stays) == 1 else f"{len(stays)} times"
        self.words.setText(
            f"{name} was used {times}, {short(total, 4)} s together. Enter goes to the moment."
        )
        self.list.show_rows(
            [
                Row(
                    (
                        f"{stay.start:.2f}",
                        f"{stay.end:.2f}",
                        f"{stay.end - stay.start:.2f}",
                        f"{stay.decided:.2f}",
                        "",
                    ),
                    stay.start,
                    stay.decided > 0,
                )
                for stay in stays
            ]
        )


class TotalsTab(ListTab):
    """What the drive did with each table, in total.

    Signals
    -------
    cell_wanted : str, tuple of int
    """

    cell_wanted = Signal(str, tuple)

    def __init__(self) -> None:
        super().__init__(
            (
                Column("Table"),
                Column("Decided, s", True, "Seconds for which the table decided the torque."),
                Column("Part, s", True, "Seconds for which it took part in what decided."),
                Column("Cells", True, "Cells used, of all."),
                Column("Range", True, "Smallest and largest value read, in the table's unit."),
            ),
            0,
            "Totals by table",
            wrap=True,
        )
        self.list.taken.connect(lambda key: self.cell_wanted.emit(*key))

    def show_outcome(self, outcome: Outcome | None) -> None:
        """Show the totals of a replay."""
        if outcome is None:
            self.words.setText("Nothing is replayed yet.")
            self.list.show_rows(())
            return
        replay = outcome.a
        stats = replay.stats()
        self.words.setText(
            f"{short(stats.valid_seconds, 5)} s of {short(stats.seconds, 5)} s replayed; no table "
            f"decided for {short(stats.idle_seconds, 5)} s, limits for "
            f"{short(stats.limited_seconds, 5)} s. Disconnected "
            f"{_percent(stats.disconnected_share)}, reconnected {stats.reconnections} times. "
            "Enter goes to the cell used longest."
        )
        governed = {
            replay.roles[role].id: seconds
            for role, seconds in stats.governed.items()
            if role in replay.roles
        }
        rows = []
        order = sorted(
            outcome.coverage.values(),
            key=lambda c: (-governed.get(c.table_id, 0.0), -c.decided.sum(), -c.used.sum()),
        )
        for one in order:
            table = replay.content[one.table_id]
            label = table.label
            longest = np.unravel_index(int(one.dwell.argmax()), one.dwell.shape)
            outside = float(one.extrapolated.sum())
            beyond = f"; {outside:.1f} s beyond an axis" if outside else ""
            rows.append(
                Row(
                    (
                        label,
                        f"{governed.get(one.table_id, 0.0):.1f}",
                        f"{float(one.decided.sum()):.1f}",
                        f"{int(one.used.sum())} of {one.dwell.size}" + (" !" if outside else ""),
                        _range(replay.tables[one.table_id], table.unit),
                    ),
                    (one.table_id, tuple(int(i) for i in longest)),
                    one.table_id in governed,
                    f"{label}: {one.words}{beyond}",
                )
            )
        for id, why in replay.left_out.items():
            label = replay.content[id].label
            rows.append(Row((label, "left out", "", "", ""), (id, ()), tip=f"{label}: {why}"))
        self.list.show_rows(rows)


def _range(values: FloatArray, unit: str) -> str:
    good = values[np.isfinite(values)]
    if not good.size:
        return ""
    low, high = short(float(good.min()), 3), short(float(good.max()), 3)
    said = low if low == high else f"{low} \N{EN DASH} {high}"
    return f"{said} {shown(unit)}".strip()


def _seconds(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else ""


def _percent(share: float) -> str:
    return f"{100 * share:.0f} % of the time" if math.isfinite(share) else "not known"
