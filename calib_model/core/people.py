"""The name of who is at work, where nobody gave one."""

from __future__ import annotations

import getpass


def login_name() -> str:
    """Return the name that this computer knows the user by; empty if it knows none."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no such user, or none to ask on this system
        return ""
