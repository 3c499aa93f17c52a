"""Run all tests from a clone: `python3 tests/run.py [options] [pytest arguments]`.

Sets the machine up on the first start, runs the suite offscreen, then the tests that need real
windows under a virtual screen, and adds both up.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[0] = str(ROOT)  # see app/run.py

from app import bootstrap  # noqa: E402


def main(arguments: list[str]) -> int:
    """Run the parts that were asked for; returns 0 only when tests ran and none failed."""
    options, rest = _parse(arguments)
    # A virtual screen, and OpenSSH to verify signatures with as a reviewer would.
    programs = ("Xvfb", "ssh-keygen") if sys.platform.startswith("linux") else ()
    try:
        python = bootstrap.ensure_environment(("test",), programs=programs, newest=options.newest)
    except bootstrap.SetupError as problem:
        print(f"Bitepoint set-up failed: {problem}", file=sys.stderr)
        return 2
    limits = _limits(python) if options.limited else {}
    if limits is None:
        return 2
    _fetch_published(python)
    total: Counter[str] = Counter()
    skips: list[tuple[str, str]] = []
    times: list[tuple[float, str]] = []
    worst = 0
    with tempfile.TemporaryDirectory(prefix="bitepoint-tests-", ignore_cleanup_errors=True) as run:
        env = {**os.environ, "BITEPOINT_TEST_RUN_DIR": run, "PYTHONUTF8": "1", **limits}
        for name in ("QT_QPA_PLATFORM", "PYTHONDONTWRITEBYTECODE"):
            env.pop(name, None)  # the second: some hundred processes would each compile our modules
        # The workers share the cores; threads of their own would only wait for each other, busily.
        env |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        if options.slow:
            env["BITEPOINT_HYPOTHESIS_PROFILE"] = "slow"
        _compile(python, env, Path(run))
        if options.limited and not any(Path(ROOT, word).exists() for word in rest):
            rest += SENSITIVE
        for number, (windows, extra) in enumerate(_parts(options)):
            report = Path(run) / f"report-{number}.xml"
            command = [str(python), "-m", "pytest", *extra, *rest, f"--junitxml={report}"]
            with _screen(env, windows=windows) as part_env:
                status = subprocess.call(command, cwd=ROOT, env=part_env, stdin=subprocess.DEVNULL)
            if status not in (0, 5):  # 5: nothing was selected in this part
                worst = worst or status
            counts, skipped = _read_report(report)
            total += counts
            skips += skipped
            times += _read_times(report)
    failed = total["failed"]
    if not total["passed"] + failed + len(skips):
        print("No test was selected.")
        worst = worst or 5
    if options.allowed_skips is not None and not _skips_are_allowed(skips, options.allowed_skips):
        worst = worst or 1
    slowest = sorted(times, reverse=True)[:SLOWEST]
    print(f"\nThe {len(slowest)} slowest tests, in seconds with what they set up:")
    for seconds, name in slowest:
        print(f"{seconds:7.2f}  {name}")
    print(f"{total['passed']} passed, {failed} failed, {len(skips)} skipped")
    return worst or (1 if failed else 0)


SLOWEST = 10
"""How many tests are named at the end."""

# What feels which instructions there are, found by taking them away (see tests/limits.py).
SENSITIVE = [
    f"tests/{name}"
    for name in ("controller", "evidence", "evidence_reading", "lookup", "samples", "shaping",
                 "vehicle_model", "vehicle_runs")
]  # fmt: skip

# Data sets that tests compare with. Their package would drag the environment back to old
# libraries, so it lies in a folder of its own and only its CSV files are read.
PUBLISHED = "fastsim==2.1.5"


def _fetch_published(python: Path) -> None:
    """Fetch the published drive cycles, once."""
    folder = ROOT / ".venv" / "published"
    mark = folder / "complete"
    if mark.exists() and mark.read_text() == PUBLISHED:
        return
    # Whatever the system: a wheel of one kind, since there is none for some, and none is run.
    command = [*bootstrap.pip_command(python), "install", "--quiet", "--no-deps", "--upgrade",
               "--only-binary=:all:", "--platform=manylinux2014_x86_64", "--python-version=3.11",
               "--implementation=cp", "--disable-pip-version-check", "--target", str(folder),
               PUBLISHED]  # fmt: skip
    if subprocess.call(command, stdin=subprocess.DEVNULL) == 0:
        mark.write_text(PUBLISHED)
    else:
        print("The published drive cycles were not fetched; their tests will fail.")


def _limits(python: Path) -> dict[str, str] | None:
    """Return what limits the instruction sets; None, with the reason told, where it does not."""
    ran = subprocess.run(
        [str(python), str(ROOT / "tests" / "limits.py")], stdout=subprocess.PIPE, text=True
    )
    if ran.returncode != 0:
        print(f"The instruction sets were not limited. {ran.stdout}", file=sys.stderr)
        return None
    limits: dict[str, str] = json.loads(ran.stdout)
    print("limited:", " ".join(f"{name}={value}" for name, value in limits.items()), flush=True)
    return limits


def _compile(python: Path, env: dict[str, str], run: Path) -> None:
    """Fill the run's cache of compiled code, before workers would all do so at once.

    What set-up compiled of this very source, for this very processor, is copied: to compile all of
    it takes half a minute.
    """
    command = [
        str(python),
        "-c",
        "from calib_model.lookup.jit import cache_folder; print(cache_folder())",
    ]
    asked = subprocess.run(command, cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True)
    kept = Path(asked.stdout.strip() or "none")
    cache = run / "numba"  # as tests/conftest.py has it
    if kept.is_dir():
        shutil.copytree(kept, cache / kept.parent.name / kept.name)
    subprocess.call(
        [str(python), "-m", "app.warm_cache"],
        cwd=ROOT, env={**env, "NUMBA_CACHE_DIR": str(cache)}, stdin=subprocess.DEVNULL,
    )  # fmt: skip


def _parse(arguments: list[str]) -> tuple[argparse.Namespace, list[str]]:
    parser = argparse.ArgumentParser(
        prog="tests/run.py", description=__doc__, allow_abbrev=False, epilog="pytest reads the rest"
    )
    parser.add_argument("--slow", action="store_true", help="add the tests that take minutes")
    parser.add_argument("--benchmarks", action="store_true", help="time tests/benchmarks instead")
    parser.add_argument(
        "--newest", action="store_true", help="with the newest libraries, not those pinned"
    )
    parser.add_argument(
        "--limited", action="store_true",
        help="without the processor's newer instructions, see tests/limits.py; by default the "
             "tests that feel it, or those named",
    )  # fmt: skip
    parser.add_argument("--allowed-skips", type=Path, help="fail on a skip this file does not list")
    parser.add_argument("-m", dest="mark", help="narrow to a marker expression, as in pytest")
    return parser.parse_known_args(arguments)


def _parts(options: argparse.Namespace) -> Iterator[tuple[bool, list[str]]]:
    """Yield whether a part needs real windows, and its pytest arguments."""
    if options.benchmarks:
        yield False, ["--benchmark-enable", "-m", "not gl and not window",
                      "--timeout=1800", "tests/benchmarks"]  # fmt: skip
        return
    patience = ["--timeout=3600", "-o", "faulthandler_timeout=3500"] if options.slow else []
    for windows, chosen in ((False, "not gl and not window"), (True, "(gl or window)")):
        if windows and options.limited:
            return  # a window's pixels come from no elementary function
        terms = [chosen, *([] if options.slow else ["not slow"])]
        terms += [f"({options.mark})"] if options.mark else []
        # Real windows take the keyboard from each other, so only the first part is shared out;
        # a file's tests stay together, since they share what is costly to make.
        workers = [] if windows else [f"-n{min(os.cpu_count() or 1, 4)}", "--dist=loadfile"]
        yield windows, ["-m", " and ".join(terms), *workers, *patience]


@contextmanager
def _screen(env: dict[str, str], *, windows: bool) -> Iterator[dict[str, str]]:
    """Give the environment of a part: offscreen, or a virtual screen of its own on Linux."""
    if not windows:
        yield {**env, "QT_QPA_PLATFORM": "offscreen"}
        return
    if not sys.platform.startswith("linux"):
        native = {"win32": "windows", "darwin": "cocoa"}.get(sys.platform, "xcb")
        yield {**env, "QT_QPA_PLATFORM": native}
        return
    # The server picks a free display number itself and writes it to the pipe once it is ready.
    reading, writing = os.pipe()
    command = ["Xvfb", "-displayfd", str(writing), "-screen", "0", "1600x1000x24",
               "-nolisten", "tcp", "-noreset"]  # fmt: skip
    server = subprocess.Popen(
        command, pass_fds=(writing,), stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    os.close(writing)
    try:
        with os.fdopen(reading) as pipe:
            display = pipe.readline().strip()
        if not display:
            raise SystemExit(f"The virtual screen did not start; try by hand: {' '.join(command)}")
        hidden = ("WAYLAND_DISPLAY", "XAUTHORITY")
        base = {name: value for name, value in env.items() if name not in hidden}
        yield {
            **base,
            "DISPLAY": f":{display}",
            "QT_QPA_PLATFORM": "xcb",
            "LIBGL_ALWAYS_SOFTWARE": "1",  # the virtual screen has no other renderer
        }
    finally:
        server.terminate()
        server.wait()


def _read_report(path: Path) -> tuple[Counter[str], list[tuple[str, str]]]:
    """Count a part's outcomes; a part that died without a report counts as one failure."""
    try:
        suites = ET.parse(path).getroot()
    except (OSError, ET.ParseError):
        return Counter(failed=1), []
    counts: Counter[str] = Counter()
    skips = []
    for case in suites.iter("testcase"):
        name = f"{case.get('classname')}.{case.get('name')}"
        skip = case.find("skipped")
        if case.find("failure") is not None or case.find("error") is not None:
            counts["failed"] += 1
        elif skip is not None:  # an expected failure counts as a skip: it did not pass
            skips.append((name, skip.get("message") or ""))
        else:
            counts["passed"] += 1
    return counts, skips


def _read_times(path: Path) -> list[tuple[float, str]]:
    """Return the seconds and the name of each test of a part."""
    try:
        suites = ET.parse(path).getroot()
    except (OSError, ET.ParseError):
        return []
    return [
        (float(case.get("time") or 0), f"{case.get('classname')}.{case.get('name')}")
        for case in suites.iter("testcase")
    ]


def _skips_are_allowed(skips: list[tuple[str, str]], listing: Path) -> bool:
    """Print every skip, and whether the file lists it: one `NAME  # REASON` per line."""
    lines = [line.partition("#") for line in listing.read_text("utf-8").splitlines()]
    allowed = {name.strip() for name, _, why in lines if name.strip() and why.strip()}
    for name, reason in skips:
        state = "listed" if name in allowed else "NOT LISTED"
        print(f"skipped ({state} in {listing.name}): {name}: {reason}")
    return all(name in allowed for name, _ in skips)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
