"""Binding tables and axes, and letting them go, as one change each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from ..controller.needs import ROLE_UNITS
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.near import nearest
from ..core.roles import QUANTITIES, ROLES
from ..core.rule import Rule, find_axis
from ..core.table import Table
from ..core.unit_words import alike
from ..editing.change import Change, Edit, SharedAxisEdit, TableEdit, apply
from ..errors import EditRefused
from .fit import TableFits
from .profiles import profiles
from .starting import starting_rules
from .suggest import Suggestion


@dataclass(frozen=True)
class Wanted:
    """What a table shall be bound to.

    Parameters
    ----------
    table : str
    role : str or None
        Empty to let it go, None to leave it as it is.
    inputs : mapping of axis number to str
        Empty text for an axis that shall read nothing.
    """

    table: str
    role: str | None = None
    inputs: Mapping[int, str] = field(default_factory=dict)


def confirm_roles(content: CalibrationSet, suggestions: Iterable[Suggestion]) -> Change:
    """Return the change that takes suggestions over: roles, inputs, and the spelling of units.

    Raises
    ------
    EditRefused
        See `bound`.
    """
    return bound(
        content,
        [
            Wanted(
                one.table,
                one.role,
                {number: name for number, name in enumerate(one.inputs) if name},
            )
            for one in suggestions
        ],
    )


def wanted(
    content: CalibrationSet, id: str, role: str, inputs: Sequence[str] | None = None
) -> Wanted:
    """Return what binding a table to a role asks for.

    Parameters
    ----------
    content : CalibrationSet
    id, role : str
    inputs : sequence of str, optional
        One per axis, empty for none; by default those that fit the role best, where an axis reads
        nothing yet.

    Raises
    ------
    EditRefused
        If the role or an input is not known, or the inputs are not one per axis.
    """
    table = content[id]
    require_role(role)
    if inputs is not None:
        if len(inputs) != len(table.axes):
            raise EditRefused(
                f"{len(inputs)} inputs are given for {id}, which has {len(table.axes)} axes.",
                "Give one for each axis; '' for none.",
            )
        return Wanted(id, role, dict(enumerate(inputs)))
    fitting = TableFits(table).of(profiles().roles[role]).axes
    return Wanted(
        id,
        role,
        {
            number: name
            for number, name in enumerate(fitting)
            if name and not table.axes[number].quantity
        },
    )


def bind_table(
    content: CalibrationSet,
    id: str,
    role: str,
    inputs: Sequence[str] | None = None,
    *,
    rules: bool = False,
) -> Change:
    """Return the change that binds one table to a role, with its starting rules if asked.

    Parameters
    ----------
    content : CalibrationSet
    id, role : str
    inputs : sequence of str, optional
        See `wanted`.
    rules : bool
        Whether the starting rules of the role come along.

    Raises
    ------
    EditRefused
        See `bound`.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> content = cm.edit(content, cm.unbind(content, ["slip_target"]))
    >>> cm.readiness(content).missing["slip_target"]
    'no table plays it'
    >>> content = cm.edit(content, cm.bind_table(content, "slip_target", "slip_target"))
    >>> content["slip_target"].role
    'slip_target'
    """
    change = bound(content, [wanted(content, id, role, inputs)])
    if not rules:
        return change
    offered = starting_rules(apply(content, change), [id]).rules
    return with_rules(content, change, offered)


def require_role(role: str) -> None:
    """Raise EditRefused unless a role is known; the nearest one is named."""
    if role not in ROLES:
        raise EditRefused(f"There is no role {role[:60]!r}.", nearest(role, ROLES, "roles"))


def axis_number(table: Table, reference: str) -> int:
    """Return the axis that a text names: by input, name or number."""
    return find_axis(table, reference)


def bound(content: CalibrationSet, each: Iterable[Wanted], title: str = "") -> Change:
    """Return the one change that binds tables and axes.

    A unit that is only spelled in another way (``Nm``) is written as the torque law does, since
    numbers stay what they are.  One that needs a conversion is left: `missing` names it.

    Parameters
    ----------
    content : CalibrationSet
    each : iterable of Wanted
    title : str
        By default made from what is done.

    Raises
    ------
    EditRefused
        If a role or input is not known, a role is played already, or a shared axis would read two
        inputs.
    """
    asked = list(each)
    players = {table.role: table.id for table in content if table.role}
    for one in asked:
        now = content[one.table].role
        if one.role is not None and players.get(now) == one.table:
            del players[now]
    tables: dict[str, Table] = {}
    shared: dict[str, Axis] = {}
    for one in asked:
        table = tables.get(one.table, content[one.table])
        if one.role:
            require_role(one.role)
            other = players.get(one.role)
            if other is not None and other != one.table:
                raise EditRefused(
                    f"{one.role} is played by {other} already.",
                    f"Let {other} go first, or choose another role for {one.table}.",
                )
            players[one.role] = one.table
        if one.role is not None:
            table = replace(table, role=one.role)
            if one.role and alike(table.unit, ROLE_UNITS[one.role]) == "same":
                table = replace(table, unit=ROLE_UNITS[one.role])
        axes = list(table.axes)
        for number, name in one.inputs.items():
            axes[number] = _reading(axes[number], name)
            if axes[number].shared:
                _share(shared, axes[number], one.table)
        tables[one.table] = replace(table, axes=tuple(axes))
    return _change(content, tables, shared, title)


def _reading(axis: Axis, name: str) -> Axis:
    if not name:
        return replace(axis, quantity="")
    if name not in QUANTITIES:
        raise EditRefused(f"There is no input {name[:60]!r}.", nearest(name, QUANTITIES, "inputs"))
    unit = QUANTITIES[name] if alike(axis.unit, QUANTITIES[name]) == "same" else axis.unit
    return replace(axis, quantity=name, unit=unit)


def _share(shared: dict[str, Axis], axis: Axis, table: str) -> None:
    known = shared.setdefault(axis.shared, axis)
    if known != axis:
        raise EditRefused(
            f"The shared axis {axis.shared} of {table} would read "
            f"{known.quantity or 'nothing'} and {axis.quantity or 'nothing'}.",
            "Give it one input, or detach one of its tables first.",
        )


def _change(
    content: CalibrationSet, tables: dict[str, Table], shared: dict[str, Axis], title: str
) -> Change:
    for id in shared:
        for user in content.users_of(id):
            table = tables.get(user.id, user)
            axes = tuple(shared[a.shared] if a.shared == id else a for a in table.axes)
            tables[user.id] = replace(table, axes=axes)
    edits: list[Edit] = [
        SharedAxisEdit(id, content.shared_axes[id], axis)
        for id, axis in shared.items()
        if axis != content.shared_axes[id]
    ]
    changed = [t for id, t in tables.items() if t != content[id]]
    edits += [TableEdit(content[table.id], table) for table in changed]
    first = changed[0].label if changed else ""
    what = first if len(changed) == 1 else f"{len(changed)} tables"
    return Change(title or f"Bind {what}", tuple(edits))


def unbind(content: CalibrationSet, ids: Iterable[str], *, axes: bool = False) -> Change:
    """Return the change that lets tables go: they play no part any more.

    Parameters
    ----------
    content : CalibrationSet
    ids : iterable of str
    axes : bool
        Whether their axes read nothing any more either.
    """
    each = [
        Wanted(id, "", dict.fromkeys(range(len(content[id].axes)), "") if axes else {})
        for id in ids
    ]
    labels = [content[one.table].label for one in each]
    what = labels[0] if len(labels) == 1 else f"{len(labels)} tables"
    return bound(content, each, f"Unbind {what}")


def with_rules(
    content: CalibrationSet, change: Change, rules: Mapping[str, Sequence[Rule]]
) -> Change:
    """Return a change of bindings together with rules for tables, one undo step.

    Parameters
    ----------
    content : CalibrationSet
    change : Change
        Of bindings.
    rules : mapping of table id to rules
        Added to those that a table has.
    """
    edits: list[Edit] = []
    done = set()
    for edit in change.edits:
        if isinstance(edit, TableEdit) and edit.after is not None and rules.get(edit.table):
            more = tuple(dict.fromkeys((*edit.after.rules, *rules[edit.table])))
            edit = replace(edit, after=replace(edit.after, rules=more))
            done.add(edit.table)
        edits.append(edit)
    for id, asked in rules.items():
        if asked and id not in done:
            table = content[id]
            new = replace(table, rules=tuple(dict.fromkeys((*table.rules, *asked))))
            if new != table:
                edits.append(TableEdit(table, new))
    return replace(change, edits=tuple(edits))
