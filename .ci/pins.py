"""The pinned versions: what they are, and which of them a machine needs.

Requirements are followed from `pyproject.toml` with the markers of that machine, not of this one:
a library may ask for another on Windows only.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
FILE = ROOT / ".ci" / "constraints.txt"
PYTHONS = ("3.11", "3.12", "3.13")

# Debian 12 has version 2.36 of the C library; PySide6 asks for 2.34.
_LINUX = ("manylinux_2_36", "manylinux_2_35", "manylinux_2_34", "manylinux_2_31", "manylinux_2_28",
          "manylinux_2_27", "manylinux_2_24", "manylinux_2_17", "manylinux2014", "manylinux_2_12",
          "manylinux2010", "manylinux_2_5", "manylinux1")  # fmt: skip


@dataclass(frozen=True)
class Machine:
    """A machine to install on.

    Parameters
    ----------
    name : str
    platforms : tuple of str
        Tags of wheels that run there, as pip takes them, best first; pip itself adds older
        releases of macOS.
    markers : tuple of (str, str)
        What requirements may ask for there.
    python : str
        Such as ``"3.12"``.
    """

    name: str
    platforms: tuple[str, ...]
    markers: tuple[tuple[str, str], ...]
    python: str = ""

    @property
    def environment(self) -> dict[str, str]:
        """What requirements may ask for, the Python included."""
        python = {"python_version": self.python, "python_full_version": f"{self.python}.0"}
        kind = {"implementation_name": "cpython", "platform_python_implementation": "CPython"}
        return {
            **python,
            **kind,
            "implementation_version": f"{self.python}.0",
            **dict(self.markers),
        }


def _markers(platform: str, system: str, machine: str, os: str) -> tuple[tuple[str, str], ...]:
    return (("sys_platform", platform), ("platform_system", system), ("platform_machine", machine),
            ("os_name", os), ("platform_release", ""), ("platform_version", ""))  # fmt: skip


SYSTEMS = (
    Machine("Windows", ("win_amd64",), _markers("win32", "Windows", "AMD64", "nt")),
    Machine("macOS arm64", ("macosx_14_0_arm64",), _markers("darwin", "Darwin", "arm64", "posix")),
    Machine("Linux", tuple(f"{tag}_x86_64" for tag in _LINUX),
            _markers("linux", "Linux", "x86_64", "posix")),
)  # fmt: skip


def machines() -> Iterator[Machine]:
    """Yield each system with each Python."""
    for system in SYSTEMS:
        for python in PYTHONS:
            yield Machine(system.name, system.platforms, system.markers, python)


def read_pins(path: Path = FILE) -> dict[str, str]:
    """Return the pinned version of each library, by its canonical name."""
    lines = [line.partition("#")[0].strip() for line in path.read_text("utf-8").splitlines()]
    found = [re.fullmatch(r"([\w.-]+)==(\S+)", line) for line in lines if line]
    if None in found:
        raise ValueError(f"{path}: a line is not NAME==VERSION")
    return {canonicalize_name(match[1]): match[2] for match in found if match}


def asked_for(path: Path = ROOT / "pyproject.toml") -> list[Requirement]:
    """Return what the project asks for: run-time, and every extra but itself."""
    project = tomllib.loads(path.read_text("utf-8"))["project"]
    extras = project["optional-dependencies"].values()
    texts = [*project["dependencies"], *(text for extra in extras for text in extra)]
    wanted = [Requirement(text) for text in texts]
    return [one for one in wanted if canonicalize_name(one.name) != project["name"]]


def needed(
    wanted: Sequence[Requirement],
    machine: Machine,
    requires: Callable[[str], Sequence[str] | None],
) -> dict[str, list[Requirement]]:
    """Return what a machine needs, by canonical name, with what is required of each.

    Parameters
    ----------
    wanted : sequence of Requirement
    machine : Machine
    requires : callable
        The requirements of a library by its canonical name, as its metadata has them; None where
        they are not known, which ends that branch.
    """
    found: dict[str, list[Requirement]] = {}
    done: set[tuple[str, str]] = set()
    queue = [(one, "") for one in wanted]
    while queue:
        one, extra = queue.pop()
        if one.marker is not None and not one.marker.evaluate(
            {**machine.environment, "extra": extra}
        ):
            continue
        name = canonicalize_name(one.name)
        found.setdefault(name, []).append(one)
        for asked in ("", *one.extras):
            if (name, asked) not in done:
                done.add((name, asked))
                queue += [(Requirement(text), asked) for text in requires(name) or ()]
    return found
