"""A folder with all that a sign-off consists of, to be verified without Bitepoint."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..exchange.release_files import write_sign_off_files
from .registry import Format, Part

if TYPE_CHECKING:
    from .outgoing import Outgoing


def write(outgoing: Outgoing, path: Path) -> None:
    """Write the folder, which must be new."""
    write_sign_off_files(outgoing.content, path)


FORMAT = Format(
    "signoff",
    "Sign-off artefacts",
    "a folder with all that a sign-off consists of, for OpenSSH and sha256sum",
    (),
    frozenset({Part.VALUES, Part.RULES, Part.NAME, Part.REVIEW, Part.SIGN_OFFS}),
    write,
    for_trial=False,
    ending="_sign_off",
)
