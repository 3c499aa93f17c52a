"""`bitepoint programme FILE`: which sets belong together, and whose word counts on this machine."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.cli.answer import DIFFERENT, GOOD, Answer, json_text, refuse
from app.cli.parser import VerbParser
from app.cli.text import caution, count, listed, paragraph
from calib_model.session.programme import read_programme
from calib_model.signoff import confirmed

if TYPE_CHECKING:
    from calib_model.session.programme import Programme
    from calib_model.signoff.confirmed import Claim, State


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "programme",
        "Show a programme file: its sets, who may sign, who may accept which tables.\n\n"
        "A programme file beside a set is read without being asked for, but its list of allowed\n"
        "signers and its owners count only once they were confirmed on this machine; whoever "
        "sends a\nfolder could write them.  Look at what is shown, compare the fingerprints with "
        "what the\nteam says by another way, then give --confirm.  It is asked again when they "
        "change.",
        "Exit status: 0 shown or confirmed, 1 signers or owners that are not confirmed, 2 could "
        "not be\ndone.",
    )
    made.add_argument("file", metavar="FILE", type=Path, help="programme file")
    act = made.add_mutually_exclusive_group()
    act.add_argument("--confirm", action="store_true", help="let its signers and owners count here")
    act.add_argument("--forget", action="store_true", help="let them count no more")
    made.add_argument("--json", action="store_true", help="answer as one JSON object")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Show a programme file, or confirm it."""
    given = parser().parse_args(arguments)

    programme = read_programme(given.file)
    if given.forget and not confirmed.forget(programme):
        refuse(f"{given.file}: Nothing of it was confirmed on this machine.", "Nothing to forget.")
    claim = confirmed.claim_of(programme)
    if given.confirm:
        if claim.is_empty and confirmed.state_of(claim) is confirmed.State.NOTHING:
            refuse(f"{given.file}: It names no signers and no owners.", "Nothing to confirm.")
        confirmed.confirm(claim)
    state = confirmed.state_of(claim)
    open_points = state in (confirmed.State.NEW, confirmed.State.CHANGED)
    status = DIFFERENT if open_points and not given.forget else GOOD
    if given.json:
        return Answer(status, json_text(plain(programme, claim, state)))
    return Answer(status, words(given.file, programme, claim, state))


def plain(programme: Programme, claim: Claim, state: State) -> dict[str, Any]:
    """Return a programme as plain data."""
    listed_signers = claim.signers.signers if claim.signers is not None else ()
    return {
        "programme": [{"name": programme.name, "base": programme.base, "trust": str(state)}],
        "sets": [{"mode": mode, "file": path.name} for mode, path in programme.sets.items()],
        "signers": [
            {"names": list(signer.principals), "key": signer.key.fingerprint}
            for signer in listed_signers
        ],
        "owners": [
            {"group": group, "names": list(names)} for group, names in programme.owners.items()
        ],
    }


def words(path: Path, programme: Programme, claim: Claim, state: State) -> str:
    """Return a programme for reading."""
    head = f"{programme.name or 'Programme'} ({path.name}): {count(len(programme.sets), 'set')}."
    rows = [
        (f"{mode}{' (base)' if mode == programme.base else ''}", file.name)
        for mode, file in programme.sets.items()
    ]
    parts = [head + ("\n" + listed(rows) if rows else "")]
    trust = f"Signers and owners: {state}."
    parts.append(trust + ("\n" + "\n".join(claim.words) if claim.words else ""))
    if state in ("not confirmed", "changed since it was confirmed"):
        parts.append(
            paragraph(
                "They do not count on this machine yet. If they are what the team says, confirm "
                f"them: bitepoint programme {path} --confirm"
            )
        )
    return "\n\n".join([*parts, caution()]) + "\n"
