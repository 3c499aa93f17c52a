"""Compiled code is made anew after every edit that reaches it, and after no other."""

from __future__ import annotations

import re
from pathlib import Path

from calib_model.lookup.source_key import compiled_sources

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "calib_model"
COMPILES = re.compile(r"^@(jit|inner)\(", re.MULTILINE)


def test_every_module_with_compiled_functions_counts() -> None:
    found = set(compiled_sources())
    compiling = {p for p in PACKAGE.rglob("*.py") if COMPILES.search(p.read_text("utf-8"))}
    assert len(compiling) > 10
    assert compiling <= found


def test_a_constant_compiled_in_counts_and_a_report_does_not() -> None:
    found = {path.relative_to(PACKAGE).as_posix() for path in compiled_sources()}
    assert {"controller/constants.py", "vehicle/parameters_list.py", "lookup/jit.py"} <= found
    assert not {name for name in found if name.startswith(("reports/", "store/", "signoff/"))}


def test_imports_are_followed_in_every_form(tmp_path: Path) -> None:
    package = tmp_path / "model"
    files = {
        "__init__.py": "",
        "lookup/__init__.py": "",
        "lookup/portable.py": "def jit(): ...\n",
        "law/__init__.py": "",
        "law/kernel.py": "from ..lookup.portable import jit\nfrom . import near\n"
        "from model.law.far import X\nimport model.law.plain\n",
        "law/near.py": "from .deep import Y\n",
        "law/far.py": "",
        "law/plain.py": "",
        "law/deep.py": "",
        "law/other.py": "from .kernel import step\n",
    }
    for name, text in files.items():
        (package / name).parent.mkdir(parents=True, exist_ok=True)
        (package / name).write_text(text, "utf-8")
    found = {p.relative_to(package).as_posix() for p in compiled_sources(package)}
    assert found >= {f"law/{name}.py" for name in ("kernel", "near", "far", "plain", "deep")}
    assert "law/other.py" not in found
