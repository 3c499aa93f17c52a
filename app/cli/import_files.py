"""`bitepoint import FILES -o SET`: tables of other files become a set, or one change of one.

What was understood is listed with its doubts; nothing doubtful is taken unless that is asked for,
and nothing is half taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.reading import same_file
from app.cli.text import caution, count, listed, paragraph
from calib_model.bringing.draft import Draft
from calib_model.bringing.layout import EXAMPLE, Layout, read_layout, write_layout
from calib_model.bringing.taking import Arrival, Coming, arrivals, change_of
from calib_model.bringing.understanding import Understood, only, to_remember, understand
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.core.numbers import short
from calib_model.core.people import login_name
from calib_model.core.plain_file import is_there
from calib_model.core.units import shown
from calib_model.core.values_digest import values_digest
from calib_model.editing.change import Change, change_to_plain, describe
from calib_model.formats.registry import read_from, readers
from calib_model.session.files import open_document, save_document
from calib_model.store import HistoryColumns, write_set

MOST_TOLD = 100
ABOUT = ("name", "revision", "programme", "mode", "base_mode")


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "import",
        "Make a set of tables in other files: CSV and its like, spreadsheets (.xlsx, .ods), HDF5 "
        "and\nNetCDF-4, canonical text, other sets; of a folder, all of them in it.  Without -o, "
        "or with --look,\nwhat was understood is shown and nothing is written.  What is doubtful "
        "is listed, and taken only\nwith --as-understood or once a layout settles it.",
        f"A layout, with every key it may have:\n\n{EXAMPLE}\n\n"
        "Exit status: 0 taken, or nothing is doubtful; 1 something is doubtful and nothing was "
        "taken;\n2 could not be done.",
    )
    made.add_argument("files", metavar="FILES", nargs="+", type=Path, help="files or folders")
    made.add_argument("-o", "--out", metavar="SET", type=Path, help="set file to write")
    made.add_argument(
        "--into", metavar="SET", type=Path,
        help="take the tables into this set, as one change; -o may be the same file",
    )  # fmt: skip
    made.add_argument("--look", action="store_true", help="show what was understood, write nothing")
    made.add_argument(
        "--as-understood", action="store_true", help="take what is doubtful as it was understood"
    )
    made.add_argument(
        "--only", metavar="PATTERN", action="append", default=[],
        help="take only tables of this id; * and ? are wildcards; may be given several times",
    )  # fmt: skip
    made.add_argument(
        "--remove-vanished", action="store_true",
        help="with --into, remove the set's tables that no file has",
    )  # fmt: skip
    made.add_argument("--layout", metavar="FILE", type=Path, help="what was chosen before (TOML)")
    made.add_argument(
        "--save-layout", metavar="FILE", type=Path,
        help="write what was chosen, with an entry for each doubtful table to go on from",
    )  # fmt: skip
    made.add_argument(
        "--from", dest="format", choices=list(readers()), default="",
        help="read one file in this format, as `bitepoint export` writes it",
    )  # fmt: skip
    for field in ABOUT:
        option = "--" + field.replace("_", "-")
        made.add_argument(
            option, metavar="TEXT", default="", help=f"{field.replace('_', ' ')} of a new set"
        )
    made.add_argument("--author", metavar="NAME", help="who does it, for the set's history")
    made.add_argument("--reason", metavar="TEXT", default="", help="why, for the set's history")
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Bring tables in."""
    given = parser().parse_args(arguments)
    out = None if given.look else given.out
    if out is not None and is_there(out) and not (given.into and same_file(out, given.into)):
        refuse(f"{out}: There is such a file already.", "Give a new name with -o.")
    if given.into is not None and any(getattr(given, field) for field in ABOUT):
        refuse("What a set is called is for a new one.", "Leave out --into, or the name.")
    if given.format:
        return _in_a_format(given, out)
    layout = Layout() if given.layout is None else read_layout(given.layout)
    understood = understand(given.files, layout)
    if given.only:
        understood = only(understood, given.only)
    if given.save_layout is not None:
        write_layout(to_remember(understood), given.save_layout)
    if given.into is not None:
        return _into(given, understood, out)
    doubtful = [(d.where, doubt) for d, doubt in understood.doubtful]
    stopped = any(doubt.blocks for _, doubt in doubtful)
    unclear = stopped or (bool(doubtful) and not given.as_understood)
    content = None
    if not unclear:
        about = {field: text for field in ABOUT if (text := getattr(given, field))}
        content = understood.content().described(**about)
    told = {"tables": [_plain(draft) for draft in understood.tables]}
    rows = _rows(understood)
    return _told(given, understood, doubtful, told, rows, content, out, unclear)


def _told(
    given: Any,
    understood: Understood,
    doubtful: list[tuple[str, Any]],
    told: dict[str, list[dict[str, Any]]],
    rows: list[tuple[str, ...]],
    content: CalibrationSet | None,
    out: Path | None,
    unclear: bool,
) -> Answer:
    """Write the new set if there is one to write, and say what came of it."""
    end = ""
    if content is not None and out is not None:
        names = ", ".join(one.contents.path.name for one in understood.files[:3])
        more = f" and {len(understood.files) - 3} more" if len(understood.files) > 3 else ""
        _write(given, content, out, f"Import from {names}{more}")
        end = f"Wrote {count(len(content), 'table')} to {out}.\n{_digests(content)}"
    return _answer(given, understood, doubtful, told, rows, end, unclear)


def _answer(
    given: Any,
    understood: Understood,
    doubtful: list[tuple[str, Any]],
    told: dict[str, list[dict[str, Any]]],
    rows: list[tuple[str, ...]],
    end: str,
    unclear: bool,
) -> Answer:
    status = DIFFERENT if unclear else GOOD
    if given.json:
        told["doubts"] = [
            {"where": where, "about": d.about, "why": d.why, "remedy": d.remedy,
             "choices": list(d.choices), "blocks": d.blocks}
            for where, d in doubtful
        ]  # fmt: skip
        told["left_out"] = [
            {"source": one.source, "where": one.where, "why": one.why}
            for one in understood.left_out
        ]
        return Answer(status, json_text(told))
    parts = [listed(rows)] if len(rows) > 1 else []
    if doubtful:
        parts.append("Doubtful:\n" + _some_of([(w, f"{d.why} {d.remedy}") for w, d in doubtful]))
    if understood.left_out:
        parts.append(
            "Left out:\n"
            + _some_of([(f"{o.source} {o.where}".strip(), o.why) for o in understood.left_out])
        )
    notes: dict[str, list[str]] = {}
    for draft in understood.taken:
        for note in draft.notes:
            notes.setdefault(note, []).append(draft.table.id)
    if notes:
        parts.append("To know:\n" + listed([(_some(ids), note) for note, ids in notes.items()]))
    if unclear:
        stopped = any(d.blocks for _, d in doubtful)
        way = (
            "Settle what is doubtful, or leave the tables out: a layout does both "
            "(--save-layout begins one)."
            if stopped
            else "Take it with --as-understood, or settle it in a layout (--save-layout begins "
            "one)."
        )
        parts.append(paragraph(f"Nothing was taken. {way}"))
    elif end:
        parts.append(end)
    parts.append(caution())
    return Answer(status, "\n\n".join(parts) + "\n")


def _some_of(rows: list[tuple[str, str]]) -> str:
    """Return rows for reading, not more than anybody reads."""
    more = len(rows) - MOST_TOLD
    end = f"\nand {more} more; --json tells all." if more > 0 else ""
    return listed(rows[:MOST_TOLD]) + end


def _some(ids: list[str]) -> str:
    return ids[0] if len(ids) == 1 else f"{ids[0]} and {len(ids) - 1} more"


def _into(given: Any, understood: Understood, out: Path | None) -> Answer:
    document = open_document(given.into, given.author or login_name())
    content = document.content
    coming = arrivals(understood, content)
    if given.only:
        coming = tuple(one for one in coming if one.coming is not Coming.VANISHED)
    doubtful = [
        (one.draft.where if one.draft is not None else one.id, doubt)
        for one in coming
        for doubt in one.doubts
    ]
    stopped = any(doubt.blocks for _, doubt in doubtful)
    unclear = stopped or (bool(doubtful) and not given.as_understood)
    end = ""
    if not unclear:
        gone = [one.id for one in coming if one.coming is Coming.VANISHED]
        names = ", ".join(one.contents.path.name for one in understood.files[:3])
        change = change_of(
            content, coming, f"Import from {names}",
            remove=gone if given.remove_vanished else (),
            shared_axes=understood.shared_axes.values(),
        )  # fmt: skip
        if change.is_empty:
            end = "Nothing changes: every table is the same."
        if out is not None:
            if not change.is_empty:
                document.do(replace(change, reason=given.reason))
            save_document(document, out)
            end = end or f"Took {count(len(change.tables), 'table')} into {out}, as one change."
            end += f"\n{_digests(document.content)}"
    told = {"tables": [_arrival(one) for one in coming]}
    rows: list[tuple[str, ...]] = [("table", "what", "", "from")]
    rows += [*(_arrival_row(one) for one in coming)]
    return _answer(given, understood, doubtful, told, rows, end, unclear)


def _in_a_format(given: Any, out: Path | None) -> Answer:
    """Read one file as the registry of formats does."""
    if len(given.files) != 1 or given.into is not None:
        refuse("A format is read from one file, into a new set.", "Leave out --from.")
    if out is None:
        refuse("No set file to write is named.", "Add -o SET.")
    content = read_from(given.files[0], given.format)
    about = {field: text for field in ABOUT if (text := getattr(given, field))}
    content = content.described(**about)
    _write(given, content, out, f"Import from {given.files[0].name}")
    tables = count(len(content), "table")
    return Answer(GOOD, f"Wrote {tables} to {out}.\n{_digests(content)}\n\n{caution()}\n")


def _write(given: Any, content: CalibrationSet, out: Path, title: str) -> None:
    entry = Change(title, describe(content).edits, reason=given.reason)
    stamped = entry.stamped(given.author or login_name(), "")
    write_set(out, content, HistoryColumns().with_entries([change_to_plain(stamped)]))


def _digests(content: CalibrationSet) -> str:
    return f"Digest {digest(content)}\nDigest of values {values_digest(content)}"


def _rows(understood: Understood) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("id", "kind", "axes", "range", "from")]
    for draft in understood.tables:
        table = draft.table
        size = f"{table.kind} {' × '.join(map(str, table.shape))}".strip()
        low, high = draft.range
        span = "empty" if math.isnan(low) else f"{short(low)} to {short(high)}"
        axes = ", ".join(
            f"{axis.label} {f'[{shown(axis.unit)}]' if shown(axis.unit) else ''}".strip()
            for axis in table.axes
        )
        why = "" if draft.takes else f"\nleft out: {draft.why_not or 'so chosen'}"
        unit = shown(table.unit)
        rows.append((table.id, size, axes, f"{span} {unit}".strip(), f"{draft.where}{why}"))
    return rows


def _plain(draft: Draft) -> dict[str, Any]:
    table = draft.table
    low, high = draft.range
    return {
        "id": table.id, "name": table.name, "found": draft.key, "source": draft.source,
        "where": draft.found.where, "form": draft.found.form, "kind": table.kind,
        "shape": list(table.shape), "unit": table.unit, "low": low, "high": high,
        "axes": [
            {"name": axis.name, "unit": axis.unit, "quantity": axis.quantity,
             "breakpoints": axis.values.tolist()}
            for axis in table.axes
        ],
        "storage": str(table.storage), "storage_proposed": str(draft.storage_proposed),
        "takes": draft.takes, "why_not": draft.why_not, "notes": list(draft.notes),
    }  # fmt: skip


def _arrival(one: Arrival) -> dict[str, Any]:
    return {
        "id": one.id, "what": str(one.coming), "words": one.words,
        "where": one.draft.where if one.draft is not None else "",
    }  # fmt: skip


def _arrival_row(one: Arrival) -> tuple[str, str, str, str]:
    return (one.id, str(one.coming), one.words, one.draft.where if one.draft is not None else "")
