"""The report page: whole, escaped, standing alone, and honest about what was not measured."""

from __future__ import annotations

import html.parser
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from calib_model.cautions import POINTS as CAUTIONS
from calib_model.reports.fit_report import fit_report
from calib_model.shaping.fit import FitProposal, fit
from calib_model.shaping.samples import from_arrays
from tests.fit.making_fits import curve, only, surface


class _Reader(html.parser.HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.text: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag not in ("meta", "br", "path", "rect"):
            self.open.append(tag)
        self.links += [v or "" for k, v in attrs if k in ("src", "href")]

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("path", "rect"):
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@pytest.fixture(scope="module")
def proposal() -> FitProposal:
    rng = np.random.default_rng(0)
    points = [rng.uniform(0, 3, 500), rng.uniform(0, 20, 500)]
    y = points[0] + points[1] / 10 + rng.normal(size=500) * 0.1
    y[::100] += 4
    table = surface([0, 1, 2, 3], [0, 10, 20, 30], name="A <b> & c", unit="N.m")
    return fit(only(table), "surface", from_arrays(points, y, source="run <1>.csv"))


def test_page_is_whole_and_stands_alone(proposal: FitProposal) -> None:
    page = fit_report(proposal, made="2026-02-10, calibrator A")
    reader = _Reader()
    reader.feed(page)
    assert reader.open == []
    assert reader.links == []
    assert "script" not in reader.tags
    text = " ".join(" ".join(reader.text).split())
    assert "A <b> & c" in text
    assert "run <1>.csv" in text
    assert all(caution in text for caution in CAUTIONS)
    assert "Outliers: 5, farthest first" in text
    assert "4 of 16 have thin data" in text or "4 of 16 nodes have no data" in text
    for svg in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        ET.fromstring(svg)


def test_nodes_that_are_not_measured_carry_a_mark_and_no_error(proposal: FitProposal) -> None:
    page = fit_report(proposal)
    error = page.split("Standard error</h3>")[1].split("</table>")[0]
    known = int((proposal.fits["surface"].state == 2).sum())
    assert known < 16
    assert len(re.findall(r"<td>[0-9.]+</td>", error)) == known
    assert error.count("–") == 16 - known
    assert error.count("†") + error.count("‡") == 16 - known


def test_every_outlier_of_a_page_is_in_its_table(proposal: FitProposal) -> None:
    page = fit_report(proposal)
    for outlier in proposal.fits["surface"].residuals.outliers:
        assert f"<td>{outlier.line}</td>" in page
    rest = page.split("Outliers: 5")[1]
    assert rest.count("<tr>") == 6


def test_a_curve_without_outliers() -> None:
    x = np.linspace(0, 2, 50)
    found = fit(only(curve([0, 1, 2])), "curve", from_arrays([x], x))
    page = fit_report(found)
    assert "<h3>Outliers</h3><p>None.</p>" in page
    assert page.count("<svg") == 3
