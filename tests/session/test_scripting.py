"""The scripting surface: what is exported, and edits that do not fit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import calib_model
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Rule
from calib_model.core.table import Table
from calib_model.editing.lock_changes import set_locks
from calib_model.errors import EditRefused, ModelError

MAP = Table("map", [[1.0, 2.0], [3.0, 4.0]], (Axis([0, 1]), Axis([0, 1])))
GAIN = Table("gain", 2.0)
CONTENT = CalibrationSet([MAP, GAIN])


def test_every_exported_name_is_there() -> None:
    assert sorted(calib_model.__all__) == list(calib_model.__all__)
    for name in calib_model.__all__:
        assert getattr(calib_model, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'tune'"):
        _ = calib_model.tune


def test_cells_or_whole_tables_are_edited_and_the_given_set_stays() -> None:
    assert calib_model.edit(CONTENT, "map", {(1, 0): 7})["map"].values.tolist() == [[1, 2], [7, 4]]
    assert calib_model.edit(CONTENT, "gain", {(): 5})["gain"].values == 5
    assert calib_model.edit(CONTENT, "gain", 5)["gain"].values == 5
    assert CONTENT["map"].values.tolist() == [[1, 2], [3, 4]]


@pytest.mark.parametrize(
    "values",
    [
        None,
        {(0,): 7.0},  # numpy would fill the whole row
        {0: 7.0},
        {(0, 0, 0): 7.0},
        {(5, 0): 7.0},
        {(0, 0): "x"},
        {(0, "x"): 1.0},
        [1.0, 2.0],
        [[1.0, 2.0], [3.0]],
        [["a", "b"], ["c", "d"]],
    ],
    ids=str,
)
def test_values_that_do_not_fit_are_refused(values: Any) -> None:
    with pytest.raises(EditRefused):
        calib_model.edit(CONTENT, "map", values)


def test_a_table_that_is_not_there_is_named() -> None:
    with pytest.raises(ModelError, match="no table 'nope'"):
        calib_model.edit(CONTENT, "nope", 1.0)


def test_locked_cells_are_respected() -> None:
    locked = calib_model.edit(CONTENT, set_locks(GAIN, np.ones((), dtype=bool), True))
    assert isinstance(locked["gain"].rules[0], Rule)
    with pytest.raises(EditRefused, match="locked"):
        calib_model.edit(locked, "gain", 3.0)


@pytest.mark.usefixtures("reading_process")
def test_saved_and_opened_again(tmp_path: Path) -> None:
    path = tmp_path / "set.h5"
    calib_model.save_set(CONTENT, path)
    calib_model.save_set(calib_model.edit(CONTENT, "gain", 4.0), path, title="Raise", author="Ada")
    assert calib_model.open_set(path)["gain"].values == 4.0
    from calib_model.session.files import open_document

    (entry,) = open_document(path).history.entries()
    assert (entry["title"], entry["author"]) == ("Raise", "Ada")
