"""Set files: damaged ones, and sound HDF5 with right check sums that holds hostile content."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np

from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.store import HistoryColumns, StoredSet, image_of, read_set_here
from calib_model.store.layout import BY_NAME, COLUMNS, INTEGER_ATTRIBUTES, TEXT_ATTRIBUTES
from calib_model.store.source import Stamp
from calib_model.store.texts import in_pieces, joined
from tests.hostile.large_files import image_of as image_of_columns
from tests.hostile.mutate import VALUES, changed_plain, damaged, mutated
from tests.store.making import entries, labelled_set, small_image
from tests.store.worker import fingerprint


class Differs(Exception):
    """A damaged file opened with other content: the one thing that must never happen."""


def damaged_set(seed: int, folder: Path) -> None:
    """Read a damaged set file: refused, or what was saved."""
    stored = read_set_here(damaged_image(seed), folder / "damaged.h5", Stamp(0, 0, 0))
    if fingerprint(stored) != _sound():
        raise Differs


def damaged_image(seed: int) -> bytes:
    """The bytes of a damaged set file."""
    return damaged(_sound_image(), random.Random(seed))


@cache
def _sound_image() -> bytes:
    return small_image(2)


@cache
def _sound() -> str:
    return fingerprint(read_set_here(_sound_image(), "sound.h5", Stamp(0, 0, 0)))


# -- hostile content -------------------------------------------------------------------------


def every_change(content: CalibrationSet) -> Iterator[object]:
    """A change of every kind of edit."""
    from calib_model.core.axis import Axis
    from calib_model.core.record import Decision, Outcome, Remark, Waiver
    from calib_model.editing.change import (
        Change,
        SharedAxisEdit,
        add_table,
        describe,
        record_change,
        remove_table,
        table_change,
        values_change,
    )

    torque = content["torque"]
    yield values_change(torque, torque.values + 1.0, "More", reason="so", author="A")
    yield table_change(content["fade"], content["fade"].with_values([1.0, 0.5, 0.25]), "Other")
    yield remove_table(content, "cube")
    if "wash" in content:  # a table and an axis with labels
        yield remove_table(content, "wash")
    yield add_table(content, torque.__class__("new", 1.0))
    yield describe(content, name="Other", description="Text")
    axis = content.shared_axes["axis.speed"]
    moved = Axis([0.0, 50.0, 90.0], axis.name, axis.unit, axis.quantity, shared=axis.shared)
    yield Change("Move", (SharedAxisEdit("axis.speed", axis, moved),))
    yield record_change(None, Remark(id="a", text="t", table="torque", places=((0.0, 40.0),)), "R")
    yield record_change(None, Waiver(id="b", table="torque", rule="{}", size=1.5, reason="r"), "W")
    yield record_change(None, Decision(id="c", table="torque", outcome=Outcome.ACCEPTED), "D")


@cache
def _rich() -> tuple[dict[str, np.ndarray], dict[str, str | int]]:
    """Columns of every kind filled: a record, and a history of every kind of edit."""
    from calib_model.editing.change import change_to_plain
    from calib_model.store.encode import encode

    content = labelled_set()
    made = [change_to_plain(c) for c in every_change(content)]  # type: ignore[arg-type]
    history = HistoryColumns().with_entries([*entries(2), *made])
    records = [
        ("remark", {"id": "a", "text": "x", "table": "torque", "places": [[0.0, 40.0]]}),
        (
            "waiver",
            {"id": "b", "table": "torque", "rule": "{}", "size": 1.5, "expires": "2027-01-01"},
        ),
        ("decision", {"id": "c", "table": "torque", "outcome": "accepted", "digest": "a" * 64}),
        ("maturity", {"id": "d", "table": "torque", "level": "driven"}),
        ("odd", {"anything": [1, {"x": None}]}),
        *_signed_records(),
    ]
    neutral = encode(content, history.columns(), records)
    return neutral.columns, neutral.attributes


def _signed_records() -> list[tuple[str, dict[str, object]]]:
    from calib_model.core.record_plain import record_to_plain
    from tests.hostile.text_kinds import _signed

    kept = [one for one in record_to_plain(_signed().record) if one[0] not in ("remark",)]
    return [(kind, dict(plain)) for kind, plain in kept][:6]


_JSON = ("rule", "record", "edit", "entry_other")
_TEXTS = ("description", "entry_title", "entry_reason")
_NUMBERS = (0, 1, -1, 2, 5, 6, 7, 100, 127, -128, 2**31 - 1, -(2**31), 2**62, -(2**63), 2**53 + 1)
_FLOATS = (np.nan, np.inf, -np.inf, 0.0, -0.0, 1e308, -1e308, 5e-324, 1e-300, 2.0**53, 1.5)
_BYTES = (
    b"", b"\xff\xfe", b"\xed\xa0\x80", "²".encode(), b"=1+1", b"\x1b[2J", "\u202e".encode(),
    b"x" * 300, b"torque", b"tick", b"..", b"a b", b"pedal", b"vehicle_speed", b"axis.speed",
    b"free", b"N.m", b"degC", b"no unit",
    b"2026-13-45T99:99:99Z", b"2026-01-01T00:00:00Z", b"9" * 400,
    b"cells", b"table", b"record", b"sign_off", b"<img src='/dev/zero'>", b"%s{0}", b"1e999",
)  # fmt: skip


def hostile_set(seed: int, folder: Path) -> None:
    """Read and use a set whose columns were exchanged, with check sums that fit."""
    chance = random.Random(seed)
    columns, attributes = (dict(part) for part in _rich())
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        if chance.random() < 0.1:
            name = chance.choice((*TEXT_ATTRIBUTES, *INTEGER_ATTRIBUTES))
            old = attributes[name]
            attributes[name] = (
                chance.choice((0, 1, 2, -1, 2**31 - 1)) if isinstance(old, int)
                else chance.choice(("", "²", "x" * 3000, "=1+1", "\u202e\x1b[2J", "low_grip"))
            )  # fmt: skip
        elif chance.random() < 0.5:
            _other_json(columns, chance)
        else:
            _other_cells(columns, chance)
    try:
        image = image_of_columns(columns, attributes)  # type: ignore[arg-type]
    except (ValueError, BitepointError):  # a text that no attribute can hold
        return
    use_stored(read_set_here(image, folder / "hostile.h5", Stamp(0, 0, 0)))


def _other_json(columns: dict[str, np.ndarray], chance: random.Random) -> None:
    name = chance.choice((*_JSON, *_JSON, *_TEXTS))
    if f"{name}_count" not in columns or f"{name}_text" not in columns:
        return
    if int(columns[f"{name}_count"].sum()) != len(columns[f"{name}_text"]):
        return
    try:
        texts = joined(columns[f"{name}_count"], columns[f"{name}_text"])
    except UnicodeDecodeError:  # spoilt by the change before
        return
    filled = [n for n, text in enumerate(texts) if text]
    if not filled:
        return
    row = chance.choice(filled)
    if name in _JSON and chance.random() < 0.8:
        try:
            plain = json.loads(texts[row])
        except ValueError:  # spoilt by the change before
            return
        text = json.dumps(changed_plain(plain, chance), ensure_ascii=chance.random() < 0.8)
    else:
        text = mutated(texts[row], chance).decode("utf-8", "replace")
    texts[row] = text.replace("\0", "").encode("utf-8", "replace").decode()
    counts, pieces = in_pieces(texts, 1 << 24, lambda _: "x")
    columns[f"{name}_count"], columns[f"{name}_text"] = counts, pieces
    if chance.random() < 0.05:
        column = columns[f"{name}_text"]
        column[chance.randrange(len(column))] = b"\xff\xfe"


def _other_cells(columns: dict[str, np.ndarray], chance: random.Random) -> None:
    name = chance.choice([n for n in columns if columns[n].size])
    column = columns[name].copy()
    flat = column.reshape(-1)
    act = chance.random()
    if act < 0.1 and len(column) > 1:
        columns[name] = column[:-1]
        return
    if act < 0.15:
        del columns[name]
        return
    if act < 0.25:
        chance.shuffle(rows := list(range(len(column))))
        columns[name] = column[rows]
        return
    for _ in range(chance.choice((1, 1, 2, len(flat)))):
        place = chance.randrange(len(flat))
        if column.dtype.kind == "S":
            new = chance.choice((*_BYTES, bytes(flat[chance.randrange(len(flat))])))
            if len(new) > column.dtype.itemsize:
                column = column.astype(f"S{len(new)}")
                flat = column.reshape(-1)
            flat[place] = new
        elif column.dtype.kind == "f":
            flat[place] = chance.choice((*_FLOATS, float(flat[chance.randrange(len(flat))])))
        else:
            info = np.iinfo(column.dtype)
            flat[place] = min(max(chance.choice(_NUMBERS), info.min), info.max)
    columns[name] = column
    if name in ("values", "value_count") and chance.random() < 0.7 and "raw_values" in columns:
        from calib_model.store.raw import raw_values

        try:
            columns["raw_values"] = raw_values(columns)
        except (ValueError, IndexError, MemoryError):
            return


def use_stored(stored: StoredSet) -> None:
    """What opening a set leads to; what it holds may be refused, one part at a time."""
    from calib_model.reports.change_note import change_note
    from calib_model.session.history import Entry, describe_change
    from calib_model.session.since import at_sign_off, before_changes
    from calib_model.signoff.verification import verify
    from tests.hostile.text_kinds import _use_set

    try:
        listed = [Entry(plain, True) for plain in stored.history.entries()]
    except BitepointError:
        listed = []
    for entry in listed:
        _ = entry.title, entry.reason, entry.author, entry.time
        try:
            describe_change(entry.change(), stored.set)
        except BitepointError:
            continue
    earlier, since = before_changes(stored.set, listed)
    if earlier is not None:
        change_note(stored.set, earlier, since, listed)
    for one in stored.set.record.sign_offs:
        at_sign_off(stored.set, listed, one.id)
    verify(stored.set, None)
    _use_gate(stored.set)
    _use_set(stored.set)
    image_of(stored.set, stored.history, stored.records)


def _use_gate(content: CalibrationSet) -> None:
    from calib_model.rules.check import check
    from calib_model.signoff.gate import gate

    gate(content, check(content))


assert set(_JSON + _TEXTS) <= {c.name.removesuffix("_text") for c in COLUMNS}, VALUES
assert BY_NAME
