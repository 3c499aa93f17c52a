"""`bitepoint compare A B`: which tables differ, where and by how much, and against which rule."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli import company, preparing
from app.cli.answer import (
    DIFFERENT,
    GOOD,
    Answer,
    CannotDo,
    json_text,
    one_line,
    refuse,
)
from app.cli.check import finding_plain
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, count, listed, paragraph, title
from app.cli.writing import out_path
from app.vehicle_constants import constants_for
from calib_model.compare import State, compare
from calib_model.compare.narrow import matching, narrowed
from calib_model.compare.promises import promises
from calib_model.compare.threshold import Threshold
from calib_model.errors import ModelError
from calib_model.evidence.result_survey import survey
from calib_model.reports.compare_report import Names, compare_report
from calib_model.store import write_whole

if TYPE_CHECKING:
    from calib_model.compare import Comparison, TableComparison
    from calib_model.compare.promises import Promise
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.evidence.result_relation import ResultBreach
    from calib_model.evidence.result_survey import Looked
    from calib_model.session.beside import Company


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "compare",
        "List every difference between two sets, and every breach of a relation between their\n"
        "modes.  Differences are B less A.  With --tables, only those tables decide the exit\n"
        "status; with --threshold, values that differ by no more do not.  Where the two differ, "
        "each\nis held against the other sets of its programme as well, if a programme file "
        "beside it names\nit; a breach counts as different, whatever the threshold.",
        "Exit status: 0 same, 1 different, 2 could not be done.",
    )
    made.add_argument("a", metavar="A", type=Path, help="first calibration set file")
    made.add_argument("b", metavar="B", type=Path, help="second calibration set file")
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    made.add_argument(
        "--alone",
        action="store_true",
        help="do not look for programme files beside the sets",
    )
    made.add_argument(
        "--threshold",
        metavar="SIZE",
        help="leave out differences up to this size: storage steps (2) or percent of range (0.5%%)",
    )
    made.add_argument(
        "--tables",
        metavar="PATTERN",
        action="append",
        default=[],
        help="compare only tables whose id, name or function matches (*, ?); repeatable",
    )
    made.add_argument(
        "--result",
        action="store_true",
        help="hold the relation against the resulting torque too; a breach counts as different",
    )
    made.add_argument(
        "--vehicle",
        metavar="FILE",
        type=Path,
        help="vehicle file, for --result; if left out, the one that the programme beside A names, "
        "or the Larch",
    )
    made.add_argument(
        "--to",
        nargs=2,
        metavar=("html", "OUT"),
        help="write a report with plots to a file, replaced if it exists",
    )
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Compare two sets."""
    given = parser().parse_args(arguments)
    threshold = _threshold(given.threshold)
    out = out_path("compare", given.to, [given.a, given.b])
    both = [given.a, given.b]
    with (
        SetFiles(both) as files,
        company.Neighbours(given.a, alone=given.alone, named=both) as a_neighbours,
        company.Neighbours(given.b, alone=given.alone, named=both) as b_neighbours,
    ):
        first, second = (stored.set for stored in files.results())
        a_found, b_found = a_neighbours.company(first), b_neighbours.company(second)
    result = _narrowed(compare(first, second), threshold, given.tables)
    looked: tuple[Looked, ...] = ()
    vehicle = ""
    if given.result:
        looked, vehicle = _looked(first, second, given)
    torque = any(one.check.breaches for one in looked)

    further = promises(result, a_neighbours.others(a_found, ()), b_neighbours.others(b_found, ()))
    broken = any(promise.breaches for promise in further)
    same = result.same and not result.breaches and not torque and not broken
    status = GOOD if same else DIFFERENT
    beside = (("A", a_found), ("B", b_found))
    if out is not None:
        _write_report(result, given, threshold, out, further)
        if not given.json:
            return Answer(status, _written(result, out))
    if given.json:
        about: dict[str, Any] = {}
        if looked:
            about = {
                "resulting_torque": [_looked_plain(one) for one in looked],
                "taken_for_granted": [{"words": vehicle}],
            }
        about |= {
            "beside": [{"of": of, **one} for of, one_of in beside for one in company.plain(one_of)],
            "promises": [_promise_plain(promise) for promise in further],
        }
        return Answer(status, json_text({**plain(result), **about}))
    told = _promises_words(beside, further)
    return Answer(status, words(result, given.a, given.b, looked, vehicle, told))


def _promise_plain(promise: Promise) -> dict[str, Any]:
    """Return the relation to a further set as plain data."""
    return {
        "of": promise.of,
        "mode": promise.other.mode,
        "words": promise.words,
        "breaches": [finding_plain(one) for one in promise.breaches],
    }


def _promises_words(beside: Sequence[tuple[str, Company]], further: Sequence[Promise]) -> str:
    """Return what was read beside the two sets, and what came of holding them against that."""
    parts = [paragraph(f"{of}: {company.words(found)}") for of, found in beside if found.words]
    parts += [paragraph(f"{of}: {text}") for of, found in beside for text in found.problems]
    for promise in further:
        head = f"{promise.of} against the {promise.other.mode} set, where A and B differ:"
        if promise.breaches:
            head += f" {count(len(promise.breaches), 'table')} in breach."
            parts.append(head + "\n" + listed([(b.table, b.message) for b in promise.breaches]))
        else:
            parts.append(f"{head} no table is in breach.")
    return "\n".join(parts)


def _looked(
    first: CalibrationSet, second: CalibrationSet, given: Any
) -> tuple[tuple[Looked, ...], str]:
    """Look at the resulting torque from several sides; and say whose constants were taken."""
    vehicle = constants_for(given.vehicle, given.a)
    preparing.say_if_it_takes_long(preparing.LAW, preparing.RESULT)

    return tuple(survey(first, second, vehicle.read())), vehicle.words


def _looked_plain(looked: Looked) -> dict[str, Any]:
    """Return one picture of the resulting torque as plain data."""
    check = looked.check
    return {
        "over": [looked.ask.x, looked.ask.y],
        "at": dict(looked.ask.at),
        "checked": bool(check.relation.sense),
        "relation": check.relation.words,
        "points": check.looked_at,
        "breaches": [_breach_plain(b) for b in check.breaches],
        "meant": [_breach_plain(b) for b in check.meant],
    }


def _breach_plain(breach: ResultBreach) -> dict[str, Any]:
    return {
        "points": int(breach.mask.sum()),
        "amount": breach.amount,
        "unit": "N.m",
        "mode_decided_by": breach.mode_by,
        "base_decided_by": breach.base_by,
        "message": breach.words,
    }


def _looked_words(looked: Sequence[Looked], vehicle: str) -> str:
    """Return what came of looking at the resulting torque."""
    relation = looked[0].check.relation
    parts = [f"Resulting torque. {relation.words} {vehicle}"]
    if relation.sense:
        for one in looked:
            found = [b.words for b in one.check.breaches]
            found += [f"Meant: {b.words}" for b in one.check.meant]
            head = f"{one.title}: {'' if found else 'holds'}".rstrip()
            parts.append(f"{head}\n{listed([('', w) for w in found])}" if found else head)
    return "\n".join(parts)


def _threshold(text: str | None) -> Threshold | None:
    """Read a threshold; a CannotDo says what is wrong with it."""
    if text is None:
        return None

    try:
        return Threshold.parse(text)
    except ModelError as error:
        raise CannotDo(one_line(str(error))) from None


def _narrowed(
    result: Comparison, threshold: Threshold | None, patterns: Sequence[str]
) -> Comparison:
    if threshold is None and not patterns:
        return result
    found = narrowed(result, threshold, matching(patterns) if patterns else None)
    if patterns and not found.tables:
        refuse(
            f"No table matches {' or '.join(patterns)}.",
            "`bitepoint show SET` lists the tables; * stands for any text.",
        )
    return found


def _write_report(
    result: Comparison,
    given: Any,
    threshold: Threshold | None,
    out: Path,
    further: Sequence[Promise],
) -> None:
    text = compare_report(
        result, Names(given.a.name, given.b.name), threshold=threshold, promises=further
    )
    write_whole(out, text)


def _written(result: Comparison, out: Path) -> str:
    differing, breaches = len(result.differing), len(result.breaches)
    return (
        f"{count(differing, 'table')} of {len(result.tables)} "
        f"{'differs' if differing == 1 else 'differ'}, {count(breaches, 'table')} in breach. "
        f"Wrote the report to {out}.\n\n{caution()}\n"
    )


def plain(result: Comparison) -> dict[str, Any]:
    """Return a comparison as plain data."""
    return {
        "tables": [
            {
                "table": table.id,
                "state": str(table.state),
                "cells_changed": table.cells_changed,
                "largest": table.largest,
                "unit": table.unit,
                "mode_relation_breaches": [finding_plain(b) for b in table.breaches],
            }
            for table in result.tables.values()
        ]
    }


def words(
    result: Comparison,
    first: Path,
    second: Path,
    looked: Sequence[Looked] = (),
    vehicle: str = "",
    further: str = "",
) -> str:
    """Return a comparison for reading."""
    states = ", ".join(f"{n} {state}" for state in State if (n := result.count(state)))
    head = (
        f"A: {title(result.first, first)}\nB: {title(result.second, second)}\n"
        f"{count(len(result.tables), 'table')}: {states or 'none'}."
    )
    parts = [head]
    if result.fields:
        changes = [(f.field, f.change) for f in result.fields]
        parts.append("Of the sets themselves\n" + listed(changes))
    if result.differing:
        overview = [(t.id, str(t.state), t.words()) for t in result.differing]
        parts.append("Tables that differ\n" + listed(overview))
    parts.append(_relation(result))
    if further:
        parts.append(further)
    if looked:
        parts.append(_looked_words(looked, vehicle))
    details = [_details(t) for t in result.differing if t.fields or t.cells]
    if details:
        parts.append("Every difference\n" + "\n".join(details))
    parts.append(caution())
    return "\n\n".join(parts) + "\n"


def _relation(result: Comparison) -> str:
    """Return what came of the relation between the modes."""
    if not result.breaches:
        no_pair = result.relation.startswith("No ")
        return result.relation + ("" if no_pair else " No table is in breach.")
    heading = f"{result.relation} {count(len(result.breaches), 'table')} in breach:"
    return heading + "\n" + listed([(b.table, b.message) for b in result.breaches])


def _details(table: TableComparison) -> str:
    lines = [f.words() for f in table.fields]
    lines += [cell.words() for cell in table.cells]
    return f"{table.id} ({table.table.label})\n" + listed([("", line) for line in lines])
