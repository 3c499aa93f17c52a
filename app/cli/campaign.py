"""`bitepoint campaign SETS...`: manoeuvres x sets x variations, on all cores or a cluster."""

from __future__ import annotations

import signal
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli import preparing
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.manoeuvre import (
    add_bench_arguments,
    honest,
    manoeuvres_of,
    plain,
    result_words,
    status_of,
    vehicle_of,
)
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import aligned, count, listed, width
from calib_model.cautions import ESTIMATES
from calib_model.core.numbers import short
from calib_model.core.plain_file import is_there
from calib_model.core.units import shown
from calib_model.errors import BitepointError, ModelError
from calib_model.vehicle.campaign import NamedSet, Plan, run_campaign
from calib_model.vehicle.campaign_store import NO_SUM, form_of, read_campaign, write_campaign
from calib_model.vehicle.campaign_summary import distributions, incomplete
from calib_model.vehicle.campaign_worker import run_again
from calib_model.vehicle.cluster_trust import (
    Certificates,
    confirm,
    is_confirmed,
    is_encrypted,
    risk,
)
from calib_model.vehicle.executors import cores, executor
from calib_model.vehicle.runs import LEFT_OUT, missing_of
from calib_model.vehicle.variations import VARIATIONS, grid, latin_hypercube, variation

if TYPE_CHECKING:
    from calib_model.vehicle.campaign import Campaign
    from calib_model.vehicle.variations import Points, Variation

USUAL_RUNS = 50


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "campaign",
        "Drive manoeuvres with sets under varied conditions (friction, temperature, mass, tyre,\n"
        "sensor noise), write a row per run, and list distributions and worst cases.  Results do\n"
        "not depend on the number of workers.  --show FILE lists the results of a file again,\n"
        "--show FILE ROW drives one of its rows again.  All are desk estimates.",
        "Exit status: 0 every drive ended as meant; 1 one did not, the campaign was stopped\n"
        "before its end, or parts of a controller are missing; 2 could not be done.",
    )
    made.add_argument("sets", metavar="SETS", nargs="*", type=Path, help="calibration set files")
    made.add_argument(
        "--name", metavar="NAME", action="append", default=[], help="id of a manoeuvre; repeatable"
    )
    made.add_argument(
        "--runs",
        metavar="N",
        type=int,
        help=f"variations per manoeuvre and set, by Latin hypercube ({USUAL_RUNS} if left out)",
    )
    made.add_argument(
        "--vary",
        metavar="NAME[=LOW..HIGH[/STEPS]]",
        action="append",
        default=[],
        help="what varies, and between which bounds; repeatable; all if left out.  With steps "
        "(for each of them) a grid is driven instead of a Latin hypercube",
    )
    add_bench_arguments(made)
    made.add_argument("--seed", metavar="N", type=int, default=0, help="of points and noise (0)")
    made.add_argument("--workers", metavar="N", type=int, help="processes; all cores if left out")
    made.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        default="",
        help="Dask scheduler, such as tls://HOST:8786; whoever controls it can run programs here",
    )
    made.add_argument(
        "--trust-scheduler",
        action="store_true",
        help="say so once: the scheduler may run programs on this machine",
    )
    for name, what in (
        ("ca", "for tls://: certificates of whoever signed the cluster's (PEM)"),
        ("cert", "for tls://: this client's certificate (PEM)"),
        ("key", "for tls://: this client's key (PEM)"),
    ):
        made.add_argument(f"--tls-{name}", metavar="FILE", type=Path, help=what)
    made.add_argument(
        "--out", metavar="FILE", type=Path, help="new file for the results: .parquet, or .h5"
    )
    made.add_argument(
        "--show", metavar=("FILE", "ROW"), nargs="+", help="results of a file, or one row again"
    )
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Run or show a campaign."""
    given = parser().parse_args(arguments)
    if given.show:
        return _show(given)
    if not given.sets:
        refuse("No set is named.", "Give a set file or more, or --show FILE.")

    if given.out is None:
        refuse("Nowhere to write the results.", "Give --out FILE, ending in .parquet or .h5.")
    form_of(given.out)
    if is_there(given.out):
        refuse(f"{given.out}: There is such a file already.", "Give a new name with --out.")
    _require_trust(given)
    campaign, sets = _run(given)
    write_campaign(given.out, campaign)
    head = f"Wrote {count(int(campaign.done.sum()), 'run')} to {given.out}."
    return _answer(campaign, given.json, head, _missing(campaign, sets))


def _require_trust(given: Any) -> None:
    """Refuse a scheduler that nobody confirmed, and say what it could do."""
    files = (given.tls_ca, given.tls_cert, given.tls_key)
    if any(files) and not is_encrypted(given.scheduler):
        refuse("Certificates are for a tls:// scheduler.", "Give --scheduler tls://HOST:PORT.")
    if not given.scheduler or is_confirmed(given.scheduler):
        return
    if not given.trust_scheduler:
        refuse(risk(given.scheduler), "If you trust it, add --trust-scheduler, once.")
    confirm(given.scheduler)


def _run(given: Any) -> tuple[Campaign, list[NamedSet]]:
    with SetFiles(given.sets) as files:
        vehicle = vehicle_of(given.vehicle, given.variant, given.sets[0])
        chosen = manoeuvres_of(given.manoeuvres, given.name)
        points = _points(given)
        preparing.say_if_it_takes_long(preparing.LAW, preparing.VEHICLE)

        names = _names(given.sets)
        sets = [
            NamedSet(name, stored.set) for name, stored in zip(names, files.results(), strict=True)
        ]
    try:
        plan = Plan(tuple(sets), tuple(chosen), vehicle, points, given.seed)
        workers = cores() if given.workers is None else given.workers
        certificates = Certificates(given.tls_ca, given.tls_cert, given.tls_key)
        with (
            _stoppable() as stopped,
            executor(given.workers, given.scheduler, certificates) as made,
        ):
            campaign = run_campaign(
                plan, made, workers=workers, progress=_progress(), cancelled=stopped
            )
    except BitepointError as error:
        refuse(error.problem, error.remedy)
    return campaign, sets


def _names(paths: Sequence[Path]) -> list[str]:
    stems = [p.stem for p in paths]
    if len(set(stems)) == len(stems):
        return stems
    return [f"{number} {stem}" for number, stem in enumerate(stems, 1)]


def _points(given: Any) -> Points:
    try:
        asked = [_variation(text) for text in given.vary or VARIATIONS]
        steps = [n for _, n in asked if n is not None]
        varied = [v for v, _ in asked]
        if not steps:
            return latin_hypercube(
                varied, USUAL_RUNS if given.runs is None else given.runs, given.seed
            )
        if len(steps) < len(varied):
            refuse("Only some variations have steps.", "Give steps to all of them, or to none.")
        if given.runs is not None:
            refuse("--runs does not go with steps.", "Leave one of them out.")
        return grid(varied, steps)
    except ModelError as error:
        refuse(error.problem, error.remedy)


def _variation(text: str) -> tuple[Variation, int | None]:
    name, _, rest = text.partition("=")
    found = variation(name.strip())
    if not rest:
        return found, None
    bounds, slash, steps = rest.partition("/")
    low, dots, high = bounds.partition("..")
    try:
        if not dots:
            raise ValueError
        return found.within(float(low), float(high)), int(steps) if slash else None
    except ValueError:
        refuse(f"--vary {text} is not understood.", "Write NAME=LOW..HIGH or NAME=LOW..HIGH/STEPS.")


def _progress() -> Callable[[int, int], None] | None:
    if not sys.stderr.isatty():
        return None

    def show(done: int, every: int) -> None:
        end = "\n" if done == every else ""
        print(f"\r{done} of {every} runs", end=end, file=sys.stderr, flush=True)

    return show


@contextmanager
def _stoppable() -> Iterator[Callable[[], bool]]:
    """Turn an interrupt into an orderly end: what is done by then is kept."""
    asked = False

    def ask(*_: object) -> None:
        nonlocal asked
        asked = True

    try:
        before = signal.signal(signal.SIGINT, ask)
    except ValueError:  # not the main thread
        yield lambda: False
        return
    try:
        yield lambda: asked
    finally:
        signal.signal(signal.SIGINT, before)


def _missing(campaign: Campaign, sets: Sequence[NamedSet]) -> list[dict[str, Any]]:
    return [
        {"set": s.name, "role": role, "why": why}
        for s in sets
        for role, why in missing_of(s.content, campaign.plan.vehicle).items()
    ]


def _answer(
    campaign: Campaign, as_json: bool, head: str, missing: Sequence[dict[str, Any]]
) -> Answer:
    unchecked = [NO_SUM] if campaign.unchecked else []
    found = list(distributions(campaign))
    broken = incomplete(campaign)
    whole = bool(campaign.done.all())
    status = GOOD if whole and not broken and not missing else DIFFERENT
    if as_json:
        rows = [
            {
                "manoeuvre": d.manoeuvre,
                "set": d.set_name,
                "metric": d.metric.name,
                "unit": d.metric.unit,
                "better": d.metric.better,
                "runs": d.runs,
                "without_value": d.missing,
                "mean": d.mean,
                "least": d.least,
                "most": d.most,
                "percentiles": {f"{p:g}": v for p, v in d.percentiles},
                "worst_rows": list(d.worst),
                "rows_without_value": list(d.without),
            }
            for d in found
        ]

        return Answer(
            status,
            json_text(
                {
                    "distributions": rows,
                    "did_not_complete": [{"why": w, "rows": r} for w, r in broken.items()],
                    "missing": list(missing),
                    "state": [
                        {"runs": len(campaign), "done": int(campaign.done.sum()), "whole": whole}
                    ],
                    "notes": [{"text": text} for text in (LEFT_OUT, ESTIMATES, *unchecked)],
                }
            ),
        )
    parts = [head, *unchecked]
    if not whole:
        parts.append(f"Stopped: {int(campaign.done.sum())} of {count(len(campaign), 'run')} done.")
    if missing:
        parts.append(
            "Parts of a controller that took no part\n"
            + listed([(m["set"], m["role"], m["why"]) for m in missing])
        )
    parts.append(_table(campaign, found))
    if broken:
        rows_of = [
            (f"row {', '.join(map(str, r[:5]))}{' ...' if len(r) > 5 else ''}", w)
            for w, r in broken.items()
        ]
        parts.append("Did not end as meant\n" + listed(rows_of))
    parts.append(
        "\n".join(
            textwrap.wrap("--show FILE ROW drives a worst row again, with its trace.", width())
        )
    )
    parts.append(honest())
    return Answer(status, "\n\n".join(parts) + "\n")


def _table(campaign: Campaign, found: Sequence[Any]) -> str:
    parts = []
    for manoeuvre in campaign.plan.manoeuvres:
        mine = [d for d in found if d.manoeuvre == manoeuvre.id]
        rows: list[tuple[str, ...]] = [
            ("metric", "set", "least", "5 %", "median", "95 %", "most", "none", "worst row")
        ]
        for d in mine:
            at = dict(d.percentiles)
            numbers = (d.least, at.get(5.0), at.get(50.0), at.get(95.0), d.most)
            rows.append(
                (
                    f"{d.metric.name} [{shown(d.metric.unit)}]",
                    d.set_name,
                    *("" if n is None or n != n else short(n, 4) for n in numbers),
                    str(d.missing) if d.missing else "",
                    str(d.worst[0]) if d.worst else "",
                )
            )
        parts.append(f"{manoeuvre.name}\n" + "\n".join(aligned(rows)))
    return "\n\n".join(parts)


def _show(given: Any) -> Answer:
    if len(given.show) > 2 or given.sets:
        refuse("--show takes a file, and a row if wanted.", "Write --show FILE or --show FILE ROW.")
    campaign = read_campaign(given.show[0])
    if len(given.show) == 1:
        head = f"{given.show[0]}: {count(len(campaign), 'run')}."
        return _answer(campaign, given.json, head, _missing(campaign, campaign.plan.sets))

    row = _row(given.show[1], len(campaign))
    plan = campaign.plan
    _, which, point = plan.parts(row)
    result = run_again(plan, row)
    if given.json:
        made = plain([result])
        made["conditions"] = [
            {"row": row, "set": plan.sets[which].name, "seed": plan.seed_of(row)}
            | plan.points.at(point)
        ]
        return Answer(status_of([result]), json_text(made))
    conditions = ", ".join(f"{n} {v:.6g}" for n, v in plan.points.at(point).items()) or "nominal"
    head = f"Row {row}: {plan.sets[which].name}; {conditions}; seed {plan.seed_of(row)}."
    head += f" {NO_SUM}" if campaign.unchecked else ""
    parts = ["\n".join(textwrap.wrap(head, width())), result_words(result), honest()]
    return Answer(status_of([result]), "\n\n".join(parts) + "\n")


def _row(text: str, most: int) -> int:
    try:
        row = int(text)
    except ValueError:
        row = -1
    if not 0 <= row < most:
        refuse(f"There is no row {text}.", f"Give a number from 0 to {most - 1}.")
    return row
