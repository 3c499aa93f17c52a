"""What `bitepoint rules SET ACTION` does with single rules: list, add, remove, off, on, ..."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from app.cli.answer import json_text, refuse
from app.cli.text import count, listed, paragraph
from calib_model.core.roles import QUANTITIES, ROLES
from calib_model.core.rule import Rule, stated
from calib_model.editing.change import Change
from calib_model.editing.rule_changes import (
    Selection,
    add_rule,
    change_rules,
    remove_rules,
    require_fit,
    set_rules,
    switch_rules,
)
from calib_model.roles.starting import starting_rules
from calib_model.rules.kinds import kind, kinds, setting_words
from calib_model.rules.preview import preview
from calib_model.rules.said import rule_said, rule_with
from calib_model.rules.sheet import ENTRY_KEYS
from calib_model.rules.suggested import suggest_rules

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.table import Table
    from calib_model.rules.suggested import SuggestedRule

ACTIONS = {
    "list": "the rules of tables, numbered, in words",
    "kinds": "[KIND]: what kinds of rule there are, or the settings of one",
    "preview": "KIND SETTING=VALUE...: what a rule would find now, before it is kept",
    "add": "KIND SETTING=VALUE...: add a rule to the tables chosen",
    "change": "[KIND] SETTING=VALUE...: give rules other settings",
    "remove": "[KIND]: take rules away (a finding until a reviewer accepts it)",
    "off": "[KIND]: keep rules without looking at them",
    "on": "[KIND]: look at them again",
    "suggest": "what the present shape holds to, with what it rests on",
    "keep": "[KIND]: add the rules that suggest shows",
    "start": "the starting rules of the roles; shown without -o, added with it",
}
WRITES = frozenset({"add", "change", "remove", "off", "on", "keep"})


def add_choice(made: argparse.ArgumentParser) -> None:
    """Add how tables and rules are chosen."""
    made.add_argument("--id", metavar="PATTERN", default="", help="tables whose id fits")
    made.add_argument("--role", metavar="PATTERN", default="", help="tables whose role fits")
    made.add_argument("--name", metavar="PATTERN", default="", help="tables whose name fits")
    made.add_argument("--number", metavar="N", type=int, help="the rule's number, as list shows it")


def actions_help() -> str:
    """Return the actions and kinds, for the verb's help."""
    rows = "\n".join(f"  {name:8} {about}" for name, about in ACTIONS.items())
    names = paragraph(", ".join(one.name for one in kinds()))
    known = {"inputs": QUANTITIES, "roles": ROLES, "an entry of a sheet has": ENTRY_KEYS}
    lists = [f"{what}: {paragraph(', '.join(words))}" for what, words in known.items()]
    return f"actions:\n{rows}\n\nkinds: {names}\n\n" + "\n\n".join(lists)


def chosen(content: CalibrationSet, given: argparse.Namespace, *, all_if_none: bool) -> list[str]:
    """Return the ids of the tables that the patterns mean."""
    if not (given.id or given.role or given.name or all_if_none):
        refuse("No table is chosen.", "Add --id, --role or --name; '*' means all.")
    if not len(content) and all_if_none:
        return []
    return list(Selection(given.id, given.role, given.name).of(content))


def change(content: CalibrationSet, given: argparse.Namespace) -> Change:
    """Return the change that an action makes."""
    words: list[str] = given.words
    ids = chosen(content, given, all_if_none=given.action in ("keep", "start"))
    match given.action:
        case "add":
            return add_rule(content, ids, _rule(words))
        case "start":
            return starting_rules(content, ids).change(content)
        case "keep":
            kept: dict[str, list[Rule]] = {}
            for one in _suggested(content, ids, words):
                kept.setdefault(one.table, []).append(one.rule)
            total = sum(map(len, kept.values()))
            return set_rules(content, kept, f"Keep {count(total, 'suggested rule')}")
        case "change":
            settings = [word for word in words if "=" in word]
            given.words = [word for word in words if "=" not in word]
            if not settings:
                refuse("No setting is given.", "Write change [KIND] SETTING=VALUE ....")
            which = _which(content, ids, given)
            return change_rules(content, ids, which, lambda rule: rule_with(rule, settings))
        case "remove":
            return remove_rules(content, ids, _which(content, ids, given))
        case _:
            which = _which(content, ids, given)
            return switch_rules(content, ids, which, on=given.action == "on")


def shown(content: CalibrationSet, given: argparse.Namespace) -> str:
    """Return what an action shows."""
    match given.action:
        case "kinds":
            return _kinds(given.words)
        case "preview":
            return _preview(content, given)
        case "suggest":
            return _suggest(content, given)
        case "start":
            return _start(content, given)
    return _list(content, given)


def _rule(words: list[str]) -> Rule:
    if not words:
        refuse("No kind of rule is given.", "Write KIND SETTING=VALUE ...; `kinds` lists them.")
    return rule_said(words[0], words[1:])


def _which(
    content: CalibrationSet, ids: list[str], given: argparse.Namespace
) -> Callable[[Rule], bool]:
    name = kind(given.words[0]).name if given.words else ""
    if given.number is None and not name:
        refuse("No rule is chosen.", "Name its kind, or its --number in one table.")
    if given.number is None:
        if not any(rule.kind == name for id in ids for rule in content[id].rules):
            refuse(f"No table chosen has a rule {name}.", "`list` shows what they have.")
        return lambda rule: rule.kind == name
    if len(ids) != 1:
        refuse(f"--number means one table's rule, but {len(ids)} tables fit.", "Give its --id.")
    rules = content[ids[0]].rules
    if not 1 <= given.number <= len(rules):
        refuse(f"{ids[0]} has no rule {given.number}.", f"It has {count(len(rules), 'rule')}.")
    chosen_one = rules[given.number - 1]
    if name and chosen_one.kind != name:
        refuse(f"Rule {given.number} of {ids[0]} is {chosen_one.kind}, not {name}.", "See list.")
    return lambda rule: rule == chosen_one


# -- showing -------------------------------------------------------------------------------


def _line(table: Table, rule: Rule) -> str:
    words = stated(rule, table)
    extra = [str(rule.severity)] + ["off"] * rule.off
    reason = f" ({rule.reason})" if rule.reason else ""
    return f"{words[:1].upper()}{words[1:]}{reason} [{', '.join(extra)}]"


def _list(content: CalibrationSet, given: argparse.Namespace) -> str:
    tables = [content[id] for id in chosen(content, given, all_if_none=True)]
    if given.json:
        rows = [
            {"table": t.id, "number": n, "words": stated(r, t), **r.to_plain()}
            for t in tables
            for n, r in enumerate(t.rules, 1)
        ]
        return json_text({"rules": rows})
    rows_of = [
        (t.id if n == 1 else "", str(n), r.kind, _line(t, r))
        for t in tables
        for n, r in enumerate(t.rules, 1)
    ]
    bare = [t.id for t in tables if not t.rules]
    parts = [listed(rows_of)] if rows_of else []
    if bare:
        parts.append(paragraph(f"Without any rule: {', '.join(bare)}."))
    return "\n\n".join(parts) + "\n"


def _kinds(words: list[str]) -> str:
    if not words:
        return listed([(one.name, one.explained) for one in kinds()]) + "\n"
    one = kind(words[0])
    rows = [(s.name, str(s.of), setting_words(s)) for s in one.settings]
    by_itself = "" if one.addable else "\n\nIt is in force by itself and cannot be added."
    return f"{one.label}: {one.explained}{by_itself}\n\n{listed(rows)}\n"


def _preview(content: CalibrationSet, given: argparse.Namespace) -> str:
    rule = _rule(given.words)
    ids = chosen(content, given, all_if_none=False)
    for id in ids:
        require_fit(content, content[id], rule)
    found = preview(content, ids, rule)
    rows = [(f.table, f.message) for f in found.findings]
    rows += [(n.table, f"Not checked: {n.reason}") for n in found.not_checked]
    return "\n\n".join([f"{stated(rule, content[ids[0]])}: {found.words}", listed(rows)]) + "\n"


def _suggested(
    content: CalibrationSet, ids: list[str], words: list[str]
) -> tuple[SuggestedRule, ...]:
    found = suggest_rules(content, ids)
    if words:
        name = kind(words[0]).name
        found = tuple(one for one in found if one.rule.kind == name)
    return found


def _suggest(content: CalibrationSet, given: argparse.Namespace) -> str:
    found = _suggested(content, chosen(content, given, all_if_none=True), given.words)
    if given.json:
        rows: list[dict[str, Any]] = [
            {
                "table": one.table,
                "rule": one.rule.to_plain(),
                "question": one.question,
                "evidence": one.evidence,
                "places": one.places,
                "margin": one.margin,
            }
            for one in found
        ]
        return json_text({"suggested": rows})
    if not found:
        return "The present shapes suggest nothing that is not stated already.\n"
    lines = [(one.table, one.rule.kind, f"{one.question}\n{one.evidence}.") for one in found]
    tail = "`keep [KIND]` with -o OUT adds them. They are what is, not what should be."
    return f"{listed(lines)}\n\n{paragraph(tail)}\n"


def _start(content: CalibrationSet, given: argparse.Namespace) -> str:
    found = starting_rules(content, chosen(content, given, all_if_none=True))
    rows = [
        (id, rule.kind, _line(content[id], rule))
        for id, rules in found.rules.items()
        for rule in rules
    ]
    parts = [listed(rows) if rows else "The roles have no rule that is not stated already."]
    if found.waiting:
        parts.append("Waiting:")
        parts.append(listed([(w.table, w.kind, w.reason) for w in found.waiting]))
    return "\n\n".join(parts) + "\n"
