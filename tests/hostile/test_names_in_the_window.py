"""Names of recordings, vehicles and manoeuvres that mean harm, walked in the window: shown plain,
cut where they are long, and whole on hover.

The characters are those that Unicode's report on source code handling warns of (UTS #55), markup
that Qt would read as rich text, and a length beyond any column.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import Qt as GuiQt
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QComboBox,
    QLabel,
    QListView,
    QListWidget,
    QWidget,
)

from app.shell.window import MainWindow
from calib_model.evidence.recording import Recording
from tests.road.test_recordings_panel import drive_file, read_once
from tests.shell.conftest import answers, opened, samples, settle, wait, window
from tests.waiting import settled

__all__ = ["answers", "drive_file", "opened", "read_once", "samples", "settle", "wait", "window"]

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
EVIL = "<b>bold</b>\u202egnp\u2066\x07\n\t<img src='http://example.invalid/x'> "
LONG = EVIL + 300 * "W"


def shown(root: QWidget) -> Iterator[tuple[QWidget, str]]:
    """Every text that is in sight, as Qt gets it."""
    for widget in [root, *root.findChildren(QWidget)]:
        if not widget.isVisibleTo(root):
            continue
        if isinstance(widget, QLabel):
            if widget.textFormat() == Qt.TextFormat.AutoText:
                assert not GuiQt.mightBeRichText(widget.text()), widget.text()
            yield widget, widget.text()
        elif isinstance(widget, QAbstractButton):
            yield widget, widget.text()
        elif isinstance(widget, QComboBox):
            for number in range(widget.count()):
                yield widget, widget.itemText(number)
        elif isinstance(widget, QAbstractItemView) and widget.model() is not None:
            model = widget.model()
            for row in range(model.rowCount()):
                columns = 1 if isinstance(widget, QListView) else model.columnCount()
                for column in range(columns):
                    said = model.index(row, column).data()
                    yield widget, str(said or "")


def assert_plain(root: QWidget) -> str:
    """Nothing that is shown steers what is shown; a list's second line is its own."""
    texts = []
    for widget, text in shown(root):
        lines = text.split("\n") if isinstance(widget, (QListWidget, QLabel)) else [text]
        for sign in "".join(lines):
            assert unicodedata.category(sign) not in ("Cc", "Cf"), (widget, text)
        assert "\n\t" not in text
        texts.append(text)
    for widget in [root, *root.findChildren(QWidget)]:
        tip = widget.toolTip()
        assert_tip(tip)
    return "\n".join(texts)


def assert_tip(tip: str) -> None:
    """Qt reads no tag of a name in it."""
    assert "\u202e" not in tip
    assert "\x07" not in tip
    if GuiQt.mightBeRichText(tip):
        assert "<img" not in tip
        assert "<b>bold" not in tip


@pytest.fixture
def road(opened: MainWindow) -> QWidget:
    opened.resize(1366, 768)
    opened.show_area("road")
    return opened.areas.page("road")


def test_a_recording_with_such_a_name_and_such_channels(
    opened: MainWindow,
    road,
    qtbot,
    tmp_path: Path,
    read_once: Recording,  # type: ignore[no-untyped-def]
) -> None:
    name = EVIL.replace("/", "_") + 100 * "W" + ".csv"
    path = tmp_path / name
    channels = dict(read_once.channels)
    first = next(iter(channels))
    channels[LONG] = replace(channels[first], name=LONG)
    recording = replace(read_once, channels=channels, name=name)
    panel = road.recordings
    panel.service._take_in(path, recording, None)
    settled(qtbot, opened)
    for tab in ("moment", "faults", "channels", "totals"):
        panel.show_tab(tab)
        text = assert_plain(road)
        assert "\\u202egnp" in text
    assert road.minimumSizeHint().width() <= opened.width()
    tip = panel.bar.drives.itemData(0, Qt.ItemDataRole.ToolTipRole)
    assert "\\u202egnp" in tip
    assert tip.count("W") >= 100, "the whole name on hover"
    assert_tip(tip)
    panel.toggle_full_plot()
    assert "\u202e" not in panel.full.title.text()
    assert "W" * 100 in panel.full.title.toolTip()
    panel.toggle_full_plot()


def test_a_vehicle_and_manoeuvres_with_such_names(
    opened: MainWindow,
    road,
    qtbot,
    tmp_path: Path,  # type: ignore[no-untyped-def]
) -> None:
    vehicle = tmp_path / "vehicle.toml"
    lines = (SAMPLES / "larch_vehicle.toml").read_text("utf-8").splitlines()
    place = next(n for n, line in enumerate(lines) if line.startswith("name ="))
    lines[place] = f"name = {json.dumps(LONG)}"
    vehicle.write_text("\n".join(lines), "utf-8")
    manoeuvres = tmp_path / "manoeuvres.toml"
    manoeuvres.write_text(
        f'[[manoeuvre]]\nid = "deep"\nname = {json.dumps(LONG)}\nduration = 2.0\n'
        'metrics = ["time_to_30"]\nsurface = [{ start = 0, left = "snow" }]\n'
        "[manoeuvre.driver]\npedal = [[0.5, 0], [1.0, 80]]\n",
        "utf-8",
    )
    road.show_part("manoeuvres")
    panel = road.manoeuvres
    panel.driving.choose_vehicle(vehicle)
    panel.driving.choose_manoeuvres(manoeuvres)
    assert panel.chooser.choose("deep")
    settled(qtbot, opened)
    text = assert_plain(road)
    assert "\\u202egnp" in text, "it is shown, spelt out"
    assert road.minimumSizeHint().width() <= 700, "a long name widens nothing"
    words = panel.chooser.vehicle_words
    assert "…" in words.text()
    assert "W" * 300 in words.toolTip(), "the whole name on hover"
    item = panel.chooser.list.currentItem()
    assert "W" * 300 in item.toolTip()
    assert_tip(item.toolTip())
    road.show_part("campaign")
    settled(qtbot, opened)
    assert_plain(road)
    assert road.minimumSizeHint().width() <= 700
