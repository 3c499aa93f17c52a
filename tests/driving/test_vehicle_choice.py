"""One choice of vehicle for desk runs, replays and the resulting torque."""

from __future__ import annotations

import shutil
from pathlib import Path

from app.desk import Desk
from app.driving.limits import Forgetful
from app.driving.service import Driving
from app.vehicle_in_use import vehicle_in_use
from calib_model.session.files import open_document
from tests.driving.fake_driving import FakeModel

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


def test_the_set_brings_its_programmes_vehicle(qapp, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    alone = tmp_path / "alone.h5"
    shutil.copy(SAMPLES / "larch_normal.h5", alone)
    desk = Desk()
    vehicle, heard = vehicle_in_use(desk), []
    vehicle.changed.connect(lambda: heard.append(vehicle.path))
    assert "invented" in vehicle.origin
    desk.add(open_document(SAMPLES / "larch_normal.h5", "Ada"))
    desk.add(open_document(SAMPLES / "larch_towing.h5", "Ada"))
    desk.add(open_document(alone, "Ada"))
    theirs = SAMPLES / "larch_vehicle.toml"
    assert vehicle.constants.path == theirs
    assert vehicle.constants.of_programme
    assert "which the programme names" in vehicle.constants.words
    desk.set_current(desk.documents[1])  # the same vehicle: nothing is out of date
    desk.set_current(desk.documents[2])
    assert heard == [theirs, None]


def test_desk_runs_go_by_the_same_choice(qapp, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    desk, memory = Desk(), Forgetful()
    driving, path = Driving(desk, memory, FakeModel()), tmp_path / "mine.toml"
    driving.choose_vehicle(path)
    assert driving.vehicle.path == vehicle_in_use(desk).constants.path == path
    assert not vehicle_in_use(desk).constants.of_programme
    assert Driving(Desk(), memory, FakeModel()).vehicle.path == path  # remembered
