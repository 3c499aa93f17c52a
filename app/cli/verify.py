"""`bitepoint verify SET --signers FILE`: is the set what was signed, and by whom?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import DIFFERENT, GOOD, Answer
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import caution, listed, title
from calib_model.core.times import moment_of
from calib_model.errors import DamagedFile
from calib_model.signoff.signers import read_signers
from calib_model.signoff.verification import verify

if TYPE_CHECKING:
    from calib_model.signoff.verification import Verification


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "verify",
        "Verify a set's sign-offs against the team's list of allowed signers (OpenSSH's format).",
        "Exit status: 0 genuine, 1 not genuine, altered or unsigned, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument(
        "--signers", metavar="FILE", type=Path, required=True, help="list of allowed signers"
    )
    made.add_argument(
        "--revoked",
        metavar="FILE",
        type=Path,
        help="revocation list: public keys, or a KRL of ssh-keygen; LIST.revoked is read anyway",
    )
    made.add_argument(
        "--at",
        metavar="TIME",
        type=moment,
        help="judge keys by this time (ISO 8601, UTC) instead of the times the signers stated",
    )
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    return made


def moment(text: str) -> datetime:
    """Return the moment that a text names; for the parser, ValueError if it names none."""
    found = moment_of(text)
    if found is None:
        raise ValueError(text)
    return found


def run(arguments: Sequence[str]) -> Answer:
    """Verify a set."""
    given = parser().parse_args(arguments)

    with SetFiles([given.set]) as files:
        signers = read_signers(given.signers, given.revoked)
        try:
            (stored,) = files.results()
        except DamagedFile as damage:  # a set that cannot be read is a set that is not genuine
            if given.json:
                return Answer(DIFFERENT, _json(_answer(False, None, [], [], str(damage))))
            return Answer(DIFFERENT, f"Not genuine: {damage}\n")
    found = verify(stored.set, signers, at=given.at)
    status = GOOD if found.genuine else DIFFERENT
    if given.json:
        return Answer(status, _json(plain(found)))
    parts = [f"{title(stored.set, given.set)}\n{found.words}\nDigest {found.digest}"]
    if found.signed_by:
        rows = [(s.name, s.role, s.time, s.key) for s in found.signed_by]
        word = "The times are the signers' own word; --at TIME judges the keys by another."
        parts.append(f"Signatures over this content\n{listed(rows)}\n{word}")
    if found.changed_since:
        rows2 = [(c.what, c.how) for c in found.changed_since]
        parts.append("Changed since the last sign-off\n" + listed(rows2))
    parts += found.hints
    if signers.ignored:
        parts.append(f"Of {given.signers}, left out: {'; '.join(signers.ignored)}")
    parts.append(caution())
    return Answer(status, "\n\n".join(parts) + "\n")


def plain(found: Verification) -> dict[str, Any]:
    """Return a verification as plain data."""
    signed_by = [
        {"name": s.name, "role": s.role, "time": s.time, "comment": s.comment, "key": s.key}
        for s in found.signed_by
    ]
    changed = [c.what for c in found.changed_since]
    return _answer(found.genuine, found.digest, signed_by, changed, found.words)


def _answer(
    genuine: bool, digest: str | None, signed_by: list[Any], changed: list[str], reason: str
) -> dict[str, Any]:
    return {
        "genuine": genuine,
        "digest": digest,
        "signed_by": signed_by,
        "changed_since": changed,
        "reason": reason,
    }


def _json(plain: dict[str, Any]) -> str:
    return json.dumps(plain, indent=1, ensure_ascii=True, allow_nan=False) + "\n"
