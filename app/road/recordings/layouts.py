"""What the user said of how recordings are laid out, remembered for each source."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from app.needs import Memory
from calib_model.core.plain_file import open_plain

HEAD = 1 << 16
"""Bytes in which the header of a text file is looked for."""
_COMMENTS = ("#", "%", "//", "*")
_LINES = 2
"""Names and, below them, units."""


def head_key(path: Path) -> str:
    """Return a text that is equal for text files of the same columns; empty if there are none.

    What tells a source are the lines just above the first row of numbers.  Comments above them
    (date, driver) are another for every run.
    """
    try:
        with open_plain(path) as file:
            data = file.read(HEAD)
    except OSError:
        return ""  # told when it is read
    # Only to tell sources apart: no encoding has to be known for that.
    lines = data.replace(b"\0", b"").decode("latin-1").splitlines()
    head: list[str] = []
    for line in (text.strip().strip('"').strip() for text in lines):
        if line[:1].isdigit() or (line[:1] in "+-.," and line[1:2].isdigit()):
            break
        if line and not line.startswith(_COMMENTS):
            head.append(line)
    else:
        return ""
    return _hash(path, *head[-_LINES:]) if head else ""


def doubt_key(path: Path, doubt: object) -> str:
    """Return the same for a file of another format, by what is in doubt and what it offers."""
    choices = getattr(doubt, "choices", ())
    return _hash(path, str(getattr(doubt, "what", "")), *map(str, choices))


def _hash(path: Path, *parts: str) -> str:
    text = "\n".join((path.suffix.lower(), *parts))
    return hashlib.sha256(text.encode()).hexdigest()[:32]


class Layouts:
    """Answers by source.

    Parameters
    ----------
    memory : Memory
    """

    def __init__(self, memory: Memory) -> None:
        self._memory = memory

    def recall(self, key: str) -> dict[str, str]:
        """Return what was said of a source; empty for nothing."""
        text = self._memory.remembered(_place(key)) if key else ""
        try:
            plain = json.loads(text or "{}")
        except (ValueError, RecursionError):  # edited by hand: it is asked again
            return {}
        if not isinstance(plain, dict):
            return {}
        return {str(k): v for k, v in plain.items() if isinstance(v, str)}

    def keep(self, key: str, answers: Mapping[str, str]) -> None:
        """Remember what was said of a source; nothing at all takes back what was said before."""
        if key and dict(answers) != self.recall(key):
            self._memory.remember(_place(key), json.dumps(dict(answers)) if answers else "")


def _place(key: str) -> str:
    return f"road/layout/{key}"
