"""`bitepoint compare --result`: the relation held against the resulting torque."""

from __future__ import annotations

import json

import pytest

from app.cli.compare import run
from calib_model.controller.constants import LARCH
from calib_model.evidence.result_survey import PICTURES, survey
from tests.overlay.sets import FOLDER, sample

NORMAL, LOW, TOWING = (str(FOLDER / f"larch_{n}.h5") for n in ("normal", "low_grip", "towing"))


def test_the_planted_breach_is_told_with_its_size_and_table() -> None:
    """The scenario: at -20 degC, 70-100 %, low grip is 15-20 N.m below normal."""
    answer = run([NORMAL, LOW, "--result", "--json"])
    assert answer.status == 1
    looked = json.loads(answer.text)["resulting_torque"]
    assert len(looked) == len(PICTURES)
    cold = next(p for p in looked if p["over"] == ["pedal", "ambient_temperature"])
    (breach,) = cold["breaches"]
    assert breach["amount"] == pytest.approx(20.0)
    assert breach["mode_decided_by"] == breach["base_decided_by"] == "pre_engage_torque"
    assert all(p["checked"] and p["points"] > 500 for p in looked)


def test_less_torque_that_a_limit_of_the_mode_asks_for_is_meant() -> None:
    """Towing: the lateral limit is at most normal's (tables.csv), so the status tells of none."""
    looked = list(survey(sample("normal"), sample("towing"), LARCH))
    assert not any(one.check.breaches for one in looked)
    meant = [m for one in looked for m in one.check.meant]
    assert meant
    assert {m.mode_by for m in meant} == {"lateral_limit"}
    assert "Meant: Up to" in run([NORMAL, TOWING, "--result"]).text


def test_without_a_pair_of_modes_the_reason_is_told() -> None:
    text = run([NORMAL, NORMAL, "--result"]).text
    assert "Resulting torque. No mode relation applies" in text
    assert run([NORMAL, NORMAL, "--result"]).status == 0


def test_nothing_of_it_is_reckoned_unless_asked_for() -> None:
    assert "resulting_torque" not in json.loads(run([NORMAL, LOW, "--json"]).text)
    assert "Resulting torque" not in run([NORMAL, LOW]).text
