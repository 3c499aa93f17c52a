"""Calibration tables for drivelines: values, rules, edits, comparison and files; no screen.

The names below are the scripting surface; everything else lies in the subpackages.  A set is a
value: `edit` returns another one.  Functions named for what they do to a set (`rename_table`,
`change_unit`, ...) return a `Change`, which says in its `note` what follows from it and is taken by
`edit`.

Examples
--------
>>> import calib_model as cm
>>> content = cm.open_set("larch_normal.h5")
>>> table = content["pre_engage_torque"]
>>> cm.lookup(table, {"ambient_temperature": -10, "pedal": [20, 40]})
array([110.5, 215. ])
>>> edited = cm.edit(content, "pre_engage_torque", {(3, 6): 21.5})
>>> finding = cm.check(edited).findings[0]
>>> print(finding.message.partition(";")[0], finding.remedies[0])
Falls from 167 to 21.5 N·m between 30 and 40 % at −10 °C re-interpolate
>>> cm.compare(content, edited).same
False
>>> cm.save_set(edited, "larch_mine.h5")
>>> cm.digest(cm.open_set("larch_mine.h5")) == cm.digest(edited)
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .bringing.understanding import understand
    from .compare import compare
    from .core.axis import Axis, End, Interpolation
    from .core.calibration_set import CalibrationSet
    from .core.canonical import digest
    from .core.labels import Labels
    from .core.storage import Storage
    from .core.table import Table
    from .core.values_digest import values_digest
    from .editing.axes import (
        delete_breakpoint,
        delete_breakpoint_at,
        detach_axis,
        insert_breakpoint,
        move_breakpoint,
    )
    from .editing.change import Change
    from .editing.conversions import change_storage, change_unit
    from .editing.places import cells_at
    from .editing.reshape import add_axis, drop_axis, share_axis, transpose
    from .editing.rule_changes import add_rule, remove_rules, switch_rules
    from .editing.tables import (
        add_table,
        duplicate_table,
        like_table,
        new_table,
        remove_table,
        rename_table,
        set_labels,
    )
    from .lookup import lookup
    from .roles.changes import bind_table, confirm_roles, unbind
    from .roles.missing import readiness
    from .roles.starting import starting_rules
    from .roles.suggest import suggest_roles
    from .rules.attention import attention
    from .rules.check import check
    from .rules.preview import preview
    from .rules.suggested import suggest_rules
    from .rules.withdrawn import withdrawn
    from .scripting import (
        axis,
        bring_in,
        edit,
        export_set,
        import_set,
        new_set,
        open_set,
        rule,
        save_set,
    )
    from .signoff import verify

# Imported when first used, so that `import calib_model` costs next to nothing.
_HOMES = {
    "Axis": "core.axis",
    "CalibrationSet": "core.calibration_set",
    "Change": "editing.change",
    "End": "core.axis",
    "Interpolation": "core.axis",
    "Labels": "core.labels",
    "Storage": "core.storage",
    "Table": "core.table",
    "add_axis": "editing.reshape",
    "add_rule": "editing.rule_changes",
    "add_table": "editing.tables",
    "attention": "rules.attention",
    "axis": "scripting",
    "bind_table": "roles.changes",
    "bring_in": "scripting",
    "cells_at": "editing.places",
    "change_storage": "editing.conversions",
    "change_unit": "editing.conversions",
    "check": "rules.check",
    "compare": "compare",  # the subpackage itself, which can be called: see `called.py`
    "confirm_roles": "roles.changes",
    "delete_breakpoint": "editing.axes",
    "delete_breakpoint_at": "editing.axes",
    "detach_axis": "editing.axes",
    "digest": "core.canonical",
    "drop_axis": "editing.reshape",
    "duplicate_table": "editing.tables",
    "edit": "scripting",
    "export_set": "scripting",
    "import_set": "scripting",
    "insert_breakpoint": "editing.axes",
    "like_table": "editing.tables",
    "lookup": "lookup",
    "move_breakpoint": "editing.axes",
    "new_set": "scripting",
    "new_table": "editing.tables",
    "open_set": "scripting",
    "preview": "rules.preview",
    "readiness": "roles.missing",
    "remove_rules": "editing.rule_changes",
    "remove_table": "editing.tables",
    "rename_table": "editing.tables",
    "rule": "scripting",
    "save_set": "scripting",
    "set_labels": "editing.tables",
    "share_axis": "editing.reshape",
    "starting_rules": "roles.starting",
    "suggest_roles": "roles.suggest",
    "suggest_rules": "rules.suggested",
    "switch_rules": "editing.rule_changes",
    "transpose": "editing.reshape",
    "unbind": "roles.changes",
    "understand": "bringing.understanding",
    "values_digest": "core.values_digest",
    "verify": "signoff",
    "withdrawn": "rules.withdrawn",
}

__all__ = [
    "Axis",
    "CalibrationSet",
    "Change",
    "End",
    "Interpolation",
    "Labels",
    "Storage",
    "Table",
    "add_axis",
    "add_rule",
    "add_table",
    "attention",
    "axis",
    "bind_table",
    "bring_in",
    "cells_at",
    "change_storage",
    "change_unit",
    "check",
    "compare",
    "confirm_roles",
    "delete_breakpoint",
    "delete_breakpoint_at",
    "detach_axis",
    "digest",
    "drop_axis",
    "duplicate_table",
    "edit",
    "export_set",
    "import_set",
    "insert_breakpoint",
    "like_table",
    "lookup",
    "move_breakpoint",
    "new_set",
    "new_table",
    "open_set",
    "preview",
    "readiness",
    "remove_rules",
    "remove_table",
    "rename_table",
    "rule",
    "save_set",
    "set_labels",
    "share_axis",
    "starting_rules",
    "suggest_roles",
    "suggest_rules",
    "switch_rules",
    "transpose",
    "unbind",
    "understand",
    "values_digest",
    "verify",
    "withdrawn",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module = import_module(f"{__name__}.{home}")
    return module if home == name else getattr(module, name)


def __dir__() -> list[str]:
    return [name for name in globals() if name.startswith("__")] + __all__
