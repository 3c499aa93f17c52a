"""What every plot can do besides showing: be copied, saved, set back, and shown in its own window.

One row of quiet buttons for all plots of the window; a page gives it a way to make the plot again.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import (
    QApplication,
    QFileDialog,
    QHBoxLayout,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.look.icons import icon
from app.look.parts import quiet
from app.look.tokens import ICON
from app.plain import plain_tip
from app.plots.picture import SLIDE, SaveFailed, Sheet, Twin, image_of, write_picture

FILES = "Pictures (*.png);;Drawings (*.svg)"


class PlotTools(QWidget):
    """Reset view, copy, save, a picture for slides, and a window of its own.

    Parameters
    ----------
    desk : Desk
        Told what was done.
    plot : QWidget
        What is shown; pictures have its size.
    title : callable
        Returns what stands over a picture and names its file.
    twin : callable
        Makes the plot once more, live, without the controls around it.
    fit : callable
        Shows everything again.
    """

    def __init__(
        self,
        desk: Desk,
        plot: QWidget,
        title: Callable[[], str],
        twin: Twin,
        fit: Callable[[], None],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._desk, self._plot, self._title, self._twin = desk, plot, title, twin
        self.windows: list[QWidget] = []
        """Plots in windows of their own, while they are open."""
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.buttons: dict[str, QToolButton] = {}
        for name, tip, act in (
            ("maximize", "Show the whole plot", fit),
            ("copy", "Copy the plot as a picture", self.copy),
            ("download", "Save the plot as PNG or SVG", self.save),
            ("presentation", "Save the plot for slides: light, in large type", self.save_slide),
            ("external-link", "Show the plot in a window of its own", self.pop_out),
        ):
            button = quiet(QToolButton())
            button.setIcon(icon(name, "second"))
            button.setIconSize(QSize(ICON, ICON))
            button.setToolTip(plain_tip(tip))
            button.setAccessibleName(tip)
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.clicked.connect(lambda _checked=False, act=act: act())
            row.addWidget(button)
            self.buttons[name] = button

    def copy(self) -> None:
        """Put the plot as a picture on the clipboard."""
        sheet = self._sheet()
        QApplication.clipboard().setImage(image_of(sheet))
        _gone(sheet)
        self._desk.tell("The plot is copied.")

    def save(self) -> None:
        """Write the plot to a file that the user names, PNG or SVG by its ending."""
        self._save(slide=False)

    def save_slide(self) -> None:
        """Write the plot light and in large type, whatever the window looks like."""
        self._save(slide=True)

    def write(self, path: Path, *, slide: bool = False) -> bool:
        """Write the plot to a file; a failure is told and False returned."""
        sheet = self._sheet(slide=slide)
        try:
            write_picture(path, sheet, self._title())
        except SaveFailed as error:
            self._desk.tell(str(error), refused=True)
            return False
        finally:
            _gone(sheet)
        self._desk.tell(f"The plot is written to {path}.")
        return True

    def pop_out(self) -> QWidget:
        """Show the plot in a window of its own, which follows every edit; returns the window."""
        window = QWidget(self.window(), Qt.WindowType.Window)
        window.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        window.setWindowTitle(self._title())
        column = QVBoxLayout(window)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._twin())
        window.resize(960, 640)
        self.windows.append(window)
        window.destroyed.connect(lambda: self._forget(window))
        window.show()
        return window

    def _forget(self, window: QWidget) -> None:
        self.windows = [one for one in self.windows if one is not window]

    def _sheet(self, *, slide: bool = False) -> Sheet:
        size = SLIDE if slide else self._plot.size()
        return Sheet(self._title(), self._twin(), size, slide=slide)

    def _save(self, *, slide: bool) -> None:
        current = self._desk.current
        folder = current.path.parent if current is not None and current.path else Path.home()
        plain = "".join(c if c.isalnum() else "_" for c in self._title())
        start = folder / f"{plain}{'_slide' if slide else ''}.png"
        name, kind = QFileDialog.getSaveFileName(self, "Save the plot", str(start), FILES)
        if name:
            path = Path(name)
            ending = ".svg" if "svg" in kind else ".png"
            self.write(path if path.suffix else path.with_suffix(ending), slide=slide)


def _gone(sheet: Sheet) -> None:
    sheet.hide()
    sheet.deleteLater()
