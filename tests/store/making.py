"""Sets, entries and files for the tests of the store."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from hypothesis import strategies as st

from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.labels import NO_LABELS, YES_NO, Labels
from calib_model.core.rule import Range, Severity
from calib_model.core.storage import FLOAT_TYPES, INTEGER_TYPES, Storage
from calib_model.core.table import RELATIONS, Table
from calib_model.rules.shape import Monotone, Slope
from calib_model.store import HistoryColumns, image_of

PEDAL = Axis([0.0, 25.0, 50.0, 100.0], "Pedal", "%", "pedal", storage=Storage("uint8", 1, 2))
SPEED = Axis([0.0, 40.0, 90.0], "Vehicle speed", "km/h", "vehicle_speed", shared="axis.speed")
WIPER = Axis([0.0, 1.0, 2.0], "Wiper", "-", "wiper_state", Interpolation.STEP)


def small_set() -> CalibrationSet:
    """A set of six tables that uses every kind of column."""
    torque = Storage("uint16", 1, 2)
    rules = (
        Monotone(axis="pedal", reason="more pedal, more torque"),
        Slope("1", most=8.0, scope=(Range("vehicle_speed", high=50.0),), severity=Severity.WARNING),
    )
    tables = [
        Table("tick", 20.0, name="Controller tick", unit="ms", storage=Storage("uint8")),
        Table("wiper_factor", [1.0, 1.1, 1.25], (WIPER,), storage=Storage("uint8", 1, 100)),
        Table(
            "torque", np.outer([0.0, 40.0, 90.0, 180.0], [1.0, 0.9, 0.5]), (PEDAL, SPEED),
            "Pre-engage torque", "N.m", "clutch", "At the clutch.\nTwo lines – and a dash.",
            0.0, 450.0, torque, "pre_engage_torque", {"low_grip": ">=", "towing": "free"}, rules,
        ),
        Table("fade", [1.0, np.nan, 0.25], (SPEED,), "Fade \N{GREEK SMALL LETTER MU}", rules=rules),
        Table("odd[0]", [1.0, -2.5, 3.0], (Axis([3.0, 1.0, 1.0]),), storage=Storage("float32")),
        Table("cube", np.arange(24.0).reshape(2, 3, 4), (Axis([0, 1]), SPEED, PEDAL), lower=-5),
    ]  # fmt: skip
    return CalibrationSet(
        tables, [SPEED], programme="Larch", mode="normal", base_mode="normal", name="Normal",
        revision="7", description="For tests.",
    )  # fmt: skip


def entries(count: int = 3) -> list[dict[str, Any]]:
    """History entries: of values, of text, of a whole table."""
    return [
        {
            "title": f"Edit number {number}",
            "reason": "" if number % 2 else "Trip in the snow: engaged too late. " * 5,
            "author": "A. Calibrator",
            "time": f"2026-11-25T08:00:{number % 60:02d}Z",
            "edits": [
                {
                    "kind": "cells",
                    "table": "torque",
                    "cells": [0, 5],
                    "before": [0.0, "nan"],
                    "after": [float(number), 36.5],
                },
                {"kind": "about", "field": "revision", "before": "6", "after": "7"},
            ],
            **({"note": "One locked cell was left as it was."} if number % 2 else {}),
        }
        for number in range(count)
    ]


def small_image(count: int = 3) -> bytes:
    """The bytes of a file with the small set and some history."""
    history = HistoryColumns().with_entries(entries(count))
    records = [("remark", {"text": "Look again at −20 °C", "by": "A. Reviewer"})]
    return image_of(small_set(), history, records)[0]


def rewritten(image: bytes, path: Path) -> h5py.File:
    """A file with these bytes, open for spoiling."""
    path.write_bytes(image)
    return h5py.File(path, "r+")


def labelled_set() -> CalibrationSet:
    """The small set with a yes/no table and a text-valued axis besides."""
    rain = Axis([0.0, 1.0], "Rain", interpolation=Interpolation.STEP, labels="dry, wet")
    wiper = replace(WIPER, labels="off, slow, fast", shared="axis.wiper")
    return replace(
        small_set().with_table(
            Table(
                "wash", [[0.0, 1.0, np.nan], [1.0, 1.0, 0.0]], (rain, replace(wiper, shared="")),
                "Wash allowed", "0/1", "comfort", "", 0.0, 1.0, Storage("uint8"), labels=YES_NO,
            )
        ),
        shared_axes=[SPEED, wiper],
    )  # fmt: skip


# -- anything a set may hold -------------------------------------------------------------

finite = st.floats(allow_nan=False, allow_infinity=False, width=64)
texts = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=150)
ids = st.text("abcXYZ019_.[]", min_size=1, max_size=12)
integers = st.integers(-(2**62), 2**62)


@st.composite
def storages(draw: st.DrawFn) -> Storage:
    kind = draw(st.sampled_from(INTEGER_TYPES + FLOAT_TYPES))
    if kind in FLOAT_TYPES:
        return Storage(kind)
    positive = st.integers(1, 2**40)
    return Storage(kind, draw(positive), draw(positive), draw(integers))


@st.composite
def labels(draw: st.DrawFn) -> Labels:
    """Mostly none."""
    if draw(st.integers(0, 3)):
        return NO_LABELS
    names = st.text("abcä –xyz", min_size=1, max_size=8).map(lambda text: f"b{text}b")
    named = draw(st.lists(names, min_size=1, max_size=4, unique=True))
    numbers = draw(st.lists(finite, min_size=len(named), max_size=len(named), unique=True))
    return Labels(tuple(zip(numbers, named, strict=True)))


@st.composite
def axes(draw: st.DrawFn, shared: str = "") -> Axis:
    """Any finite breakpoints, so often out of order."""
    return Axis(
        draw(st.lists(finite, min_size=1, max_size=4)),
        draw(texts),
        draw(texts),
        draw(texts),
        draw(st.sampled_from(Interpolation)),
        draw(st.sampled_from(End)),
        draw(st.sampled_from(End)),
        draw(storages()),
        shared,
        draw(labels()),
    )


@st.composite
def sets(draw: st.DrawFn) -> CalibrationSet:
    shared = [draw(axes(id)) for id in draw(st.lists(ids, unique=True, max_size=2))]
    own = draw(st.lists(axes(), max_size=3))
    tables = []
    for id in draw(st.lists(ids, unique=True, max_size=5)):
        chosen = tuple(draw(st.lists(st.sampled_from([*shared, *own]), max_size=4))) if (
            shared or own
        ) else ()  # fmt: skip
        shape = tuple(len(a) for a in chosen)
        count = math.prod(shape)
        cells = st.lists(st.floats(allow_infinity=False), min_size=count, max_size=count)
        limits = st.floats(allow_nan=False)
        relations = st.sampled_from(sorted(RELATIONS))
        tables.append(
            Table(
                id, np.reshape(draw(cells), shape), chosen, draw(texts), draw(texts),
                draw(texts), draw(texts), draw(limits), draw(limits), draw(storages()),
                draw(texts), draw(st.dictionaries(texts, relations, max_size=2)),
                labels=draw(labels()),
            )
        )  # fmt: skip
    about = {k: draw(texts) for k in ("programme", "mode", "base_mode", "name", "revision")}
    return CalibrationSet(tables, shared, **about, description=draw(texts))
