"""Compile all that is compiled, part by part: ``python -m app.warm_cache``.

For set-up and the tests, which run it as a process; each part is told on standard output.
"""

from __future__ import annotations

import sys
from importlib import import_module

from app.driving.model import warm_up
from calib_model.lookup import compiled


def _simulation() -> None:
    warm_up()


def main() -> int:
    """Fill the cache; returns an exit status."""
    if not compiled.available():
        print("without numba nothing is compiled, and the simulation is not to be had")
        return 0
    # What takes long is compiled on import, in parts that take some seconds each.
    parts = {
        "the lookup": compiled.load,
        "the fit": lambda: import_module("calib_model.shaping.assembly_kernels"),
        "the torque law": lambda: import_module("calib_model.controller.kernel"),
        "the resulting torque": lambda: import_module("calib_model.evidence.result_kernel"),
        "the vehicle": _simulation,
    }
    for number, (name, compile_part) in enumerate(parts.items(), 1):
        print(f"compiling {number} of {len(parts)}: {name}", flush=True)
        compile_part()
    return 0


if __name__ == "__main__":
    sys.exit(main())
