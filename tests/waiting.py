"""Waiting for a window: until nothing of it is put off any more, rather than for some time."""

from __future__ import annotations

from PySide6.QtCore import QCoreApplication, QObject, QTimer
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot


def put_off(*parts: QObject) -> list[QTimer]:
    """Return the timers at or below the parts that will yet fire, once each."""
    timers = (timer for part in parts for timer in part.findChildren(QTimer))
    return [timer for timer in timers if timer.isSingleShot() and timer.isActive()]


def settled(qtbot: QtBot, *parts: QObject, timeout: int = 5000) -> None:
    """Wait until the parts have done all they put off, and are laid out and painted.

    Parameters
    ----------
    qtbot : QtBot
    *parts : QObject
        Widgets whose repaints and answers wait for a single-shot timer of theirs.
    timeout : int
        Milliseconds after which it is a failure.
    """
    drained()
    qtbot.waitUntil(lambda: not put_off(*parts), timeout=timeout)
    drained()


def drained() -> None:
    """Let happen what is due now, and what that brings: layouts, repaints, calls of no delay."""
    for _ in range(3):
        QCoreApplication.sendPostedEvents()
        QApplication.processEvents()
