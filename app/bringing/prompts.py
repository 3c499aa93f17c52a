"""Which files, which folder, which layout: asked of the user, in one class that a test replaces."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QWidget

from calib_model.bringing.understanding import SUFFIXES

TITLE = "Bring in tables from"
LAYOUTS = "Layouts (*.toml);;All files (*)"


class Prompts:
    """Asks the user; an answer of None or nothing means that they thought better of it."""

    def __init__(self, parent: QWidget) -> None:
        self._parent = parent

    def files(self, folder: Path) -> list[Path]:
        """Ask for files of tables."""
        kinds = " ".join(f"*{suffix}" for suffix in SUFFIXES)
        names, _ = QFileDialog.getOpenFileNames(
            self._parent, TITLE, str(folder), f"Tables ({kinds});;All files (*)"
        )
        return [Path(name) for name in names]

    def folder(self, folder: Path) -> Path | None:
        """Ask for a folder of such files."""
        name = QFileDialog.getExistingDirectory(self._parent, TITLE, str(folder))
        return Path(name) if name else None

    def layout(self, folder: Path) -> Path | None:
        """Ask for a layout to use."""
        name, _ = QFileDialog.getOpenFileName(self._parent, "Load a layout", str(folder), LAYOUTS)
        return Path(name) if name else None

    def layout_to_save(self, folder: Path) -> Path | None:
        """Ask where a layout is to be kept."""
        name, _ = QFileDialog.getSaveFileName(
            self._parent, "Save the layout as", str(folder / "layout.toml"), LAYOUTS
        )
        return Path(name) if name else None
