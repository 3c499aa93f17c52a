"""`bitepoint coverage SET RECORDING...`: which cells were used, and which edits were driven."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from app.cli import preparing
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.drive_input import (
    MAP_HELP,
    add_drive_arguments,
    constants_of,
    hints_of,
    read_drive,
    read_map,
)
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, count, listed, title
from app.cli.writing import out_path
from calib_model.core.numbers import exact
from calib_model.core.patterns import any_fits
from calib_model.editing.change import apply
from calib_model.errors import EditRefused
from calib_model.evidence.coverage import added, coverage
from calib_model.evidence.drives import add_drive, recorded_drive, set_in_vehicle
from calib_model.evidence.grades import grades
from calib_model.evidence.replay import replay
from calib_model.exchange.formulas import guarded
from calib_model.reports.replay_report import coverage_report
from calib_model.session.files import open_document, save_document
from calib_model.session.history import entries_of
from calib_model.session.since import before_changes
from calib_model.store import write_whole

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.record import Drive
    from calib_model.evidence.coverage import Coverage
    from calib_model.evidence.grades import Grades

MOST_CELLS = 60
FEW = 4
"""Cells of a table that no drive used are listed up to this number, counted beyond it."""

JSON_HELP = """\
JSON is one object of lists:
  drives   name, sha256, seconds, in_vehicle (words), counts (as evidence)
  tables   table, cells, used, deciding, dwell_s, decided_s, extrapolated_s
  cells    table, cell, place, value, dwell_s, visits, extrapolated_s, decided_s (used ones)
  grades   table, cell, place, grade, words, seconds, decided, never_decided
  notes    words"""


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "coverage",
        "Say which cells of a set recordings used: for how long, how often, beyond which axes,\n"
        "and for how long the table decided there.  Several recordings are added up.\n\n"
        "Every cell that changed is graded: driven with these values, visited with other values,\n"
        "desk only, no evidence.  Changes count from --against, else from the last sign-off or\n"
        "the beginning of the history.  A recording counts for the set that was in the vehicle\n"
        "(its digest); that may be SET, an earlier state of it, or --against.  Drives in the\n"
        "set's record count too.  A visit to a cell whose table never decided is no evidence.",
        f"{MAP_HELP}\n\n{JSON_HELP}\n\n"
        "CSV has a row per cell.\n\n"
        "Exit status: 0 done; 1 a changed cell (of --table) was not driven with its present\n"
        "value; 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("recordings", metavar="RECORDING", type=Path, nargs="+", help="one or more")
    made.add_argument(
        "--table",
        metavar="PATTERN",
        action="append",
        default=[],
        help="only tables whose id matches (*, ?); repeatable",
    )
    made.add_argument("--against", metavar="SET", type=Path, help="what changes count from")
    add_drive_arguments(made)
    made.add_argument("--record", action="store_true", help="keep the drives in SET, and save it")
    made.add_argument("--by", metavar="NAME", default="", help="who does, for --record")
    made.add_argument(
        "--stated",
        action="store_true",
        help="SET was in the vehicle, where a recording does not say",
    )
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    made.add_argument(
        "--to",
        nargs=2,
        metavar=("csv|html", "OUT"),
        help="write all cells as CSV, or a map of visited cells as HTML",
    )
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Add up what recordings used."""
    given = parser().parse_args(arguments)
    if given.record and not given.by.strip():
        refuse("Nobody is named.", "Say who keeps the drives: --by NAME.")
    hints, mapping = hints_of(given.layout), read_map(given.map)
    inputs = [given.set, *given.recordings, *([given.against] if given.against else [])]
    out = out_path("coverage", given.to, inputs, ("csv", "html"))

    constants, words = constants_of(given.vehicle, given.set)
    preparing.say_if_it_takes_long(preparing.LAW)
    with SetFiles([given.against] if given.against is not None else []) as files:
        others = [stored.set for stored in files.results()]
        document = open_document(given.set, given.by)
    work = _Work(given, document.content, entries_of(document), others, constants, [words])
    for path in given.recordings:
        work.add(path, mapping, hints)
    found = work.found()
    if given.record:
        for drive in work.drives:
            document.do(add_drive(document.content, drive))
        if work.drives:
            save_document(document)
    status = DIFFERENT if found.graded.lacking else GOOD
    if out is not None:
        write_whole(out, found.csv() if given.to[0] == "csv" else found.html())
        if not given.json:
            kept = f"\n{found.kept}" if found.kept else ""
            return Answer(status, f"{found.graded.words}{kept}\nWrote {out}.\n\n{caution()}\n")
    return Answer(status, json_text(found.plain()) if given.json else found.words())


class _Work:
    """Recordings added up, one after the other."""

    def __init__(
        self,
        given: Any,
        content: CalibrationSet,
        entries: Sequence[Any],
        others: Sequence[CalibrationSet],
        constants: Any,
        notes: list[str],
    ) -> None:
        self.given, self.content, self.entries = given, content, entries
        self.others, self.constants, self.notes = others, constants, notes
        self.tables = _matching(content, given.table)
        self.parts: list[dict[str, Coverage]] = []
        self.said: list[dict[str, Any]] = []
        self.drives: list[Drive] = []

    def add(self, path: Path, mapping: Any, hints: dict[str, str]) -> None:
        """Replay one more recording, and make a drive of it where the set is known."""
        driven = read_drive(path, mapping, hints, self.content, self.constants)
        recording = driven.recording
        mine = replay(self.content, driven.ticks, self.constants)
        self.parts.append(coverage(self.content, mine, driven.ticks, self.tables))
        known, words = set_in_vehicle(
            recording.vehicle_set_digest, self.content, self.entries, self.others
        )
        there = known if known is not None else self.content
        theirs = mine if there is self.content else replay(there, driven.ticks, self.constants)
        try:
            drive = recorded_drive(
                theirs,
                coverage(there, theirs, driven.ticks),
                recording,
                by=self.given.by.strip() or "command line",
                stated=self.given.stated,
            )
        except EditRefused as refusal:
            counts, words = False, str(refusal)
        else:
            counts = True
            self.drives.append(drive)
            words = f"{words} That it was this one is stated by hand." if not known else words
        self.said.append(
            {
                "name": recording.name,
                "sha256": recording.sha256,
                "seconds": float(driven.ticks.seconds),
                "in_vehicle": words,
                "counts": counts,
            }
        )
        faults = len(recording.faults)
        if faults:
            self.notes.append(f"{recording.name}: {count(faults, 'fault')} masked.")
        self.notes += [f"{recording.name}: {text}" for text in driven.ticks.remarks]
        self.notes += [
            f"{recording.name}: {id} is left out. {reason}"
            for id, reason in mine.left_out.items()
            if id in self.tables
        ]

    def found(self) -> _Found:
        """Return what all recordings say together."""
        if self.others:
            base: CalibrationSet | None = self.others[0]
            against = self.given.against.name
        else:
            base, against = before_changes(self.content, self.entries)
        content = self.content
        for drive in self.drives:  # as the record will hold them: each once
            content = apply(content, add_drive(content, drive))
        graded = grades(
            content,
            base if base is not None else content,
            content.record.drives,
            self.tables,
        )
        if base is None:
            self.notes.append("No earlier state is known, so that no cell counts as changed.")
        kept = ""
        if self.given.record:
            kept = f"Kept {count(len(self.drives), 'drive')} in {self.given.set.name}."
        return _Found(
            self.given,
            self.content,
            added(self.parts),
            self.said,
            graded,
            against,
            self.notes,
            kept,
        )


class _Found:
    """What all recordings say together, as words, plain data, CSV and HTML."""

    def __init__(
        self,
        given: Any,
        content: CalibrationSet,
        covered: Mapping[str, Coverage],
        said: Sequence[dict[str, Any]],
        graded: Grades,
        against: str,
        notes: Sequence[str],
        kept: str,
    ) -> None:
        self.given, self.content, self.covered, self.said = given, content, covered, said
        self.graded, self.against, self.notes, self.kept = graded, against, notes, kept

    def words(self) -> str:
        """Return it for reading."""
        drives = [(s["name"], f"{s['seconds']:.6g} s. {s['in_vehicle']}") for s in self.said]
        tables = [(id, _seconds(one)) for id, one in self.covered.items()]
        parts = [
            f"Set: {title(self.content, self.given.set)}",
            f"Drives\n{listed(drives)}",
            self.kept,
            f"Cells used\n{listed(tables)}" if tables else "No table was fed.",
            self._grades(),
            f"Taken for granted, left out\n{listed([('', note) for note in self.notes])}",
            caution(),
        ]
        return "\n\n".join(part for part in parts if part) + "\n"

    def _grades(self) -> str:
        since = f" since {self.against}" if self.against else ""
        head = f"Evidence for what changed{since}: {self.graded.words}"
        told: list[tuple[str, str, str]] = []
        never: list[tuple[str, str]] = []
        for id, cells in self.graded.tables.items():
            table = self.content[id]
            bare = [c for c in cells if not c.drives]
            shown = [c for c in cells if c not in bare] if len(bare) > FEW else list(cells)
            told += [(id, _place(table, c.place), c.words) for c in shown]
            if len(bare) > FEW:
                never.append((id, f"{len(bare)} changed cells"))
        parts = [head, listed(told[:MOST_CELLS])]
        if len(told) > MOST_CELLS:
            parts.append(f"and {len(told) - MOST_CELLS} more (--json lists all)")
        if never:
            parts.append(f"Never used\n{listed(never)}")
        return "\n".join(part for part in parts if part)

    def plain(self) -> dict[str, list[dict[str, Any]]]:
        """Return it as plain data."""
        return {
            "drives": list(self.said),
            "tables": [
                {
                    "table": id,
                    "cells": int(one.dwell.size),
                    "used": int(one.used.sum()),
                    "deciding": int((one.decided > 0).sum()),
                    "dwell_s": one.seconds,
                    "decided_s": float(one.decided.sum()),
                    "extrapolated_s": float(one.extrapolated.sum()),
                }
                for id, one in self.covered.items()
            ],
            "cells": [row for row in self._rows() if row["dwell_s"] > 0],
            "grades": [
                {
                    "table": c.table,
                    "cell": list(c.cell),
                    "place": list(c.place),
                    "grade": str(c.grade),
                    "words": c.words,
                    "seconds": c.seconds,
                    "decided": c.decided,
                    "never_decided": c.never_decided,
                }
                for c in self.graded.cells
            ],
            "notes": [{"words": note} for note in self.notes],
        }

    def _rows(self) -> Iterator[dict[str, Any]]:
        for id, one in self.covered.items():
            table = self.content[id]
            for cell in np.ndindex(table.shape):
                yield {
                    "table": id,
                    "cell": list(cell),
                    "place": [float(a.values[i]) for a, i in zip(table.axes, cell, strict=True)],
                    "value": float(table.values[cell]),
                    "dwell_s": float(one.dwell[cell]),
                    "visits": int(one.visits[cell]),
                    "extrapolated_s": float(one.extrapolated[cell]),
                    "decided_s": float(one.decided[cell]),
                }

    def csv(self) -> str:
        """Return every cell as CSV (RFC 4180)."""
        grades = {(c.table, c.cell): c for c in self.graded.cells}
        widest = max((len(self.content[id].axes) for id in self.covered), default=0)
        names = [f"axis_{n}" for n in range(1, widest + 1)]
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\r\n")
        writer.writerow(
            ["table", *names, "value", "dwell_s", "visits", "extrapolated_s", "decided_s", "grade",
             "evidence"]
        )  # fmt: skip
        for row in self._rows():
            cell = grades.get((row["table"], tuple(row["cell"])))
            place = [exact(x) for x in row["place"]]
            writer.writerow(
                [row["table"], *place, *[""] * (widest - len(place)), exact(row["value"]),
                 f"{row['dwell_s']:.3f}", row["visits"], f"{row['extrapolated_s']:.3f}",
                 f"{row['decided_s']:.3f}", str(cell.grade) if cell else "",
                 guarded(cell.words) if cell else ""]
            )  # fmt: skip
        return text.getvalue()

    def html(self) -> str:
        """Return the map of visited cells."""
        return coverage_report(
            self.content,
            self.covered,
            self.given.set.name,
            [(s["name"], s["seconds"], s["in_vehicle"]) for s in self.said],
            graded=self.graded,
            against=self.against or "an earlier state",
            notes=self.notes,
        )


def _matching(content: CalibrationSet, patterns: Sequence[str]) -> list[str]:
    if not patterns:
        return list(content.tables)
    found = [id for id in content.tables if any_fits(patterns, id)]
    if not found:
        refuse(
            f"No table matches {' or '.join(patterns)}.",
            "`bitepoint show SET` lists the tables; * stands for any text.",
        )
    return found


def _seconds(one: Coverage) -> str:
    text = f"{one.words}; {one.seconds:.6g} s"
    if one.decided.any():
        text += f", deciding for {float(one.decided.sum()):.6g} s"
    if one.extrapolated.any():
        text += f", beyond its axes for {float(one.extrapolated.sum()):.6g} s"
    return text


def _place(table: Any, place: Sequence[float]) -> str:
    pairs = zip(place, table.axes, strict=True)
    return ", ".join(axis.said(value) for value, axis in pairs)
