"""A process that edits and saves until it is killed.  Says each edit when it is recorded.

The state is one number, the value of a cell: edit number n sets it to n.

Run as a program, it starts such processes as it is told on standard input, by a fork: importing
everything anew would cost each of a thousand kills most of its time.
"""

from __future__ import annotations

import os
import random
import sys
import threading
import time
from pathlib import Path

import numpy as np

from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import apply, change_to_plain, values_change
from calib_model.store import Journal, Saved, image_of, read_set_here, write_set
from calib_model.store.source import read_bytes


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


def edit_on(path: Path, chance: random.Random) -> None:
    """Edit and save without end.

    Says ``edit N`` when an edit is recorded, ``kept N`` when the journal says that no power cut
    can take it, ``saved N`` when the file holds it.
    """
    data, found = read_bytes(path)
    stored = read_set_here(data, path, found)
    content, history, stamp = stored.set, stored.history, stored.file_stamp
    journal = Journal.start(path, stamp, content, history)
    number = kept = 0
    pending: list[dict] = []

    def edit() -> None:
        nonlocal content, number, kept
        number += 1
        content, plain = edited(content, number)
        journal.append(plain)
        pending.append(plain)
        say(f"edit {number}")
        if journal.on_disk > kept:
            kept = journal.on_disk
            say(f"kept {kept}")

    say("ready")
    while True:
        for _ in range(chance.randrange(1, 12)):
            edit()
            time.sleep(chance.choice((0, 0, 0.001, 0.004, 0.02)))
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


def main() -> None:
    """Each line of input, ``random state, file, state folder, file for what it says``, by tabs."""
    image_of(CalibrationSet([]))  # imports what saving needs now, not in each process
    for line in sys.stdin:
        seed, path, state, out = line.rstrip("\n").split("\t")
        process = os.fork()
        if not process:
            os.environ["BITEPOINT_STATE_DIR"] = state
            with Path(out).open("w") as sys.stdout:
                edit_on(Path(path), random.Random(int(seed)))
        say(str(process))
        os.waitpid(process, 0)
        say("ended")


if __name__ == "__main__":
    main()
