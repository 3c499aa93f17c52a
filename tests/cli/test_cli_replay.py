"""`bitepoint replay` and `bitepoint coverage` on a recording made here, whose truth is known."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest

from app.__main__ import main
from calib_model.cautions import LINE as CAUTION
from calib_model.controller.constants import LARCH
from calib_model.controller.inputs import INPUT_INDEX, INPUTS
from calib_model.controller.outputs import OUTPUTS
from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import values_change
from calib_model.evidence.replay import Replay, replay
from calib_model.session.files import open_document, save_document
from tests.evidence.made_drives import SAMPLES, sample, winter_round

NORMAL, LOW_GRIP = (str(SAMPLES / f"larch_{name}.h5") for name in ("normal", "low_grip"))
GIVEN = (
    "ambient_temperature", "pedal", "vehicle_speed", "wiper_state", "brake_state",
    "steering_angle", "lateral_acceleration", "yaw_rate", "axle_speed_difference",
    "oil_temperature", "motor_temperature", "shaft_speed", "grade",
)  # fmt: skip
SECONDS = 60.0

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*arguments: str | Path) -> tuple[int, str, str]:
        status = main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        return status, out, err

    return call


@pytest.fixture(scope="module")
def along() -> Replay:
    return replay(sample("normal"), winter_round(SECONDS), LARCH)


def written(
    path: Path, along: Replay, *, digest: str | None = None, torque: np.ndarray | None = None,
    names: dict[str, str] | None = None, skip: slice | None = None,
) -> Path:  # fmt: skip
    """Write a drive as a logger would: header, units, one row per tick."""
    ticks, units = along.ticks, {one.name: one.unit for one in INPUTS}
    frame = pd.DataFrame(
        {name: ticks.inputs[:, INPUT_INDEX[name]].round(4) for name in GIVEN},
        index=ticks.time.round(3),
    )
    sent = along.output("torque") if torque is None else torque
    frame["clutch_torque_commanded"] = (sent * 2).round() / 2
    frame = frame.rename(columns=names or {})
    if skip is not None:
        frame = frame.drop(frame.index[skip])
    text = frame.to_csv(index_label="time")
    head, _, rows = text.partition("\n")
    row = ",".join(["s", *(units[name] for name in GIVEN), "N.m"])
    mark = along.digest if digest is None else digest
    said = f"# vehicle set digest: {mark}\n" if mark else ""
    path.write_text(f"{said}{head}\n{row}\n{rows}", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def recording(along: Replay, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(tmp_path_factory.mktemp("drives") / "round.csv", along)


def strict(text: str) -> Any:
    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is not JSON")

    return json.loads(text, parse_constant=refuse)


def flat(text: str) -> str:
    return " ".join(text.split())


class Tags(HTMLParser):
    """Counts tags and collects what a page would fetch."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.count: dict[str, int] = {}
        self.fetched: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.count[tag] = self.count.get(tag, 0) + 1
        self.fetched += [str(v) for k, v in attrs if k in ("src", "href") and v and v[0] != "#"]


def svgs(text: str) -> list[ET.Element]:
    parts = text.split("<svg ")[1:]
    return [ET.fromstring("<svg " + part.split("</svg>")[0] + "</svg>") for part in parts]


# -- replay --------------------------------------------------------------------------------


def test_words_first_with_trust_before_the_comparison(run: Run, recording: Path) -> None:
    status, out, err = run("replay", NORMAL, recording, "--against", LOW_GRIP)
    assert (status, err) == (0, "")
    places = [
        out.index(words)
        for words in (
            "Recording: round.csv", "In the vehicle: set A", "Does the replay match the vehicle?",
            "The replay agrees with torque", "No faults were found", "What was commanded",
            "Which table decided", "B less A", "Taken for granted", "Left out",
        )
    ]  # fmt: skip
    assert places == sorted(places)
    assert "no evidence" not in out
    assert "actuator_rate" in out
    assert "inside brake request is not recorded" in out, "what was assumed is named"
    assert CAUTION in flat(out)


def test_figures_are_those_of_the_law(run: Run, recording: Path, along: Replay) -> None:
    status, out, _ = run("replay", NORMAL, recording, "--json")
    answer = strict(out)
    assert status == 0
    torque = next(s for s in answer["signals"] if s["signal"] == "torque")
    series = pd.Series(along.output("torque"))  # the file rounds inputs to 4 decimals
    assert torque["count"] == series.size
    for key, value in (
        ("high", series.max()), ("mean", series.mean()), ("p95", series.quantile(0.95)),
    ):  # fmt: skip
        assert torque[key] == pytest.approx(value, rel=1e-3)
    governed = {g["role"]: g for g in answer["governed"]}
    expected = along.stats().governed
    for role, seconds in expected.items():
        if seconds > 1:
            assert governed[role]["seconds"] == pytest.approx(seconds, abs=0.2)
    assert sum(g["share"] for g in answer["governed"]) <= 1 + 1e-9
    assert answer["recording"][0]["vehicle_set_digest"] == along.digest
    (trust,) = answer["trust"]
    assert (trust["level"], trust["counts_as_evidence"]) == ("agrees", True)


def test_b_less_a_as_plain_data(run: Run, recording: Path, along: Replay) -> None:
    answer = strict(run("replay", NORMAL, recording, "--against", LOW_GRIP, "--json")[1])
    other = replay(sample("low_grip"), along.ticks, LARCH)
    less = other.output("torque") - along.output("torque")
    torque = next(d for d in answer["differences"] if d["name"] == "torque")
    assert torque["largest"] == pytest.approx(less[np.abs(less).argmax()], rel=1e-2)
    assert torque["rms"] == pytest.approx(np.sqrt(np.mean(less**2)), rel=1e-2)
    assert {d["kind"] for d in answer["differences"]} == {"output", "table"}
    assert [s["in_vehicle"] for s in answer["sets"]] == [True, False]


def test_a_replay_that_does_not_agree_gives_1(run: Run, along: Replay, tmp_path: Path) -> None:
    wrong = np.random.default_rng(2).uniform(0, 400, along.ticks.time.size)
    path = written(tmp_path / "other.csv", along, torque=wrong)
    status, out, _ = run("replay", NORMAL, path, "--against", LOW_GRIP)
    assert status == 1
    assert "does not agree with the vehicle" in flat(out)
    assert "is no evidence" in flat(out)


def test_trust_is_judged_by_the_set_that_was_in_the_vehicle(run: Run, recording: Path) -> None:
    status, out, _ = run("replay", LOW_GRIP, recording)
    assert status == 0, "another set is no failure of the replay"
    assert "not the one that was in the vehicle" in flat(out)
    # With the right set named second, that one is judged.
    answer = strict(run("replay", LOW_GRIP, recording, "--against", NORMAL, "--json")[1])
    assert answer["trust"][0]["set"] == "B"
    assert answer["trust"][0]["level"] == "agrees"


def test_a_recording_that_does_not_say_is_told_so(run: Run, along: Replay, tmp_path: Path) -> None:
    path = written(tmp_path / "plain.csv", along, digest="")
    out = run("replay", NORMAL, path, "--against", LOW_GRIP)[1]
    assert "In the vehicle: not said by the recording." in out
    assert "is no evidence" in out


def test_faults_are_listed_and_nothing_is_filled_in(
    run: Run, along: Replay, tmp_path: Path
) -> None:
    path = written(tmp_path / "gap.csv", along, skip=slice(1000, 1500))
    out = run("replay", NORMAL, path)[1]
    assert "Faults of the recording (" in out
    answer = strict(run("replay", NORMAL, path, "--json")[1])
    gaps = [f for f in answer["faults"] if f["kind"] == "gap"]
    assert any(f["end_s"] - f["start_s"] == pytest.approx(10.02, abs=0.03) for f in gaps)
    (total,) = answer["totals"]
    assert total["seconds"] == pytest.approx(SECONDS)
    assert total["valid_seconds"] == pytest.approx(SECONDS - 10, abs=0.1)


def test_a_mapping_file_names_channels_and_constants(
    run: Run, along: Replay, tmp_path: Path
) -> None:
    path = written(tmp_path / "foreign.csv", along, names={"pedal": "xyz1", "grade": "xyz2"})
    assert "Nothing gives" in run("replay", NORMAL, path)[1]
    lines = [f'[{name}]\nchannel = "{name}"\n' for name in GIVEN if name not in ("pedal", "grade")]
    toml = tmp_path / "map.toml"
    toml.write_text("".join(lines) + '[pedal]\nchannel = "xyz1"\n[grade]\nvalue = 2\n')
    plain = {name: {"channel": name} for name in GIVEN}
    plain |= {"pedal": {"channel": "xyz1"}, "grade": {"value": 2.0}}
    plain |= {f"controller.{o.name}": False for o in OUTPUTS}
    (tmp_path / "map.json").write_text(json.dumps(plain))
    for mapping in (toml, tmp_path / "map.json"):
        status, out, _ = run("replay", NORMAL, path, "--map", mapping)
        assert status == 0
        assert "grade is not recorded; 2 % is taken throughout" in flat(out)
        assert ("none of the controller's own signals" in flat(out)) == (mapping != toml)


def test_a_partial_mapping_leaves_the_rest_to_the_names(
    run: Run, along: Replay, tmp_path: Path
) -> None:
    named, foreign = tmp_path / "named.csv", tmp_path / "foreign.csv"
    written(named, along)
    written(foreign, along, names={"pedal": "xyz1"})
    mapping = tmp_path / "map.toml"
    mapping.write_text('[pedal]\nchannel = "xyz1"\n')
    told = [strict(run("replay", NORMAL, named, "--json")[1])]
    told.append(strict(run("replay", NORMAL, foreign, "--map", mapping, "--json")[1]))
    assert told[0]["totals"] == told[1]["totals"]
    assert told[0]["trust"] == told[1]["trust"]
    mapping.write_text('grade = false\n[pedal]\nchannel = "xyz1"\n')
    assert "Nothing gives grade" in flat(run("replay", NORMAL, foreign, "--map", mapping)[1])
    mapping.write_text("gradd = false")
    status, _, err = run("replay", NORMAL, foreign, "--map", mapping)
    assert (status, err.count("\n")) == (2, 1)
    assert "'gradd'" in err


def test_what_cannot_be_done_is_one_line(run: Run, recording: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("[pedal")
    odd = tmp_path / "odd.json"
    odd.write_text('{"pedal": {"channel": "gone"}}')
    stranger = tmp_path / "stranger.json"
    stranger.write_text('{"wheel": {"channel": "pedal"}}')
    cases: list[tuple[list[str | Path], str]] = [
        (["replay", NORMAL, tmp_path / "none.csv"], "none.csv"),
        (["replay", tmp_path / "none.h5", recording], "none.h5"),
        (["replay", NORMAL, recording, "--map", bad], "bad.toml"),
        (["replay", NORMAL, recording, "--map", tmp_path / "none.toml"], "none.toml"),
        (["replay", NORMAL, recording, "--map", odd], "no channel 'gone'"),
        (["replay", NORMAL, recording, "--map", stranger], "stranger.json"),
        (["replay", NORMAL, recording, "--layout", "comma"], "--layout comma"),
        (["replay", NORMAL, recording, "--vehicle", bad], "bad.toml"),
        (["replay", NORMAL, recording, "--to", "pdf", tmp_path / "x"], "'pdf'"),
        (["replay", NORMAL, recording, "--to", "html", recording], "one of the files read"),
        (["replay", NORMAL, recording, "--to", "html", tmp_path], str(tmp_path)),
        (["coverage", NORMAL, recording, "--table", "nothing*"], "nothing*"),
        (["coverage", NORMAL, recording, "--to", "xls", tmp_path / "x"], "'xls'"),
        (["coverage", NORMAL, recording, "--record"], "--by"),
    ]
    for arguments, named in cases:
        status, out, err = run(*arguments)
        assert (status, out) == (2, ""), arguments
        assert err.count("\n") == 1
        assert named in err, arguments


def test_the_programmes_vehicle_counts_unless_another_is_named(
    run: Run, recording: Path, tmp_path: Path
) -> None:
    for name in ("larch_normal.h5", "larch_low_grip.h5", "larch.toml", "larch_vehicle.toml"):
        shutil.copy(SAMPLES / name, tmp_path / name)
    text = (tmp_path / "larch_vehicle.toml").read_text(encoding="utf-8")
    mine = tmp_path / "mine_vehicle.toml"
    mine.write_text(text.replace("\nfaces = 12.0", "\nfaces = 6.0"), encoding="utf-8")
    normal, low_grip = tmp_path / "larch_normal.h5", tmp_path / "larch_low_grip.h5"
    for verb in (("replay", normal, recording), ("coverage", normal, recording)):
        for given, name in (((), "larch_vehicle.toml"), (("--vehicle", mine), mine.name)):
            _, out, _ = run(*verb, *given)
            assert f"constants are those of {name}" in flat(out)
    found = {}
    for given, name in (((), "larch_vehicle.toml"), (("--vehicle", mine), mine.name)):
        _, out, _ = run("compare", normal, low_grip, "--result", "--json", *given)
        found[name] = strict(out)
        assert name in found[name]["taken_for_granted"][0]["words"]
        _, out, _ = run("compare", normal, low_grip, "--result", *given)
        assert f"constants are those of {name}" in flat(out)
    # Half the friction faces: what the clamp limits leave of the torque is another.
    one, other = (found[name]["resulting_torque"] for name in ("larch_vehicle.toml", mine.name))
    assert one != other


def test_the_report_stands_alone(run: Run, recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "drive.html"
    status, said, _ = run("replay", NORMAL, recording, "--against", LOW_GRIP, "--to", "html", out)
    assert status == 0
    assert str(out) in said
    text = out.read_text(encoding="utf-8")
    tags = Tags(text)
    assert not tags.fetched
    assert "script" not in tags.count
    drawn = svgs(text)
    titles = [svg.findtext("{http://www.w3.org/2000/svg}title") for svg in drawn]
    assert {"Torque", "Torque: B less A", "Which table decided the torque (A)"} <= set(titles)
    assert any(title and "Pre-engage torque: seconds" in title for title in titles)
    for words in ("The replay agrees with torque", "Map of visited cells", "trained drivers",
                  "Taken for granted", "Tables that read otherwise in B"):  # fmt: skip
        assert words in text


def test_the_series_tick_by_tick(run: Run, along: Replay, recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "series.csv"
    run("replay", NORMAL, recording, "--against", LOW_GRIP, "--to", "csv", out)
    # Outside check: pandas reads it, to the figures of the law.
    frame = pd.read_csv(out)
    assert len(frame) == along.ticks.time.size
    expected = along.output("torque")
    near = np.isclose(frame["torque A [N.m]"], expected, rtol=0.02, atol=2.0)
    assert near.mean() > 0.99, "the recording's inputs are rounded to 4 decimals"
    assert set(frame["state B"]) == {"connected"}
    assert "steering_limit" in set(frame["decided A"])
    sent = frame["torque recorded [N.m]"]
    assert np.isclose(sent, (expected * 2).round() / 2).mean() > 0.99


def test_an_earlier_state_is_held_against_the_recording(
    run: Run, edited: tuple[Path, Path, Path], recording: Path
) -> None:
    # The everyday case: the drive was made with the set as it was before today's edit.
    _, later, _ = edited
    status, out, _ = run("replay", later, recording)
    assert status == 0
    assert "In the vehicle: set A as it was 1 change ago." in out
    assert "The replay agrees with torque" in out
    answer = strict(run("replay", later, recording, "--json")[1])
    assert answer["trust"][0]["counts_as_evidence"]
    assert answer["sets"][0]["in_vehicle"] is False


def test_no_qt_is_loaded(recording: Path) -> None:
    import subprocess
    import sys

    code = (
        "import sys\nfrom app.__main__ import main\n"
        f"status = main(['replay', {NORMAL!r}, {str(recording)!r}, '--json'])\n"
        "bad = [m for m in sys.modules if m.startswith(('PySide6', 'pyqtgraph', 'OpenGL'))]\n"
        "sys.exit(9 if bad else status)"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr


# -- coverage ------------------------------------------------------------------------------


def test_coverage_in_words(run: Run, recording: Path) -> None:
    status, out, _ = run("coverage", NORMAL, recording)
    assert "round.csv  60 s. This very set was in the vehicle." in flat(out).replace(" 60", "  60")
    assert "of 120 cells used" in out
    assert "Evidence for what changed since the beginning of its history" in out
    assert status == 1, "the set's history has edits at -20 degC, which this drive never saw"
    assert "no drive used this cell" in out
    assert CAUTION in flat(out)


def test_recordings_add_up(run: Run, recording: Path, along: Replay, tmp_path: Path) -> None:
    again = written(tmp_path / "again.csv", along)
    one = strict(run("coverage", NORMAL, recording, "--json")[1])
    two = strict(run("coverage", NORMAL, recording, again, "--json")[1])
    assert [d["name"] for d in two["drives"]] == ["round.csv", "again.csv"]
    first = {(c["table"], tuple(c["cell"])): c for c in one["cells"]}
    for cell in two["cells"]:
        single = first[(cell["table"], tuple(cell["cell"]))]
        for key in ("dwell_s", "decided_s", "extrapolated_s", "visits"):
            assert cell[key] == pytest.approx(2 * single[key])
    fed = next(t for t in one["tables"] if t["table"] == "pre_engage_torque")
    assert fed["dwell_s"] == pytest.approx(SECONDS)


def test_only_some_tables(run: Run, recording: Path) -> None:
    answer = strict(run("coverage", NORMAL, recording, "--table", "slip_*", "--json")[1])
    assert {t["table"] for t in answer["tables"]} == {
        "slip_dead_band", "slip_target", "slip_gain", "slip_integral_gain",
        "slip_integral_release", "slip_power_derate",
    }  # fmt: skip
    assert answer["grades"] == [], "no slip table was edited"


@pytest.fixture
def edited(tmp_path: Path, along: Replay) -> tuple[Path, Path, Path]:
    """A set, the set after two edits, and a recording made with the edited set in the vehicle."""
    base = tmp_path / "base.h5"
    shutil.copy(NORMAL, base)
    later = tmp_path / "later.h5"
    shutil.copy(NORMAL, later)
    document = open_document(later, "calibrator B")
    values = document.content["steering_limit"].values.copy()
    # Where this drive turns hard at walking pace; and where it never goes: full lock at 80 km/h.
    decided = _decided(along, "steering_limit")
    values[decided] += 20
    values[7, 5] += 20
    document.do(values_change(document.content["steering_limit"], values, "Raise"))
    save_document(document)
    there = replay(document.content, winter_round(SECONDS), LARCH)
    return base, later, written(tmp_path / "proof.csv", there)


def _decided(along: Replay, id: str) -> tuple[int, ...]:
    from calib_model.evidence.coverage import coverage

    decided = coverage(along.content, along, along.ticks)[id].decided
    return tuple(int(i) for i in np.unravel_index(int(decided.argmax()), decided.shape))


def test_edits_are_graded_against_another_set(
    run: Run, edited: tuple[Path, Path, Path], recording: Path
) -> None:
    base, later, proof = edited
    answer = strict(run("coverage", later, proof, "--against", base, "--json")[1])
    assert [g["grade"] for g in answer["grades"]] == ["driven with these values", "no evidence"]
    # The recording of the earlier set visits the cell, but with the earlier value.
    status, out, _ = run("coverage", later, recording, "--against", base, "--json")
    answer = strict(out)
    assert status == 1
    assert answer["grades"][0]["grade"] == "visited with other values"
    assert answer["drives"][0]["counts"]


def test_drives_are_kept_in_the_record(
    run: Run, edited: tuple[Path, Path, Path], along: Replay, tmp_path: Path
) -> None:
    base, later, proof = edited
    assert "2 of 2 edited cells were not driven" in flat(run("sign", later, "--list")[1])
    for _ in range(2):  # keeping one twice keeps it once
        run("coverage", later, proof, "--record", "--by", "calibrator B")
    (drive,) = _content(later).record.drives
    assert (drive.name, drive.by, drive.source) == ("proof.csv", "calibrator B", "recording")
    assert "1 of 2 edited cells was not driven" in flat(run("sign", later, "--list")[1])
    # Another recording, without the edited cells' drive, still grades with what is kept.
    plain = written(tmp_path / "plain.csv", along, digest="")
    answer = strict(run("coverage", later, plain, "--against", base, "--json")[1])
    assert answer["grades"][0]["grade"] == "driven with these values"
    assert not answer["drives"][0]["counts"]
    assert "does not say" in answer["drives"][0]["in_vehicle"]
    stated = strict(run("coverage", later, plain, "--stated", "--json")[1])
    assert stated["drives"][0]["counts"]
    assert "stated by hand" in stated["drives"][0]["in_vehicle"]


def _content(path: Path) -> CalibrationSet:
    return open_document(path, "").content


def test_an_earlier_state_of_the_set_was_in_the_vehicle(
    run: Run, edited: tuple[Path, Path, Path], recording: Path
) -> None:
    _, later, _ = edited
    answer = strict(run("coverage", later, recording, "--json")[1])
    assert "1 change ago" in answer["drives"][0]["in_vehicle"]
    steering = [g for g in answer["grades"] if g["table"] == "steering_limit"]
    assert [g["grade"] for g in steering] == ["visited with other values", "no evidence"]


def test_cells_as_csv(run: Run, recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "cells.csv"
    run("coverage", NORMAL, recording, "--table", "pre_engage_*", "--to", "csv", out)
    raw = out.read_bytes()
    assert raw.count(b"\r\n") == raw.count(b"\n"), "RFC 4180"
    with out.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 120 + 8
    # Outside check: pandas reads it, and the dwell adds up to the time driven.
    frame = pd.read_csv(out)
    sums = frame.groupby("table")["dwell_s"].sum()
    assert sums["pre_engage_torque"] == pytest.approx(SECONDS, abs=0.01)
    assert set(frame["grade"].dropna()) <= {
        "driven with these values", "visited with other values", "desk only", "no evidence",
    }  # fmt: skip


def test_map_of_visited_cells_as_html(run: Run, recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "map.html"
    status, said, _ = run("coverage", NORMAL, recording, "--to", "html", out)
    assert status == 1
    assert "cells changed" in said
    text = out.read_text(encoding="utf-8")
    tags = Tags(text)
    assert not tags.fetched
    assert tags.count["svg"] > 20
    assert len(svgs(text)) == tags.count["svg"], "every drawing is sound XML"
    assert "This very set was in the vehicle." in text
    assert "no drive used this cell" in text
