"""Whether every pinned library has a wheel wherever it is needed: `.venv/bin/python .ci/wheels.py`.

Asks the package registry, by pip, for each pinned version on Windows, macOS (arm64) and Linux with
each supported Python; nothing is installed, and where the registry offers metadata apart, no wheel
is fetched either. Then follows what each library asks for on that machine: all of it must be
pinned, in a version that suits. Takes a few minutes.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path

from packaging.utils import canonicalize_name
from pins import FILE, Machine, asked_for, machines, needed, read_pins


def resolved(pins: Mapping[str, str], machine: Machine) -> tuple[dict[str, list[str]], set[str]]:
    """Return the requirements of each pinned library there, and those without a wheel."""
    left = dict(pins)
    without: set[str] = set()
    with tempfile.TemporaryDirectory() as folder:
        listing, report = Path(folder, "pins.txt"), Path(folder, "report.json")
        while True:
            listing.write_text("".join(f"{n}=={v}\n" for n, v in left.items()), "utf-8")
            command = [sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed",
                       "--quiet", "--no-deps", "--only-binary=:all:", "--implementation=cp",
                       f"--python-version={machine.python}", f"--target={folder}/target",
                       f"--report={report}", f"--requirement={listing}"]  # fmt: skip
            command += [f"--platform={platform}" for platform in machine.platforms]
            ran = subprocess.run(command, capture_output=True, text=True, check=False)
            if ran.returncode == 0:
                break
            lacking = re.search(r"No matching distribution found for ([\w.-]+)==", ran.stderr)
            if lacking is None:
                raise SystemExit(f"pip failed for {machine.name}:\n{ran.stderr[-2000:]}")
            without.add(canonicalize_name(lacking[1]))
            del left[canonicalize_name(lacking[1])]
        found = json.loads(report.read_text("utf-8"))["install"]
    about = [one["metadata"] for one in found]
    return {canonicalize_name(m["name"]): m.get("requires_dist", []) for m in about}, without


def problems(pins: Mapping[str, str], machine: Machine) -> tuple[int, list[str], set[str]]:
    """Return how many libraries a machine needs, what is wrong with them, and their names."""
    requires, without = resolved(pins, machine)
    wanted = needed(asked_for(), machine, requires.get)
    lines = []
    for name, asked in sorted(wanted.items()):
        if name not in pins:
            lines.append(f"{name} is needed ({asked[0]}) and not pinned")
        elif name in without:
            lines.append(f"{name}=={pins[name]} has no wheel")
        lines += [
            f"{name}=={pins[name]} does not suit {one}"
            for one in asked
            if name in pins and not one.specifier.contains(pins[name], prereleases=True)
        ]
    return len(wanted), lines, set(wanted)


def main() -> int:
    """Print a line per machine and per problem; returns an exit status."""
    pins = read_pins()
    used: set[str] = set()
    bad = 0
    for machine in machines():
        count, lines, names = problems(pins, machine)
        used |= names
        bad += len(lines)
        print(f"{machine.name}, Python {machine.python}: {count} libraries, "
              f"{len(lines) or 'no'} problem(s)", flush=True)  # fmt: skip
        for line in lines:
            print(f"    {line}", flush=True)
    for name in sorted(set(pins) - used):
        bad += 1
        print(f"{name}=={pins[name]} is pinned in {FILE.name} and needed nowhere")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
