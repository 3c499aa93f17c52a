"""The program around the verbs: errors, help, streams, and what it loads."""

from __future__ import annotations

import os
import subprocess
import sys
import types
from pathlib import Path

import pytest

from app.__main__ import main

ROOT = Path(__file__).resolve().parents[2]
NORMAL = str(ROOT / "sample_sets" / "larch_normal.h5")
LOW_GRIP = str(ROOT / "sample_sets" / "larch_low_grip.h5")
PRACTICE = str(ROOT / "sample_sets" / "larch_practice.h5")


def _run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "app", *arguments],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        check=False,
        timeout=60,
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ["check"],
        ["check", "{missing}"],
        ["check", "{folder}"],
        ["check", "{foreign}"],
        ["check", NORMAL, "--against", "{missing}"],
        ["check", NORMAL, "--nonsense"],
        ["check", NORMAL, "more"],
        ["check", "nul\0byte.h5"],
        ["compare", NORMAL],
        ["compare", NORMAL, "{foreign}"],
        ["compare", NORMAL, NORMAL, NORMAL],
        ["export", NORMAL, "{missing}"],
        ["export", NORMAL, "--to", "parchment", "{missing}"],
        ["export", NORMAL, "--to", "csv", "{folder}"],
        ["export", NORMAL, "--to", "csv", "{missing}/out.csv"],
        ["show"],
        ["show", NORMAL, "no_such_table"],
        ["show", NORMAL, "a\nb"],
        ["chekc", NORMAL],
        ["--nonsense"],
    ],
    ids=" ".join,
)
def test_what_cannot_be_done_gives_2_and_one_line(
    arguments: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    foreign = tmp_path / "foreign.h5"
    foreign.write_text("not a set\n")
    names = {"missing": tmp_path / "none", "folder": tmp_path, "foreign": foreign}
    status = main([a.format(**names) for a in arguments])
    out, err = capsys.readouterr()
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert err.startswith("bitepoint: ")
    assert "Traceback" not in err
    assert "unforeseen" not in err
    assert err.rstrip().endswith((".", "`", "?", "]")), "a reason and a remedy, as sentences"


def test_an_unforeseen_error_is_one_line_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from app.cli import check

    def fail(_arguments: object) -> None:
        raise RuntimeError("first\nsecond")

    monkeypatch.setattr(check, "run", fail)
    assert main(["check", NORMAL]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "RuntimeError: first second" in err


@pytest.mark.parametrize("verb", ["", "check", "compare", "export", "show"])
def test_help_is_printed_and_gives_0(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*verb.split(), "--help"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith(f"usage: bitepoint {verb}".strip())
    assert err == ""


def test_version_is_the_projects(capsys: pytest.CaptureFixture[str]) -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"bitepoint {project['project']['version']}\n"


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["check", PRACTICE], 1),
        (["compare", NORMAL, LOW_GRIP, "--json"], 1),
        (["show", NORMAL], 0),
        (["show", NORMAL, "slip_target"], 0),
        (["export", NORMAL, "--to", "csv", "{out}"], 0),
        (["--help"], 0),
        (["--version"], 0),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else str(value),
)
def test_no_verb_loads_qt_or_what_it_does_not_need(
    arguments: list[str], status: int, tmp_path: Path
) -> None:
    code = (
        "import sys\n"
        "from app.__main__ import main\n"
        "status = main(sys.argv[1:])\n"
        "heavy = {'PySide6', 'shiboken6', 'pyqtgraph', 'OpenGL', 'numba', 'scipy', 'pint'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
        "sys.exit(status)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *(a.format(out=tmp_path / "out.csv") for a in arguments)],
        cwd=ROOT,
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == status
    assert done.stderr.decode().strip() == "[]"


@pytest.mark.skipif(os.name == "nt", reason="pipes end differently there")
@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["compare", NORMAL, LOW_GRIP], 1),
        (["check", NORMAL, "--json"], 1),
        (["--help"], 0),
    ],
    ids=["compare", "check", "help"],
)
def test_a_reader_that_has_read_enough_is_no_error(arguments: list[str], status: int) -> None:
    read, write = os.pipe()
    os.close(read)
    with subprocess.Popen(
        [sys.executable, "-m", "app", *arguments],
        cwd=ROOT,
        stdout=write,
        stderr=subprocess.PIPE,
    ) as process:
        os.close(write)
        _, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (status, b"")


def test_a_full_disk_is_told() -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("no /dev/full on this system")
    with full.open("wb") as out:
        done = subprocess.run(
            [sys.executable, "-m", "app", "check", NORMAL],
            cwd=ROOT,
            stdout=out,
            stderr=subprocess.PIPE,
            check=False,
            timeout=60,
        )
    assert done.returncode == 2
    assert done.stderr.count(b"\n") == 1


def test_signs_survive_a_stream_that_cannot_carry_them() -> None:
    done = _run("check", PRACTICE, PYTHONIOENCODING="ascii")
    text = done.stdout.decode("ascii")
    assert "-10 deg C" in text
    assert "?" not in text


# -- the window ---------------------------------------------------------------------------


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[list[Path]]:
    """Stand in for the window: which files it was asked to open."""
    asked: list[list[Path]] = []
    stand_in = types.ModuleType("app.shell.start")

    def run_window(paths: list[Path]) -> int:
        asked.append(paths)
        return 0

    stand_in.run_window = run_window  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "app.shell.start", stand_in)
    monkeypatch.setitem(sys.modules, "app.shell", types.ModuleType("app.shell"))
    return asked


def test_files_open_the_window(opened: list[list[Path]]) -> None:
    assert main([]) == 0
    assert main([NORMAL, "elsewhere/new.h5"]) == 0
    assert opened == [[], [Path(NORMAL), Path("elsewhere/new.h5")]]


def test_a_mistyped_verb_does_not_open_the_window(
    opened: list[list[Path]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compair", NORMAL, NORMAL]) == 2
    assert "`bitepoint compare`" in capsys.readouterr().err
    assert opened == []


def test_no_display_is_told_in_one_line() -> None:
    if not sys.platform.startswith("linux"):
        pytest.skip("displays are found in another way there")
    kept = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    kept.pop("QT_QPA_PLATFORM", None)
    done = subprocess.run(
        [sys.executable, "-m", "app"], cwd=ROOT, env=kept, capture_output=True, check=False
    )
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"display" in done.stderr
    assert done.stderr.count(b"\n") == 1


def test_missing_system_libraries_are_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "app.shell.start", None)  # importing it fails
    assert main([]) == 2
    assert "app/run.py" in capsys.readouterr().err


def test_the_remedy_for_a_foreign_file_is_true(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Canonical text and a table of numbers become sets as the error says."""
    numbers, made = tmp_path / "set.csv", tmp_path / "made.h5"
    assert main(["export", NORMAL, "--to", "text", str(tmp_path / "set.txt")]) == 0
    (text,) = tmp_path.glob("set*.txt")
    numbers.write_text("pedal;torque\n0;0\n10;25\n")
    for path in (text, numbers):
        assert main(["check", str(path)]) == 2
        assert "become one with `bitepoint import`" in capsys.readouterr().err
    assert main(["import", str(numbers), "-o", str(tmp_path / "numbers.h5")]) == 0
    assert main(["import", str(text), "-o", str(made)]) == 0
    assert main(["compare", NORMAL, str(made)]) == 0
