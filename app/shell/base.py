"""What the window's parts stand on: the desk, what is remembered, background work, notices."""

from __future__ import annotations

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QMainWindow

from app.desk import Desk
from app.work.jobs import Jobs

from .banner import BannerStack
from .settings import Settings


class Shell(QMainWindow):
    """The window without what is in it.

    Parameters
    ----------
    settings : Settings

    Attributes
    ----------
    desk : Desk
    settings : Settings
    jobs : Jobs
    banners : BannerStack
    """

    def __init__(self, settings: Settings) -> None:
        super().__init__()
        self.settings = settings
        self.desk = Desk(self)
        self.desk.usual_reference = settings.usual_reference
        self.jobs = Jobs(self)
        self.banners = BannerStack()
        self._refresh = QTimer(self)
        self._refresh.setSingleShot(True)

    @property
    def memory(self) -> Settings:
        """What is kept from one start to the next."""
        return self.settings

    def refresh_soon(self) -> None:
        """Bring menus and bars in line once everything that happens now is done."""
        self._refresh.start()
