"""A process that edits and saves until it is killed.  Says each edit when it is recorded.

The state is one number, the value of a cell: edit number n sets it to n.
"""

from __future__ import annotations

import random
import sys
import threading
import time
from pathlib import Path

import numpy as np

from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import apply, change_to_plain, values_change
from calib_model.store import Journal, Saved, read_set, write_set


def say(text: str) -> None:
    """Tell the test, unbuffered."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def edited(content: CalibrationSet, number: int) -> tuple[CalibrationSet, dict]:
    """The content after edit `number`, and the change in plain form."""
    change = values_change(
        content["tick"], np.asarray(float(number)), f"Set to {number}", author="editor"
    )
    return apply(content, change), change_to_plain(change)


def save(path, content, history, stamp, point, results) -> None:  # type: ignore[no-untyped-def]
    """Save, in a thread, and leave the outcome."""
    results.append(write_set(path, content, history, expected_stamp=stamp, journal=point))


def main() -> None:
    """Arguments: file, random state."""
    path, chance = Path(sys.argv[1]), random.Random(int(sys.argv[2]))
    stored = read_set(path)
    content, history, stamp = stored.set, stored.history, stored.file_stamp
    journal = Journal.start(path, stamp, content, history)
    number = 0
    pending: list[dict] = []

    def edit() -> None:
        nonlocal content, number
        number += 1
        content, plain = edited(content, number)
        journal.append(plain)
        pending.append(plain)
        say(f"edit {number}")

    say("ready")
    while True:
        for _ in range(chance.randrange(1, 12)):
            edit()
            time.sleep(chance.choice((0, 0, 0.001, 0.004)))
        point, snapshot, until = journal.save_point(), content, number
        longer = history.with_entries(pending)
        pending = []
        results: list[Saved] = []
        thread = threading.Thread(target=save, args=(path, snapshot, longer, stamp, point, results))
        thread.start()
        if chance.random() < 0.5:
            while thread.is_alive():
                edit()
                time.sleep(0.003)
        thread.join()
        (saved,) = results
        say(f"saved {until}")
        history, stamp = saved.history, saved.file_stamp
        point.saved(path, saved, snapshot)


if __name__ == "__main__":
    main()
