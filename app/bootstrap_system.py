"""What set-up needs of the system: libraries for Qt, programs for the tests, and their packages.

Standard library only, as `bootstrap`, which it serves.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Sequence

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


class SetupError(Exception):
    """Set-up could not be finished; the text names the remedy."""


def say(text: str) -> None:
    """Print one line of progress on standard error."""
    print(f"Bitepoint set-up: {text}", file=sys.stderr, flush=True)


def run(command: Sequence[str | Path], **options: object) -> subprocess.CompletedProcess[str]:
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


def missing_programs(programs: Sequence[str]) -> list[str]:
    if not programs or not sys.platform.startswith("linux"):
        return []
    from shutil import which

    return [name for name in programs if which(name) is None]


def ensure_system(programs: Sequence[str], base: Path | None) -> None:
    """See to it that the system holds what is needed; install or name what is missing.

    With `base`, a Python that is to make an environment must be able to bring pip into it.
    """
    names = [*missing_libraries(), *missing_programs(programs)]
    packages = {QT_LIBRARIES.get(name) or PROGRAMS[name] for name in names}
    if base is not None and is_debian() and base.parent == Path("/usr/bin") and not has_pip(base):
        names.append("pip for Python")
        packages.add("python3-venv")
    if not names:
        return
    shown = names if len(names) <= 4 else [*names[:3], f"{len(names) - 3} more"]
    reason = f"the system lacks {', '.join(shown)}"
    if not is_debian():
        raise SetupError(f"{reason}. {_other_system_line(names)}")
    _apt_install(sorted(packages), reason)
    left = [*missing_libraries(), *missing_programs(programs)]
    if left:
        raise SetupError(f"the packages were installed, and still this is missing: {left}")


def missing_libraries() -> list[str]:
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


def has_pip(base: Path) -> bool:
    return any(
        run([base, *ask]).returncode == 0
        for ask in (("-c", "import ensurepip"), ("-m", "pip", "--version"))
    )


def is_debian() -> bool:
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
    ran = run(command, env=env)
    if ran.returncode != 0:  # on a fresh machine the package lists are missing or old
        run(["apt-get", "update"], env=env)
        ran = run(command, env=env)
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
