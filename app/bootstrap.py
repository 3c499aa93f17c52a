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
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Iterator, Sequence

ROOT = Path(__file__).resolve().parent.parent
SUPPORTED = ((3, 11), (3, 12), (3, 13))

# The stamp is written last and says what the environment holds. The marker is laid down before
# the first change and removed after the stamp: where it is found, a start was cut short.
STAMP = "bitepoint-stamp.json"
MARKER = "bitepoint-unfinished"

# What Qt's widgets, its xcb platform plugin and OpenGL load from the system, with the Debian
# package of each (read off `ldd` on PySide6-Essentials 6.11, Debian 12).
QT_LIBRARIES = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libX11-xcb.so.1": "libx11-xcb1",
    "libX11.so.6": "libx11-6",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libfreetype.so.6": "libfreetype6",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-glx.so.0": "libxcb-glx0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-image.so.0": "libxcb-image0",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-randr.so.0": "libxcb-randr0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-render.so.0": "libxcb-render0",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-shm.so.0": "libxcb-shm0",
    "libxcb-sync.so.1": "libxcb-sync1",
    "libxcb-util.so.1": "libxcb-util1",
    "libxcb-xfixes.so.0": "libxcb-xfixes0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxcb.so.1": "libxcb1",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxkbcommon.so.0": "libxkbcommon0",
}
# Elsewhere than on Debian the package may be called otherwise; its name still helps a search.
PROGRAMS = {"Xvfb": "xvfb", "ssh-keygen": "openssh-client"}

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


class SetupError(Exception):
    """Set-up could not be finished; the text names the remedy."""


def say(text: str) -> None:
    """Print one line of progress on standard error."""
    print(f"Bitepoint set-up: {text}", file=sys.stderr, flush=True)


def ensure_environment(
    extras: Sequence[str] = ("test",), programs: Sequence[str] = (), root: Path = ROOT
) -> Path:
    """Return the Python of an environment that holds the project, making it where needed.

    Parameters
    ----------
    extras
        Optional groups of `pyproject.toml` to install. With ``test``, the versions pinned in
        `.ci/constraints.txt` are used.
    programs
        Programs that must be on the path, keys of `PROGRAMS`; looked for on Linux only.
    root
        Folder that holds `pyproject.toml`; `.venv` is made in it.

    Raises
    ------
    SetupError
        The environment could not be made; the text says why and what to do.
    """
    env = root / ".venv"
    if _is_ready(env, root, extras, programs):
        return _python_of(env)
    try:
        _prepare(env, root, extras, programs)
    except OSError as problem:
        raise SetupError(
            f"{problem}. The folder {root} must be writable and have about 2 GB to spare."
        ) from problem
    return _python_of(env)


def _prepare(env: Path, root: Path, extras: Sequence[str], programs: Sequence[str]) -> None:
    base = _find_interpreter()
    with _only_one(root / ".venv.lock"):
        if _is_ready(env, root, extras, programs):  # another start made it while this one waited
            return
        wanted = sorted({*extras, *_read_stamp(env).get("extras", [])})
        current = _is_current(env, root, wanted)
        # Before the long download, so that whoever has to ask for a package hears of it at once.
        _ensure_system(programs, base=None if current else base)
        if not current:
            _make(env, root, base, wanted)
        _try_qt(_python_of(env))
        _write_stamp(env, root, wanted, system=True)


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


def _is_current(env: Path, root: Path, extras: Sequence[str]) -> bool:
    stamp = _read_stamp(env)
    return (
        stamp.get("fingerprint") == _fingerprint(root)
        and set(extras) <= set(stamp.get("extras", []))
        and not (env / MARKER).exists()
        and _python_of(env).exists()  # false for a link to a Python that was since removed
    )


def _is_ready(env: Path, root: Path, extras: Sequence[str], programs: Sequence[str]) -> bool:
    return (
        _is_current(env, root, extras)
        and _read_stamp(env).get("system") is True
        and not _missing_programs(programs)
    )


def _missing_programs(programs: Sequence[str]) -> list[str]:
    if not programs or not sys.platform.startswith("linux"):
        return []
    from shutil import which

    return [name for name in programs if which(name) is None]


def _write_stamp(env: Path, root: Path, extras: Sequence[str], *, system: bool) -> None:
    stamp = {"fingerprint": _fingerprint(root), "extras": list(extras), "system": system}
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
            ask = _run(["py", f"-{major}.{minor}", "-c", "import sys; print(sys.executable)"])
            if ask.returncode == 0:
                return Path(ask.stdout.strip())
    known = ", ".join(f"{major}.{minor}" for major, minor in SUPPORTED)
    have = f"{sys.version_info[0]}.{sys.version_info[1]}"
    raise SetupError(
        f"this is Python {have}, and Bitepoint runs on {known}. "
        "Install one of these and start again with it."
    )


def _run(command: Sequence[str | Path], **options: object) -> subprocess.CompletedProcess[str]:
    """Run a program to its end with both outputs caught; a missing program is status 127."""
    import subprocess

    settings: dict[str, Any] = {
        "stdin": subprocess.DEVNULL,
        "stdout": subprocess.PIPE,
        "stderr": subprocess.STDOUT,
        "text": True,
        "errors": "replace",
        **options,
    }
    try:
        return subprocess.run([str(part) for part in command], check=False, **settings)
    except FileNotFoundError as problem:
        return subprocess.CompletedProcess([str(part) for part in command], 127, str(problem), None)


def _make(env: Path, root: Path, base: Path, extras: Sequence[str]) -> None:
    if (env / MARKER).exists():
        say("an earlier start was cut short; beginning again")
        _remove(env)
    elif env.exists() and not _usable(env, root):
        say("the environment belongs to another Python or another folder; making a new one")
        _remove(env)
    env.mkdir(exist_ok=True)
    (env / MARKER).write_text("set-up has begun and not ended\n", "utf-8")
    (env / STAMP).unlink(missing_ok=True)
    if not _python_of(env).exists():
        say(f"making {env.name} with {base}")
        # Without pip: on a bare Debian the module that brings pip is missing, and asking for it
        # would leave a half-made folder behind.
        made = _run([base, "-m", "venv", "--without-pip", env])
        if made.returncode != 0:
            raise SetupError(f"{base} could not make an environment in {env}:\n{made.stdout}")
    _install(_find_pip(_python_of(env), base), env, root, extras)
    _write_stamp(env, root, extras, system=False)
    (env / MARKER).unlink()


def _usable(env: Path, root: Path) -> bool:
    """Whether packages may be installed into an environment that is already there."""
    python = _python_of(env)
    if not python.exists():
        return False
    ask = _run([python, "-c", "import sys; print(*sys.version_info[:2], sys.prefix, sep='|')"])
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
    if _run([*own, "--version"]).returncode == 0 or _run(ensure).returncode == 0:
        return own
    outer = [str(base), "-m", "pip", "--python", str(python)]
    if _run([*outer, "--version"]).returncode == 0:  # pip knows --python from 22.3 on
        return outer
    raise SetupError(
        f"no pip was found for {base}. Install pip for this Python (its `ensurepip` module is "
        "missing too) and start again."
    )


def _install(pip: Sequence[str], env: Path, root: Path, extras: Sequence[str]) -> None:
    import subprocess

    target = f"{root}[{','.join(extras)}]" if extras else str(root)
    command = [*pip, "install", "--no-input", "--disable-pip-version-check"]
    command += ["--progress-bar", "off", "--no-color", "--editable", target]
    constraints = root / ".ci" / "constraints.txt"
    if "test" in extras and constraints.exists():
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


# -- the system's libraries ----------------------------------------------------------------------


def _ensure_system(programs: Sequence[str], base: Path | None) -> None:
    """See to it that the system holds what is needed; install or name what is missing.

    With `base`, a Python that is to make an environment must be able to bring pip into it.
    """
    names = [*_missing_libraries(), *_missing_programs(programs)]
    packages = {QT_LIBRARIES.get(name) or PROGRAMS[name] for name in names}
    if base is not None and _is_debian() and base.parent == Path("/usr/bin") and not _has_pip(base):
        names.append("pip for Python")
        packages.add("python3-venv")
    if not names:
        return
    shown = names if len(names) <= 4 else [*names[:3], f"{len(names) - 3} more"]
    reason = f"the system lacks {', '.join(shown)}"
    if not _is_debian():
        raise SetupError(f"{reason}. {_other_system_line(names)}")
    _apt_install(sorted(packages), reason)
    left = [*_missing_libraries(), *_missing_programs(programs)]
    if left:
        raise SetupError(f"the packages were installed, and still this is missing: {left}")


def _missing_libraries() -> list[str]:
    """Names of the system libraries that Qt would not find.

    Asked for one by one, because the loader names only the first that is missing.
    """
    if not sys.platform.startswith("linux"):
        return []
    import ctypes

    missing = []
    for name in QT_LIBRARIES:
        try:
            ctypes.CDLL(name)
        except OSError:
            missing.append(name)
    return missing


def _has_pip(base: Path) -> bool:
    return any(
        _run([base, *ask]).returncode == 0
        for ask in (("-c", "import ensurepip"), ("-m", "pip", "--version"))
    )


def _try_qt(python: Path) -> None:
    ran = _run([python, "-c", _PROBE], env={**os.environ, "QT_QPA_PLATFORM": "offscreen"})
    if ran.returncode != 0:
        # Not one of the libraries that are known: the loader's own words name it.
        last = ran.stdout.strip().rsplit("\n", 1)[-1] or f"it ended with {ran.returncode}"
        raise SetupError(
            f"Qt does not load on this machine: {last}\nWhere a library is named, install the "
            "package that holds it and start again."
        )


def _is_debian() -> bool:
    from shutil import which

    return Path("/etc/debian_version").exists() and which("apt-get") is not None


def _apt_install(packages: Sequence[str], reason: str) -> None:
    """Install Debian packages as root; otherwise raise with the exact line to run."""
    line = f"apt-get install -y --no-install-recommends {' '.join(packages)}"
    if os.geteuid() != 0:
        raise SetupError(f"{reason}. Run this line, then start again:\n    sudo {line}")
    say(f"{reason}; installing {' '.join(packages)}")
    env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    command = line.replace("install", "-o DPkg::Lock::Timeout=300 install", 1).split()
    ran = _run(command, env=env)
    if ran.returncode != 0:  # on a fresh machine the package lists are missing or old
        _run(["apt-get", "update"], env=env)
        ran = _run(command, env=env)
    if ran.returncode != 0:
        tail = "\n".join("    " + text for text in ran.stdout.strip().splitlines()[-6:])
        raise SetupError(
            f"{tail}\n{reason}, and apt-get could not install it (see above). When that is "
            f"mended, run this line and start again:\n    {line}"
        )


def _other_system_line(names: Sequence[str]) -> str:
    from shutil import which

    for tool in ("dnf", "zypper"):
        if which(tool):  # both find the package by the file name of a library it provides
            wanted = " ".join(
                f"'{n}()(64bit)'" if n in QT_LIBRARIES else PROGRAMS[n] for n in names
            )
            return f"Run this line, then start again:\n    sudo {tool} install {wanted}"
    return f"Install the packages of your system that hold {' '.join(names)}, then start again."
