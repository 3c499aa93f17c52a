"""Starting: the window is there at once; plots and files follow; the program ends cleanly."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

BARE = """
import sys
from app.shell.start import make_application
from app.shell.window import MainWindow
app, theme = make_application()
theme.use("system", 10)
window = MainWindow(theme=theme)
window.show()
app.processEvents()
assert window.isVisible()
heavy = [m for m in ("pyqtgraph", "h5py", "numba", "scipy", "pint", "OpenGL") if m in sys.modules]
print("heavy:", heavy)
print("font:", app.font().family(), "icon:", not app.windowIcon().isNull())
window.close()
"""

RUN = """
import sys
from pathlib import Path
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from app.shell import start
from app.shell.window import MainWindow

seen = []

def look():
    window = next(w for w in QApplication.topLevelWidgets() if isinstance(w, MainWindow))
    if not seen:
        seen.append((window.isVisible(), len(window.desk.documents), window.tune is not None))
    if len(window.desk.documents) == 2 and window.tune is not None and not (
            window.jobs.running or window._refresh.isActive()):
        print("first:", seen[0])
        print("open:", [d.title for d in window.desk.documents], window.desk.current.title)
        print("findings:", window.desk.report is not None, window.status.findings.text())
        print("focus:", type(QApplication.focusWidget()).__name__)
        print("title:", window.windowTitle())
        picture = window.grab().toImage()
        colours = {picture.pixel(x, y) for x in range(0, picture.width(), 7)
                   for y in range(0, picture.height(), 7)}
        print("drawn:", len(colours) > 50, picture.width(), picture.height(),
              window.devicePixelRatio())
        window.close()
    else:
        QTimer.singleShot(20, look)

QTimer.singleShot(0, look)
print("status:", start.run_window([Path(p) for p in sys.argv[1:]]))
"""


def run(code: str, *arguments: str, **env: str) -> dict[str, str]:
    ended = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=ROOT,
        env={**os.environ, **env},
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    # The session's desktop services are not there in a test; everything else would be a defect.
    errors = [line for line in ended.stderr.splitlines() if "propagateSizeHints" not in line]
    assert errors == []
    return dict(line.split(": ", 1) for line in ended.stdout.splitlines())


def test_the_window_does_not_wait_for_plots_files_or_solvers() -> None:
    said = run(BARE, QT_QPA_PLATFORM="offscreen")
    assert said["heavy"] == "[]"
    assert said["font"] == "Inter icon: True"


def test_files_open_while_the_window_is_there(samples: dict[str, Path]) -> None:
    said = run(RUN, str(samples["practice"]), str(samples["normal"]), QT_QPA_PLATFORM="offscreen")
    assert said["first"] == "(True, 0, False)"
    assert said["open"] == "['larch_practice.h5', 'larch_normal.h5'] larch_practice.h5"
    assert said["findings"].startswith("True")
    assert said["status"] == "0"


@pytest.mark.window
@pytest.mark.parametrize("scale", ["1", "2"])
def test_a_real_window_opens_draws_and_closes(samples: dict[str, Path], scale: str) -> None:
    said = run(RUN, str(samples["practice"]), str(samples["normal"]), QT_SCALE_FACTOR=scale)
    assert said["first"] == "(True, 0, False)"
    assert said["title"].startswith("larch_practice.h5")
    assert said["focus"] == "GridView"
    assert said["drawn"].startswith("True")
    assert said["drawn"].endswith(f"{float(scale)}")
    assert said["status"] == "0"


@pytest.mark.window
def test_keys_reach_the_actions_in_a_real_window(opened, qtbot) -> None:  # type: ignore[no-untyped-def]
    from PySide6.QtCore import Qt
    from PySide6.QtWidgets import QApplication

    window = opened
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    control = Qt.KeyboardModifier.ControlModifier
    qtbot.keyClick(window, Qt.Key.Key_2, control)
    assert window.area == "compare"
    qtbot.keyClick(window, Qt.Key.Key_K, control)
    qtbot.waitUntil(lambda: QApplication.activeModalWidget() is not None)
    palette = QApplication.activeModalWidget()
    qtbot.keyClicks(palette.line, "reconnect_speed practice")
    qtbot.keyClick(palette.line, Qt.Key.Key_Return)
    assert window.desk.table.id == "reconnect_speed"
    assert window.area == "tune"
    qtbot.keyClick(window, Qt.Key.Key_Tab, control)
    assert window.desk.current.title == "larch_normal.h5"
    qtbot.keyClick(window, Qt.Key.Key_F1)  # beside the window, which stays of use meanwhile
    qtbot.waitUntil(lambda: window.guiding.guide is not None and window.guiding.guide.isVisible())
    assert QApplication.activeModalWidget() is None
    qtbot.waitUntil(window.guiding.guide.isActiveWindow)
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Escape)
    assert not window.guiding.guide.isVisible()
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    qtbot.keyClick(window, Qt.Key.Key_F11)
    assert window.isFullScreen()
    qtbot.keyClick(window, Qt.Key.Key_F11)
    assert not window.isFullScreen()


@pytest.mark.window
def test_menus_open_by_keyboard_in_a_real_window(opened, qtbot) -> None:  # type: ignore[no-untyped-def]
    from PySide6.QtCore import Qt
    from PySide6.QtWidgets import QApplication

    window = opened
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    qtbot.keyClick(window, Qt.Key.Key_S, Qt.KeyboardModifier.AltModifier)
    qtbot.waitUntil(lambda: QApplication.activePopupWidget() is not None)
    menu = QApplication.activePopupWidget()
    assert menu is window.book.menus["Sets"]
    letter = window.book.actions["sets.next"].text().split("&")[1][0]
    qtbot.keyClicks(menu, letter)
    qtbot.waitUntil(lambda: window.desk.current.title == "larch_normal.h5")
