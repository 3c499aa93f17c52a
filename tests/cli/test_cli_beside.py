"""A programme file beside a set: its other sets are checked with, and hard to leave out unseen."""

from __future__ import annotations

import os
import shutil
import textwrap
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import calib_model
from calib_model.core.calibration_set import CalibrationSet
from tests.cli.answers import strict_json
from tests.samples.sound import write_kept_promises

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
SETS = ("normal", "low_grip", "towing")
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def sound_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the programme whose low-grip set breaches nothing, so that all three are sound."""
    made = tmp_path_factory.mktemp("programme")
    for name in SETS:
        shutil.copy(SAMPLES / f"larch_{name}.h5", made)
    (made / "larch.toml").write_text(PROGRAMME, encoding="utf-8")
    write_kept_promises(low_grip(made))
    return made


@pytest.fixture
def folder(sound_folder: Path, tmp_path: Path) -> Path:
    """Its own copy for a test."""
    return Path(shutil.copytree(sound_folder, tmp_path / "programme"))


PROGRAMME = textwrap.dedent(
    """
    programme = "Larch"
    base = "normal"
    [sets]
    normal = "larch_normal.h5"
    low_grip = "larch_low_grip.h5"
    towing = "larch_towing.h5"
    """
)


def normal(folder: Path) -> Path:
    return folder / "larch_normal.h5"


def low_grip(folder: Path) -> Path:
    return folder / "larch_low_grip.h5"


def raised(path: Path, share: float) -> None:
    """Raise the pre-engagement of a set by a share, on its storage raster."""
    content = calib_model.open_set(path)
    table = content["pre_engage_torque"]
    step = table.storage.resolution or 0.5
    values = np.minimum(np.round(table.values * (1 + share) / step) * step, 400.0)
    calib_model.save_set(calib_model.edit(content, table.id, values), path)


def check(run: Run, path: Path, *more: object) -> tuple[int, Any]:
    status, out, err = run("check", path, "--json", *more)
    assert err == ""
    return status, strict_json(out)


def relations(answer: Any) -> list[tuple[str, str]]:
    return [(f["table"], f["message"]) for f in answer["findings"] if f["rule"] == "mode_relation"]


def test_all_three_sets_are_sound_with_each_other(run: Run, folder: Path) -> None:
    for name in SETS:
        status, answer = check(run, folder / f"larch_{name}.h5")
        assert (status, answer["findings"], answer["not_checked"]) == (0, [], []), name
    status, out, _ = run("check", normal(folder))
    told = " ".join(out.split())
    assert "larch.toml names this set; checked with larch_low_grip.h5 (low_grip) and" in told
    assert "--alone" in told


def test_an_edit_of_the_base_set_is_held_against_every_other_mode(run: Run, folder: Path) -> None:
    raised(normal(folder), 0.06)
    status, answer = check(run, normal(folder))
    assert status == 1
    assert {mode for _, text in relations(answer) for mode in SETS if f"mode {mode}" in text} == {
        "low_grip",
        "towing",
    }
    assert answer["beside"] == [
        {
            "programme": "larch.toml",
            "mode": "normal",
            "listed": True,
            "sets": [
                {"mode": "low_grip", "file": "larch_low_grip.h5"},
                {"mode": "towing", "file": "larch_towing.h5"},
            ],
        }
    ]
    # The mode's own set says so as well, held against the base set alone.
    status, answer = check(run, folder / "larch_towing.h5")
    assert (status, bool(relations(answer))) == (1, True)
    assert [s["mode"] for s in answer["beside"][0]["sets"]] == ["normal"]
    status, out, _ = run("sign", normal(folder), "--list")
    assert (status, "in mode towing" in " ".join(out.split())) == (1, True)


def test_a_comparison_holds_both_sets_against_the_rest_of_their_programme(
    run: Run, folder: Path
) -> None:
    before = folder / "before.h5"
    shutil.copy(normal(folder), before)
    raised(normal(folder), 0.06)
    status, out, _ = run("compare", before, normal(folder), "--threshold", "100%")
    told = " ".join(out.split())
    assert status == 1, "a relation knows no threshold"
    assert "B against the towing set, where A and B differ: 1 table in breach." in told
    assert "A against the towing set, where A and B differ: no table is in breach." in told
    status, out, _ = run("compare", before, normal(folder), "--threshold", "100%", "--json")
    broken = {(p["of"], p["mode"]) for p in strict_json(out)["promises"] if p["breaches"]}
    assert (status, broken) == (1, {("B", "low_grip"), ("B", "towing")})
    assert run("compare", before, normal(folder), "--threshold", "100%", "--alone")[0] == 0
    report = folder / "report.html"
    assert run("compare", before, normal(folder), "--to", "html", report)[0] == 1
    assert "B against the towing set" in report.read_text(encoding="utf-8")


# -- ways round it ---------------------------------------------------------------------------------


def unsound(run: Run, path: Path, *more: object) -> Any:
    status, answer = check(run, path, *more)
    assert status == 1
    assert relations(answer) or answer["not_checked"]
    return answer


def test_told_to_look_at_the_set_alone_it_says_what_was_not_checked(run: Run, folder: Path) -> None:
    status, out, _ = run("check", low_grip(folder), "--alone")
    assert (status, "30 relations not checked" in out) == (1, True)
    assert unsound(run, normal(folder), "--alone")["beside"] == []


@pytest.mark.parametrize("name", SETS)
def test_a_set_copied_out_of_the_folder_is_not_sound(run: Run, folder: Path, name: str) -> None:
    away = folder / "away"
    away.mkdir()
    shutil.copy(folder / f"larch_{name}.h5", away)
    answer = unsound(run, away / f"larch_{name}.h5")
    assert {n["rule"] for n in answer["not_checked"]} == {"mode_relation"}
    status, out, _ = run("sign", away / f"larch_{name}.h5", "--list")
    assert (status, "not checked" in out) == (1, True)


def test_a_programme_file_that_is_renamed_still_counts_or_is_missed(run: Run, folder: Path) -> None:
    raised(normal(folder), 0.06)
    (folder / "larch.toml").rename(folder / "Other.TOML")
    assert relations(unsound(run, normal(folder)))
    (folder / "Other.TOML").rename(folder / "larch.txt")
    assert not relations(unsound(run, normal(folder)))


def test_a_renamed_copy_goes_with_the_programme_of_its_name_and_mode(
    run: Run, folder: Path
) -> None:
    raised(normal(folder), 0.06)
    normal(folder).rename(folder / "trial.h5")
    answer = unsound(run, folder / "trial.h5")
    assert relations(answer)
    assert answer["beside"][0]["listed"] is False
    told = " ".join(run("check", folder / "trial.h5")[1].split())
    assert "larch.toml names larch_normal.h5, not this file, for mode normal of Larch" in told


def test_a_link_to_the_set_or_to_the_programme_is_followed(run: Run, folder: Path) -> None:
    raised(normal(folder), 0.06)
    away = folder / "away"
    away.mkdir()
    try:
        (away / "set.h5").symlink_to(normal(folder))
    except OSError:
        pytest.skip("This system makes no symbolic links for this user.")
    assert relations(unsound(run, away / "set.h5"))
    (folder / "larch.toml").rename(away / "kept.toml")
    (folder / "larch.toml").symlink_to(away / "kept.toml")
    assert relations(unsound(run, normal(folder)))


def test_the_set_may_be_named_along_another_path(run: Run, folder: Path) -> None:
    raised(normal(folder), 0.06)
    (folder / "larch.toml").write_text(
        PROGRAMME.replace('"larch_normal', f'"../{folder.name}/larch_normal'), encoding="utf-8"
    )
    assert relations(unsound(run, normal(folder)))
    assert relations(unsound(run, folder / ".." / folder.name / "larch_normal.h5"))


def test_of_two_programme_files_both_count(run: Run, folder: Path) -> None:
    raised(normal(folder), 0.06)
    (folder / "a.toml").write_text(
        'programme = "Larch"\nbase = "normal"\n[sets]\nnormal = "larch_normal.h5"\n'
    )
    assert relations(unsound(run, normal(folder)))
    status, _, err = run("sign", normal(folder), "--list")
    assert (status, "--programme" in err) == (2, True)


def test_a_programme_file_that_cannot_be_read_is_said(run: Run, folder: Path) -> None:
    path = folder / "larch.toml"
    for text in (PROGRAMME + "]", PROGRAMME + "x = 1\n", 'sets = "x"\n'):
        path.write_text(text, encoding="utf-8")
        answer = unsound(run, normal(folder))
        assert any("larch.toml" in n["reason"] for n in answer["not_checked"]), text
    path.write_text('name = "a vehicle"\n', encoding="utf-8")  # any other TOML file is let be
    assert not any("larch.toml" in n["reason"] for n in unsound(run, normal(folder))["not_checked"])


def test_a_sibling_that_is_damaged_missing_or_another_set_is_said(run: Run, folder: Path) -> None:
    towing = folder / "larch_towing.h5"
    data = towing.read_bytes()
    other = low_grip(folder).read_bytes()
    for content in (data[: len(data) // 2], other, b"", None):
        if content is None:
            towing.unlink()
        else:
            towing.write_bytes(content)
        status, answer = check(run, normal(folder))
        reasons = [n["reason"] for n in answer["not_checked"] if "larch_towing.h5" in n["reason"]]
        assert (status, len(reasons)) == (1, 1), content and len(content)
        assert any("No towing set" in n["reason"] for n in answer["not_checked"])
        assert [s["mode"] for s in answer["beside"][0]["sets"]] == ["low_grip"]
    status, out, _ = run("sign", normal(folder), "--list")
    assert (status, "larch_towing.h5" in "".join(out.split())) == (1, True)  # paths are wrapped


def test_a_programme_file_that_contradicts_the_set_is_said(run: Run, folder: Path) -> None:
    path = folder / "larch.toml"
    itself = PROGRAMME.replace("larch_towing.h5", "larch_normal.h5")
    swapped = PROGRAMME.replace("normal = ", "Normal = ").replace('"normal"', '"Normal"')
    fewer = PROGRAMME.replace('towing = "larch_towing.h5"\n', "")
    for text in (itself, swapped, fewer):
        path.write_text(text, encoding="utf-8")
        assert unsound(run, normal(folder))["not_checked"], text


def test_a_pipe_named_as_programme_is_not_waited_for(run: Run, folder: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("This system has no named pipes.")
    os.mkfifo(folder / "a.toml")
    assert check(run, normal(folder))[0] == 0


def test_a_set_stripped_of_its_mode_still_lacks_the_others(run: Run, folder: Path) -> None:
    content: CalibrationSet = calib_model.open_set(folder / "larch_towing.h5")
    away = folder / "away"
    away.mkdir()
    path = away / "set.h5"
    calib_model.save_set(content.described(mode="other", base_mode="other"), path)
    assert unsound(run, path)["not_checked"]


def test_reading_the_siblings_costs_little(run: Run, folder: Path) -> None:
    def seconds(*more: object) -> float:
        begun = time.perf_counter()
        run("check", normal(folder), *more)
        return time.perf_counter() - begun

    seconds()
    alone = min(seconds("--alone") for _ in range(3))
    assert min(seconds() for _ in range(3)) < 5 * alone + 0.2


# -- verbs that change values --------------------------------------------------------------------


def shaped(run: Run, verb: str, path: Path, *more: object) -> tuple[int, Any]:
    status, out, err = run(verb, path, "pre_engage_torque", "--json", *more)
    assert err == ""
    return status, strict_json(out)


def test_a_mend_keeps_the_relations_of_the_programme_beside_the_set(
    run: Run, folder: Path, tmp_path: Path
) -> None:
    """Told nothing, `repair` found nothing to do, and `smooth` broke what `check` then named."""
    raised(normal(folder), 0.06)
    assert relations(check(run, low_grip(folder))[1])
    status, answer = shaped(run, "repair", low_grip(folder), "-o", low_grip(folder))
    assert (status, answer["broken"]) == (0, [])
    assert [s["mode"] for s in answer["beside"][0]["sets"]] == ["normal"]
    assert not relations(check(run, low_grip(folder))[1])
    # The base set is held against the modes that refer to it.
    status, answer = shaped(
        run, "smooth", normal(folder), "--strength", "straight", "-o", normal(folder)
    )
    assert status == 0
    assert {s["mode"] for s in answer["beside"][0]["sets"]} == {"low_grip", "towing"}
    assert "low_grip" not in str(relations(check(run, normal(folder))[1]))


def test_told_to_look_at_the_set_alone_a_mend_does(run: Run, folder: Path) -> None:
    raised(normal(folder), 0.06)
    status, answer = shaped(run, "repair", low_grip(folder), "--alone", "-o", low_grip(folder))
    assert (status, answer["beside"]) == (0, [])
    assert relations(check(run, low_grip(folder))[1])


@pytest.mark.parametrize("verb", ["smooth", "repair", "quantise", "fit"])
def test_every_verb_that_solves_under_rules_says_what_it_looked_at(
    run: Run, folder: Path, verb: str
) -> None:
    more: tuple[object, ...] = ()
    if verb == "fit":
        table = calib_model.open_set(low_grip(folder))["pre_engage_torque"]
        first, second = (axis.values for axis in table.axes)
        rows = [
            f"{x},{y},{table.values[i, j]}"
            for i, x in enumerate(first.tolist())
            for j, y in enumerate(second.tolist())
        ]
        data = folder / "samples.csv"
        data.write_text("a,b,torque\n" + "\n".join(rows), encoding="utf-8")
        more = ("--data", data, "--column", "1=a", "--column", "2=b", "--column", "value=torque")
    status, answer = shaped(run, verb, low_grip(folder), *more)
    assert answer["beside"][0]["programme"] == "larch.toml"
    status, out, _ = run(verb, low_grip(folder), "pre_engage_torque", *more)
    assert "larch.toml names this set; checked with larch_normal.h5" in " ".join(out.split())
    normal(folder).write_bytes(b"damaged")
    status, answer = shaped(run, verb, low_grip(folder), *more)
    assert status == 1  # what was not looked at is not sound
    assert any("cannot be checked with" in note["text"] for note in answer["notes"])
    status, answer = shaped(run, verb, low_grip(folder), *more, "--alone")
    assert status == 0
