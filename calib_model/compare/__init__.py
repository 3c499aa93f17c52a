"""Comparison of two sets: which tables differ, where, by how much, and against which relation."""

import sys

from calib_model.called import CalledModule
from calib_model.compare.aligned import Aligned, align
from calib_model.compare.cells import CellChange, NotComparable
from calib_model.compare.fields import FieldChange
from calib_model.compare.narrow import matching, narrowed
from calib_model.compare.result import Comparison, State, TableComparison
from calib_model.compare.sets import compare, compare_again, compare_tables
from calib_model.compare.threshold import Threshold

__all__ = [
    "Aligned",
    "CellChange",
    "Comparison",
    "FieldChange",
    "NotComparable",
    "State",
    "TableComparison",
    "Threshold",
    "align",
    "compare",
    "compare_again",
    "compare_tables",
    "matching",
    "narrowed",
]

sys.modules[__name__].__class__ = CalledModule
