"""The registry of exchange formats: what it lists, finds, and tells to be left out."""

from __future__ import annotations

from pathlib import Path

import pytest

import calib_model
from app.__main__ import main
from calib_model.errors import ModelError
from calib_model.formats.outgoing import Outgoing
from calib_model.formats.registry import Part, format_of, formats, readers
from calib_model.session.history import PlainHistory
from calib_model.signoff.verification import verify

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


def test_a_format_is_found_by_its_id_and_by_a_suffix() -> None:
    assert [one.id for one in formats()] == [
        "h5", "text", "csv", "spreadsheet", "netcdf", "signoff", "report",
    ]  # fmt: skip
    for one in formats():
        assert format_of(Path("any.thing"), one.id) is one
        assert format_of(Path(one.file_name("larch"))) is one
    assert format_of(Path("LARCH.CSV")).id == "csv"
    assert list(readers()) == ["text", "csv", "spreadsheet", "netcdf"]
    with pytest.raises(ModelError, match="h5, text, csv"):
        format_of(Path("larch.csv"), "parchment")
    with pytest.raises(ModelError, match=r"larch\.odt does not say its format"):
        format_of(Path("larch.odt"))


def test_only_what_the_set_has_and_no_file_holds_is_told() -> None:
    content = calib_model.open_set(SAMPLES / "larch_normal_signed.h5")
    history = PlainHistory([{"title": "Anything", "edits": []}])
    outgoing = Outgoing(content, verify(content, None), history)
    by_id = {one.id: one for one in formats()}
    assert outgoing.left_out([by_id["h5"]]) == ()
    assert {Part.SIGN_OFFS, Part.HISTORY} < set(outgoing.left_out([by_id["text"]]))
    assert Part.RULES in outgoing.left_out([by_id["csv"]])
    assert Part.RULES not in outgoing.left_out([by_id["csv"], by_id["text"]])
    bare = Outgoing(content.with_record(type(content.record)()), verify(content, None))
    assert not {Part.SIGN_OFFS, Part.HISTORY} & set(bare.left_out([by_id["text"]]))


def test_what_a_format_claims_to_hold_comes_back(tmp_path: Path) -> None:
    content = calib_model.open_set(SAMPLES / "larch_normal_signed.h5")
    files = {
        one.id: calib_model.export_set(content, tmp_path / one.file_name("x"), one.id)
        for one in formats()
    }
    assert calib_model.digest(calib_model.import_set(files["text"])) == calib_model.digest(content)
    whole = calib_model.open_set(files["h5"])
    assert whole.record == content.record
    assert calib_model.digest(whole) == calib_model.digest(content)
    assert files["signoff"].is_dir()
    assert "KEYS-NOT-CHECKED" in files["csv"].name
    signers = SAMPLES / "allowed_signers"
    assert calib_model.export_set(content, tmp_path / "y.csv", signers=signers).name == "y.csv"


def test_the_command_line_says_before_and_after_what_is_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", "--help"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    for one in formats():
        assert f"{one.id} {one.about}" in shown
        assert one.limits in shown
    given = str(SAMPLES / "larch_normal_signed.h5")
    for id, said in (("text", True), ("h5", False)):
        assert main(["export", given, "--to", id, str(tmp_path / f"x.{id}")]) == 0
        out = " ".join(capsys.readouterr().out.split())
        assert ("Not in it, or in part only: " in out) is said
        assert ("sign-offs with their signatures." in out) is said
