"""`bitepoint complaints SET`: list complaints, raise one, answer or prove it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli import preparing
from app.cli.answer import GOOD, Answer, CannotDo, json_text, refuse
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
from app.proving import heard_file
from calib_model.core.plain_file import open_plain
from calib_model.errors import BitepointError
from calib_model.evidence.proof import not_a_proof, proof
from calib_model.evidence.replay import replay
from calib_model.session import complaints as steps
from calib_model.session.complaints import moment_words, require_provable, words
from calib_model.session.files import open_document, save_document

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.record import Complaint
    from calib_model.editing.change import Change


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "complaints",
        "List the complaints of a set: what the vehicle did, the change that answers it, the run\n"
        "that proves it.  With one of the options below, change one and save the set.\n\n"
        "A proof is a recording of this very set (by the digest that it carries, or by the\n"
        "controller's own signals in it, with which the replay agrees) that comes to where the\n"
        "complaint was heard.  --heard FILE is the recording of the complaint; by default the one "
        "of\nthat name beside the set or the proof.",
        f"{MAP_HELP}\n\nExit status: 0 listed or saved, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    act = made.add_mutually_exclusive_group()
    act.add_argument("--raise", dest="raised", metavar="NOTE", help="what was felt or seen")
    act.add_argument("--answer", metavar=("NUMBER", "CHANGE"), nargs=2, help="what was changed")
    act.add_argument("--prove", metavar="NUMBER", help="shown to be gone by --recording")
    act.add_argument("--drop", metavar=("NUMBER", "REASON"), nargs=2, help="lay it aside")
    act.add_argument("--take-up", metavar="NUMBER", help="open it again")
    made.add_argument("--by", metavar="NAME", default="", help="who does it")
    made.add_argument("--number", metavar="NUMBER", default="", help="of a new one")
    made.add_argument("--recording", metavar="FILE", type=Path, help="where it is heard, or gone")
    made.add_argument(
        "--at",
        metavar="SECONDS",
        type=float,
        help="into the recording; of a proof by default where it first comes to the complaint's "
        "operating region",
    )
    made.add_argument(
        "--heard", metavar="FILE", type=Path, help="recording of the complaint, for --prove"
    )
    add_drive_arguments(made)
    made.add_argument("--note", metavar="TEXT", default="", help="what the proof shows")
    made.add_argument(
        "--table", metavar="TABLE", action="append", default=[], help="concerned; repeatable"
    )
    return made


def run(arguments: Sequence[str]) -> Answer:
    """List complaints, or change one."""
    given = parser().parse_args(arguments)
    wanted = (given.raised, given.answer, given.prove, given.drop, given.take_up)
    if all(one is None for one in wanted):
        with SetFiles([given.set]) as files:
            (stored,) = files.results()
        return Answer(GOOD, _shown(stored.set, given))
    if not given.by.strip():
        refuse("Nobody is named.", "Say who does it: --by NAME.")

    document = open_document(given.set, given.by)
    change = _change(document.content, given)
    document.do(change)
    save_document(document)
    if given.json:
        return Answer(GOOD, _shown(document.content, given))
    return Answer(GOOD, f"{change.title}.\n\n{caution()}\n")


def _change(content: CalibrationSet, given: Any) -> Change:
    if given.raised is not None:
        name, sha256 = _recording(given.recording)
        return steps.raised(
            content,
            given.raised,
            by=given.by,
            number=given.number,
            recording=name,
            sha256=sha256,
            moment=given.at if given.at is not None else 0.0,
            tables=given.table,
        )
    if given.answer is not None:
        number, text = given.answer
        return steps.answered(content, steps.by_number(content, number), text, given.table)
    if given.prove is not None:
        return _proof(content, steps.by_number(content, given.prove), given)
    if given.drop is not None:
        return steps.dropped(steps.by_number(content, given.drop[0]), given.drop[1])
    return steps.taken_up(steps.by_number(content, given.take_up))


def _proof(content: CalibrationSet, complaint: Complaint, given: Any) -> Change:
    """Replay a recording, and return the change that proves a complaint by it."""
    require_provable(complaint)
    path = given.recording
    if path is None:
        refuse("A proof needs a recording.", "Name the run after the change: --recording FILE.")
    hints, mapping = hints_of(given.layout), read_map(given.map)
    constants, _ = constants_of(given.vehicle, given.set)
    preparing.say_if_it_takes_long(preparing.LAW)
    try:
        driven = read_drive(path, mapping, hints, content, constants)
    except (CannotDo, BitepointError) as problem:
        refuse(not_a_proof(path.name, "it cannot be replayed"), str(problem))
    found = given.heard or heard_file(complaint, (path.parent, given.set.parent))
    heard = None
    if found is not None:
        try:
            first = read_drive(found, mapping, hints, content, constants)
        except (CannotDo, BitepointError):
            if given.heard is not None:
                raise
        else:
            if first.recording.sha256 != complaint.sha256:
                refuse(
                    f"{found}: This is not the recording of complaint {complaint.number}.",
                    f"Name {complaint.recording or 'no recording'}.",
                )
            heard = replay(content, first.ticks, constants)
    return proof(
        complaint,
        replay(content, driven.ticks, constants),
        driven.recording,
        note=given.note,
        moment=given.at,
        heard=heard,
    )


def _recording(path: Path | None) -> tuple[str, str]:
    """Return a recording's name and digest; a CannotDo if it cannot be read."""
    if path is None:
        return "", ""

    try:
        with open_plain(path) as file:
            return path.name, hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        refuse(f"{path}: {error.strerror or error}.", "Name a recording that can be read.")


def _shown(content: CalibrationSet, given: Any) -> str:
    all_of_them = content.record.complaints
    if given.json:
        return json_text({"complaints": [plain(c) for c in all_of_them]})
    if not all_of_them:
        return f"{title(content, given.set)}: no complaints.\n"
    lines = []
    for c in all_of_them:
        tables = f"\nTables: {', '.join(c.tables)}." if c.tables else ""
        where = moment_words(c.recording, c.moment)
        lines.append((c.number, f"{c.note}\n{where}; {words(c)}.{tables}"))
    head = f"{title(content, given.set)}: {count(len(all_of_them), 'complaint')}."
    return f"{head}\n\n{listed(lines)}\n\n{caution()}\n"


def plain(complaint: Complaint) -> dict[str, Any]:
    """Return a complaint as plain data."""
    return {
        "number": complaint.number,
        "standing": str(complaint.standing),
        "note": complaint.note,
        "by": complaint.by,
        "time": complaint.time,
        "recording": complaint.recording,
        "moment": complaint.moment,
        "tables": list(complaint.tables),
        "answer": complaint.answer,
        "proof": complaint.proof_recording,
        "proof_moment": complaint.proof_moment,
        "proof_note": complaint.proof_note,
    }
