"""Check sums over what was read, which tell damage from content.

A file carries a manifest: one line per column (``name type shape sha256``) and per root
attribute (``@name kind sha256``), sorted.  The SHA-256 of the manifest stands for the whole
content.  A reader checks the lines it knows, so that an older one can read a newer file that says
it may, and every damage has a place.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from .layout import BY_NAME
from .structure import Misfit
from .texts import Array, bytes_of

_WRONG = "is not what was saved: its check sum is wrong."


def manifest(columns: Mapping[str, Array], attributes: Mapping[str, str | int]) -> str:
    """Return the manifest of columns and attributes.

    Parameters
    ----------
    columns : mapping of name to array
        In the type and width the file holds; the hash is over the bytes in C order.
    attributes : mapping of name to str or int
        Hashed as UTF-8 text.
    """
    lines = [
        f"{name} {column.dtype.str} {'x'.join(map(str, column.shape))} {_sha(bytes_of(column))}"
        for name, column in columns.items()
    ]
    lines += [
        f"@{name} {'int' if isinstance(value, int) else 'text'} {_sha(str(value).encode())}"
        for name, value in attributes.items()
    ]
    return "\n".join(sorted(lines))


def content_sha(text: str) -> str:
    """Return the SHA-256 (hex) of a manifest."""
    return _sha(text.encode())


def check_manifest(
    stored: str,
    columns: Mapping[str, Array],
    attributes: Mapping[str, str | int],
    *,
    newer: bool,
) -> None:
    """Raise Misfit unless what was read is what the manifest lists.

    Parameters
    ----------
    stored : str
        The manifest in the file.
    columns, attributes : mappings
        What was read of it.
    newer : bool
        Whether the file may list more than this version knows.
    """
    found = {_name(line): line for line in manifest(columns, attributes).splitlines()}
    listed = {_name(line): line for line in stored.splitlines()}
    for name in sorted(found.keys() | listed.keys()):
        if found.get(name) == listed.get(name):
            continue
        what = f"attribute {name[1:]}" if name.startswith("@") else f"column {name[:60]}"
        if name not in found and name in BY_NAME:
            raise Misfit(what, "is missing.")
        if name in found or not newer:
            raise Misfit(what, _WRONG)


def _name(line: str) -> str:
    return line.split(" ", 1)[0]


def _sha(data: bytes | memoryview) -> str:
    return hashlib.sha256(data).hexdigest()
