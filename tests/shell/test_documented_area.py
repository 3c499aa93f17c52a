"""The work area that DEVELOPERS.md shows works as the text says, from that text alone."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from app.areas import AREAS, Area
from app.shell.area_stack import AreaStack
from app.shell.switcher import Switcher
from app.shell.window import MainWindow
from app.work_area import WorkArea

TEXT = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text("utf-8")


class BenchPage(WorkArea):
    """What the text leaves to its reader."""

    def __init__(self, desk: Any, jobs: Any) -> None:
        super().__init__(desk)
        self.jobs = jobs


def test_one_row_and_one_folder_make_an_area(
    window: MainWindow, qtbot, monkeypatch: pytest.MonkeyPatch
) -> None:
    block = r"```python\n# app/areas\.py, in AREAS\n(.*?)# app/bench/area\.py\n(.*?)```"
    found = re.search(block, TEXT, re.DOTALL)
    assert found is not None
    row = eval(found[1].strip().rstrip(","), {"Area": Area})  # our own document
    page_module = ModuleType("app.bench.page")
    page_module.BenchPage = BenchPage  # type: ignore[attr-defined]
    module = ModuleType("app.bench.area")
    exec(compile("from __future__ import annotations\n" + found[2], row.home, "exec"), vars(module))
    for made in (ModuleType("app.bench"), page_module, module):
        monkeypatch.setitem(sys.modules, made.__name__, made)

    areas = (*AREAS, row)
    stack, switcher = AreaStack(window, areas), Switcher(areas)
    qtbot.addWidget(stack)
    qtbot.addWidget(switcher)
    page = stack.page("bench")
    assert isinstance(page, BenchPage)
    assert page.jobs is window.jobs
    stack.show_area("bench")
    assert (stack.shown, stack.page_in_sight) == ("bench", page)
    switcher.show_area("bench")
    assert switcher.buttons[-1].isChecked()
    assert "Ctrl+9" in switcher.buttons[-1].toolTip()
    page.step_table(+1)  # what it has not of its own does no harm
    page.next_pane(+1)
    assert page.turn_slices() is False
