"""`bitepoint export SET --to FORMAT OUT`: write a set for others.

Only a set that is signed off and unchanged leaves without a mark in the file and in its name.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path

from app.cli.answer import GOOD, Answer, refuse
from app.cli.company import Neighbours, add_against
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles, same_file
from app.cli.text import caution, count, paragraph
from calib_model.formats.outgoing import Outgoing
from calib_model.formats.registry import format_of, formats, left_out_words
from calib_model.signoff.verification import verify


def parser() -> VerbParser:
    """Return the verb's parser."""
    known = sorted(formats(), key=lambda one: one.id)
    made = VerbParser(
        "export",
        "Write a set for others.\n\n"
        + "".join(f"  {one.id:12} {one.about}\n{_indented(one.limits)}" for one in known)
        + "\nWhat is not signed off, or was changed since, says so in the file and in its name.",
        "Exit status: 0 written, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument(
        "--to", choices=[one.id for one in known], required=True, help="format to write"
    )
    made.add_argument(
        "out", metavar="OUT", type=Path, help="file to write (the mark is added to its name)"
    )
    made.add_argument("--signers", metavar="FILE", type=Path, help="list of allowed signers")
    made.add_argument("--trial", metavar="VEHICLE", help="unsigned values for this test vehicle")
    made.add_argument("--trip", metavar="NAME", help="the trip of the trial")
    made.add_argument("--expires", metavar="DATE", help="last day of the trial, as 2026-02-28")
    made.add_argument("--by", metavar="NAME", default="", help="who takes the trial out")
    add_against(made, "for the relations in a report")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Export a set."""
    given = parser().parse_args(arguments)
    asked = [given.trial, given.trip, given.expires]
    if any(asked) and not all(asked):
        refuse("A trial has a vehicle, a trip and a last day.", "Add --trial, --trip, --expires.")
    form = format_of(given.out, given.to)
    if given.trial and not form.for_trial:
        *most, last = (one.id for one in formats() if one.for_trial)
        refuse("A trial has no sign-off.", f"Export it as {', '.join(most)} or {last}.")
    if same_file(given.set, given.out):
        refuse(f"{given.out}: This is the set itself.", "Give another file to write to.")
    if given.out.is_dir():
        refuse(f"{given.out}: This is a folder.", "Give the name of a file in it.")
    alone = given.alone or not form.with_others
    with (
        SetFiles([given.set, *given.against]) as files,
        Neighbours(given.set, alone=alone, named=given.against) as neighbours,
    ):
        stored, *others = files.results()
        found_beside = neighbours.company(stored.set)
    content = stored.set
    outgoing = Outgoing(
        content,
        verify(content, given.signers),
        stored.history,
        stored.records,
        tuple(neighbours.others(found_beside, [s.set for s in others])),
    )
    if given.trial:
        outgoing = outgoing.for_trial(
            vehicle=given.trial, trip=given.trip, expires=given.expires, by=given.by
        )
    out = outgoing.mark.name(given.out)
    if same_file(given.set, out):
        refuse(f"{out}: This is the set itself.", "Give another file to write to.")
    form.write(outgoing, out)
    missing = left_out_words(outgoing.left_out([form]))
    return Answer(
        GOOD,
        f"Wrote {count(len(content), 'table')} to {out}.\n{outgoing.mark.status}\n"
        + (f"{paragraph(missing)}\n" if missing else "")
        + f"\n{caution()}\n",
    )


def _indented(text: str) -> str:
    space = " " * 15
    lines = textwrap.wrap(
        text, 88, initial_indent=space, subsequent_indent=space, break_on_hyphens=False
    )
    return "".join(f"{line}\n" for line in lines)
