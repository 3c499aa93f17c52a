"""`bitepoint manoeuvre SET`: what a set does to the vehicle, at the desk."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli import preparing
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.manoeuvre_record import record, record_words
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import count, listed, title, width
from app.cli.writing import out_path
from calib_model.cautions import ESTIMATES
from calib_model.core.numbers import short, with_unit
from calib_model.errors import ModelError
from calib_model.reports.manoeuvre_report import RunNames, manoeuvre_report
from calib_model.session.files import open_document
from calib_model.session.programme import vehicle_beside
from calib_model.store import write_whole
from calib_model.vehicle.manoeuvre_file import read_manoeuvres
from calib_model.vehicle.manoeuvres import MANOEUVRES, manoeuvre
from calib_model.vehicle.parameters import LARCH, read_vehicle
from calib_model.vehicle.runs import LEFT_OUT, drive_all

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.session.document import Document
    from calib_model.vehicle.manoeuvres import Manoeuvre
    from calib_model.vehicle.parameters import Vehicle
    from calib_model.vehicle.runs import Result


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "manoeuvre",
        "Drive manoeuvres with a set and read their metrics.  All are desk estimates: the vehicle\n"
        "file is the truth, the set says only what the controller believes.  With --against, the\n"
        "same manoeuvres are driven with a second set, and the change is its value taken from\n"
        "SET's.",
        "Exit status: 0 every drive ended as meant and no metric lies beyond its limit; 1 a drive\n"
        "did not, a metric does, or parts of the controller are missing; 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument(
        "--name",
        metavar="NAME",
        action="append",
        default=[],
        help="id of a manoeuvre, or all (usual); repeatable",
    )
    made.add_argument("--against", metavar="SET", type=Path, help="set to compare with")
    add_bench_arguments(made)
    made.add_argument(
        "--record",
        action="store_true",
        help="keep what finished in SET as evidence of the grade 'desk only', and save it",
    )
    made.add_argument("--by", metavar="NAME", default="", help="who does, for --record")
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    made.add_argument(
        "--to",
        nargs=2,
        metavar=("html", "OUT"),
        help="write a report with plots to a file, replaced if it exists",
    )
    return made


def add_bench_arguments(made: VerbParser) -> None:
    """Add the arguments that say what is driven."""
    made.add_argument(
        "--vehicle",
        metavar="FILE",
        type=Path,
        help="vehicle file (TOML); if left out, the one that the programme beside SET names, or "
        "the Larch",
    )
    made.add_argument("--variant", metavar="NAME", help="variant of the vehicle, such as laden")
    made.add_argument(
        "--manoeuvres", metavar="FILE", type=Path, help="your own manoeuvres and limits (TOML)"
    )


def run(arguments: Sequence[str]) -> Answer:
    """Drive manoeuvres."""
    given = parser().parse_args(arguments)
    if given.record and not given.by.strip():
        refuse("Nobody is named.", "Say who keeps the drives: --by NAME.")
    paths = [given.set, *([given.against] if given.against else [])]
    out = out_path("manoeuvre", given.to, paths)
    with SetFiles(paths) as files:
        vehicle = vehicle_of(given.vehicle, given.variant, given.set)
        chosen = manoeuvres_of(given.manoeuvres, given.name)
        preparing.say_if_it_takes_long(preparing.LAW, preparing.VEHICLE)

        sets = [stored.set for stored in files.results()]
    document = _opened(given) if given.record else None
    if document is not None:
        sets[0] = document.content
    against = sets[1] if given.against else None
    results = drive_all(sets[0], chosen, vehicle, against=against)
    status = status_of(results)
    kept = record(document, results, vehicle, given.by.strip()) if document is not None else []
    if out is not None:
        _write_report(results, given, vehicle, out)
    if given.json:
        return Answer(status, json_text({**plain(results), **({"evidence": kept} if kept else {})}))
    text = words(results, sets, paths, vehicle)
    if kept:
        text = f"{text}\n{record_words(kept)}\n"
    if out is not None:
        text = f"Wrote the report to {out}.\n\n{text}"
    return Answer(status, text)


def _opened(given: Any) -> Document:
    return open_document(given.set, given.by.strip())


def vehicle_of(chosen: Path | None, variant: str | None, set_path: Path) -> Vehicle:
    """Return the vehicle to drive: the one that was named, else that of the set's programme."""
    path = chosen if chosen is not None else vehicle_beside(set_path)
    vehicle = LARCH if path is None else read_vehicle(path)
    if variant is None:
        return vehicle
    try:
        return vehicle.variant(variant)
    except ModelError as error:
        refuse(error.problem, error.remedy)


def manoeuvres_of(path: Path | None, names: Sequence[str]) -> list[Manoeuvre]:
    """Return the manoeuvres to drive, in the order named."""
    among = MANOEUVRES if path is None else read_manoeuvres(path).manoeuvres
    if not names or "all" in names:
        return list(among.values())
    try:
        return [manoeuvre(name, among) for name in dict.fromkeys(names)]
    except ModelError as error:
        refuse(error.problem, error.remedy)


def status_of(results: Sequence[Result]) -> int:
    """Return the exit status; see the verb's help."""
    every = [*results, *(r.against for r in results if r.against is not None)]
    wrong = any(not r.completed or r.missing for r in every)
    beyond = any(m.beyond for r in results for m in r.metrics)
    return DIFFERENT if wrong or beyond else GOOD


def plain(results: Sequence[Result]) -> dict[str, list[dict[str, Any]]]:
    """Return results as plain data."""
    compared = any(r.against is not None for r in results)
    made: dict[str, list[dict[str, Any]]] = {"manoeuvres": [_one(r) for r in results]}
    missing = [
        {"set": which, "role": role, "why": why}
        for which, found in (("set", results), ("against", [r.against for r in results]))
        for role, why in {
            role: why for r in found if r is not None for role, why in r.missing.items()
        }.items()
        if which == "set" or compared
    ]
    if missing:
        made["missing"] = missing
    made["notes"] = [{"text": LEFT_OUT}, {"text": ESTIMATES}]
    return made


def _one(result: Result) -> dict[str, Any]:
    return {
        "name": result.name,
        "completed": result.completed,
        "why": result.why,
        "metrics": [
            {
                "name": row.reading.name,
                "value": row.reading.value,
                "unit": row.reading.metric.unit,
                "against": row.against.value if row.against is not None else None,
                "better": row.reading.metric.better,
                "why": row.reading.why,
                "limit": row.reading.limit,
                "beyond_limit": row.reading.beyond,
            }
            for row in result.rows()
        ],
        "remarks": list(result.trace.remarks),
    }


def words(
    results: Sequence[Result],
    sets: Sequence[CalibrationSet],
    paths: Sequence[Path],
    vehicle: Vehicle,
) -> str:
    """Return results for reading."""
    labels = ("Set", "Against")
    heads = [f"{label}: {title(c, p)}" for label, c, p in zip(labels, sets, paths, strict=False)]
    parts = ["\n".join([*heads, f"Vehicle: {vehicle.name}"])]
    for label, chosen in (
        ("Set", results),
        ("Against", [r.against for r in results if r.against is not None]),
    ):
        missing = {role: why for r in chosen for role, why in r.missing.items()}
        if missing:
            parts.append(
                f"{label}: {count(len(missing), 'part')} of the controller took no part\n"
                + listed(list(missing.items()))
            )
    parts += [result_words(r) for r in results]
    parts.append(honest())
    return "\n\n".join(parts) + "\n"


def honest() -> str:
    """Return what the model leaves out, and the cautions, wrapped."""
    return "\n".join(line for t in (LEFT_OUT, ESTIMATES) for line in textwrap.wrap(t, width()))


def result_words(result: Result) -> str:
    """Return one manoeuvre for reading."""
    lines = [f"{result.manoeuvre.name} ({result.name})"]
    for label, found in (("", result), ("Against: ", result.against)):
        if found is not None and not found.completed:
            lines += textwrap.wrap(f"  {label}Did not end as meant: {found.why}", width())
        if found is not None:
            lines += [
                line
                for remark in found.trace.remarks
                for line in textwrap.wrap(f"  {label}{remark}", width())
            ]
    rows = []
    for row in result.rows():
        reading = row.reading
        unit = reading.metric.unit
        text = reading.why if reading.value is None else with_unit(reading.value, unit, 4)
        if row.against is not None:
            other = row.against
            said = other.why if other.value is None else with_unit(other.value, unit, 4)
            text += f"; against {said}"
            if row.change is not None:
                sign = "+" if row.change > 0 else ""
                text += f": {sign}{short(row.change, 3)}"
                text += f", {row.verdict}" if row.verdict else ""
        if reading.limit is not None:
            beyond = "beyond" if reading.beyond else "within"
            text += f" ({beyond} the limit of {with_unit(reading.limit, unit, 4)})"
        rows.append((f"  {reading.metric.label}", text))
    return "\n".join([*lines, listed(rows)])


def _write_report(results: Sequence[Result], given: Any, vehicle: Vehicle, out: Path) -> None:
    names = RunNames(given.set.name, given.against.name if given.against else "", vehicle.name)
    write_whole(out, manoeuvre_report(results, names))
