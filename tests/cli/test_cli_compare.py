"""`bitepoint compare` narrowed by threshold and tables, and its report."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.store import write_set

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
NORMAL, LOW_GRIP = (str(SAMPLES / f"larch_{name}.h5") for name in ("normal", "low_grip"))
PEDAL = Axis([0.0, 50.0, 100.0], name="Pedal", unit="%", quantity="pedal")
CURVE = Table("drive.curve", [10.0, 20.0, 30.0], (PEDAL,), name="Drive & <hold>", unit="N.m",
              lower=0.0, upper=100.0, storage=Storage.of("uint16", "0.5"))  # fmt: skip
GAIN = Table("drive.gain", 1.0, function="Gains")

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def pair(tmp_path: Path) -> tuple[str, str]:
    """Two sets: the curve differs by 1 N·m (2 steps, 1 %) and 3 N·m (6 steps, 3 %)."""
    paths = []
    for name, tables in (("a", (CURVE, GAIN)), ("b", (CURVE.with_values([11.0, 20, 33]), GAIN))):
        path = tmp_path / f"{name}.h5"
        write_set(path, CalibrationSet(tables, name=name))
        paths.append(str(path))
    return paths[0], paths[1]


@pytest.mark.parametrize(
    ("threshold", "status", "state", "cells"),
    [
        ("0", 1, "changed", 2),
        ("2", 1, "changed", 1),
        ("5.5 steps", 1, "changed", 1),
        ("6", 0, "below threshold", 0),
        ("0.5%", 1, "changed", 2),
        ("2%", 1, "changed", 1),
        ("3 %", 0, "below threshold", 0),
    ],
)
def test_threshold_by_hand(
    run: Run, pair: tuple[str, str], threshold: str, status: int, state: str, cells: int
) -> None:
    got, out, _ = run("compare", *pair, "--threshold", threshold, "--json")
    entry = json.loads(out)["tables"][0]
    assert (got, entry["state"], entry["cells_changed"]) == (status, state, cells)
    assert entry["largest"] == 3.0


def test_words_list_only_what_is_above(run: Run, pair: tuple[str, str]) -> None:
    status, out, _ = run("compare", *pair, "--threshold", "2")
    assert status == 1
    assert "at 100 %: 30 → 33 N·m" in out
    assert "10 → 11" not in out


def test_a_breach_counts_however_small(run: Run) -> None:
    status, out, _ = run("compare", NORMAL, LOW_GRIP, "--threshold", "100%", "--json")
    left = {t["table"] for t in json.loads(out)["tables"] if t["state"] == "changed"}
    assert status == 1
    assert left == {"pre_engage_torque", "slip_target"}


@pytest.mark.parametrize("pattern", ["drive.c*", "DRIVE &*", "*curve"])
def test_tables_by_id_or_name(run: Run, pair: tuple[str, str], pattern: str) -> None:
    status, out, _ = run("compare", *pair, "--tables", pattern, "--json")
    assert status == 1
    assert [t["table"] for t in json.loads(out)["tables"]] == ["drive.curve"]


def test_only_the_chosen_tables_decide_the_status(run: Run, pair: tuple[str, str]) -> None:
    status, out, _ = run("compare", *pair, "--tables", "gains")
    assert status == 0
    assert "1 table: 1 same." in out
    status, out, _ = run("compare", *pair, "--tables", "gains", "--tables", "*curve", "--json")
    assert status == 1
    assert len(json.loads(out)["tables"]) == 2


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--threshold", "much"], "is no threshold"),
        (["--threshold=-1"], "is no threshold"),
        (["--tables", "nothing*"], "No table matches nothing*."),
        (["--to", "pdf", "out.pdf"], "compare writes no 'pdf'."),
        (["--to", "html"], "expected 2 arguments"),
    ],
)
def test_what_cannot_be_done_is_one_line(
    run: Run, pair: tuple[str, str], arguments: list[str], said: str
) -> None:
    status, out, err = run("compare", *pair, *arguments)
    assert (status, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


def test_a_set_is_never_written_over(run: Run, pair: tuple[str, str]) -> None:
    before = Path(pair[1]).read_bytes()
    status, _, err = run("compare", *pair, "--to", "html", pair[1])
    assert status == 2
    assert "one of the files read" in err
    assert Path(pair[1]).read_bytes() == before


def test_a_report_that_cannot_be_written_is_said(
    run: Run, pair: tuple[str, str], tmp_path: Path
) -> None:
    status, _, err = run("compare", *pair, "--to", "html", str(tmp_path / "no" / "r.html"))
    assert status == 2
    assert "r.html: Its folder does not exist." in err


class _Page(HTMLParser):
    """Collects tags, references and whether every tag is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.references: list[str] = []
        self.open: list[str] = []
        self.ids: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.open.append(tag)
        given = dict(attrs)
        self.references += [str(given[k]) for k in ("href", "src", "xlink:href") if k in given]
        if "id" in given:
            self.ids.add(str(given["id"]))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass


def test_the_report_stands_alone_and_needs_no_colour(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    status, said, _ = run("compare", NORMAL, LOW_GRIP, "--to", "html", str(out))
    assert status == 1
    assert "22 tables of 42 differ, 2 tables in breach." in said
    text = out.read_text(encoding="utf-8")
    page = _Page()
    page.feed(text)
    assert not {"script", "link", "img", "iframe", "object"} & set(page.tags)
    # Every reference leads inside the file, to something that is there.
    assert page.references
    assert all(r.startswith("#") and r[1:] in page.ids for r in page.references)
    assert "url(" not in text
    # Greys alone, as rgb() or hexadecimal.
    for red, green, blue in re.findall(r"rgb\((\d+),(\d+),(\d+)\)", text):
        assert red == green == blue
    for colour in re.findall(r"#([0-9a-f]{3}|[0-9a-f]{6})\b", text.split("<body>")[1]):
        if f'"#{colour}"' in text:
            parts = list(colour) if len(colour) == 3 else re.findall("..", colour)
            assert len(set(parts)) == 1
    svgs = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(svgs) > 22
    for svg in svgs:  # well-formed, by a parser of its own
        ET.fromstring(svg)
    # What the scenario says is in it: both breaches, the cautions, every differing table.
    assert "20 N·m below the normal mode&#x27;s" in text
    assert "0.8 km/h above the normal mode&#x27;s" in text
    assert "closed course, by trained drivers" in text
    assert "ISO 26262" in text
    assert text.count("<h3 id=") == 22


def test_signs_and_breaches_of_a_map_are_drawn_as_shapes(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    run("compare", NORMAL, LOW_GRIP, "--tables", "slip_target", "--to", "html", str(out))
    (svg,) = re.findall(r"<svg(?:(?!</svg>).)*B less A, largest.*?</svg>", out.read_text("utf-8"),
                        re.DOTALL)  # fmt: skip
    paths = [p.get("d") or "" for p in ET.fromstring(svg).iter() if p.tag.endswith("path")]
    # 2 cells are higher (plus: two strokes), 34 lower (minus: one); the two higher ones breach.
    assert sum(p.count("v8") for p in paths) == 2
    assert sum(p.endswith("h8") for p in paths) == 34
    assert sum(p.endswith("z") for p in paths) == 2


def test_names_are_escaped(run: Run, pair: tuple[str, str], tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    run("compare", *pair, "--to", "html", str(out))
    text = out.read_text(encoding="utf-8")
    assert "Drive &amp; &lt;hold&gt;" in text
    assert "<hold>" not in text


def test_json_and_report_go_together(run: Run, pair: tuple[str, str], tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    status, said, _ = run("compare", *pair, "--json", "--to", "html", str(out))
    assert status == 1
    assert json.loads(said)["tables"]
    assert out.exists()
