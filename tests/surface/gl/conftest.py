"""A desk with maps, and a surface of it in a real window."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.plots.surface.view import SurfaceView
from tests.surface.gl_hand import shown
from tests.surface.surface_maps import desk_with, fade, hill, uneven, wet


@pytest.fixture
def desk(qapp: QApplication) -> Desk:
    return desk_with(uneven(), fade(), hill(), wet())


@pytest.fixture
def view(desk: Desk, qtbot: QtBot, capfd: pytest.CaptureFixture[str]) -> Iterator[SurfaceView]:
    made = shown(desk, qtbot)
    yield made
    out, err = capfd.readouterr()
    # Errors while drawing are caught by pyqtgraph and only written out.
    assert "Error while drawing" not in out + err
