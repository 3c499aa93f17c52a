"""The verbs' answers: exit status, words and JSON, on the sample sets and on made-up ones."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from calib_model.cautions import LINE as CAUTION
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.rules.shape import Monotone
from calib_model.store import write_set
from tests.cli.answers import strict_json

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
NORMAL, LOW_GRIP, TOWING, PRACTICE = (
    str(SAMPLES / f"larch_{name}.h5") for name in ("normal", "low_grip", "towing", "practice")
)

Run = Callable[..., tuple[int, str, str]]

FINDING_KEYS = {
    "table",
    "rule",
    "severity",
    "cells",
    "axis_values",
    "amount",
    "unit",
    "message",
    "waived",
}


def _saved(folder: Path, name: str, *tables: Table, **about: str) -> str:
    path = folder / name
    write_set(path, CalibrationSet({t.id: t for t in tables}, **about))
    return str(path)


def _flat(text: str) -> str:
    return " ".join(text.split())


# -- check --------------------------------------------------------------------------------


def test_a_sound_set_gives_0(run: Run) -> None:
    status, out, err = run("check", TOWING)
    assert (status, err) == (0, "")
    assert "0 errors, 0 warnings" in out
    assert CAUTION in _flat(out)


def test_practice_set_gives_1_and_names_the_planted_tables(run: Run) -> None:
    status, out, _ = run("check", PRACTICE)
    assert status == 1
    # The eight planted mistakes of the demo scenario, by their tables.
    for table in (
        "pre_engage_torque",
        "current_for_clamp_release",
        "reconnect_speed",
        "ambient_factor",
        "clamp_limit_plate",
        "inside_rear_brake",
        "expected_axle_difference",
        "sync_window",
    ):
        assert table in out
    assert "21.5 N·m" in out
    assert "Remedy: re-interpolate" in out


def test_check_json_has_the_documented_shape(run: Run) -> None:
    status, out, _ = run("check", PRACTICE, "--json")
    answer = strict_json(out)
    assert status == 1
    assert set(answer) == {"findings", "not_checked", "attention", "beside"}
    (looked,) = answer["attention"]
    assert sum(looked["tables_by_rules"].values()) == 42
    assert (looked["unchecked"], looked["rules_off"]) == ([], 0)
    assert all(set(f) == FINDING_KEYS for f in answer["findings"])
    outlier = next(f for f in answer["findings"] if f["rule"] == "outlier")
    # -10 degC is the 4th breakpoint, 40 % the 7th: planted mistake 1.
    assert outlier["cells"] == [[3, 6]]
    assert outlier["axis_values"] == [[-10.0, 40.0]]
    assert (outlier["severity"], outlier["unit"], outlier["waived"]) == ("warning", "N.m", False)


def test_mode_relation_needs_the_other_set(run: Run) -> None:
    status, out, _ = run("check", LOW_GRIP, "--alone", "--json")
    answer = strict_json(out)
    assert status == 1, "what is not checked is not sound"
    assert {n["rule"] for n in answer["not_checked"]} == {"mode_relation"}
    assert set(answer["not_checked"][0]) == {"table", "rule", "reason"}
    out = run("check", LOW_GRIP, "--alone")[1]
    assert "30 relations not checked" in out
    assert "--against" in out
    for named in ((LOW_GRIP, "--alone", "--against", NORMAL), (LOW_GRIP,), (NORMAL,)):
        status, out, _ = run("check", *named, "--json")
        answer = strict_json(out)
        assert status == 1
        assert answer["not_checked"] == []
        # The two deliberate breaches of the demo scenario.
        assert {f["table"] for f in answer["findings"]} == {"pre_engage_torque", "slip_target"}


def test_json_has_null_for_what_is_no_number(run: Run, tmp_path: Path) -> None:
    axis = Axis([0.0, 1.0, 2.0], quantity="pedal", unit="%")
    path = _saved(tmp_path, "odd.h5", Table("odd", [1.0, np.nan, 3.0], (axis,)))
    status, out, _ = run("check", path, "--json")
    finding = strict_json(out)["findings"][0]
    assert status == 1
    assert finding["table"] == "odd"
    assert out.isascii()


def test_a_set_without_tables_is_sound(run: Run, tmp_path: Path) -> None:
    path = _saved(tmp_path, "none.h5")
    assert run("check", path)[0] == 0
    answer = strict_json(run("check", path, "--json")[1])
    (looked,) = answer.pop("attention")
    assert answer == {"findings": [], "not_checked": [], "beside": []}
    assert (looked["tables_by_rules"], looked["unchecked"]) == ({}, [])


def test_a_reference_is_an_earlier_state_of_the_same_set(run: Run) -> None:
    status, _, err = run("check", NORMAL, "--reference", LOW_GRIP)
    assert status == 2
    assert "mode low_grip, not programme Larch, mode normal" in err
    assert "--against" in err
    assert run("check", TOWING, "--reference", TOWING)[0] == 0


def test_a_set_without_rules_is_not_sound(run: Run, tmp_path: Path) -> None:
    """It used to be told that every rule holds."""
    path = _saved(tmp_path, "shells.h5", Table("a", 1.0), Table("b", 2.0))
    status, out, _ = run("check", path)
    assert status == 1
    assert "2 of 2 tables are not checked by any rule" in out
    assert "Not checked by any rule, so not sound: a, b." in out
    assert "Every rule holds" not in out
    (looked,) = strict_json(run("check", path, "--json")[1])["attention"]
    assert (looked["unchecked"], looked["cells_by_rules"]) == (["a", "b"], {"0": 2})


# -- compare ------------------------------------------------------------------------------


def test_a_set_compared_with_itself_is_the_same(run: Run) -> None:
    status, out, _ = run("compare", NORMAL, NORMAL)
    assert status == 0
    assert "42 tables: 42 same." in out


def test_normal_against_low_grip_in_words(run: Run) -> None:
    status, out, _ = run("compare", NORMAL, LOW_GRIP)
    assert status == 1
    text = _flat(out)
    assert "2 tables in breach" in text
    # The deliberate breaches of the demo scenario, with their sizes.
    assert "4 km/h in mode low_grip is 0.8 km/h above the normal mode's 3.2 km/h" in text
    assert "20 N·m below the normal mode's" in text
    assert "at −20 °C, 100 %: " in text
    assert CAUTION in text


def test_normal_against_low_grip_in_json(run: Run) -> None:
    status, out, _ = run("compare", NORMAL, LOW_GRIP, "--json")
    answer = strict_json(out)
    assert status == 1
    assert set(answer) == {"tables", "beside", "promises"}
    keys = {"table", "state", "cells_changed", "largest", "unit", "mode_relation_breaches"}
    assert all(set(t) == keys for t in answer["tables"])
    by_id = {t["table"]: t for t in answer["tables"]}
    assert len(by_id) == 42
    (breach,) = by_id["slip_target"]["mode_relation_breaches"]
    assert set(breach) == FINDING_KEYS
    assert breach["amount"] == pytest.approx(0.8)
    assert sorted(breach["axis_values"]) == [[0.0, 100.0], [10.0, 100.0]]
    (breach,) = by_id["pre_engage_torque"]["mode_relation_breaches"]
    assert sorted(values[1] for values in breach["axis_values"]) == [70.0, 85.0, 100.0]
    in_breach = {t["table"] for t in answer["tables"] if t["mode_relation_breaches"]}
    assert in_breach == {"slip_target", "pre_engage_torque"}


def test_order_of_the_sets_turns_differences_but_not_the_relation(run: Run) -> None:
    forth = strict_json(run("compare", NORMAL, LOW_GRIP, "--json")[1])["tables"]
    back = strict_json(run("compare", LOW_GRIP, NORMAL, "--json")[1])["tables"]
    reversed_by_id = {t["table"]: t for t in back}
    for a in forth:
        b = reversed_by_id[a["table"]]
        assert a["mode_relation_breaches"] == b["mode_relation_breaches"]
        assert (a["state"], a["cells_changed"]) == (b["state"], b["cells_changed"])
        if a["largest"] is not None:
            assert abs(a["largest"]) == pytest.approx(abs(b["largest"]))


def test_every_state_is_told(run: Run, tmp_path: Path) -> None:
    axis = Axis([0.0, 1.0], quantity="pedal", unit="%")
    other = Axis([0.0, 2.0], quantity="pedal", unit="%")
    one, two = [1.0, 2.0], [1.0, 4.0]
    a = _saved(
        tmp_path,
        "a.h5",
        Table("same", one, (axis,)),
        Table("cells", one, (axis,)),
        Table("axes", one, (axis,)),
        Table("units", one, (axis,), unit="km/h"),
        Table("kinds", one, (axis,), unit="km/h"),
        Table("mine", 1.0),
        Table("emptied", one, (axis,)),
    )
    b = _saved(
        tmp_path,
        "b.h5",
        Table("same", one, (axis,)),
        Table("cells", two, (axis,)),
        Table("axes", one, (other,)),
        Table("units", one, (axis,), unit="m/s"),
        Table("kinds", one, (axis,), unit="N.m"),
        Table("emptied", [1.0, np.nan], (axis,)),
        Table("theirs", 1.0),
    )
    status, out, _ = run("compare", a, b, "--json")
    assert status == 1
    told = {t["table"]: (t["state"], t["cells_changed"]) for t in strict_json(out)["tables"]}
    assert told == {
        "same": ("same", 0),
        "cells": ("changed", 1),
        "axes": ("axes differ", 1),  # at 1 % only: 2 against 1.5
        "units": ("units differ", 2),
        "kinds": ("units differ", None),
        "mine": ("only in first", None),
        "emptied": ("changed", 1),
        "theirs": ("only in second", None),
    }
    words = run("compare", a, b)[1]
    assert "at 1 %: 2 → 4" in words
    assert "at 1 %: 2 → empty" in words


# -- export and show ----------------------------------------------------------------------


def test_export_is_read_back_by_pandas(run: Run, tmp_path: Path) -> None:
    out_file = tmp_path / "normal.csv"
    status, out, _ = run("export", NORMAL, "--to", "csv", str(out_file))
    assert status == 0
    assert "Wrote 42 tables" in out
    frame = pd.read_csv(out_file.with_name("normal_UNSIGNED.csv"))
    cell = frame[
        (frame["table"] == "pre_engage_torque")
        & (frame["axis_1_value"] == -10)
        & (frame["axis_2_value"] == 40)
    ]
    assert cell["value"].tolist() == [215.0]  # the scenario's own figure
    assert frame["table"].nunique() == 42


def test_export_never_writes_over_the_set_itself(run: Run, tmp_path: Path) -> None:
    path = Path(_saved(tmp_path, "a.h5", Table("t", 1.0)))
    before = path.read_bytes()
    status, out, err = run("export", str(path), "--to", "csv", str(path))
    assert (status, out) == (2, "")
    assert "itself" in err
    assert path.read_bytes() == before


def test_show_lists_tables_and_shows_one(run: Run, tmp_path: Path) -> None:
    status, out, _ = run("show", NORMAL)
    assert status == 0
    assert "Programme  Larch" in out
    assert "pre_engage_torque" in out
    status, out, _ = run("show", NORMAL, "pre_engage_torque")
    assert status == 0
    assert "uint16, step 0.5" in out
    row = next(line.split() for line in out.splitlines() if line.split()[:1] == ["-10"])
    assert row[7] == "215", "-10 degC, 40 %"
    assert "at least as in the base mode" in out


def test_show_writes_deep_tables_grid_by_grid(run: Run, tmp_path: Path) -> None:
    axes = tuple(Axis([0.0, 1.0], name=f"a{n}", unit="%") for n in range(4))
    values = np.arange(16.0).reshape(2, 2, 2, 2)
    path = _saved(tmp_path, "deep.h5", Table("deep", values, axes), Table("tick", 0.1, unit="s"))
    out = run("show", path, "deep")[1]
    assert out.count("At a2") == 4
    assert "At a2 1 %, a3 0 %" in out
    assert "Value: 0.1 s" in run("show", path, "tick")[1]


def test_show_names_a_rule_that_does_not_fit_its_table(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "set.h5"
    table = Table("t", [1.0, 2.0], (Axis([0, 1], "Pedal"),), rules=(Monotone("speed"),))
    write_set(path, CalibrationSet([table]))
    status, out, _ = run("show", str(path), "t")
    assert status == 0
    assert re.search(r"^Rule +monotone$", out, re.MULTILINE)
    assert run("check", str(path))[1].count("1 rule not checked") == 1
    assert run("check", str(path))[0] == 1


def test_show_knows_what_was_probably_meant(run: Run) -> None:
    status, out, err = run("show", NORMAL, "pre_engagetorque")
    assert (status, out) == (2, "")
    assert "pre_engage_torque" in err
