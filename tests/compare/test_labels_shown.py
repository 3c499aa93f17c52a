"""Values that have names are shown by name: finding, comparison, history, export, report, show."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np

from app.cli.show import table_words
from app.road.recordings.moment import place_words
from calib_model.compare import compare
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.labels import YES_NO
from calib_model.core.table import Table
from calib_model.editing.change import values_change
from calib_model.exchange.csv_tables import csv_bytes
from calib_model.reports.compare_report import Names, compare_report
from calib_model.reports.notebook import table_html
from calib_model.rules.check import check
from calib_model.rules.limits import Bounds
from calib_model.session.history import describe_change

WIPER = Axis([0, 1, 2], "Wiper", "-", "wiper_state", Interpolation.STEP, labels="off, slow, fast")
WASH = Table("wash", [0, 1, 1], (WIPER,), "Wash allowed", "0/1", labels=YES_NO)


def other() -> CalibrationSet:
    return CalibrationSet([WASH.with_values([0, 0, 1])], mode="normal", base_mode="normal")


def content() -> CalibrationSet:
    return CalibrationSet([WASH], mode="normal", base_mode="normal")


def test_a_comparison_says_names() -> None:
    (pair,) = compare(content(), other()).differing
    (cell,) = pair.cells
    assert cell.words() == "at slow: yes → no"
    named = replace(content()["wash"], labels="never, always")
    (again,) = compare(
        content(), CalibrationSet([named], mode="normal", base_mode="normal")
    ).differing
    assert [f.words() for f in again.fields] == ["labels: 0 no, 1 yes → 0 never, 1 always"]
    page = compare_report(compare(content(), other()), Names("A", "B"))
    assert '<td>slow</td><td class="n">yes</td><td class="n">no</td>' in page


def test_a_finding_and_the_history_say_names() -> None:
    ruled = replace(WASH, rules=(Bounds(upper=0.0, reason="no water"),))
    finding = check(CalibrationSet([ruled], mode="n", base_mode="n")).findings[0]
    assert finding.message.startswith("yes at slow is above the largest allowed value, no")
    change = values_change(WASH, np.zeros(3), "Set")
    assert describe_change(change, content()) == [
        "Wash allowed at Wiper slow: yes → no",
        "Wash allowed at Wiper fast: yes → no",
    ]


def test_the_terminal_and_a_notebook_show_names() -> None:
    words = table_words(WASH)
    assert "0 off, 1 slow, 2 fast" in " ".join(words.split())
    assert "0 no, 1 yes" in words
    assert [
        line.split() for line in words.splitlines() if line.split()[:1] in (["off"], ["slow"])
    ] == [
        ["off", "no"],
        ["slow", "yes"],
    ]
    assert ">slow</th><td" in table_html(WASH)
    assert ">yes</td>" in table_html(WASH)


def test_a_moment_of_a_replay_names_the_cell() -> None:
    assert place_words(WASH, (1,)) == "slow"


def test_a_csv_export_keeps_the_numbers_and_adds_the_names() -> None:
    rows = list(
        csv.DictReader(io.StringIO(csv_bytes([WASH, Table("gain", 2.0)], "UNSIGNED").decode()))
    )
    assert [(r["axis_1_value"], r["axis_1_label"], r["value"], r["value_label"]) for r in rows] == [
        ("0", "off", "0", "no"),
        ("1", "slow", "1", "yes"),
        ("2", "fast", "1", "yes"),
        ("", "", "2", ""),
    ]
    assert {r["status"] for r in rows} == {"UNSIGNED"}
    assert b"label" not in csv_bytes(Table("gain", 2.0))
