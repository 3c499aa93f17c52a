"""Set-up on a fresh machine: stamps, repair, and what is said when it cannot be done.

Nothing here uses the network: where packages would be installed, pip is replaced.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from app import bootstrap
from app import bootstrap_system as system

ROOT = Path(bootstrap.__file__).resolve().parent.parent


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A folder that looks like a clone, as far as set-up reads it."""
    root = tmp_path / "clone"
    (root / ".ci").mkdir(parents=True)
    (root / "pyproject.toml").write_text("[project]\nname = 'x'\n")
    (root / ".ci" / "constraints.txt").write_text("x==1\n")
    return root


@pytest.fixture
def no_network(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """Real environments, but nothing is installed or probed; returns what would have been."""
    calls: list[tuple[str, ...]] = []
    monkeypatch.setattr(bootstrap, "_find_pip", lambda python, base: [str(python), "-m", "pip"])
    monkeypatch.setattr(bootstrap, "_install", lambda pip, env, wanted: calls.append(wanted.extras))
    monkeypatch.setattr(system, "missing_libraries", list)
    monkeypatch.setattr(bootstrap, "_try_qt", lambda python: None)
    return calls


def test_first_start_makes_a_working_python_and_the_second_does_nothing(
    project: Path, no_network: list[tuple[str, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    python = bootstrap.ensure_environment(("test",), root=project)
    ran = subprocess.run([python, "-c", "import sys; print(sys.prefix)"], capture_output=True)
    assert Path(ran.stdout.decode().strip()).resolve() == (project / ".venv").resolve()
    monkeypatch.setattr(subprocess, "run", lambda *given, **more: pytest.fail(f"ran {given}"))
    monkeypatch.setattr(subprocess, "Popen", lambda *given, **more: pytest.fail(f"ran {given}"))
    assert bootstrap.ensure_environment(("test",), root=project) == python
    assert no_network == [("test",)]


def test_a_start_that_needs_less_is_content_with_more(
    project: Path, no_network: list[tuple[str, ...]]
) -> None:
    bootstrap.ensure_environment(("test",), root=project)
    bootstrap.ensure_environment((), root=project)
    assert no_network == [("test",)]


def test_more_extras_and_changed_requirements_install_again_and_keep_what_was_there(
    project: Path, no_network: list[tuple[str, ...]]
) -> None:
    bootstrap.ensure_environment((), root=project)
    bootstrap.ensure_environment(("test",), root=project)
    (project / "pyproject.toml").write_text("[project]\nname = 'y'\n")
    bootstrap.ensure_environment((), root=project)
    (project / ".ci" / "constraints.txt").write_text("x==2\n")
    bootstrap.ensure_environment((), root=project)
    assert no_network == [(), ("test",), ("test",), ("test",)]


def test_a_start_killed_in_the_middle_is_repaired(
    project: Path, no_network: list[tuple[str, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def killed(pip: object, env: Path, wanted: object) -> None:
        (env / "half a package").write_text("")
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(bootstrap, "_install", killed)
        with pytest.raises(KeyboardInterrupt):
            bootstrap.ensure_environment(("test",), root=project)
    assert (project / ".venv" / "half a package").exists()
    bootstrap.ensure_environment(("test",), root=project)
    assert not (project / ".venv" / "half a package").exists()
    assert no_network == [("test",)]


def test_an_environment_whose_python_is_gone_is_made_anew(
    project: Path, no_network: list[tuple[str, ...]]
) -> None:
    python = bootstrap.ensure_environment((), root=project)
    python.unlink()
    assert bootstrap.ensure_environment((), root=project).exists()
    assert no_network == [(), ()]


def test_a_clone_that_was_moved_gets_its_own_environment(
    project: Path, no_network: list[tuple[str, ...]]
) -> None:
    bootstrap.ensure_environment((), root=project)
    moved = project.rename(project.with_name("moved"))
    python = bootstrap.ensure_environment((), root=moved)
    ran = subprocess.run([python, "-c", "import sys; print(sys.prefix)"], capture_output=True)
    assert Path(ran.stdout.decode().strip()).resolve() == (moved / ".venv").resolve()
    assert len(no_network) == 2


def test_two_starts_at_once_install_once(
    project: Path, no_network: list[tuple[str, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        bootstrap,
        "_install",
        lambda pip, env, wanted: (time.sleep(0.2), no_network.append(wanted.extras)),
    )
    starts = [
        threading.Thread(target=bootstrap.ensure_environment, args=((),), kwargs={"root": project})
        for _ in range(3)
    ]
    for start in starts:
        start.start()
    for start in starts:
        start.join()
    assert no_network == [()]


def test_missing_libraries_give_the_exact_line_before_anything_is_installed(
    project: Path, no_network: list[tuple[str, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    missing = ["libxcb-cursor.so.0", "libEGL.so.1"]
    monkeypatch.setattr(system, "missing_libraries", lambda: missing)
    monkeypatch.setattr(system, "missing_programs", lambda programs: list(programs))
    monkeypatch.setattr(system, "is_debian", lambda: True)
    monkeypatch.setattr(bootstrap, "_find_interpreter", lambda: Path("/usr/bin/python3"))
    monkeypatch.setattr(system, "has_pip", lambda base: False)
    monkeypatch.setattr(system.os, "geteuid", lambda: 1000, raising=False)
    with pytest.raises(bootstrap.SetupError) as caught:
        bootstrap.ensure_environment((), programs=("Xvfb",), root=project)
    line = (
        "sudo apt-get install -y --no-install-recommends libegl1 libxcb-cursor0 python3-venv xvfb"
    )
    assert str(caught.value).splitlines()[-1].strip() == line
    assert no_network == []


def test_root_on_debian_installs_and_renews_the_package_lists_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ran: list[str] = []

    def apt(command: list[str], **options: object) -> subprocess.CompletedProcess[str]:
        ran.append(" ".join(command))
        status = 100 if len(ran) == 1 else 0  # a fresh machine has no package lists
        return subprocess.CompletedProcess(command, status, "Unable to locate package", None)

    monkeypatch.setattr(system, "run", apt)
    monkeypatch.setattr(system.os, "geteuid", lambda: 0, raising=False)
    system._apt_install(["xvfb"], "the system lacks Xvfb")
    assert [line.split()[-1] for line in ran] == ["xvfb", "update", "xvfb"]


def test_other_systems_are_told_the_libraries(
    project: Path, no_network: list[tuple[str, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(system, "missing_libraries", lambda: ["libxcb-cursor.so.0"])
    monkeypatch.setattr(system, "is_debian", lambda: False)
    monkeypatch.setattr("shutil.which", lambda name: name if name == "dnf" else None)
    with pytest.raises(
        bootstrap.SetupError, match=r"dnf install 'libxcb-cursor\.so\.0\(\)\(64bit\)'"
    ):
        bootstrap.ensure_environment((), root=project)
    monkeypatch.setattr("shutil.which", lambda name: None)
    with pytest.raises(bootstrap.SetupError, match=r"hold libxcb-cursor\.so\.0"):
        bootstrap.ensure_environment((), root=project)


def test_qt_really_loads_here() -> None:
    bootstrap._try_qt(Path(sys.executable))


def test_qt_that_does_not_load_is_reported_in_the_loader_s_words(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(bootstrap, "_PROBE", "raise ImportError('libnone.so.7: cannot open')")
    with pytest.raises(bootstrap.SetupError, match=r"libnone\.so\.7: cannot open"):
        bootstrap._try_qt(Path(sys.executable))


@pytest.mark.skipif(sys.platform != "linux", reason="shared libraries are named as on Linux")
def test_a_library_that_is_not_there_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    assert system.missing_libraries() == []
    monkeypatch.setitem(system.QT_LIBRARIES, "libbitepoint-none.so.7", "none")
    assert system.missing_libraries() == ["libbitepoint-none.so.7"]


def test_an_environment_without_pip_gets_one(tmp_path: Path) -> None:
    env = tmp_path / "bare"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", env], check=True)
    python = bootstrap._python_of(env)
    assert system.run([python, "-m", "pip", "--version"]).returncode != 0
    pip = bootstrap._find_pip(python, Path(sys.executable))
    told = system.run([*pip, "--version"])
    assert told.returncode == 0, told.stdout


@pytest.mark.parametrize(
    ("has_ensurepip", "outer_pip", "expected"),
    [(True, True, "own"), (False, True, "outer"), (False, False, "error")],
)
def test_each_way_to_a_pip(
    monkeypatch: pytest.MonkeyPatch, has_ensurepip: bool, outer_pip: bool, expected: str
) -> None:
    def answer(command: list[str], **options: object) -> subprocess.CompletedProcess[str]:
        works = ("ensurepip" in command and has_ensurepip) or ("--python" in command and outer_pip)
        return subprocess.CompletedProcess(command, 0 if works else 1, "", None)

    monkeypatch.setattr(system, "run", answer)
    monkeypatch.setattr(system, "is_debian", lambda: False)
    python, base = Path("env-python"), Path("base-python")
    if expected == "error":
        with pytest.raises(bootstrap.SetupError, match="Install pip"):
            bootstrap._find_pip(python, base)
        return
    ways = {
        "own": ["env-python", "-m", "pip"],
        "outer": ["base-python", "-m", "pip", "--python", "env-python"],
    }
    assert bootstrap._find_pip(python, base) == ways[expected]


@pytest.mark.parametrize(
    ("said", "remedy"),
    [
        ("Temporary failure in name resolution", "needs a network connection"),
        ("OSError: [Errno 28] No space left on device", "Make room"),
        ("SSL: CERTIFICATE_VERIFY_FAILED", "PIP_CERT"),
        ("error: metadata-generation-failed", "Its last words"),
    ],
)
def test_a_failing_pip_is_explained(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: str, remedy: str
) -> None:
    fake = [sys.executable, "-c", f"print({said!r}); raise SystemExit(1)"]
    with pytest.raises(bootstrap.SetupError, match=remedy) as caught:
        bootstrap._install(fake, tmp_path, bootstrap._Wanted(tmp_path, ()))
    assert str(tmp_path / "install.log") in str(caught.value)
    assert said in (tmp_path / "install.log").read_text()


def pip_was_given(tmp_path: Path, wanted: bootstrap._Wanted) -> list[str]:
    """The arguments that set-up gives to pip."""
    said = tmp_path / "given.json"
    code = f"import json, sys; open({str(said)!r}, 'w').write(json.dumps(sys.argv[1:]))"
    bootstrap._install([sys.executable, "-c", code], tmp_path, wanted)
    return json.loads(said.read_text())


@pytest.mark.parametrize("extras", [(), ("test",), ("cluster", "recordings")])
def test_the_versions_that_were_tested_are_taken(
    project: Path, tmp_path: Path, extras: tuple[str, ...]
) -> None:
    given = pip_was_given(tmp_path, bootstrap._Wanted(project, extras))
    assert given[given.index("--constraint") + 1] == str(project / ".ci" / "constraints.txt")
    assert "--upgrade" not in given


def test_or_the_newest_if_asked_for(project: Path, tmp_path: Path) -> None:
    given = pip_was_given(tmp_path, bootstrap._Wanted(project, (), newest=True))
    assert "--constraint" not in given
    assert given[given.index("--upgrade-strategy") + 1] == "eager"  # what is there is renewed too


def test_asking_for_the_newest_and_no_longer_installs_anew(
    project: Path, no_network: list[tuple[str, ...]]
) -> None:
    for newest, times in ((False, 1), (False, 1), (True, 2), (True, 2), (False, 3)):
        bootstrap.ensure_environment((), root=project, newest=newest)
        assert len(no_network) == times


@pytest.fixture
def compiling(project: Path, monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """What is started to compile, in place of the app's own module; its text is `script`."""
    started: list[list[str]] = []
    real = subprocess.Popen

    def start(command: list[str], *given: Any, **options: Any) -> subprocess.Popen[str]:
        if "app.warm_cache" in command:
            started.append(command)
            command = [sys.executable, str(project / "script.py")]
        return real(command, *given, **options)

    monkeypatch.setattr(subprocess, "Popen", start)
    return started


def test_compiled_code_is_prepared_once_and_each_part_is_told(
    project: Path,
    no_network: list[tuple[str, ...]],
    compiling: list[list[str]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    (project / "script.py").write_text("print('compiling 1 of 1: it'); print('a remark')")
    bootstrap.ensure_environment((), root=project)
    assert compiling == []  # the tests have a cache of their own
    for _ in range(2):
        python = bootstrap.ensure_environment((), root=project, compiled=True)
    assert compiling == [[str(python), "-P", "-m", "app.warm_cache"]]
    assert len(no_network) == 1
    out, err = capsys.readouterr()
    assert out == ""  # standard output is the command's
    assert "set-up: preparing the compiled code" in err
    assert "set-up: compiling 1 of 1: it" in err
    assert "a remark" not in err


def test_what_does_not_compile_does_not_stop_the_set_up(
    project: Path,
    no_network: list[tuple[str, ...]],
    compiling: list[list[str]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    (project / "script.py").write_text("print('compiling 1 of 2: it'); raise OSError('no room')")
    for _ in range(2):  # nor is it tried at every start
        assert bootstrap.ensure_environment((), root=project, compiled=True).exists()
    assert len(compiling) == 1
    assert "that failed (OSError: no room)" in capsys.readouterr().err


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(bootstrap.SetupError, match="must be writable"):
        bootstrap.ensure_environment((), root=tmp_path / "gone")


def test_an_old_python_is_refused_in_plain_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap.sys, "version_info", (3, 9, 18))
    monkeypatch.setattr("shutil.which", lambda name: None)
    with pytest.raises(bootstrap.SetupError, match=r"this is Python 3\.9"):
        bootstrap._find_interpreter()


def test_bootstrap_imports_the_standard_library_only() -> None:
    code = (
        "import sys; from app import bootstrap, bootstrap_system; import ast, pathlib\n"
        "names = set()\n"
        "for part in (bootstrap, bootstrap_system):\n"
        "    tree = list(ast.walk(ast.parse(pathlib.Path(part.__file__).read_text('utf-8'))))\n"
        "    names |= {a.name for n in tree if isinstance(n, ast.Import) for a in n.names}\n"
        "    names |= {n.module for n in tree if isinstance(n, ast.ImportFrom)}\n"
        "names -= {'app', 'app.bootstrap_system'}\n"
        "print(sorted(n for n in names if n.split('.')[0] not in sys.stdlib_module_names))"
    )
    # -S: without site-packages, as on a fresh machine.
    ran = subprocess.run(
        [sys.executable, "-S", "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == "[]"


def test_supported_pythons_are_those_of_the_project_file() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    low, high = bootstrap.SUPPORTED[0], bootstrap.SUPPORTED[-1]
    assert project["requires-python"] == f">={low[0]}.{low[1]},<{high[0]}.{high[1] + 1}"
