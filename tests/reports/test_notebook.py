"""Notebook HTML, taken apart by the standard library's parsers."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.reports.notebook import MOST_ROWS, MOST_TABLES

MAP = Table(
    "torque",
    [[1.5, np.nan], [-3.0, 4.0]],
    (Axis([-40.0, 0.0], name="Ambient", unit="degC"), Axis([0.0, 50.0], name="Pedal", unit="%")),
    name="Pre-engage torque",
    unit="N.m",
    lower=0,
    upper=450,
)
NASTY = '<script>alert("1")</script>&amp;\'>'
ALLOWED = {"div", "b", "small", "code", "table", "caption", "thead", "tbody", "tr", "th", "td"}


class _Reader(HTMLParser):
    """Collect tags and text, and check that every tag is closed in turn."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.texts: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def _cells(html: str) -> list[list[str]]:
    root = ET.fromstring(html)  # well-formed, so an XML parser reads it too
    return [["".join(cell.itertext()) for cell in row] for row in root.iter("tr")]


def test_a_map_shows_its_values_at_their_breakpoints() -> None:
    html = MAP._repr_html_()
    assert _cells(html) == [
        ["Ambient [°C] \\ Pedal [%]", "0", "50"],
        ["−40", "1.5", "empty"],
        ["0", "−3", "4"],
    ]
    text = " ".join(_Reader(html).texts)
    for part in ("Pre-engage torque", "torque", "N·m", "limits 0 to 450", "storage float64"):
        assert part in text


def test_curves_and_scalars() -> None:
    curve = Table("c", [1.0, 2.0], (Axis([0.0, 5.0], name="Speed", unit="km/h"),), name="Fade")
    assert _cells(curve._repr_html_()) == [["Speed [km/h]", "Fade"], ["0", "1"], ["5", "2"]]
    scalar = Table("tick", 0.02, unit="s")
    assert "0.02 s" in _Reader(scalar._repr_html_()).texts


def test_deep_tables_are_shown_slice_by_slice_and_cut() -> None:
    axes = tuple(Axis([0.0, 1.0, 2.0], name=f"a{n}", unit="%") for n in range(4))
    html = Table("deep", np.arange(81.0).reshape(3, 3, 3, 3), axes)._repr_html_()
    captions = [c.text for c in ET.fromstring(html).iter("caption")]
    assert captions[:2] == ["a2 0 %, a3 0 %", "a2 0 %, a3 1 %"]
    assert _cells(html)[1] == ["0", "0", "9", "18"], "values at the first slice: 27 i + 9 j"
    assert "3 more slices are not shown." in _Reader(html).texts


def test_large_tables_are_cut_and_say_so() -> None:
    long = Table("long", np.zeros(500), (Axis(np.arange(500.0)),))
    html = long._repr_html_()
    assert len(_cells(html)) == MOST_ROWS + 1
    assert "The first of 500 × 1 cells." in _Reader(html).texts


def test_a_set_lists_its_tables() -> None:
    content = CalibrationSet({"torque": MAP}, name="Larch, normal", programme="Larch", revision="B")
    html = content._repr_html_()
    assert _cells(html)[1] == ["torque", "Pre-engage torque", "map", "2 × 2", "N·m", ""]
    assert "Larch, B, 1 table" in _Reader(html).texts
    many = CalibrationSet({f"t{n}": Table(f"t{n}", 1.0) for n in range(MOST_TABLES + 5)})
    html = many._repr_html_()
    assert len(_cells(html)) == MOST_TABLES + 1
    assert "5 more tables are not listed." in _Reader(html).texts
    assert _cells(CalibrationSet()._repr_html_()) == []


def test_no_text_becomes_markup() -> None:
    axes = tuple(replace(a, name=NASTY, unit=NASTY) for a in MAP.axes)
    table = Table("t", MAP.values, axes, name=NASTY, unit=NASTY, function=NASTY, description=NASTY)
    about = dict.fromkeys(("name", "programme", "mode", "revision", "description"), NASTY)
    for html in (
        table._repr_html_(),
        Table("s", 1.0, name=NASTY, unit=NASTY)._repr_html_(),
        CalibrationSet({"t": table}, **about)._repr_html_(),
    ):
        reader = _Reader(html)
        assert reader.tags <= ALLOWED
        assert reader.attributes <= {"style", "scope"}
        assert any(NASTY in text for text in reader.texts)
