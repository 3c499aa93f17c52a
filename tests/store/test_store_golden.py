"""Files of earlier versions stay readable.  The golden files are never made anew."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from calib_model.errors import BitepointError
from calib_model.store import migrate, read_set
from calib_model.store.migrate import to_current
from calib_model.store.structure import Neutral
from tests.store.worker import fingerprint

GOLDEN = Path(__file__).with_name("golden")


@pytest.mark.parametrize("version", [1])
def test_a_file_of_every_version_is_read_as_it_was_meant(version: int) -> None:
    """Beside each file lies what it holds, as plain data written when the file was made."""
    stored = read_set(GOLDEN / f"set_v{version}.h5")
    expected = json.loads((GOLDEN / f"set_v{version}.json").read_text(encoding="utf-8"))
    assert json.loads(fingerprint(stored)) == expected


def test_the_hash_of_version_1_never_changes() -> None:
    assert (
        read_set(GOLDEN / "set_v1.h5").content_sha == (GOLDEN / "set_v1.sha256").read_text().strip()
    )


def test_versions_are_climbed_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(migrate, "FORMAT_VERSION", 3)
    steps = {
        1: lambda n: Neutral(n.columns, {**n.attributes, "seen": f"{n.attributes['seen']}1"}),
        2: lambda n: Neutral(n.columns, {**n.attributes, "seen": f"{n.attributes['seen']}2"}),
    }
    monkeypatch.setattr(migrate, "STEPS", steps)
    assert to_current(Neutral({}, {"format_version": 1, "seen": ""})).attributes["seen"] == "12"
    assert to_current(Neutral({}, {"format_version": 2, "seen": ""})).attributes["seen"] == "2"
    assert to_current(Neutral({}, {"format_version": 3, "seen": ""})).attributes["seen"] == ""
    assert to_current(Neutral({}, {"format_version": 7, "seen": ""})).attributes["seen"] == ""
    with pytest.raises(BitepointError, match="version 0 is not known"):
        to_current(Neutral({}, {"format_version": 0}))
