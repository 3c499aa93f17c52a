"""The scripts beside the sample sets run as they stand, in a fresh interpreter."""

from __future__ import annotations

import os
import pydoc
import subprocess
import sys
from pathlib import Path

import pytest

import calib_model
from calib_model.store import read_set

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "sample_sets" / "examples"
SAID = {
    "make_and_shape": (
        "Vans: Creep torque (map), wash_allowed (curve)",
        "  error: 143 N·m at −20 °C, 100 % is above the largest allowed value, 140 N·m.",
        "Findings now: 0",
        "Saved Vans with 2 tables.",
    ),
    "compare_sets": (
        "22 of 42 tables differ.",
        "  slip_target: 4 km/h in mode low_grip is 0.8 km/h above the normal mode's 3.2 km/h",
        "Wrote differences.html.",
    ),
    "replay_drive": (
        "Pre-engage torque decided 52 % of the time.",
        "The commanded torque differs by up to ",
        "Largest torque: ",
    ),
}
"""How lines of each begin."""


def run(name: str, folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", f"sample_sets.examples.{name}"],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"},
        capture_output=True, text=True, encoding="utf-8", timeout=200, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("name", SAID)
def test_a_script_runs_and_says_what_it_did(name: str, tmp_path: Path) -> None:
    lines = run(name, tmp_path).splitlines()
    for start in SAID[name]:
        assert any(line.startswith(start) for line in lines), (start, lines)


def test_the_set_that_a_script_makes_is_a_set(tmp_path: Path) -> None:
    run("make_and_shape", tmp_path)
    content = read_set(tmp_path / "vans.h5").set
    assert content["crawl_torque"].shape == (3, 7)
    assert content["wash_allowed"].values.tolist() == [0, 1, 1]
    assert content["wash_allowed"].axes[0].said(2) == "fast"
    assert (tmp_path / "vans.h5").exists()


def test_every_script_is_run_here() -> None:
    assert {p.stem for p in FOLDER.glob("*.py")} - {"__init__"} == set(SAID)


def test_help_shows_every_name_of_the_scripting_surface() -> None:
    text = pydoc.plain(pydoc.render_doc(calib_model))
    for name in calib_model.__all__:
        assert name in text, name
        assert (getattr(calib_model, name).__doc__ or "").strip(), name
