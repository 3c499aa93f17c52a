"""`bitepoint sign SET --key FILE`: sign a set, if nothing is left to do."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from app.cli.answer import DIFFERENT, GOOD, Answer, CannotDo, refuse
from app.cli.company import Neighbours, add_against
from app.cli.gating import add_trust, blocked, gate_of, gate_words, grounds, named_programme
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.secrets import add_key_arguments, loaded_key
from app.cli.text import caution
from calib_model.session.files import open_document, save_document
from calib_model.session.history import entries_of
from calib_model.signoff.people import hints_on
from calib_model.signoff.signing import make_sign_off
from calib_model.signoff.verification import verify


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "sign",
        "Sign a set and save it.  A set is signed off once an author and a reviewer, two people "
        "with two\nkeys, have signed the same state.  --list says what is to do.",
        "Exit status: 0 signed (or, with --list, nothing to do), 1 something to do "
        "(--list),\n2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    add_key_arguments(made, required=False)
    made.add_argument("--name", metavar="NAME", help="who signs, as on the list of signers")
    made.add_argument("--role", metavar="ROLE", help="author, reviewer or another")
    made.add_argument("--comment", metavar="TEXT", default="", help="to stand in the sign-off")
    made.add_argument("--milestone", metavar="NAME", default="", help="of the programme, to meet")
    made.add_argument("--list", action="store_true", help="sign nothing; list what is to do")
    add_against(made)
    add_trust(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Sign a set, or list what is to do."""
    given = parser().parse_args(arguments)
    if not given.list:
        for option in ("key", "name", "role"):
            if not getattr(given, option):
                refuse(f"--{option} is missing.", "See `bitepoint sign --help`.")
    chosen = named_programme(given)
    with (
        SetFiles(given.against) as files,
        Neighbours(
            given.set, alone=given.alone, named=given.against, programme=chosen, whole=True
        ) as neighbours,
    ):
        others = [stored.set for stored in files.results()]
        document = open_document(given.set, given.name or "")
        on = grounds(given, document.content, others, neighbours)
    if given.milestone and on.programme is None:
        refuse("A milestone is of a programme.", "Add --programme FILE.")
    entries = entries_of(document)
    found = gate_of(document.content, on, given.milestone, entries)
    if given.list:
        items = found.items
        status = GOOD if found.is_open else DIFFERENT
        parts = [gate_words(found, items), *on.told(), caution()]
        return Answer(status, "\n\n".join(parts) + "\n")
    to_do = found.blocking(given.role.strip())
    if to_do:
        raise CannotDo(blocked(to_do, given.set))
    key = loaded_key(given.key, given.passphrase_file)

    authors = [entry.author for entry in entries]
    made = make_sign_off(
        document.content, key, name=given.name, role=given.role, comment=given.comment
    )
    document.sign(made, f"Sign as {given.role.strip()}")
    save_document(document)
    state = verify(document.content, on.signers)
    hints = "".join(f"{hint}\n" for hint in hints_on(given.name, document.content, authors))
    signed = f"Signed {given.set} as {given.role.strip()} with key {key.public.fingerprint}."
    parts = [
        f"{signed}\n{state.words}\nDigest {state.digest}\n{hints}".rstrip(),
        *on.told(),
        caution(),
    ]
    return Answer(GOOD, "\n\n".join(parts) + "\n")
