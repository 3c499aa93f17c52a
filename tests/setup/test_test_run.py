"""How `tests/run.py` counts, and which skips it lets pass."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

RUN = Path(__file__).resolve().parents[1] / "run.py"


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """`tests/run.py` as a module; it changes the module path, which is undone afterwards."""
    monkeypatch.setattr(sys, "path", list(sys.path))
    spec = importlib.util.spec_from_file_location("bitepoint_tests_run", RUN)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


# The outcomes as pytest's own JUnit report writes them (schema: junit-xml "xunit2").
REPORT = """<testsuites><testsuite name="pytest">
<testcase classname="tests.a" name="test_good" />
<testcase classname="tests.a" name="test_bad"><failure message="no">trace</failure></testcase>
<testcase classname="tests.a" name="test_broken"><error message="no">trace</error></testcase>
<testcase classname="tests.a" name="test_away"><skipped type="pytest.skip" message="why" />
</testcase>
</testsuite></testsuites>"""


def test_outcomes_are_counted(run: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "report.xml").write_text(REPORT)
    counts, skips = run._read_report(tmp_path / "report.xml")
    assert counts == {"passed": 1, "failed": 2}
    assert skips == [("tests.a.test_away", "why")]


def test_the_slowest_of_both_parts_are_named(
    run: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.setattr(run.bootstrap, "ensure_environment", lambda *a, **k: Path("python"))
    monkeypatch.setattr(run, "_fetch_published", lambda python: None)
    monkeypatch.setattr(run, "_compile", lambda *given: None)
    # Seconds 0 to 7 offscreen, 8 to 15 in real windows.
    seconds = iter(range(16))

    def call(command: list[str], env: dict[str, str], **_: object) -> int:
        assert env["OPENBLAS_NUM_THREADS"] == "1"
        assert "PYTHONDONTWRITEBYTECODE" not in env
        (report,) = (word[11:] for word in command if word.startswith("--junitxml="))
        cases = [f'<testcase classname="t" name="test_{n}" time="{n}.5" />'
                 for _, n in zip(range(8), seconds, strict=False)]  # fmt: skip
        Path(report).write_text(f"<testsuites>{''.join(cases)}</testsuites>")
        return 0

    monkeypatch.setattr(run.subprocess, "call", call)
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")
    assert run.main([]) == 0
    *_, last = lines = capsys.readouterr().out.splitlines()
    assert last == "16 passed, 0 failed, 0 skipped"
    named = [line.split() for line in lines[-11:-1]]
    assert named == [[f"{n}.50", f"t.test_{n}"] for n in range(15, 5, -1)]


@pytest.mark.parametrize("there", [True, False])
def test_what_set_up_compiled_is_not_compiled_again(
    run: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, there: bool
) -> None:
    kept = tmp_path / "user" / "compiled" / "source-processor"
    if there:
        kept.mkdir(parents=True)
        (kept / "law.nbc").write_bytes(b"code")
    answer = SimpleNamespace(stdout=f"{kept}\n")
    monkeypatch.setattr(run.subprocess, "run", lambda *_given, **_more: answer)
    seen: list[list[Path]] = []

    def call(command: list[str], env: dict[str, str], **_: object) -> int:
        assert command[1:] == ["-m", "app.warm_cache"]  # which makes what is not there
        seen.append(list(Path(env["NUMBA_CACHE_DIR"]).rglob("*.nbc")))
        return 0

    monkeypatch.setattr(run.subprocess, "call", call)
    run._compile(Path("python"), {}, tmp_path / "run")
    cache = tmp_path / "run" / "numba" / "compiled" / "source-processor"
    assert seen == [[cache / "law.nbc"] if there else []]


def test_a_part_that_died_counts_as_a_failure(run: ModuleType, tmp_path: Path) -> None:
    counts, _ = run._read_report(tmp_path / "never written.xml")
    assert counts["failed"] == 1


@pytest.mark.parametrize(
    ("listing", "allowed"),
    [
        ("tests.a.test_away  # not to be had here\n", True),
        ("tests.a.test_away\n", False),  # a reason is part of the bargain
        ("tests.a.test_other  # why\n", False),
        ("# tests.a.test_away  # why\n", False),
    ],
)
def test_only_skips_listed_with_a_reason_pass(
    run: ModuleType, tmp_path: Path, listing: str, allowed: bool
) -> None:
    (tmp_path / "allowed.txt").write_text(listing)
    skips = [("tests.a.test_away", "why")]
    assert run._skips_are_allowed(skips, tmp_path / "allowed.txt") is allowed


def test_every_marked_test_belongs_to_exactly_one_part(run: ModuleType) -> None:
    from _pytest.mark.expression import Expression

    def parts(*arguments: str) -> list[Expression]:
        options, _ = run._parse(list(arguments))
        return [
            Expression.compile(extra[extra.index("-m") + 1]) for _, extra in run._parts(options)
        ]

    for marks in ((), ("gl",), ("window",), ("gl", "window")):
        for slow in ((), ("slow",)):
            has = {*marks, *slow}
            usual = [part.evaluate(lambda name, has=has, **_: name in has) for part in parts()]
            with_slow = [
                part.evaluate(lambda name, has=has, **_: name in has) for part in parts("--slow")
            ]
            assert sum(usual) == (0 if slow else 1)
            assert sum(with_slow) == 1


def test_published_data_come_from_one_wheel_whatever_the_system(
    run: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is none for some systems, where pip would try to build it."""
    (tmp_path / ".venv" / "published").mkdir(parents=True)
    monkeypatch.setattr(run, "ROOT", tmp_path)
    monkeypatch.setattr(run.bootstrap, "pip_command", lambda python: ["pip"])
    given: list[list[str]] = []
    monkeypatch.setattr(run.subprocess, "call", lambda command, **_: given.append(command) or 0)
    for _ in range(2):
        run._fetch_published(Path("python"))
    (command,) = given  # once
    assert {"--only-binary=:all:", "--python-version=3.11", run.PUBLISHED} <= set(command)


def test_limited_runs_what_feels_it_or_what_is_named(
    run: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run.bootstrap, "ensure_environment", lambda *a, **k: Path("python"))
    monkeypatch.setattr(run, "_fetch_published", lambda python: None)
    monkeypatch.setattr(run, "_limits", lambda python: {"LIMIT": "1"})
    ran: list[tuple[list[str], dict[str, str]]] = []

    def call(command: list[str], env: dict[str, str], **_: object) -> int:
        ran.append((command, env))
        report = [word.partition("=")[2] for word in command if word.startswith("--junitxml=")]
        for path in report:
            Path(path).write_text(REPORT.replace("failure", "system-out").replace("error", "x"))
        return 0

    monkeypatch.setattr(run.subprocess, "call", call)
    assert run.main(["--limited"]) == 0
    assert all(env["LIMIT"] == "1" for _, env in ran)  # what compiles first is limited too
    (command,) = (command for command, _ in ran if "pytest" in command)  # and no part in windows
    assert set(run.SENSITIVE) <= set(command)
    assert all((run.ROOT / name).is_dir() for name in run.SENSITIVE)
    ran.clear()
    assert run.main(["--limited", "tests/core", "-x"]) == 0
    (command,) = (command for command, _ in ran if "pytest" in command)
    assert not set(run.SENSITIVE) & set(command)
    assert "tests/core" in command
    # A limit that did not take hold is no success.
    monkeypatch.setattr(run, "_limits", lambda python: None)
    assert run.main(["--limited"]) == 2


def test_the_start_script_takes_known_extras_and_the_newest(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "path", list(sys.path))
    spec = importlib.util.spec_from_file_location(
        "bitepoint_app_run", RUN.parents[1] / "app" / "run.py"
    )
    assert spec is not None
    assert spec.loader is not None
    start = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(start)
    asked: list[object] = []

    def ensure(**wanted: object) -> Path:
        asked.append(wanted)
        return Path("python")

    monkeypatch.setattr(start.bootstrap, "ensure_environment", ensure)
    monkeypatch.setattr(start.bootstrap, "run_python", lambda *given: asked.append(given) or 0)
    assert start.main(["--with", "recordings,cluster", "check", "a.h5"]) == 0
    assert asked[0] == {"extras": ["recordings", "cluster"], "newest": False, "compiled": True}
    assert asked[1][1][-2:] == ["check", "a.h5"]  # type: ignore[index]
    assert start.main(["--with", "wings"]) == 2
    assert "recordings, cluster" in capsys.readouterr().err
    assert len(asked) == 2
    for given in (["--newest", "--with", "cluster"], ["--with", "cluster", "--newest"]):
        asked.clear()
        assert start.main([*given, "check", "--newest"]) == 0
        assert asked[0] == {"extras": ["cluster"], "newest": True, "compiled": True}
        assert asked[1][1][-2:] == ["check", "--newest"]  # type: ignore[index]
