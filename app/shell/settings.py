"""What the window remembers from one start to the next."""

from __future__ import annotations

import os
from pathlib import Path

from PySide6.QtCore import QByteArray, QSettings

from app.desk import USUAL
from app.look.choices import FIRST, MAPS, MOST_DECIMALS, Choices
from calib_model.core.people import login_name

RECENT_LIMIT = 12
THEMES = ("system", "light", "dark")


def config_folder() -> Path:
    """Folder of the settings file: ``BITEPOINT_CONFIG_DIR``, or the system's usual place."""
    given = os.environ.get("BITEPOINT_CONFIG_DIR")
    if given:
        return Path(given)
    from platformdirs import user_config_path

    return user_config_path("bitepoint", appauthor=False)


class Settings:
    """Typed access to one ini file, so that no key is spelt in two places."""

    def __init__(self, folder: Path | None = None) -> None:
        folder = folder or config_folder()
        self.path = folder / "settings.ini"
        self._store = QSettings(str(self.path), QSettings.Format.IniFormat)

    def _text(self, key: str, default: str = "") -> str:
        value = self._store.value(key, default)
        return value if isinstance(value, str) else default

    def _set(self, key: str, value: object) -> None:
        self._store.setValue(key, value)
        self._store.sync()

    @property
    def theme(self) -> str:
        """One of `THEMES`."""
        value = self._text("view/theme", "system")
        return value if value in THEMES else "system"

    @theme.setter
    def theme(self, value: str) -> None:
        self._set("view/theme", value)

    @property
    def font_size(self) -> int:
        """Text size in points, 7 to 24."""
        text = self._text("view/font_size", "10")
        return min(max(int(text), 7), 24) if text.isdecimal() and len(text) < 10 else 10

    @font_size.setter
    def font_size(self, value: int) -> None:
        self._set("view/font_size", str(value))

    @property
    def author(self) -> str:
        """Who edits, for the history; the system's user name until one is given."""
        return self._text("author/name") or system_user()

    @author.setter
    def author(self, value: str) -> None:
        self._set("author/name", value.strip())

    @property
    def author_is_given(self) -> bool:
        """Whether the user said what the name shall be."""
        return bool(self._text("author/name"))

    @property
    def values_map(self) -> str:
        """Colour map for values, a key of `MAPS`."""
        value = self._text("view/values_map")
        return value if value in MAPS else FIRST.values

    @values_map.setter
    def values_map(self, value: str) -> None:
        self._set("view/values_map", value)

    @property
    def decimals(self) -> int | None:
        """Decimals that numbers in the grid have at least; None for those of their storage."""
        text = self._text("view/decimals")
        return min(int(text), MOST_DECIMALS) if text.isdecimal() and len(text) < 10 else None

    @decimals.setter
    def decimals(self, value: int | None) -> None:
        self._set("view/decimals", "" if value is None else str(value))

    @property
    def choices(self) -> Choices:
        """How values are shown."""
        return Choices(self.values_map, self.decimals)

    @property
    def gloves(self) -> bool:
        """Whether controls are large enough for gloves."""
        return self._text("view/gloves") == "yes"

    @gloves.setter
    def gloves(self, value: bool) -> None:
        self._set("view/gloves", "yes" if value else "")

    @property
    def usual_reference(self) -> str:
        """Which open set becomes the reference by itself, one of `USUAL`."""
        value = self._text("sets/usual_reference")
        return value if value in USUAL else USUAL[0]

    @usual_reference.setter
    def usual_reference(self, value: str) -> None:
        self._set("sets/usual_reference", value)

    @property
    def recent(self) -> list[Path]:
        """Files opened last, newest first."""
        value = self._store.value("files/recent", [])
        listed = value if isinstance(value, list | tuple) else [value]
        return [Path(text) for text in listed if isinstance(text, str) and text]

    def add_recent(self, path: Path) -> None:
        """Put a file first in the list of recent ones."""
        first = path.absolute()
        rest = [p for p in self.recent if p != first]
        self._set("files/recent", [str(p) for p in (first, *rest)][:RECENT_LIMIT])

    def forget_recent(self) -> None:
        """Empty the list of recent files."""
        self._store.remove("files/recent")
        self._store.sync()

    @property
    def folder(self) -> Path:
        """Folder that file dialogs start in."""
        text = self._text("files/folder")
        return Path(text) if text and Path(text).is_dir() else Path.home()

    @folder.setter
    def folder(self, value: Path) -> None:
        self._set("files/folder", str(value))

    def remembered(self, key: str) -> str:
        """Return what a work area remembers under a key such as ``trial/vehicle``."""
        return self._text(key)

    def remember(self, key: str, text: str) -> None:
        """Keep a text of a work area; never a secret."""
        self._set(key, text)

    @property
    def used(self) -> list[str]:
        """Ids of what the palette ran last, newest first."""
        return [id for id in self._text("palette/used").split("\n") if id]

    def add_used(self, id: str) -> None:
        """Put an id first in the list of what the palette ran."""
        rest = [other for other in self.used if other != id]
        self._set("palette/used", "\n".join([id, *rest][:RECENT_LIMIT]))

    @property
    def surface(self) -> str:
        """Whether surfaces are drawn: ``auto``, ``on`` or ``off``."""
        value = str(self._store.value("view/surface") or "auto")
        return value if value in ("auto", "on", "off") else "auto"

    @surface.setter
    def surface(self, value: str) -> None:
        self._set("view/surface", value)

    @property
    def geometry(self) -> QByteArray:
        """The window's place and size; empty at first."""
        value = self._store.value("window/geometry")
        return value if isinstance(value, QByteArray) else QByteArray()

    @geometry.setter
    def geometry(self, value: QByteArray) -> None:
        self._set("window/geometry", value)


def system_user() -> str:
    """Return the name this computer knows the user by."""
    return login_name() or "unknown"
