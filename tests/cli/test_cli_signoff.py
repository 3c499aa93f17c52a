"""Signing, verifying, waiving, accepting, handing over and importing from the command line."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import calib_model
from calib_model.core.canonical import digest
from calib_model.store import read_set
from tests.quick_keys import make_quick_key, signer_line

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
PHRASE = "correct horse battery"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="session")
def desk_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a copy of the normal set, two keys, and the list of their owners.

    The copy promises nothing to other modes, which are not at hand here.
    """
    folder = tmp_path_factory.mktemp("desk")
    shutil.copy(SAMPLES / "larch_normal.h5", folder / "set.h5")
    content = calib_model.open_set(folder / "set.h5")
    free = {id: replace(table, relations={}) for id, table in content.tables.items()}
    calib_model.save_set(content.replaced(free), folder / "set.h5", author="Olu")
    (folder / "phrase").write_text(PHRASE + "\nsecond line\n")
    lines = [
        signer_line(owner, make_quick_key(folder / owner, PHRASE, owner))
        for owner in ("ada", "ines")
    ]
    (folder / "signers").write_text("\n".join(lines) + "\n")
    return folder


@pytest.fixture
def desk(tmp_path: Path, desk_once: Path) -> Path:
    """The folder, a test's own."""
    shutil.copytree(desk_once, tmp_path, dirs_exist_ok=True)
    return tmp_path


def _sign(run: Run, desk: Path, owner: str, role: str, *more: object) -> tuple[int, str, str]:
    return run(
        "sign", desk / "set.h5", "--key", desk / owner, "--passphrase-file", desk / "phrase",
        "--name", owner, "--role", role, "--comment", "fine", *more,
    )  # fmt: skip


def _verify(run: Run, desk: Path) -> tuple[int, Any]:
    status, out, err = run("verify", desk / "set.h5", "--signers", desk / "signers", "--json")
    assert err == ""
    answer = json.loads(out)
    assert set(answer) == {"genuine", "digest", "signed_by", "changed_since", "reason"}
    return status, answer


def _released(run: Run, desk: Path) -> None:
    assert _sign(run, desk, "ada", "author")[0] == 0
    assert run("accept", desk / "set.h5", "--all", "--name", "ines")[0] == 0
    assert _sign(run, desk, "ines", "reviewer")[0] == 0


def test_from_unsigned_to_signed_off_and_changed(run: Run, desk: Path) -> None:
    assert _verify(run, desk)[0] == 1
    status, out, _ = _sign(run, desk, "ada", "author", "--signers", desk / "signers")
    assert status == 0
    assert "Signed by ada (author)" in out
    status, _, err = _sign(run, desk, "ines", "reviewer")
    assert status == 2
    assert "42 tables that await a decision" in err
    status, out, _ = run("sign", desk / "set.h5", "--list")
    assert (status, "0 of 42 done" in out) == (1, True)
    assert run("accept", desk / "set.h5", "--all", "--name", "ines")[0] == 0
    assert run("sign", desk / "set.h5", "--list")[0] == 0
    assert _sign(run, desk, "ines", "reviewer")[0] == 0
    status, answer = _verify(run, desk)
    content = read_set(desk / "set.h5").set
    assert (status, answer["genuine"], answer["changed_since"]) == (0, True, [])
    assert answer["digest"] == digest(content)
    assert [s["name"] for s in answer["signed_by"]] == ["ada", "ines"]
    status, out, _ = run("verify", desk / "set.h5", "--signers", desk / "signers")
    assert (status, "Signed off by ada (author) and ines (reviewer)" in out) == (0, True)
    # The history tells who signed, and an edit is located.
    titles = [e["title"] for e in read_set(desk / "set.h5").history.entries()]
    assert titles[-3:] == ["Sign as author", "Accept 42 tables", "Sign as reviewer"]
    calib_model.save_set(calib_model.edit(content, "controller_tick", 0.03), desk / "set.h5")
    status, answer = _verify(run, desk)
    assert (status, answer["genuine"], answer["changed_since"]) == (1, False, ["controller_tick"])
    status, out, _ = run("sign", desk / "set.h5", "--list", "--signers", desk / "signers")
    assert "0 of 4 done. To do: 2 findings," in out
    assert "1 table that awaits a decision." in out


def test_what_is_refused_leaves_the_file_as_it_was(run: Run, desk: Path) -> None:
    before = (desk / "set.h5").read_bytes()
    (desk / "wrong").write_text("another phrase")
    key = ("--key", desk / "ada")
    who = ("--name", "ada", "--role", "author")
    for arguments, words in (
        ((*key, *who, "--passphrase-file", desk / "wrong"), "passphrase is wrong"),
        ((*key, *who), "--passphrase-file"),
        ((*key, *who, "--passphrase-file", desk / "none"), "Cannot be read"),
        (("--key", desk / "ada.pub", *who), "public half"),
        (("--key", desk / "set.h5", *who), "too large for a key"),
        (("--key", desk / "none", *who), "Cannot be read"),
        ((*key, "--name", "ada"), "--role"),
        (who, "--key"),
        ((*key, "--name", "a,b", "--role", "author", "--passphrase-file", desk / "phrase"), "name"),
        ((*key, *who, "--milestone", "x"), "--programme"),
    ):
        status, out, err = run("sign", desk / "set.h5", *arguments)
        assert (status, out, len(err.splitlines())) == (2, "", 1), arguments
        assert words in err
        assert (desk / "set.h5").read_bytes() == before
    assert PHRASE not in err


def test_one_key_cannot_be_author_and_reviewer(run: Run, desk: Path) -> None:
    assert _sign(run, desk, "ada", "author")[0] == 0
    before = (desk / "set.h5").read_bytes()
    for name in ("ada", " ADA"):
        status, _, err = run("accept", desk / "set.h5", "--all", "--name", name)
        assert (status, "Let another person decide" in err) == (2, True)
    assert (desk / "set.h5").read_bytes() == before
    assert run("accept", desk / "set.h5", "--all", "--name", "ines")[0] == 0
    before = (desk / "set.h5").read_bytes()
    status, _, err = _sign(run, desk, "ada", "reviewer")
    assert (status, "two people" in err) == (2, True)
    assert (desk / "set.h5").read_bytes() == before


def test_practice_set_cannot_be_signed_before_its_findings_are_settled(
    run: Run, desk: Path
) -> None:
    shutil.copy(SAMPLES / "larch_practice.h5", desk / "set.h5")
    status, _, err = _sign(run, desk, "ada", "author")
    assert status == 2
    assert "18 findings" in err
    assert read_set(desk / "set.h5").set.record.sign_offs == ()


def test_verify_of_a_damaged_file_is_1_with_the_damage_as_reason(run: Run, desk: Path) -> None:
    data = (desk / "set.h5").read_bytes()
    (desk / "set.h5").write_bytes(data[: len(data) // 2])
    status, answer = _verify(run, desk)
    assert (status, answer["genuine"], answer["digest"]) == (1, False, None)
    assert "set.h5" in answer["reason"]
    status, out, err = run("verify", desk / "none.h5", "--signers", desk / "signers")
    assert (status, out) == (2, "")
    status, _, err = run("verify", SAMPLES / "larch_normal.h5", "--signers", desk / "none")
    assert (status, "Cannot be read" in err) == (2, True)


def test_the_signed_sample_verifies_with_its_list_only(run: Run, desk: Path) -> None:
    signed = SAMPLES / "larch_normal_signed.h5"
    assert run("verify", signed, "--signers", SAMPLES / "allowed_signers")[0] == 0
    status, out, _ = run("verify", signed, "--signers", desk / "signers")
    assert (status, "not on the list" in out) == (1, True)


# -- waive and accept ------------------------------------------------------------------------


def test_waive_with_a_size_and_its_lapse(run: Run, desk: Path) -> None:
    low = desk / "low.h5"
    shutil.copy(SAMPLES / "larch_low_grip.h5", low)
    against = ("--against", SAMPLES / "larch_normal.h5")
    what = ("waive", low, "slip_target", "--rule", "mode_relation", "--reason", "digging out")
    status, _, err = run(*what, "--author", "ada", "--approver", "Ada", *against)
    assert (status, "their own" in err) == (2, True)
    status, _, err = run(*what, "--author", "ada", "--approver", "ines")
    assert (status, "--against" in err) == (2, True), "no programme lies beside the copy"
    status, out, _ = run(*what, "--author", "ada", "--approver", "ines", *against)
    assert (status, "0.8 km/h" in out) == (0, True)
    status, out, _ = run("check", low, *against, "--json")
    by_table = {f["table"]: f for f in json.loads(out)["findings"]}
    assert by_table["slip_target"]["waived"] is True
    assert by_table["pre_engage_torque"]["waived"] is False
    assert status == 1
    again = run(*what, "--author", "ada", "--approver", "ines", *against)
    assert (again[0], "waived already" in again[2]) == (2, True)
    content = read_set(low).set
    values = content["slip_target"].values.copy()
    values[values == 4.0] = 4.2
    calib_model.save_set(calib_model.edit(content, "slip_target", values), low)
    _, out, _ = run("check", low, *against, "--json")
    finding = next(f for f in json.loads(out)["findings"] if f["table"] == "slip_target")
    assert finding["waived"] is False
    assert "lapsed" in finding["message"]


def test_accept_by_name_pattern_query_and_level(run: Run, desk: Path) -> None:
    path = desk / "set.h5"
    assert run("accept", path, "plate_*", "slip_gain", "--name", "ines")[0] == 0
    latest = read_set(path).set.record.latest_decisions
    assert set(latest) == {"plate_friction", "plate_cooling", "plate_heat_capacity", "slip_gain"}
    assert run("accept", path, "slip_gain", "--name", "ines", "--query", "So steep?")[0] == 0
    assert run("accept", path, "--all", "--name", "ines")[0] == 0
    status, out, _ = run("sign", path, "--list")
    assert (status, "So steep?" in out, "41 of 42" in out) == (1, True, True)
    assert run("accept", path, "*", "--name", "ada", "--level", "desk-checked")[0] == 0
    assert len(read_set(path).set.record.latest_maturities) == 42
    key = ("--key", desk / "ines", "--passphrase-file", desk / "phrase")
    assert run("accept", path, "slip_gain", "--name", "ines", *key)[0] == 0
    assert "SSH SIGNATURE" in read_set(path).set.record.latest_decisions["slip_gain"].signature
    for arguments in (("nothing_*",), (), ("slip_gain", "--all"), ("slip_gain", "--query", "")):
        status, _, err = run("accept", path, *arguments, "--name", "ines")
        assert (status, len(err.splitlines())) == (2, 1)


def test_a_programme_adds_owners_and_milestones(run: Run, desk: Path) -> None:
    (desk / "larch.toml").write_text(
        'signers = "signers"\n[owners]\n"Braking" = ["ines"]\n'
        '[milestones.trip]\nlevel = "desk-checked"\n'
    )
    programme = ("--programme", desk / "larch.toml")
    status, out, _ = run("sign", desk / "set.h5", "--list", *programme)
    assert (status, "not confirmed on this machine" in " ".join(out.split())) == (1, True)
    assert run("programme", desk / "larch.toml")[0] == 1
    status, out, _ = run("programme", desk / "larch.toml", "--confirm")
    assert (status, "may accept Braking: ines" in out) == (0, True)
    assert run("accept", desk / "set.h5", "--all", "--name", "ines")[0] == 0
    status, out, _ = run("sign", desk / "set.h5", "--list", *programme, "--milestone", "trip")
    assert status == 1
    assert "with their key" in " ".join(out.split())  # lines are broken to the width
    assert "milestone trip asks for desk-checked" in " ".join(out.split())
    key = ("--key", desk / "ines", "--passphrase-file", desk / "phrase")
    assert run("accept", desk / "set.h5", "--all", "--name", "ines", *key, *programme)[0] == 0
    assert run("sign", desk / "set.h5", "--list", *programme)[0] == 0
    # What was confirmed is bound to what was shown: other owners are asked for again.
    text = (desk / "larch.toml").read_text()
    (desk / "larch.toml").write_text(text.replace('["ines"]', '["ines", "mallory"]'))
    status, out, _ = run("sign", desk / "set.h5", "--list", *programme)
    assert (status, "others than were confirmed" in " ".join(out.split())) == (1, True)
    assert run("programme", desk / "larch.toml")[0] == 1


def test_driven_is_no_matter_of_saying_so(run: Run, desk: Path) -> None:
    before = (desk / "set.h5").read_bytes()
    status, _, err = run("accept", desk / "set.h5", "*", "--name", "ines", "--level", "driven")
    assert (status, "cannot be called driven" in err) == (2, True)
    assert (desk / "set.h5").read_bytes() == before


def test_an_edit_by_script_is_accepted_by_another_only(run: Run, desk: Path) -> None:
    path = desk / "set.h5"
    content = calib_model.edit(calib_model.open_set(path), "controller_tick", 0.03)
    calib_model.save_set(content, path, author="ines", reason="a slower bus")
    status, _, err = run("accept", path, "controller_tick", "--name", "Ines")
    assert (status, "controller_tick" in err) == (2, True)
    assert run("accept", path, "controller_tick", "--name", "ada")[0] == 0


# -- keys ------------------------------------------------------------------------------------


def test_a_new_key_signs_and_its_line_lets_its_owner(run: Run, desk: Path) -> None:
    phrase = ("--passphrase-file", desk / "phrase")
    status, out, err = run("keys", "new", desk / "olga", "--name", "olga", *phrase)
    assert (status, err) == (0, "")
    (desk / "signers").write_text(out.splitlines()[-1] + "\n")
    assert _sign(run, desk, "olga", "author")[0] == 0
    status, answer = _verify(run, desk)
    assert answer["genuine"] is True
    assert [one["name"] for one in answer["signed_by"]] == ["olga"]


def test_keys_are_never_replaced_and_need_a_real_passphrase(run: Run, desk: Path) -> None:
    before = (desk / "ada").read_bytes()
    phrase = ("--passphrase-file", desk / "phrase")
    assert run("keys", "new", desk / "ada", *phrase)[0] == 2
    assert (desk / "ada").read_bytes() == before
    (desk / "short").write_text("short\n")
    status, _, err = run("keys", "new", desk / "x", "--passphrase-file", desk / "short")
    assert (status, "8 characters" in err) == (2, True)
    assert run("keys", "new", desk / "x")[0] == 2, "no terminal to ask in"
    assert not (desk / "x").exists()


# -- hand over -------------------------------------------------------------------------------


def test_a_signed_off_set_leaves_without_a_mark(run: Run, desk: Path) -> None:
    _released(run, desk)
    content = read_set(desk / "set.h5").set
    for form, name in (("text", "x.txt"), ("csv", "x.csv"), ("h5", "x.h5"), ("report", "x.html")):
        export = ("export", desk / "set.h5", "--to", form, desk / name)
        assert run(*export)[0] == 0
        assert (desk / name.replace(".", "_KEYS-NOT-CHECKED.")).exists()  # by whom, nobody looked
        assert not (desk / name).exists()
        assert run(*export, "--signers", desk / "signers")[0] == 0
        assert (desk / name).exists()
    assert hashlib.sha256((desk / "x.txt").read_bytes()).hexdigest() == digest(content)
    assert read_set(desk / "x.h5").set == content
    assert "status" not in pd.read_csv(desk / "x.csv").columns
    export = ("export", desk / "set.h5", "--to", "signoff", desk / "signoff")
    assert run(*export, "--signers", desk / "signers")[0] == 0
    statement = json.loads((desk / "signoff" / "sign_off_2.json").read_bytes())
    assert statement["content"] == digest(content)
    assert run(*export, "--signers", desk / "signers")[0] == 2


@pytest.mark.parametrize(
    ("form", "suffix"), [("text", ".txt"), ("csv", ".csv"), ("h5", ".h5"), ("report", ".html")]
)
def test_an_unsigned_or_changed_set_says_so_in_the_file_and_its_name(
    run: Run, desk: Path, form: str, suffix: str
) -> None:
    assert run("export", desk / "set.h5", "--to", form, desk / f"x{suffix}")[0] == 0
    assert not (desk / f"x{suffix}").exists()
    assert "unsigned" in _text(desk / f"x_UNSIGNED{suffix}").lower()
    _released(run, desk)
    content = calib_model.edit(read_set(desk / "set.h5").set, "controller_tick", 0.03)
    calib_model.save_set(content, desk / "set.h5")
    assert run("export", desk / "set.h5", "--to", form, desk / f"y{suffix}")[0] == 0
    text = _text(desk / f"y_CHANGED-SINCE-SIGN-OFF{suffix}")
    assert "controller_tick" in text
    assert "changed since" in text.lower()


def _text(path: Path) -> str:
    if path.suffix != ".h5":
        return path.read_text(encoding="utf-8")
    content = read_set(path).set
    return f"{content.name}\n{content.description}"


def test_a_set_that_only_its_author_signed_reaches_the_reviewer_unaltered(
    run: Run, desk: Path
) -> None:
    assert _sign(run, desk, "ada", "author")[0] == 0
    assert run("export", desk / "set.h5", "--to", "h5", desk / "x.h5")[0] == 0
    path = desk / "x_NOT-SIGNED-OFF.h5"
    assert "NOT SIGNED OFF" in read_set(path).set.description
    status, out, _ = run("verify", path, "--signers", desk / "signers", "--json")
    assert (status, json.loads(out)["changed_since"]) == (0, [])


TRIAL = ("--trial", "Van 7/Ä", "--trip", "Snow day", "--expires", "2099-02-28", "--by", "ada")


@pytest.mark.parametrize(
    ("form", "suffix"), [("text", ".txt"), ("csv", ".csv"), ("h5", ".h5"), ("report", ".html")]
)
def test_a_trial_is_marked_with_vehicle_trip_end_digest_and_changes(
    run: Run, desk: Path, form: str, suffix: str
) -> None:
    content = read_set(SAMPLES / "larch_practice.h5").set
    mine = digest(content)
    status, out, _ = run(
        "export", SAMPLES / "larch_practice.h5", "--to", form, desk / f"x{suffix}", *TRIAL
    )
    assert status == 0
    path = desk / f"x_TRIAL_Van-7-A_Snow-day_until-2099-02-28_{mine[:8]}{suffix}"
    assert str(path) in out
    text = _text(path)
    for words in ("TRIAL", "Van 7/Ä", "Snow day", "2099-02-28", mine):
        assert words in text, words
    if form == "h5":
        (trial,) = read_set(path).set.record.trials
        assert digest(read_set(path).set) == mine
        # The scenario's first planted mistake, as a changed cell.
        assert "pre_engage_torque at −10 °C, 40 %: 215 → 21.5 N·m" in trial.changed
    if form == "csv":
        frame = pd.read_csv(path)
        changed = frame[frame["value_before"].notna()]
        slip = changed[changed["table"] == "pre_engage_torque"]
        assert slip[["axis_1_value", "axis_2_value", "value"]].to_numpy().tolist() == [
            [-10.0, 40.0, 21.5]
        ]
        assert slip["value_before"].tolist() == ["215"]
        ambient = changed[changed["table"] == "ambient_factor"]
        assert ambient["value_before"].tolist() == ["new"], "the breakpoint was moved"
        assert not set(changed["table"]) & {"slip_gain", "controller_tick"}
    if form == "text":
        assert "# pre_engage_torque at −10 °C, 40 %: 215 → 21.5 N·m" in text


def test_a_trial_needs_all_that_marks_it(run: Run, desk: Path) -> None:
    for more in (TRIAL[:2], TRIAL[:4], ("--trip", "x"), (*TRIAL[:4], "--expires", "2020-01-01"),
                 (*TRIAL[:4], "--expires", "soon"), ("--trial", " ", *TRIAL[2:])):  # fmt: skip
        status, _, err = run("export", desk / "set.h5", "--to", "csv", desk / "x.csv", *more)
        assert (status, len(err.splitlines())) == (2, 1), more
    assert run("export", desk / "set.h5", "--to", "signoff", desk / "s", *TRIAL)[0] == 2
    assert [p.name for p in desk.glob("x*")] == []


def test_text_comes_back_to_the_same_digest(run: Run, desk: Path) -> None:
    _released(run, desk)
    export = ("export", desk / "set.h5", "--to", "text", desk / "x.txt")
    assert run(*export, "--signers", desk / "signers")[0] == 0
    status, out, _ = run(
        "import", desk / "x.txt", "-o", desk / "y.h5", "--name", "Again", "--revision", "C"
    )
    content = read_set(desk / "y.h5").set
    assert (status, digest(content) in out) == (0, True)
    assert dict(content.tables) == dict(read_set(desk / "set.h5").set.tables)
    assert (content.name, content.revision) == ("Again", "C")
    assert run("check", desk / "y.h5")[0] == 0
    # Nothing is written over, and what is no canonical text is refused with its line.
    assert run("import", desk / "x.txt", "-o", desk / "set.h5")[0] == 2
    altered = (desk / "x.txt").read_bytes().replace(b"0x1.", b"0y1.", 1)
    (desk / "z.txt").write_bytes(altered)
    status, _, err = run("import", desk / "z.txt", "-o", desk / "z.h5")
    assert (status, "line 3" in err or "line 4" in err) == (2, True)
    assert not (desk / "z.h5").exists()


def test_neither_qt_nor_cryptography_is_loaded_to_check_a_set() -> None:
    import subprocess
    import sys

    code = (
        "import sys; from app.__main__ import main; main(sys.argv[1:]);"
        "print([m for m in ('PySide6', 'cryptography') if m in sys.modules], file=sys.stderr)"
    )
    for verb, loaded in ((("check",), "[]"), (("verify", "--signers",
                         str(SAMPLES / "allowed_signers")), "['cryptography']")):  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-c", code, *verb, str(SAMPLES / "larch_normal_signed.h5")],
            capture_output=True, text=True, cwd=SAMPLES.parent, check=True,
        )  # fmt: skip
        assert done.stderr.strip() == loaded


def test_a_name_that_looks_like_another_is_pointed_out(run: Run, desk: Path) -> None:
    # Signed by ines, then decided by and verified with a Cyrillic I: nobody is told so otherwise.
    assert _sign(run, desk, "ada", "author")[0] == 0
    status, out, _ = run("accept", desk / "set.h5", "--all", "--name", "\u0430da")
    assert status == 0
    assert "look alike" in out
    assert "U+0430" in out
    status, out, _ = _sign(run, desk, "ada", "author")
    assert "look alike" in out


def test_verify_takes_a_time_and_a_revocation_list(run: Run, desk: Path) -> None:
    _released(run, desk)
    signers = ("verify", desk / "set.h5", "--signers", desk / "signers")
    status, out, _ = run(*signers)
    assert (status, "signers' own word" in out) == (0, True)
    status, out, _ = run(*signers, "--revoked", desk / "ines.pub")
    assert (status, "was revoked" in out) == (1, True)
    listed = (desk / "signers").read_text()
    limited = listed.replace("namespaces", 'valid-after="20200101Z",namespaces')
    (desk / "signers").write_text(limited)
    assert run(*signers)[0] == 0
    status, out, _ = run(*signers, "--at", "2019-05-01T00:00:00Z")
    assert (status, "is listed from" in out) == (1, True)
    assert run(*signers, "--at", "soon")[0] == 2


# -- what was taken away since -------------------------------------------------------------


def _edited(path: Path, change: Callable[[Any], Any], title: str = "Edit") -> None:
    content = calib_model.open_set(path)
    calib_model.save_set(change(content), path, author="Olu", title=title)


def _withdrawn(run: Run, path: Path, *more: object) -> list[dict[str, Any]]:
    answer = json.loads(run("check", path, "--json", *more)[1])
    return [f for f in answer["findings"] if f["rule"] == "withdrawn"]


def test_rules_removed_after_a_sign_off_are_named_until_a_reviewer_accepts(
    run: Run, desk: Path
) -> None:
    path = desk / "set.h5"
    assert run("accept", path, "--all", "--name", "ines")[0] == 0
    assert _sign(run, desk, "ines", "reviewer", "--signers", desk / "signers")[0] == 0
    assert run("check", path)[0] == 0
    before = desk / "before.h5"
    shutil.copy(path, before)

    def stripped(content: Any) -> Any:
        bare = {id: replace(table, rules=()) for id, table in content.tables.items()
                if id in ("slip_gain", "slip_target")}  # fmt: skip
        return content.replaced({**bare, "hill_torque": None})

    _edited(path, stripped)
    status, out, _ = run("check", path)
    assert status == 1
    assert "The table is gone (since the last sign-off)." in out
    found = _withdrawn(run, path)
    assert {f["table"] for f in found} == {"slip_gain", "slip_target", "hill_torque"}
    assert all(f["severity"] == "warning" and not f["waived"] for f in found)
    # Against a file kept aside it is the same, without any sign-off.
    assert "since the reference" in run("check", path, "--reference", before)[1]
    gate = run("sign", path, "--list", "--signers", desk / "signers")[1]
    assert "rules withdrawn" in gate
    signers = ["--signers", desk / "signers"]
    assert run("accept", path, "--all", "--name", "ines", *signers)[0] == 0
    assert all(f["waived"] for f in _withdrawn(run, path))
    assert run("check", path)[0] == 0


def test_a_history_that_was_cut_does_not_hide_what_was_taken_away(run: Run, desk: Path) -> None:
    """The statement holds a digest of each table: the history is not taken at its word."""
    from calib_model.store import write_set

    path = desk / "set.h5"
    assert run("accept", path, "--all", "--name", "ines")[0] == 0
    assert _sign(run, desk, "ines", "reviewer", "--signers", desk / "signers")[0] == 0
    stored = read_set(path)
    bare = replace(stored.set["slip_gain"], rules=())
    write_set(path, stored.set.replaced({"slip_gain": bare, "hill_torque": None}))
    found = {f["table"]: f["message"] for f in _withdrawn(run, path)}
    assert set(found) == {"slip_gain", "hill_torque"}
    assert "the history does not tell which rules it had" in found["slip_gain"]
    assert "The table is gone" in found["hill_torque"]
