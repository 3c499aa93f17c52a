"""What the 42 tables of the invented demo scenario are to be, typed as data for the tests.

This is the outside truth for the sample sets: it is typed from the scenario, not taken from the
script that makes them.  Every figure is invented; nothing here was measured on a vehicle.
"""

from __future__ import annotations

from tests.samples.spec_clutch import CLUTCH
from tests.samples.spec_control import CONTROL
from tests.samples.spec_demand import DEMAND
from tests.samples.spec_driveshaft import DRIVESHAFT
from tests.samples.spec_row import R, Row

__all__ = ["ROWS", "R", "Row"]

ROWS = DEMAND + CONTROL + CLUTCH + DRIVESHAFT
"""In the order of the scenario's list."""
