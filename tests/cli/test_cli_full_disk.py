"""A disk that fills up while a verb writes: the older file stays, nothing half stands in the way.

A limit on the size of files stands for the full disk (setrlimit(2), RLIMIT_FSIZE; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SETS = ROOT / "sample_sets"
SIGNED, LOW_GRIP = SETS / "larch_normal_signed.h5", SETS / "larch_low_grip.h5"
Run = Callable[..., tuple[int, str, str]]


@contextmanager
def full_disk() -> Iterator[None]:
    """Let no file grow beyond 1,500 bytes."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1500, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_an_older_report_stays(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    order = ("compare", SIGNED, LOW_GRIP, "--to", "html", out)
    assert run(*order)[0] == 1
    older = out.read_bytes()
    with full_disk():
        status, _, error = run(*order)
    assert status == 2
    assert out.read_bytes() == older
    assert "could not be written" in error
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == ["report.html"]


@pytest.mark.parametrize(
    ("verb", "out", "more"),
    [("export", "signed", ("--to", "signoff")), ("rules", "sheet.toml", ("-o",))],
)
def test_what_failed_can_be_tried_again(
    run: Run, tmp_path: Path, verb: str, out: str, more: tuple[str, ...]
) -> None:
    order = (verb, SIGNED, *more, tmp_path / out)
    with full_disk():
        status, _, error = run(*order)
    assert status == 2
    assert not [p for p in tmp_path.iterdir() if out in p.name]
    assert "could not be written" in error
    assert run(*order)[0] == 0
    assert [p for p in tmp_path.iterdir() if out in p.name]
