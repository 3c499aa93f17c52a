"""A process that saves one set when it is told to, and says whether it did.

Each line of its input is ``file, value, moment``, by tabs: it opens the set, waits for the moment
(of the clock that all processes share) and saves the set with the value.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from calib_model.errors import FileChanged, SaveFailed
from calib_model.store import read_set_here, write_set, writing
from calib_model.store.source import read_bytes


def read_at_once(path: Path | str):  # type: ignore[no-untyped-def]
    """Read in this process: the race is between those who save."""
    data, stamp = read_bytes(Path(path))
    return read_set_here(data, path, stamp)


def main() -> None:
    """Argument: ``masked`` to work without the system's locks."""
    if "masked" in sys.argv:
        sys.modules["fcntl"] = None  # type: ignore[assignment]
    writing.read_set = read_at_once
    for line in sys.stdin:
        name, value, moment = line.rstrip("\n").split("\t")
        path = Path(name)
        stored = read_at_once(path)
        tick = stored.set["tick"].with_values(np.asarray(float(value)))
        content = stored.set.with_table(tick)
        print("ready", flush=True)
        sys.stdin.readline()
        time.sleep(max(0.0, float(moment)))
        try:
            write_set(path, content, stored.history, expected_stamp=stored.file_stamp)
            print("saved", flush=True)
        except FileChanged:
            print("changed", flush=True)
        except SaveFailed as error:
            print(f"failed: {error}", flush=True)


if __name__ == "__main__":
    main()
