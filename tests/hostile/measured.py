"""Open one file in a process of its own; say what came of it, the work and the memory it took."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
SECONDS = 5.0
MEMORY = 1 << 30

_CODE = """
import json, resource, sys, time
from calib_model.errors import BitepointError

def set_file(path):
    from calib_model.store import read_set
    stored = read_set(path)
    return sum(1 for _ in stored.history.entries())

def recording(path):
    from calib_model.controller.constants import Constants
    from calib_model.evidence.mapping import suggest
    from calib_model.evidence.reading import read_recording
    from calib_model.evidence.ticks import on_ticks
    found = read_recording(path)
    return on_ticks(found, suggest(found), Constants()).time.size

def tables(path):
    from calib_model.bringing.understanding import understand
    return len(understand([path]).tables)

try:
    said = f"opened: {globals()[sys.argv[1]](sys.argv[2])}"
except BitepointError as problem:
    said = f"refused: {problem.problem} {problem.remedy}"
from calib_model.store.launch import end_resting
end_resting()  # the system counts what has ended
own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
with open("/proc/self/status") as status:
    peak = next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
print(json.dumps([said, own.ru_utime + own.ru_stime, peak << 10,
                  others.ru_utime + others.ru_stime, others.ru_maxrss << 10]))
"""


class Outcome(NamedTuple):
    """What came of a file: words, then seconds of work and peak bytes, here and in the reader."""

    said: str
    seconds: float
    memory: int
    child_seconds: float
    child_memory: int

    def require_bounded(self) -> None:
        """Fail unless both processes stayed within five seconds and a gibibyte."""
        assert self.seconds < SECONDS, self
        assert self.child_seconds < SECONDS, self
        assert self.memory < MEMORY, self
        assert self.child_memory < MEMORY, self


def opened(kind: str, path: Path) -> Outcome:
    """Open a ``set_file``, a ``recording`` or a file of ``tables``."""
    done = subprocess.run(
        [sys.executable, "-c", _CODE, kind, str(path)],
        cwd=ROOT, capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return Outcome(*json.loads(done.stdout.splitlines()[-1]))
