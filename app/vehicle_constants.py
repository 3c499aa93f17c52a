"""Which vehicle's constants the controller's torque law is given; for the window and the verbs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from calib_model.controller.constants import LARCH
from calib_model.session.programme import vehicle_beside
from calib_model.vehicle.parameters import read_vehicle

if TYPE_CHECKING:
    from calib_model.controller.constants import Constants


@dataclass(frozen=True)
class ConstantsOf:
    """The vehicle whose constants count; they are read when they are needed.

    Parameters
    ----------
    path : Path or None
        The vehicle file; None for the invented vehicle that comes with us.
    of_programme : bool
        Whether the set's programme names it, rather than a person.
    """

    path: Path | None = None
    of_programme: bool = False

    @property
    def words(self) -> str:
        """Whose constants they are."""
        if self.path is None:
            return "The vehicle's constants are those of the invented programme Larch."
        why = ", which the programme names" if self.of_programme else ""
        return f"The vehicle's constants are those of {self.path.name}{why}."

    def read(self) -> Constants:
        """Return the constants.

        Load cases have the same: the controller's software does not know the load.

        Raises
        ------
        BitepointError
            If the vehicle file cannot be used.
        """
        if self.path is None:
            return LARCH

        return read_vehicle(self.path).constants


def constants_for(chosen: Path | None, set_path: Path) -> ConstantsOf:
    """Return the vehicle that was chosen, else the one of a set's programme.

    Parameters
    ----------
    chosen : Path or None
    set_path : Path
        The set's file.
    """
    if chosen is not None:
        return ConstantsOf(chosen)

    found = vehicle_beside(set_path)
    return ConstantsOf(found, found is not None)
