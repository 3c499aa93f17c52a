"""A desk with a small made-up set, and something that drives in a few lines."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.desk import Desk
from app.driving.limits import Forgetful
from app.driving.service import Driving
from calib_model.core.roles import ROLES
from tests.driving.fake_driving import FakeModel
from tests.plots import demo_set as demo


@pytest.fixture
def desk(qapp) -> Desk:  # type: ignore[no-untyped-def]
    """One open set with the pre-engagement map in work."""
    content = demo.demo_set()
    for table in list(content.tables.values()):
        if table.id in ROLES:
            content = content.with_table(replace(table, role=table.id))
    return demo.demo_desk(content=content)


@pytest.fixture
def model() -> FakeModel:
    """What drives."""
    return FakeModel()


@pytest.fixture
def memory() -> Forgetful:
    """What remembers."""
    return Forgetful()


@pytest.fixture
def driving(desk: Desk, model: FakeModel, memory: Forgetful) -> Driving:
    """The desk's driving, ready."""
    made = Driving(desk, memory, model)
    made.prepare()
    made.wait()
    assert made.state == "ready"
    return made
