"""The verbs by name, and the program's own help."""

from __future__ import annotations

import textwrap
from importlib import import_module
from types import ModuleType

from app.cli.parser import VerbParser
from calib_model.cautions import LINE

VERBS = {
    "accept": "accept or query tables as they are",
    "bind": "which table plays which part of the controller: suggested, confirmed",
    "breakpoints": "place the breakpoints of an axis",
    "campaign": "drive manoeuvres under many conditions and list the worst cases",
    "check": "check every rule of a set",
    "compare": "list every difference between two sets",
    "complaints": "list complaints, raise, answer or prove one",
    "coverage": "which cells recordings used, and which edits were driven",
    "export": "write a set for other programs",
    "fit": "fit a curve or map from measurements",
    "import": "bring tables of other files into a set",
    "invert": "turn a table round along an axis",
    "keys": "make a key to sign with",
    "manoeuvre": "drive manoeuvres at the desk and read their metrics",
    "new": "make a set, empty or from another",
    "programme": "show a programme file; confirm its signers and owners",
    "quantise": "round a table to what the controller can hold",
    "reaxis": "move a table to other breakpoints",
    "repair": "find the nearest values that satisfy every rule",
    "replay": "what a set would have commanded along a recording",
    "rules": "print a set's rules and bindings as a sheet, or apply one",
    "set": "give cells a value, or change what they hold",
    "show": "list a set's tables, or show one",
    "sign": "sign a set, if nothing is left to do",
    "smooth": "smooth a table under its rules",
    "summary": "write the day's summary, or the change note",
    "table": "add, copy, rename, remove, convert or reshape a table",
    "verify": "verify who signed a set, and what changed since",
    "waive": "accept a finding, with a reason and an approver",
}
"""What each does, for the program's help, which loads none of them."""
_MODULES = {"import": "import_files"}  # `import` cannot be the name of a module one imports


def verb(name: str) -> ModuleType:
    """Return a verb's module: with `parser()` and `run(arguments)`."""
    return import_module(f"app.cli.{_MODULES.get(name, name)}")


def program_parser() -> VerbParser:
    """Return the parser for the program without a verb."""
    rows = "\n".join(f"  bitepoint {name:11} {does}" for name, does in VERBS.items())
    made = VerbParser(
        "",
        "Shape, check, compare and export driveline calibration tables.  Without a verb the "
        f"window\nopens.\n\nverbs (each has its own --help):\n{rows}",
        "\n".join(textwrap.wrap(LINE, 80)),
    )
    made.add_argument("files", metavar="FILES", nargs="*", help="calibration set files to open")
    made.add_argument("--version", action="version", version=f"bitepoint {program_version()}")
    return made


def program_version() -> str:
    """Return the installed version."""
    # Takes longer to load than a small set to check.
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("bitepoint")
    except PackageNotFoundError:  # run from a folder that was never installed
        return "(not installed)"
