"""The lines of the area's lists, worked out from how a set stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from PySide6.QtCore import QDateTime, QLocale

from app.line_rows import Line as PlainLine
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import with_unit
from calib_model.core.record import Decision, Level, Outcome, Places, Remark, SignOff, Trial, Waiver
from calib_model.core.record_plain import rule_text
from calib_model.core.table import Table
from calib_model.core.times import moment_of
from calib_model.rules.waivers import form_of, lapse, today
from calib_model.signoff.gate import Item, Obstacle
from calib_model.signoff.statement import read_statement
from calib_model.signoff.wire import SignatureProblem

from .standing import Standing

Cells = tuple[tuple[int, ...], ...]


class View(StrEnum):
    """Which list is shown."""

    TO_DO = "To do"
    TABLES = "Tables"
    WAIVERS = "Waivers"
    REMARKS = "Remarks"
    SINCE = "Since sign-off"


@dataclass(frozen=True)
class Line(PlainLine):
    """One row, and what it is about.

    Parameters
    ----------
    table : str
        Id; empty where no table is meant.
    cells : tuple of index tuples
    about : Item, Waiver, Remark, Decision, SignOff, Trial or None
    """

    table: str = ""
    cells: Cells = ()
    about: Item | Waiver | Remark | Decision | SignOff | Trial | None = None

    @property
    def searched(self) -> str:
        """What the filter looks in."""
        return f"{super().searched} {self.table}".casefold()


def lines_of(view: View, standing: Standing) -> list[Line]:
    """Return the lines of a view, the gravest first."""
    maker = {
        View.TO_DO: _to_do,
        View.TABLES: _tables,
        View.WAIVERS: _waivers,
        View.REMARKS: _remarks,
        View.SINCE: _since,
    }[view]
    return list(maker(standing))


def count_of(view: View, standing: Standing) -> int:
    """Return how many lines of a view ask for something (of tables and waivers: all)."""
    record = standing.content.record
    if view is View.TO_DO:
        return len(standing.gate.blocking())
    if view is View.TABLES:
        return len(standing.gate.changed)
    if view is View.WAIVERS:
        return len(record.waivers)
    if view is View.REMARKS:
        return sum(r.is_open and not r.answers for r in record.remarks)
    return len(standing.verification.changed_since)


KINDS = {
    Obstacle.CHAIN: "Sign-offs",
    Obstacle.FINDING: "Finding",
    Obstacle.RASTER: "Off its raster",
    Obstacle.NOT_CHECKED: "Not checked",
    Obstacle.COMMON: "Common table",
    Obstacle.DECISION: "Awaits a decision",
    Obstacle.QUERY: "Queried",
    Obstacle.RIGHTS: "Right missing",
    Obstacle.MATURITY: "Maturity",
    Obstacle.EVIDENCE: "Not driven",
    Obstacle.NAMES: "Names look alike",
    Obstacle.WITHDRAWN: "Looked at no longer",
    Obstacle.REMARK: "Open remark",
}

GROUPS = {
    Obstacle.CHAIN: "Sign-offs",
    Obstacle.FINDING: "Findings",
    Obstacle.RASTER: "Off their storage raster",
    Obstacle.NOT_CHECKED: "Not checked",
    Obstacle.COMMON: "Common tables that differ",
    Obstacle.DECISION: "Tables that await a decision",
    Obstacle.QUERY: "Open queries",
    Obstacle.RIGHTS: "Rights missing",
    Obstacle.MATURITY: "Maturity too low",
    Obstacle.EVIDENCE: "Not driven",
    Obstacle.NAMES: "Names look alike",
    Obstacle.WITHDRAWN: "Looked at no longer",
    Obstacle.REMARK: "Open remarks",
}
"""Headings; what a sign-off does not wait for is marked as such."""


def group_of(item: Item) -> str:
    """Return the heading that an item stands under."""
    return GROUPS[item.kind] + ("" if item.blocks else ", for information")


def _to_do(standing: Standing) -> Iterator[Line]:
    for item in standing.gate.items:
        kind = KINDS[item.kind]
        if item.finding is not None and item.kind is Obstacle.FINDING:
            kind = str(item.severity).capitalize()
        finding = item.finding
        rule = rule_text(finding.source.to_plain()) if finding is not None else ""
        mode = item.finding.mode if item.finding is not None else ""
        more = item.remedy
        if is_elsewhere(standing.content, item):
            more = f"Mend it here or in the set of mode {mode}, or waive it in that set."
        yield Line(
            f"{item.kind} {item.table} {rule} {mode} {'' if rule else item.text}",
            str(item.severity),
            kind,
            _label(standing.content, item.table),
            item.text,
            more,
            table=item.table,
            cells=item.cells,
            about=item,
            group=group_of(item),
            short=_short(standing, item),
        )


def _short(standing: Standing, item: Item) -> str:
    """Return what a row says beside the table's name, which it does not say again."""
    if (
        item.kind is Obstacle.DECISION
        and standing.content.record.latest_decisions.get(item.table) is None
    ):
        return change_words(standing, item.table)
    label = _label(standing.content, item.table)
    text = item.text
    if label and text.startswith(label):
        text = text[len(label) :].lstrip(" :,")
        text = text.removeprefix("was ")
    return text[:1].upper() + text[1:]


def change_words(standing: Standing, table: str) -> str:
    """Return what changed in a table since its sign-off, or in all its history, in one line."""
    lines = standing.edits.get(table, ())
    how = standing.gate.changed.get(table, "")
    if not lines:
        return how[:1].upper() + how[1:]
    return lines[0] if len(lines) == 1 else f"{len(lines)} changes: {lines[0]}"


def is_elsewhere(content: CalibrationSet, item: Item) -> bool:
    """Whether an item is a breach in another mode's set, which only that set can waive."""
    return item.finding is not None and item.finding.mode not in ("", content.mode)


def _tables(standing: Standing) -> Iterator[Line]:
    gate, record = standing.gate, standing.content.record
    accepted = set(gate.accepted)
    for id, how in gate.changed.items():
        decision = record.latest_decisions.get(id)
        queried = decision is not None and decision.outcome is Outcome.QUERIED
        if id in accepted:
            mark, kind = "done", "Accepted"
        elif queried:
            mark, kind = "warning", "Queried"
        else:
            mark, kind = "warning", "Awaits a decision"
        if decision is None:
            more = "Nobody has decided yet."
        else:
            more = f"{str(decision.outcome).capitalize()} by {decision.by}, {when(decision.time)}"
            more += f": {decision.comment}" if decision.comment else ""
            if id not in accepted and not queried:
                more += ". That does not count for its present values."
        given = record.latest_maturities.get(id)
        level = given.level if given is not None else Level.ESTIMATED
        who = f", says {given.by}, {when(given.time)}" if given is not None else ""
        yield Line(
            f"table {id}",
            mark,
            kind,
            _label(standing.content, id),
            f"{how[:1].upper()}{how[1:]}. Its values are {level}{who}.",
            more,
            table=id,
            about=decision,
            group=kind if kind != "Awaits a decision" else GROUPS[Obstacle.DECISION],
            short=change_words(standing, id),
        )


def _waivers(standing: Standing) -> Iterator[Line]:
    for waiver in standing.content.record.waivers:
        problem = waiver_problem(waiver, standing)
        holds = f"until {waiver.expires}" if waiver.expires else "with no end"
        approver = f"approved by {waiver.approver}" if waiver.approver else "not approved yet"
        yield Line(
            f"waiver {waiver.id}",
            "warning" if problem else "done",
            "Does not hold" if problem else "Holds",
            _label(standing.content, waiver.table),
            problem
            or f"Up to {with_unit(waiver.size, waiver.unit)} at {places_words(waiver.places)}.",
            f"{waiver.reason} {EN} {waiver.author}, {when(waiver.time)}, {approver}, {holds}",
            table=waiver.table,
            cells=cells_at(standing.content.tables.get(waiver.table), waiver.places),
            about=waiver,
            group="Do not hold" if problem else "Hold",
        )


EN = "\N{EN DASH}"


def waiver_problem(waiver: Waiver, standing: Standing) -> str:
    """Return why a waiver covers nothing, in a sentence; empty if it holds."""
    table = standing.content.tables.get(waiver.table)
    if table is None:
        return "The set has no such table any more."
    mine = [
        f for f in standing.report.of(table.id) if form_of(f.source, table, f.mode) == waiver.rule
    ]
    if any(f.waiver == waiver.id for f in mine):
        return ""
    for finding in mine:
        problem = lapse(waiver, finding, today())
        if problem:
            return problem
        return "Another waiver covers the same."
    forms = {form_of(rule, table) for rule in table.rules_in_force}
    forms |= {
        form_of(rule, table, mode) for rule in table.rules_in_force for mode in table.relations
    }
    if '"mode":' not in waiver.rule and waiver.rule not in forms:
        return "The rule has other settings now, so that it covers nothing."
    return "There is nothing to waive here any more: the finding is gone."


def _remarks(standing: Standing) -> Iterator[Line]:
    remarks = standing.content.record.remarks
    heads = [r for r in remarks if not r.answers]
    heads.sort(key=lambda r: (not r.is_open,))
    for remark in heads:
        answers = [r for r in remarks if r.answers == remark.id]
        told = "\n".join(f"{r.author}, {when(r.time)}: {r.text}" for r in answers)
        state = f"Closed by {remark.settled_by}, {when(remark.settled_at)}"
        where = f" at {places_words(remark.places)}" if remark.places else ""
        yield Line(
            f"remark {remark.id}",
            "note" if remark.is_open else "done",
            "Open" if remark.is_open else "Closed",
            f"{_label(standing.content, remark.table) or 'The whole set'}{where}",
            f"{remark.author}, {when(remark.time)}: {remark.text}",
            "\n".join(part for part in (told, "" if remark.is_open else state) if part),
            table=remark.table,
            cells=cells_at(standing.content.tables.get(remark.table), remark.places),
            about=remark,
            group="Open" if remark.is_open else "Closed",
        )


def _since(standing: Standing) -> Iterator[Line]:
    for changed in standing.verification.changed_since:
        table = standing.content.tables.get(changed.what)
        lines = standing.since.get(changed.what, ())
        shown = "; ".join(lines[:3]) + (f"; and {len(lines) - 3} more" if len(lines) > 3 else "")
        yield Line(
            f"since {changed.what}",
            "warning",
            changed.how.capitalize() if table is not None or changed.how == "removed" else "Set",
            table.label if table is not None else changed.what,
            shown or (changed.how if table is None else "Its values or settings differ."),
            table=changed.what if table is not None else "",
            group="Changed since the sign-off",
        )
    for item in reversed(standing.content.record.sign_offs):
        try:
            statement = read_statement(item.statement)
        except SignatureProblem as problem:
            yield Line(
                f"sign {item.id}",
                "error",
                "Sign-off",
                "Damaged",
                str(problem),
                about=item,
                group="Sign-offs",
            )
            continue
        yield Line(
            f"sign {item.id}",
            "done",
            "Sign-off",
            f"{statement.name} as {statement.role}",
            f"{when(statement.time)}: {statement.decision}. {statement.comment}".strip(),
            f"{statement.set}, revision {statement.revision or '(none)'}",
            about=item,
            group="Sign-offs",
        )
    for trial in reversed(standing.content.record.trials):
        yield Line(
            f"trial {trial.id}",
            "done",
            "Trial",
            f"{trial.vehicle}, {trial.trip}",
            f"Left the desk {when(trial.time)}, until {trial.expires}, digest {trial.digest[:8]}.",
            "; ".join(trial.changed[:3]),
            about=trial,
            group="Trials",
        )


def _label(content: CalibrationSet, id: str) -> str:
    table = content.tables.get(id)
    return table.label if table is not None else id


def when(time: str) -> str:
    """Return a recorded time in the user's zone and form; a day, or what is no time, as it is."""
    moment = moment_of(time) if len(time) > len("2026-12-01") else None
    if moment is None:
        return time or "no time given"
    local = QDateTime.fromSecsSinceEpoch(int(moment.timestamp()))
    return QLocale().toString(local, QLocale.FormatType.ShortFormat)


def places_words(places: Places) -> str:
    """Return cells by their axis values, in short."""
    if not places:
        return "the whole table"
    named = ["(" + ", ".join(f"{x:g}" for x in place) + ")" for place in places[:3]]
    text = ", ".join(named).replace("-", "\N{MINUS SIGN}")
    return text if len(places) <= 3 else f"{text} and {len(places) - 3} more"


def cells_at(table: Table | None, places: Places) -> Cells:
    """Return the cells at axis values; those that the table has no more are left out."""
    if table is None:
        return ()
    found: list[tuple[int, ...]] = []
    for place in places:
        if len(place) != len(table.axes):
            continue
        listed = [axis.values.tolist() for axis in table.axes]
        if all(x in values for x, values in zip(place, listed, strict=True)):
            found.append(tuple(v.index(x) for x, v in zip(place, listed, strict=True)))
    return tuple(found)
