"""A calibration set: tables and shared axes as one immutable value."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

from ..errors import ModelError
from ..foreign_text import plain_line
from .axis import Axis
from .record import EMPTY_RECORD, Record
from .table import Table, check_id


@dataclass(frozen=True, eq=False, slots=True)
class CalibrationSet:
    """Tables by id, shared axes by id, and what the set is.

    Parameters
    ----------
    tables : mapping or iterable of Table
        In the order to show them; ids are unique.
    shared_axes : mapping or iterable of Axis
        Axes that several tables use; each carries its id in `Axis.shared`.  A table that uses
        one holds an equal axis.
    programme, mode, base_mode : str
        The vehicle programme, this set's drive mode, and the mode that relations refer to.
    name, revision, description : str
    record : Record
        Remarks, waivers, decisions and sign-offs; not part of the content that a digest covers.

    Raises
    ------
    ModelError
        On a repeated id, or a table whose shared axis differs from the set's.
    """

    tables: Mapping[str, Table] = field(default_factory=dict)
    shared_axes: Mapping[str, Axis] = field(default_factory=dict)
    programme: str = ""
    mode: str = ""
    base_mode: str = ""
    name: str = ""
    revision: str = ""
    description: str = ""
    record: Record = EMPTY_RECORD

    def __post_init__(self) -> None:
        axes = _by_id(self.shared_axes, "shared", "shared axis")
        tables = _by_id(self.tables, "id", "table")
        for key in axes:
            check_id(key)
        for table in tables.values():
            for axis in table.axes:
                if axis.shared:
                    check_shared(table, axes)
                    break
        object.__setattr__(self, "shared_axes", MappingProxyType(axes))
        object.__setattr__(self, "tables", MappingProxyType(tables))

    @property
    def is_base(self) -> bool:
        """Whether this is the set that the other modes' relations refer to."""
        return self.mode == self.base_mode

    @property
    def called(self) -> str:
        """What the set calls itself, to the last character; `label` is what to show."""
        return self.name or " ".join(filter(None, (self.programme, self.mode))) or "Untitled set"

    @property
    def label(self) -> str:
        """Name to show, in one line."""
        return plain_line(self.called)

    def __getitem__(self, id: str) -> Table:
        try:
            return self.tables[id]
        except KeyError:
            raise ModelError(
                f"The set has no table {id!r}.", "Check the id; `bitepoint show SET` lists them."
            ) from None

    def __iter__(self) -> Iterator[Table]:
        return iter(self.tables.values())

    def __len__(self) -> int:
        return len(self.tables)

    def __contains__(self, id: object) -> bool:
        return id in self.tables

    def users_of(self, axis_id: str) -> tuple[Table, ...]:
        """Return the tables that use a shared axis."""
        return tuple(t for t in self if any(a.shared == axis_id for a in t.axes))

    def by_role(self, role: str) -> Table | None:
        """Return the table that plays a part of the controller; None if none or several do."""
        found = [t for t in self if t.role == role]
        return found[0] if len(found) == 1 else None

    def replaced(
        self,
        tables: Mapping[str, Table | None],
        shared_axes: Mapping[str, Axis | None] | None = None,
        order: tuple[str, ...] | None = None,
        **about: Any,
    ) -> CalibrationSet:
        """Return the set with some tables or shared axes exchanged, added or (None) removed.

        Everything else is shared with this set.  Only what changes is checked again, so one
        edit costs one copy of the table index.
        """
        new_tables = _copied(self.tables)
        _exchange(new_tables, tables)
        if order is not None:
            new_tables = {key: new_tables[key] for key in order}
        new_axes: Mapping[str, Axis] = self.shared_axes
        if shared_axes:
            changed_axes = _copied(self.shared_axes)
            _exchange(changed_axes, shared_axes)
            new_axes = MappingProxyType(changed_axes)
            for table in new_tables.values():
                check_shared(table, new_axes)
        else:
            for table in tables.values():
                if table is not None:
                    check_shared(table, new_axes)
        new = object.__new__(CalibrationSet)
        for part in fields(self):
            object.__setattr__(new, part.name, about.get(part.name, getattr(self, part.name)))
        object.__setattr__(new, "tables", MappingProxyType(new_tables))
        object.__setattr__(new, "shared_axes", new_axes)
        return new

    def with_table(self, table: Table) -> CalibrationSet:
        """Return the set with one table exchanged or added."""
        return self.replaced({table.id: table})

    def described(self, **about: Any) -> CalibrationSet:
        """Return the set with other text fields (`name`, `mode`, ...)."""
        return replace(self, **about)

    def with_record(self, record: Record) -> CalibrationSet:
        """Return the set with another record; the content is shared."""
        return self.replaced({}, record=record)

    def about(self) -> dict[str, str]:
        """Return the text fields."""
        return {
            key: getattr(self, key)
            for key in ("programme", "mode", "base_mode", "name", "revision", "description")
        }

    def __eq__(self, other: object) -> bool:
        if self is other:
            return True
        if not isinstance(other, CalibrationSet):
            return NotImplemented
        return (
            self.about() == other.about()
            and self.record == other.record
            and list(self.tables) == list(other.tables)
            and all(a == b for a, b in zip(self, other, strict=True))
            and dict(self.shared_axes) == dict(other.shared_axes)
        )

    def __hash__(self) -> int:
        return hash((tuple(self.tables), tuple(self.about().values())))

    def __reduce__(self) -> tuple[Any, ...]:
        return (
            CalibrationSet,
            (dict(self.tables), dict(self.shared_axes), *self.about().values(), self.record),
        )

    def _repr_html_(self) -> str:
        from ..reports.notebook import set_html

        return set_html(self)


def _copied(index: Mapping[str, Any]) -> dict[str, Any]:
    # dict(proxy) walks the proxy item by item: twenty times slower than the dict's own copy.
    return index.copy() if isinstance(index, MappingProxyType) else dict(index)


def _exchange(index: dict[str, Any], changes: Mapping[str, Any]) -> None:
    for key, value in changes.items():
        if value is None:
            index.pop(key, None)
        else:
            index[key] = value


def _by_id(given: Mapping[str, Any] | Iterable[Any], attribute: str, what: str) -> dict[str, Any]:
    items = list(given.values() if isinstance(given, Mapping) else given)
    index = {getattr(item, attribute): item for item in items}
    if len(index) != len(items):
        seen: set[str] = set()
        for item in items:
            key = getattr(item, attribute)
            if key in seen:
                raise ModelError(f"The set has two of {what} {key!r}.", "Give each its own id.")
            seen.add(key)
    return index


def check_shared(table: Table, axes: Mapping[str, Axis]) -> None:
    """Raise ModelError if a table's shared axis is not the set's."""
    for axis in table.axes:
        if axis.shared and axes.get(axis.shared) != axis:
            raise ModelError(
                f"Table {table.id} uses shared axis {axis.shared!r}, but the set's differs "
                "or is missing.",
                "Change the shared axis in all its tables, or detach this table from it.",
            )
