"""Limits that the user sets for measures, remembered from one start to the next."""

from __future__ import annotations

import json
import math

from app.needs import Memory

_KEY = "driving/limits"


class Forgetful:
    """Remembers until the program ends; for a part that was given no settings."""

    def __init__(self, author: str = "") -> None:
        self.author = author
        self._texts: dict[str, str] = {}

    def remembered(self, key: str) -> str:
        """Return what is kept under a key."""
        return self._texts.get(key, "")

    def remember(self, key: str, text: str) -> None:
        """Keep a text."""
        self._texts[key] = text


class Limits:
    """The user's limits, by manoeuvre and measure.

    Parameters
    ----------
    memory : Memory
    """

    def __init__(self, memory: Memory) -> None:
        self._memory = memory
        self._limits: dict[str, float] = {}
        try:
            plain = json.loads(memory.remembered(_KEY) or "{}")
        except ValueError:  # edited by hand: limits are set anew
            plain = {}
        if isinstance(plain, dict):
            self._limits = {
                str(key): float(value)
                for key, value in plain.items()
                if isinstance(value, int | float) and math.isfinite(value)
            }

    def of(self, manoeuvre: str, measure: str) -> float:
        """Return a limit; NaN if none is set."""
        return self._limits.get(f"{manoeuvre}/{measure}", math.nan)

    def set(self, manoeuvre: str, measure: str, limit: float) -> None:
        """Set a limit; NaN takes it away."""
        key = f"{manoeuvre}/{measure}"
        if math.isfinite(limit):
            self._limits[key] = limit
        else:
            self._limits.pop(key, None)
        self._memory.remember(_KEY, json.dumps(self._limits, sort_keys=True))
