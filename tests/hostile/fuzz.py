"""Thousands of hostile files, many in one process; anyone can run it.

``python -m tests.hostile.fuzz KIND COUNT [FIRST]`` runs cases and says what came of them; without
arguments it lists the kinds.  A case is made from its number alone, so that a failure can be run
again: ``python -m tests.hostile.fuzz "rule sheet" 1 4711``.

A case fails if an error comes out that is no `BitepointError`, a damaged set opens with other
content, it takes more than five seconds of work, or the process comes to hold 1 GiB.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
SECONDS = 5
MEMORY = 1 << 30
STALLED = 60.0
"""Seconds without a case done after which a worker is ended: what hangs in a library does not
listen to the alarm."""
SETS = ("damaged set", "hostile set")
RECORDINGS = ("CSV", "Parquet", "MDF 4", "HDF5")
TABLES = ("tables CSV", "tables XLSX", "tables ODS", "tables NetCDF")


def kinds() -> tuple[str, ...]:
    """Return the names of all kinds of case."""
    from tests.hostile.text_kinds import TEXTS

    return (*SETS, *TEXTS, *(f"recording {kind}" for kind in RECORDINGS), *TABLES)


@dataclass
class Tally:
    """What came of some cases.

    Parameters
    ----------
    outcomes : Counter of str
        ``used``, ``refused``, and what may not be.
    failures : list of (case, words)
    peak : int
        Largest memory of a worker, in bytes.
    slowest : tuple of (seconds, case)
    """

    outcomes: Counter[str] = field(default_factory=Counter)
    failures: list[tuple[int, str]] = field(default_factory=list)
    peak: int = 0
    slowest: tuple[float, int] = (0.0, -1)

    @property
    def words(self) -> str:
        """Say it in a line."""
        told = ", ".join(f"{count} {what}" for what, count in sorted(self.outcomes.items()))
        return (
            f"{self.outcomes.total()} cases: {told}; at most {self.peak >> 20} MiB; slowest "
            f"{self.slowest[0]:.2f} s (case {self.slowest[1]})"
        )


# -- in the worker ---------------------------------------------------------------------------


class Late(BaseException):
    """The case took too long."""


def _runner(kind: str) -> Any:
    if kind == "damaged set":
        from tests.hostile.set_kinds import damaged_set

        return damaged_set
    if kind == "hostile set":
        from tests.hostile.set_kinds import hostile_set

        return hostile_set
    if kind.startswith("recording ") and kind.removeprefix("recording ") in RECORDINGS:
        from tests.hostile import recording_kinds

        own = kind.removeprefix("recording ")
        return lambda seed, folder: recording_kinds.case(own, seed, folder)
    if kind in TABLES:
        from tests.hostile import table_kinds

        return lambda seed, folder: table_kinds.case(kind, seed, folder)
    from tests.hostile import text_kinds

    return lambda seed, folder: text_kinds.case(kind, seed, folder)


def _judged(run: Any, seed: int, folder: Path) -> tuple[str, str]:
    """Return what came of a case, and the trace of what should not have come."""
    from app.cli.answer import CannotDo
    from calib_model.errors import BitepointError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            run(seed, folder)
    except (BitepointError, CannotDo) as problem:
        text = str(problem)
        if "Reading it failed" in text:  # what a reading process could not put in words
            return "failed inside", text
        return "refused", ""
    except Late:
        return "late", traceback.format_exc()[-1500:]
    except BaseException as error:
        return f"{type(error).__name__}", traceback.format_exc()[-2500:]
    return "used", ""


def _peak() -> int:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) << 10


def work(kind: str, first: int, end: int) -> None:
    """Run cases and write a line for each."""
    from calib_model.store.child import limit_resources

    def late(*_: object) -> None:
        raise Late

    run = _runner(kind)
    with tempfile.TemporaryDirectory(prefix="bitepoint-fuzz-") as name:
        os.environ["BITEPOINT_STATE_DIR"] = str(Path(name) / "state")
        os.environ["BITEPOINT_CONFIG_DIR"] = str(Path(name) / "config")
        folder = Path(name)
        _judged(run, -1, folder)  # what is imported and made once is no part of a case
        limit_resources(4 << 30, 1 << 30, seconds=0)
        signal.signal(signal.SIGPROF, late)
        said = sys.stdout
        sys.stdout = sys.stderr
        for seed in range(first, end):
            print(json.dumps([seed, "started"]), file=said, flush=True)
            start = time.process_time()
            signal.setitimer(signal.ITIMER_PROF, SECONDS)
            what, words = _judged(run, seed, folder)
            signal.setitimer(signal.ITIMER_PROF, 0)
            spent = time.process_time() - start
            peak = _peak()
            if peak > MEMORY:
                what, words = "too much memory", f"{peak >> 20} MiB {what} {words}"
            print(json.dumps([seed, what, words, spent, peak]), file=said, flush=True)
            if peak > MEMORY:
                return


# -- in the parent ---------------------------------------------------------------------------


def run(kind: str, count: int, first: int = 0, *, progress: Any = None) -> Tally:
    """Run cases in workers, one after another; a worker that ends or hangs costs one case."""
    tally, at = Tally(), first
    while at < first + count:
        at = _one_worker(kind, at, first + count, tally, progress)
    return tally


def _one_worker(kind: str, at: int, end: int, tally: Tally, progress: Any) -> int:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1",
                   "OMP_NUM_THREADS": "1", "ARROW_DEFAULT_MEMORY_POOL": "system"}  # fmt: skip
    with tempfile.TemporaryFile("w+") as errors:
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.hostile.fuzz", "--work", kind, str(at), str(end)],
            cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=errors, text=True,
        )  # fmt: skip
        last, begun, stalled = time.monotonic(), -1, False
        done = threading.Event()

        def watch() -> None:
            nonlocal stalled
            while not done.wait(1.0):
                if time.monotonic() - last > STALLED:
                    stalled = True
                    process.kill()

        watcher = threading.Thread(target=watch)
        watcher.start()
        assert process.stdout is not None
        finished = at - 1
        for line in process.stdout:
            last = time.monotonic()
            seed, what, *rest = json.loads(line)
            if what == "started":
                begun = seed
                continue
            finished = seed
            words, spent, peak = rest
            _note(tally, seed, what, words, spent, peak)
            if progress is not None:
                progress(seed, tally)
        done.set()
        watcher.join()
        process.wait()
        process.stdout.close()
        if finished < begun:  # it ended in the midst of a case
            errors.seek(0)
            what, words = "hung" if stalled else f"ended with {process.returncode}", errors.read()
            if kind == "damaged set" or kind.startswith("recording ") or kind in TABLES:
                what, words = _by_a_process_of_its_own(kind, begun, what)
            _note(tally, begun, what, words[-1500:], 0.0, 0)
            finished = begun
        elif finished < at:
            errors.seek(0)
            raise RuntimeError(f"The worker did not begin: {errors.read()[-3000:]}")
        return finished + 1


def _by_a_process_of_its_own(kind: str, seed: int, what: str) -> tuple[str, str]:
    """Read what ended the worker as the program would: a format library's crash is told there."""
    from tests.hostile.measured import opened
    from tests.hostile.recording_kinds import damaged_recording
    from tests.hostile.set_kinds import damaged_image
    from tests.hostile.table_kinds import hostile_tables

    with tempfile.TemporaryDirectory(prefix="bitepoint-fuzz-") as name:
        path = Path(name) / "case"
        if kind == "damaged set":
            path.write_bytes(damaged_image(seed))
            found = opened("set_file", path)
        elif kind in TABLES:
            path.write_bytes(hostile_tables(kind, seed))
            found = opened("tables", path)
        else:
            path.write_bytes(damaged_recording(kind.removeprefix("recording "), seed))
            found = opened("recording", path)
        found.require_bounded()
    return ("refused", "") if found.said.startswith("refused: ") else (what, found.said)


def _note(tally: Tally, seed: int, what: str, words: str, spent: float, peak: int) -> None:
    tally.outcomes[what] += 1
    tally.peak = max(tally.peak, peak)
    tally.slowest = max(tally.slowest, (spent, seed))
    if what not in ("used", "refused"):
        tally.failures.append((seed, f"{what}: {words}"))


def main(arguments: list[str]) -> int:
    """Run from the command line."""
    if arguments[:1] == ["--work"]:
        work(arguments[1], int(arguments[2]), int(arguments[3]))
        return 0
    if not arguments:
        print("\n".join(kinds()))
        return 0
    if arguments[0] not in kinds():
        print(f"There is no kind {arguments[0]!r}. Kinds:", *kinds(), sep="\n  ")
        return 2
    kind, count = arguments[0], int(arguments[1]) if len(arguments) > 1 else 1000
    first = int(arguments[2]) if len(arguments) > 2 else 0

    def progress(seed: int, tally: Tally) -> None:
        if (seed - first + 1) % max(100, count // 20) == 0:
            print(f"{kind}: {tally.words}", flush=True)

    tally = run(kind, count, first, progress=progress)
    seen: Counter[str] = Counter()
    for seed, words in tally.failures:
        short = words.strip().splitlines()[-1] if words.strip() else ""
        seen[short] += 1
        if seen[short] <= 2:
            print(f"--- case {seed}: {words}")
    print(f"DONE {kind}: {tally.words}; {len(tally.failures)} failures", flush=True)
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
