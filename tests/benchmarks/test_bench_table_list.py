"""How long one key stroke in the table list's filter takes on 30,000 tables.

The goal is 50 ms to a painted list on an idle machine; the figure is recorded, not asserted.
"""

from __future__ import annotations

from itertools import cycle

from PySide6.QtWidgets import QApplication

from app.desk import Desk
from app.tune.table_list import TableList
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.session.document import Document


def test_one_key_stroke_on_30_000_tables(qtbot, benchmark, count: int) -> None:  # type: ignore[no-untyped-def]
    speed = Axis([0.0, 50.0, 100.0], "Vehicle speed", "km/h")
    tables = [
        Table(
            f"table_{n}", [1.0, n % 7, 0.0], (speed,), f"Torque {n}", "N.m", f"Function {n // 150}"
        )
        for n in range(count)
    ]
    desk = Desk()
    desk.add(Document(CalibrationSet(tables)))
    shown = TableList(desk)
    qtbot.addWidget(shown)
    shown.resize(320, 700)
    shown.show()
    qtbot.waitExposed(shown)
    typed = cycle(["t", "to", "torque", "torque 2", "torque 29", "torque 2999", ""])

    def key_stroke() -> None:
        shown.filter.setText(next(typed))
        QApplication.processEvents()

    benchmark(key_stroke)
    shown.filter.setText("torque 2999")
    assert shown.rows.matching == sum("2999" in str(n) for n in range(count))
