"""What a table of each role usually looks like, and each input's declared range: a file."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..controller.needs import ROLE_UNITS
from ..core.roles import QUANTITIES
from ..core.rule import Severity
from ..core.text_file import read_text
from .words import MOST, vocabulary


@dataclass(frozen=True)
class InputProfile:
    """An input as axes usually read it.

    Parameters
    ----------
    name, unit : str
    low, high : float
        Declared range.
    low_severity, high_severity : Severity
        How bad it is that an axis stops short of an end.
    phrases : tuple of frozenset of str
        Concepts that a name of it holds.
    """

    name: str
    unit: str
    low: float
    high: float
    low_severity: Severity
    high_severity: Severity
    phrases: tuple[frozenset[str], ...]


@dataclass(frozen=True)
class RoleProfile:
    """A role as tables usually play it.

    Parameters
    ----------
    name, unit : str
    axes : tuple of str
        Inputs that such a table usually reads.
    low, high : float
        Usual range of its values.
    phrases : tuple of frozenset of str
        Concepts that a name of it holds.
    directions : tuple of (str, float)
        Input and +1 where values rise with it, -1 where they fall.
    rules : tuple of mapping
        As in a rule sheet, other tables named by their role.
    """

    name: str
    unit: str
    axes: tuple[str, ...]
    low: float
    high: float
    phrases: tuple[frozenset[str], ...]
    directions: tuple[tuple[str, float], ...]
    rules: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True)
class Profiles:
    """All of them.

    Parameters
    ----------
    inputs : mapping of name to InputProfile
    roles : mapping of name to RoleProfile
    """

    inputs: Mapping[str, InputProfile]
    roles: Mapping[str, RoleProfile]


@lru_cache(maxsize=1)
def profiles() -> Profiles:
    """Return what ships (`starting.toml`)."""
    plain = tomllib.loads(read_text(Path(__file__).with_name("starting.toml"), "it", MOST))
    inputs = {
        name: InputProfile(
            name,
            QUANTITIES[name],
            float(one["range"][0]),
            float(one["range"][1]),
            Severity(one["low"]),
            Severity(one["high"]),
            _phrases(one["words"]),
        )
        for name, one in plain["inputs"].items()
    }
    roles = {
        name: RoleProfile(
            name,
            ROLE_UNITS[name],
            tuple(one["axes"]),
            float(one["within"][0]),
            float(one["within"][1]),
            _phrases(one["words"]),
            tuple(
                (rule["axis"], -1.0 if rule.get("direction") == "down" else 1.0)
                for rule in one["rules"]
                if rule["kind"] == "monotone" and "scope" not in rule
            ),
            tuple(MappingProxyType(rule) for rule in one["rules"]),
        )
        for name, one in plain["roles"].items()
    }
    return Profiles(MappingProxyType(inputs), MappingProxyType(roles))


def _phrases(words: list[str]) -> tuple[frozenset[str], ...]:
    known = vocabulary()
    return tuple(frozenset(known.hear(phrase).concepts) for phrase in words)
