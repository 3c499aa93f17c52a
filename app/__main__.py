"""The program: arguments in, exit status out.  Qt is loaded only to open the window."""

from __future__ import annotations

import difflib
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from app.cli.answer import GOOD, NOT_DONE, Answer, CannotDo, one_line, refuse
from app.cli.verbs import VERBS, program_parser, verb
from calib_model.core.plain_file import is_there
from calib_model.errors import BitepointError
from calib_model.foreign_text import plain_lines

# For streams that cannot carry them; a lost minus sign must never pass for a plus.
_PLAIN_SIGNS = str.maketrans(
    {"\u2212": "-", "→": "->", "×": "x", "±": "+-", "·": ".", "°": "deg ", "²": "2", "³": "3"}
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the program.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name.

    Returns
    -------
    int
        0 sound, same or done; 1 findings or differences; 2 could not be done, with one line on
        standard error that says why and what to do.
    """
    arguments = list(sys.argv[1:] if argv is None else argv)
    try:
        if arguments and arguments[0] in VERBS:
            answer = verb(arguments[0]).run(arguments[1:])
            return _print(answer)
        return _open_window(arguments)
    except SystemExit as done:  # argparse, after --help and --version
        return _leave(done)
    except BrokenPipeError:
        _drop_output()
        return NOT_DONE
    except CannotDo as problem:
        return _complain(str(problem))
    except KeyboardInterrupt:
        return _complain("Stopped.")
    except Exception as problem:
        return _complain(_told(problem))


def _open_window(arguments: list[str]) -> int:
    given = program_parser().parse_args(arguments)
    for name in given.files:
        _require_no_mistyped_verb(name)
    if sys.platform.startswith("linux") and not (
        os.environ.get("QT_QPA_PLATFORM")
        or os.environ.get("DISPLAY")
        or os.environ.get("WAYLAND_DISPLAY")
    ):
        refuse("There is no display to open a window on.", "Use a verb; see `bitepoint --help`.")
    try:
        from app.shell.start import run_window
    except ImportError as problem:
        refuse(
            f"The window cannot be loaded ({one_line(str(problem))}).",
            "Start with `python3 app/run.py`, which finds what is missing.",
        )
    return run_window([Path(name) for name in given.files])


def _require_no_mistyped_verb(name: str) -> None:
    path = Path(name)
    if path.suffix or len(path.parts) != 1 or is_there(path):
        return
    near = difflib.get_close_matches(name, VERBS, 1)
    refuse(
        f"{name!r} is neither a file nor a verb.",
        f"Did you mean `bitepoint {near[0]}`?" if near else "See `bitepoint --help`.",
    )


def _print(answer: Answer) -> int:
    try:
        _write(sys.stdout, answer.text)
    except BrokenPipeError:  # whoever reads has read enough; the answer stands
        _drop_output()
    except OSError as problem:
        _drop_output()
        return _complain(f"The answer cannot be written ({problem}). Check the drive.")
    return answer.status


def _write(stream: TextIO, text: str) -> None:
    text = plain_lines(text)
    encoding = stream.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        text = text.translate(_PLAIN_SIGNS).encode(encoding, "replace").decode(encoding)
    stream.write(text)
    stream.flush()


def _drop_output() -> None:
    # Python would complain on leaving, when it flushes what can no longer be written.
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.close(quiet)


def _complain(text: str) -> int:
    try:
        _write(sys.stderr, f"bitepoint: {one_line(text)}\n")
    except (OSError, ValueError):  # nobody listens; the status still tells
        pass
    return NOT_DONE


def _told(problem: Exception) -> str:
    """Return one line for an error: its own words, or what kind of error it is."""
    if isinstance(problem, BitepointError):
        return str(problem)
    if isinstance(problem, MemoryError):
        return "There is not enough memory. Close other programs and try again."
    return (
        f"Something unforeseen went wrong ({type(problem).__name__}: {problem}). "
        "Please report it with the command that led here."
    )


def _leave(done: SystemExit) -> int:
    if done.code in (None, 0):
        try:
            sys.stdout.flush()
        except BrokenPipeError:
            _drop_output()
        return GOOD
    return done.code if isinstance(done.code, int) else NOT_DONE


if __name__ == "__main__":
    sys.exit(main())
