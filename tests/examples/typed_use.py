"""Forms of import of the scripting surface: checked for types with the package, run by a test.

What a type checker takes for a function can be called, and the other way round; `import … as` gives
the subpackage to both.
"""

import numpy as np

import calib_model as cm
import calib_model.compare
import calib_model.lookup as reading
from calib_model import CalibrationSet, Table, compare, lookup

TABLE = Table("gain", np.array(2.0))
CONTENT = CalibrationSet({"gain": TABLE})


def results() -> list[object]:
    """Return what every form gives: 2.0 of a lookup, True of a comparison."""
    return [
        lookup(TABLE, []).item(),
        cm.lookup(TABLE, []).item(),
        reading.lookup(TABLE, []).item(),
        reading.reference.lookup(TABLE, []).item(),
        compare(CONTENT, CONTENT).same,
        cm.compare(CONTENT, CONTENT).same,
    ]


def mistakes() -> None:
    """Call with too little: a type checker must object, or it knows nothing of the functions."""
    cm.lookup(TABLE)  # type: ignore[call-arg]
    cm.compare(CONTENT)  # type: ignore[call-arg]
