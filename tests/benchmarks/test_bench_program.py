"""How long the verbs take on the sample sets, from the first instruction to the last."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_sets"
NORMAL, LOW_GRIP, PRACTICE = (
    str(SAMPLES / f"larch_{name}.h5") for name in ("normal", "low_grip", "practice")
)
SECONDS = 0.6
REPORT_SECONDS = 2.0
ROUNDS = 10
Record = Callable[[str, object], None]


def _best(arguments: list[str], status: int, rounds: int) -> float:
    best = float("inf")
    for _ in range(rounds):
        begin = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-m", "app", *arguments],
            cwd=ROOT,
            env=os.environ,
            capture_output=True,
            check=False,
            timeout=60,
        )
        best = min(best, time.perf_counter() - begin)
        assert done.returncode == status
        assert done.stdout
    return best


@pytest.mark.parametrize(
    ("arguments", "status"),
    [(["check", PRACTICE], 1), (["compare", NORMAL, LOW_GRIP], 1), (["show", NORMAL], 0)],
    ids=["check", "compare", "show"],
)
def test_a_verb_answers_at_once(
    arguments: list[str], status: int, timed: bool, record_testsuite_property: Record
) -> None:
    best = _best(arguments, status, ROUNDS if timed else 1)
    record_testsuite_property(f"bitepoint {arguments[0]}, seconds", round(best, 2))
    assert not timed or best < SECONDS


def test_the_comparison_report_is_written_in_good_time(
    tmp_path: Path, timed: bool, record_testsuite_property: Record
) -> None:
    out = tmp_path / "report.html"
    arguments = ["compare", NORMAL, LOW_GRIP, "--to", "html", str(out)]
    best = _best(arguments, 1, 3 if timed else 1)
    assert out.stat().st_size > 10_000
    record_testsuite_property("bitepoint compare --to html, seconds", round(best, 2))
    assert not timed or best < REPORT_SECONDS
