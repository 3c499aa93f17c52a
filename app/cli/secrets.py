"""Passphrases: from a file, or typed where there is a terminal; never an argument."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.answer import refuse
from app.cli.parser import VerbParser
from calib_model.core.plain_file import open_plain
from calib_model.signoff.keys import is_protected, load_key

if TYPE_CHECKING:
    from calib_model.signoff.keys import PrivateKey

LONGEST = 4096


def add_key_arguments(parser: VerbParser, *, required: bool) -> None:
    """Add ``--key`` and ``--passphrase-file``."""
    parser.add_argument(
        "--key", metavar="FILE", type=Path, required=required, help="private key (OpenSSH, Ed25519)"
    )
    add_passphrase_argument(parser)


def add_passphrase_argument(parser: VerbParser) -> None:
    """Add ``--passphrase-file``."""
    parser.add_argument(
        "--passphrase-file",
        metavar="FILE",
        type=Path,
        help="file whose first line is the key's passphrase; asked for in the terminal without it",
    )


def loaded_key(path: Path, passphrase_file: Path | None) -> PrivateKey:
    """Return a private key, its passphrase from a file or the terminal."""
    if not is_protected(path):
        return load_key(path, None)
    return load_key(path, passphrase(passphrase_file, f"Passphrase of {path}: "))


def passphrase(file: Path | None, prompt: str) -> str:
    """Return a passphrase from the first line of a file, or typed."""
    if file is None:
        if not sys.stdin.isatty():
            refuse("The key needs a passphrase.", "Give --passphrase-file FILE.")
        return getpass.getpass(prompt)

    try:
        with open_plain(file) as source:
            data = source.read(LONGEST + 1)
    except OSError as error:
        refuse(f"{file}: Cannot be read: {error.strerror or error}.", "Check the name.")
    line = data.split(b"\n", 1)[0].rstrip(b"\r")
    if len(line) > LONGEST:
        refuse(f"{file}: Its first line is too long for a passphrase.", "Check the name.")
    try:
        return line.decode("utf-8-sig")
    except UnicodeDecodeError:
        refuse(f"{file}: This is not UTF-8 text.", "Save the passphrase as UTF-8.")
