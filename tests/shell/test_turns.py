"""Parts of a page that take turns where it is narrow, and stand side by side where it is not."""

from __future__ import annotations

from PySide6.QtWidgets import QHBoxLayout, QLabel, QSplitter, QWidget

from app.turns import Turns


class Page(QWidget):
    """Two parts, each wider than half of a narrow page."""

    def __init__(self) -> None:
        super().__init__()
        self.left, self.right, self.both = QLabel("left"), QLabel("right"), QSplitter()
        for part in (self.left, self.right):
            part.setMinimumWidth(300)
            self.both.addWidget(part)
        self.turns = Turns(self, 700, self.left, self.right)
        QHBoxLayout(self).addWidget(self.both)

    def resizeEvent(self, _event: object) -> None:
        self.turns.arrange()


def test_parts_take_turns_below_a_width_of_the_page(qtbot) -> None:  # type: ignore[no-untyped-def]
    page = Page()
    qtbot.addWidget(page)
    page.resize(800, 200)
    page.show()
    seen = lambda: (page.left.isVisible(), page.right.isVisible())  # noqa: E731
    assert seen() == (True, True)
    page.resize(699, 200)
    assert seen() == (True, False)
    page.turns.show(page.right)
    assert seen() == (False, True)
    assert page.turns.shows(page.right)
    assert not page.turns.shows(page.left)
    page.resize(700, 200)
    assert seen() == (True, True)
    page.resize(650, 200)
    assert seen() == (False, True)  # whose turn it was
