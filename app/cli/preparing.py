"""A line on standard error before the very first use of compiled code, which takes its time."""

from __future__ import annotations

import sys

from calib_model.lookup.compiled import available

WORDS = "Preparing compiled code, once; takes about half a minute."
LAW = ("calib_model.controller.kernel", "run_ticks")
VEHICLE = ("calib_model.vehicle.kernel", "run")
RESULT = ("calib_model.evidence.result_kernel", "settle")
"""Modules of compiled code, each with the function that is compiled last."""


def say_if_it_takes_long(*needed: tuple[str, str]) -> None:
    """Say so if a module that is needed has to be compiled first.

    Standard output is kept for the answer.
    """
    wanted = [one for one in needed if one[0] not in sys.modules]
    if not wanted or not available():
        return  # without a compiler all is slow, and nothing is prepared
    try:
        from calib_model.lookup.jit import is_cached
    except ImportError:  # found, but not able to run here
        return
    if not all(is_cached(module, function) for module, function in wanted):
        print(WORDS, file=sys.stderr, flush=True)
