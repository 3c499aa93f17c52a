"""`bitepoint rules`: print a sheet, apply one, and never replace what was not meant."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import pytest

import sample_sets
from app.__main__ import main
from calib_model.core.calibration_set import CalibrationSet
from calib_model.rules.check import check
from calib_model.store import read_set
from tests.cli.answers import strict_json

NORMAL = Path(sample_sets.__file__).parent / "larch_normal.h5"
SHEET = """
sheet = 1
[[table]]
id = "*_base_torque"
rules = [{ kind = "bounds", upper = 50, reason = "a stricter limit" }]
[[table]]
id = "nothing_*"
rules = []
"""


def content(path: Path) -> CalibrationSet:
    return read_set(path).set


@pytest.fixture
def own(tmp_path: Path) -> Path:
    return Path(shutil.copy(NORMAL, tmp_path / "own.h5"))


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "stricter.toml"
    path.write_text(SHEET, encoding="utf-8")
    return path


def test_prints_toml(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", str(NORMAL)]) == 0
    data = tomllib.loads(capsys.readouterr().out)
    assert len(data["table"]) == 42


def test_printed_sheet_changes_nothing(
    own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "sheet.toml"
    assert main(["rules", str(NORMAL), "-o", str(sheet)]) == 0
    before = own.read_bytes()
    assert main(["rules", str(own), "--apply", str(sheet), "-o", str(own)]) == 0
    assert "Nothing to change" in capsys.readouterr().out
    assert own.read_bytes() == before


def test_applies_to_a_new_file(
    own: Path, sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before, out = own.read_bytes(), tmp_path / "out.h5"
    arguments = ["rules", str(own), "--apply", str(sheet), "-o", str(out), "--author", "tester"]
    assert main(arguments) == 0
    said = capsys.readouterr().out
    assert "1 table matched, 1 changed: cruise_base_torque." in said
    assert "For no table: nothing_* (line 6)." in said
    assert own.read_bytes() == before
    # The stricter rule is in force: 59 N.m at 0 km/h, 100 % is 9 above 50.
    (finding,) = check(content(out)).findings
    assert (finding.table, finding.rule, finding.amount) == ("cruise_base_torque", "bounds", 9.0)
    entries = list(read_set(out).history.entries())
    assert entries[:-1] == list(read_set(own).history.entries())
    assert entries[-1]["author"] == "tester"
    assert entries[-1]["title"] == "Apply rule sheet stricter.toml"


def test_applies_to_the_set_itself_and_keeps_a_backup(own: Path, sheet: Path) -> None:
    before = own.read_bytes()
    assert main(["rules", str(own), "--apply", str(sheet), "-o", str(own)]) == 0
    assert content(own) != content(NORMAL)
    assert own.with_name("own.h5.bak").read_bytes() == before


@pytest.mark.parametrize("with_sheet", [True, False])
def test_never_replaces_another_file(
    own: Path, sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], with_sheet: bool
) -> None:
    other = tmp_path / "other"
    other.write_text("mine")
    apply = ["--apply", str(sheet)] if with_sheet else []
    assert main(["rules", str(own), *apply, "-o", str(other)]) == 2
    assert other.read_text() == "mine"
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "already" in error


def test_sheet_is_not_written_over_the_set(own: Path) -> None:
    before = own.read_bytes()
    assert main(["rules", str(own), "-o", str(own)]) == 2
    assert own.read_bytes() == before


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"[[table]]\nid = ", "not valid TOML"),
        (b'[[table]]\nid = "x"\nrulez = 1', "entry 1 (line 1)"),
        (b'[[table]]\nid = "\xff"', "UTF-8"),
        (None, "Cannot be read"),
        (b'[[table]]\nid = "slip_*"\nbind = "slip_gain"', "one role"),
    ],
)
def test_says_in_one_line_what_is_wrong(
    own: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    data: bytes | None,
    said: str,
) -> None:
    sheet, out = tmp_path / "sheet.toml", tmp_path / "out.h5"
    if data is not None:
        sheet.write_bytes(data)
    assert main(["rules", str(own), "--apply", str(sheet), "-o", str(out)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert said in captured.err
    assert not out.exists()


def test_apply_asks_for_an_output(
    own: Path, sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rules", str(own), "--apply", str(sheet)]) == 2
    assert "-o" in capsys.readouterr().err


def test_a_mark_at_the_beginning_of_the_sheet_is_read_over(own: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "marked.toml"
    sheet.write_bytes(b"\xef\xbb\xbf" + SHEET.replace("\n", "\r\n").encode())
    out = tmp_path / "out.h5"
    assert main(["rules", str(own), "--apply", str(sheet), "-o", str(out)]) == 0
    assert [r.kind for r in content(out)["cruise_base_torque"].rules] == ["bounds"]


# -- single rules --------------------------------------------------------------------------


def said(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    status = main(["rules", *map(str, arguments)])
    return (status, *capsys.readouterr())


def test_lists_kinds_and_what_each_takes(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = said(capsys, NORMAL, "kinds")
    assert status == 0
    assert "rate_within" in out
    assert "outlier" not in out
    out = " ".join(said(capsys, NORMAL, "kinds", "monotone")[1].split())  # lines may be folded
    assert "Which way, along rising breakpoints. One of up, down. up if not given." in out
    helped = said(capsys, "--help")[1]
    assert "hysteresis" in helped
    assert "preview" in helped


def test_a_rule_is_previewed_added_turned_off_and_removed(
    own: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rule = ["bounds", "upper=50", "reason=a stricter limit"]
    here = ["--id", "cruise_base_torque"]
    status, out, _ = said(capsys, own, "preview", *rule, *here)
    assert status == 0
    assert "It holds in 0 of 1 table and names 2 places in 1." in out
    assert content(own) == content(NORMAL)
    assert said(capsys, own, "add", *rule, *here, "-o", own, "--author", "tester")[0] == 0
    added = content(own)["cruise_base_torque"].rules[-1]
    assert (added.kind, added.reason) == ("bounds", "a stricter limit")
    listed = said(capsys, own, "list", *here)[1]
    assert "3  bounds" in listed
    assert len(check(content(own)).findings) == 1
    change = ["change", "bounds", "upper=55", "severity=warning"]
    assert said(capsys, own, *change, *here, "-o", own)[0] == 0
    (finding,) = check(content(own)).findings
    assert (finding.amount, str(finding.severity)) == (4.0, "warning")
    assert said(capsys, own, "off", "--number", "3", *here, "-o", own)[0] == 0
    assert check(content(own)).findings == ()
    assert "[warning, off]" in " ".join(said(capsys, own, "list", *here)[1].split())
    assert said(capsys, own, "on", "bounds", *here, "-o", own)[0] == 0
    assert len(check(content(own)).findings) == 1
    assert said(capsys, own, "remove", "bounds", *here, "-o", own)[0] == 0
    assert content(own) == content(NORMAL)
    titles = [e["title"] for e in read_set(own).history.entries()][-5:]
    assert [t.split(" ")[0] for t in titles] == ["Add", "Change", "Turn", "Turn", "Remove"]


def test_suggested_rules_are_shown_and_kept(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = said(capsys, own, "suggest", "--id", "torque_fall_slew")
    assert status == 0
    assert "keep it so?" in out
    shown = strict_json(said(capsys, own, "suggest", "--json")[1])["suggested"]
    assert {"table", "rule", "question", "evidence", "places", "margin"} == set(shown[0])
    assert said(capsys, own, "keep", "monotone", "-o", own)[0] == 0
    rest = strict_json(said(capsys, own, "suggest", "--json")[1])["suggested"]
    assert len(rest) == len([s for s in shown if s["rule"]["kind"] != "monotone"])
    assert check(content(own)).findings == ()


def test_starting_rules_are_shown_and_added(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "rate_within" in said(capsys, own, "start", "--role", "steering_limit")[1]
    assert said(capsys, own, "start", "-o", own)[0] == 0
    added = sum(len(t.rules) for t in content(own)) - sum(len(t.rules) for t in content(NORMAL))
    assert added > 80
    assert "no rule that is not stated already" in said(capsys, own, "start")[1]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["ad", "bounds"], "no action 'ad'. Did you mean add"),
        (["add", "bounds", "upper=1", "-o", "OWN"], "No table is chosen"),
        (["add", "--id", "*", "-o", "OWN"], "No kind of rule is given"),
        (["add", "boundz", "--id", "*", "-o", "OWN"], "Did you mean bounds"),
        (["add", "bounds", "upper=1", "--id", "slipgain", "-o", "OWN"], "Did you mean slip_gain"),
        (["add", "bounds", "upper=1", "--id", "*"], "Add -o OUT"),
        (
            ["add", "monotone", "axis=pedal", "--id", "slip_gain", "-o", "OWN"],
            "has no axis 'pedal'",
        ),
        (["add", "limits", "--id", "*", "-o", "OWN"], "in force for every table"),
        (["off", "--id", "slip_gain", "-o", "OWN"], "No rule is chosen"),
        (["off", "zero_end", "--id", "slip_gain", "-o", "OWN"], "has a rule zero_end"),
        (["off", "--number", "9", "--id", "slip_gain", "-o", "OWN"], "has no rule 9"),
        (["off", "--number", "1", "--id", "slip_*", "-o", "OWN"], "6 tables fit"),
        (["off", "kink", "--number", "1", "--id", "slip_gain", "-o", "OWN"], "is bounds, not kink"),
        (["change", "kink", "--id", "slip_gain", "-o", "OWN"], "No setting is given"),
        (["change", "kink", "axis=pedal", "--id", "slip_gain", "-o", "OWN"], "no axis 'pedal'"),
        (["list", "-o", "OWN"], "list writes no set"),
        (["list", "--apply", "x.toml"], "without an action"),
    ],
)
def test_bad_input_is_named(
    own: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], message: str
) -> None:
    before = own.read_bytes()
    status, _, err = said(capsys, own, *(str(own) if a == "OWN" else a for a in arguments))
    assert status == 2
    assert message in err
    assert len(err.strip().splitlines()) == 1
    assert own.read_bytes() == before
