"""The rule that DEVELOPERS.md shows works as the text says, from that text alone."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from calib_model.core import rule as rule_base
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Range, Rule
from calib_model.core.rule_plain import rule_from_plain
from calib_model.core.table import Table
from calib_model.rules.check import check

ROOT = Path(__file__).resolve().parents[2]
NAME = "calib_model.rules.plateau"


@pytest.fixture
def plateau() -> Iterator[type[Rule]]:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    found = re.search(r"```python\n(# calib_model/rules/plateau\.py.*?)```", text, re.DOTALL)
    assert found is not None
    source = found[1]
    assert len(source.splitlines()) <= 40
    module = ModuleType(NAME)
    module.__package__ = "calib_model.rules"
    sys.modules[NAME] = module
    exec(compile(source, "DEVELOPERS.md", "exec"), module.__dict__)
    yield module.__dict__["Plateau"]
    del sys.modules[NAME], rule_base.KINDS["plateau"]


def test_checker_and_plain_form_know_it_at_once(plateau: type[Rule]) -> None:
    rule = plateau(axis="pedal", scope=(Range("pedal", 0, 20),))  # type: ignore[call-arg]
    axis = Axis([0, 10, 20, 30], "Pedal", "%", "pedal")
    good = Table("good", [5.0, 5, 5, 9], (axis,), unit="N.m", rules=(rule,))
    bad = Table("bad", [5.0, 5, 6, 9], (axis,), unit="N.m", rules=(rule,))
    report = check(CalibrationSet([good, bad]))
    (finding,) = report.findings
    assert finding.table == "bad"
    assert finding.cells == ((1,), (2,))
    assert finding.message == (
        "1 N·m away from its neighbour at 20 %; it must be flat along pedal."
    )
    assert rule_from_plain(rule.to_plain()) == rule
