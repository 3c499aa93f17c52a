"""Functions, classes and methods that nothing uses: `.venv/bin/python .ci/dead_names.py`.

vulture finds them; what Qt calls, and what is looked up by a name in a text, it cannot know.
"""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
from pathlib import Path

import pyqtgraph
import vulture
from PySide6 import QtCore, QtGui, QtWidgets

ROOT = Path(__file__).resolve().parents[1]
KINDS = ("function", "class", "method", "property")


def overridden() -> set[str]:
    """Return the names that Qt's and pyqtgraph's classes know, and may call."""
    modules = (QtCore, QtGui, QtWidgets, pyqtgraph)
    classes = (c for m in modules for _, c in inspect.getmembers(m, inspect.isclass))
    return {name for c in classes for name in dir(c)}


def main() -> int:
    """List them; returns an exit status."""
    listed = subprocess.run(
        ["git", "ls-files", "*.py"], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True
    )
    files = [ROOT / name for name in listed.stdout.split()]
    finder = vulture.Vulture()
    finder.scavenge([str(path) for path in files])
    called = overridden()
    quoted = re.compile(r"'[^'\n]*'|\"[^\"\n]*\"")
    said = " ".join(text for path in files for text in quoted.findall(path.read_text("utf-8")))
    in_texts = set(re.findall(r"\w+", said))
    dead = [
        item
        for item in finder.get_unused_code()
        if item.typ in KINDS
        and "tests" not in Path(item.filename).relative_to(ROOT).parts
        and not item.name.startswith("__")
        and item.name not in called
        and not {item.name, item.name.lstrip("_")} & in_texts
    ]
    for item in dead:
        place = Path(item.filename).relative_to(ROOT)
        print(f"{place}:{item.first_lineno}: nothing uses the {item.typ} {item.name}")
    return 1 if dead else 0


if __name__ == "__main__":
    sys.exit(main())
