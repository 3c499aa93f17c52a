"""The replay report: one HTML file about a drive, a set along it, and what it proves.

No scripts, nothing fetched, all text escaped; black on white, and legible when printed so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from html import escape

import numpy as np

from ..core.calibration_set import CalibrationSet
from ..core.numbers import short, with_unit
from ..core.roles import ROLES
from ..core.units import shown
from ..evidence.coverage import Coverage
from ..evidence.grades import Grade, Grades
from ..evidence.recording import Recording
from ..evidence.replay import Replay
from ..evidence.statistics import Figures
from ..evidence.trust import Trust
from ..evidence.versus import SignalDifference, Versus
from .drive_svg import Signal, strip, time_plot
from .page import bullets, cautions, count, facts, page, rows
from .visits_svg import key, order_by_use, visits_map

MOST_MAPS = 60
MOST_ROWS = 300
_CAUTIONS = (
    (
        "A replay says what a set would have commanded on this very drive. With another torque "
        "the vehicle would have moved otherwise; slip and speed after that are not what it does."
    ),
    "Sitting in a cell proves nothing unless the table decided there.",
)
PLOTTED = ("torque", "demand", "current", "slip_error")
"""Outputs that are drawn over time."""
TOLD = ("demand", "torque", "slip", "slip_error", "slip_demand", "clamp", "current")
"""Outputs whose figures are told."""
SHORT_GRADES = {Grade.DRIVEN: "D", Grade.VISITED: "V", Grade.DESK: "d", Grade.NONE: "–"}


@dataclass(frozen=True)
class Told:
    """What a drive's report is told besides the replay.

    Parameters
    ----------
    name : str
        What the set is called, such as its file's name.
    other : str
        What the set compared with is called.
    vehicle : str
        Which set was in the vehicle, in words.
    assumed : sequence of str
        What was taken for granted.
    """

    name: str
    other: str = ""
    vehicle: str = ""
    assumed: Sequence[str] = field(default_factory=tuple)


def replay_report(
    recording: Recording,
    replayed: Replay,
    trusted: Trust,
    told: Told,
    *,
    versus: Versus | None = None,
    covered: Mapping[str, Coverage] | None = None,
    now: datetime | None = None,
) -> str:
    """Return the report of a drive as HTML.

    Parameters
    ----------
    recording : Recording
    replayed : Replay
        Set A.
    trusted : Trust
    told : Told
    versus : Versus, optional
        Against set B.
    covered : mapping of table id to Coverage, optional
        Of set A.
    now : datetime, optional
        The time to put on it.
    """
    title = f"Replay: {recording.name} through {told.name}"
    body = [
        f"<h1>{escape(title)}</h1><p>Replay report, made {_stamp(now)}.</p>",
        _what(recording, replayed, told),
        _trust(trusted, versus),
        _signals(replayed, versus),
        _totals(replayed, versus),
        _differences(versus),
        _maps(replayed.content, covered or {}, {}),
        _faults(recording),
        _assumed(replayed, told),
        cautions(*_CAUTIONS),
    ]
    return page(title, body)


def coverage_report(
    content: CalibrationSet,
    covered: Mapping[str, Coverage],
    name: str,
    drives: Sequence[tuple[str, float, str]],
    *,
    graded: Grades | None = None,
    against: str = "",
    notes: Sequence[str] = (),
    now: datetime | None = None,
) -> str:
    """Return the map of visited cells of one or more drives as HTML.

    Parameters
    ----------
    content : CalibrationSet
    covered : mapping of table id to Coverage
        Added up over the drives.
    name : str
        What the set is called.
    drives : sequence of (name, seconds, words)
        What was driven, for how long, and which set was in the vehicle.
    graded : Grades, optional
        Evidence for the cells that changed.
    against : str
        What they changed against, in words.
    notes : sequence of str
        What was left out or taken for granted.
    now : datetime, optional
    """
    title = f"Cells visited: {name}"
    lines = [(drive, f"{short(round(seconds, 1))} s", words) for drive, seconds, words in drives]
    marks: dict[str, dict[tuple[int, ...], str]] = {}
    for id, cells in (graded.tables if graded is not None else {}).items():
        marks[id] = {cell.cell: SHORT_GRADES[cell.grade] for cell in cells}
    body = [
        f"<h1>{escape(title)}</h1><p>Coverage report, made {_stamp(now)}.</p>",
        facts([("Set", content.label), ("Mode", content.mode), ("Revision", content.revision)]),
        "<h2>Drives</h2>",
        rows(("Drive", "Counted", "Set in the vehicle"), lines),
        _grades(content, graded, against),
        _maps(content, covered, marks),
        f"<h2>Left out and taken for granted</h2>{bullets(notes)}" if notes else "",
        cautions(_CAUTIONS[1]),
    ]
    return page(title, body)


def _stamp(now: datetime | None) -> str:
    moment = (now or datetime.now(UTC)).astimezone(UTC)
    return escape(moment.strftime("%Y-%m-%d %H:%M UTC"))


def _what(recording: Recording, replayed: Replay, told: Told) -> str:
    return facts(
        [
            ("Recording", recording.name),
            ("Begins", recording.start),
            ("Lasts", f"{short(round(recording.seconds, 2), 7)} s"),
            ("SHA-256", recording.sha256),
            ("Set A", f"{told.name}, {replayed.content.label}, digest {replayed.digest[:16]}"),
            ("Set B", told.other),
            ("In the vehicle", told.vehicle),
        ]
    )


def _trust(trusted: Trust, versus: Versus | None) -> str:
    lines = [
        (
            r.signal.replace("_", " "),
            str(r.level),
            _number(100 * r.within, "%", 3),
            _number(r.tolerance, r.unit, 3),
            _number(r.rms, r.unit, 3),
            _number(r.largest, r.unit, 3),
            _number(r.largest_at, "s"),
            _number(r.seconds, "s", 5),
        )
        for r in trusted.residuals
    ]
    head = (
        "Signal", "Verdict", "Within", "Tolerance", "rms", "Largest (recorded less replayed)",
        "At", "Compared",
    )  # fmt: skip
    table = rows(head, lines) if lines else ""
    word = ""
    if versus is not None and not trusted.counts:
        word = (
            '<p class="mark">The comparison of A and B below is no evidence: the replay has not '
            "been shown to match the vehicle.</p>"
        )
    return (
        "<h2>Does the replay match the vehicle?</h2>"
        f"<p><b>{escape(trusted.words)}</b></p>{table}{word}"
    )


def _signals(replayed: Replay, versus: Versus | None) -> str:
    time = replayed.ticks.time
    parts = ["<h2>Along the drive</h2>"]
    for name in PLOTTED:
        found = replayed.computed(name)
        if found is None or not np.isfinite(found[0]).any():
            continue
        values, unit, _ = found
        lines = []
        measured = replayed.ticks.signals.get(name)
        if measured is not None:
            lines.append(Signal("recorded", measured, "measured"))
        lines.append(Signal("A", values, "a"))
        if versus is not None:
            lines.append(Signal("B", versus.b.output(name), "b"))
        label = name.replace("_", " ").capitalize()
        parts.append(time_plot(time, lines, label, shown(unit)))
    if versus is not None:
        less = Signal("B less A", versus.difference("torque"), "a")
        parts.append(time_plot(time, [less], "Torque: B less A", shown("N.m")))
    parts.append(_strip(replayed, "Which table decided the torque (A)"))
    if versus is not None:
        parts.append(_strip(versus.b, "Which table decided the torque (B)"))
    return f'{parts[0]}<div class="plots">{"".join(parts[1:])}</div>'


def _strip(replayed: Replay, title: str) -> str:
    governed = replayed.stats().governed
    masks = [
        (role.replace("_", " "), replayed.run.governing == ROLES.index(role)) for role in governed
    ]
    return strip(replayed.ticks.time, masks, title)


def _totals(replayed: Replay, versus: Versus | None) -> str:
    sets = [("A", replayed)] + ([("B", versus.b)] if versus is not None else [])
    stats = {label: one.stats() for label, one in sets}
    lines = [
        (label, name.replace("_", " "), *_figures(found.outputs[name], replayed, name))
        for name in TOLD
        for label, found in stats.items()
    ]
    head = ("Set", "Output", "Least", "5 %", "Median", "Mean", "95 %", "Most", "Most at")
    roles = dict.fromkeys(role for found in stats.values() for role in found.governed)
    time = [
        (
            role.replace("_", " "),
            *(
                _share(found.governed.get(role, 0.0), found.valid_seconds)
                for found in stats.values()
            ),
        )
        for role in roles
    ]
    time.append(
        ("nothing demanded", *(_share(f.idle_seconds, f.valid_seconds) for f in stats.values()))
    )
    shaft = [
        (
            label,
            _share(found.limited_seconds, found.valid_seconds),
            _number(100 * found.disconnected_share, "%", 3),
            str(found.reconnections),
            _number(found.reconnections_per_hour, "", 3),
        )
        for label, found in stats.items()
    ]
    shaft_head = ("Set", "Limited", "Disconnected", "Reconnections", "per hour")
    return (
        f"<h2>In total</h2>{rows(head, lines)}"
        f"<h3>Time for which each table decided the torque</h3>{rows(('Table', *stats), time)}"
        f"<h3>Limits and driveshaft</h3>{rows(shaft_head, shaft)}"
    )


def _figures(found: Figures, replayed: Replay, name: str) -> tuple[str, ...]:
    got = replayed.computed(name)
    unit = got[1] if got is not None else ""
    levels = found.percentiles
    return (
        _number(found.low, unit),
        _number(levels[5.0], unit),
        _number(levels[50.0], unit),
        _number(found.mean, unit),
        _number(levels[95.0], unit),
        _number(found.high, unit),
        _number(found.high_at, "s"),
    )


def _number(value: float, unit: str, digits: int = 4) -> str:
    return with_unit(value, unit, digits) if np.isfinite(value) else "not known"


def _share(seconds: float, whole: float) -> str:
    share = f" ({short(100 * seconds / whole, 3)} %)" if whole else ""
    return f"{short(round(seconds, 2), 6)} s{share}"


def _differences(versus: Versus | None) -> str:
    if versus is None:
        return ""
    found = [d for d in versus.tables.values() if d.apart > 0]
    found.sort(key=lambda d: -d.apart)
    lines = [_difference(d, versus) for d in found[:MOST_ROWS]]
    head = ("Table", "Differs for", "Largest (B less A)", "At", "rms")
    text = (
        f"<h2>Tables that read otherwise in B</h2>{rows(head, lines)}"
        if lines
        else "<h2>Tables that read otherwise in B</h2><p>None.</p>"
    )
    if versus.nowhere:
        names = ", ".join(_label(versus.a.content, id) for id in versus.nowhere)
        text += f"<p>Edited, but read the same all along this drive: {escape(names)}.</p>"
    seconds = short(round(versus.governed_otherwise, 2))
    return text + f"<p>Another table decided the torque for {seconds} s.</p>"


def _difference(one: SignalDifference, versus: Versus) -> tuple[str, ...]:
    return (
        _label(versus.a.content, one.name),
        f"{short(round(one.apart, 2), 6)} s",
        _number(one.largest, one.unit),
        _number(one.largest_at, "s"),
        _number(one.rms, one.unit),
    )


def _label(content: CalibrationSet, id: str) -> str:
    table = content.tables.get(id)
    return table.label if table is not None else id


def _grades(content: CalibrationSet, graded: Grades | None, against: str) -> str:
    if graded is None:
        return ""
    head = f"<h2>Evidence for what changed since {escape(against)}</h2>"
    if not graded.cells:
        return f"{head}<p>No cell changed.</p>"
    lines = []
    for id, cells in graded.tables.items():
        table = content[id]
        for cell in cells:
            pairs = zip(cell.place, table.axes, strict=True)
            place = ", ".join(axis.said(value) for value, axis in pairs)
            lines.append((table.label, place or "its value", str(cell.grade), cell.words))
    more = len(lines) - MOST_ROWS
    note = f"<p>{count(more, 'more cell')} not listed.</p>" if more > 0 else ""
    letters = ", ".join(f"{letter} {grade}" for grade, letter in SHORT_GRADES.items())
    return (
        f"{head}<p>{escape(graded.words)} In the maps below: {escape(letters)}.</p>"
        f"{rows(('Table', 'Where', 'Grade', 'What stands behind it'), lines[:MOST_ROWS])}{note}"
    )


def _maps(
    content: CalibrationSet,
    covered: Mapping[str, Coverage],
    marks: Mapping[str, Mapping[tuple[int, ...], str]],
) -> str:
    if not covered:
        return ""
    tables = order_by_use([t for t in content if t.axes], covered)
    drawn = []
    for table in tables[:MOST_MAPS]:
        svg = visits_map(table, covered[table.id], marks.get(table.id))
        if svg:
            drawn.append(svg)
    lines = [
        (
            table.label,
            covered[table.id].words,
            f"{short(round(float(covered[table.id].decided.sum()), 2), 6)} s",
            f"{short(round(float(covered[table.id].extrapolated.sum()), 2), 6)} s",
        )
        for table in tables[:MOST_ROWS]
    ]
    head = ("Table", "Cells", "Decided for", "Beyond its axes for")
    return (
        f"<h2>Map of visited cells</h2>{rows(head, lines)}{key()}"
        f'<div class="plots">{"".join(drawn)}</div>'
    )


def _faults(recording: Recording) -> str:
    if not recording.faults:
        return "<h2>Faults of the recording</h2><p>None found.</p>"
    lines = [
        (f.kind, f.channel, _span(f.start_s, f.end_s), str(f.count), f.words)
        for f in recording.faults[:MOST_ROWS]
    ]
    more = len(recording.faults) - MOST_ROWS
    note = f"<p>{count(more, 'more fault')} not listed.</p>" if more > 0 else ""
    return (
        "<h2>Faults of the recording</h2><p>Masked; never interpolated across.</p>"
        f"{rows(('Kind', 'Channel', 'When', 'Samples', 'What'), lines)}{note}"
    )


def _span(start: float, end: float) -> str:
    if not np.isfinite(start):
        return ""
    return f"{short(start, 7)} to {short(end, 7)} s"


def _assumed(replayed: Replay, told: Told) -> str:
    out: Iterable[str] = (
        f"{role.replace('_', ' ')}: {why}" for role, why in replayed.roles_left_out.items()
    )
    tables = (
        f"{_label(replayed.content, id)} was not read: {why}"
        for id, why in replayed.left_out.items()
        if replayed.content[id].role not in replayed.roles_left_out
    )
    return (
        "<h2>Taken for granted</h2>"
        f"{bullets((*told.assumed, *replayed.ticks.remarks))}"
        f"<h2>Left out</h2>{bullets((*out, *tables))}"
    )
