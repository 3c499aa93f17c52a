"""`bitepoint replay SET RECORDING`: what a set would have commanded along a drive."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli import preparing
from app.cli.answer import DIFFERENT, GOOD, Answer, json_text
from app.cli.drive_input import (
    MAP_HELP,
    add_drive_arguments,
    constants_of,
    fault_plain,
    hints_of,
    read_drive,
    read_map,
)
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.replay_series import series_csv
from app.cli.text import caution, count, listed, title, width
from app.cli.writing import out_path
from calib_model.core.numbers import short, with_unit
from calib_model.core.units import shown
from calib_model.evidence.coverage import coverage
from calib_model.evidence.drives import set_in_vehicle
from calib_model.evidence.replay import compare_replays, replay
from calib_model.evidence.trust import trust
from calib_model.reports.replay_report import Told, replay_report
from calib_model.session.history import Entry
from calib_model.store import write_whole

if TYPE_CHECKING:
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.evidence.replay import Replay
    from calib_model.evidence.statistics import Figures
    from calib_model.evidence.trust import Trust
    from calib_model.evidence.versus import SignalDifference, Versus
    from calib_model.store.reading import StoredSet

MOST_FAULTS = 12
MOST_TABLES = 25

JSON_HELP = """\
JSON is one object of lists; times in seconds of the recording, null for what is not known:
  recording    name, sha256, start, seconds, channels, vehicle_set_digest
  sets         set (A or B), file, label, digest, in_vehicle (true, false or null)
  trust        set (A, B or an earlier state, in words), level, words, counts_as_evidence
  residuals    signal, table, unit, seconds, within, tolerance, rms, largest, largest_at, bias
  faults       kind, channel, start_s, end_s, samples, words
  taken_for_granted   words
  left_out     what (role or table), reason
  signals      set, signal, unit, count, low, high, mean, low_at, high_at, p1 ... p99
  governed     set, role, table, seconds, share, limit
  totals       set, seconds, valid_seconds, idle_seconds, limited_seconds,
               disconnected_share, disconnections, reconnections, reconnections_per_hour
  differences  B less A: kind (output or table), name, unit, seconds, apart, rms, low, high,
               largest, largest_at"""


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "replay",
        "Run a set along a recording: what every table read and what the torque law would have\n"
        "commanded, which table decided, and, with --against, what another set would have done.\n"
        "First of all the recording's own controller signals are held against the replay of the\n"
        "set that was in the vehicle; only where they agree is a comparison of sets evidence.",
        f"{MAP_HELP}\n\n{JSON_HELP}\n\n"
        "Exit status: 0 done; 1 the replay of the set that was in the vehicle does not agree with\n"
        "the recording's own signals; 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file: A")
    made.add_argument("recording", metavar="RECORDING", type=Path, help="CSV, MDF 4, Parquet, HDF5")
    made.add_argument("--against", metavar="SET", type=Path, help="another set: B")
    add_drive_arguments(made)
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    made.add_argument(
        "--to",
        nargs=2,
        metavar=("html|csv", "OUT"),
        help="write a report with plots and a map of visited cells, or the series tick by tick, "
        "to a file, replaced if it exists",
    )
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Replay a recording."""
    given = parser().parse_args(arguments)
    hints = hints_of(given.layout)
    mapping = read_map(given.map)
    paths = [given.set] + ([given.against] if given.against is not None else [])
    out = out_path("replay", given.to, [*paths, given.recording], ("html", "csv"))
    with SetFiles(paths) as files:
        constants, words = constants_of(given.vehicle, given.set)
        preparing.say_if_it_takes_long(preparing.LAW)

        found = files.results()
    contents = [stored.set for stored in found]
    driven = read_drive(given.recording, mapping, hints, contents[0], constants)
    replays = [replay(content, driven.ticks, constants) for content in contents]
    versus = compare_replays(*replays) if len(replays) == 2 else None
    digest = driven.recording.vehicle_set_digest
    trusts = [trust(one, digest) for one in replays]
    judged, vehicle = _judged(trusts), ""
    if trusts[judged].same_set is False:
        content, vehicle = _earlier(digest, found)
        if content is not None:  # it is held against the recording beside A and B
            trusts.append(trust(replay(content, driven.ticks, constants), digest))
            judged = len(trusts) - 1
    shown = _Shown(given, driven, contents, replays, trusts, judged, vehicle, versus, words)
    status = DIFFERENT if trusts[judged].level == "does not agree" else GOOD
    if out is not None:
        _write(shown, out)
        if not given.json:
            return Answer(status, f"{trusts[judged].words}\nWrote {out}.\n\n{caution()}\n")
    return Answer(status, json_text(shown.plain()) if given.json else shown.words())


def _judged(trusts: Sequence[Trust]) -> int:
    """Return which replay can be held against the recording: that of the set in the vehicle."""
    return next((n for n, one in enumerate(trusts) if one.same_set), 0)


def _earlier(digest: str, stored: Sequence[StoredSet]) -> tuple[CalibrationSet | None, str]:
    """Return the earlier state of a set that was in the vehicle, and which it is, in words."""
    for label, one in zip("AB", stored, strict=False):
        entries = [Entry(plain, True) for plain in one.history.entries()]
        content, words = set_in_vehicle(digest, one.set, entries)
        if content is not None:
            said = words.removeprefix("This set as it was ").removesuffix(" was in the vehicle.")
            return content, f"set {label} as it was {said}"
    return None, ""


class _Shown:
    """What was found, as words and as plain data."""

    def __init__(
        self,
        given: Any,
        driven: Any,
        contents: Sequence[CalibrationSet],
        replays: Sequence[Replay],
        trusts: Sequence[Trust],
        judged: int,
        vehicle: str,
        versus: Versus | None,
        constants: str,
    ) -> None:
        self.given, self.driven, self.contents = given, driven, contents
        self.replays, self.versus, self.vehicle = replays, versus, vehicle
        self.trust = trusts[judged]
        self.judged = "AB"[judged] if judged < len(replays) else vehicle
        self.paths = [given.set, given.against]
        self.sets = list(zip("AB", contents, replays, trusts, strict=False))
        missing = ", ".join(name.replace("_", " ") for name in driven.missing)
        self.assumed = [constants, *driven.ticks.remarks, *driven.recording.remarks]
        if missing:
            self.assumed.append(f"Nothing gives {missing}.")

    def in_vehicle(self) -> str:
        for label, _, _, one in self.sets:
            if one.same_set:
                return f"set {label}"
        if self.vehicle:
            return self.vehicle
        if self.trust.same_set is None:
            return "not said by the recording"
        return f"another set, digest {self.driven.recording.vehicle_set_digest[:16]}"

    # -- words -------------------------------------------------------------------------

    def words(self) -> str:
        parts = [self._head(), self._trust(), self._faults(), self._figures(), self._governed()]
        parts += [self._against(), self._assumed(), self._left_out(), caution()]
        return "\n\n".join(part for part in parts if part) + "\n"

    def _head(self) -> str:
        recording = self.driven.recording
        ran = self.replays[0].stats().valid_seconds
        channels = count(len(recording.channels), "channel")
        lines = [f"Recording: {recording.name}, {recording.seconds:.6g} s, {channels}"]
        lines[0] += f"; the law ran for {ran:.6g} s of it."
        for label, content, replayed, _ in self.sets:
            path = self.paths["AB".index(label)]
            lines.append(f"Set {label}: {title(content, path)}, digest {replayed.digest[:16]}")
        lines.append(f"In the vehicle: {self.in_vehicle()}.")
        return "\n".join(lines)

    def _trust(self) -> str:
        rows = [(r.signal.replace("_", " "), r.words) for r in self.trust.residuals]
        text = f"Does the replay match the vehicle?\n{_wrapped(self.trust.words)}"
        if rows:
            text += "\n" + listed(rows)
        if self.versus is not None and not self.trust.counts:
            text += "\nSo the comparison of A and B below is no evidence."
        return text

    def _faults(self) -> str:
        faults = self.driven.recording.faults
        if not faults:
            return "No faults were found in the recording."
        rows = [(f.kind, f.channel, f.words) for f in faults[:MOST_FAULTS]]
        more = len(faults) - MOST_FAULTS
        tail = f"\nand {more} more (--json lists all)" if more > 0 else ""
        head = f"Faults of the recording ({len(faults)}; masked, nothing filled in)"
        return f"{head}\n{listed(rows)}{tail}"

    def _figures(self) -> str:
        rows: list[tuple[str, ...]] = [("", "", "least", "median", "mean", "95 %", "most", "at")]
        for name in ("torque", "demand", "slip_demand", "slip", "current"):
            for label, _, replayed, _ in self.sets:
                found = replayed.stats().outputs[name]
                unit = (replayed.computed(name) or (0, "", ""))[1]
                rows.append((f"{name.replace('_', ' ')} {label}", shown(unit), *_row(found)))
        return "What was commanded\n" + "\n".join(_table(rows))

    def _governed(self) -> str:
        names = dict.fromkeys(
            role for _, _, replayed, _ in self.sets for role in replayed.stats().governed
        )
        head = ("", *(f"{label}: s" for label, *_ in self.sets), *("" for _ in self.sets))
        rows: list[tuple[str, ...]] = [head]
        for role in (*names, ""):
            cells, shares = [], []
            for _, _, replayed, _ in self.sets:
                stats = replayed.stats()
                seconds = stats.governed.get(role, 0.0) if role else stats.idle_seconds
                cells.append(f"{seconds:.2f}")
                shares.append(_percent(seconds / stats.valid_seconds if stats.valid_seconds else 0))
            rows.append((role.replace("_", " ") or "nothing demanded", *cells, *shares))
        lines = ["Which table decided the torque", *_table(rows)]
        for label, _, replayed, _ in self.sets:
            stats = replayed.stats()
            if not stats.valid_seconds:
                continue
            lines.append(
                f"{label}: limited for {_percent(stats.limited_seconds / stats.valid_seconds)} of "
                f"the time; disconnected for {_percent(stats.disconnected_share)}, "
                f"{count(stats.reconnections, 'reconnection')} "
                f"({stats.reconnections_per_hour:.3g} per hour)."
            )
        return "\n".join(lines)

    def _against(self) -> str:
        versus = self.versus
        if versus is None:
            return ""

        torque = versus.outputs["torque"]
        lines = ["B less A"]
        if torque.apart == 0:
            lines.append("The commanded torque is the same all along this drive.")
        else:
            lines.append(
                _wrapped(
                    f"The commanded torque {_difference(torque)}, rms {short(torque.rms, 4)}; "
                    f"another table decided for {short(versus.governed_otherwise)} s."
                )
            )
        found = sorted((d for d in versus.tables.values() if d.apart > 0), key=lambda d: -d.apart)
        rows = [(d.name, _difference(d)) for d in found[:MOST_TABLES]]
        if rows:
            lines.append("Tables that read otherwise")
            lines.append(listed(rows))
        if len(found) > MOST_TABLES:
            lines.append(f"and {len(found) - MOST_TABLES} more (--json lists all)")
        if versus.nowhere:
            lines.append(
                _wrapped(f"Other values, but read the same here: {', '.join(versus.nowhere)}.")
            )
        return "\n".join(lines)

    def _assumed(self) -> str:
        return "Taken for granted\n" + listed([("", text) for text in self.assumed])

    def _left_out(self) -> str:
        rows = [(entry["what"], entry["reason"]) for entry in self._gone()]
        return "Left out\n" + listed(rows) if rows else ""

    def _gone(self) -> Iterator[dict[str, Any]]:
        replayed = self.replays[0]
        for role, reason in replayed.roles_left_out.items():
            yield {"what": role, "reason": reason}
        for id, reason in replayed.left_out.items():
            if replayed.content[id].role not in replayed.roles_left_out:
                yield {"what": id, "reason": reason}

    # -- plain data --------------------------------------------------------------------

    def plain(self) -> dict[str, list[dict[str, Any]]]:
        recording = self.driven.recording
        return {
            "recording": [
                {
                    "name": recording.name,
                    "sha256": recording.sha256,
                    "start": recording.start,
                    "seconds": recording.seconds,
                    "channels": len(recording.channels),
                    "vehicle_set_digest": recording.vehicle_set_digest,
                }
            ],
            "sets": [
                {
                    "set": label,
                    "file": self.paths["AB".index(label)].name,
                    "label": content.label,
                    "digest": replayed.digest,
                    "in_vehicle": one.same_set,
                }
                for label, content, replayed, one in self.sets
            ],
            "trust": [
                {
                    "set": self.judged,
                    "level": str(self.trust.level),
                    "words": self.trust.words,
                    "counts_as_evidence": self.trust.counts,
                }
            ],
            "residuals": [
                {
                    "signal": r.signal, "table": r.table, "unit": r.unit, "seconds": r.seconds,
                    "within": r.within, "tolerance": r.tolerance, "rms": r.rms,
                    "largest": r.largest, "largest_at": r.largest_at, "bias": r.bias,
                }
                for r in self.trust.residuals
            ],
            "faults": [fault_plain(fault) for fault in recording.faults],
            "taken_for_granted": [{"words": text} for text in self.assumed],
            "left_out": list(self._gone()),
            "signals": list(self._plain_signals()),
            "governed": list(self._plain_governed()),
            "totals": list(self._plain_totals()),
            "differences": list(self._plain_differences()),
        }  # fmt: skip

    def _plain_signals(self) -> Iterator[dict[str, Any]]:
        for label, _, replayed, _ in self.sets:
            for name, found in replayed.stats().outputs.items():
                unit = (replayed.computed(name) or (0, "", ""))[1]
                yield {
                    "set": label, "signal": name, "unit": unit, "count": found.count,
                    "low": found.low, "high": found.high, "mean": found.mean,
                    "low_at": found.low_at, "high_at": found.high_at,
                    **{f"p{percent:g}": value for percent, value in found.percentiles.items()},
                }  # fmt: skip

    def _plain_governed(self) -> Iterator[dict[str, Any]]:
        for label, _, replayed, _ in self.sets:
            stats = replayed.stats()
            for role, seconds in stats.governed.items():
                yield {
                    "set": label,
                    "role": role,
                    "table": replayed.roles[role].id,
                    "seconds": seconds,
                    "share": seconds / stats.valid_seconds,
                    "limit": role in stats.limited,
                }

    def _plain_totals(self) -> Iterator[dict[str, Any]]:
        for label, _, replayed, _ in self.sets:
            stats = replayed.stats()
            names = (
                "seconds", "valid_seconds", "idle_seconds", "limited_seconds",
                "disconnected_share", "disconnections", "reconnections", "reconnections_per_hour",
            )  # fmt: skip
            yield {"set": label, **{name: getattr(stats, name) for name in names}}

    def _plain_differences(self) -> Iterator[dict[str, Any]]:
        if self.versus is None:
            return
        for kind, found in (("output", self.versus.outputs), ("table", self.versus.tables)):
            for one in found.values():
                yield {
                    "kind": kind, "name": one.name, "unit": one.unit, "seconds": one.seconds,
                    "apart": one.apart, "rms": one.rms, "low": one.figures.low,
                    "high": one.figures.high, "largest": one.largest,
                    "largest_at": one.largest_at,
                }  # fmt: skip


def _write(shown: _Shown, out: Path) -> None:
    if shown.given.to[0] == "csv":
        write_whole(out, series_csv([(label, one) for label, _, one, _ in shown.sets]))
        return

    covered = coverage(shown.contents[0], shown.replays[0], shown.driven.ticks)
    other = shown.given.against.name if shown.given.against is not None else ""
    text = replay_report(
        shown.driven.recording,
        shown.replays[0],
        shown.trust,
        Told(shown.given.set.name, other, shown.in_vehicle(), shown.assumed),
        versus=shown.versus,
        covered=covered,
    )
    write_whole(out, text)


def _difference(one: SignalDifference) -> str:
    sign = "+" if one.largest > 0 else ""
    most = f"{sign}{with_unit(one.largest, one.unit, 4)}"
    return f"differs for {short(one.apart)} s, by at most {most} (at {short(one.largest_at)} s)"


def _row(found: Figures) -> tuple[str, ...]:
    levels = found.percentiles
    numbers = (found.low, levels[50.0], found.mean, levels[95.0], found.high)
    when = f"{found.high_at:.7g} s" if math.isfinite(found.high_at) else "-"
    return (*(short(n, 4) if math.isfinite(n) else "-" for n in numbers), when)


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %" if math.isfinite(share) else "-"


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows in columns: the first to the left, the others to the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            cell.ljust(w) if n == 0 else cell.rjust(w)
            for n, (cell, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def _wrapped(text: str) -> str:
    return "\n".join(textwrap.wrap(text, width()))
