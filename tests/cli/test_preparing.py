"""A line on standard error before the very first use, and none where the cache is filled."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

import pytest

from app.cli import preparing
from calib_model.lookup.jit import cache_folder, is_cached

pytestmark = pytest.mark.timeout(400)  # the first test may have to compile the law


@pytest.fixture
def cold_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty cache, in a process that has none of the compiled modules yet."""
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    for module, _ in (preparing.LAW, preparing.VEHICLE, preparing.RESULT):
        monkeypatch.delitem(sys.modules, module, raising=False)
    return tmp_path


def test_numbas_files_are_recognised() -> None:
    for module, _ in (preparing.LAW, preparing.RESULT):
        importlib.import_module(module)
    for module, function in (preparing.LAW, preparing.RESULT):
        assert is_cached(module, function)
        assert not is_cached(module, f"{function}s")
    assert hasattr(importlib.import_module(preparing.VEHICLE[0]), preparing.VEHICLE[1])


def test_one_line_on_standard_error_while_it_is_cold(
    cold_cache: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    preparing.say_if_it_takes_long(preparing.LAW, preparing.VEHICLE)
    out, err = capsys.readouterr()
    assert (out, err) == ("", f"{preparing.WORDS}\n")
    for module, function in (preparing.LAW, preparing.VEHICLE):
        _, package, name = module.split(".")
        folder = cache_folder() / f"{package}_0"
        folder.mkdir(parents=True, exist_ok=True)
        assert cold_cache in folder.parents
        (folder / f"{name}.{function}-1.py311.nbi").touch()
    preparing.say_if_it_takes_long(preparing.LAW, preparing.VEHICLE)
    preparing.say_if_it_takes_long()
    assert capsys.readouterr() == ("", "")
    preparing.say_if_it_takes_long(preparing.RESULT)
    assert capsys.readouterr().err == f"{preparing.WORDS}\n"
