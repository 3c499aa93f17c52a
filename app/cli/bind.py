"""`bitepoint bind SET`: which table plays which part of the controller, suggested and confirmed."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import GOOD, Answer, json_text, refuse
from app.cli.edits import add_out, require_out, written
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, count, listed, paragraph
from calib_model.core.near import nearest
from calib_model.core.roles import QUANTITIES, ROLES
from calib_model.editing.change import apply
from calib_model.roles.changes import (
    Wanted,
    axis_number,
    bound,
    confirm_roles,
    unbind,
    wanted,
    with_rules,
)
from calib_model.roles.missing import readiness
from calib_model.roles.starting import starting_rules
from calib_model.roles.suggest import suggest_roles

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.editing.change import Change
    from calib_model.roles.suggest import Suggestion, Suggestions

ACTIONS = {
    "list": "what is bound now (the default)",
    "suggest": "which tables may play which role, with the reasons",
    "confirm": "take suggestions over: of the tables named, or --sure for all that are sure",
    "set": "TABLE ROLE [INPUT per axis]: bind one table",
    "axis": "TABLE AXIS INPUT: let an axis read an input ('' for none)",
    "clear": "TABLES: let tables go; --axes lets their axes go too",
    "missing": "what replay and manoeuvres can do with it, and what they lack",
}
MOST_AXES = 6


def parser() -> VerbParser:
    """Return the verb's parser."""
    rows = "\n".join(f"  {name:8} {about}" for name, about in ACTIONS.items())
    made = VerbParser(
        "bind",
        "Say which table plays which part of the controller, and which input an axis reads.  "
        f"Nothing is\nbound without being asked for.\n\nactions:\n{rows}",
        f"roles: {_wrapped(ROLES)}\n\ninputs: {_wrapped(QUANTITIES)}\n\n"
        "Exit status: 0 done, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("action", metavar="ACTION", nargs="?", default="list", help="see above")
    made.add_argument("words", metavar="WORDS", nargs="*", help="what the action takes")
    made.add_argument("--sure", action="store_true", help="confirm: all suggestions that are sure")
    made.add_argument(
        "--rules", action="store_true", help="confirm, set: add the starting rules of the roles too"
    )
    made.add_argument("--axes", action="store_true", help="clear: let the axes go as well")
    made.add_argument("--json", action="store_true", help="list, suggest, missing: as JSON")
    add_out(made)
    return made


def _wrapped(names: Sequence[str] | dict[str, str]) -> str:
    return "\n  ".join(paragraph(", ".join(names)).split("\n"))


def run(arguments: Sequence[str]) -> Answer:
    """List, suggest or change bindings."""
    given = parser().parse_args(arguments)
    if given.action not in ACTIONS:
        refuse(
            f"There is no action {given.action!r}.",
            nearest(given.action, ACTIONS, "actions"),
        )
    writes = given.action in ("confirm", "set", "axis", "clear")
    out = require_out(given.set, given.out) if writes else None
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    content = stored.set
    if out is None:
        return Answer(GOOD, _shown(content, given))
    change = _change(content, given)
    if given.rules:
        after = apply(content, change)
        change = with_rules(content, change, starting_rules(after, change.tables).rules)
    return written(stored, given.set, out, change, given.author, given.reason)


def _change(content: CalibrationSet, given: argparse.Namespace) -> Change:
    words: list[str] = given.words
    match given.action:
        case "confirm":
            return confirm_roles(content, _chosen(content, words, given.sure))
        case "set":
            if len(words) < 2:
                refuse("A table and a role are needed.", "Write bind SET set TABLE ROLE.")
            inputs = words[2:] or None
            return bound(content, [wanted(content, words[0], words[1], inputs)])
        case "axis":
            if len(words) != 3:
                refuse("A table, an axis and an input are needed.",
                       "Write bind SET axis TABLE AXIS INPUT.")  # fmt: skip
            table = content[words[0]]
            return bound(
                content, [Wanted(table.id, None, {axis_number(table, words[1]): words[2]})]
            )
        case _:
            if not words:
                refuse("No table is named.", "Write bind SET clear TABLE ....")
            return unbind(content, words, axes=given.axes)


def _chosen(content: CalibrationSet, ids: Sequence[str], sure: bool) -> list[Suggestion]:
    found = suggest_roles(content)
    if sure:
        return list(found.sure)
    if not ids:
        refuse("Nothing is named to confirm.", "Name tables, or add --sure for all that are sure.")
    chosen = []
    for id in ids:
        content[id]  # a table that is not there is another matter than one without suggestion
        if id not in found.by_table:
            refuse(f"Nothing is suggested for {id}.", "Bind it with bind SET set TABLE ROLE.")
        chosen.append(found.by_table[id])
    return chosen


# -- showing -------------------------------------------------------------------------------


def _shown(content: CalibrationSet, given: argparse.Namespace) -> str:
    match given.action:
        case "suggest":
            found = suggest_roles(content)
            return json_text(_plain(found)) if given.json else _words(found)
        case "missing":
            return _missing(content, given.json)
        case _:
            return _bound(content, given.json)


def _bound(content: CalibrationSet, as_json: bool) -> str:
    if as_json:
        rows = [
            {"table": t.id, "role": t.role, "inputs": [a.quantity for a in t.axes]} for t in content
        ]
        return json_text({"bindings": rows})
    played = [
        (t.id, t.role or "-", ", ".join(a.quantity or f"({a.label})" for a in t.axes) or "scalar")
        for t in content
        if t.role or any(a.quantity for a in t.axes)
    ]
    none = len(content) - len(played)
    tail = f"\n\n{count(none, 'table')} without role or input." if none else ""
    return f"{listed(played) or 'Nothing is bound.'}{tail}\n"


def _plain(found: Suggestions) -> dict[str, list[dict[str, Any]]]:
    return {
        "roles": [
            {
                "table": one.table,
                "role": one.role,
                "inputs": list(one.inputs),
                "surely": str(one.surely),
                "reasons": list(one.reasons),
                "doubts": list(one.doubts),
                "instead": list(one.instead),
            }
            for one in found.roles
        ],
        "axes": [
            {
                "table": one.table,
                "axis": one.axis + 1,
                "input": one.quantity,
                "surely": str(one.surely),
                "reasons": list(one.reasons),
            }
            for one in found.axes
        ],
    }


def _words(found: Suggestions) -> str:
    sure = len(found.sure)
    head = f"{count(len(found.roles), 'role')} suggested, {sure} of them sure."
    rows = []
    for one in found.roles:
        lines = [f"{one.role}: {', '.join(one.reasons)}."]
        if one.doubts:
            lines.append(f"Doubtful: {', '.join(one.doubts)}.")
        if one.instead:
            lines.append(f"Or: {', '.join(one.instead)}.")
        rows.append((str(one.surely), one.table, "\n".join(lines)))
    parts = [head]
    if rows:
        parts.append(listed(rows))
    by_table: dict[str, list[str]] = {}
    for axis in found.axes:
        by_table.setdefault(axis.table, []).append(
            f"axis {axis.axis + 1} {axis.surely} {axis.quantity}"
        )
    if by_table:
        parts.append(f"Inputs alone, in {count(len(by_table), 'other table')}:")
        parts.append(listed([(id, ", ".join(said[:MOST_AXES])) for id, said in by_table.items()]))
    if sure:
        parts.append("`bind SET confirm --sure -o OUT` takes over what is sure.")
    return "\n\n".join(parts) + "\n"


def _missing(content: CalibrationSet, as_json: bool) -> str:
    ready = readiness(content)
    if as_json:
        return json_text(
            {
                "abilities": [
                    {
                        "ability": one.name,
                        "state": one.state,
                        "there": list(one.there),
                        "lacking": dict(one.lacking),
                    }
                    for one in ready.abilities
                ],
                "not_read": [{"table": id, "reason": why} for id, why in ready.unread.items()],
            }
        )
    rows = []
    for one in ready.abilities:
        lacking = "\n".join(f"{role}: {why}." for role, why in one.lacking.items())
        rows.append((one.state, one.name, lacking or "every role takes part"))
    parts = [ready.words, listed(rows)]
    if ready.unread:
        parts.append("Not read along a recording:")
        parts.append(listed(list(ready.unread.items())))
    parts.append(caution())
    return "\n\n".join(parts) + "\n"
