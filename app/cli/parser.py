"""The arguments' parser of one verb: argparse whose errors are one line."""

from __future__ import annotations

import argparse
import contextlib
import re
from typing import Any, NoReturn

from app.cli.answer import CannotDo

_BELOW_ZERO = re.compile(r"-\.?\d[\d.,+\-eE]*$")
"""A number below zero, or a list that begins with one."""


class VerbParser(argparse.ArgumentParser):
    """An argument parser that raises `CannotDo` in place of printing usage and leaving.

    Parameters
    ----------
    verb : str
        Empty for the program itself.
    description : str
    """

    def __init__(self, verb: str, description: str, epilog: str = "") -> None:
        self.verb = verb
        super().__init__(
            prog=f"bitepoint {verb}".strip(),
            description=description,
            epilog=epilog,
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        # Else a list of numbers is taken for an option if it begins with a minus.
        self._negative_number_matcher = _BELOW_ZERO

    def error(self, message: str) -> NoReturn:
        """Raise instead of leaving."""
        raise CannotDo(f"{message[:1].upper()}{message[1:]}. See `{self.prog} --help`.")

    def _print_message(self, message: str, file: Any = None) -> None:
        # Python 3.11 lets this through where the reader of the help has gone.
        with contextlib.suppress(BrokenPipeError):
            super()._print_message(message, file)
