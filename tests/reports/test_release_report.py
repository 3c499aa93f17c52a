"""The release report: complete, escaped, self-contained, legible without colour."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import calib_model
from calib_model.cautions import POINTS as CAUTIONS
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.core.record import Drive, Remark, Trial
from calib_model.core.table import Table
from calib_model.evidence.grades import TableVisits, Visits, visits_text
from calib_model.reports.frame import ticks
from calib_model.reports.release_report import FINDINGS_CAUTION, Release, release_report
from calib_model.reports.svg import SvgLine, plot, table_plots
from calib_model.rules.check import check
from calib_model.rules.waivers import waiver_for
from calib_model.signoff.verification import verify
from tests.signoff.making import NOW, added, allowed, signed_off, small_set

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
VOID = {"meta", "br", "link", "img", "hr", "input"}


class Page(HTMLParser):
    """Collects text, elements and attributes, and whether every element is closed."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.open: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


def _release(content: CalibrationSet, earlier: CalibrationSet | None = None) -> Release:
    found = verify(content, allowed(), now=NOW)
    return Release(content, found, check(content), earlier, "the last trip")


def _page(content: CalibrationSet, earlier: CalibrationSet | None = None) -> Page:
    page = Page(release_report(_release(content, earlier), now=NOW))
    assert page.open == []
    return page


def test_it_says_what_was_released_by_whom_with_all_cautions() -> None:
    content = signed_off()
    page = _page(content, calib_model.edit(small_set(), "base", {(1,): 1.5}))
    assert "Signed off by Ada Berg (author) and Ines (reviewer)" in page.text
    assert verify(content, allowed(), now=NOW).digest in page.text
    for caution in (*CAUTIONS, FINDINGS_CAUTION):
        assert caution in page.text
    assert "1 changed since the last trip" in page.text
    assert "at 10 km/h: 1.5 → 2 N·m" in page.text
    assert page.tags.count("svg") == 2  # the key and one curve
    assert "2026-01-20T08:00:00Z" in page.text


def test_findings_waivers_decisions_and_remarks_are_in_it() -> None:
    content = calib_model.edit(signed_off(), "base", {(1,): 4.0})
    finding = next(f for f in check(content).findings if f.rule == "monotone")
    waiver = waiver_for(content, finding, reason="wanted so", author="Ada", approver="Ines")
    content = added(content, waiver, Remark(text="why <b>4</b>?", author="Ines", table="base"))
    page = _page(content)
    assert "error (waived)" in page.text
    assert "wanted so" in page.text
    assert "accepted" in page.text
    assert "why <b>4</b>?" in page.text
    assert "CHANGED SINCE" not in page.text
    assert "Changed since its sign-off" in page.text
    assert "Nothing is known of an earlier state" in page.text


def test_the_evidence_behind_the_changes_and_the_drives_are_in_it() -> None:
    content = small_set()
    earlier = calib_model.edit(content, "base", {(1,): 1.5})
    bare = _page(content, earlier)
    assert "Evidence: 1 cell no evidence" in bare.text
    assert "Changed cells: 1 cell no evidence." in bare.text
    assert "No drive is kept in this set." in bare.text
    table = content["base"]
    axis = table.axes[0]
    visited = TableVisits(
        table.unit,
        ((axis.quantity, axis.unit),),
        False,
        {(float(axis.values[1]),): (12.0, 3.0, float(table.values[1]))},
    )
    drive = Drive(
        source="manoeuvre", name="Launch <on> snow", set_digest=digest(content), seconds=90.0,
        visits=visits_text(Visits({"base": visited})), by="Ada",
    )  # fmt: skip
    page = _page(added(content, drive), earlier)
    assert "Evidence: 1 cell desk only" in page.text
    assert "Changed cells: 1 cell desk only." in page.text
    assert "Launch <on> snow at the desk" in page.text
    assert "1.5 min" in page.text
    assert "which cells were changed cannot be said" in _page(content).text


def test_nothing_in_a_set_can_become_markup() -> None:
    evil = "<script>alert(1)</script>\"'&</svg>"
    axis = Axis([0.0, 1.0], evil, evil, "")
    table = Table("t", [0.0, 1.0], (axis,), evil, evil, evil, evil)
    content = CalibrationSet([table], name=evil, programme=evil, mode=evil, revision=evil,
                             description=evil)  # fmt: skip
    content = added(content, Remark(text=evil, author=evil, table=evil))
    trial = Trial(vehicle=evil, trip=evil, expires=evil)
    other = content.with_table(table.with_values([0.0, 2.0]))
    release = replace(_release(content, other), trial=trial)
    html = release_report(release, now=NOW)
    page = Page(html)
    assert page.open == []
    assert "script" not in page.tags
    assert evil in "".join(page.texts)
    assert "<script" not in html


def test_it_fetches_and_runs_nothing() -> None:
    page = _page(signed_off(), small_set())
    assert not {"script", "link", "img", "iframe", "object"} & set(page.tags)
    for name, value in page.attributes:
        assert not name.startswith("on")
        assert name not in ("href", "src", "srcset", "xlink:href")
        if "://" in value:
            assert (name, value) == ("xmlns", "http://www.w3.org/2000/svg")


def test_a_trial_is_no_release() -> None:
    trial = Trial(vehicle="Van 7", trip="Snow", expires="2026-02-01")
    page = Page(release_report(replace(_release(small_set()), trial=trial), now=NOW))
    assert "TRIAL for vehicle Van 7, trip Snow, until 2026-02-01. Not a release." in page.text


# -- plots -----------------------------------------------------------------------------------


def _curve(values: list[float], x: list[float] | None = None, **about: object) -> Table:
    axis = Axis(x or [0.0, 10.0, 20.0], "Speed", "km/h", "vehicle_speed", **about)  # type: ignore[arg-type]
    return Table("t", values, (axis,), "Torque", "N.m")


def test_before_and_after_differ_without_colour() -> None:
    (svg,) = table_plots(_curve([0.0, 1.0, 2.0]), _curve([0.0, 1.5, 2.0]))
    root = ET.fromstring(svg)
    space = "{http://www.w3.org/2000/svg}"
    before, after = root.findall(f"{space}path[@fill='none']")
    assert "stroke-dasharray" in before.attrib
    assert "stroke-dasharray" not in after.attrib
    assert len(root.findall(f"{space}circle")) == 3
    texts = [t.text for t in root.findall(f"{space}text")]
    assert "Speed [km/h]" in texts
    assert "N·m" in texts
    # Every colour is a grey: the same amount of red, green and blue.
    for colour in set(re.findall(r"#([0-9a-f]{3})\b", svg)):
        assert len(set(colour)) == 1


def test_points_lie_where_the_numbers_say() -> None:
    # From the plot's own ticks: a third point half-way between two ticks lies half-way on paper.
    svg = plot(
        [SvgLine(np.array([0.0, 5.0, 10.0]), np.array([0.0, 2.0, 4.0]), False)], "x", "y", "t"
    )
    rects = [(float(x) + 2.5, float(y) + 2.5) for x, y in
             re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="5"', svg)]  # fmt: skip
    assert len(rects) == 3
    (x0, y0), (x1, y1), (x2, y2) = rects
    assert x1 == pytest.approx((x0 + x2) / 2, abs=0.02)
    assert y1 == pytest.approx((y0 + y2) / 2, abs=0.02)
    assert x0 < x1 < x2
    assert y0 > y1 > y2, "larger values stand higher"


def test_gaps_steps_added_and_removed_tables() -> None:
    (svg,) = table_plots(None, _curve([0.0, np.nan, 2.0]))
    assert svg.count("M") >= 2, "an empty cell leaves a gap"
    assert "nan" not in svg
    (svg,) = table_plots(_curve([0.0, 1.0, 2.0], interpolation=Interpolation.STEP), None)
    assert re.search(r'd="M[\d. ]+H[\d.]+V', svg)
    assert table_plots(Table("s", 1.0), Table("s", 2.0)) == []
    assert table_plots(None, None) == []


def test_a_map_shows_the_rows_that_changed() -> None:
    axes = (Axis([-10.0, 0.0, 10.0], "Air", "degC"), Axis([0.0, 50.0], "Pedal", "%"))
    before = Table("m", np.zeros((3, 2)), axes, "Map", "N.m")
    values = np.zeros((3, 2))
    values[1, 1] = 5.0
    plots = table_plots(before, before.with_values(values))
    assert [re.search("<title>(.*?)</title>", p)[1] for p in plots] == ["Map at 0 °C"]  # type: ignore[index]
    moved = before.with_axis(1, axes[1].with_values([0.0, 60.0]), before.values)
    assert len(table_plots(before, moved)) == 3
    # A row that the earlier state had no breakpoint at is shown as the controller read it then.
    other = Table("m", [[0.0, 2.0], [8.0, 8.0]], (Axis([0.0, 4.0]), axes[1]))
    finer = Table("m", [[0.0, 2.0], [9.0, 9.0]], (Axis([0.0, 1.0]), axes[1]))
    (svg,) = table_plots(other, finer)
    assert (svg.count("<circle"), svg.count('width="5"')) == (2, 2)
    many = Table("m", np.zeros((40, 2)), (Axis(np.arange(40.0)), axes[1]))
    assert len(table_plots(many, many.with_values(np.ones((40, 2))))) == 6


@pytest.mark.parametrize(
    ("low", "high"), [(0.0, 1.0), (-3.0, 7.0), (1e-9, 2e-9), (-1e12, 1e12), (99.9, 100.1)]
)
def test_ticks_are_few_round_and_inside(low: float, high: float) -> None:
    found = ticks(low, high)
    assert 2 <= len(found) <= 7
    assert all(low - 1e-9 * abs(low) <= t <= high + 1e-9 * abs(high) for t in found)
    steps = np.diff(found)
    assert np.allclose(steps, steps[0])
    mantissa = steps[0] / 10 ** np.floor(np.log10(steps[0]) + 1e-9)
    assert min(abs(mantissa - m) for m in (1, 2, 5, 10)) < 1e-6


@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
def test_a_browser_shows_it(tmp_path: Path) -> None:
    content = calib_model.open_set(SAMPLES / "larch_practice.h5")
    earlier = calib_model.open_set(SAMPLES / "larch_normal.h5")
    page = tmp_path / "report.html"
    page.write_text(release_report(_release(content, earlier), now=NOW), encoding="utf-8")
    picture = tmp_path / "report.png"
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
         f"--user-data-dir={tmp_path / 'profile'}", f"--screenshot={picture}",
         "--window-size=1000,2000", page.as_uri()],
        check=True, capture_output=True, timeout=100,
    )  # fmt: skip
    data = picture.read_bytes()
    assert data.startswith(b"\x89PNG")
    assert len(data) > 50_000, "an empty page packs to a few thousand bytes"
