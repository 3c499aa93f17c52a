"""A reading process whose copy never answers, for `test_store_copies.py`."""

from __future__ import annotations

import os
import time

from calib_model.store.message import pack_header


def main() -> None:
    """Say the copy's number, then sleep, both."""
    copy = os.fork()
    if copy:
        os.write(1, pack_header({"copy": copy}))
    time.sleep(60)
