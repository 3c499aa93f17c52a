"""The manoeuvre report: one HTML file that stands alone, with metrics, traces and paths.

No scripts, nothing fetched, all text escaped.  The set compared with is dashed and grey, the set
itself solid and black, so that nothing hangs on colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from ..core.numbers import short
from ..core.units import shown
from ..vehicle.metrics import BETTER_WORDS, Reading
from ..vehicle.runs import LEFT_OUT, Result
from .manoeuvre_svg import plots
from .page import bullets, cautions, page

_STYLE = """
th,td{padding:.2rem .45rem;text-align:right}
td.text,th.text{text-align:left}td.beyond{border:3px solid #000;font-weight:bold}
small{color:#444}
"""


@dataclass(frozen=True)
class RunNames:
    """What the sets are called.

    Parameters
    ----------
    mine : str
    against : str
        Empty if nothing is compared.
    vehicle : str
    """

    mine: str
    against: str = ""
    vehicle: str = ""


def manoeuvre_report(results: Sequence[Result], names: RunNames, *, made: str = "") -> str:
    """Return the report as HTML.

    Parameters
    ----------
    results : sequence of Result
    names : RunNames
    made : str
        When and by whom; may be empty.

    Returns
    -------
    str
        A whole page.
    """
    title = "Desk manoeuvres"
    sets = escape(names.mine)
    if names.against:
        sets += f", against {escape(names.against)} (dashed)"
    parts = [f"<h1>{title}</h1>", f"<p>Set: {sets}."]
    parts.append(f" Vehicle: {escape(names.vehicle)}.</p>" if names.vehicle else "</p>")
    if made:
        parts.append(f"<p><small>{escape(made)}</small></p>")
    parts.append(f"<p>{escape(LEFT_OUT)}</p>")
    parts.append(_missing(results, names))
    for result in results:
        parts += _manoeuvre(result, names)
    parts.append(cautions())
    return page(title, parts, _STYLE)


def _missing(results: Sequence[Result], names: RunNames) -> str:
    items = []
    for label, chosen in (
        (names.mine, results),
        (names.against, [r.against for r in results if r.against is not None]),
    ):
        found = {role: why for r in chosen for role, why in r.missing.items()}
        items += [f"{label}: {role}: {why}" for role, why in found.items()]
    return f"<p>Parts of the controller that took no part:</p>{bullets(items)}" if items else ""


def _manoeuvre(result: Result, names: RunNames) -> list[str]:
    one = result.manoeuvre
    ambient = f"ambient {short(one.start.ambient_temperature, 4)} °C"
    about = escape(f"{one.id}, {one.duration:g} s, {ambient}")
    parts = [
        f"<h2>{escape(one.name)}</h2>",
        f"<p>{escape(one.purpose)} <small>{about}</small></p>",
    ]
    for label, found in ((names.mine, result), (names.against, result.against)):
        if found is not None and not found.completed:
            parts.append(f"<p><b>{escape(f'{label}: {found.why}')}</b></p>")
        if found is not None:
            parts += [f"<p>{escape(f'{label}: {r}')}</p>" for r in found.trace.remarks]
    parts.append(_table(result, names))
    if result.completed or result.against is not None:
        parts.append(f'<div class="plots">{"".join(plots(result))}</div>')
    return parts


def _table(result: Result, names: RunNames) -> str:
    heads = ["Metric (desk estimate)", names.mine]
    if names.against:
        heads += [names.against, "Change", ""]
    heads += ["Limit", "How"]
    rows = []
    for row in result.rows():
        reading, unit = row.reading, row.reading.metric.unit
        cells = [f'<td class="text">{escape(reading.metric.label)}</td>', _value(reading)]
        if names.against:
            change = "" if row.change is None else f"{_signed(row.change)} {shown(unit)}"
            cells += [
                _value(row.against) if row.against else "<td></td>",
                f"<td>{escape(change)}</td>",
                f'<td class="text">{escape(row.verdict)}</td>',
            ]
        limit = "" if reading.limit is None else f"{short(reading.limit, 5)} {shown(unit)}"
        how = f"{reading.metric.how} {BETTER_WORDS[reading.metric.better].capitalize()}."
        cells += [
            f"<td>{escape(limit)}</td>",
            f'<td class="text"><small>{escape(how)}</small></td>',
        ]
        rows.append(f"<tr>{''.join(cells)}</tr>")
    head = "".join(f'<th class="text">{escape(h)}</th>' for h in heads)
    return f"<table><tr>{head}</tr>{''.join(rows)}</table>"


def _value(reading: Reading) -> str:
    if reading.value is None:
        return f'<td class="text"><small>{escape(reading.why)}</small></td>'
    text = f"{short(reading.value, 4)} {shown(reading.metric.unit)}"
    if reading.beyond:
        return f'<td class="beyond">{escape(text)} (beyond the limit)</td>'
    return f"<td>{escape(text)}</td>"


def _signed(value: float) -> str:
    return ("+" if value > 0 else "") + short(value, 3)
