"""The limits that `tests/run.py --limited` sets do take hold, and one that does not is noticed."""

from __future__ import annotations

import platform
import sys

import pytest

from tests import limits

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux") or platform.machine() != "x86_64",
    reason="only on Linux with an x86-64 processor is it known how to limit all of it",
)


def test_every_limit_takes_hold() -> None:
    assert limits.not_in_effect(limits.environment()) == []


def test_a_limit_that_does_not_take_hold_is_named() -> None:
    # Names of other versions of numpy and of the C library, a target and a core there are not.
    wrong = {
        "NPY_DISABLE_CPU_FEATURES": "AVX512_EVERYTHING",
        "GLIBC_TUNABLES": "glibc.cpu.hwcaps=-AVX2_Usable,-FMA_Usable",
        "NUMBA_CPU_FEATURES": "+sse4.2",
        "OPENBLAS_CORETYPE": "Larch",
    }
    lines = limits.not_in_effect(wrong)
    features = limits.without_limits()["processor"].split()
    named = [name for name in ("numpy", "numba", "OpenBLAS", "C library") if name in str(lines)]
    if "FMA3" in features:
        assert named == ["numpy", "numba", "OpenBLAS", "C library"]
    else:  # what the processor does not have cannot be left on
        assert {"numba", "OpenBLAS"} <= set(named)
