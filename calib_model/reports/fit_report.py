"""The fit report: one HTML file that stands alone, with what was measured, fitted and left out."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from ..core.arrays import FloatArray
from ..core.numbers import short, with_unit
from ..core.table import Table
from ..core.units import shown
from ..shaping.fit import FitProposal, TableFit
from ..shaping.fit_error import LABEL
from ..shaping.fit_options import STATE_WORDS, NodeState
from ..shaping.fit_specimens import Band
from .frame import Frame, axis_words, range_of
from .page import bullets, cautions, page

MOST_OUTLIERS = 100
MOST_DOTS = 1_500
MOST_SLICES = 6
_STYLE = """
th,td{padding:.2rem .45rem;text-align:right}
td.none{border-style:dashed;color:#555}td.thin{border-style:dotted}
td.text,th.text{text-align:left}
.scroll{overflow-x:auto}small{color:#444}
"""


def fit_report(proposal: FitProposal, *, made: str = "") -> str:
    """Return the report of a fit as HTML.

    Parameters
    ----------
    proposal : FitProposal
    made : str
        When and by whom, for the reader; may be empty.

    Returns
    -------
    str
        A whole page.
    """
    parts = [f"<h1>{escape(proposal.title)}</h1>"]
    if made:
        parts.append(f"<p><small>{escape(made)}</small></p>")
    said = ", ".join(f"{k} {_plain(v)}" for k, v in proposal.settings.items())
    parts.append(f"<p>Settings: {escape(said)}.</p>")
    parts.append("<h2>What is to be known</h2>")
    parts.append(bullets(proposal.notes))
    if proposal.diagnostics.active:
        parts.append("<h3>Rules that hold the answer back</h3>")
        parts.append(bullets(p.text for p in proposal.diagnostics.active))
    for id, fit in proposal.fits.items():
        parts += _table_part(proposal, proposal.table(id), fit)
    if proposal.branches is not None:
        parts += _branches_part(proposal)
    parts.append(cautions())
    return page(proposal.title, parts, _STYLE)


def _plain(value: object) -> str:
    if isinstance(value, float):
        return short(value, 4)
    return " and ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)


def _table_part(proposal: FitProposal, table: Table, fit: TableFit) -> list[str]:
    rest, weighted = fit.residuals, bool(fit.samples.weight.size)
    parts = [f"<h2>{escape(table.label)}</h2>"]
    rows = [
        ("Samples used", str(rest.count)),
        *([("They count as", f"{short(rest.weight, 5)} samples")] if weighted else []),
        ("Noise, standard deviation", with_unit(fit.sigma, table.unit, 3)),
        ("Residuals, root mean square", with_unit(rest.rms, table.unit, 3)),
        ("Largest residual", with_unit(rest.largest, table.unit, 3)),
        ("Mean residual", with_unit(rest.mean, table.unit, 2)),
        ("Correlation of neighbouring residuals", _number(rest.correlation, 2)),
        ("Effective degrees of freedom", short(fit.edf, 4)),
        ("Roughness weight", f"{short(fit.strength, 3)}{' (automatic)' if fit.chosen else ''}"),
    ]
    rows += [
        (f"Nodes: {STATE_WORDS[state]}", str(fit.count(state))) for state in reversed(NodeState)
    ]
    parts.append(_list(rows))
    parts.append("<h3>Plots</h3>")
    parts.append(f'<div class="plots">{"".join(_plots(proposal, table, fit))}</div>')
    parts.append(
        "<p><small>Filled squares are measured nodes, open ones are not measured; dots are "
        "samples, crosses are outliers.</small></p>"
    )
    parts.append("<h3>Proposed values</h3>")
    parts.append(_grid(table, table.values, fit))
    parts.append("<h3>Standard error</h3>")
    parts.append(_grid(table, fit.error, fit))
    parts.append(f"<p><small>{escape(LABEL)}</small></p>")
    parts.append("<h3>Coverage: samples that bear on each node</h3>")
    parts.append(_grid(table, fit.coverage, fit, digits=3, unit=""))
    if proposal.specimens is not None and table.id in proposal.specimens.bands:
        parts += _band_part(table, proposal.specimens.bands[table.id], fit)
    parts += _outliers_part(table, fit)
    return parts


def _number(value: float, digits: int) -> str:
    return short(value, digits) if np.isfinite(value) else "none: the samples have no order"


def _list(rows: Sequence[tuple[str, str]]) -> str:
    body = "".join(
        f'<tr><th class="text" scope="row">{escape(a)}</th><td>{escape(b)}</td></tr>'
        for a, b in rows
    )
    return f"<table>{body}</table>"


def _outliers_part(table: Table, fit: TableFit) -> list[str]:
    rest = fit.residuals
    if not rest.outlier_count:
        return ["<h3>Outliers</h3><p>None.</p>"]
    named = any(o.specimen for o in rest.outliers)
    weighted = bool(fit.samples.weight.size)
    head = ["Line", *(["Unit"] if named else []), *(axis_words(a) for a in table.axes)]
    unit = shown(table.unit)
    head += [f"Value [{unit}]", "Fitted", "Residual", *(["Weight"] if weighted else [])]
    rows = []
    for o in rest.outliers[:MOST_OUTLIERS]:
        cells = [str(o.line), *([o.specimen] if named else []), *(short(p, 5) for p in o.points)]
        cells += [short(o.value, 5), short(o.fitted, 5), short(o.residual, 3)]
        cells += [short(o.weight, 3)] if weighted else []
        rows.append("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in cells) + "</tr>")
    more = rest.outlier_count - len(rows)
    told = f"<p>{more} more are not listed.</p>" if more > 0 else ""
    header = "".join(f'<th scope="col">{escape(h)}</th>' for h in head)
    return [
        f"<h3>Outliers: {rest.outlier_count}, farthest first</h3>",
        f'<div class="scroll"><table><tr>{header}</tr>{"".join(rows)}</table></div>{told}',
    ]


def _band_part(table: Table, band: Band, fit: TableFit) -> list[str]:
    rows = [
        (unit, f"{with_unit(offset, table.unit, 3)} from the proposed table on average")
        for unit, offset in sorted(band.offset.items(), key=lambda u: u[1])
    ]
    return [
        "<h3>Units under test</h3>",
        _list(rows),
        f"<p>Limit samples: {escape(band.lowest)} (low), {escape(band.highest)} (high).</p>",
        "<h3>Width of the band over all units</h3>",
        _grid(table, band.high - band.low, fit),
    ]


def _branches_part(proposal: FitProposal) -> list[str]:
    report = proposal.branches
    assert report is not None
    up, down = proposal.table(report.rising), proposal.table(report.falling)
    parts = ["<h2>Distance between the branches</h2>"]
    rows = [
        ("On the way up", f"{report.sweeps.up} samples, {up.label}"),
        ("On the way down", f"{report.sweeps.down} samples, {down.label}"),
        ("On neither branch", f"{report.sweeps.neither} samples"),
        ("Gap guaranteed", with_unit(report.asked, up.unit, 3)),
        ("Smallest distance where it is asked for", with_unit(report.gap, up.unit, 3)),
    ]
    parts.append(_list(rows))
    parts.append(_grid(up, report.width, proposal.fits[report.rising]))
    return parts


def _grid(
    table: Table, values: FloatArray, fit: TableFit, digits: int = 5, unit: str | None = None
) -> str:
    """A table of node values; nodes without data are marked by words and border, not by colour."""
    rows = table.axes[0]
    columns = table.axes[1] if len(table.axes) > 1 else None
    grid = values.reshape(len(rows), -1)
    state = fit.state.reshape(len(rows), -1)
    shown_unit = shown(table.unit) if unit is None else unit
    corner = axis_words(rows) + (f" \\ {axis_words(columns)}" if columns is not None else "")
    head = [short(float(x)) for x in columns.values] if columns is not None else [shown_unit]
    lines = [
        f'<tr><th scope="col">{escape(corner)}</th>'
        + "".join(f'<th scope="col">{escape(h)}</th>' for h in head)
        + "</tr>"
    ]
    for x, line, known in zip(rows.values.tolist(), grid.tolist(), state.tolist(), strict=True):
        cells = "".join(_cell(v, s, digits) for v, s in zip(line, known, strict=True))
        lines.append(f'<tr><th scope="row">{escape(short(x))}</th>{cells}</tr>')
    caption = f"<caption>[{escape(shown_unit)}]</caption>" if shown_unit and columns else ""
    key = "<small>† not measured: no data; ‡ not measured: thin data</small>"
    has_key = bool((state != NodeState.MEASURED).any())
    return (
        f'<div class="scroll"><table>{caption}{"".join(lines)}</table></div>'
        f"{key if has_key else ''}"
    )


def _cell(value: float, state: int, digits: int) -> str:
    text = short(value, digits) if np.isfinite(value) else "–"
    mark, kind = {
        int(NodeState.NO_DATA): (" †", ' class="none"'),
        int(NodeState.THIN): (" ‡", ' class="thin"'),
    }.get(state, ("", ""))
    return f"<td{kind}>{escape(text)}{mark}</td>"


# -- plots --------------------------------------------------------------------------------


def _plots(proposal: FitProposal, table: Table, fit: TableFit) -> list[str]:
    samples, rest = fit.samples, fit.residuals
    step = max(1, -(-rest.index.size // MOST_DOTS))
    some = rest.index[::step]
    points = [np.asarray(p)[some] for p in samples.points]
    values = np.asarray(samples.values)[some]
    found = []
    x_axis = table.axes[0]
    grid = table.values.reshape(len(x_axis), -1)
    state = fit.state.reshape(len(x_axis), -1)
    columns = table.axes[1] if len(table.axes) > 1 else None
    chosen = range(grid.shape[1])
    if columns is not None and grid.shape[1] > MOST_SLICES:
        chosen = np.unique(np.linspace(0, grid.shape[1] - 1, MOST_SLICES).round()).astype(int)  # type: ignore[assignment]
    for column in chosen:
        near = np.ones(some.size, dtype=bool)
        title = table.label
        if columns is not None:
            low, high = _half_way(columns.values, int(column))
            near = (points[1] >= low) & (points[1] <= high)
            title = f"{table.label} near {with_unit(float(columns.values[column]), columns.unit)}"
        outliers = [
            (o.points[0], o.value)
            for o in rest.outliers
            if columns is None or low <= o.points[1] <= high
        ]
        found.append(
            _scatter(
                points[0][near],
                values[near],
                outliers,
                x_axis.values,
                grid[:, column],
                state[:, column] == NodeState.MEASURED,
                axis_words(x_axis),
                shown(table.unit),
                title,
            )
        )
    most = 6 * rest.scale if rest.scale > 0 else np.inf
    shown_rest = np.clip(rest.shown[::step], -most, most)
    found.append(
        _scatter(
            points[0], shown_rest, [], None, None, None, axis_words(x_axis),
            f"residual [{shown(table.unit)}]", "Residuals (far ones at the edge)",
        )
    )  # fmt: skip
    found.append(_histogram(rest.shown, rest.scale, shown(table.unit)))
    return found


def _half_way(values: FloatArray, at: int) -> tuple[float, float]:
    low = -np.inf if at == 0 else float(values[at - 1] + values[at]) / 2
    high = np.inf if at == values.size - 1 else float(values[at + 1] + values[at]) / 2
    return low, high


def _scatter(
    x: FloatArray,
    y: FloatArray,
    outliers: Sequence[tuple[float, float]],
    node_x: FloatArray | None,
    node_y: FloatArray | None,
    measured: np.ndarray | None,
    x_label: str,
    y_label: str,
    title: str,
) -> str:
    no = np.empty(0)
    frame = Frame(
        range_of([x, no if node_x is None else node_x]),
        range_of([y, no if node_y is None else node_y, np.array([v for _, v in outliers])]),
    )
    place = frame.place
    parts = [frame.sheet(title), frame.ruled(x_label, y_label)]
    dots = "".join(
        "M{} {}h0".format(*place(a, b)) for a, b in zip(x.tolist(), y.tolist(), strict=True)
    )
    if dots:
        parts.append(f'<path d="{dots}" stroke="#777" stroke-width="2.4" stroke-linecap="round"/>')
    for a, b in outliers:
        px, py = place(a, b)
        parts.append(
            f'<path d="M{px - 4:.1f} {py - 4:.1f}l8 8m0-8l-8 8" stroke="#000" stroke-width="1.5"/>'
        )
    if node_x is not None and node_y is not None and measured is not None:
        line = "L".join("{} {}".format(*place(a, b)) for a, b in zip(node_x, node_y, strict=True))
        parts.append(f'<path d="M{line}" fill="none" stroke="#000" stroke-width="1.5"/>')
        for a, b, known in zip(node_x, node_y, measured, strict=True):
            px, py = place(a, b)
            fill = "#000" if known else "#fff"
            parts.append(
                f'<rect x="{px - 3:.1f}" y="{py - 3:.1f}" width="6" height="6" fill="{fill}" '
                'stroke="#000"/>'
            )
    return "".join([*parts, "</svg>"])


def _histogram(rest: FloatArray, scale: float, unit: str) -> str:
    reach = 5 * scale if scale > 0 else float(np.abs(rest).max(initial=0.0)) or 1.0
    counts, edges = np.histogram(np.clip(rest, -reach, reach), bins=41, range=(-reach, reach))
    frame = Frame((-reach, reach), (0.0, float(counts.max(initial=1)) * 1.05))
    parts = [
        frame.sheet("Residuals, counted"),
        frame.ruled(f"residual [{unit}], ends: all beyond", "samples shown"),
    ]
    for count, a, b in zip(counts.tolist(), edges[:-1], edges[1:], strict=True):
        if count:
            x1, y1 = frame.place(float(a), float(count))
            x2, y2 = frame.place(float(b), 0.0)
            parts.append(
                f'<rect x="{x1}" y="{y1}" width="{x2 - x1:.2f}" height="{y2 - y1:.2f}" fill="#bbb" '
                'stroke="#000" stroke-width=".5"/>'
            )
    return "".join([*parts, "</svg>"])
