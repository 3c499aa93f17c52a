"""A short hash of this package's source, by which compiled code is kept apart."""

from __future__ import annotations

import hashlib
import sys
from functools import lru_cache
from pathlib import Path


@lru_cache(maxsize=1)
def source_key() -> str:
    """Return 16 hex digits that change with any edit of the package or of Python's version."""
    digest = hashlib.sha256(sys.version.encode())
    root = Path(__file__).resolve().parent.parent
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
