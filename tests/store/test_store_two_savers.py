"""Two programs save one set at one time: never are both told that they did."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from calib_model.errors import FileChanged, SaveFailed
from calib_model.store import atomic, lock_file, write_set
from calib_model.store.lock_file import alone_with
from tests.store.crashing import ROOT, START, read_at_once


@contextmanager
def savers(*arguments: str) -> Iterator[list[subprocess.Popen[str]]]:
    """Two processes of `tests.store.two_savers`."""
    program = str(Path(__file__).with_name("two_savers.py"))
    both = [
        subprocess.Popen(
            [sys.executable, program, *arguments], cwd=ROOT, text=True, bufsize=1,
            env={**os.environ, "PYTHONPATH": str(ROOT)}, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        for _ in range(2)
    ]  # fmt: skip
    try:
        yield both
    finally:
        for one in both:
            one.kill()
            one.communicate()


def rounds(
    path: Path, count: int, pauses: tuple[float, ...], *arguments: str
) -> Counter[tuple[str, ...]]:
    """Let two processes save one set, again and again, so far apart; count what they were told."""
    told: Counter[tuple[str, ...]] = Counter()
    with savers(*arguments) as both:
        for number in range(count):
            write_set(path, START, backup=False)
            values = (2 * number % 200 + 1, 2 * number % 200 + 2)
            for one, value, pause in zip(
                both, values, (0.0, pauses[number % len(pauses)]), strict=True
            ):
                assert one.stdin is not None
                assert one.stdout is not None
                one.stdin.write(f"{path}\t{value}\t{pause}\n")
                assert one.stdout.readline() == "ready\n"
            for one in both:
                one.stdin.write("now\n")  # type: ignore[union-attr]
            answers = [one.stdout.readline().strip() for one in both]  # type: ignore[union-attr]
            saved = [v for v, said in zip(values, answers, strict=True) if said == "saved"]
            assert [float(read_at_once(path).set["tick"].values)] == saved, (number, answers)
            told[tuple(sorted(answers))] += 1
    left = {p.name for p in path.parent.iterdir() if p.name.startswith(f".{path.name}")}
    assert not left
    return told


@pytest.mark.parametrize("arguments", [(), ("masked",)], ids=["locks", "no locks"])
def test_one_of_two_is_told_that_the_file_changed(
    tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    assert rounds(tmp_path / "larch.h5", 12, (0.0,), *arguments) == {("changed", "saved"): 12}


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("arguments", [(), ("masked",)], ids=["locks", "no locks"])
def test_so_it_is_in_hundreds_of_rounds(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    told = rounds(tmp_path / "larch.h5", 300, (0.0, 0.01, 0.03), *arguments)
    assert told == {("changed", "saved"): 300}


@pytest.fixture(params=["locks", "no locks"])
def locks(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    if request.param == "no locks":
        monkeypatch.setitem(sys.modules, "fcntl", None)
        monkeypatch.setitem(sys.modules, "msvcrt", None)
    return request.param


def test_a_save_between_the_look_and_the_replacing_waits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, locks: str
) -> None:
    path = tmp_path / "larch.h5"
    stamp = write_set(path, START).file_stamp
    mine, theirs = START.described(revision="mine"), START.described(revision="theirs")
    told: list[str] = []

    def other() -> None:
        try:
            write_set(path, theirs, expected_stamp=stamp)
            told.append("saved")
        except FileChanged:
            told.append("changed")

    thread = threading.Thread(target=other)
    back_up = atomic._back_up

    def meanwhile(place: Path) -> None:
        if not thread.ident:
            thread.start()
            thread.join(0.5)
        back_up(place)

    monkeypatch.setattr(atomic, "_back_up", meanwhile)
    write_set(path, mine, expected_stamp=stamp)
    thread.join()
    assert told == ["changed"]
    assert read_at_once(path).set.revision == "mine"


def test_who_waits_too_long_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, locks: str
) -> None:
    path = tmp_path / "larch.h5"
    write_set(path, START)
    monkeypatch.setattr(lock_file, "WAIT_SECONDS", 0.05)
    with alone_with(path), pytest.raises(SaveFailed, match="Another program is saving it"):
        write_set(path, START)
    write_set(path, START)
    assert {p.name for p in tmp_path.iterdir() if p.is_file()} == {"larch.h5", "larch.h5.bak"}


def test_what_a_killed_save_left_holds_nobody_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, locks: str
) -> None:
    path = tmp_path / "larch.h5"
    left = [tmp_path / f".larch.h5{end}" for end in (".lock", ".held")]
    for place in left:
        place.touch()
        long_ago = time.time() - lock_file.STALE_SECONDS - 1
        os.utime(place, (long_ago, long_ago))
    monkeypatch.setattr(lock_file, "WAIT_SECONDS", 1.0)
    write_set(path, START)
    assert path.exists()
    assert not left[0].exists()
    assert locks == "locks" or not left[1].exists()
