"""The cache of compiled code: a folder per processor, and filled whole."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from calib_model.lookup.jit import cache_folder

ROOT = Path(__file__).resolve().parents[2]


def folder(**environment: str) -> str:
    code = "from calib_model.lookup.jit import cache_folder; print(cache_folder())"
    ran = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, **environment},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return ran.stdout.strip()


def test_code_for_another_processor_lies_elsewhere() -> None:
    here = str(cache_folder())
    generic = folder(NUMBA_CPU_NAME="generic", NUMBA_CPU_FEATURES="")
    fewer = folder(NUMBA_CPU_NAME="generic", NUMBA_CPU_FEATURES="+sse4.2")
    # Or two, where the tests themselves run with code for any processor.
    assert len({here, generic, fewer}) == (2 if os.environ.get("NUMBA_CPU_NAME") else 3)


@pytest.mark.timeout(400)  # where the cache is empty, all is compiled
def test_warming_brings_in_every_module_that_compiles() -> None:
    pattern = re.compile(r"^@jit\(", re.MULTILINE)
    names = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in (ROOT / "calib_model").rglob("*.py")
        if pattern.search(path.read_text("utf-8"))
    }
    assert len(names) > 5
    code = (
        "import sys; from app.warm_cache import main; status = main()\n"
        f"print(status, sorted({names!r} - set(sys.modules)))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    *told, last = ran.stdout.splitlines()
    assert last == "0 []"
    assert [line.split(":")[0] for line in told] == [f"compiling {n} of 5" for n in range(1, 6)]
