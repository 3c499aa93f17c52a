"""`bitepoint bind`: list, suggest, confirm, set, axis, clear, missing."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.store import read_set, write_set
from tests.cli.answers import strict_json
from tests.roles.naming import foreign

NORMAL = Path(__file__).resolve().parents[2] / "sample_sets" / "larch_normal.h5"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def own(tmp_path: Path) -> Path:
    return Path(shutil.copy(NORMAL, tmp_path / "own.h5"))


@pytest.fixture
def strange(tmp_path: Path) -> Path:
    content, _ = foreign(read_set(NORMAL).set, "plain", "snake", 1, decoys=20)
    path = tmp_path / "strange.h5"
    write_set(path, content)
    return path


def content(path: Path) -> CalibrationSet:
    return read_set(path).set


def test_lists_what_is_bound(run: Run) -> None:
    status, out, _ = run("bind", NORMAL)
    assert status == 0
    assert "pre_engage_torque" in out
    assert "ambient_temperature, pedal" in out
    rows = strict_json(run("bind", NORMAL, "list", "--json")[1])["bindings"]
    assert len(rows) == 42


def test_suggests_with_reasons(run: Run, strange: Path) -> None:
    status, out, _ = run("bind", strange, "suggest")
    assert status == 0
    assert "its name says gain slip" in " ".join(out.split())
    found = strict_json(run("bind", strange, "suggest", "--json")[1])["roles"]
    assert {"sure", "likely"} <= {one["surely"] for one in found}
    assert all(one["reasons"] for one in found)


def test_confirms_what_is_sure_with_its_rules(run: Run, strange: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.h5"
    sure = [
        one
        for one in strict_json(run("bind", strange, "suggest", "--json")[1])["roles"]
        if one["surely"] == "sure"
    ]
    status, said, _ = run(
        "bind", strange, "confirm", "--sure", "--rules", "-o", out, "--author", "tester"
    )
    assert status == 0
    assert f"Bind {len(sure)} tables." in said
    after = content(out)
    assert {after[one["table"]].role for one in sure} == {one["role"] for one in sure}
    assert all(after[one["table"]].rules for one in sure)
    (entry,) = list(read_set(out).history.entries())
    assert entry["author"] == "tester"


def test_sets_lets_go_and_says_what_is_missing(run: Run, own: Path) -> None:
    assert run("bind", own, "clear", "slip_target", "-o", own)[0] == 0
    assert content(own)["slip_target"].role == ""
    status, out, _ = run("bind", own, "missing")
    assert status == 0
    assert "slip_target: no table plays it" in out
    lacking = strict_json(run("bind", own, "missing", "--json")[1])["abilities"]
    assert "slip_gain" in {role for one in lacking for role in one["lacking"]}
    assert run("bind", own, "set", "slip_target", "slip_target", "-o", own)[0] == 0
    assert content(own) == content(NORMAL)


def test_binds_one_axis(run: Run, own: Path) -> None:
    assert run("bind", own, "axis", "hill_torque", "1", "pedal", "-o", own)[0] == 0
    assert content(own)["hill_torque"].axes[0].quantity == "pedal"
    assert run("bind", own, "axis", "hill_torque", "1", "", "-o", own)[0] == 0
    assert content(own)["hill_torque"].axes[0].quantity == ""


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["sugest"], "no action 'sugest'. Did you mean suggest"),
        (["confirm"], "Add -o OUT"),
        (["set", "slip_gain", "slip_gian", "-o", "OWN"], "Did you mean slip_gain"),
        (["set", "slip_gain", "-o", "OWN"], "A table and a role are needed"),
        (["set", "slip_gain", "slip_target", "-o", "OWN"], "played by slip_target already"),
        (["set", "slip_gain", "slip_gain", "pedal", "-o", "OWN"], "1 inputs are given"),
        (
            ["axis", "slip_gain", "1", "pedall", "-o", "OWN"],
            "no input 'pedall'. Did you mean pedal",
        ),
        (["axis", "slip_gain", "3", "pedal", "-o", "OWN"], "does not have"),
        (["clear", "-o", "OWN"], "No table is named"),
        (["confirm", "slip_gain", "-o", "OWN"], "Nothing is suggested for slip_gain"),
        (["confirm", "nowhere", "-o", "OWN"], "no table 'nowhere'"),
        (["confirm", "-o", "OWN"], "Nothing is named to confirm"),
    ],
)
def test_bad_input_is_named(run: Run, own: Path, arguments: list[str], said: str) -> None:
    before = own.read_bytes()
    status, _, err = run("bind", own, *(str(own) if a == "OWN" else a for a in arguments))
    assert status == 2
    assert said in err
    assert len(err.strip().splitlines()) == 1
    assert own.read_bytes() == before


def test_help_names_roles_and_inputs(run: Run) -> None:
    status, out, _ = run("bind", "--help")
    assert status == 0
    assert "slip_integral_release" in out
    assert "lateral_acceleration_abs" in out


def test_replaces_no_other_file(run: Run, own: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.h5"
    write_set(other, replace(content(own), name="other"))
    status, _, err = run("bind", own, "clear", "slip_gain", "-o", other)
    assert status == 2
    assert "There is such a file already" in err
