"""Set up a fresh machine: make `.venv`, install the project, find what Qt misses.

Standard library only, since it runs before anything is installed; `app/run.py` and `tests/run.py`
share it. Everything it says goes to standard error: standard output belongs to the command that is
started afterwards, which may be writing JSON.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

from app import bootstrap_system as system
from app.bootstrap_system import SetupError as SetupError
from app.bootstrap_system import say

ROOT = Path(__file__).resolve().parent.parent
SUPPORTED = ((3, 11), (3, 12), (3, 13))

# The stamp is written last and says what the environment holds. The marker is laid down before
# the first change and removed after the stamp: where it is found, a start was cut short.
STAMP = "bitepoint-stamp.json"
MARKER = "bitepoint-unfinished"

# Runs inside the new environment: Qt and its screen plugin are really loaded.
_PROBE = """
import ctypes, pathlib, sys
import PySide6
from PySide6 import QtGui, QtOpenGL, QtOpenGLWidgets, QtSvg, QtWidgets
if sys.platform == "linux":
    plugins = pathlib.Path(PySide6.__file__).parent / "Qt" / "plugins" / "platforms"
    ctypes.CDLL(str(plugins / "libqxcb.so"))
QtWidgets.QApplication(["probe"])
"""


def ensure_environment(
    extras: Sequence[str] = ("test",),
    programs: Sequence[str] = (),
    root: Path = ROOT,
    *,
    newest: bool = False,
    compiled: bool = False,
) -> Path:
    """Return the Python of an environment that holds the project, making it where needed.

    Parameters
    ----------
    extras
        Optional groups of `pyproject.toml` to install.
    programs
        Programs that must be on the path, keys of `bootstrap_system.PROGRAMS`; looked for on
        Linux only.
    root
        Folder that holds `pyproject.toml`; `.venv` is made in it.
    newest
        Take the newest version of everything, within the ranges of `pyproject.toml`, in place of
        the versions pinned in `.ci/constraints.txt`, which are those that the tests passed with.
    compiled
        Compile too what is compiled, so that the first replay or manoeuvre need not wait for it.
        Where that fails it is said, and compiled when it is needed.

    Raises
    ------
    SetupError
        The environment could not be made; the text says why and what to do.
    """
    env = root / ".venv"
    wanted = _Wanted(root, tuple(extras), tuple(programs), newest, compiled)
    if _is_ready(env, wanted):
        return _python_of(env)
    try:
        _prepare(env, wanted)
    except OSError as problem:
        raise SetupError(
            f"{problem}. The folder {root} must be writable and have about 2 GB to spare."
        ) from problem
    return _python_of(env)


@dataclass(frozen=True)
class _Wanted:
    """What an environment must hold; see `ensure_environment`."""

    root: Path
    extras: tuple[str, ...]
    programs: tuple[str, ...] = ()
    newest: bool = False
    compiled: bool = False


def _prepare(env: Path, wanted: _Wanted) -> None:
    base = _find_interpreter()
    with _only_one(wanted.root / ".venv.lock"):
        if _is_ready(env, wanted):  # another start made it while this one waited
            return
        # What an earlier start asked for stays.
        extras = sorted({*wanted.extras, *_read_stamp(env).get("extras", [])})
        wanted = replace(wanted, extras=tuple(extras))
        current = _is_current(env, wanted)
        # Before the long download, so that whoever has to ask for a package hears of it at once.
        system.ensure_system(wanted.programs, base=None if current else base)
        if not current:
            _make(env, base, wanted)
        python = _python_of(env)
        _try_qt(python)
        _write_stamp(env, wanted, system=True)
        if wanted.compiled:
            _compile(python)
            _write_stamp(env, wanted, system=True, compiled=True)


def run_python(python: Path, arguments: Sequence[str]) -> int:
    """Hand over to another Python; returns its exit status only where the system cannot replace."""
    command = [str(python), *arguments]
    if os.name == "posix":
        sys.stdout.flush()
        sys.stderr.flush()
        os.execv(command[0], command)
    import subprocess

    # On Windows exec starts a second process and gives the console back at once.
    return subprocess.call(command)


# -- what is there -------------------------------------------------------------------------------


def _python_of(env: Path) -> Path:
    return env / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def _read_stamp(env: Path) -> dict[str, Any]:
    try:
        stamp = json.loads((env / STAMP).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def _fingerprint(root: Path) -> str:
    """Hash of all that decides what the environment must hold.

    The folder is part of it, because an environment cannot be moved.
    """
    digest = hashlib.sha256(f"{os.fspath(root)}\0{sys.platform}\0".encode())
    for name in ("pyproject.toml", ".ci/constraints.txt"):
        path = root / name
        digest.update(path.read_bytes() if path.exists() else b"")
        digest.update(b"\0")
    return digest.hexdigest()


def _is_current(env: Path, wanted: _Wanted) -> bool:
    stamp = _read_stamp(env)
    return (
        stamp.get("fingerprint") == _fingerprint(wanted.root)
        and stamp.get("newest", False) is wanted.newest
        and set(wanted.extras) <= set(stamp.get("extras", []))
        and not (env / MARKER).exists()
        and _python_of(env).exists()  # false for a link to a Python that was since removed
    )


def _is_ready(env: Path, wanted: _Wanted) -> bool:
    return (
        _is_current(env, wanted)
        and _read_stamp(env).get("system") is True
        and (_read_stamp(env).get("compiled") is True or not wanted.compiled)
        and not system.missing_programs(wanted.programs)
    )


def _write_stamp(env: Path, wanted: _Wanted, *, system: bool, compiled: bool = False) -> None:
    stamp = {
        "fingerprint": _fingerprint(wanted.root),
        "extras": list(wanted.extras),
        "newest": wanted.newest,
        "system": system,
        "compiled": compiled,
    }
    part = env / (STAMP + ".part")
    part.write_text(json.dumps(stamp), "utf-8")
    part.replace(env / STAMP)


@contextmanager
def _only_one(path: Path) -> Iterator[None]:
    """Let one process at a time set up; the system frees the lock when its holder dies."""
    with path.open("a+b") as handle:
        if sys.platform == "win32":
            import msvcrt

            handle.seek(0)
            while True:
                try:
                    msvcrt.locking(handle.fileno(), msvcrt.LK_LOCK, 1)  # gives up after 10 s
                    break
                except OSError:
                    say("waiting for another start to finish setting up")
        else:
            import fcntl

            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                say("waiting for another start to finish setting up")
                fcntl.flock(handle, fcntl.LOCK_EX)
        yield


# -- Python and its packages ---------------------------------------------------------------------


def _find_interpreter() -> Path:
    """The running Python if it is a supported one, else one that is installed beside it."""
    if sys.version_info[:2] in SUPPORTED:
        # Started with the environment's own Python, name the one below it: the environment may
        # have to be removed and made anew.
        return Path(getattr(sys, "_base_executable", None) or sys.executable)
    from shutil import which

    for major, minor in reversed(SUPPORTED):
        found = which(f"python{major}.{minor}")
        if found:
            return Path(found)
        if os.name == "nt" and which("py"):
            ask = system.run(["py", f"-{major}.{minor}", "-c", "import sys; print(sys.executable)"])
            if ask.returncode == 0:
                return Path(ask.stdout.strip())
    known = ", ".join(f"{major}.{minor}" for major, minor in SUPPORTED)
    have = f"{sys.version_info[0]}.{sys.version_info[1]}"
    raise SetupError(
        f"this is Python {have}, and Bitepoint runs on {known}. "
        "Install one of these and start again with it."
    )


def _make(env: Path, base: Path, wanted: _Wanted) -> None:
    if (env / MARKER).exists():
        say("an earlier start was cut short; beginning again")
        _remove(env)
    elif env.exists() and not _usable(env, wanted.root):
        say("the environment belongs to another Python or another folder; making a new one")
        _remove(env)
    env.mkdir(exist_ok=True)
    (env / MARKER).write_text("set-up has begun and not ended\n", "utf-8")
    (env / STAMP).unlink(missing_ok=True)
    if not _python_of(env).exists():
        say(f"making {env.name} with {base}")
        # Without pip: on a bare Debian the module that brings pip is missing, and asking for it
        # would leave a half-made folder behind.
        made = system.run([base, "-m", "venv", "--without-pip", env])
        if made.returncode != 0:
            raise SetupError(f"{base} could not make an environment in {env}:\n{made.stdout}")
    _install(_find_pip(_python_of(env), base), env, wanted)
    _write_stamp(env, wanted, system=False)
    (env / MARKER).unlink()


def _usable(env: Path, root: Path) -> bool:
    """Whether packages may be installed into an environment that is already there."""
    python = _python_of(env)
    if not python.exists():
        return False
    ask = system.run(
        [python, "-c", "import sys; print(*sys.version_info[:2], sys.prefix, sep='|')"]
    )
    if ask.returncode != 0:
        return False
    major, minor, prefix = ask.stdout.strip().split("|", 2)
    home = Path(prefix).resolve().parent
    return (int(major), int(minor)) in SUPPORTED and home == root.resolve()


def _remove(env: Path) -> None:
    import shutil

    try:
        if env.is_symlink() or env.is_file():
            env.unlink()
        else:
            shutil.rmtree(env)
    except OSError as problem:
        raise SetupError(
            f"{env} could not be removed ({problem}). Close every program that was started from "
            "it, delete the folder by hand and start again."
        ) from problem


def pip_command(python: Path) -> list[str]:
    """The beginning of a pip command for the environment of a Python."""
    return _find_pip(python, _find_interpreter())


def _find_pip(python: Path, base: Path) -> list[str]:
    """The beginning of a pip command that installs into `python`'s environment."""
    own = [str(python), "-m", "pip"]
    ensure = [str(python), "-m", "ensurepip", "--default-pip"]
    if system.run([*own, "--version"]).returncode == 0 or system.run(ensure).returncode == 0:
        return own
    outer = [str(base), "-m", "pip", "--python", str(python)]
    if system.run([*outer, "--version"]).returncode == 0:  # pip knows --python from 22.3 on
        return outer
    raise SetupError(
        f"no pip was found for {base}. Install pip for this Python (its `ensurepip` module is "
        "missing too) and start again."
    )


def _install(pip: Sequence[str], env: Path, wanted: _Wanted) -> None:
    import subprocess

    root, extras = wanted.root, wanted.extras
    target = f"{root}[{','.join(extras)}]" if extras else str(root)
    command = [*pip, "install", "--no-input", "--disable-pip-version-check"]
    command += ["--progress-bar", "off", "--no-color", "--editable", target]
    constraints = root / ".ci" / "constraints.txt"
    if wanted.newest:
        command += ["--upgrade", "--upgrade-strategy", "eager"]
    elif constraints.exists():
        command += ["--constraint", str(constraints)]
    # Settings that would send the packages somewhere else than into the environment.
    hijack = ("PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PYTHONHOME", "PYTHONPATH")
    clean = {name: value for name, value in os.environ.items() if name not in hijack}
    say("installing packages (a download of about 300 MB on a first start)")
    lines = []
    log = env / "install.log"
    process = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        env=clean,
        cwd=env,
    )
    with process, log.open("w", encoding="utf-8") as record:
        for line in process.stdout or ():
            record.write(line)
            lines.append(line.rstrip())
            if line.lstrip().startswith(("Downloading", "Installing collected")):
                shown = line.strip()
                say(shown if len(shown) <= 90 else shown[:87] + "...")
    if process.returncode != 0:
        raise SetupError(_explain_pip(lines, log))


def _explain_pip(lines: Sequence[str], log: Path) -> str:
    text = "\n".join(lines)
    connection = (
        "Failed to establish a new connection",
        "Temporary failure in name resolution",
        "ConnectTimeoutError",
        "connection to",
        "Network is unreachable",
        "ProxyError",
        "Max retries exceeded",
        "ReadTimeoutError",
    )
    if "No space left on device" in text:
        why = "the disk is full; about 2 GB are needed. Make room and start again."
    elif "CERTIFICATE_VERIFY_FAILED" in text:
        why = (
            "the package index's certificate was not accepted; behind a company proxy, set "
            "PIP_CERT to its certificate file and start again."
        )
    elif any(sign in text for sign in connection):
        why = (
            "the package index cannot be reached. A first start needs a network connection; "
            "behind a proxy, set HTTPS_PROXY. Then start again."
        )
    else:
        tail = "\n".join("    " + line for line in lines[-8:])
        why = f"pip could not install the packages. Its last words:\n{tail}"
    return f"{why}\nEverything that pip said is in {log}"


def _try_qt(python: Path) -> None:
    ran = system.run([python, "-c", _PROBE], env={**os.environ, "QT_QPA_PLATFORM": "offscreen"})
    if ran.returncode != 0:
        # Not one of the libraries that are known: the loader's own words name it.
        last = ran.stdout.strip().rsplit("\n", 1)[-1] or f"it ended with {ran.returncode}"
        raise SetupError(
            f"Qt does not load on this machine: {last}\nWhere a library is named, install the "
            "package that holds it and start again."
        )


# -- compiled code -------------------------------------------------------------------------------


def _compile(python: Path) -> None:
    """Fill the cache of compiled code, telling each part; a failure is told and no more."""
    import subprocess

    say("preparing the compiled code (about half a minute, once)")
    last = ""
    with subprocess.Popen(
        [str(python), "-P", "-m", "app.warm_cache"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
    ) as process:
        for line in process.stdout or ():
            last = line.strip() or last
            if line.startswith("compiling"):
                say(last)
    if process.returncode != 0:
        say(f"that failed ({last}); what is needed is compiled when it is first used")
