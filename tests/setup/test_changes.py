"""The list of changes people read names the version that is built, with its day."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_the_newest_section_is_of_this_version() -> None:
    version = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
    text = (ROOT / "assets" / "CHANGES.md").read_text("utf-8")
    sections = re.findall(r"^## (\S+) – (\d{4}-\d{2}-\d{2})$", text, re.MULTILINE)
    assert sections[0][0] == version
    days = [date.fromisoformat(day) for _, day in sections]
    assert days == sorted(days, reverse=True)
