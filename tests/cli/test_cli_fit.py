"""`bitepoint fit`, `breakpoints`, `reaxis` and `invert`, on the sample sets."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from calib_model.store import open_file
from tests.cli.answers import strict_json

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
NORMAL, SWEEP = str(SAMPLES / "larch_normal.h5"), str(SAMPLES / "larch_bench_sweep.csv")
APPLY, RELEASE = "current_for_clamp_apply", "current_for_clamp_release"
COLUMNS = ("--data", SWEEP, "--column", "value=motor_current", "--specimen", "actuator")
NEW = ("--nominal", "new 1", "--nominal", "new 2")

Run = Callable[..., tuple[int, str, str]]


def test_both_branches_of_the_sweep_into_a_set_with_its_report(run: Run, tmp_path: Path) -> None:
    out, page = tmp_path / "fitted.h5", tmp_path / "fit.html"
    status, text, err = run(
        "fit", NORMAL, APPLY, "--falling", RELEASE, *COLUMNS, *NEW, "-o", str(out),
        "--report", str(page), "--author", "calibrator A", "--reason", "new bench sweep",
            "--alone",
    )  # fmt: skip
    assert (status, err) == (0, "")
    flat = " ".join(text.split())
    assert "30 nodes measured, 20 thin, 0 without data" in flat
    assert flat.count("Not measured, filled or kept: all at −10 °C; all at 60 °C.") == 2
    assert "Limit samples: new 1 (low), aged (high)" in flat
    assert "5163" in text  # the farthest planted outlier, by its line
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    stored = open_file(out).result()
    before = open_file(NORMAL).result().set
    assert not np.array_equal(stored.set[APPLY].values, before[APPLY].values)
    found = strict_json(run("check", str(out), "--json")[1])
    assert found["findings"] == []  # the other modes do not lie beside it: relations stay open
    last = run("compare", NORMAL, str(out), "--json")
    changed = {t["table"] for t in strict_json(last[1])["tables"] if t["state"] != "same"}
    assert changed == {APPLY, RELEASE}


def test_fit_in_json(run: Run) -> None:
    status, text, _ = run("fit", NORMAL, APPLY, "--falling", RELEASE, *COLUMNS, *NEW, "--json")
    answer = strict_json(text)
    assert status == 0
    assert [f["table"] for f in answer["fits"]] == [APPLY, RELEASE]
    first = answer["fits"][0]
    assert np.array(first["state"]).shape == (10, 5)
    # Unmeasured nodes have no standard error: null, not a number.
    assert sum(e is None for row in first["standard_error"] for e in row) == 20
    assert first["units"]["highest"] == "aged"
    assert len(answer["outliers"]) == 24
    assert answer["branches"][0]["gap"] >= answer["branches"][0]["asked"]
    assert answer["written"] == []


def test_pooled_fit_of_two_branches_is_refused_in_one_line(run: Run) -> None:
    status, out, err = run("fit", NORMAL, APPLY, *COLUMNS)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert "one fit through both would fit neither" in err


def test_fit_says_which_column_is_missing(run: Run) -> None:
    status, _, err = run("fit", NORMAL, APPLY, "--data", SWEEP)
    assert status == 2
    assert "--column value=COLUMN" in err
    assert "motor_current" in err
    status, _, err = run("fit", NORMAL, APPLY, *COLUMNS[:2], "--column", "value")
    assert status == 2
    assert "NAME=COLUMN" in err


def test_samples_can_be_narrowed_and_their_unit_named(run: Run) -> None:
    arguments = (
        "fit", NORMAL, APPLY, "--branch", "up", "--data", SWEEP, "--specimen", "actuator", *NEW,
        "--column", "value=motor_current[A]", "--column", "clamp=clamp[kN]",
        "--samples", "clamp=200..11500", "--json",
    )  # fmt: skip
    status, text, _ = run(*arguments)
    assert status == 0
    assert 1000 < strict_json(text)["fits"][0]["samples"] < 2336
    status, _, err = run(*arguments[:-2], "clamp=5..1", "--json")
    assert status == 2
    assert "NAME=LOW..HIGH" in err


def test_a_column_of_weights_on_the_command_line(run: Run, tmp_path: Path) -> None:
    table = open_file(NORMAL).result().set["pre_engage_fade"]
    x = np.linspace(table.axes[0].values[0], table.axes[0].values[-1], 40)
    y = np.interp(x, table.axes[0].values, table.values)
    times = 1 + np.arange(40) % 3
    y[5], times[5] = table.upper, 0
    data = tmp_path / "means.csv"

    def write(weights: list[str]) -> tuple[str, ...]:
        rows = [f"{a:.9f},{b:.9f},{w}" for a, b, w in zip(x, y, weights, strict=True)]
        data.write_text("\n".join(["place,result,repeats", *rows]) + "\n", encoding="utf-8")
        columns = ("--column", "1=place", "--column", "value=result", "--weight", "repeats")
        return ("fit", NORMAL, table.id, "--data", str(data), *columns)

    arguments = write([str(t) for t in times])
    status, text, err = run(*arguments, "--json")
    assert (status, err) == (0, "")
    fit = strict_json(text)["fits"][0]
    assert (fit["samples"], fit["weight"]) == (39, times.sum())
    flat = " ".join(run(*arguments)[1].split())
    assert f"39 samples that count as {times.sum()}, noise" in flat
    arguments = write([*[str(t) for t in times[:-1]], "-1"])
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert "means.csv, column 'repeats', line 41: the weight is -1, negative." in err
    assert "how many samples one counts as" in err


def test_breakpoints_in_json_and_into_a_set(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "fewer.h5"
    status, text, _ = run(
        "breakpoints", NORMAL, "pre_engage_torque", "--axis", "pedal", "--tolerance", "4",
        "--raster", "5", "--json", "-o", str(out),
    )  # fmt: skip
    answer = strict_json(text)
    assert status == 0
    after = next(e for e in answer["errors"] if e["state"] == "after")
    assert after["largest"] <= 4.25
    axis = open_file(out).result().set["pre_engage_torque"].axes[1].values
    assert len(axis) < 12
    assert (axis % 5 == 0).all()
    status, _, err = run("breakpoints", NORMAL, "pre_engage_torque")
    assert status == 2
    assert "--count or --tolerance" in err


def test_breakpoints_for_a_share_of_the_value(run: Run) -> None:
    status, out, _ = run(
        "breakpoints", NORMAL, "pre_engage_torque", "--axis", "pedal", "--tolerance", "0.05",
        "--relative", "--json",
    )  # fmt: skip
    answer = strict_json(out)
    assert status == 0
    assert answer["settings"][0]["errors"] == "as shares of the value"
    after = next(e for e in answer["errors"] if e["state"] == "after")
    assert 0 < after["largest"] < 0.07  # 5 %, and what rounding to storage adds


def test_breakpoints_for_one_branch_of_a_sweep(run: Run) -> None:
    arguments = ("breakpoints", NORMAL, APPLY, "--count", "7", *COLUMNS, "--json")
    status, _, err = run(*arguments)
    assert status == 2
    assert "would fit neither" in err
    status, text, _ = run(*arguments, *NEW, "--branch", "up", "--fixed", "2000")
    answer = strict_json(text)
    assert status == 0
    axis = answer["tables"][0]["axes"][0]
    assert len(axis) == 7
    assert 2000 in axis
    # The take-up is soft at first (the sweep's own truth): more than half of them lie in its
    # quarter of the range.
    assert sum(x <= 3000 for x in axis) >= 4
    errors = {e["state"]: e for e in answer["errors"]}
    assert errors["after"]["rms"] < 0.03 < errors["before"]["rms"]


def test_reaxis_says_what_is_passed_over(run: Run, tmp_path: Path) -> None:
    status, text, _ = run(
        "reaxis", NORMAL, "pre_engage_torque", "--axis", "pedal", "--to", "0,20,40,60,80,100"
    )
    assert status == 0
    assert "Bends passed over: at 70 %" in " ".join(text.split())
    assert "Nothing is written" in text
    status, text, _ = run(
        "reaxis", NORMAL, "pre_engage_torque", "--axis", "pedal", "--to", "0,20,40,60,80,100",
        "--values", "not-above", "--json",
    )  # fmt: skip
    answer = strict_json(text)
    assert all(b["above"] <= 1e-9 for b in answer["bends_passed_over"])
    status, _, err = run("reaxis", NORMAL, "pre_engage_torque", "--to", "a,b")
    assert status == 2
    assert "not understood" in err


def test_invert_adds_a_table(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "turned.h5"
    status, text, _ = run(
        "invert", NORMAL, APPLY, "--axis", "clamp", "--new", "clamp_for_current", "--tolerance",
        "80", "--json", "-o", str(out),
    )  # fmt: skip
    answer = strict_json(text)
    assert status == 0
    assert answer["tables"][0]["before"] is None
    assert answer["there_and_back"][0]["input"] < 81
    table = open_file(out).result().set["clamp_for_current"]
    assert table.unit == "N"
    assert (np.diff(table.values, axis=0) >= 0).all()
    status, _, err = run("invert", NORMAL, APPLY, "--new", APPLY)
    assert status == 2
    assert "already" in err
    status, _, err = run("invert", NORMAL, APPLY)
    assert status == 2
    assert "--into or --new" in err


def test_no_other_file_is_replaced(run: Run, tmp_path: Path) -> None:
    there = tmp_path / "there.h5"
    there.write_bytes(b"mine")
    for verb, more in (
        ("fit", COLUMNS),
        ("breakpoints", ("--count", "4")),
        ("reaxis", ("--to", "0,1")),
        ("invert", ("--new", "x")),
    ):
        status, _, err = run(verb, NORMAL, APPLY, *more, "-o", str(there))
        assert status == 2
        assert "such a file already" in err
    assert there.read_bytes() == b"mine"
