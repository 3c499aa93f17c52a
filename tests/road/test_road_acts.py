"""The acts of Road at the things themselves: menus, tool bar, whole screen, lists to copy."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QWidget

from app.look.draw_controls import RANK
from app.road.recordings.band import BandView
from app.road.recordings.scene import Band, Scene
from app.shell.context_contents import CONTENTS
from app.shell.window import MainWindow
from tests.shell.test_shell_actions import walked

MOST = 18
"""Rows of one menu: it fits a screen of 768 pixels without an arrow at its end."""


def test_the_menus_of_road_are_short(opened: MainWindow) -> None:
    menus = {path: rows for path, rows in walked(opened).items() if path.startswith("Road")}
    assert [row.text().replace("&", "") for row in menus["Road"]] == [
        "Recordings", "Complaints", "Manoeuvres", "Campaign",
    ]  # fmt: skip
    assert {path: len(rows) for path, rows in menus.items() if len(rows) > MOST} == {}


@pytest.mark.parametrize(
    ("part", "thing", "find"),
    [
        ("recordings", "recording", lambda p: p.bar.drives),
        ("recordings", "used cell", lambda p: p.totals.list),
        ("recordings", "moment", lambda p: p.faults.list),
        ("recordings", "signal", lambda p: p.agreement.list),
        ("recordings", "channel", lambda p: p.channels.list),
        ("complaints", "complaint", lambda p: p.view),
        ("manoeuvres", "manoeuvre", lambda p: p.chooser.list),
        ("manoeuvres", "estimate", lambda p: p.metrics),
        ("campaign", "run", lambda p: p.results.worst),
    ],
)
def test_a_thing_has_its_menu(opened: MainWindow, part: str, thing: str, find) -> None:  # type: ignore[no-untyped-def]
    opened.show_area("road")
    page = opened.areas.page("road")
    page.show_part(part)
    widget: QWidget = find(page.part_named(part))
    from app.things import _PLACES  # a list without rows opens no menu

    assert _PLACES[widget].thing == thing
    assert [a for a in opened.context.filled(thing).actions() if not a.isSeparator()]
    assert CONTENTS[thing]


def test_the_bar_of_a_part_has_words_where_they_fit(opened: MainWindow, qtbot) -> None:  # type: ignore[no-untyped-def]
    from app.road.tools import PartTools

    tools = PartTools({"road.open": "Open", "road.evidence": "Evidence"}, ("road.watch",))
    tools.setParent(opened.areas.page("road"))
    tools.show()
    opened.show_area("road")
    qtbot.waitUntil(lambda: set(tools.buttons) == {"road.open", "road.evidence"})
    wide, slim = tools.sizeHint().width(), tools.minimumSizeHint().width()
    assert slim < wide
    style = Qt.ToolButtonStyle
    for width, wanted in ((wide, style.ToolButtonTextBesideIcon), (slim, style.ToolButtonIconOnly)):
        tools.resize(width, 40)
        assert {b.toolButtonStyle() for b in tools.buttons.values()} == {wanted}
    assert tools.buttons["road.evidence"].accessibleName() == "Evidence"
    assert [a.objectName() for a in tools.menu.actions()] == ["road.watch"]


def test_a_band_reaches_the_edge_of_the_view_between_two_ticks(qtbot) -> None:  # type: ignore[no-untyped-def]
    """What governs at a tick governs until the next: no gap at the right when zoomed in."""
    view = BandView()
    qtbot.addWidget(view)
    time = np.arange(0.0, 10.0, 0.1)
    band = Band("A is decided by", "A", np.zeros(time.size, dtype=int), {0: "Base torque"})
    view.show_scene(Scene(time, (), (band,)))
    view.show_view(2.0, 2.58, 0, 580)
    assert view.parts(band) == [(0, 580, 0)]
    view.show_view(9.5, 10.5, 0, 1000)  # nothing is known after the last tick
    assert view.parts(band) == [(0, 400, 0)]


def test_the_list_that_is_shown_is_copied(opened: MainWindow, qtbot) -> None:  # type: ignore[no-untyped-def]
    opened.show_area("road")
    page = opened.areas.page("road")
    page.show_part("campaign")
    told: list[tuple[str, bool]] = []
    opened.desk.told.connect(lambda text, refused: told.append((text, refused)))
    opened.book.run("road.copy_list")
    assert told[-1] == ("There is no list to copy here.", True)
    from app.road.rows import Row

    shown = page.part_named("campaign").list_shown()
    shown.show_rows([Row(("a\tb", "3", *[""] * 7), "a")])
    opened.book.run("road.copy_list")
    lines = QGuiApplication.clipboard().text().split("\n")
    assert lines[0].startswith("Set\tRuns\t")
    assert lines[1].startswith("a b\t3\t")


def test_a_part_without_content_has_one_primary_act(opened: MainWindow) -> None:
    for _ in range(2):  # with sets, then without
        opened.show_area("road")
        page = opened.areas.page("road")
        for name in page.buttons:
            page.show_part(name)
            ranks = [b for b in page.findChildren(QAbstractButton) if b.isVisible()]
            found = [b.text() for b in ranks if b.property(RANK) == "primary"]
            assert len(found) == 1, (name, found)
        for document in tuple(opened.desk.documents):
            opened.desk.remove(document)
    assert not opened.desk.documents
