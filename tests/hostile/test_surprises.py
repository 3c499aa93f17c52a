"""Content that used to come out as "something unforeseen", one test for each kind found."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from calib_model.core.plain import axis_from_plain, axis_to_plain, table_from_plain, table_to_plain
from calib_model.core.rule import find_axis
from calib_model.editing.change import change_from_plain, change_to_plain, values_change
from calib_model.errors import BitepointError, DamagedFile, FileProblem, ModelError
from calib_model.evidence.mapping import ChannelMap
from calib_model.exchange.measurements import inspect
from calib_model.session.recovery import compare_words, put_together
from calib_model.store import HistoryColumns, read_set_here
from calib_model.store.encode import encode
from calib_model.store.recovery import list_leftovers
from calib_model.vehicle.manoeuvre_file import parse_manoeuvres
from tests.hostile.large_files import image_of
from tests.store.making import PEDAL, entries, small_set

NOT_NUMBERS = ("²", "³", "9" * 400, "9" * 5000, "\N{CIRCLED DIGIT ONE}", "-1", "0", "1.0")


@pytest.mark.parametrize("text", NOT_NUMBERS)
def test_what_looks_like_a_digit_names_no_axis_and_no_column(text: str, tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="refers to axis"):
        find_axis(small_set()["torque"], text)
    path = tmp_path / "sweep.csv"
    path.write_text("a;b\n1;2\n3;4\n")
    with pytest.raises(FileProblem, match="There is no column"):
        inspect(path).column(text)


@pytest.mark.parametrize(("hint", "words"), [
    ({"separator": "ab"}, "separates no columns"), ({"separator": ""}, "separates no columns"),
    ({"separator": "\n"}, "separates no columns"), ({"decimal": "x"}, "no decimal mark"),
    ({"encoding": "²"}, "text"), ({"encoding": "hex"}, "text"),
    ({"encoding": "\ud800"}, "text"), ({"encoding": "a\0"}, "text"),
])  # fmt: skip
def test_what_is_said_of_a_text_file_may_be_nonsense(
    hint: dict[str, Any], words: str, tmp_path: Path
) -> None:
    path = tmp_path / "sweep.csv"
    path.write_text("a;b\n1;2\n3;4\n")
    with pytest.raises(FileProblem, match=words):
        inspect(path, **hint)


@pytest.mark.parametrize("column", [
    "record_text", "record_kind", "entry_author", "entry_title_text", "edit_text", "edit_kind",
])  # fmt: skip
def test_a_text_that_is_no_utf8_is_damage_wherever_it_stands(column: str) -> None:
    history = HistoryColumns().with_entries(entries(3)).columns()
    neutral = encode(small_set(), history, [("remark", {"id": "a", "text": "x"})])
    columns = dict(neutral.columns)
    spoilt = columns[column].copy()
    spoilt[0] = b"\xff\xfe"
    with pytest.raises(DamagedFile, match="not valid UTF-8"):
        read_set_here(image_of({**columns, column: spoilt}, neutral.attributes), "x.h5")


def test_half_of_a_character_is_no_text() -> None:
    neutral = encode(small_set(), {}, [("remark", {"id": "a", "text": "x"})])
    for text in (rb'{"id":"a","text":"\ud800"}', rb'{"id":"\udfff"}'):
        columns = {**neutral.columns, "record_text": np.array([text])}
        with pytest.raises(DamagedFile, match="JSON"):
            read_set_here(image_of(columns, neutral.attributes), "x.h5")
    change = change_to_plain(values_change(small_set()["fade"], np.zeros(3), "t"))
    for key in ("title", "reason", "author", "time"):
        for wrong in ("\ud800", 5, None, []):
            with pytest.raises(ModelError, match="damaged"):
                change_from_plain({**change, key: wrong})


HUGE = 10**400


@pytest.mark.parametrize(("key", "wrong"), [
    ("name", {}), ("function", 1), ("unit", "\ud800"), ("values", [HUGE] * 12), ("lower", HUGE),
    ("storage", ["uint8", 0.5, 1, 0]), ("storage", ["uint8", HUGE, 1, 0]),
    ("storage", [{}, 1, 1, 0]),
    ("relations", {"low_grip": []}), ("relations", [1]), ("role", None), ("axes", [1]), ("id", []),
    ("labels", 5), ("labels", [[1.0]]), ("labels", [["a", "off"]]), ("labels", [[HUGE, "off"]]),
    ("labels", [[1.0, "\ud800"]]), ("labels", [[1.0, ["off"]]]), ("labels", [[1, "a"], [1, "b"]]),
])  # fmt: skip
def test_a_recorded_table_of_other_types_is_damage(key: str, wrong: Any) -> None:
    with pytest.raises(ModelError):
        table_from_plain({**table_to_plain(small_set()["torque"]), key: wrong})


@pytest.mark.parametrize(("key", "wrong"), [
    ("values", [HUGE]), ("name", 1), ("unit", None), ("shared", 0.5), ("storage", 1),
    ("quantity", "\udc00"), ("interpolation", []),
])  # fmt: skip
def test_a_recorded_axis_of_other_types_is_damage(key: str, wrong: Any) -> None:
    with pytest.raises(ModelError):
        axis_from_plain({**axis_to_plain(PEDAL), key: wrong})


@pytest.mark.parametrize("edit", [
    {"kind": "cells", "table": [], "cells": [0], "before": [0], "after": [1]},
    {"kind": "cells", "table": "fade", "cells": [HUGE], "before": [0], "after": [1]},
    {"kind": "cells", "table": "fade", "cells": 0, "before": [0], "after": [1]},
    {"kind": "about", "field": "record", "before": "", "after": "x"},
    {"kind": "about", "field": "name", "before": "Normal", "after": 5},
    {"kind": "axis", "id": 0.5, "before": None, "after": None},
    {"kind": "table", "before": {}, "after": None, "position": 0},
    {"kind": "record", "item": [], "before": None, "after": {}},
])  # fmt: skip
def test_a_recorded_edit_of_other_types_ends_the_recovery_in_words(edit: dict[str, Any]) -> None:
    change = {"title": "t", "reason": "", "author": "", "time": "", "edits": [edit]}
    base = SimpleNamespace(set=small_set())
    found = put_together(SimpleNamespace(load=lambda: (base, [change], None)))  # type: ignore[arg-type]
    assert not found.changes
    assert "could not be brought back" in found.problem


def test_a_recovery_of_a_file_with_an_impossible_name_is_no_surprise(tmp_path: Path) -> None:
    path = tmp_path / ("x" * 5000)
    base = SimpleNamespace(set=small_set())
    found = put_together(SimpleNamespace(load=lambda: (base, [], None)))  # type: ignore[arg-type]
    assert compare_words(SimpleNamespace(path=path), found)  # type: ignore[arg-type]


@pytest.mark.parametrize("path", [{}, {"path": "a\0b"}, {"path": "\ud800"}, {"path": "x" * 5000}])
def test_a_note_of_a_journal_with_no_path_of_a_file_is_no_surprise(
    path: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from calib_model.store.journal_file import line_of
    from calib_model.store.places import ABOUT, BASE, JOURNAL, recovery_root

    monkeypatch.setenv("BITEPOINT_STATE_DIR", str(tmp_path))
    folder = recovery_root() / "one"
    folder.mkdir(parents=True)
    (folder / ABOUT).write_text(json.dumps({"content_sha": "a" * 64, **path}))
    (folder / BASE).write_bytes(b"")
    (folder / JOURNAL).write_bytes(line_of({"n": 1, "kind": "edit", "change": {}}))
    for left in list_leftovers():
        left.release()


_ONE = (
    '[[manoeuvre]]\nid = "a"\nname = "b"\nduration = {}\nmetrics = [{}]\nsurface = {}\n'
    'driver = {{ brakes = [{{ start = 1, end = 2, wheel = {}, torque = 5 }}] }}\n'
)  # fmt: skip


@pytest.mark.parametrize("parts", [
    ("9" * 400, '"time_to_30"', '"snow"', '"fl"'), ("9" * 5000, '"time_to_30"', '"snow"', '"fl"'),
    ("5", '["x"]', '"snow"', '"fl"'), ("5", "{ a = 1 }", '"snow"', '"fl"'),
    ("5", '"time_to_30"', "9" + "9" * 330, '"fl"'), ("5", '"time_to_30"', '"snow"', '["fl"]'),
    ("5", '"time_to_30"', '"snow"', "{ a = 1 }"),
])  # fmt: skip
def test_a_manoeuvre_file_of_odd_values_is_refused_in_words(parts: tuple[str, ...]) -> None:
    with pytest.raises(FileProblem) as refused:
        parse_manoeuvres(_ONE.format(*parts), "m.toml")
    assert len(str(refused.value)) < 1000
    assert refused.value.remedy


def test_a_channel_map_with_a_number_beyond_all_floats_is_none() -> None:
    for plain in ({"pedal": {"channel": "a", "factor": HUGE}}, {"pedal": {"value": HUGE}}):
        with pytest.raises(BitepointError, match="no channel mapping"):
            ChannelMap.from_plain(plain)


def test_an_answer_kept_for_a_source_may_have_been_spoilt() -> None:
    from app.road.recordings.layouts import Layouts

    for text in ("[" * 100_000, "{", "9" * 5000, "[]", '{"a": 1}'):
        memory = SimpleNamespace(remembered=lambda _, text=text: text)
        assert Layouts(memory).recall("key") == {}  # type: ignore[arg-type]
