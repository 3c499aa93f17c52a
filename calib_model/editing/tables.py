"""Tables made, copied, renamed, named and removed.

Each function returns a `Change` that can be undone; its note says what follows from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.labels import YES_NO, Given, Labels
from ..core.storage import Storage
from ..core.table import MAX_AXES, Table, check_id
from ..errors import EditRefused, ModelError
from ..rules.limits import Locked
from .change import Change, SharedAxisEdit, TableEdit, table_change
from .change import add_table as added
from .change import remove_table as removed
from .consequences import readers_of, with_consequences
from .record_moves import moved_items
from .rule_moves import renamed

YES_NO_STORAGE = Storage("uint8")


def new_table(
    id: str,
    axes: Sequence[Axis] = (),
    fill: npt.ArrayLike = np.nan,
    *,
    yes_no: bool = False,
    **settings: object,
) -> Table:
    """Make a table from scratch: a scalar, a curve, a map, or one with three or four axes.

    Parameters
    ----------
    id : str
    axes : sequence of Axis
    fill : array_like
        One value for all cells, or an array of the table's shape; empty cells by default.
    yes_no : bool
        Its values are 0 for no and 1 for yes, and are shown so.
    **settings
        Any other field of `Table`: ``name``, ``unit``, ``function``, ``lower``, ``storage``, ...

    Raises
    ------
    EditRefused
        If an axis does not rise, two axes read the same, there are more than four, or the values
        do not fit.
    ModelError
        If the id or a setting cannot be used.

    Examples
    --------
    >>> from calib_model.core.axis import Axis
    >>> pedal = Axis([0, 50, 100], "Pedal", "%", "pedal")
    >>> new_table("creep_torque", [pedal], 0.0, unit="N.m").kind
    'curve'
    >>> new_table("creep_allowed", yes_no=True, fill=1).labels.names
    ('no', 'yes')
    """
    if len(axes) > MAX_AXES:
        raise EditRefused(
            f"A table has at most {MAX_AXES} axes, not {len(axes)}.", "Leave some out."
        )
    for axis in axes:
        if not axis.ordered:
            raise EditRefused(
                f"Breakpoints of {axis.label.lower()} do not rise strictly.", "Put them in order."
            )
    reads = [axis.quantity or axis.name for axis in axes]
    for text in reads:
        if text and reads.count(text) > 1:
            raise EditRefused(f"Two axes of {id} read {text!r}.", "Let each read another input.")
    if yes_no:
        settings = {
            "unit": "0/1", "lower": 0.0, "upper": 1.0, "storage": YES_NO_STORAGE, "labels": YES_NO,
            **settings,
        }  # fmt: skip
    shape = tuple(len(axis) for axis in axes)
    try:
        values = np.array(np.broadcast_to(np.asarray(fill, dtype=np.float64), shape))
    except (TypeError, ValueError):
        raise EditRefused(
            f"The values given for {id} do not fit its shape {shape}.",
            "Give one value for every combination of breakpoints, or one for all.",
        ) from None
    return Table(id, values, tuple(axes), **settings)  # type: ignore[arg-type]


def add_table(content: CalibrationSet, table: Table, position: int = -1) -> Change:
    """Add a table; shared axes it names and the set lacks come along.

    Raises
    ------
    EditRefused
        If the id is taken, or a shared axis of that id is another one.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> creep = cm.new_table("creep_torque", [cm.axis("pedal: 0 50 100")], 0, unit="N.m")
    >>> len(cm.edit(content, cm.add_table(content, creep))) - len(content)
    1
    """
    change = added(content, table, position)
    axes = []
    for axis in table.axes:
        if not axis.shared:
            continue
        known = content.shared_axes.get(axis.shared)
        if known is None:
            axes.append(SharedAxisEdit(axis.shared, None, axis))
        elif known != axis:
            raise EditRefused(
                f"Shared axis {axis.shared!r} has other breakpoints or settings in this set.",
                "Take the set's own axis, or give the table one of its own.",
            )
    return with_consequences(content, replace(change, edits=(*axes, *change.edits)))


def like_table(
    content: CalibrationSet, source: str, id: str, name: str = "", fill: float = np.nan
) -> Change:
    """Add a table like another: its axes, unit, storage, limits and rules, with other values.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> more = cm.edit(content, cm.like_table(content, "hill_torque", "kerb_torque", fill=0))
    >>> more["kerb_torque"].axes == content["hill_torque"].axes
    True
    """
    table = content[source]
    rules = tuple(rule for rule in table.rules if not isinstance(rule, Locked))
    new = replace(_copy(table, id, name), values=np.full(table.shape, fill), rules=rules)
    return _add_copy(content, table, new, f"Add {new.label} like {table.label}")


def duplicate_table(content: CalibrationSet, source: str, id: str, name: str = "") -> Change:
    """Add a copy of a table, values and rules included; the role stays with the first.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> change = cm.duplicate_table(content, "hill_torque", "kerb_torque", "Kerb torque")
    >>> print(change.note)
    The part 'hill_torque' of the controller stays with hill_torque.
    """
    table = content[source]
    new = _copy(table, id, name)
    return _add_copy(content, table, new, f"Duplicate {table.label} as {new.label}")


def _copy(table: Table, id: str, name: str) -> Table:
    _check(id)
    said = name or (f"{table.name} (copy)" if table.name else "")
    return replace(table, id=id, name=said, role="")


def _add_copy(content: CalibrationSet, table: Table, new: Table, title: str) -> Change:
    place = list(content.tables).index(table.id) + 1
    role = f"The part {table.role!r} of the controller stays with {table.id}." if table.role else ""
    change = replace(added(content, new, place), title=title)
    return with_consequences(content, change, role)


def rename_table(
    content: CalibrationSet, id: str, new_id: str = "", name: str | None = None
) -> Change:
    """Give a table another id, another name, or both.

    Rules of other tables, and what the record says of it (remarks, waivers, complaints, drives,
    decisions, maturity), follow the id; the note says what cannot follow.

    Raises
    ------
    EditRefused
        If the id is taken or cannot be one.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> change = cm.rename_table(content, "disconnect_speed", "leave_speed")
    >>> print(change.note.partition(".")[0])
    Rules of 1 other table name it by its new id
    >>> cm.edit(content, change)["reconnect_speed"].rules[0].other
    'leave_speed'
    """
    table = content[id]
    new_id = new_id or id
    _check(new_id)
    new = replace(table, id=new_id, name=table.name if name is None else name)
    if new_id == id:
        return table_change(table, new, f"Rename {table.label} to {new.label}")
    if new_id in content:
        raise EditRefused(f"The set has a table {new_id!r} already.", "Choose another id.")
    new = replace(new, rules=tuple(renamed(rule, id, new_id) for rule in new.rules))
    place = list(content.tables).index(id)
    edits: list[TableEdit] = [TableEdit(table, None, place), TableEdit(None, new, place)]
    readers = readers_of(content, id)
    for other in readers:
        rules = tuple(renamed(rule, id, new_id) for rule in other.rules)
        edits.append(TableEdit(other, replace(other, rules=rules)))
    items, said = moved_items(content.record, id, new_id)
    if readers:
        count = f"{len(readers)} other table{'' if len(readers) == 1 else 's'}"
        said.insert(0, f"Rules of {count} name it by its new id.")
    if table.relations or not content.is_base:
        said.append(
            "Sets of other modes are matched by id: rename it there too, or its relations to them "
            "cannot be checked."
        )
    change = Change(f"Rename {id} to {new_id}", (*edits, *items))
    return with_consequences(content, change, *said)


def remove_table(content: CalibrationSet, id: str, *, with_rules: bool = False) -> Change:
    """Remove a table.

    Parameters
    ----------
    content : CalibrationSet
    id : str
    with_rules : bool
        Remove the rules of other tables that name it, too.

    Raises
    ------
    EditRefused
        If rules of other tables name it and are not to go with it; they are listed.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> change = cm.remove_table(content, "disconnect_speed", with_rules=True)
    >>> print(change.note.partition(".")[0])
    1 rule of other tables went with it
    """
    table = content[id]
    readers = readers_of(content, id)
    if readers and not with_rules:
        named = [
            f"{rule.kind.replace('_', ' ')} of {other.id}"
            for other in readers
            for rule in other.rules
            if id in rule.reads()
        ]
        raise EditRefused(
            f"Rules of other tables name {id}: {', '.join(named)}.",
            "Remove these rules first, or remove them with the table.",
        )
    edits = list(removed(content, id).edits)
    for other in readers:
        rules = tuple(rule for rule in other.rules if id not in rule.reads())
        edits.append(TableEdit(other, replace(other, rules=rules)))
    gone = sum(len(other.rules) for other in readers) - sum(
        len(e.after.rules) for e in edits[1:] if isinstance(e, TableEdit) and e.after
    )
    said = [f"{gone} rule{'' if gone == 1 else 's'} of other tables went with it."] if gone else []
    about = sum(getattr(item, "table", "") == id for item in content.record.items)
    if about:
        said.append(f"{about} item{'' if about == 1 else 's'} of the record still name it.")
    return with_consequences(content, Change(f"Remove {table.label}", tuple(edits)), *said)


def set_labels(
    content: CalibrationSet, id: str, labels: Given | Labels, axis: int | None = None
) -> Change:
    """Give names to a table's values, or to the breakpoints of one of its axes.

    A shared axis gets them in all its tables.

    Raises
    ------
    ModelError
        If a name or number is used twice, or cannot be one.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> named = cm.edit(content, cm.set_labels(content, "disconnect_allowed", "no, yes"))
    >>> named["disconnect_allowed"].said(1)
    'yes'
    """
    table, made = content[id], Labels.of(labels)
    if axis is None:
        said = _unnamed(made, table.values)
        title = f"Label the values of {table.label}"
        return replace(table_change(table, replace(table, labels=made), title), note=said)
    if not 0 <= axis < len(table.axes):
        raise EditRefused(f"{table.label} has no axis {axis + 1}.", "Choose one that it has.")
    old = table.axes[axis]
    return replaced_axis(
        content, id, axis, replace(old, labels=made), f"Label {old.label.lower()} of {table.label}",
        _unnamed(made, old.values),
    )  # fmt: skip


def replaced_axis(
    content: CalibrationSet, id: str, number: int, axis: Axis, title: str, note: str = ""
) -> Change:
    """Exchange an axis whose breakpoints stay, in all tables that share it."""
    old = content[id].axes[number]
    if old == axis:
        return Change(title, ())
    if not old.shared:
        table = content[id]
        return table_change(table, table.with_axis(number, axis, table.values), title, note=note)
    edits: list[SharedAxisEdit | TableEdit] = [SharedAxisEdit(old.shared, old, axis)]
    for user in content.users_of(old.shared):
        axes = tuple(axis if a.shared == old.shared else a for a in user.axes)
        edits.append(TableEdit(user, replace(user, axes=axes)))
    return Change(title, tuple(edits), note=note)


def _unnamed(labels: Labels, values: npt.ArrayLike) -> str:
    if not labels:
        return ""
    bare = [v for v in np.unique(np.asarray(values)).tolist() if v == v and not labels.name(v)]
    if not bare:
        return ""
    said = ", ".join(f"{v:g}" for v in bare[:5])
    return f"{len(bare)} number{'' if len(bare) == 1 else 's'} in use have no label: {said}."


def _check(id: str) -> None:
    try:
        check_id(id)
    except ModelError as error:
        raise EditRefused(error.problem, error.remedy) from None
