"""`bitepoint manoeuvre` and `bitepoint campaign`, on the sample sets."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from calib_model.core.canonical import digest
from calib_model.editing.change import values_change
from calib_model.evidence.grades import CellGrade, Grade, grades
from calib_model.session.files import open_document, save_document
from calib_model.store import HistoryColumns, open_file, write_set
from calib_model.vehicle.manoeuvres import MANOEUVRES
from tests.cli.answers import strict_json

pytestmark = pytest.mark.timeout(400)  # the first drive may have to compile the model

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
NORMAL, LOW = str(SAMPLES / "larch_normal.h5"), str(SAMPLES / "larch_low_grip.h5")
MINE = """
[[manoeuvre]]
id = "short_launch"
name = "Short launch"
duration = 2.0
metrics = ["peak_front_slip", "time_to_30"]
surface = "snow"
start = { ambient_temperature = -20 }
limits = { peak_front_slip = 0.5 }
driver = { pedal = [[0.2, 0], [0.5, 40]] }
"""

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def mine(tmp_path: Path) -> str:
    path = tmp_path / "mine.toml"
    path.write_text(MINE, encoding="utf-8")
    return str(path)


def test_all_manoeuvres_in_json(run: Run) -> None:
    status, text, err = run("manoeuvre", NORMAL, "--json")
    assert (status, err) == (0, "")
    found = strict_json(text)["manoeuvres"]
    assert [m["name"] for m in found] == list(MANOEUVRES)
    for one in found:
        assert one["completed"] is True
        assert [m["name"] for m in one["metrics"]] == list(MANOEUVRES[one["name"]].metrics)
        for metric in one["metrics"]:
            assert metric["against"] is None
            assert isinstance(metric["value"], float) or metric["why"]
            assert metric["unit"]


def test_against_another_set(run: Run) -> None:
    status, text, _ = run("manoeuvre", NORMAL, "--name", "launch_snow", "--against", LOW, "--json")
    assert status == 0
    (one,) = strict_json(text)["manoeuvres"]
    time = one["metrics"][0]
    assert (time["name"], time["unit"], time["better"]) == ("time_to_30", "s", "lower")
    assert time["against"] < time["value"]
    status, text, _ = run("manoeuvre", NORMAL, "--name", "launch_snow", "--against", LOW)
    flat = " ".join(text.split())
    assert "Time to 30 km/h" in flat
    assert "worse" in flat
    assert "Desk estimates" in flat
    assert "no jolt" in flat
    assert "closed course" in flat


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)


def test_a_report_that_stands_alone(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "drive.html"
    status, text, _ = run(
        "manoeuvre", NORMAL, "--name", "circle_inside_brake", "--name", "kick_down",
        "--against", LOW, "--to", "html", str(out),
    )  # fmt: skip
    assert status == 0
    assert f"Wrote the report to {out}" in text
    page = out.read_text(encoding="utf-8")
    seen = _Page()
    seen.feed(page)
    # Four traces each, one more for each of two metrics, and the path of the one that turns.
    assert seen.tags.count("svg") == 11
    assert not {"script", "link", "img", "iframe"} & set(seen.tags)
    assert "from above" in page
    assert "functional-safety process" in page
    status, _, err = run("manoeuvre", NORMAL, "--to", "html", NORMAL)
    assert status == 2
    assert "one of the files read" in err


def test_own_manoeuvres_and_their_limits(run: Run, mine: str) -> None:
    status, text, _ = run(
        "manoeuvre", NORMAL, "--manoeuvres", mine, "--name", "short_launch", "--json"
    )
    (one,) = strict_json(text)["manoeuvres"]
    slip, time = one["metrics"]
    assert status == 1  # beyond the limit
    assert slip["beyond_limit"]
    assert time["value"] is None
    assert "not reached" in time["why"]
    status, text, _ = run("manoeuvre", NORMAL, "--manoeuvres", mine, "--name", "short_launch")
    assert "(beyond the limit of 0.5 km/h)" in " ".join(text.split())


def test_the_users_vehicle_and_a_variant(run: Run, tmp_path: Path, mine: str) -> None:
    own = ("--manoeuvres", mine, "--name", "short_launch", "--json")
    shipped = SAMPLES / "larch_vehicle.toml"
    first = run("manoeuvre", NORMAL, *own)[1]
    assert run("manoeuvre", NORMAL, *own, "--vehicle", str(shipped))[1] == first
    assert run("manoeuvre", NORMAL, *own, "--variant", "laden")[1] != first
    wrong = tmp_path / "wrong.toml"
    text = shipped.read_text(encoding="utf-8")
    wrong.write_text(text.replace("mass = 1700.0", "mass = -3.0", 1), encoding="utf-8")
    status, out, err = run("manoeuvre", NORMAL, *own, "--vehicle", str(wrong))
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert "wrong.toml" in err
    assert "mass" in err


def test_what_is_missing_is_named_and_what_can_run_runs(
    run: Run, tmp_path: Path, mine: str
) -> None:
    content = open_file(NORMAL).result().set
    table = content["slip_gain"]
    values = np.array(table.values)
    values[0, 0] = np.nan
    path = tmp_path / "holes.h5"
    changed = content.replaced({"slip_gain": replace(table, values=values), "hill_torque": None})
    write_set(path, changed, HistoryColumns())
    own = ("--manoeuvres", mine, "--name", "short_launch")
    status, text, _ = run("manoeuvre", str(path), *own, "--json")
    answer = strict_json(text)
    assert status == 1
    assert {m["role"] for m in answer["missing"]} >= {"slip_gain", "hill_torque"}
    assert answer["manoeuvres"][0]["completed"] is True
    status, text, _ = run("manoeuvre", str(path), *own)
    assert "took no part" in text
    assert "slip_gain" in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--name", "lunch"), "launch_snow"),
        (("--vehicle", "nothing.toml"), "nothing.toml"),
        (("--manoeuvres", "nothing.toml"), "nothing.toml"),
        (("--variant", "flying"), "laden"),
        (("--to", "pdf", "x"), "--to html OUT"),
        (("--nonsense",), "--help"),
    ],
)
def test_what_cannot_be_done_is_one_line(run: Run, arguments: tuple[str, ...], words: str) -> None:
    status, out, err = run("manoeuvre", NORMAL, *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert words in err


def test_no_qt_is_loaded(mine: str) -> None:
    code = (
        "import sys; from app.__main__ import main; "
        f"status = main(['manoeuvre', {NORMAL!r}, '--manoeuvres', {mine!r}, '--name', "
        "'short_launch', '--json']); "
        "sys.exit(9 if any(m.startswith(('PySide6', 'pyqtgraph')) for m in sys.modules) else 0)"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr


# -- campaigns ------------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", ["parquet", "h5"])
def test_a_campaign_its_file_and_a_worst_case(
    run: Run, tmp_path: Path, mine: str, suffix: str
) -> None:
    out = tmp_path / f"runs.{suffix}"
    status, text, err = run(
        "campaign", NORMAL, LOW, "--manoeuvres", mine, "--name", "short_launch", "--runs", "4",
        "--vary", "friction=0.9..1.1", "--vary", "mass", "--seed", "3", "--workers", "1",
        "--out", str(out), "--json",
    )  # fmt: skip
    assert (status, err) == (0, "")
    answer = strict_json(text)
    assert answer["state"] == [{"runs": 8, "done": 8, "whole": True}]
    normal, low = (d for d in answer["distributions"] if d["metric"] == "peak_front_slip")
    assert (normal["set"], low["set"]) == ("larch_normal", "larch_low_grip")
    assert normal["runs"] == 4
    assert normal["least"] <= normal["percentiles"]["50"] <= normal["most"]
    never = next(d for d in answer["distributions"] if d["metric"] == "time_to_30")
    assert never["without_value"] == 4
    assert never["mean"] is None
    # The file says the same, and its worst row drives again to the same value.
    status, text, _ = run("campaign", "--show", str(out), "--json")
    assert strict_json(text)["distributions"] == answer["distributions"]
    row = normal["worst_rows"][0]
    _, text, _ = run("campaign", "--show", str(out), str(row), "--json")
    again = strict_json(text)
    assert again["manoeuvres"][0]["metrics"][0]["value"] == normal["most"]
    (conditions,) = again["conditions"]
    assert conditions["row"] == row
    assert 0.9 <= conditions["friction"] <= 1.1
    _, text, _ = run("campaign", "--show", str(out), str(row))
    assert f"Row {row}: larch_normal; friction " in " ".join(text.split())
    status, text, _ = run("campaign", "--show", str(out))
    assert "worst row" in text
    assert "Desk estimates" in text


def test_a_grid(run: Run, tmp_path: Path, mine: str) -> None:
    status, text, _ = run(
        "campaign", NORMAL, "--manoeuvres", mine, "--name", "short_launch", "--vary",
        "friction=0.9..1.1/3", "--vary", "temperature=-5..5/2", "--workers", "1",
        "--out", str(tmp_path / "grid.h5"), "--json",
    )  # fmt: skip
    assert status == 0
    assert strict_json(text)["state"][0]["runs"] == 6


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "--out FILE"),
        (("--out", "runs.xls"), ".parquet"),
        (("--out", "runs.h5", "--vary", "gravity"), "friction, temperature"),
        (("--out", "runs.h5", "--vary", "mass=1"), "LOW..HIGH"),
        (("--out", "runs.h5", "--vary", "mass=0.1..9"), "Stay within"),
        (("--out", "runs.h5", "--vary", "mass/3"), "Nothing called 'mass/3' can vary"),
        (("--out", "runs.h5", "--runs", "0"), "cannot be made"),
        (("--out", "runs.h5", "--workers", "0", "--runs", "1"), "0 workers"),
        (("--out", "runs.h5", "--seed", "-4", "--runs", "1"), "not negative"),
        (("--show", "nothing.h5"), "Cannot be read"),
    ],
)
def test_what_no_campaign_can_be_is_one_line(
    run: Run, arguments: tuple[str, ...], words: str, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    sets = () if "--show" in arguments else (NORMAL,)
    status, out, err = run("campaign", *sets, *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert words in err
    assert list(tmp_path.glob("runs*")) == []


def test_a_finished_drive_is_kept_as_desk_evidence(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "edited.h5"
    shutil.copy(NORMAL, path)
    document = open_document(path, "Ada")
    values = document.content["pre_engage_torque"].values * 0.9
    document.do(values_change(document.content["pre_engage_torque"], values, "Less"))
    save_document(document)
    before = _graded(path)
    assert {cell.grade for cell in before} == {Grade.NONE}
    status, out, err = run("manoeuvre", str(path), "--name", "launch_snow", "--record")
    assert (status, out) == (2, "")
    assert "--by NAME" in err
    recorded = ("manoeuvre", str(path), "--name", "launch_snow", "--record", "--by", "Ada")
    status, out, _ = run(*recorded, "--json")
    assert status == 0
    (kept,) = strict_json(out)["evidence"]
    assert kept["kept"]
    (drive,) = open_document(path, "Ada").content.record.drives
    assert (drive.source, drive.by) == ("manoeuvre", "Ada")
    assert drive.name.endswith("(Larch)")
    assert drive.set_digest == digest(open_document(path, "Ada").content)
    after = _graded(path)
    assert len(after) == len(before)
    assert {cell.grade for cell in after} == {Grade.DESK, Grade.NONE}
    status, out, _ = run(*recorded)  # the same drive again replaces it
    assert "desk only" in out
    assert len(open_document(path, "Ada").content.record.drives) == 1


def _graded(path: Path) -> tuple[CellGrade, ...]:
    content, base = open_document(path, "Ada").content, open_document(Path(NORMAL), "Ada").content
    return grades(content, base, content.record.drives).cells
