"""Questions that need an answer before anything goes on: file names, and unsaved edits.

In one class, so that a test or another front end can answer in place of the user.
"""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget

from app.plain import plain_tip
from calib_model.formats.registry import format_of

FILTER = "Calibration sets (*.h5);;All files (*)"


class Prompts:
    """Asks the user.

    Parameters
    ----------
    parent : QWidget
    """

    def __init__(self, parent: QWidget) -> None:
        self._parent = parent

    def open_paths(self, folder: Path) -> list[Path]:
        """Ask which files to open; empty if none."""
        names, _ = QFileDialog.getOpenFileNames(
            self._parent, "Open calibration sets", str(folder), FILTER
        )
        return [Path(name) for name in names]

    def save_path(self, proposed: Path) -> Path | None:
        """Ask where to save; the dialog asks before it replaces a file."""
        name, _ = QFileDialog.getSaveFileName(
            self._parent, "Save the set as", str(proposed), FILTER
        )
        if not name:
            return None
        path = Path(name)
        return path if path.suffix else path.with_suffix(".h5")

    def export_path(self, proposed: Path) -> Path | None:
        """Ask where to export to; the dialog asks before it replaces a file."""
        form = format_of(proposed)
        suffix = form.suffixes[0]
        name, _ = QFileDialog.getSaveFileName(
            self._parent,
            f"Export to {form.name}",
            str(proposed),
            f"{form.name} files (*{suffix});;All files (*)",
        )
        if not name:
            return None
        path = Path(name)
        return path if path.suffix else path.with_suffix(suffix)

    def save_first(self, title: str, edits: int) -> str:
        """Ask about unsaved edits: ``save``, ``discard`` or ``cancel``."""
        box = QMessageBox(self._parent)
        box.setIcon(QMessageBox.Icon.Question)
        box.setWindowTitle("Unsaved edits")
        box.setText(plain_tip(f"Save the edits in {title}?"))
        count = f"{edits} edit is" if edits == 1 else f"{edits} edits are"
        box.setInformativeText(f"{count} not saved. Discarded edits cannot be brought back.")
        buttons = QMessageBox.StandardButton
        box.setStandardButtons(buttons.Save | buttons.Discard | buttons.Cancel)
        box.setDefaultButton(buttons.Save)
        box.setEscapeButton(buttons.Cancel)
        answers = {buttons.Save: "save", buttons.Discard: "discard"}
        return answers.get(buttons(box.exec()), "cancel")

    def confirm(self, question: str, details: str, yes: str) -> bool:
        """Ask whether to go on with something that loses work."""
        box = QMessageBox(self._parent)
        box.setIcon(QMessageBox.Icon.Warning)
        box.setWindowTitle("Bitepoint")
        box.setText(plain_tip(question))
        box.setInformativeText(plain_tip(details))
        go = box.addButton(yes, QMessageBox.ButtonRole.DestructiveRole)
        stay = box.addButton(QMessageBox.StandardButton.Cancel)
        box.setDefaultButton(stay)
        box.setEscapeButton(stay)
        box.exec()
        return box.clickedButton() is go
