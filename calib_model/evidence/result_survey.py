"""The mode relation of the resulting torque over a fixed handful of pictures.

A look from several sides, for a check without a screen.  It proves nothing about points and
values that no picture shows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from calib_model.controller.binding import bind
from calib_model.controller.constants import Constants
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import with_unit
from calib_model.evidence.result import Ask, resulting
from calib_model.evidence.result_inputs import LABELS, UNITS, choices
from calib_model.evidence.result_relation import RelationCheck, check_relation, torque_relation

PICTURES: tuple[Ask, ...] = (
    Ask("pedal", "ambient_temperature", {"vehicle_speed": 0.0}),
    Ask("pedal", "vehicle_speed"),
    Ask("pedal", "grade", {"vehicle_speed": 3.0}),
    Ask("steering_angle", "vehicle_speed", {"pedal": 60.0}),
    Ask("lateral_acceleration_abs", "vehicle_speed", {"pedal": 60.0}),
    Ask("front_slip", "vehicle_speed"),
)
"""What is looked at; inputs not named stand where the window has them at first."""


@dataclass(frozen=True, eq=False)
class Looked:
    """One picture and what came of it."""

    ask: Ask
    check: RelationCheck

    @property
    def title(self) -> str:
        """Say what the picture shows, such as ``Grade over accelerator pedal, at ...``."""
        ask = self.ask
        x = LABELS[ask.x][:1].lower() + LABELS[ask.x][1:]
        text = f"{LABELS[ask.y]} over {x}"
        at = [f"{LABELS[n].lower()} {with_unit(v, UNITS[n])}" for n, v in ask.at.items()]
        return f"{text}, at {', '.join(at)}" if at else text


def survey(first: CalibrationSet, second: CalibrationSet, constants: Constants) -> Iterator[Looked]:
    """Hold the relation between the resulting torques of two sets against each picture.

    Pictures over inputs that the sets do not read are left out.
    """
    relation = torque_relation(first, second)
    laws = [bind(content, constants) for content in (first, second)]
    points = {choice.name: choice.points for choice in choices(laws)}
    for ask in PICTURES:
        if {ask.x, ask.y} <= set(points):
            told = [resulting(law, ask, points[ask.x], points[ask.y]) for law in laws]
            yield Looked(ask, check_relation(told[0], told[1], relation))
