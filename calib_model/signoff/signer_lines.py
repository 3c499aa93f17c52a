"""One line of a list of allowed signers, taken apart as OpenSSH takes it apart.

``PRINCIPALS [OPTIONS] TYPE KEY [COMMENT]``: the principals end at white space unless they are
quoted; options are ``NAME="VALUE"`` or a flag, joined by commas, each at most once.  What
OpenSSH refuses is refused here, or a list would let somebody pass that ``ssh-keygen -Y verify``
does not (ssh-keygen(1), ALLOWED SIGNERS; the grammar beyond the manual was tried out on
OpenSSH 9.2).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime

from .keys import PublicKey
from .wire import Broken, Fields, SignatureProblem, from_base64

MAX_PATTERN = 1000
"""Bytes of one pattern; OpenSSH gives up at 1023."""

_SPACE = " \t"
_NAMES = re.compile(r'(?P<before>[^ \t\r\n"]*)(?:"(?P<quoted>[^"]*)"|(?=[ \t\r\n]))[ \t\r\n]*')
_OPTION = re.compile(
    r'(?P<flag>cert-authority)|(?P<name>namespaces|valid-after|valid-before)="'
    r'(?P<value>(?:\\"|[^"])*)"',
    re.IGNORECASE | re.ASCII,
)
_TIME = re.compile(r"(\d{4})(\d\d)(\d\d)(?:(\d\d)(\d\d)(\d\d)?)?([Zz]?)", re.ASCII)
_OTHER_TYPES = re.compile(
    r"ssh-rsa|ssh-dss|ecdsa-sha2-nistp(256|384|521)|sk-(ssh-ed25519|ecdsa-sha2-nistp256)@openssh\.com"
    r"|[a-z0-9-]+-cert-v01@openssh\.com"
)
OURS = "ssh-ed25519"


@dataclass(frozen=True)
class SignerLine:
    """What a line says.

    Parameters
    ----------
    principals : tuple of str
        Patterns.
    key : PublicKey
    namespaces : tuple of str or None
        Patterns; None where the line does not limit them.
    after, before : datetime or None
    """

    principals: tuple[str, ...]
    key: PublicKey
    namespaces: tuple[str, ...] | None
    after: datetime | None
    before: datetime | None


def read_line(line: str) -> SignerLine:
    """Take a line apart.

    Raises
    ------
    ValueError
        If it is no entry, or one that OpenSSH would refuse.
    SignatureProblem
        If it is an entry that cannot count here: another type of key, a certificate authority.
    """
    if "\0" in line:
        raise ValueError("it holds a NUL")
    names = _NAMES.match(line)
    if names is None or names.end() == len(line):
        raise ValueError("a name, options and a key are expected")
    principals = _patterns(names["before"] + (names["quoted"] or ""), "name")
    rest = line[names.end() :]
    options = ""
    if not _is_key(rest):
        options, rest = _past_options(rest)
    read = _options(options)
    word, _, more = rest.partition(_first_space(rest))
    blob = _first_word(more.lstrip(_SPACE)).rstrip("\r")
    if not word or not blob:
        raise ValueError("a name, options and a key are expected")
    key = _key(word, blob)
    if read.pop("cert-authority", None) is not None:
        raise SignatureProblem("Certificate authorities are not used here.")
    spaces = read.get("namespaces")
    after, before = (
        _time(read[name]) if name in read else None for name in ("valid-after", "valid-before")
    )
    if after is not None and before is not None and before <= after:
        raise ValueError("its time ends before it begins")
    if key is None:
        raise SignatureProblem(f"A key of type {word[:40]!r} cannot sign here.")
    limited = _patterns(spaces, "namespace") if spaces is not None else None
    return SignerLine(principals, key, limited, after, before)


def _patterns(text: str, what: str) -> tuple[str, ...]:
    found = tuple(text.split(","))
    if any(len(pattern.encode("utf-8", "replace")) > MAX_PATTERN for pattern in found):
        raise ValueError(f"a {what} is longer than {MAX_PATTERN} bytes")
    return found


def _is_key(text: str) -> bool:
    word = _first_word(text)
    return word == OURS or _OTHER_TYPES.fullmatch(word) is not None


def _first_word(text: str) -> str:
    return re.split("[ \t]", text, maxsplit=1)[0]


def _first_space(text: str) -> str:
    return next((sign for sign in text if sign in _SPACE), " ")


def _past_options(text: str) -> tuple[str, str]:
    """Return the options and what follows them; white space within quotes does not end them."""
    quoted = False
    at = 0
    while at < len(text) and (quoted or text[at] not in _SPACE):
        if text[at] == "\\" and text[at + 1 : at + 2] == '"':
            at += 1
        elif text[at] == '"':
            quoted = not quoted
        at += 1
    if quoted:
        raise ValueError("a quotation mark is not closed")
    return text[:at], text[at:].lstrip(_SPACE)


def _options(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    at = 0
    while at < len(text):
        option = _OPTION.match(text, at)
        if option is not None:
            name = (option["flag"] or option["name"]).lower()
            if name in found:
                raise ValueError(f"the option {name} is given twice")
            found[name] = (option["value"] or "").replace('\\"', '"')
            at = option.end()
        if at < len(text):  # a comma may stand before an option, but not behind the last
            if text[at] != "," or at + 1 == len(text):
                raise ValueError(f'{text[at : at + 40]!r} is no option; write NAME="VALUE"')
            at += 1
    return found


def _key(word: str, blob: str) -> PublicKey | None:
    """Return an Ed25519 key; None for one of another type that is sound as far as one can see."""
    if word == OURS:
        try:
            key = PublicKey.parse(f"{word} {blob}")
        except SignatureProblem as problem:
            raise ValueError(str(problem).rstrip(".")) from None
        if key.line() != f"{word} {blob}":
            raise ValueError("the key is not written as OpenSSH writes it")
        return key
    if not _OTHER_TYPES.fullmatch(word):
        raise ValueError(f"there is no type of key {word[:40]!r}")
    try:
        if Fields(from_base64(blob)).string().decode("ascii", "replace") != word:
            raise ValueError(f"the key says it is of type {word[:40]!r}, but is not")
    except Broken:
        raise ValueError("the key is damaged") from None
    _require_sound(word, blob)
    return None


def _require_sound(word: str, blob: str) -> None:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.serialization import load_ssh_public_key

    if word.startswith("sk-") or "-cert-" in word:
        return
    try:
        load_ssh_public_key(f"{word} {blob}".encode())
    except UnsupportedAlgorithm:
        return
    except ValueError:
        raise ValueError("the key is damaged") from None


def _time(text: str) -> datetime:
    """Return a time as OpenSSH writes it: ``YYYYMMDD[HHMM[SS]][Z]``.

    Without the ``Z`` OpenSSH means the time zone of whoever reads; so do we, or the two would
    not agree.
    """
    found = _TIME.fullmatch(text)
    if found is None:
        raise ValueError(f"{text[:40]!r} is no time; write YYYYMMDD or YYYYMMDDHHMMSSZ")
    numbers = [int(part or 0) for part in found.groups()[:6]]
    naive = datetime(*numbers)  # type: ignore[arg-type]  # noqa: DTZ001  # given its zone below
    try:
        moment = naive.replace(tzinfo=UTC) if found[7] else naive.astimezone(UTC)
    except (OverflowError, OSError):
        raise ValueError(f"{text[:40]!r} is no time of this calendar") from None
    if moment.timestamp() <= 0:
        raise ValueError(f"{text[:40]!r} lies before 1970-01-02")
    return moment
