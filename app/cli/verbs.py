"""The verbs by name, and the program's own help."""

from __future__ import annotations

import textwrap
from importlib import import_module
from types import ModuleType

from app.cli.parser import VerbParser
from calib_model.cautions import LINE

VERBS = (
    "accept",
    "breakpoints",
    "campaign",
    "check",
    "compare",
    "complaints",
    "coverage",
    "export",
    "fit",
    "import",
    "invert",
    "keys",
    "manoeuvre",
    "programme",
    "quantise",
    "reaxis",
    "repair",
    "replay",
    "rules",
    "show",
    "sign",
    "smooth",
    "summary",
    "verify",
    "waive",
)
_MODULES = {"import": "import_text"}  # `import` cannot be the name of a module one imports


def verb(name: str) -> ModuleType:
    """Return a verb's module: with `SUMMARY`, `parser()` and `run(arguments)`."""
    return import_module(f"app.cli.{_MODULES.get(name, name)}")


def program_parser() -> VerbParser:
    """Return the parser for the program without a verb."""
    rows = "\n".join(f"  bitepoint {name:11} {verb(name).SUMMARY}" for name in VERBS)
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
