"""The invented van Larch: the figures that its tables are argued from.

Every figure is a made-up one of the demo scenario; none was measured on a vehicle.
"""

from __future__ import annotations

PROGRAMME = "Larch"
BASE = "normal"
MODES = ("normal", "low_grip", "towing")

MASS = 1700.0  # kg
GRAVITY = 9.81  # m/s2
FRONT_TO_CENTRE = 1.134  # m, front axle to centre of gravity
WHEELBASE = 2.7  # m
CENTRE_HEIGHT = 0.62  # m
WHEEL_RADIUS = 0.335  # m
REAR_RATIO = 2.6  # rear drive: shaft turns per wheel turn
STEERING_RATIO = 15.0  # steering wheel angle per road wheel angle

FACES = 12  # friction faces of the clutch
FRICTION = 0.12
MEAN_RADIUS = 0.055  # m, mean of 62 and 48 mm (uniform wear)
CLAMP_MOST = 12000.0  # N, what the actuator can press

REAR_SHARE = FRONT_TO_CENTRE / WHEELBASE
"""Share of the weight on the rear axle at rest: 0.42."""

TORQUE_PER_CLAMP = FACES * FRICTION * MEAN_RADIUS
"""N.m at the clutch per newton of clamp: 0.0792."""

CLUTCH_PER_FORCE = WHEEL_RADIUS / REAR_RATIO
"""N.m at the clutch per newton of rear thrust: 0.129."""

SHAFT_PER_SLIP = REAR_RATIO / (3.6 * WHEEL_RADIUS)
"""rad/s at the shaft per km/h at the tyre: 2.16."""
