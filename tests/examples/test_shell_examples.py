"""Every command that README and DEVELOPERS show is run, on copies of the sample sets."""

from __future__ import annotations

import getpass
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from app.__main__ import main
from app.cli import preparing
from app.cli.verbs import VERBS
from tests.examples.shell_examples import NEEDED, blocks, inline, variants
from tests.reading_here import read_here

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")

NOT_RUN = {
    "python3 app/run.py": "opens the window; tests/shell/test_shell_start.py does",
    "python3 app/run.py mine.h5 other.h5": "opens the window; tests/shell/test_shell_start.py does",
    "python3 app/run.py [FILES]": "opens the window; tests/shell/test_shell_start.py does",
    "python3 app/run.py check mine.h5": "may set up; tests/setup runs the set-up on its own",
    ".venv/bin/bitepoint check mine.h5": "the same program as `bitepoint check`, which is run",
    "python3 app/run.py --with recordings,cluster": "installs; see tests/setup/test_bootstrap.py",
    "python3 tests/run.py": "is what runs this test",
    "python3 tests/run.py --limited": "runs the suite; tests/setup/test_test_run.py has the option",
    "python3 tests/run.py --newest": "installs; see tests/setup/test_bootstrap.py",
    ".venv/bin/python .ci/renew_constraints.py": "asks a package registry",
    ".venv/bin/python .ci/wheels.py": "asks a package registry",
    "python3 tests/run.py --slow": "runs long; tests/setup/test_test_run.py has the option",
    "python3 tests/run.py --benchmarks": "runs long, and times this machine",
    ".venv/bin/python -m pytest tests/rules -q": "is what runs this test",
    '.venv/bin/python -m tests.hostile.fuzz "rule sheet" 1000': "tests/hostile runs some of each",
    "bash .ci/run": "runs this test",
    ".venv/bin/python sample_sets/make_sets.py": "tests/samples makes the sets and compares",
}
"""Commands that this test does not run, and why."""

STATUS = {
    "compare": (1,),
    "check": (0, 1),
    "coverage": (0, 1),
    "programme": (0, 1),
    "replay": (0, 1),
}
"""The exit status where it is not 0: two sets that differ, findings, what stands in the way."""

COMMANDS = [commands for text in (README, DEVELOPERS) for commands in blocks(text)]
SINGLE = [c for c in (*inline(README), *inline(DEVELOPERS)) if c not in NOT_RUN]
SYNOPSIS = next(commands for commands in COMMANDS if len(commands) > 12)
JOURNEYS = [b for b in COMMANDS if b is not SYNOPSIS and any(c not in NOT_RUN for c in b)]

Run = Callable[[str], tuple[int, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Run:
    """Run a command in a folder with copies of the sample sets; returns status and output."""
    shutil.copytree(ROOT / "sample_sets", tmp_path / "sample_sets", ignore=lambda _f, names: [
        n for n in names if n.endswith(".py") or n == "__pycache__"
    ])  # fmt: skip
    round_ = (ROOT / "sample_sets" / "larch_snow_round.csv").read_text("utf-8").splitlines()
    (tmp_path / "short.csv").write_text("\n".join(round_[:3000]) + "\n", "utf-8")
    means = ["clamp;motor_temperature;current_for_clamp_apply;repeats", "kN;degC;A;-"]
    means += [
        f"{clamp};{warm};{1.05 * clamp + 1.5 - warm / 100:.3f};{2 + clamp % 3}"
        for clamp in range(13)
        for warm in (-40, -10, 25, 60, 100)
    ]
    (tmp_path / "means.csv").write_text("\n".join(means) + "\n", "utf-8")
    monkeypatch.chdir(tmp_path)
    read_here(monkeypatch)
    monkeypatch.setattr(preparing, "say_if_it_takes_long", lambda *_needed: None)
    # What a user types at the terminal.
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(getpass, "getpass", lambda _prompt="": "a long passphrase")

    def call(command: str) -> tuple[int, str]:
        capfd.readouterr()
        words = shlex.split(command)
        if words[0] == "cd":
            monkeypatch.chdir(words[1])
            return 0, ""
        if words[0] != "bitepoint":
            assert sys.platform != "win32", "needs a shell"
            done = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)
            return done.returncode, done.stdout + done.stderr
        target = None
        if ">" in words:
            words, target = words[: words.index(">")], words[words.index(">") + 1]
        status = main(words[1:])
        out, err = capfd.readouterr()
        if target:
            Path(target).write_text(out, "utf-8")
        return status, out + err

    return call


def assert_done(run: Run, command: str) -> str:
    for old in Path().glob("out*"):  # of the variant before: most verbs replace no file
        shutil.rmtree(old) if old.is_dir() else old.unlink()
    status, said = run(command)
    assert status in STATUS.get(command.split()[1], (0,)), (command, said)
    return said


def test_every_command_is_run_or_listed() -> None:
    """None is skipped without a word; the list holds nothing that the documents do not show."""
    shown = [c for commands in COMMANDS for c in commands]
    shown += [*inline(README), *inline(DEVELOPERS)]
    assert all(c.startswith(("bitepoint ", "cd ", "ssh-keygen ", "sha256sum "))
               for c in shown if c not in NOT_RUN)  # fmt: skip
    assert set(NOT_RUN) <= set(shown)
    for text in (README, DEVELOPERS):
        said = " ".join([*(c for block in blocks(text) for c in block), *inline(text)])
        assert said.count("bitepoint ") == text.count("bitepoint ")


def test_the_synopsis_has_every_verb() -> None:
    shown = {verb for command in SYNOPSIS for verb in command.split()[1].split("|")}
    assert shown == set(VERBS)


@pytest.mark.parametrize("command", [*SYNOPSIS, *SINGLE])
def test_commands_by_themselves(run: Run, command: str) -> None:
    for one in variants(command):
        for name in set(one.split()) & set(NEEDED):
            if not Path(name).exists():
                assert run(NEEDED[name])[0] == 0
        assert_done(run, one)


@pytest.mark.parametrize("commands", JOURNEYS, ids=lambda commands: commands[0])
def test_commands_that_belong_together(run: Run, commands: list[str]) -> None:
    for command in commands:
        for one in variants(command):
            said = assert_done(run, one)
            if one.startswith("ssh-keygen"):
                assert said.startswith('Good "bitepoint-signoff" signature')
            if one.startswith("sha256sum"):
                statement = Path("sign_off_2.json").read_text("utf-8")
                for line in said.splitlines():
                    assert f'"{line.split()[0]}"' in statement
