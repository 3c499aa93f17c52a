"""An earlier state of a set to measure changes against, found through its history."""

from __future__ import annotations

from collections.abc import Sequence

from ..core.calibration_set import CalibrationSet
from ..editing.change import apply
from ..errors import BitepointError
from .history import Entry, content_after


def at_sign_off(
    content: CalibrationSet, entries: Sequence[Entry], sign_off: str
) -> CalibrationSet | None:
    """Return the set as it was when a sign-off was made.

    Parameters
    ----------
    content : CalibrationSet
        The present state.
    entries : sequence of Entry
        Its history, oldest first.
    sign_off : str
        Id of the sign-off.

    Returns
    -------
    CalibrationSet or None
        None if the history does not tell.
    """
    for number in range(len(entries) - 1, -1, -1):
        for edit in entries[number].plain.get("edits", ()):
            if (
                edit.get("kind") == "record"
                and edit.get("item") == "sign-off"
                and (edit.get("after") or {}).get("id") == sign_off
            ):
                return _walked(content, entries[number + 1 :])
    return None


def before_changes(
    content: CalibrationSet, entries: Sequence[Entry], *, released: bool = False
) -> tuple[CalibrationSet | None, str]:
    """Return the state that changes count from, and what it is, in words.

    That is the state of the last sign-off; without one the beginning of the history.

    Parameters
    ----------
    content : CalibrationSet
        The present state.
    entries : sequence of Entry
        Its history, oldest first.
    released : bool
        Whether the present state is a release itself: then changes count from the sign-off of
        an earlier state.
    """
    for sign_off in reversed(content.record.sign_offs):
        found = at_sign_off(content, entries, sign_off.id)
        if found is None or (released and dict(found.tables) == dict(content.tables)):
            continue
        return found, "an earlier sign-off" if released else "the last sign-off"
    if entries:
        found = _walked(content, entries)
        if found is not None:
            return found, "the beginning of its history"
    return None, ""


def edits_since(
    content: CalibrationSet, entries: Sequence[Entry], earlier: CalibrationSet
) -> dict[str, tuple[Entry, ...] | None]:
    """Return, by table that differs, the entries that led there from an earlier state.

    The history is walked back from the present until each table is as it was in the earlier
    state, so that edits which that state holds already are not among them.

    Parameters
    ----------
    content : CalibrationSet
        The present state.
    entries : sequence of Entry
        Its history, oldest first.
    earlier : CalibrationSet

    Returns
    -------
    dict of table id to tuple of Entry or None
        Oldest first; None where the history does not lead to the earlier state.
    """
    ids = {**earlier.tables, **content.tables}
    found: dict[str, tuple[Entry, ...] | None] = {
        id: None for id in ids if content.tables.get(id) != earlier.tables.get(id)
    }
    looked_for: dict[str, list[Entry]] = {id: [] for id in found}
    state = content
    for entry in reversed(entries):
        if not looked_for:
            break
        if all(edit.get("kind") == "record" for edit in entry.plain.get("edits", ())):
            continue
        try:
            before = apply(state, entry.change().inverse())
        except BitepointError:
            break
        for id in list(looked_for):
            was = before.tables.get(id)
            if was is not state.tables.get(id):
                looked_for[id].append(entry)
                if was == earlier.tables.get(id):
                    found[id] = tuple(reversed(looked_for.pop(id)))
        state = before
    return found


def _walked(content: CalibrationSet, later: Sequence[Entry]) -> CalibrationSet | None:
    try:
        return content_after(content, later)
    except BitepointError:
        return None
