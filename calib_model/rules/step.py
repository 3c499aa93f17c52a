"""The step from one cell to its neighbour: bounded, or none at all."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..core.numbers import with_unit
from ..core.rule import Breach, Context, Rows, Rule, Stack, at_cell, axis_label, register
from ..core.rule_settings import In, Of, Picture, told
from ..core.table import Table
from . import pictures
from .shape import REINTERPOLATE, scope_words


@register
@dataclass(frozen=True)
class Step(Rule):
    """Neighbours along an axis hold the same value, or differ by `most`."""

    axis: str = field(metadata=told("The axis it looks along.", Of.AXIS))
    most: float = field(
        default=0.0,
        metadata=told(
            "By how much two neighbours may differ; 0 for no step.", unit=In.TABLE, low=0
        ),
    )

    kind: ClassVar[str] = "step"
    neighbours: ClassVar[int] = 2
    explained: ClassVar[str] = (
        "Neighbouring cells along an axis differ by no more than so much. With 0 the values are "
        "the same all along: the input is read and makes no difference in the scope."
    )
    picture: ClassVar[Picture] = pictures.ALONG
    remedies: ClassVar[tuple[str, ...]] = (REINTERPOLATE,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Each cell less its neighbour, both ways where a difference is allowed."""
        pairs = stack.runs(stack.axis(self.axis), 2)
        if self.most == 0:
            return stack.own(pairs, [1.0, -1.0], 0.0, equal=True)
        both = np.concatenate([pairs, pairs[:, ::-1]])
        return stack.own(both, [1.0, -1.0], self.most, tolerance=stack.loose)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        along = f"along {axis_label(table, self.axis)}{scope_words(table, self)}"
        if self.most == 0:
            return f"the same {along}"
        return f"steps of at most {with_unit(self.most, table.unit)} {along}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        first, second = sorted(breach.cells)
        apart = abs(float(table.values.flat[second] - table.values.flat[first]))
        must = self.statement(table)
        must = f"it must be {must}" if self.most == 0 else f"allowed are {must}"
        where = at_cell(table, second)
        return f"{with_unit(apart, table.unit, 4)} away from its neighbour {where}; {must}."
