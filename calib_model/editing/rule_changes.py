"""Rules of tables as changes: added, removed, turned off and on, exchanged, for many at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..core.calibration_set import CalibrationSet
from ..core.near import nearest
from ..core.numbers import exact
from ..core.patterns import fits
from ..core.rule import Rule, find_axis, stated
from ..core.rule_settings import Of, settings_of
from ..core.table import Table
from ..errors import EditRefused, ModelError
from ..rules.kinds import SELF_ACTING
from ..rules.limits import Locked
from .change import Change, TableEdit


@dataclass(frozen=True)
class Selection:
    """Which tables are meant: by id, role and name, with ``*`` and ``?``; all given must fit.

    Parameters
    ----------
    id, role, name : str
        Patterns; an empty one fits everything.
    """

    id: str = ""
    role: str = ""
    name: str = ""

    def fits(self, table: Table) -> bool:
        """Whether a table is meant."""
        return all(
            not pattern or fits(pattern, text)
            for pattern, text in ((self.id, table.id), (self.role, table.role),
                                  (self.name, table.name))
        )  # fmt: skip

    def of(self, content: CalibrationSet) -> tuple[str, ...]:
        """Return the ids of the tables that are meant.

        Raises
        ------
        ModelError
            If there are none; it names the nearest id or role.
        """
        found = tuple(table.id for table in content if self.fits(table))
        if not found:
            for pattern, known, what in (
                (self.id, list(content.tables), "tables"),
                (self.role, [t.role for t in content if t.role], "roles that tables play"),
                (self.name, [t.name for t in content if t.name], "names"),
            ):
                if pattern:
                    raise ModelError(
                        f"No table fits {pattern[:60]!r}.", nearest(pattern, known, what)
                    )
            raise ModelError("The set has no tables.", "Add one first.")
        return found


def add_rule(content: CalibrationSet, ids: Iterable[str], rule: Rule) -> Change:
    """Return the change that adds a rule to tables; those that have it stay as they are.

    Parameters
    ----------
    content : CalibrationSet
    ids : iterable of str
    rule : Rule

    Raises
    ------
    EditRefused
        If the kind is in force by itself, or an axis or another table that the rule names is not
        there: such a rule would never be looked at.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> change = cm.add_rule(content, ["slip_target"], cm.rule("monotone", axis="vehicle_speed"))
    >>> print(change.title)
    Add rule monotone to Slip target
    >>> [str(f.severity) for f in cm.check(cm.edit(content, change)).of("slip_target")]
    ['error']
    """
    if type(rule) in SELF_ACTING or isinstance(rule, Locked):
        how = "lock the cells" if isinstance(rule, Locked) else "it is in force for every table"
        raise EditRefused(f"{_kind(rule)} is no rule to add: {how}.", "See `rules SET kinds`.")
    wanted = list(dict.fromkeys(ids))
    for id in wanted:
        require_fit(content, content[id], rule)

    def added(table: Table) -> tuple[Rule, ...]:
        same = [known for known in table.rules if replace(known, off=False) == rule]
        if rule in table.rules:
            return table.rules
        if same:  # it is there, but off
            return tuple(rule if known in same else known for known in table.rules)
        return (*table.rules, rule)

    return _changed(content, wanted, added, f"Add rule {_kind(rule)} to")


def require_fit(content: CalibrationSet, table: Table, rule: Rule) -> None:
    """Raise EditRefused unless a table has the axes, and the set the tables, that a rule names."""
    for setting in settings_of(type(rule)):
        given = getattr(rule, setting.name)
        if setting.of is Of.AXIS and given:
            _require_axis(table, given)
        elif setting.of is Of.TABLE and given:
            if given == table.id:
                raise EditRefused(f"{table.id} cannot be held against itself.", "Name another.")
            if given not in content:
                raise EditRefused(
                    f"The set has no table {given[:60]!r}, which rule {_kind(rule)} reads.",
                    nearest(given, content.tables, "tables"),
                )
        elif setting.of is Of.POINT and len(given) != len(table.axes):
            raise EditRefused(
                f"{setting.name} has {len(given)} values, "
                f"the axes of {table.id} are {table.values.ndim}.",
                "Give one value for each axis.",
            )
    known = [i for i in rule.reads() if i in content]
    for part in rule.scope:
        # A scope may name an input that only the other table reads.
        if not any(_has_axis(content[id], part.axis) for id in known):
            _require_axis(table, part.axis)


def _has_axis(table: Table, reference: str) -> bool:
    try:
        find_axis(table, reference)
    except ModelError:
        return False
    return True


def _require_axis(table: Table, reference: str) -> None:
    if _has_axis(table, reference):
        return
    named = [a.quantity or a.name or str(n) for n, a in enumerate(table.axes, 1)]
    raise EditRefused(
        f"{table.id} has no axis {reference[:60]!r}.", nearest(reference, named, "axes of it")
    )


def remove_rules(
    content: CalibrationSet, ids: Iterable[str], which: Callable[[Rule], bool]
) -> Change:
    """Return the change that takes rules from tables.

    Parameters
    ----------
    content : CalibrationSet
    ids : iterable of str
    which : callable
        Tells for a rule whether it is meant; locks never are.
    """
    return _changed(
        content,
        ids,
        lambda table: tuple(r for r in table.rules if isinstance(r, Locked) or not which(r)),
        "Remove rules from",
    )


def switch_rules(
    content: CalibrationSet, ids: Iterable[str], which: Callable[[Rule], bool], *, on: bool
) -> Change:
    """Return the change that turns rules off, or on again.

    A rule that is off stays with its table, in the file and in the sheet; nothing looks at it.

    Parameters
    ----------
    content : CalibrationSet
    ids : iterable of str
    which : callable
        Tells for a rule whether it is meant; locks never are.
    on : bool
    """
    return _changed(
        content,
        ids,
        lambda table: tuple(
            replace(r, off=not on) if which(r) and not isinstance(r, Locked) else r
            for r in table.rules
        ),
        f"Turn {'on' if on else 'off'} rules of",
    )


def exchange_rule(content: CalibrationSet, id: str, before: Rule, after: Rule) -> Change:
    """Return the change that puts a rule in another's place, such as with other settings.

    Raises
    ------
    EditRefused
        If the table has no such rule, or the new one does not fit it.
    """
    table = content[id]
    if before not in table.rules:
        raise EditRefused(
            f"{table.label} has no rule `{stated(before, table)}` any more.", "Look at it again."
        )
    require_fit(content, table, after)
    return _changed(
        content,
        [id],
        lambda table: tuple(dict.fromkeys(after if r == before else r for r in table.rules)),
        f"Change rule {_kind(before)} of",
    )


def change_rules(
    content: CalibrationSet,
    ids: Iterable[str],
    which: Callable[[Rule], bool],
    new: Callable[[Rule], Rule],
) -> Change:
    """Return the change that gives rules of several tables other settings.

    Parameters
    ----------
    content : CalibrationSet
    ids : iterable of str
    which : callable
        Tells for a rule whether it is meant; locks never are.
    new : callable
        Returns the rule to put in a rule's place.

    Raises
    ------
    EditRefused
        If a new rule does not fit its table.
    """
    chosen = list(dict.fromkeys(ids))

    def meant(rule: Rule) -> bool:
        return which(rule) and not isinstance(rule, Locked)

    for id in chosen:
        for rule in filter(meant, content[id].rules):
            require_fit(content, content[id], new(rule))
    return _changed(
        content,
        chosen,
        lambda table: tuple(dict.fromkeys(new(r) if meant(r) else r for r in table.rules)),
        "Change rules of",
    )


def set_rules(
    content: CalibrationSet, by_table: Mapping[str, Sequence[Rule]], title: str
) -> Change:
    """Return the change that adds several rules to each of several tables, one undo step.

    Raises
    ------
    EditRefused
        See `add_rule`.
    """
    for id, rules in by_table.items():
        for rule in rules:
            require_fit(content, content[id], rule)
    return _changed(
        content,
        by_table,
        lambda table: tuple(dict.fromkeys((*table.rules, *by_table[table.id]))),
        title,
        whole=True,
    )


def _changed(
    content: CalibrationSet,
    ids: Iterable[str],
    new_rules: Callable[[Table], tuple[Rule, ...]],
    title: str,
    *,
    whole: bool = False,
) -> Change:
    edits = []
    for id in dict.fromkeys(ids):
        table = content[id]
        rules = new_rules(table)
        if rules != table.rules:
            edits.append(TableEdit(table, replace(table, rules=rules)))
    first = content[edits[0].table].label if edits else ""
    what = first if len(edits) == 1 else f"{exact(len(edits))} tables"
    return Change(title if whole else f"{title} {what}", tuple(edits))


def _kind(rule: Rule) -> str:
    return rule.kind.replace("_", " ")
