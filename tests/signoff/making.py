"""A small set, keys that are the same every time, and what is made of them."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Item, Outcome
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.rules.shape import Monotone
from calib_model.signoff.decisions import decide
from calib_model.signoff.keys import PrivateKey
from calib_model.signoff.signers import AllowedSigners, parse_signers
from calib_model.signoff.signing import make_sign_off

ADA = PrivateKey.from_seed(b"a" * 32)
INES = PrivateKey.from_seed(b"i" * 32)
STRANGER = PrivateKey.from_seed(b"s" * 32)
LIST = f'"Ada Berg" {ADA.public.line()}\nInes {INES.public.line()}\n'
START = datetime(2026, 1, 10, 8, tzinfo=UTC)
NOW = datetime(2026, 1, 20, 8, tzinfo=UTC)

needs_openssh = pytest.mark.skipif(
    shutil.which("ssh-keygen") is None, reason="OpenSSH is not installed"
)


def allowed() -> AllowedSigners:
    """The team's list: Ada and Ines."""
    return parse_signers(LIST)


def small_set() -> CalibrationSet:
    """Two tables on a shared axis, and a scalar."""
    speed = Axis([0.0, 10.0, 20.0], "Speed", "km/h", "vehicle_speed", shared="speed")
    rises = (Monotone(axis="vehicle_speed", reason="More is more."),)
    half = Storage.of("uint16", "0.5")
    return CalibrationSet(
        [
            Table("base", [1.0, 2.0, 3.0], (speed,), "Base", "N.m", "Cruise", storage=half,
                  upper=100, rules=rises),
            Table("brake", [0.0, 1.0, 2.0], (speed,), "Brake", "N.m", "Braking", upper=100),
            Table("tick", np.float64(0.02), (), "Tick", "s", "Vehicle"),
        ],
        [speed],
        programme="Larch", mode="normal", base_mode="normal", name="Small", revision="3",
    )  # fmt: skip


def added(content: CalibrationSet, *items: Item) -> CalibrationSet:
    """The set with items in its record."""
    record = content.record
    for item in items:
        record = record.exchanged(None, item)
    return content.with_record(record)


def signed(
    content: CalibrationSet,
    key: PrivateKey = ADA,
    name: str = "Ada Berg",
    role: str = "author",
    when: datetime = START,
) -> CalibrationSet:
    """The set with one more sign-off."""
    return added(content, make_sign_off(content, key, name=name, role=role, now=when))


def accepted(content: CalibrationSet, ids: Iterable[str] | None = None) -> CalibrationSet:
    """The set with its tables accepted by Ines."""
    change = decide(
        content, ids or content.tables, Outcome.ACCEPTED, by="Ines", now=START + timedelta(hours=1)
    )
    return apply(content, change)


def signed_off(content: CalibrationSet | None = None) -> CalibrationSet:
    """The set signed by Ada, accepted and signed by Ines."""
    content = accepted(signed(content or small_set()))
    return signed(content, INES, "Ines", "reviewer", START + timedelta(hours=2))
