"""Lists of allowed signers, in OpenSSH's own format (ssh-keygen(1), section ALLOWED SIGNERS).

A line names one or more principals, then options, then a public key::

    "Ada Berg" namespaces="bitepoint-signoff" ssh-ed25519 AAAAC3... laptop
    ines,reviewers-* valid-after="20260101",valid-before="20270101" ssh-ed25519 AAAAC3...

The list comes from the team, never from the set or from this package.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from ..core.patterns import fits
from ..core.text_file import read_text
from ..errors import FileProblem
from .keys import PublicKey
from .wire import SignatureProblem

MAX_FILE = 4 << 20
_KEY_TYPE = re.compile(r"(ssh|ecdsa|sk)-[A-Za-z0-9@.-]+")
_WORD = re.compile(r'(?:[^\s"]|"(?:\\"|[^"])*")+')


@dataclass(frozen=True)
class Signer:
    """One line of the list.

    Parameters
    ----------
    principals : tuple of str
        Patterns with ``*`` and ``?``; with a leading ``!`` none that fits it is meant.
    key : PublicKey
    namespaces : tuple of str
        Patterns of the purposes the key may sign for; empty for all.
    after, before : datetime or None
        When the key counts.
    line : int
    """

    principals: tuple[str, ...]
    key: PublicKey
    namespaces: tuple[str, ...] = ()
    after: datetime | None = None
    before: datetime | None = None
    line: int = 0

    def is_for(self, name: str) -> bool:
        """Whether a name is one of the principals."""
        return _listed(self.principals, name)

    def objection(self, time: datetime, namespace: str) -> str:
        """Return why the line does not count then or for that; empty if it does."""
        if self.namespaces and not _listed(self.namespaces, namespace):
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
    """

    signers: tuple[Signer, ...] = ()
    source: str = ""
    ignored: tuple[str, ...] = ()

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
        return any(
            name == key.fingerprint or any(s.key == key and s.is_for(name) for s in self.signers)
            for name in names
        )


def _listed(patterns: tuple[str, ...], name: str) -> bool:
    """As OpenSSH's pattern lists: one must fit, and none that is marked with ``!`` may."""
    found = False
    for pattern in patterns:
        negated = pattern.startswith("!")
        if fits(pattern.removeprefix("!"), name):
            if negated:
                return False
            found = True
    return found


def read_signers(path: Path | str) -> AllowedSigners:
    """Read a list of allowed signers.

    Raises
    ------
    FileProblem
        If it cannot be read; the text names the line.
    """
    place = Path(path)
    text = read_text(place, "a list of signers", MAX_FILE)
    return parse_signers(text, str(place))


def parse_signers(text: str, source: str = "allowed signers") -> AllowedSigners:
    """Read the text of a list of allowed signers.

    Raises
    ------
    FileProblem
        If a line is no entry; it is named.
    """
    signers, ignored = [], []
    for number, line in enumerate(text.split("\n"), start=1):
        stripped = line.strip()
        if not stripped or stripped.startswith("#"):
            continue
        try:
            signers.append(_entry(stripped, number))
        except SignatureProblem as problem:
            ignored.append(f"line {number}: {problem.problem}")
        except ValueError as error:
            raise FileProblem(
                source,
                f"line {number}",
                f"This is no allowed signer: {error}.",
                'Write it as: NAME namespaces="bitepoint-signoff" ssh-ed25519 KEY.',
            ) from None
    return AllowedSigners(tuple(signers), source, tuple(ignored))


def _entry(line: str, number: int) -> Signer:
    words = _WORD.findall(line)
    if _WORD.sub("", line).strip():
        raise ValueError("a quotation mark is not closed")
    place = next((i for i, word in enumerate(words) if _KEY_TYPE.fullmatch(word)), -1)
    if place not in (1, 2) or len(words) < place + 2:
        raise ValueError("a name, options and a key are expected")
    principals = tuple(filter(None, words[0].replace('"', "").split(",")))
    options = dict(_options(words[1])) if place == 2 else {}
    if "cert-authority" in options:
        raise SignatureProblem("Certificate authorities are not used here.")
    unknown = set(options) - {"namespaces", "valid-after", "valid-before"}
    if unknown:
        raise ValueError(f"there is no option {sorted(unknown)[0]!r}")
    key = PublicKey.parse(" ".join(words[place : place + 2]))
    return Signer(
        principals,
        key,
        tuple(filter(None, options.get("namespaces", "").split(","))),
        _time(options["valid-after"]) if "valid-after" in options else None,
        _time(options["valid-before"]) if "valid-before" in options else None,
        number,
    )


def _options(text: str) -> Iterator[tuple[str, str]]:
    for part in re.findall(r'(?:[^,"]|"[^"]*")+', text):
        name, _, value = part.partition("=")
        yield name.lower(), value.strip('"')


def _time(text: str) -> datetime:
    """Return a time as OpenSSH writes it: ``YYYYMMDD[HHMM[SS]][Z]``.

    Without the ``Z`` OpenSSH means the time zone of whoever reads; so do we, or the two would
    not agree.
    """
    digits = text.removesuffix("Z")
    for form in ("%Y%m%d", "%Y%m%d%H%M", "%Y%m%d%H%M%S"):
        if len(digits) == len(datetime(2000, 1, 1, tzinfo=UTC).strftime(form)):
            naive = datetime.strptime(digits, form)  # noqa: DTZ007  # given its zone below
            return naive.replace(tzinfo=UTC) if text.endswith("Z") else naive.astimezone(UTC)
    raise ValueError(f"{text!r} is no time; write YYYYMMDD or YYYYMMDDHHMMSSZ")
