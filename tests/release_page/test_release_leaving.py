"""Trials and hand-over: marked in file and name, whole or not at all, told where.

Digests are recomputed with hashlib; HTML is read by the standard library's parser.
"""

from __future__ import annotations

import csv
import hashlib
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from calib_model import open_set
from calib_model.editing.change import values_change
from calib_model.rules.waivers import today
from tests.release_page.conftest import AUTHOR, Bench

DAY = (today() + timedelta(days=5)).isoformat()


def edited(bench: Bench) -> None:
    table = bench.content["slip_target"]
    values = np.array(table.values)
    values[1, 2] += 0.3
    bench.desk.do(values_change(table, values, "Raise one cell"))


def trial(bench: Bench, quiet, folder: Path, **fields: str) -> str:
    form = bench.page.trial
    form.folder.show_path(folder)
    given = {"vehicle": "Larch 07", "trip": "winter trip 2", "expires": DAY} | fields
    for name, text in given.items():
        getattr(form, name).setText(text)
    form.submit()
    quiet()
    return form.answer.text()


def test_a_trial_is_marked_in_every_file_and_name(with_set, tmp_path: Path, quiet) -> None:
    bench = with_set("practice")
    edited(bench)
    quiet()
    for box in bench.page.trial.boxes.values():
        box.setChecked(True)
    out = tmp_path / "out"
    out.mkdir()
    digest = bench.page.standings.standing.verification.digest
    answer = trial(bench, quiet, out)
    names = sorted(p.name for p in out.iterdir())
    assert len(names) == 6
    stem = f"larch_practice_TRIAL_Larch-07_winter-trip-2_until-{DAY}_{digest[:8]}"
    suffixes = {stem + s for s in (".h5", ".txt", ".csv", ".nc", ".xlsx")}
    assert suffixes < set(names)
    assert all("TRIAL_Larch-07_winter-trip-2" in name for name in names)
    assert all(name in answer for name in names)
    assert str(out) in answer
    for name in names:
        if not name.endswith((".h5", ".nc", ".xlsx")):  # tests/formats reads the marks of these
            text = (out / name).read_text(encoding="utf-8")
            assert "TRIAL" in text
            assert DAY in text
            assert "Larch 07" in text
    # The changed cell is told with what it was, as the command line tells it.
    with (out / f"{stem}.csv").open(newline="", encoding="utf-8") as file:
        before = [row for row in csv.DictReader(file) if row["value_before"]]
    changed = [row for row in before if row["table"] == "slip_target"]
    assert [round(float(r["value"]) - float(r["value_before"]), 9) for r in changed] == [0.3]
    # The text below its marked head is what the digest is of; the head lists the changed cell.
    head, body = [], []
    for line in (out / f"{stem}.txt").read_bytes().splitlines(keepends=True):
        (head if line.startswith(b"#") else body).append(line)
    assert hashlib.sha256(b"".join(body)).hexdigest() == digest
    assert any(b"slip_target" in line for line in head)
    # The set file holds the trial, and the same content.
    left = open_set(out / f"{stem}.h5")
    (noted,) = left.record.trials
    assert (noted.vehicle, noted.trip, noted.expires, noted.digest) == (
        "Larch 07", "winter trip 2", DAY, digest,
    )  # fmt: skip
    assert noted.by == AUTHOR
    assert sum(line.startswith("slip_target ") for line in noted.changed) == 1
    assert left.name.startswith("TRIAL")
    # It is noted in the set, undoably, and nothing partial is left.
    assert bench.content.record.trials[0].digest == digest
    bench.desk.current.undo()
    assert not bench.content.record.trials
    assert not list(out.glob(".*"))


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"vehicle": " "}, "needs a vehicle"),
        ({"trip": ""}, "needs a trip"),
        ({"expires": "2020-01-01"}, "ended on 2020-01-01 already"),
        ({"expires": "tomorrow"}, "is no day"),
    ],
)
def test_a_bad_trial_writes_nothing(with_set, tmp_path: Path, quiet, fields, why) -> None:
    bench = with_set("practice")
    out = tmp_path / "out"
    out.mkdir()
    assert why in trial(bench, quiet, out, **fields)
    assert not list(out.iterdir())
    assert not bench.content.record.trials
    assert "no such folder" in trial(bench, quiet, tmp_path / "gone")


def test_vehicle_trip_and_day_are_remembered(with_set, tmp_path: Path, quiet) -> None:
    from app.release.leave_panels import TrialPanel

    bench = with_set("practice")
    out = tmp_path / "out"
    out.mkdir()
    assert bench.page.trial.first_stop() is bench.page.trial.vehicle
    trial(bench, quiet, out)
    again = TrialPanel(bench.settings)
    assert (again.vehicle.text(), again.trip.text(), again.expires.text()) == (
        "Larch 07", "winter trip 2", DAY,
    )  # fmt: skip
    assert again.folder.path == out
    assert again.first_stop() is again.write  # one key opens the panel, Enter writes
    again.deleteLater()


def hand(bench: Bench, quiet, folder: Path) -> str:
    form = bench.page.hand_over
    form.folder.show_path(folder)
    form.submit()
    quiet()
    return form.answer.text()


class Counting(HTMLParser):
    """Counts what an HTML text opens and loads."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.loads += [v or "" for k, v in attrs if k in ("src", "href")]


def test_a_signed_set_is_handed_over_unmarked(
    with_set, signers_of_set: Path, tmp_path: Path, quiet
) -> None:
    bench = with_set("normal_signed")
    out = tmp_path / "out"
    out.mkdir()
    bench.page.standings.choose(signers=signers_of_set)
    quiet()
    assert "unmarked" in bench.page.hand_over.state.text()
    answer = hand(bench, quiet, out)
    (folder,) = out.iterdir()
    names = sorted(p.name for p in folder.iterdir())
    assert names == [
        "larch_normal_signed.csv", "larch_normal_signed.h5", "larch_normal_signed.nc",
        "larch_normal_signed.txt", "larch_normal_signed.xlsx",
        "larch_normal_signed_report.html", "larch_normal_signed_sign_off",
    ]  # fmt: skip
    assert str(folder) in answer
    digest = bench.page.standings.standing.verification.digest
    text = (folder / "larch_normal_signed.txt").read_bytes()
    assert hashlib.sha256(text).hexdigest() == digest
    assert open_set(folder / "larch_normal_signed.h5") == bench.content
    with (folder / "larch_normal_signed.csv").open(newline="", encoding="utf-8") as file:
        assert sum(1 for _ in csv.reader(file)) - 1 == sum(t.values.size for t in bench.content)
    page = Counting()
    page.feed((folder / "larch_normal_signed_report.html").read_text(encoding="utf-8"))
    assert "svg" in page.tags or "table" in page.tags
    assert "script" not in page.tags
    assert not page.loads
    # A second time is refused, and nothing is touched.
    before = {p: p.stat().st_mtime_ns for p in folder.rglob("*")}
    assert "handed over before" in hand(bench, quiet, out)
    assert {p: p.stat().st_mtime_ns for p in folder.rglob("*")} == before


def test_an_altered_set_carries_that_in_file_and_name(
    with_set, signers_of_set: Path, tmp_path: Path, quiet
) -> None:
    bench = with_set("normal_signed")
    bench.page.standings.choose(signers=signers_of_set)
    edited(bench)
    quiet()
    assert "CHANGED-SINCE-SIGN-OFF" in bench.page.hand_over.state.text()
    out = tmp_path / "out"
    out.mkdir()
    hand(bench, quiet, out)
    (folder,) = out.iterdir()
    assert "CHANGED-SINCE-SIGN-OFF" in folder.name
    for path in folder.iterdir():
        assert "CHANGED-SINCE-SIGN-OFF" in path.name
    (text,) = folder.glob("*.txt")
    assert text.read_text(encoding="utf-8").startswith("# CHANGED SINCE SIGN OFF.")


def test_an_unsigned_set_says_so(with_set, tmp_path: Path, quiet) -> None:
    bench = with_set("practice")
    out = tmp_path / "out"
    out.mkdir()
    assert "UNSIGNED" in hand(bench, quiet, out)
    (folder,) = out.iterdir()
    assert all("UNSIGNED" in p.name for p in (folder, *folder.iterdir()))


def test_what_none_of_the_files_holds_is_told(with_set, tmp_path: Path, quiet) -> None:
    bench = with_set("practice")
    boxes = bench.page.trial.boxes
    assert "history" in boxes["csv"].toolTip()
    assert not boxes["h5"].toolTip()
    assert "signoff" not in boxes  # a trial has no sign-off
    out = tmp_path / "out"
    out.mkdir()
    assert "Not in it" not in trial(bench, quiet, out)  # the set file holds everything
    boxes["h5"].setChecked(False)
    answer = trial(bench, quiet, out)
    assert "Not in it, or in part only: " in answer
    assert "history" in answer
    assert "rules" not in answer  # the text has them
    again = type(bench.page.trial)(bench.settings)
    assert [one.id for one in again.chosen] == ["text", "csv", "spreadsheet", "netcdf"]
    again.deleteLater()


def test_a_failing_write_leaves_nothing(with_set, tmp_path: Path, quiet, monkeypatch) -> None:
    bench = with_set("practice")
    out = tmp_path / "out"
    out.mkdir()

    def full(*_args: object, **_more: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("calib_model.formats.comma_separated.write_csv", full)
    assert "No space left" in hand(bench, quiet, out)
    assert not list(out.iterdir())
    assert "No space left" in trial(bench, quiet, out)
    assert not list(out.iterdir())
    assert not bench.content.record.trials
    for box in bench.page.trial.boxes.values():
        box.setChecked(False)
    assert "Nothing is ticked" in trial(bench, quiet, out)
