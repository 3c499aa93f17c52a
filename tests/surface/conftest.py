"""Contexts of all windows share what was compiled, as in the app; set before Qt starts."""

from __future__ import annotations

from PySide6.QtCore import QCoreApplication, Qt

if QCoreApplication.instance() is None:
    QCoreApplication.setAttribute(Qt.ApplicationAttribute.AA_ShareOpenGLContexts)
