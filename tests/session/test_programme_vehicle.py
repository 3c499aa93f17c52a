"""Which vehicle goes with a set: that of the programme which lists it."""

from __future__ import annotations

from pathlib import Path

import pytest

from calib_model.session.programme import vehicle_beside


def _programme(folder: Path, name: str, mode_file: str, vehicle: str) -> None:
    (folder / f"{name}.toml").write_text(
        f'programme = "{name}"\nbase = "normal"\nvehicle = "{vehicle}"\n'
        f'[sets]\nnormal = "{mode_file}"\n',
        encoding="utf-8",
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two programmes in a folder, with a vehicle each, and other TOML files."""
    _programme(tmp_path, "alder", "alder.h5", "alder_vehicle.toml")
    _programme(tmp_path, "larch", "larch.h5", "larch_vehicle.toml")
    for name in ("alder", "larch"):
        (tmp_path / f"{name}_vehicle.toml").write_text('name = "x"\n', encoding="utf-8")
    (tmp_path / "a_damaged.toml").write_text("[", encoding="utf-8")
    return tmp_path


def test_the_programme_that_lists_the_set_counts(folder: Path) -> None:
    for name in ("alder", "larch"):
        assert vehicle_beside(folder / f"{name}.h5") == folder / f"{name}_vehicle.toml"


def test_a_copy_that_none_lists_goes_with_the_first_programme(folder: Path) -> None:
    assert vehicle_beside(folder / "trial.h5") == folder / "alder_vehicle.toml"


def test_no_vehicle_where_none_is_named_or_there(folder: Path, tmp_path: Path) -> None:
    (folder / "larch_vehicle.toml").unlink()
    (folder / "alder_vehicle.toml").unlink()
    assert vehicle_beside(folder / "larch.h5") is None
    assert vehicle_beside(tmp_path / "nowhere" / "larch.h5") is None
