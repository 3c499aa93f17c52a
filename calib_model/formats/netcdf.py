"""NetCDF-4: a variable per table over named dimensions (`calib_model.exchange.netcdf`)."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..bringing.understanding import set_of
from ..exchange.netcdf import write_netcdf
from .registry import Format, Part

if TYPE_CHECKING:
    from ..core.calibration_set import CalibrationSet
    from .outgoing import Outgoing


def write(outgoing: Outgoing, path: Path) -> None:
    """Write the set; a mark is an attribute."""
    write_netcdf(outgoing.content, path, outgoing.status)


def read(path: Path) -> CalibrationSet:
    """Read a NetCDF-4 file back, this or another; refuses what is doubtful."""
    return set_of([path])


FORMAT = Format(
    "netcdf",
    "NetCDF",
    "NetCDF-4 with named dimensions and CF units, for xarray and others",
    (".nc",),
    frozenset({Part.VALUES, Part.RULES, Part.NAME, Part.DESCRIPTION}),
    write,
    read,
)
