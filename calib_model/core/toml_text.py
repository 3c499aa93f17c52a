"""Plain data as TOML values, for the files that people write and we write for them."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from .numbers import exact


def toml_value(value: Any) -> str:
    """Return plain data (texts, numbers, lists, mappings) as a TOML value on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for the delete character, which JSON leaves as it is.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, int | float):
        return exact(value)
    if isinstance(value, Mapping):
        parts = ", ".join(f"{toml_key(k)} = {toml_value(v)}" for k, v in value.items())
        return f"{{ {parts} }}" if parts else "{}"
    return f"[{', '.join(map(toml_value, value))}]"


def toml_key(text: str) -> str:
    """Return a key as TOML writes it: bare where it may be."""
    return text if re.fullmatch(r"[A-Za-z0-9_-]+", text) else toml_value(text)
