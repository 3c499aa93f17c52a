"""`bitepoint keys new FILE`: make a key to sign with."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from app.cli.answer import GOOD, Answer, refuse
from app.cli.parser import VerbParser
from app.cli.secrets import add_passphrase_argument, passphrase
from calib_model.signoff.keys import make_key


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "keys",
        "Make a key to sign with: an Ed25519 key in OpenSSH's format, protected by a passphrase.\n"
        "FILE is the private half and stays with its owner; FILE.pub goes on the team's list.",
        "Exit status: 0 made, 2 could not be done.",
    )
    made.add_argument("what", metavar="new", choices=("new",), help="the only thing to do so far")
    made.add_argument("file", metavar="FILE", type=Path, help="private key file to make")
    made.add_argument("--name", metavar="NAME", default="", help="owner, for the list of signers")
    add_passphrase_argument(made)
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Make a key."""
    given = parser().parse_args(arguments)

    secret = passphrase(given.passphrase_file, "New passphrase: ")
    if given.passphrase_file is None and sys.stdin.isatty():
        again = passphrase(None, "The same again: ")
        if again != secret:
            refuse("The two passphrases differ.", "Try again.")
    public = make_key(given.file, secret, given.name)
    name = f'"{given.name}"' if given.name else "NAME"
    return Answer(
        GOOD,
        f"Made {given.file} (private, keep it to yourself) and {given.file}.pub.\n"
        f"Fingerprint: {public.fingerprint}\n\n"
        "Line for the team's list of allowed signers:\n"
        f'{name} namespaces="bitepoint-signoff,bitepoint-decision" {public.line()}\n',
    )
