"""What a programme file says of who may sign and accept: taken only once it was confirmed here.

A programme file lies in the folder with the sets, so whoever sends the folder writes it.  Its list
of allowed signers and its owners count from the moment somebody confirmed them on this machine,
and only for as long as they stay what they were: the confirmation holds the digest of the list and
of the owners.  It is kept in the user's state folder, never beside the sets.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from ..core.text_file import read_text
from ..core.times import stamp
from ..errors import FileProblem
from ..session.programme import Programme
from ..store.atomic import replace_file, target_of
from ..store.places import state_folder
from .signers import MAX_FILE, AllowedSigners, read_signers

_FILE = "confirmed.json"
_MOST_BYTES = 4 << 20


class State(StrEnum):
    """How a claim stands on this machine."""

    NOTHING = "nothing to confirm"
    CONFIRMED = "confirmed"
    NEW = "not confirmed"
    CHANGED = "changed since it was confirmed"


@dataclass(frozen=True)
class Claim:
    """Who may sign and accept, as a programme file has it.

    Parameters
    ----------
    programme : Programme
    signers : AllowedSigners or None
        The list that it names.
    digest : str
        SHA-256 over the list's path and text and over the owners.
    """

    programme: Programme
    signers: AllowedSigners | None
    digest: str

    @property
    def is_empty(self) -> bool:
        """Whether it says nothing of who may sign or accept."""
        return self.programme.signers is None and not self.programme.owners

    @property
    def words(self) -> tuple[str, ...]:
        """What is to be confirmed, a line each."""
        lines = []
        if self.signers is not None:
            for signer in self.signers.signers:
                names = ", ".join(signer.principals)
                lines.append(f"may sign: {names} with key {signer.key.fingerprint}")
            lines += [f"left out: {text}" for text in self.signers.ignored]
        lines += [
            f"may accept {group}: {', '.join(names) or 'nobody'}"
            for group, names in self.programme.owners.items()
        ]
        return tuple(lines)


def claim_of(programme: Programme) -> Claim:
    """Read what a programme file claims.

    Raises
    ------
    FileProblem
        If its list of signers cannot be read.
    """
    path, text, signers = programme.signers, "", None
    if path is not None:
        text = read_text(path, "a list of signers", MAX_FILE)
        signers = read_signers(path)  # with the keys that count no longer, which lie beside it
    plain = {
        "signers": str(path.resolve()) if path is not None else "",
        "list": hashlib.sha256(text.encode()).hexdigest(),
        "owners": {group: list(names) for group, names in programme.owners.items()},
    }
    data = json.dumps(plain, sort_keys=True, ensure_ascii=True).encode()
    return Claim(programme, signers, hashlib.sha256(data).hexdigest())


def state_of(claim: Claim) -> State:
    """Return how a claim stands on this machine.

    Raises
    ------
    FileProblem
        If what was confirmed cannot be read.
    """
    known = _read().get(_key(claim.programme))
    if known is not None:
        return State.CONFIRMED if known["digest"] == claim.digest else State.CHANGED
    return State.NOTHING if claim.is_empty else State.NEW


def confirm(claim: Claim, by: str = "") -> None:
    """Remember on this machine that a claim is right.

    Raises
    ------
    FileProblem, SaveFailed
        If that cannot be kept.
    """
    entry = {
        "digest": claim.digest,
        "sets": [str(path.resolve()) for path in claim.programme.sets.values()],
        "time": stamp(),
        "by": by,
    }
    _write({**_read(), _key(claim.programme): entry})


def forget(programme: Programme) -> bool:
    """Forget what was confirmed of a programme file; False if nothing was."""
    known = _read()
    if known.pop(_key(programme), None) is None:
        return False
    _write(known)
    return True


@dataclass(frozen=True)
class Taken:
    """What of a programme may be used.

    Parameters
    ----------
    programme : Programme
        Without list of signers and owners where they were not confirmed.
    signers : AllowedSigners or None
        The list that it brings, if it was confirmed.
    state : State
    note : str
        What was left out, and what to do about it; empty if nothing was.
    blocks : bool
        Whether a reviewer's sign-off has to wait: owners were left out, or what was confirmed
        is another by now.
    """

    programme: Programme
    signers: AllowedSigners | None = None
    state: State = State.NOTHING
    note: str = ""
    blocks: bool = False


def taken(programme: Programme, *, with_signers: bool = True) -> Taken:
    """Return what of a programme may be used on this machine.

    Parameters
    ----------
    programme : Programme
    with_signers : bool
        False where the user named a list of signers: the programme's own is not used then.
    """
    bare = replace(programme, owners={}, signers=None)
    blocks = bool(programme.owners)
    try:
        claim = claim_of(programme)
        state = state_of(claim)
    except FileProblem as problem:
        return Taken(bare, None, State.NEW, str(problem), blocks)
    if state in (State.NOTHING, State.CONFIRMED):
        return Taken(programme, claim.signers if with_signers else None, state)
    what = [
        *(["list of signers"] if programme.signers is not None and with_signers else []),
        *(["owners"] if programme.owners else []),
    ]
    if state is State.NEW and not what:
        return Taken(bare, None, state)
    name = programme.path.name
    if state is State.CHANGED:
        why = f"Signers or owners of {name} are others than were confirmed on this machine."
    else:
        named = " and ".join(what).capitalize()
        why = f"{named} of {name}: not confirmed on this machine."
    left_out = f"{why} What it says of them does not count."
    return Taken(bare, None, state, left_out, blocks or state is State.CHANGED)


def missing(set_path: Path | str, used: Programme | None) -> list[str]:
    """Return what was confirmed here for a set, but is not taken into account now.

    A programme file that was removed, renamed or made to name the set no more takes its owners
    with it; that is not to pass unseen.

    Parameters
    ----------
    set_path : path-like
    used : Programme or None
        The one that is taken into account.

    Raises
    ------
    FileProblem
        If what was confirmed cannot be read.
    """
    mine = str(Path(set_path).resolve())
    key = _key(used) if used is not None else ""
    return [
        f"{Path(place).name}, whose owners or signers were confirmed on this machine for this set, "
        "is not taken into account."
        for place, entry in _read().items()
        if place != key and mine in entry.get("sets", ())
    ]


# -- the file --------------------------------------------------------------------------------------


def _key(programme: Programme) -> str:
    return str(programme.path.resolve())


def _place() -> Path:
    return state_folder() / _FILE


def _read() -> dict[str, dict[str, Any]]:
    place = _place()
    if not place.exists():
        return {}
    text = read_text(place, "a list of what was confirmed", _MOST_BYTES)
    try:
        known = json.loads(text)["programmes"]
        if not all(isinstance(entry["digest"], str) for entry in known.values()):
            raise TypeError
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        # Taken for empty, a damaged file would let changed owners pass for new ones.
        raise FileProblem(
            place, "", "This is no list of what was confirmed.", "Remove it, and confirm again."
        ) from None
    return dict(known)


def _write(known: Mapping[str, Mapping[str, Any]]) -> None:
    place = _place()
    place.parent.mkdir(parents=True, exist_ok=True)
    data = json.dumps({"version": 1, "programmes": known}, indent=1, sort_keys=True).encode()
    replace_file(
        target_of(place),
        data,
        verify=lambda _read_back: None,
        before_replace=lambda: None,
        backup=False,
    )


__all__ = ["Claim", "State", "Taken", "claim_of", "confirm", "forget", "state_of", "taken"]
