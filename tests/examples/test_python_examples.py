"""Every Python example runs as it stands: in a fresh interpreter, whatever was imported before."""

from __future__ import annotations

import ast
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import calib_model
from tests.examples import typed_use

ROOT = Path(__file__).resolve().parents[2]
SOURCES = [p for part in ("calib_model", "app", "sample_sets") for p in (ROOT / part).rglob("*.py")]
README = (ROOT / "README.md").read_text("utf-8")

RUN_ELSEWHERE = {
    "# calib_model/formats/scalars.py": "tests/formats/test_documented_format.py runs it",
    "# calib_model/rules/plateau.py": "tests/rules/test_documented_rule.py runs it",
    "# app/tune/values_actions.py, in ACTIONS": "tests/grid/test_values_actions.py runs it",
    "# calib_model/shaping/tools.py, in the tool's options": "tests/tune/test_tools_described.py",
    "# app/areas.py, in AREAS": "tests/shell/test_documented_area.py runs it",
}
"""First lines of Python in the documents that another test runs, and which one."""


def module_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def prompts(path: Path) -> int:
    """Count the examples in a file's docstrings."""
    count = 0
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)):
            count += (ast.get_docstring(node) or "").count(">>> ")
    return count


EXAMPLES = {module_of(p): n for p in SOURCES if (n := prompts(p))}
"""Modules with examples, and how many."""
NAMES = sorted(EXAMPLES)
ORDERS = {
    "one after the other": NAMES,
    "the last first": NAMES[::-1],
    "after every subpackage": [
        *(f"import calib_model.{name}" for name in ("compare", "lookup", "session", "signoff")),
        "calib_model",
    ],
}


def run_fresh(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    for name in ("larch_normal.h5", "larch_low_grip.h5"):
        shutil.copy(ROOT / "sample_sets" / name, folder)
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"}
    return subprocess.run(
        [sys.executable, "-W", "error", *arguments],
        cwd=folder, env=env, capture_output=True, text=True, encoding="utf-8", timeout=100,
    )  # fmt: skip


@pytest.mark.parametrize("order", ORDERS.values(), ids=ORDERS)
def test_examples_of_docstrings(order: list[str], tmp_path: Path) -> None:
    script = str(ROOT / "tests" / "examples" / "run_examples.py")
    done = run_fresh(tmp_path, script, *order)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["failures"] == []
    assert told["ran"] == {name: EXAMPLES[name] for name in order if name in EXAMPLES}


def test_no_example_is_left_out() -> None:
    assert sum(EXAMPLES.values()) >= 15
    for path in SOURCES:
        assert "doctest: +SKIP" not in path.read_text("utf-8"), path


def test_examples_of_the_documents(tmp_path: Path) -> None:
    """The README's, one after the other in one fresh interpreter; the others have tests."""
    ours = []
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text("utf-8")
        for block in re.findall(r"^```python\n(.*?)^```", text, re.DOTALL | re.MULTILINE):
            first = block.splitlines()[0]
            if first not in RUN_ELSEWHERE:
                ours.append(block)
    assert ours
    script = tmp_path / "examples.py"
    script.write_text("\n".join(ours), "utf-8")
    done = run_fresh(tmp_path, str(script))
    assert done.returncode == 0, done.stderr
    said = re.findall(r"# prints: (.*)", "\n".join(ours))
    assert said
    assert done.stdout.splitlines() == said


IMPORTS = {
    "import calib_model as cm": "cm.{0}",
    "from calib_model import lookup, compare": "{0}",
    "import calib_model.lookup, calib_model.compare": "calib_model.{0}",
    "import calib_model.lookup as lookup, calib_model.compare as compare": "{0}",
    "from calib_model.lookup import lookup; from calib_model.compare import compare": "{0}",
    "from calib_model import *": "{0}",
}


def test_every_form_of_import_gives_what_can_be_called(tmp_path: Path) -> None:
    """In one process each form twice, before and after the others."""
    lines = [
        "import inspect, pickle",
        "from calib_model.core.table import Table",
        "from calib_model.core.calibration_set import CalibrationSet",
        "import sys; assert 'calib_model.lookup' not in sys.modules",
        "gain = Table('gain', 2.0); content = CalibrationSet([gain])",
    ]
    forms = list(IMPORTS.items())
    for form, called in (*forms, *forms[::-1]):
        lines += [
            form,
            f"assert {called.format('lookup')}(gain, []) == 2.0",
            f"assert {called.format('compare')}(content, content).same",
            f"assert 'table' in inspect.signature({called.format('lookup')}).parameters",
            f"assert pickle.loads(pickle.dumps({called.format('lookup')}))(gain, []) == 2.0",
        ]
    # What a subpackage holds is found through it too, as type checkers say.
    lines += [
        "import calib_model.lookup as m, calib_model.compare as c",
        "assert m.lookup_values and m.reference.lookup_values and c.Threshold",
        "assert m is calib_model.lookup",
    ]
    script = tmp_path / "forms.py"
    script.write_text("\n".join(lines), "utf-8")
    done = run_fresh(tmp_path, str(script))
    assert done.returncode == 0, done.stderr


def test_dir_shows_what_is_exported() -> None:
    assert [name for name in dir(calib_model) if not name.startswith("_")] == calib_model.__all__


def test_type_checkers_see_what_there_is() -> None:
    """A type checker reads this file with the package (see `pyproject.toml`); here it runs."""
    assert typed_use.results() == [2.0, 2.0, 2.0, 2.0, True, True]
    with pytest.raises(TypeError):
        typed_use.mistakes()
