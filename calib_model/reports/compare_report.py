"""The difference report: one HTML file that stands alone, for the review and the archive."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from ..compare import (
    Aligned,
    Comparison,
    FieldChange,
    NotComparable,
    State,
    TableComparison,
    Threshold,
    align,
)
from ..compare.relation import breach_marks, oriented
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..core.units import shown
from .difference_svg import difference_curve, difference_map
from .page import cautions, count, page
from .svg import legend, table_plots

if TYPE_CHECKING:
    from ..compare.promises import Promise
    from ..rules.check import Finding

MOST_CELLS = 200
"""More cells of a table than this are counted, not listed."""
MOST_TABLES = 300
"""More tables than this are in the overview alone, the smallest differences first."""
RELATION_CAUTION = "A kept relation between two modes does not make either of them safe."
_STYLE = ".breach{border:2px solid #000;padding:.4rem .6rem}"


@dataclass(frozen=True)
class Names:
    """What the two sets are called, such as their files' names."""

    first: str
    second: str


def compare_report(
    result: Comparison,
    names: Names,
    *,
    threshold: Threshold | None = None,
    promises: Sequence[Promise] = (),
    now: datetime | None = None,
) -> str:
    """Return the report as HTML.

    Parameters
    ----------
    result : Comparison
        Narrowed already, if it is to be.
    names : Names
    threshold : Threshold, optional
        What it was narrowed by, to be said.
    promises : sequence of Promise
        What came of holding the two against further sets of their programme.
    now : datetime, optional
        The time to put on it.
    """
    stamp = (now or datetime.now(UTC)).astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")
    title = f"Differences: {names.second} less {names.first}"
    differing = sorted(result.differing, key=_rank)
    body = [
        f"<h1>{escape(title)}</h1><p>Difference report, made {escape(stamp)}.</p>",
        cautions(RELATION_CAUTION),
        _what(result, names, threshold),
        _breaches(result),
        *map(_promise, promises),
        _overview(differing),
        _fields("What the sets say of themselves", "h2", result.fields),
    ]
    if differing:
        body.append(f"<h2>Table by table</h2>{legend('A', 'B')}")
    body += [_table(result, pair) for pair in differing[:MOST_TABLES]]
    further = len(differing) - MOST_TABLES
    if further > 0:
        body.append(
            f"<p>{count(further, 'further table')} with smaller differences "
            f"{'is' if further == 1 else 'are'} in the overview alone.</p>"
        )
    return page(title, body, _STYLE)


def _rank(pair: TableComparison) -> tuple[int, float]:
    """Breaches first, then by size in percent of range."""
    return (0 if pair.breaches else 1, -(pair.percent_of_range or 0.0))


def _what(result: Comparison, names: Names, threshold: Threshold | None) -> str:
    states = ", ".join(f"{n} {_state(state)}" for state in State if (n := result.count(state)))
    rows = [
        ("A", _set(result.first, names.first)),
        ("B", _set(result.second, names.second)),
        ("Tables", f"{len(result.tables)}: {states or 'none'}"),
        ("Differences", "B less A"),
    ]
    if threshold is not None and threshold.amount > 0:
        rows.append(("Threshold", f"differences up to {threshold.words()} are left out"))
    cells = "".join(f"<tr><th>{escape(a)}</th><td>{escape(b)}</td></tr>" for a, b in rows)
    return f"<table>{cells}</table>"


def _state(state: State) -> str:
    return {State.ONLY_FIRST: "only in A", State.ONLY_SECOND: "only in B"}.get(state, str(state))


def _set(content: CalibrationSet, name: str) -> str:
    parts = [name, content.label, f"mode {content.mode}" if content.mode else ""]
    parts.append(f"revision {content.revision}" if content.revision else "")
    return ", ".join(filter(None, parts))


def _breaches(result: Comparison) -> str:
    if oriented(result.first, result.second) is None:
        return f"<h2>Relation between the modes</h2><p>{escape(result.relation)}</p>"
    head = f"<h2>Relation between the modes</h2><p>{escape(result.relation)}</p>"
    return head + _breach_rows(result.breaches)


def _promise(promise: Promise) -> str:
    what = f"{promise.of} against the {promise.other.mode} set, where A and B differ"
    return f"<h2>{escape(what)}</h2><p>{escape(promise.words)}</p>{_breach_rows(promise.breaches)}"


def _breach_rows(breaches: Sequence[Finding]) -> str:
    if not breaches:
        return "<p>No table is in breach.</p>"
    rows = "".join(
        f'<tr><td><a href="#{escape(b.table)}">{escape(b.table)}</a></td>'
        f"<td>{escape(str(b.severity))}{' (waived)' if b.waived else ''}</td>"
        f'<td class="n">{b.places}</td><td>{escape(b.message)}</td></tr>'
        for b in breaches
    )
    return (
        f"<table><tr><th>Table</th><th>Severity</th><th>Places</th><th>Largest</th></tr>"
        f"{rows}</table>"
    )


def _overview(differing: Sequence[TableComparison]) -> str:
    if not differing:
        return "<h2>Tables that differ</h2><p>None.</p>"
    rows = []
    for pair in differing:
        percent, steps = pair.percent_of_range, pair.storage_steps
        cells = "" if pair.cells_changed is None else str(pair.cells_changed)
        largest = "" if pair.largest is None else _signed(pair.largest, pair.unit)
        rows.append(
            f'<tr><td><a href="#{escape(pair.id)}">{escape(pair.table.label)}</a></td>'
            f"<td>{escape(_state(pair.state))}</td>"
            f'<td class="n">{cells}</td><td class="n">{escape(largest)}</td>'
            f'<td class="n">{"" if percent is None else short(percent, 3)}</td>'
            f'<td class="n">{"" if steps is None else short(steps, 4)}</td></tr>'
        )
    return (
        "<h2>Tables that differ</h2><table><tr><th>Table</th><th>State</th>"
        '<th class="n">Cells</th><th class="n">Largest</th><th class="n">% of range</th>'
        f'<th class="n">Storage steps</th></tr>{"".join(rows)}</table>'
    )


def _table(result: Comparison, pair: TableComparison) -> str:
    table = pair.table
    facts = ", ".join(filter(None, [table.kind, shown(table.unit), table.function]))
    parts = [
        (
            f'<h3 id="{escape(pair.id)}">{escape(table.label)} <code>{escape(pair.id)}</code></h3>'
            f"<p>{escape(facts)}. {escape(_state(pair.state).capitalize())}"
            f"{': ' if pair.words() else '.'}{escape(pair.words())}</p>"
        )
    ]
    for breach in pair.breaches:
        waived = " (waived)" if breach.waived else ""
        parts.append(f'<p class="breach">&#9650; {escape(breach.message)}{waived}</p>')
    aligned = _aligned(pair)
    if aligned is not None and pair.cells_changed:
        parts.append(_plots(result, pair, aligned))
    elif aligned is None and (pair.first is None) != (pair.second is None):
        parts.append(f'<div class="plots">{"".join(table_plots(pair.first, pair.second))}</div>')
    parts.append(_fields("Settings, rules and texts", "h4", pair.fields))
    parts.append(_cells(pair))
    return "".join(parts)


def _aligned(pair: TableComparison) -> Aligned | None:
    if pair.first is None or pair.second is None:
        return None
    try:
        return align(pair.first, pair.second)
    except NotComparable:
        return None


def _plots(result: Comparison, pair: TableComparison, aligned: Aligned) -> str:
    drawn: list[str] = []
    if len(aligned.shape) == 1:
        drawn = [
            *table_plots(aligned.first, aligned.second),
            difference_curve(_less(pair, aligned)),
        ]
    elif len(aligned.shape) == 2:
        marks = breach_marks(result, pair, aligned)
        drawn = [difference_map(_less(pair, aligned), marks)]
        drawn += table_plots(aligned.first, aligned.second)
    return f'<div class="plots">{"".join(drawn)}</div>' if drawn else ""


def _less(pair: TableComparison, aligned: Aligned) -> Table:
    """Return the difference, of which only what counts is left."""
    table = aligned.difference
    if pair.threshold is None:
        return table
    counts = aligned.beyond(pair.threshold)
    return table.with_values(np.where(counts, table.values, 0.0))


def _cells(pair: TableComparison) -> str:
    cells = pair.cells
    if not cells:
        return ""
    rows = []
    for cell in cells[:MOST_CELLS]:
        before, after = cell.said
        difference = _signed(cell.difference, "") if np.isfinite(cell.difference) else ""
        rows.append(
            f'<tr><td>{escape(cell.place)}</td><td class="n">{escape(before)}</td>'
            f'<td class="n">{escape(after)}</td><td class="n">{difference}</td></tr>'
        )
    unit = shown(pair.unit)
    tail = f" [{escape(unit)}]" if unit else ""
    more = len(cells) - MOST_CELLS
    note = f"<p>{count(more, 'more cell')} not listed.</p>" if more > 0 else ""
    return (
        f'<table><tr><th>Where</th><th class="n">A{tail}</th><th class="n">B{tail}</th>'
        f'<th class="n">B less A</th></tr>{"".join(rows)}</table>{note}'
    )


def _fields(title: str, level: str, fields: Iterable[FieldChange]) -> str:
    rows = "".join(
        f"<tr><td>{escape(f.field)}</td><td>{escape(f.before) or '—'}</td>"
        f"<td>{escape(f.after) or '—'}</td></tr>"
        for f in fields
    )
    if not rows:
        return ""
    return (
        f"<{level}>{escape(title)}</{level}>"
        f"<table><tr><th>Field</th><th>A</th><th>B</th></tr>{rows}</table>"
    )


def _signed(value: float, unit: str) -> str:
    sign = "+" if value > 0 else ""
    return sign + (with_unit(value, unit) if unit else short(value))
