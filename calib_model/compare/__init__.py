"""Comparison of two sets: which tables differ, where, by how much, and against which relation."""

from calib_model.compare.cells import CellChange
from calib_model.compare.fields import FieldChange
from calib_model.compare.result import Comparison, State, TableComparison
from calib_model.compare.sets import compare, compare_tables

__all__ = [
    "CellChange",
    "Comparison",
    "FieldChange",
    "State",
    "TableComparison",
    "compare",
    "compare_tables",
]
