"""The pictures of the kinds of rule as SVG: well formed, titled, within their frame."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from calib_model.reports.rule_picture import HEIGHT, WIDTH, rule_picture_svg
from calib_model.rules.kinds import Kind, kinds


@pytest.mark.parametrize("one", kinds(addable=False), ids=lambda one: one.name)
def test_a_picture_is_drawn_whole(one: Kind) -> None:
    assert one.picture is not None
    root = ET.fromstring(rule_picture_svg(one.picture))
    title, *marks = root
    assert title.text == one.picture.words
    assert len(marks) == len(one.picture.marks)
    for mark in marks:
        for x, y in re.findall(r"([\d.]+),([\d.]+)", mark.get("points", "")):
            assert 0 <= float(x) <= WIDTH
            assert 0 <= float(y) <= HEIGHT
