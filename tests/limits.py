"""The instruction sets a machine has, taken away: `python tests/limits.py` tells whether it worked.

Elementary functions of numpy and of the C library, compiled code and BLAS choose at start what the
processor can do, and differ in the last bits between one choice and another.  `environment` names
what limits each of them; `python3 tests/run.py --limited` runs the tests that feel it so.

Each limit is looked for where it acts: numpy only warns of a feature it does not know, and the
others say nothing at all.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import platform
import random
import subprocess
import sys
from collections.abc import Callable
from functools import cache

CORE = "Nehalem"  # of OpenBLAS's cores for x86-64 an old one: SSE 4.2 at most


def environment() -> dict[str, str]:
    """Return the variables that limit a process and its children."""
    from numpy._core import _multiarray_umath as umath

    return {
        "NPY_DISABLE_CPU_FEATURES": " ".join(umath.__cpu_dispatch__),
        "GLIBC_TUNABLES": "glibc.cpu.hwcaps=-AVX2,-FMA",
        "NUMBA_CPU_NAME": "generic",
        "NUMBA_CPU_FEATURES": "",
        "OPENBLAS_CORETYPE": CORE,
    }


def numpy_says() -> str:
    """Return what numpy still dispatches to, or nothing."""
    from numpy._core import _multiarray_umath as umath

    return " ".join(name for name in umath.__cpu_dispatch__ if umath.__cpu_features__[name])


def processor_says() -> str:
    """Return the features that numpy finds in the processor."""
    from numpy._core import _multiarray_umath as umath

    return " ".join(name for name, there in umath.__cpu_features__.items() if there)


def c_library_says() -> str:
    """Return a short hash of what elementary functions of the C library give."""
    numbers = random.Random(1)
    digest = hashlib.sha256()
    for _ in range(2000):
        x = numbers.uniform(0.01, 0.99)
        found = (math.sin(x), math.exp(x), math.log(x), math.atan(x), math.pow(x, 2.37))
        digest.update(repr(found).encode())
    return digest.hexdigest()[:12]


def numba_says() -> str:
    """Return the processor that numba compiles for, with its features."""
    from numba.core.registry import cpu_target

    _, name, features = cpu_target.target_context.codegen().magic_tuple()
    return f"{name} {features}".strip()


def blas_says() -> str:
    """Return the cores that the OpenBLAS of numpy and that of scipy work for."""
    import scipy.linalg  # brings the second one
    from threadpoolctl import threadpool_info

    assert scipy.linalg
    found = [one for one in threadpool_info() if one["internal_api"] == "openblas"]
    return " ".join(one["architecture"] for one in found)


SAY: dict[str, Callable[[], str]] = {
    "processor": processor_says,
    "numpy": numpy_says,
    "C library": c_library_says,
    "numba": numba_says,
    "OpenBLAS": blas_says,
}


def said(limits: dict[str, str]) -> dict[str, str]:
    """Return what each of `SAY` says in a process of its own with the given variables."""
    free = {name: value for name, value in os.environ.items() if name not in environment()}
    ran = subprocess.run(
        [sys.executable, __file__, "--say"],
        env={**free, **limits},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    found = json.loads(ran.stdout)
    assert isinstance(found, dict)
    return found


@cache
def without_limits() -> dict[str, str]:
    """Return what each says on this machine as it is."""
    return said({})


def not_in_effect(limits: dict[str, str]) -> list[str]:
    """Return a line for each limit that did not take hold; none where all did."""
    limited = said(limits)
    expected = {"numpy": "", "numba": "generic", "OpenBLAS": f"{CORE} {CORE}"}
    lines = [
        f"{name} was to be limited to {want!r} and says {limited[name]!r}"
        for name, want in expected.items()
        if limited[name] != want
    ]
    free = without_limits()
    # A processor without the instructions gives the limited answers anyhow.
    if "FMA3" in free["processor"].split() and free["C library"] == limited["C library"]:
        lines.append("C library: elementary functions are the same with the limit as without")
    return lines


def main(arguments: list[str]) -> int:
    """Print the variables, or why they do not limit; returns an exit status."""
    if arguments == ["--say"]:
        print(json.dumps({name: say() for name, say in SAY.items()}))
        return 0
    if not sys.platform.startswith("linux") or platform.machine() != "x86_64":
        print("Only on Linux with an x86-64 processor is it known how to limit all of it.")
        return 2
    limits = environment()
    lines = not_in_effect(limits)
    if lines:
        print("\n".join(lines), file=sys.stderr)
        return 1
    print(json.dumps(limits))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
