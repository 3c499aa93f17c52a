"""Lists of allowed signers, in OpenSSH's own format (ssh-keygen(1), section ALLOWED SIGNERS).

A line names one or more principals, then options, then a public key::

    "Ada Berg" namespaces="bitepoint-signoff" ssh-ed25519 AAAAC3... laptop
    ines,reviewers-* valid-after="20260101",valid-before="20270101" ssh-ed25519 AAAAC3...

The list comes from the team, never from the set or from this package.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from ..core.patterns import fits
from ..core.plain_file import is_there, open_plain
from ..core.text_file import read_text
from ..errors import FileProblem
from .keys import PublicKey
from .revoked import NONE_REVOKED, SUFFIX, Revoked, read_revoked
from .signer_lines import read_line
from .wire import SignatureProblem

MAX_FILE = 4 << 20


@dataclass(frozen=True)
class Signer:
    """One line of the list.

    Parameters
    ----------
    principals : tuple of str
        Patterns with ``*`` and ``?``; with a leading ``!`` none that fits it is meant.
    key : PublicKey
    namespaces : tuple of str or None
        Patterns of the purposes the key may sign for; None for all.
    after, before : datetime or None
        When the key counts.
    line : int
    """

    principals: tuple[str, ...]
    key: PublicKey
    namespaces: tuple[str, ...] | None = None
    after: datetime | None = None
    before: datetime | None = None
    line: int = 0

    def is_for(self, name: str) -> bool:
        """Whether a name is one of the principals."""
        return _listed(self.principals, name)

    def objection(self, time: datetime, namespace: str) -> str:
        """Return why the line does not count then or for that; empty if it does."""
        if self.namespaces is not None and not _listed(self.namespaces, namespace):
            return f"may not sign for {namespace}"
        if self.after is not None and time < self.after:
            return f"is listed from {self.after:%Y-%m-%d %H:%M} UTC only"
        if self.before is not None and time > self.before:  # as OpenSSH: that moment included
            return f"is listed until {self.before:%Y-%m-%d %H:%M} UTC only"
        return ""


@dataclass(frozen=True)
class AllowedSigners:
    """Who may sign.

    Parameters
    ----------
    signers : tuple of Signer
    source : str
        Where the list came from, for messages.
    ignored : tuple of str
        Lines that cannot count here, in words: other types of key, certificate authorities.
    revoked : Revoked
        Keys that count no longer, whatever the lines say.
    """

    signers: tuple[Signer, ...] = ()
    source: str = ""
    ignored: tuple[str, ...] = ()
    revoked: Revoked = NONE_REVOKED

    def objection(self, key: PublicKey, name: str, time: datetime, namespace: str) -> str:
        """Return why a signature by a key under a name does not count; empty if it does.

        Parameters
        ----------
        key : PublicKey
        name : str
            Under which it was signed.
        time : datetime
            When it was signed; with a time zone.
        namespace : str
        """
        if key in self.revoked:
            return f"The key {key.fingerprint} was revoked ({self.revoked.source})."
        mine = [s for s in self.signers if s.key == key]
        if not mine:
            return f"The key {key.fingerprint} is not on the list of allowed signers."
        named = [s for s in mine if s.is_for(name)]
        if not named:
            known = ", ".join(dict.fromkeys(p for s in mine for p in s.principals))
            return f"The key {key.fingerprint} is listed for {known}, not for {name}."
        why = [s.objection(time, namespace) for s in named]
        return "" if "" in why else f"The key {key.fingerprint} of {name} {why[0]}."

    def belongs_to(self, key: PublicKey, names: tuple[str, ...]) -> bool:
        """Whether a key is listed for one of some names, or is named by its fingerprint."""
        return key not in self.revoked and any(
            name == key.fingerprint or any(s.key == key and s.is_for(name) for s in self.signers)
            for name in names
        )


def _listed(patterns: tuple[str, ...], name: str) -> bool:
    """As OpenSSH's pattern lists: one must fit, and none that is marked with ``!`` may."""
    found = False
    text = _bytewise(name)
    for pattern in patterns:
        negated = pattern.startswith("!")
        if fits(_bytewise(pattern.removeprefix("!")), text):
            if negated:
                return False
            found = True
    return found


def _bytewise(text: str) -> str:
    """Return a text with a character for every byte: OpenSSH's ``?`` is a byte."""
    return text.encode("utf-8", "surrogatepass").decode("latin-1")


def read_signers(path: Path | str, revoked: Path | str | None = None) -> AllowedSigners:
    """Read a list of allowed signers, and the keys that count no longer.

    Parameters
    ----------
    path : path-like
    revoked : path-like, optional
        A revocation list (`calib_model.signoff.revoked`).  One beside the list, with the list's
        name and ``.revoked`` behind it, is read in any case.

    Raises
    ------
    FileProblem
        If it cannot be read; the text names the line.
    """
    place = Path(path)
    text = read_text(place, "a list of signers", MAX_FILE)
    with open_plain(place) as file:
        if file.read(3) == codecs.BOM_UTF8:  # to OpenSSH it is part of the first name
            raise FileProblem(
                place, "line 1", "It begins with a byte order mark.", "Save it as plain UTF-8."
            )
    listed = parse_signers(text, str(place))
    beside = place.with_name(place.name + SUFFIX)
    gone = read_revoked(revoked) if revoked is not None else NONE_REVOKED
    if is_there(beside) or beside.is_symlink():
        gone = gone.joined(read_revoked(beside))
    return replace(listed, revoked=gone)


def parse_signers(text: str, source: str = "allowed signers") -> AllowedSigners:
    """Read the text of a list of allowed signers.

    Raises
    ------
    FileProblem
        If a line is no entry; it is named.
    """
    signers, ignored = [], []
    for number, line in enumerate(text.split("\n"), start=1):
        stripped = line.lstrip(" \t")
        if stripped in ("", "\r") or stripped.startswith("#"):
            continue
        try:
            read = read_line(stripped)
        except SignatureProblem as problem:
            ignored.append(f"line {number}: {problem.problem}")
        except ValueError as error:
            raise FileProblem(
                source,
                f"line {number}",
                f"This is no allowed signer: {error}.",
                'Write it as: NAME namespaces="bitepoint-signoff" ssh-ed25519 KEY.',
            ) from None
        else:
            signers.append(
                Signer(read.principals, read.key, read.namespaces, read.after, read.before, number)
            )
    return AllowedSigners(tuple(signers), source, tuple(ignored))
