"""Each kind of text that the program reads: a sound one, and what reading and using it does."""

from __future__ import annotations

import json
import random
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

from calib_model.bringing import layout as tables_layout
from calib_model.bringing.draft import draft_of
from calib_model.bringing.sources import found_of
from calib_model.core.calibration_set import CalibrationSet
from tests.hostile.mutate import changed_plain, mutated
from tests.store.making import labelled_set, small_set

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


class Kind(NamedTuple):
    """Texts to start from, and what reading and using such a file does."""

    texts: Callable[[], list[str]]
    use: Callable[[Path], None]
    suffix: str = ".txt"
    plain: bool = False
    """Whether it is JSON, so that values can be exchanged too."""


@cache
def _set() -> CalibrationSet:
    return small_set()


def _sample(name: str, lines: int = 400) -> str:
    return "".join((SAMPLES / name).read_text("utf-8").splitlines(keepends=True)[:lines])


def _use_canonical(path: Path) -> None:
    from calib_model.core.canonical import digest
    from calib_model.exchange.canonical_reader import read_canonical

    _use_set(read_canonical(path))
    digest(read_canonical(path))


def _use_set(content: CalibrationSet) -> None:
    """What opening a set leads to: every rule, the digest, the exports."""
    from calib_model.core.canonical import digest
    from calib_model.exchange.csv_tables import csv_bytes
    from calib_model.rules.check import check
    from calib_model.rules.sheet import sheet_text
    from calib_model.store import image_of

    check(content)
    digest(content)
    csv_bytes(content)
    sheet_text(content)
    image_of(content)


def _canonical() -> list[str]:
    from calib_model.core.canonical import canonical_text

    return [canonical_text(_set()).decode(), canonical_text(labelled_set()).decode()]


def _sheets() -> list[str]:
    from calib_model.rules.sheet import sheet_text

    return [
        sheet_text(_set()),
        sheet_text(_set(), about=True),
        (
            'sheet = 1\n[owners]\n"Braking" = ["Ines"]\n[[table]]\nid = "tor*"\n'
            "limits = [-inf, 90]\n"
            'storage = { type = "uint16", step = "1/250", from = "-50" }\nfunction = "Limits"\n'
            'unit = "Nm"\naxis_units = ["%", "km/h"]\n'
            'rules = [{ kind = "step", axis = "1", most = 3, off = true }]\n'
        ),
        (
            'sheet = 1\n[[table]]\nid = "tor*"\nbind = "pre_engage_torque"\n'
            'modes = { low_grip = ">=" }\ninputs = ["pedal", "vehicle_speed"]\nrules = [\n'
            '    { kind = "slope", axis = "pedal", most = 90.0, severity = "warning", '
            'scope = [{ axis = "pedal", low = 10, high = 50 }], reason = "so" },\n]\n'
        ),
    ]


def _use_sheet(path: Path) -> None:
    from calib_model.core.text_file import read_text
    from calib_model.editing.change import apply
    from calib_model.rules.sheet import parse_sheet
    from calib_model.session.rule_sheet import apply_sheet

    sheet = parse_sheet(read_text(path, "a rule sheet", 1 << 20), str(path))
    _use_set(apply(_set(), apply_sheet(_set(), sheet)))


def _programmes() -> list[str]:
    return [
        _sample("larch.toml").replace("# [owners]", "[owners]").replace('# "Braking"', '"Braking"')
    ]


def _use_programme(path: Path) -> None:
    from calib_model.session.programme import read_programme, vehicle_beside

    programme = read_programme(path)
    for table in _set():
        programme.is_common(table.id)
        programme.owners_of(table.function)
        for milestone in programme.milestones.values():
            milestone.asks(table)
    vehicle_beside(path.with_name("larch_normal.h5"))


def _use_vehicle(path: Path) -> None:
    from calib_model.vehicle.parameters_file import read, to_text

    vehicle = read(path)
    to_text(vehicle)


def _manoeuvres() -> list[str]:
    from calib_model.vehicle import manoeuvre_file

    text = manoeuvre_file.__doc__ or ""
    body = "\n".join(line.removeprefix("    ") for line in text.split("::\n", 1)[1].splitlines())
    return [body.split("\nFurther keys")[0] + '\nbrakes = [{ start = 1, end = 2, wheel = '
            '"fl", torque = 100 }]\npath = [[0, 0], [10, 3]]\n']  # fmt: skip


def _use_manoeuvres(path: Path) -> None:
    from calib_model.vehicle.manoeuvre_file import read_manoeuvres

    for one in read_manoeuvres(path).manoeuvres.values():
        str(one)


def _maps() -> list[str]:
    sources = {
        "pedal": {"channel": "AccelPedal", "unit": "%", "factor": 1.0},
        "vehicle_speed": {"channel": "VehSpd", "unit": "km/h", "factor": 1.5},
        "ambient_temperature": {"value": -8.0, "unit": "degC"},
        "controller.torque": {"channel": "ClutchTqCmd", "unit": "", "factor": 2},
    }
    return [json.dumps(sources)]


@cache
def _recording() -> Any:
    import numpy as np

    from calib_model.evidence.recording import Channel, Recording

    time = np.arange(50) * 0.02
    channels = {
        name: Channel(name, unit, time, np.cos(time), np.ones(50, dtype=bool), "", 0.02)
        for name, unit in (("AccelPedal", "%"), ("VehSpd", "km/h"), ("ClutchTqCmd", "N.m"))
    }
    return Recording("run", "", channels)


def _use_map(path: Path) -> None:
    from app.cli.drive_input import read_map
    from calib_model.controller.constants import Constants
    from calib_model.evidence.ticks import on_ticks

    found = read_map(path)
    assert found is not None
    channel_map = found.given
    channel_map.to_plain()
    channel_map.problems(_recording())
    on_ticks(_recording(), channel_map, Constants())


def _layouts() -> list[str]:
    return [json.dumps({"decimal": ",", "separator": ";", "time": "time", "time_unit": "s",
                        "encoding": "utf-8"})]  # fmt: skip


def _use_layout(path: Path) -> None:
    """What was said of a recording, remembered; given to a sound recording."""
    from app.road.recordings.layouts import Layouts
    from calib_model.core.text_file import read_text
    from calib_model.evidence.reading.csv_layout import inspect_csv

    text = read_text(path, "an answer", 1 << 20)
    memory = SimpleNamespace(remembered=lambda _: text, remember=lambda *_: None)
    answers = Layouts(memory).recall("key")  # type: ignore[arg-type]
    known = ("encoding", "separator", "decimal", "time", "time_unit")
    hints: Any = {k: v for k, v in answers.items() if k in known}
    inspect_csv(SAMPLES / "larch_snow_round.csv", **hints)


def _table_layouts() -> list[str]:
    return [tables_layout.EXAMPLE]


def _use_table_layout(path: Path) -> None:
    """What was chosen, given to sound tables."""
    layout = tables_layout.read_layout(path)
    tables_layout.layout_text(layout)
    table = _set()["torque"]
    for found in (found_of(table, "maps.xlsx | Torque", "grid"),):
        for id in ("pre_engage_torque", table.id):
            draft_of(found, id, layout.for_table(found.source, id), None)
    layout.for_file("x.csv", "sheet")


def _measurements() -> list[str]:
    return [
        "pedal;vehicle_speed;torque;unit\n%;km/h;N.m;-\n"
        +
        "".join(f"{n * 3};{n},5;{n * n},25;a{n % 3}\n" for n in range(20)),
    ]  # fmt: skip


def _use_measurements(path: Path) -> None:
    from calib_model.exchange.measurements import Choice, inspect, read_samples, suggested

    layout = inspect(path)
    table = _set()["torque"]
    found = suggested(layout, table)
    given = zip(("1", "2", "value"), ("1", "2", "3"), strict=True)
    chosen = [Choice(found.get(key, place)) for key, place in given]
    read_samples(path, table, chosen[:2], chosen[2], layout=layout, skip_text=True)


def _recordings() -> list[str]:
    return [
        _sample("larch_snow_round.csv", 40),
        "t [ms],a [%],b [km/h]\n" + "".join(f"{n * 20},{n % 7}.5,\n" for n in range(30)),
        "Time,a\ns,%\n" + "".join(f"2026-01-01T00:00:{n:02d}.5Z,{n}\n" for n in range(20)),
    ]


def _use_recording(path: Path) -> None:
    from tests.hostile.recording_kinds import use_recording

    use_recording(path)


def _signers() -> list[str]:
    return [
        _sample("allowed_signers")
        + '"new one" namespaces="bitepoint-signoff",valid-after="20260101",valid-before='
        '"20270101Z" ssh-ed25519 '
        "AAAAC3NzaC1lZDI1NTE5AAAAIGg4+sN6ql7GPbgmvbcESgY2HvxEARUEBNe8uqdyMkmJ"
        " a comment\n# remark\n"
    ]


@cache
def _signed() -> CalibrationSet:
    from calib_model.store import read_set_here

    path = SAMPLES / "larch_normal_signed.h5"
    return read_set_here(path.read_bytes(), path).set


def _use_signers(path: Path) -> None:
    from calib_model.signoff.signers import read_signers
    from calib_model.signoff.verification import verify

    verify(_signed(), read_signers(path))


def _keys() -> list[str]:
    from calib_model.signoff.keys import make_key

    folder = Path(tempfile.mkdtemp(prefix="bitepoint-key-"))
    make_key(folder / "key", "correct horse battery")
    protected = (folder / "key").read_text()
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
    )

    plain = Ed25519PrivateKey.generate().private_bytes(
        Encoding.PEM, PrivateFormat.OpenSSH, NoEncryption()
    )
    return [plain.decode(), plain.decode(), protected]


def _use_key(path: Path) -> None:
    from calib_model.signoff.keys import is_protected, load_key

    path.chmod(0o600)
    if not is_protected(path):
        load_key(path, None)


def _changes() -> list[str]:
    from calib_model.editing.change import change_to_plain
    from tests.hostile.set_kinds import every_change

    return [json.dumps([change_to_plain(change) for change in every_change(labelled_set())])]


def _use_journal(path: Path) -> None:
    """A journal whose lines are whole, but hold other changes."""
    from calib_model.core.text_file import read_text
    from calib_model.session.history import Entry, describe_change
    from calib_model.session.recovery import put_together
    from calib_model.store.journal_file import line_of, read_journal

    text = read_text(path, "a journal", 1 << 20)
    try:
        records = json.loads(text)
    except (ValueError, RecursionError):  # then the lines are spoilt as they are
        read_journal(path)
        return
    listed = records if isinstance(records, list) else [records]
    lines = [
        line_of({"n": n, "kind": "edit", "change": change}) for n, change in enumerate(listed, 1)
    ]
    path.write_bytes(b"".join(lines))
    found = read_journal(path).records
    changes = [r["change"] for r in found]
    base = SimpleNamespace(set=_set())
    whole = put_together(SimpleNamespace(load=lambda: (base, changes, None)))  # type: ignore[arg-type]
    for change in whole.changes:
        describe_change(change, whole.content)
    for change in changes:
        entry = Entry(change, True)
        _ = entry.title, entry.time, entry.author, entry.reason
    if whole.changes:
        _use_set(whole.content)


def _about() -> list[str]:
    return [json.dumps({"path": "/nowhere/larch.h5", "content_sha": "a" * 64, "stamp": [1, 2, 3],
                        "replaces": "", "version": 1})]  # fmt: skip


def _use_about(path: Path) -> None:
    import shutil

    from calib_model.session.recovery import compare_words, put_together
    from calib_model.store import image_of, list_leftovers
    from calib_model.store.journal_file import line_of
    from calib_model.store.places import ABOUT, BASE, JOURNAL, recovery_root

    root = recovery_root()
    folder = root / "one"
    shutil.rmtree(root, ignore_errors=True)
    folder.mkdir(parents=True)
    shutil.copy(path, folder / ABOUT)
    (folder / BASE).write_bytes(_base_image(image_of))
    change = json.loads(_changes()[0])[0]
    (folder / JOURNAL).write_bytes(line_of({"n": 1, "kind": "edit", "change": change}))
    for left in list_leftovers():
        str(left.path)
        if left.path is not None:
            base = SimpleNamespace(set=_set())
            found = put_together(SimpleNamespace(load=lambda b=base: (b, [change], None)))  # type: ignore[arg-type]
            compare_words(left, found)
        left.release()


@cache
def _base_image(image_of: Any) -> bytes:
    image: bytes = image_of(_set())[0]
    return image


def _pasted() -> list[str]:
    return ["Speed\t0\t40\t90\n0\t0\t1,5\t2\n25\t1\t2\t3\n", "1.25\t2.75\n3\t4\n"]


def _use_pasted(path: Path) -> None:
    from calib_model.core.text_file import read_text
    from calib_model.exchange.blocks import parse_block

    parse_block(read_text(path, "a block", 1 << 20))


TEXTS: dict[str, Kind] = {
    "canonical text": Kind(_canonical, _use_canonical),
    "rule sheet": Kind(_sheets, _use_sheet, ".toml"),
    "programme": Kind(_programmes, _use_programme, ".toml"),
    "vehicle": Kind(lambda: [_sample("larch_vehicle.toml")], _use_vehicle, ".toml"),
    "manoeuvres": Kind(_manoeuvres, _use_manoeuvres, ".toml"),
    "channel map": Kind(_maps, _use_map, ".json", True),
    "layout": Kind(_layouts, _use_layout, ".json", True),
    "layout of tables": Kind(_table_layouts, _use_table_layout, ".toml"),
    "measurement CSV": Kind(_measurements, _use_measurements, ".csv"),
    "text of a recording": Kind(_recordings, _use_recording, ".csv"),
    "signers": Kind(_signers, _use_signers),
    "key": Kind(_keys, _use_key),
    "journal": Kind(_changes, _use_journal, ".jsonl", True),
    "note of a journal": Kind(_about, _use_about, ".json", True),
    "pasted block": Kind(_pasted, _use_pasted, ".tsv"),
}


@cache
def _texts_of(name: str) -> list[str]:
    return TEXTS[name].texts()


def case(name: str, seed: int, path: Path) -> None:
    """Read and use one changed text of a kind; raises what comes of it."""
    kind, chance = TEXTS[name], random.Random(seed)
    text = chance.choice(_texts_of(name))
    if kind.plain and chance.random() < 0.7:
        made = changed_plain(json.loads(text), chance)
        data = json.dumps(made).encode()
    else:
        data = mutated(text, chance)
    place = path / f"case{kind.suffix}"
    place.write_bytes(data)
    kind.use(place)
