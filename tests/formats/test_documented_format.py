"""The format that DEVELOPERS.md shows works as the text says, from that text alone."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

import calib_model
from app.__main__ import main
from calib_model.errors import FileProblem
from calib_model.formats import registry

ROOT = Path(__file__).resolve().parents[2]
NAME = "calib_model.formats.scalars"
PRACTICE = ROOT / "sample_sets" / "larch_practice.h5"


class _NoMemory:
    author = ""

    def remembered(self, key: str) -> str:
        return ""

    def remember(self, key: str, text: str) -> None:
        """Keep nothing."""


@pytest.fixture
def scalars(monkeypatch: pytest.MonkeyPatch) -> registry.Format:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    found = re.search(r"```python\n(# calib_model/formats/scalars\.py.*?)```", text, re.DOTALL)
    assert found is not None
    source = found[1]
    assert len(source.splitlines()) <= 50
    module = ModuleType(NAME)
    module.__package__ = "calib_model.formats"
    monkeypatch.setitem(sys.modules, NAME, module)
    exec(compile(source, "DEVELOPERS.md", "exec"), module.__dict__)
    monkeypatch.setattr(registry, "MODULES", (*registry.MODULES, "scalars"))
    return module.__dict__["FORMAT"]


def test_command_line_and_scripts_know_it_at_once(
    scalars: registry.Format, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    content = calib_model.open_set(PRACTICE)
    mine = {t.id: t.values.item() for t in content if not t.axes}
    assert mine
    assert main(["export", "--help"]) == 0
    shown = capsys.readouterr().out
    assert scalars.about in shown
    assert main(["export", str(PRACTICE), "--to", "scalars", str(tmp_path / "out.tsv")]) == 0
    out = tmp_path / "out_UNSIGNED.tsv"
    assert "Not in it, or in part only: all values and breakpoints" in capsys.readouterr().out
    assert out.read_text("utf-8").startswith("# UNSIGNED")
    assert main(["import", str(out), "-o", str(tmp_path / "back.h5"), "--from", "scalars"]) == 0
    back = calib_model.open_set(tmp_path / "back.h5")
    assert {t.id: t.values.item() for t in back} == mine
    assert {t.unit for t in back} == {t.unit for t in content if not t.axes}
    # From a script, by the suffix.
    written = calib_model.export_set(content, tmp_path / "script.tsv")
    assert written.read_bytes() == out.read_bytes()
    assert calib_model.import_set(written) == calib_model.import_set(out)
    written.write_text("gain\ttwo\tN.m\n", "utf-8")
    with pytest.raises(FileProblem, match="line 1"):
        calib_model.import_set(written)


def test_the_window_offers_it(scalars: registry.Format, qapp: object) -> None:
    from app.release.leave_panels import HandOverPanel

    panel = HandOverPanel(_NoMemory())
    assert panel.boxes["scalars"].text() == scalars.name
    assert "Not in it" in panel.boxes["scalars"].toolTip()
    assert scalars in panel.chosen
    panel.deleteLater()
