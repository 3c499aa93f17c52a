"""Start the window: visible at once, files and plots follow."""

from __future__ import annotations

import importlib
import importlib.util
import sys
from pathlib import Path

from PySide6.QtCore import QCoreApplication, Qt, QTimer
from PySide6.QtGui import QGuiApplication, QIcon
from PySide6.QtWidgets import QApplication

from app.look.type import load_fonts
from app.work.control import Control

from .crash import CrashGuard
from .settings import Settings
from .theme import Theme
from .window import MainWindow

ICON = Path(__file__).resolve().parents[2] / "assets" / "icon.png"


def run_window(paths: list[Path]) -> int:
    """Open the window on some files and stay until it is closed.

    Parameters
    ----------
    paths : list of Path
        Set files to open.

    Returns
    -------
    int
        Exit status.
    """
    app, theme = make_application()
    settings = Settings()
    theme.use(settings.theme, settings.font_size)
    theme.use_gloves(settings.gloves)
    theme.show_values(settings.choices)
    window = MainWindow(settings, theme)
    guard = CrashGuard(window, window.recovery.where)
    guard.install()
    window.show()
    window.activateWindow()  # some window managers leave the keyboard with the terminal
    # The reading processes start first: they work while the plots are loaded here.
    window.files.open(paths)
    QTimer.singleShot(0, lambda: load_parts(window))
    try:
        return app.exec()
    finally:
        guard.remove()


def make_application() -> tuple[QApplication, Theme]:
    """Return the application with font, style and icon."""
    QCoreApplication.setApplicationName("Bitepoint")
    QCoreApplication.setOrganizationName("Bitepoint")
    QGuiApplication.setHighDpiScaleFactorRoundingPolicy(
        Qt.HighDpiScaleFactorRoundingPolicy.PassThrough
    )
    # Surfaces live in more than one place of the window.
    QCoreApplication.setAttribute(Qt.ApplicationAttribute.AA_ShareOpenGLContexts)
    app = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(app, QApplication)
    app.setWindowIcon(QIcon(str(ICON)))
    return app, Theme(app, load_fonts())


def load_parts(window: MainWindow) -> None:
    """Import the plots in the background, then make the work area Tune; look for lost edits."""

    def ready(_result: object = None) -> None:
        window.build_tune()
        window.recovery.look()

    window.jobs.start(
        "Getting ready",
        _import_plots,
        done=ready,
        failed=lambda error: window.starting.setText(str(error)),
    )


def _import_plots(_control: Control) -> None:
    # Only the library: importing it takes longer than all the rest, and makes no widget.
    if importlib.util.find_spec("app.plots") is not None:
        importlib.import_module("pyqtgraph")
