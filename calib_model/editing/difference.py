"""The change that leads from one set to another: restoring a state, taking over a table."""

from __future__ import annotations

from ..core.calibration_set import CalibrationSet
from ..core.table import Table
from .change import AboutEdit, Change, Edit, RecordEdit, SharedAxisEdit, TableEdit, cells_edit


def change_between(
    now: CalibrationSet, wanted: CalibrationSet, title: str, *, record: bool = False
) -> Change:
    """Return one change that turns `now` into `wanted`, empty where they are equal.

    Tables that both have keep their present order, which no digest covers.

    Parameters
    ----------
    now, wanted : CalibrationSet
    title : str
    record : bool
        Whether remarks, waivers, decisions and the like are to become as wanted too.  Restoring
        earlier values does not make unsaid what was said since.
    """
    edits: list[Edit] = []
    for key in {**now.shared_axes, **wanted.shared_axes}:
        old_axis, new_axis = now.shared_axes.get(key), wanted.shared_axes.get(key)
        if old_axis != new_axis:
            edits.append(SharedAxisEdit(key, old_axis, new_axis))
    order = list(now.tables)
    for id in reversed(order):
        if id not in wanted:
            edits.append(TableEdit(now[id], None, order.index(id)))
    for position, (id, table) in enumerate(wanted.tables.items()):
        if id not in now:
            edits.append(TableEdit(None, table, position))
        elif now[id] is not table:
            edits.extend(_table_edits(now[id], table))
    old_about, new_about = now.about(), wanted.about()
    edits.extend(
        AboutEdit(field, old_about[field], new)
        for field, new in new_about.items()
        if old_about[field] != new
    )
    if record and now.record != wanted.record:
        old = {(item.KIND, item.id): item for item in now.record.items}
        new = {(item.KIND, item.id): item for item in wanted.record.items}
        edits.extend(
            RecordEdit(old.get(key), new.get(key))
            for key in {**old, **new}
            if old.get(key) != new.get(key)
        )
    return Change(title, tuple(edits))


def _table_edits(old: Table, new: Table) -> list[Edit]:
    if old == new:
        return []
    if old.axes == new.axes and old.settings() == new.settings():
        return [cells_edit(old, new.values)]
    return [TableEdit(old, new)]
