"""Complaints and summaries from the command line."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from calib_model.store import read_set

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
Run = Callable[..., tuple[int, str, str]]


def test_a_complaint_from_raised_to_proved(run: Run, tmp_path: Path) -> None:
    here = shutil.copy(SAMPLES / "larch_normal.h5", tmp_path / "set.h5")
    before, after = tmp_path / "run 1.csv", tmp_path / "run 2.csv"
    before.write_text("a")
    shutil.copy(SAMPLES / "larch_snow_round.csv", after)  # driven with the normal set
    assert run("complaints", here)[1].endswith("no complaints.\n")
    status, out, _ = run(
        "complaints", here, "--raise", "front spins", "--by", "Ada", "--recording", before,
        "--at", "83.4", "--table", "pre_engage_torque",
    )  # fmt: skip
    assert (status, out.splitlines()[0]) == (0, "Raise complaint C-1.")
    assert run("complaints", here, "--answer", "C-1", "raised", "--by", "Ada")[0] == 0
    prove = ("complaints", here, "--prove", "C-1", "--by", "Ada", "--recording")
    junk = tmp_path / "junk.csv"
    junk.write_text("a,b\n1,2\n3,4\n")
    saved = Path(here).read_bytes()
    for more in ((junk,), (before,), (after, "--at", "99999"), (after, "--at", "-1")):
        status, out, err = run(*prove, *more)
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert "is not a proof, because" in err
    assert Path(here).read_bytes() == saved
    away = tmp_path / "away"
    away.mkdir()
    before.rename(away / "run 1.csv")  # not at hand, so that the tables alone tell the region
    assert run(*prove, after)[0] == 0
    plain = json.loads(run("complaints", here, "--json")[1])["complaints"]
    assert [(c["number"], c["standing"], c["proof"]) for c in plain] == [
        ("C-1", "proved", "run 2.csv")
    ]
    (kept,) = read_set(here).set.record.complaints
    # hashlib over the very file, as `sha256sum` would give it.
    assert kept.sha256 == hashlib.sha256(b"a").hexdigest()
    out = run("complaints", here)[1]
    assert "run 1.csv at 1 min 23.4 s" in out
    assert "closed course" in out

    # The day it was raised on, at this desk: the test may run across midnight.
    day = datetime.fromisoformat(kept.time).astimezone().date().isoformat()
    page = tmp_path / "day.html"
    status, out, _ = run("summary", here, "--day", day, "--to", "html", page)
    assert status == 0
    assert "front spins" in page.read_text(encoding="utf-8")
    note = tmp_path / "note.html"
    normal = SAMPLES / "larch_low_grip.h5"
    assert run("summary", here, "--changes", "--since", normal, "--to", "html", note)[0] == 0
    assert "change note" in note.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["complaints", "SET", "--raise", "x"], "--by NAME"),
        (["complaints", "SET", "--answer", "C-9", "x", "--by", "A"], "no complaint 'C-9'"),
        (["complaints", "SET", "--raise", "x", "--by", "A", "--recording", "no.csv"], "no.csv"),
        (["complaints", "SET", "--raise", "x", "--by", "A", "--table", "no"], "no table 'no'"),
        (["summary", "SET", "--day", "28.2.2026", "--to", "html", "x.html"], "2026-02-28"),
        (["summary", "SET", "--to", "pdf", "x.pdf"], "--to html OUT"),
        (["summary", "SET", "--to", "html", "SET"], "one of the files read"),
        (["summary", "SET", "--since", "SET", "--to", "html", "x.html"], "--changes"),
    ],
)
def test_what_cannot_be_done_is_one_line(
    run: Run, tmp_path: Path, arguments: list[str], words: str
) -> None:
    here = str(shutil.copy(SAMPLES / "larch_normal.h5", tmp_path / "set.h5"))
    status, out, err = run(*[here if a == "SET" else a for a in arguments])
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1
