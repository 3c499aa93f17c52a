"""Calibration tables for drivelines: values, rules, edits, comparison and files; no screen.

The names below are the scripting surface; everything else lies in the subpackages.

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
    from .compare import compare
    from .core.axis import Axis, End, Interpolation
    from .core.calibration_set import CalibrationSet
    from .core.canonical import digest
    from .core.storage import Storage
    from .core.table import Table
    from .core.values_digest import values_digest
    from .lookup import lookup
    from .rules.check import check
    from .scripting import edit, export_set, import_set, open_set, save_set
    from .signoff import verify

# Imported when first used, so that `import calib_model` costs next to nothing.
_HOMES = {
    "Axis": "core.axis",
    "End": "core.axis",
    "Interpolation": "core.axis",
    "CalibrationSet": "core.calibration_set",
    "Storage": "core.storage",
    "Table": "core.table",
    "check": "rules.check",
    "compare": "compare",  # the subpackage itself, which can be called: see `called.py`
    "digest": "core.canonical",
    "edit": "scripting",
    "export_set": "scripting",
    "import_set": "scripting",
    "lookup": "lookup",
    "open_set": "scripting",
    "save_set": "scripting",
    "values_digest": "core.values_digest",
    "verify": "signoff",
}

__all__ = [
    "Axis",
    "CalibrationSet",
    "End",
    "Interpolation",
    "Storage",
    "Table",
    "check",
    "compare",
    "digest",
    "edit",
    "export_set",
    "import_set",
    "lookup",
    "open_set",
    "save_set",
    "values_digest",
    "verify",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module = import_module(f"{__name__}.{home}")
    return module if home == name else getattr(module, name)


def __dir__() -> list[str]:
    return [name for name in globals() if name.startswith("__")] + __all__
