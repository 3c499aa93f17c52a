"""NetCDF-4: a variable per table over named dimensions (`calib_model.exchange.netcdf`)."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..exchange.netcdf import write_netcdf
from .registry import Format, Part

if TYPE_CHECKING:
    from .outgoing import Outgoing


def write(outgoing: Outgoing, path: Path) -> None:
    """Write the set; a mark is an attribute."""
    write_netcdf(outgoing.content, path, outgoing.status)


FORMAT = Format(
    "netcdf",
    "NetCDF",
    "NetCDF-4 with named dimensions and CF units, for xarray and others",
    (".nc",),
    frozenset({Part.VALUES, Part.RULES, Part.NAME, Part.DESCRIPTION}),
    write,
)
