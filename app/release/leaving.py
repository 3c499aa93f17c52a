"""Jobs that write a set for others: a trial's files, a release's folder.  All of it or nothing.

What is not signed off, or was changed since, says so in each file and in its name.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.plain_file import is_there
from calib_model.core.record import Trial
from calib_model.errors import EditRefused, FileProblem
from calib_model.exchange import release_files
from calib_model.exchange.csv_tables import write_csv
from calib_model.exchange.marking import Mark, make_trial, mark_of
from calib_model.rules.check import check
from calib_model.session.recovery import columns_of
from calib_model.session.since import before_changes
from calib_model.signoff.verification import Verification, verify
from calib_model.store import write_whole
from calib_model.store.whole_folder import whole_folder

from .standing import Asks, Past, Trust, read_trust


class Kind(StrEnum):
    """What can be written."""

    SET = "Set file (HDF5)"
    TEXT = "Canonical text"
    CSV = "CSV"
    SIGN_OFF = "Sign-off artefacts"
    REPORT = "Release report (HTML)"


@dataclass(frozen=True)
class Leaving:
    """What is to be written.

    Parameters
    ----------
    content : CalibrationSet
    past : Past
    others : tuple of CalibrationSet
        For the relations in the report.
    trust : Trust
        Whose sign-offs count.
    stem : str
        Begins every file's name.
    source : Path or None
        The set's own file, which is never written to here.
    folder : Path
    kinds : tuple of Kind
    records : sequence
        Items of the record that this version does not know; kept in the set file.
    vehicle, trip, expires, by : str
        Of a trial.
    """

    content: CalibrationSet
    past: Past
    others: tuple[CalibrationSet, ...]
    trust: Trust
    stem: str
    source: Path | None
    folder: Path
    kinds: tuple[Kind, ...]
    records: Sequence[tuple[str, Mapping[str, Any]]] = ()
    vehicle: str = ""
    trip: str = ""
    expires: str = ""
    by: str = ""


@dataclass(frozen=True)
class Written:
    """What was written.

    Parameters
    ----------
    folder : Path
    files : tuple of str
        Names in it.
    mark : Mark
    verification : Verification
    trial : Trial or None
    """

    folder: Path
    files: tuple[str, ...]
    mark: Mark
    verification: Verification
    trial: Trial | None = None


def write_trial(control: Asks, order: Leaving) -> Written:
    """Write the files of a trial into a folder, each with the trial in its name."""
    control.check()
    _require_folder(order.folder)
    _require_kinds(order.kinds)
    found = _verified(order)
    earlier, since = before_changes(order.content, order.past.entries())
    trial = make_trial(
        order.content,
        found.digest,
        vehicle=order.vehicle,
        trip=order.trip,
        expires=order.expires.strip(),
        by=order.by,
        earlier=earlier,
        since=since,
    )
    mark = mark_of(order.content, found, trial)
    with _Beside(order.folder) as partial:
        _write(control, order, partial, found, mark, trial)
        names = sorted(p.name for p in partial.iterdir())
        for name in names:
            target = order.folder / name
            if order.source is not None and _same_file(target, order.source):
                raise FileProblem(target, "", "This is the set itself.", "Choose another folder.")
            if target.is_dir():
                raise FileProblem(target, "", "This is a folder.", "Choose another folder.")
        for name in names:
            (partial / name).replace(order.folder / name)
    return Written(order.folder, tuple(names), mark, found, trial)


def hand_over(control: Asks, order: Leaving) -> Written:
    """Write a release into a new folder inside the one that is named."""
    control.check()
    _require_folder(order.folder)
    _require_kinds(order.kinds)
    found = _verified(order)
    mark = mark_of(order.content, found)
    plain = re.sub(r"[^A-Za-z0-9_.-]+", "-", order.content.revision).strip("-.")
    parts = (order.stem, plain, found.digest[:8])
    target = mark.name(order.folder / ("_".join(part for part in parts if part) + ".x"))
    target = target.with_suffix("")
    if is_there(target):
        raise FileProblem(
            target, "", "This was handed over before.", "Move that folder, or choose another."
        )
    with whole_folder(target) as partial:
        _write(control, order, partial, found, mark, None)
        names = sorted(p.name for p in partial.iterdir())
    return Written(target, tuple(names), mark, found)


def _verified(order: Leaving) -> Verification:
    known = read_trust(order.trust)
    if known.problems:
        raise EditRefused(known.problems[0], "Choose another file under Sign.")
    return verify(order.content, known.signers)


def _write(
    control: Asks,
    order: Leaving,
    folder: Path,
    found: Verification,
    mark: Mark,
    trial: Trial | None,
) -> None:
    content, stem = order.content, order.stem
    for kind in order.kinds:
        control.check()
        if kind is Kind.SET:
            from calib_model.store import write_set

            marked = release_files.marked_set(content, mark, trial)
            history = columns_of(order.past.whole())
            out = mark.name(folder / f"{stem}.h5")
            write_set(out, marked, history, records=order.records, backup=False)
        elif kind is Kind.TEXT:
            write_whole(mark.name(folder / f"{stem}.txt"), release_files.text_bytes(content, mark))
        elif kind is Kind.CSV:
            status = mark.status if mark.word else ""
            write_csv(content, mark.name(folder / f"{stem}.csv"), status)
        elif kind is Kind.SIGN_OFF:
            release_files.write_sign_off_files(content, mark.name(folder / f"{stem}_sign_off"))
        else:
            _write_report(order, mark.name(folder / f"{stem}_report.html"), found, trial)


def _write_report(order: Leaving, out: Path, found: Verification, trial: Trial | None) -> None:
    from calib_model.reports.release_report import Release, release_report

    content = order.content
    entries = order.past.entries()
    earlier, since = before_changes(content, entries, released=trial is None)
    release = Release(content, found, check(content, order.others), earlier, since, trial)
    write_whole(out, release_report(release))


class _Beside:
    """A folder for what is not complete yet, in the same place; gone at the end."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __enter__(self) -> Path:
        try:
            self._made = Path(tempfile.mkdtemp(prefix=".writing-", dir=self._folder))
        except OSError as error:
            reason = error.strerror or "nothing can be written there"
            raise FileProblem(
                self._folder, "", f"Cannot be written to: {reason}.", "Choose another folder."
            ) from None
        return self._made

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        with suppress(OSError):
            shutil.rmtree(self._made)
        if isinstance(error, OSError):
            reason = error.strerror or "it stopped"
            raise FileProblem(
                self._folder, "", f"Cannot be written to: {reason}.", "Choose another folder."
            ) from None


def _require_folder(folder: Path) -> None:
    if not folder.is_dir():
        raise FileProblem(folder, "", "There is no such folder.", "Choose one that exists.")


def _require_kinds(kinds: tuple[Kind, ...]) -> None:
    if not kinds:
        raise EditRefused("Nothing is ticked.", "Tick what is to be written.")


def _same_file(first: Path, second: Path) -> bool:
    try:
        return first.samefile(second)
    except OSError:
        return first.absolute() == second.absolute()
