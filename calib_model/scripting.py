"""Opening, editing and saving sets from a script or notebook."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from .bringing.layout import Layout, read_layout
from .bringing.understanding import set_of
from .core.axis import Axis
from .core.calibration_set import CalibrationSet
from .core.people import login_name
from .core.plain_file import is_there
from .core.record import SignOff
from .core.rule import Rule
from .core.rule_plain import rule_from_plain
from .core.table import Table
from .editing.axis_text import axis_from_text
from .editing.change import Change, RecordEdit, apply, values_change
from .editing.difference import change_between
from .editing.entry import parse_entry
from .editing.places import At, cells_at
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


def bring_in(
    paths: Iterable[Path | str] | Path | str,
    layout: Layout | Path | str | None = None,
    *,
    as_understood: bool = False,
) -> CalibrationSet:
    """Read tables from files of other programs as a set.

    Parameters
    ----------
    paths : path-like or iterable of path-like
        CSV and its like, spreadsheets (.xlsx, .ods), HDF5 and NetCDF-4 with named dimensions,
        canonical text, set files; of a folder, all of them in it.
    layout : Layout or path-like, optional
        What is to be understood otherwise; see `calib_model.bringing.layout`.
    as_understood : bool
        Take what is doubtful as it was understood.  `understand` tells what that is.

    Returns
    -------
    CalibrationSet
        Without rules, roles and limits unless the file says them.

    Raises
    ------
    NotTaken
        If something is doubtful, or cannot be taken; the text names the place and the remedy.
    FileProblem
        If a file cannot be read.

    Examples
    --------
    >>> from pathlib import Path
    >>> written = Path("fade.csv").write_text("speed [km/h],fade\\n0,1\\n60,0.5\\n")
    >>> table = bring_in("fade.csv")["fade"]
    >>> table.axes[0].name, table.axes[0].unit, table.values.tolist()
    ('speed', 'km/h', [1.0, 0.5])
    """
    given = [paths] if isinstance(paths, Path | str) else paths
    chosen = layout if isinstance(layout, Layout) or layout is None else read_layout(layout)
    return set_of(given, chosen, as_understood=as_understood)


def edit(
    content: CalibrationSet,
    change: Change | str,
    values: npt.ArrayLike | Mapping[tuple[int, ...], float] | str | None = None,
    *,
    at: At | None = None,
) -> CalibrationSet:
    """Return the set after an edit; the given one stays as it is.

    Parameters
    ----------
    content : CalibrationSet
    change : Change or str
        A change, as `rename_table` and the other functions that change a set make them, or the id
        of a table.
    values : array_like, mapping of index tuple to float, or str
        New values, if a table is named: for the whole table, in its shape; or for the cells that
        `at` names, one for all or one for each.  A text is what a user types into a cell: a label,
        ``*1.1``, ``+5``, ``+3%``, ``=x-5`` (`calib_model.editing.entry`).
    at : mapping, optional
        Which cells, by breakpoint values: ``{"pedal": 40, "ambient_temperature": (-20, 0)}``; see
        `cells_at`.

    Raises
    ------
    EditRefused
        If the values do not fit or are no numbers, no cell is there, or the cells are locked.
    ModelError
        If the set has no such table.

    Examples
    --------
    >>> from calib_model.core.table import Table
    >>> one = CalibrationSet([Table("gain", 2.0)])
    >>> float(edit(one, "gain", 3.0)["gain"].values)
    3.0
    >>> content = open_set("larch_normal.h5")
    >>> here = {"pedal": 40, "ambient_temperature": (-20, -10)}
    >>> warmer = edit(content, "pre_engage_torque", "*1.02", at=here)
    >>> warmer["pre_engage_torque"].values[cells_at(content["pre_engage_torque"], here)]
    array([244.29, 219.3 ])
    """
    if isinstance(change, Change):
        return apply(content, change)
    table = content[change]
    if at is not None or isinstance(values, str):
        return apply(content, _placed(table, values, at or {}))
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


def _placed(table: Table, values: Any, at: At) -> Change:
    """Return the change of the cells that are named by their breakpoints."""
    chosen = cells_at(table, at)
    if isinstance(values, str):
        entry = parse_entry(values, table.labels)
        new, title = entry.values(table, chosen), entry.title(table.label, table)
        return values_change(table, new, f"{title} by script")
    new, count = table.values.copy(), int(chosen.sum())
    try:
        given = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        given = np.empty((0, 0))
    if given.size not in (1, count):
        raise EditRefused(
            f"The values given for {table.id} do not fit the {count} cells that are named.",
            "Give one number for all, or one for each.",
        )
    new[chosen] = given.reshape(-1) if given.size == count else given.item()
    return values_change(table, new, f"Edit {table.label} by script")


def new_set(
    programme: str, mode: str, base_mode: str = "", tables: Iterable[Table] = (), **about: str
) -> CalibrationSet:
    """Make a set.

    Parameters
    ----------
    programme, mode : str
        The vehicle programme and the drive mode it is for.
    base_mode : str
        The mode that relations refer to; its own, which makes it the base set, if empty.
    tables : iterable of Table
        Shared axes that they name come along.
    **about : str
        ``name``, ``revision``, ``description``.

    Raises
    ------
    ModelError
        On a repeated id, or shared axes of one id that differ.

    Examples
    --------
    >>> from calib_model import new_table
    >>> pedal = axis("pedal: 0 50 100")
    >>> mine = new_set("Larch", "normal", tables=[new_table("creep", [pedal], 0, unit="N.m")])
    >>> mine.is_base, mine["creep"].shape
    (True, (3,))
    """
    given = list(tables)
    shared = {a.shared: a for table in given for a in table.axes if a.shared}
    made = CalibrationSet(given, shared, programme, mode, base_mode or mode)  # type: ignore[arg-type]
    return made.described(**about)


def axis(text: str, content: CalibrationSet | None = None) -> Axis:
    """Make an axis of one line: ``pedal [%]: 0 25 50 100``, ``wiper_state: off slow fast``.

    Parameters
    ----------
    text : str
        An input the controller knows, or a name; the unit in brackets, which a known input need
        not have; then breakpoints, or words, which are labels of 0, 1, 2, ... and make an axis
        read in steps.  ``@axis.speed`` is a shared axis of `content`.
    content : CalibrationSet, optional

    Raises
    ------
    EditRefused
        If the line is not understood, a unit is not known, or breakpoints do not rise.

    Examples
    --------
    >>> axis("Vehicle speed [km/h]: 0 20 60").said(20)
    '20 km/h'
    >>> axis("wiper_state: off slow fast").said(1)
    'slow'
    """
    return axis_from_text(text, content)


def rule(kind: str, **settings: Any) -> Rule:
    """Return a rule by its kind and settings, as a rule sheet has them.

    Parameters
    ----------
    kind : str
        One of the kinds that `bitepoint rules SET kinds` lists.
    **settings
        Its own (``axis="pedal"``), and scope, severity and reason.

    Raises
    ------
    ModelError
        If the kind or a setting is not known, or one is missing; it names the nearest.

    Examples
    --------
    >>> import calib_model as cm
    >>> made = cm.rule("monotone", axis="pedal", reason="more pedal, more torque")
    >>> made.statement(cm.open_set("larch_normal.h5")["hill_torque"])
    'never falls with accelerator pedal'
    """
    return rule_from_plain({"kind": kind, **settings})
