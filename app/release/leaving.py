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
from pathlib import Path
from typing import Any

from app.work.control import Control
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.plain_file import is_there
from calib_model.core.record import Trial
from calib_model.errors import EditRefused, FileProblem
from calib_model.exchange.marking import Mark
from calib_model.formats.outgoing import Outgoing
from calib_model.formats.registry import Format, left_out_words
from calib_model.signoff.verification import verify
from calib_model.store.whole_folder import whole_folder

from .standing import Past, Trust, read_trust


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
    formats : tuple of Format
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
    formats: tuple[Format, ...]
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
    trial : Trial or None
    left_out : str
        What of the set is in none of the files, in words; may be empty.
    """

    folder: Path
    files: tuple[str, ...]
    mark: Mark
    trial: Trial | None = None
    left_out: str = ""


def write_trial(control: Control, order: Leaving) -> Written:
    """Write the files of a trial into a folder, each with the trial in its name."""
    outgoing = _outgoing(control, order).for_trial(
        vehicle=order.vehicle, trip=order.trip, expires=order.expires.strip(), by=order.by
    )
    with _Beside(order.folder) as partial:
        _write(control, order, outgoing, partial)
        names = sorted(p.name for p in partial.iterdir())
        for name in names:
            target = order.folder / name
            if order.source is not None and _same_file(target, order.source):
                raise FileProblem(target, "", "This is the set itself.", "Choose another folder.")
            if target.is_dir():
                raise FileProblem(target, "", "This is a folder.", "Choose another folder.")
        for name in names:
            (partial / name).replace(order.folder / name)
    return _written(order, outgoing, order.folder, names)


def hand_over(control: Control, order: Leaving) -> Written:
    """Write a release into a new folder inside the one that is named."""
    outgoing = _outgoing(control, order)
    plain = re.sub(r"[^A-Za-z0-9_.-]+", "-", order.content.revision).strip("-.")
    parts = (order.stem, plain, outgoing.verification.digest[:8])
    target = outgoing.mark.name(order.folder / ("_".join(part for part in parts if part) + ".x"))
    target = target.with_suffix("")
    if is_there(target):
        raise FileProblem(
            target, "", "This was handed over before.", "Move that folder, or choose another."
        )
    with whole_folder(target) as partial:
        _write(control, order, outgoing, partial)
        names = sorted(p.name for p in partial.iterdir())
    return _written(order, outgoing, target, names)


def _outgoing(control: Control, order: Leaving) -> Outgoing:
    """Return the set to write, after a look at what was asked for."""
    control.check()
    if not order.folder.is_dir():
        raise FileProblem(order.folder, "", "There is no such folder.", "Choose one that exists.")
    if not order.formats:
        raise EditRefused("Nothing is ticked.", "Tick what is to be written.")
    known = read_trust(order.trust)
    if known.problems:
        raise EditRefused(known.problems[0], "Choose another file under Sign.")
    found = verify(order.content, known.signers)
    return Outgoing(order.content, found, order.past.whole(), order.records, order.others)


def _write(control: Control, order: Leaving, outgoing: Outgoing, folder: Path) -> None:
    for one in order.formats:
        control.check()
        one.write(outgoing, outgoing.mark.name(folder / one.file_name(order.stem)))


def _written(order: Leaving, outgoing: Outgoing, folder: Path, names: list[str]) -> Written:
    missing = left_out_words(outgoing.left_out(order.formats))
    return Written(folder, tuple(names), outgoing.mark, outgoing.trial, missing)


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


def _same_file(first: Path, second: Path) -> bool:
    try:
        return first.samefile(second)
    except OSError:
        return first.absolute() == second.absolute()
