"""Read many spoilt files in one process, as the reading process would, and say what came out.

Crashes and hangs of the HDF5 library end this process, which the test sees.
"""

from __future__ import annotations

import json
import random
import resource
import sys
from array import array
from functools import lru_cache
from pathlib import Path

from calib_model.errors import FileProblem
from calib_model.store import read_set_here
from calib_model.store.child import limit_resources
from calib_model.store.source import Stamp


def spoilt(data: bytes, kind: str, seed: int) -> bytes:
    """Return the data with one damage: ``flip`` (a bit, mostly in use), ``cut``, ``noise``."""
    chance = random.Random(seed)
    copy = bytearray(data)
    if kind == "flip":
        place = chance.choice(kept(data)) if seed % 4 else chance.randrange(len(data))
        bit = 8 * place + chance.randrange(8)
        copy[bit // 8] ^= 1 << bit % 8
    elif kind == "cut":
        del copy[chance.randrange(len(data)) :]
    else:
        for _ in range(chance.choice((1, 2, 8, 64))):
            place = chance.randrange(len(copy))
            run = chance.randrange(1, 33)
            copy[place : place + run] = chance.randbytes(run)[: len(copy) - place]
    return bytes(copy)


@lru_cache(maxsize=1)
def kept(data: bytes) -> array[int]:
    """Return the places that hold anything: five sixths of a small file are room left free."""
    return array("L", (place for place, byte in enumerate(data) if byte))


def outcome(data: bytes, sound: str) -> str:
    """Return ``refused``, ``same``, ``differs`` or the unexpected error."""
    try:
        stored = read_set_here(data, "spoilt.h5", Stamp(0, 0, 0))
    except FileProblem as problem:
        return "refused" if problem.problem and problem.remedy else f"no remedy: {problem}"
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    return "same" if fingerprint(stored) == sound else "differs"


def fingerprint(stored) -> str:  # type: ignore[no-untyped-def]
    """Return a text that differs where two stored sets do, hash left out."""
    from calib_model.core.plain import axis_to_plain, table_to_plain

    return json.dumps(
        [
            [table_to_plain(t) for t in stored.set],
            [axis_to_plain(a) for a in stored.set.shared_axes.values()],
            stored.set.about(),
            list(stored.history.entries()),
            list(stored.records),
        ]
    )


def peak_memory() -> int:
    """Largest memory of this process since it was started, in bytes.

    The system's resource usage would count what the process that started this one held at the
    fork; the status file starts afresh with the new program.
    """
    status = Path("/proc/self/status")
    if not status.exists():  # not Linux
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    line = next(text for text in status.read_text().splitlines() if text.startswith("VmHWM"))
    return int(line.split()[1]) * 1024


def main() -> None:
    """Arguments: file, kind of damage, first seed, number of cases."""
    data = Path(sys.argv[1]).read_bytes()
    kind, first, count = sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    sound = fingerprint(read_set_here(data, "sound.h5", Stamp(0, 0, 0)))
    limit_resources()
    for seed in range(first, first + count):
        print(seed, outcome(spoilt(data, kind, seed), sound), flush=True)
    print("peak", peak_memory())


if __name__ == "__main__":
    main()
