"""Who is named in a set's record and history, for names that look alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ..core.calibration_set import CalibrationSet
from ..core.names import look_alike_hints, looks_like, same_person_hint
from .statement import read_statement
from .wire import SignatureProblem


def people_of(content: CalibrationSet) -> tuple[str, ...]:
    """Return everybody whom the record names, each spelling once."""
    return tuple(dict.fromkeys(name for name in _names(content) if name))


def hints(content: CalibrationSet) -> tuple[str, ...]:
    """Return a sentence for every two spellings in the record that look alike."""
    return look_alike_hints(people_of(content))


def hints_on(name: str, content: CalibrationSet, more: Iterable[str] = ()) -> tuple[str, ...]:
    """Return a sentence for every spelling in the record that looks like a name.

    Parameters
    ----------
    name : str
        Who is about to decide or sign.
    content : CalibrationSet
    more : iterable of str
        Others who are known, such as the authors in the history.
    """
    known = dict.fromkeys((*people_of(content), *more))
    return tuple(same_person_hint(name, other) for other in known if looks_like(name, other))


def _names(content: CalibrationSet) -> Iterator[str]:
    record = content.record
    for remark in record.remarks:
        yield from (remark.author, remark.settled_by)
    for waiver in record.waivers:
        yield from (waiver.author, waiver.approver)
    yield from (made.by for made in record.decisions)
    yield from (made.by for made in record.maturities)
    yield from (made.by for made in record.trials)
    yield from (made.by for made in record.drives)
    yield from (complaint.by for complaint in record.complaints)
    for sign_off in record.sign_offs:
        try:
            yield read_statement(sign_off.statement).name
        except SignatureProblem:  # verification says so
            continue
