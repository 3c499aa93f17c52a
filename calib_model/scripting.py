"""Opening, editing and saving sets from a script or notebook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from .core.calibration_set import CalibrationSet
from .core.people import login_name
from .core.plain_file import is_there
from .core.record import SignOff
from .editing.change import Change, RecordEdit, apply, values_change
from .editing.difference import change_between
from .errors import EditRefused
from .formats.outgoing import Outgoing
from .formats.registry import format_of, read_from
from .session.document import Document
from .session.files import open_document, save_document
from .signoff.verification import verify


def open_set(path: Path | str) -> CalibrationSet:
    """Read a set file.

    Parameters
    ----------
    path : path-like

    Raises
    ------
    FileProblem
        If it cannot be read; the text names the file, the place and the remedy.
    """
    return open_document(path).content


def save_set(
    content: CalibrationSet,
    path: Path | str,
    *,
    title: str = "Edit by script",
    author: str | None = None,
    reason: str = "",
) -> None:
    """Write a set to a file, atomically.

    If the file holds a set already, its history goes on with one entry from the old content to
    the new one.  What its record holds is kept; new items and sign-offs are added.

    Parameters
    ----------
    content : CalibrationSet
    path : path-like
    title : str
        For the entry in the history.
    author : str, optional
        Who edits: by default the name that this computer knows the user by.  Nobody accepts
        their own edits.
    reason : str
        Why, for the history and for the change note that is made of it.  Save after each step
        to give each its own.

    Raises
    ------
    SaveFailed
        The old file is intact.
    FileProblem
        If the file holds something that cannot be read as a set.
    EditRefused
        If the file may not be written to.
    """
    target = Path(path)
    name = login_name() if author is None else author
    if is_there(target):
        document = open_document(target, name)
        change = change_between(document.content, content, title, record=True)
        change = replace(change, reason=reason.strip())
        items = [e for e in change.edits if isinstance(e, RecordEdit)]
        others = tuple(e for e in change.edits if not isinstance(e, RecordEdit))
        kept = tuple(e for e in items if e.after and not isinstance(e.after, SignOff))
        document.do(replace(change, edits=others + kept))
        for edit in items:
            if isinstance(edit.after, SignOff) and edit.before is None:
                document.sign(edit.after)
    else:
        document = Document(content, author=name)
    save_document(document, target)


def export_set(
    content: CalibrationSet,
    path: Path | str,
    to: str = "",
    *,
    signers: Path | str | None = None,
) -> Path:
    """Write a set for other programs, in one of the formats of `calib_model.formats`.

    Parameters
    ----------
    content : CalibrationSet
        A value has no history, so none is written.
    path : path-like
        What is not signed off, was changed since, or was not checked against a list of signers
        says so in the file and in its name.
    to : str
        Id of a format (``h5``, ``text``, ``csv``, ``signoff``, ``report``); by default the one
        that the suffix says, and a folder of sign-off artefacts where there is none.
    signers : path-like, optional
        The team's list of allowed signers.

    Returns
    -------
    Path
        The file (or folder) that was written.

    Raises
    ------
    ModelError
        If there is no such format.
    FileProblem
        If the file cannot be written, or a folder is there already.
    """
    form = format_of(Path(path), to)
    outgoing = Outgoing(content, verify(content, signers))
    out = outgoing.mark.name(Path(path))
    form.write(outgoing, out)
    return out


def import_set(path: Path | str, format: str = "") -> CalibrationSet:
    """Read a set that is no set file, such as canonical text.

    Parameters
    ----------
    path : path-like
    format : str
        Id of a format of `calib_model.formats` that is read; by default the one that the suffix
        says, else canonical text.

    Raises
    ------
    FileProblem
        If it cannot be read; the text names the file, the place and the remedy.
    ModelError
        If there is no such format to read.

    Examples
    --------
    >>> written = export_set(open_set("larch_normal.h5"), "larch.txt")
    >>> written.name
    'larch_UNSIGNED.txt'
    >>> import_set(written)["pre_engage_torque"].shape
    (10, 12)
    """
    return read_from(Path(path), format)


def edit(
    content: CalibrationSet,
    change: Change | str,
    values: npt.ArrayLike | Mapping[tuple[int, ...], float] | None = None,
) -> CalibrationSet:
    """Return the set after an edit; the given one stays as it is.

    Parameters
    ----------
    content : CalibrationSet
    change : Change or str
        A change, as the functions of `calib_model.editing` make them, or the id of a table.
    values : array_like of the table's shape, or mapping of index tuple to float
        New values, if a table is named.

    Raises
    ------
    EditRefused
        If the values do not fit or are no numbers, or the cells are locked.
    ModelError
        If the set has no such table.

    Examples
    --------
    >>> from calib_model.core.table import Table
    >>> one = CalibrationSet([Table("gain", 2.0)])
    >>> float(edit(one, "gain", 3.0)["gain"].values)
    3.0
    """
    if isinstance(change, Change):
        return apply(content, change)
    table = content[change]
    if values is None:
        raise EditRefused(f"No values are given for {change}.")
    if isinstance(values, Mapping):
        new = table.values.copy()
        given: Mapping[Any, float] = values  # a script's types are not checked
        for cell, value in given.items():
            # numpy would take part of an index for a whole row, and set all of it.
            if not isinstance(cell, tuple) or len(cell) != new.ndim:
                raise EditRefused(
                    f"{cell!r} names no cell of {change}.",
                    f"Give an index for each axis; the table's shape is {table.shape}.",
                )
            try:
                new[cell] = float(value)
            except IndexError:
                raise EditRefused(
                    f"{change} has no cell {cell}.", f"Its shape is {table.shape}."
                ) from None
            except (TypeError, ValueError):
                raise EditRefused(f"{value!r} is no number, for cell {cell} of {change}.") from None
    else:
        try:
            new = np.asarray(values, dtype=np.float64)
        except (TypeError, ValueError):
            raise EditRefused(
                f"The values given for {change} are not numbers in an even block.",
                f"Its shape is {table.shape}.",
            ) from None
    return apply(content, values_change(table, new, f"Edit {table.label} by script"))
