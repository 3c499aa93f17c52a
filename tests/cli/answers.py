"""How the verbs' tests read an answer."""

from __future__ import annotations

import json
from typing import Any


def strict_json(text: str) -> Any:
    """Parse JSON, refusing the NaN and Infinity that Python's reader would let pass."""

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is not JSON")

    return json.loads(text, parse_constant=refuse)
