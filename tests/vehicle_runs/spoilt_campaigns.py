"""Read many spoilt campaign files in one process, as the reading process would.

A crash of the libraries that read them ends this process, which the test sees.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from calib_model.errors import DamagedFile
from calib_model.store.child import limit_resources
from calib_model.vehicle.campaign import Campaign
from calib_model.vehicle.campaign_store import _campaign_of, _raw_of, columns_of
from tests.store.worker import kept, spoilt


def same(one: Campaign, other: Campaign) -> bool:
    """Tell whether two campaigns hold the same, and both are known to be what was written."""
    first, second = columns_of(one), columns_of(other)
    return (
        one.unchecked == other.unchecked
        and one.plan.to_text() == other.plan.to_text()
        and first.keys() == second.keys()
        and all(
            np.array_equal(c, second[n], equal_nan=c.dtype.kind == "f") for n, c in first.items()
        )
    )


def outcome(data: bytes, sound: Campaign) -> str:
    """Return ``refused``, ``same`` or ``differs``."""
    try:
        raw = _raw_of(data)
    except Exception:  # the reading process answers each with "damaged"
        return "refused"
    try:
        found = _campaign_of(Path("spoilt"), *raw)
    except DamagedFile:
        return "refused"
    return "same" if same(found, sound) else "differs"


def main() -> None:
    """Arguments: file, first seed, number of cases."""
    data = Path(sys.argv[1]).read_bytes()
    first, count = int(sys.argv[2]), int(sys.argv[3])
    sound = _campaign_of(Path(sys.argv[1]), *_raw_of(data))
    kept(data)  # worked out once, before there is little memory
    limit_resources()
    for seed in range(first, first + count):
        kind = ("flip", "noise", "flip", "cut")[seed % 4]
        print(seed, outcome(spoilt(data, kind, seed), sound), flush=True)


if __name__ == "__main__":
    main()
