"""One calibration table: a scalar, a curve, a map, or one with three or four axes."""

from __future__ import annotations

import re
import string
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from ..errors import ModelError
from ..foreign_text import plain_line
from .arrays import FloatArray, frozen, same_values
from .axis import Axis
from .in_bulk import filled, setters
from .labels import NO_LABELS, Labels
from .numbers import exact, short, with_unit
from .storage import FLOAT64, Storage

if TYPE_CHECKING:
    import pandas as pd
    import xarray

    from .rule import Rule

MAX_AXES = 4
KINDS = ("scalar", "curve", "map", "3-axis map", "4-axis map")
RELATIONS = frozenset({">=", "<=", "==", "free", "zero"})
"""What may be said of a table in another drive mode, see `Table`."""
NO_RELATIONS: Mapping[str, str] = MappingProxyType({})
_MOST = 200
_SIGNS = string.ascii_letters + string.digits + "_.[]"
_ID = re.compile(f"[{re.escape(_SIGNS)}]{{1,{_MOST}}}")
_NOTHING = str.maketrans("", "", _SIGNS)


@dataclass(frozen=True, eq=False, slots=True, weakref_slot=True)
class Table:
    """A table: values over zero to four axes, with everything that gives them meaning.

    Parameters
    ----------
    id : str
        Permanent ASCII id (letters, digits, ``_ . [ ]``), by which sets are matched.
    values : array_like of float, shape (len(axes[0]), len(axes[1]), ...)
        Physical values; NaN marks a cell that is not filled yet.
    axes : tuple of Axis
        The first axis runs down the rows, the second along the columns.
    name, description : str
    unit : str
    function : str
        Function group the table belongs to.
    lower, upper : float
        Limits of the values, in `unit`.
    storage : Storage
    role : str
        The part of the controller it plays (`calib_model.core.roles`); empty if unbound.
    relations : mapping of mode to str
        What must hold in another drive mode, read mode-to-base: one of
        ``>= <= == free zero`` (``==``: same as the base set, ``zero``: all zero in that mode).
    rules : tuple of Rule
    labels : Labels, or what `Labels.of` takes
        Names of values that stand for states (no, yes).

    Raises
    ------
    ModelError
        If the id is not allowed, the values' shape does not fit the axes, a limit is not a
        number, or a relation is none of those above.
    """

    id: str
    values: FloatArray
    axes: tuple[Axis, ...] = ()
    name: str = ""
    unit: str = "-"
    function: str = ""
    description: str = ""
    lower: float = -np.inf
    upper: float = np.inf
    storage: Storage = FLOAT64
    role: str = ""
    relations: Mapping[str, str] = field(default_factory=lambda: NO_RELATIONS)
    rules: tuple[Rule, ...] = ()
    labels: Labels = NO_LABELS

    def __post_init__(self) -> None:
        check_id(self.id)
        if type(self.labels) is not Labels:
            object.__setattr__(self, "labels", Labels.of(self.labels))
        values = frozen(self.values)
        object.__setattr__(self, "values", values)
        if type(self.axes) is not tuple:
            object.__setattr__(self, "axes", tuple(self.axes))
        if type(self.rules) is not tuple:
            object.__setattr__(self, "rules", tuple(self.rules))
        if type(self.relations) is not MappingProxyType:
            object.__setattr__(self, "relations", MappingProxyType(dict(self.relations)))
        if self.lower != self.lower or self.upper != self.upper:
            raise ModelError(
                f"A limit of table {self.id} is not a number.", "Leave it out for no limit."
            )
        if self.relations and not RELATIONS.issuperset(self.relations.values()):
            wrong = next(r for r in self.relations.values() if r not in RELATIONS)
            raise ModelError(
                f"{wrong!r} is no relation of table {self.id} to the base mode.",
                f"Use one of {', '.join(sorted(RELATIONS))}.",
            )
        shape = tuple([axis.values.size for axis in self.axes])
        if len(shape) > MAX_AXES:
            raise ModelError(f"Table {self.id} has {len(shape)} axes; at most {MAX_AXES} are read.")
        if values.shape != shape:
            raise ModelError(
                f"Table {self.id} has values of shape {values.shape}, but its axes have "
                f"{shape} breakpoints.",
                "Give one value for every combination of breakpoints.",
            )

    @classmethod
    def of_checked(cls, *columns: Sequence[Any]) -> list[Table]:
        """Return tables of parts that nobody looks at here, a column for each parameter in order.

        For a reader that has checked what `Table` checks, and made arrays read-only and -0 to 0,
        for all tables of a file at once: at 30,000 of them the checks one by one take longer than
        everything else.
        """
        return filled(cls, _PUT, columns)

    @property
    def kind(self) -> str:
        """Scalar, curve, map, 3-axis map or 4-axis map."""
        return KINDS[self.values.ndim]

    @property
    def label(self) -> str:
        """Name to show, in one line: the name, or else the id."""
        return plain_line(self.name or self.id)

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of breakpoints per axis."""
        return self.values.shape

    @property
    def span(self) -> float:
        """Size of the range a value may take: the limits where both are finite, else the data."""
        if np.isfinite(self.lower) and np.isfinite(self.upper) and self.upper > self.lower:
            return float(self.upper - self.lower)
        finite = self.values[np.isfinite(self.values)]
        return float(finite.max() - finite.min()) if finite.size else 0.0

    @property
    def rules_in_force(self) -> tuple[Rule, ...]:
        """The rules that are not turned off."""
        if any(rule.off for rule in self.rules):
            return tuple(rule for rule in self.rules if not rule.off)
        return self.rules

    def axis_of(self, quantity: str) -> int:
        """Return the number of the axis that reads `quantity`, or -1."""
        for number, axis in enumerate(self.axes):
            if axis.quantity == quantity:
                return number
        return -1

    def coordinates(self, cell: tuple[int, ...]) -> tuple[float, ...]:
        """Axis values at a cell."""
        return tuple(float(a.values[i]) for a, i in zip(self.axes, cell, strict=True))

    def said(self, value: float, digits: int = 6) -> str:
        """Return a value of this table for reading: its label, else number and unit."""
        return self.labels.name(value) or with_unit(value, self.unit, digits)

    def said_short(self, value: float, digits: int = 6) -> str:
        """Return a value of this table without its unit."""
        return self.labels.name(value) or short(value, digits)

    def said_exactly(self, value: float) -> str:
        """Return a value so that it reads back: its label, else all digits; ``empty`` for NaN."""
        if value != value:
            return "empty"
        return self.labels.name(value) or exact(value)

    def with_values(self, values: Any) -> Table:
        """Return the same table with other values of the same shape."""
        return replace(self, values=values)

    def with_axis(self, number: int, axis: Axis, values: Any) -> Table:
        """Return the table with one axis exchanged and values to fit."""
        axes = (*self.axes[:number], axis, *self.axes[number + 1 :])
        return replace(self, axes=axes, values=values)

    def to_xarray(self) -> xarray.DataArray:
        """Return the table as an `xarray.DataArray`, where xarray is installed.

        Dimensions are called by what the axes read, coordinates hold the breakpoints; units,
        names, limits, storage and role are attributes.  Rules, relations and labels are not in
        it.

        Raises
        ------
        ModelError
            If xarray is not installed.

        Examples
        --------
        >>> axis = Axis([0.0, 50.0], name="Speed", unit="km/h", quantity="vehicle_speed")
        >>> array = Table("fade", [1.0, 0.5], (axis,)).to_xarray()
        >>> array.dims, float(array.sel(vehicle_speed=50.0))
        (('vehicle_speed',), 0.5)
        >>> Table.from_xarray(array * 2).values.tolist()
        [2.0, 1.0]
        """
        from .frames import to_xarray  # noqa: PLC0415  # it knows tables

        return cast("xarray.DataArray", to_xarray(self))

    @classmethod
    def from_xarray(cls, array: xarray.DataArray, id: str = "") -> Table:
        """Return an `xarray.DataArray` with coordinates as a table.

        Parameters
        ----------
        array : xarray.DataArray
            Of numbers; `to_xarray` says which attributes count.
        id : str
            By default the array's name.

        Raises
        ------
        ModelError
            If a dimension has no coordinates, or an attribute cannot be.
        """
        from .frames import from_xarray  # noqa: PLC0415  # it knows tables

        return from_xarray(array, id)

    def to_pandas(self) -> pd.Series[float] | pd.DataFrame:
        """Return the table as pandas holds it best, where pandas is installed.

        A scalar or curve is a `pandas.Series`, a map a `pandas.DataFrame` with its first axis down
        the rows, and a table of more axes a Series over all of them.

        Raises
        ------
        ModelError
            If pandas is not installed.

        Examples
        --------
        >>> axis = Axis([0.0, 50.0], name="Speed", unit="km/h")
        >>> Table("fade", [1.0, 0.5], (axis,)).to_pandas().to_dict()
        {0.0: 1.0, 50.0: 0.5}
        """
        from .frames import to_pandas  # noqa: PLC0415  # it knows tables

        return cast("pd.Series[float] | pd.DataFrame", to_pandas(self))

    def __eq__(self, other: object) -> bool:
        if self is other:
            return True
        if not isinstance(other, Table):
            return NotImplemented
        return (
            self.id == other.id
            and same_values(self.values, other.values)
            and self.axes == other.axes
            and self.settings() == other.settings()
        )

    def __hash__(self) -> int:
        return hash((self.id, self.values.tobytes()))

    def settings(self) -> tuple[Any, ...]:
        """Everything but id, values and axes, comparable."""
        return (
            self.name,
            self.unit,
            self.function,
            self.description,
            self.lower,
            self.upper,
            self.storage,
            self.role,
            dict(self.relations),
            self.labels,
            self.rules,
        )

    def __reduce__(self) -> tuple[Any, ...]:
        # A mapping proxy does not pickle; the constructor wraps the plain dict again.
        named = {f.name: getattr(self, f.name) for f in fields(self)}
        named["relations"] = dict(self.relations)
        return (_rebuild, (named,))

    def _repr_html_(self) -> str:
        from ..reports.notebook import table_html

        return table_html(self)


_PUT = setters(Table)


def _rebuild(named: dict[str, Any]) -> Table:
    return Table(**named)


def are_ids(texts: Sequence[str]) -> bool:
    """Whether every text may be the id of a table or shared axis; fast for many."""
    joined = "".join(texts)
    return (
        joined.isascii()
        and not joined.translate(_NOTHING)
        and all(texts)
        and len(max(texts, key=len, default="")) <= _MOST
    )


def check_id(text: str) -> None:
    """Raise ModelError unless `text` may be the id of a table or shared axis."""
    if not _ID.fullmatch(text):
        raise ModelError(
            f"{text[:60]!r} cannot be an id.",
            "Use up to 200 ASCII letters, digits and the signs _ . [ ]",
        )
