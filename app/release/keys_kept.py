"""Whose key lies where: remembered for each person, a path and a role, never a passphrase."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

from app.needs import Memory

_PLACE = "release/keys"
MOST = 50
"""So many people are remembered; who signed longest ago is forgotten first."""


@dataclass(frozen=True)
class KeptKey:
    """What is remembered of a person.

    Parameters
    ----------
    path : str
        Of the private key file; empty if none is known.
    role : str
        In which they signed last.
    """

    path: str = ""
    role: str = ""


def _kept(memory: Memory) -> dict[str, KeptKey]:
    try:
        found = json.loads(memory.remembered(_PLACE) or "{}")
        return {
            str(name): KeptKey(str(one.get("path", "")), str(one.get("role", "")))
            for name, one in found.items()
        }
    except (ValueError, AttributeError):  # a settings file that somebody wrote into
        return {}


def _name(text: str) -> str:
    return " ".join(text.split()).casefold()


def key_of(memory: Memory, name: str) -> KeptKey:
    """Return what is remembered of a person; capitals and spaces make no other person."""
    return _kept(memory).get(_name(name), KeptKey())


def keep_key(memory: Memory, name: str, path: str, role: str = "") -> None:
    """Remember where a person's key lies, and the role, if one is given."""
    who, kept = _name(name), _kept(memory)
    if not who:
        return
    before = kept.pop(who, KeptKey())
    kept[who] = KeptKey(path, role or before.role)
    last = dict(list(kept.items())[-MOST:])
    memory.remember(_PLACE, json.dumps({n: asdict(one) for n, one in last.items()}))
