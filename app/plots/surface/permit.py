"""Whether surfaces are drawn on this computer, and if not, why, in words."""

from __future__ import annotations

import os

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtGui import QGuiApplication

from app.plots.surface import probe

CHOICES = ("auto", "on", "off")
ELSEWHERE = "The heat map and the slices show the same table."


class Permit(QObject):
    """The user's choice, and what the computer can do.

    Signals
    -------
    changed
        The notice is another one.
    """

    changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        wanted = os.environ.get("BITEPOINT_SURFACE", "auto").strip().lower()
        self.choice = wanted if wanted in CHOICES else "auto"
        self._broken = ""
        self._asking = QTimer(self)
        self._asking.setInterval(60)
        self._asking.timeout.connect(self._ask_again)

    def choose(self, choice: str) -> bool:
        """Take another choice; False if it is the present one."""
        if choice not in CHOICES:
            raise ValueError(f"{choice!r} is none of {', '.join(CHOICES)}")
        if choice == self.choice:
            return False
        self.choice = choice
        self._broken = ""
        self.changed.emit()
        return True

    def give_up(self) -> None:
        """Note that a surface was forced on and came to nothing."""
        self._broken = "Surfaces cannot be drawn here: the system gives no OpenGL context."
        self.changed.emit()

    def notice(self) -> str:
        """Return why surfaces are not drawn; empty if they are."""
        self._asking.stop()
        if self.choice == "off":
            return f"Surfaces are switched off (View, Surface). {ELSEWHERE}"
        platform = QGuiApplication.platformName()
        if self._broken:
            return f"{self._broken} {ELSEWHERE}"
        # Where OpenGL would end the whole program, forcing it on is no choice either.
        if self.choice == "on" and platform not in probe.PLATFORMS_WITHOUT:
            return ""
        answer = probe.ask(platform)
        if answer is None:
            self._asking.start()
            return "Trying whether surfaces can be drawn on this computer …"
        if answer.works:
            return ""
        tail = ""
        if platform not in probe.PLATFORMS_WITHOUT:
            tail = " To draw them all the same, choose View, Surface, Always draw."
        return (
            "Surfaces cannot be drawn here: they need OpenGL 2.1 or newer, which a remote desktop "
            f"or a virtual machine may lack. {answer.missing} {ELSEWHERE}{tail}"
        )

    def accelerated(self) -> bool:
        """Whether a graphics card is known to draw."""
        answer = probe.known(QGuiApplication.platformName())
        return answer is not None and answer.accelerated

    def _ask_again(self) -> None:
        if probe.ask(QGuiApplication.platformName()) is not None:
            self._asking.stop()
            self.changed.emit()
