"""The SHA-256 over the columns as read, which tells damage from content."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from .texts import Array, bytes_of


def content_sha(columns: Mapping[str, Array], attributes: Mapping[str, str | int]) -> str:
    """Return the SHA-256 (hex) over every column's name, type, shape and bytes, and attributes.

    Parameters
    ----------
    columns : mapping of name to array
        In the type and width the file holds.
    attributes : mapping of name to str or int
        Root attributes, the stored hash itself left out.
    """
    digest = hashlib.sha256()
    for name in sorted(columns):
        column = columns[name]
        digest.update(f"{name} {column.dtype.str} {column.shape}\n".encode())
        if column.size:
            digest.update(bytes_of(column))
    for name in sorted(attributes):
        digest.update(f"\n@{name} {attributes[name]!r}".encode())
    return digest.hexdigest()
