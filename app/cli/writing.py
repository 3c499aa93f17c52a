"""Where a verb writes a report: ``--to FORM OUT``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from app.cli.answer import refuse
from app.cli.reading import same_file


def out_path(
    verb: str, to: Sequence[str] | None, inputs: Sequence[Path], forms: Sequence[str] = ("html",)
) -> Path | None:
    """Return the file to write, None for none; no file that is read is written over.

    Parameters
    ----------
    verb : str
    to : sequence of str or None
        Form and name, as given.
    inputs : sequence of Path
        What the verb reads.
    forms : sequence of str
        What it can write.
    """
    if to is None:
        return None
    form, name = to
    if form not in forms:
        ways = " or ".join(f"--to {one} OUT" for one in forms)
        refuse(f"{verb} writes no {form!r}.", f"Use {ways}.")
    path = Path(name)
    if any(same_file(path, one) for one in inputs):
        refuse(f"{path}: This is one of the files read.", "Give another file to write to.")
    return path
