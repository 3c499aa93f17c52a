"""From the first instruction to a set painted in the window, by the processor's time.

The processor's time, for a busy machine keeps the window waiting; on one that does nothing else
the wall clock says little more.  Python keeps its compiled modules here, as it does for a user:
where it may not (`PYTHONDONTWRITEBYTECODE`), compiling our own takes half as long again.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SET = ROOT / "sample_sets" / "larch_normal.h5"
LIMIT = 1.2  # s; 0.7 to 0.9 were measured
ROUNDS = 5

PROGRAM = """
import os, sys, time
from pathlib import Path
from app.shell import start
from app.shell.window import MainWindow
from PySide6.QtCore import QTimer

def look():
    for window in app.topLevelWidgets():
        if not isinstance(window, MainWindow) or window.desk.current is None:
            continue
        if window.grid is None or not window.grid.isVisible():
            continue
        rows = window.grid.model().rowCount()
        window.repaint()
        print(time.process_time(), rows, flush=True)
        os._exit(0)

app, _ = start.make_application()
timer = QTimer(interval=5, timeout=look)
timer.start()
start.run_window([Path(sys.argv[1])])
"""


def _start(folder: Path) -> float:
    env = {**os.environ, "BITEPOINT_STATE_DIR": str(folder), "XDG_CONFIG_HOME": str(folder)}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(SET)],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    seconds, rows = done.stdout.split()
    assert int(rows) > 0, "the grid shows a table"
    return float(seconds)


def test_from_start_to_the_set_on_screen(
    tmp_path: Path, timed: bool, record_testsuite_property: Callable[[str, object], None]
) -> None:
    seconds = min(_start(tmp_path / str(n)) for n in range(ROUNDS if timed else 1))
    record_testsuite_property("start to the set on screen: processor seconds", round(seconds, 2))
    assert not timed or seconds < LIMIT
