"""Names of stored numbers."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import canonical_text, digest
from calib_model.core.labels import NO_LABELS, YES_NO, Labels
from calib_model.core.plain import axis_from_plain, axis_to_plain, table_from_plain, table_to_plain
from calib_model.core.table import Table
from calib_model.errors import DamagedFile, ModelError, NewerFile
from calib_model.exchange.canonical_reader import parse_canonical

WIPER = Axis([0, 1, 2, 3], "Wiper", "-", "wiper_state", Interpolation.STEP)
NAMED = replace(WIPER, labels="off, interval, slow, fast")


@pytest.mark.parametrize(
    "given",
    [
        "off, slow, fast",
        "0 off, 1 slow, 2 fast",
        "2=fast, 0=off, 1=slow",
        ["off", "slow", "fast"],
        {2: "fast", 0.0: "off", 1: "slow"},
    ],
)
def test_labels_are_written_in_any_of_these_ways(given: object) -> None:
    made = Labels.of(given)  # type: ignore[arg-type]
    assert made.pairs == ((0.0, "off"), (1.0, "slow"), (2.0, "fast"))
    assert Labels.of(str(made)) == made


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ("off, slow, Off", "'off' is used twice"),
        ("0 off, 0 slow", "'0' is used twice"),
        ("0 off, slow", "'slow' names no number"),
        ("off, , slow", "label of 1 is empty"),
        ({0: "1"}, "read as a number or a sum"),
        ({0: "+5"}, "read as a number or a sum"),
        ({0: "=a"}, "read as a number or a sum"),
        ({0: "nan"}, "read as a number or a sum"),
        ({0: "a\tb"}, "cannot be a label"),
        ({0: "a" * 61}, "cannot be a label"),
        ({float("inf"): "a"}, "no finite number"),
        ({n: f"n{n}" for n in range(1001)}, "at most 1000"),
    ],
)
def test_what_cannot_be_a_label_is_refused_with_the_reason(given: object, words: str) -> None:
    with pytest.raises(ModelError, match=words):
        Labels.of(given)  # type: ignore[arg-type]


def test_values_are_said_by_name_where_they_have_one() -> None:
    table = Table("wash", [0, 1, 1, 0.5], (NAMED,), unit="0/1", labels=YES_NO)
    assert [table.said(v) for v in table.values.tolist()] == ["no", "yes", "yes", "0.5"]
    assert [NAMED.said(v) for v in (0, 2, 2.5)] == ["off", "slow", "2.5"]
    assert (table.said_exactly(float("nan")), table.said_exactly(1)) == ("empty", "yes")
    assert Axis([10.0], unit="degC").said(10) == "10 °C"
    assert NAMED.labels.number(" FAST ") == 3
    assert NAMED.labels.number("faster") is None
    assert WIPER.labels.number("off") is None


def test_labels_are_content_and_cost_nothing_where_there_are_none() -> None:
    plain = CalibrationSet([Table("wash", [0, 1, 1, 0], (WIPER,))])
    named = CalibrationSet([Table("wash", [0, 1, 1, 0], (NAMED,))])
    both = CalibrationSet([replace(named["wash"], labels=YES_NO)])
    assert len({digest(s) for s in (plain, named, both)}) == 3
    assert b"labels" not in canonical_text(plain)
    assert canonical_text(plain).startswith(b"bitepoint-content 1\n")
    assert canonical_text(both).startswith(b"bitepoint-content 2\n")
    with pytest.raises(DamagedFile, match="not in canonical form"):
        parse_canonical(canonical_text(plain).replace(b"content 1", b"content 2", 1))
    with pytest.raises(NewerFile, match=r"newer program \(version 3; this one reads 2\)"):
        parse_canonical(canonical_text(plain).replace(b"content 1", b"content 3", 1))
    line = canonical_text(both).decode().splitlines()[-1]
    assert '\taxis1.labels=[["0x0.0p+0","off"],["0x1.0000000000000p+0","interval"],' in line
    assert '\tlabels=[["0x0.0p+0","no"],["0x1.0000000000000p+0","yes"]]\tvalues=' in line
    assert "labels" not in table_to_plain(plain["wash"])


_names = st.text("aä\"\\' \u2013z", max_size=8).map(lambda text: f"a{text}z")


@given(st.dictionaries(st.floats(allow_nan=False, allow_infinity=False), _names, max_size=4))
def test_labels_come_back_from_every_form(named: dict[float, str]) -> None:
    if len({text.casefold() for text in named.values()}) < len(named):
        return
    axis = replace(WIPER, labels=named, shared="axis.wiper")
    table = Table("wash", np.zeros((4, 4)), (axis, replace(WIPER, name="b")), labels=named)
    assert axis_from_plain(axis_to_plain(axis)) == axis
    assert table_from_plain(table_to_plain(table)) == table
    assert pickle.loads(pickle.dumps(table)) == table
    content = CalibrationSet([table, Table("other", 1.0)], [axis])
    read = parse_canonical(canonical_text(content))
    assert canonical_text(read) == canonical_text(content)
    assert read["wash"].labels.names == tuple(
        Labels.of(dict(sorted(named.items()))).names if named else ()
    )


def test_equal_tables_with_other_labels_are_not_equal() -> None:
    plain = Table("wash", 1.0)
    assert plain != replace(plain, labels=YES_NO)
    assert plain.labels is NO_LABELS
    assert WIPER != NAMED
    assert hash(NAMED) == hash(replace(WIPER, labels=Labels.of("off, interval, slow, fast")))
