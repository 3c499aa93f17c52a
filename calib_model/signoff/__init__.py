"""Sign-offs: keys, signatures, the chain of statements, and what stands in their way.

`verify` is what a script needs; the window and the command line use the modules.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .verification import Verification, verify

__all__ = ["Verification", "verify"]


def __getattr__(name: str) -> Any:
    # Late: `cryptography` takes longer to load than a small set to check.
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.verification"), name)
