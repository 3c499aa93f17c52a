# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# (numba infers the types; annotations here would say what the compiler does not read)
"""Heat: plates and oil as two nodes, the oil cooled by the air.  Import late."""

from __future__ import annotations

from calib_model.lookup.portable import inner
from calib_model.vehicle.kernel_reading import between


@inner()
def warm(p, s, n, curves, power, step):
    """Step the temperatures of plates and oil for the clutch's mean power in W over the step."""
    speed = abs(s.vx) * 3.6
    plates = between(curves.cool_speed, curves.plate_cooling, speed) * between(
        curves.cool_oil, curves.cool_factor, s.oil
    )
    housing = between(curves.cool_speed, curves.oil_cooling, speed)
    into_oil = plates * (s.plate - s.oil)
    into_air = housing * (s.oil - n.ambient_temperature)
    s.plate += step * (power - into_oil) / p.plate_capacity
    s.oil += step * (into_oil - into_air) / p.oil_capacity
