"""A set on its way to others, with all that a format may want to say of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from ..core.calibration_set import CalibrationSet
from ..core.record import Trial
from ..exchange.marking import Mark, make_trial, mark_of
from ..session.history import Entry, HistoryLike, PlainHistory
from ..session.since import before_changes
from ..signoff.verification import Verification
from .registry import Format, Part


@dataclass(frozen=True)
class Outgoing:
    """What a writer gets.

    Parameters
    ----------
    content : CalibrationSet
        With its record.
    verification : Verification
        Of the set as it is.
    history : HistoryLike
    records : sequence of (kind, plain data)
        Items of the record that this version does not know.
    others : tuple of CalibrationSet
        Sets of the other drive modes, for relations.
    trial : Trial or None
        If the values leave for one vehicle and trip; see `for_trial`.
    """

    content: CalibrationSet
    verification: Verification
    history: HistoryLike = field(default_factory=PlainHistory)
    records: Sequence[tuple[str, Mapping[str, Any]]] = ()
    others: tuple[CalibrationSet, ...] = ()
    trial: Trial | None = None

    @cached_property
    def mark(self) -> Mark:
        """What the export says of itself, in the file and in its name."""
        return mark_of(self.content, self.verification, self.trial)

    @property
    def status(self) -> str:
        """The mark in one line; empty for a set that is signed off."""
        return self.mark.status if self.mark.word else ""

    def earlier(self, *, released: bool = False) -> tuple[CalibrationSet | None, str]:
        """Return the state that changes count from; see `calib_model.session.since`."""
        entries = [Entry(plain, True) for plain in self.history.views()]
        return before_changes(self.content, entries, released=released)

    def for_trial(self, *, vehicle: str, trip: str, expires: str, by: str) -> Outgoing:
        """Return the same for one vehicle and trip; see `calib_model.exchange.marking`.

        Raises
        ------
        EditRefused
            If something is missing, or the last day is over.
        """
        earlier, since = self.earlier()
        trial = make_trial(
            self.content,
            self.verification.digest,
            vehicle=vehicle,
            trip=trip,
            expires=expires,
            by=by,
            earlier=earlier,
            since=since,
        )
        return replace(self, trial=trial)

    def left_out(self, formats: Iterable[Format]) -> tuple[Part, ...]:
        """Return what the set has and none of these formats holds whole."""
        held = frozenset[Part]().union(*(one.holds for one in formats))
        content, record = self.content, self.content.record
        has = {
            Part.VALUES: len(content) > 0,
            Part.RULES: len(content) > 0,
            Part.NAME: bool(content.name or content.revision),
            Part.DESCRIPTION: bool(content.description),
            Part.HISTORY: len(self.history) > 0,
            Part.REVIEW: bool(record.waivers or record.decisions or record.maturities),
            Part.NOTES: bool(
                record.remarks
                or record.complaints
                or record.drives
                or record.trials
                or len(self.records)
            ),
            Part.SIGN_OFFS: bool(record.sign_offs),
        }
        return tuple(part for part in Part if has[part] and part not in held)
