"""Relations of compared sets to further sets of their programme, where the two differ.

An edit that keeps its own set's rules may still break what another mode promises.  So where two
sets differ, each is held against the sets that belong with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..core.calibration_set import CalibrationSet
from .relation import relation_breaches
from .result import Comparison, State

if TYPE_CHECKING:
    from ..rules.check import Finding


@dataclass(frozen=True)
class Promise:
    """What came of one relation to a further set.

    Parameters
    ----------
    of : str
        Which of the compared sets it is about: ``A`` or ``B``.
    other : CalibrationSet
        The further set.
    words : str
        What was checked, or why nothing was.
    breaches : tuple of Finding
        In tables that differ between A and B; those that are waived are left out.
    """

    of: str
    other: CalibrationSet
    words: str
    breaches: tuple[Finding, ...]


def promises(
    result: Comparison,
    first_with: Sequence[CalibrationSet] = (),
    second_with: Sequence[CalibrationSet] = (),
) -> tuple[Promise, ...]:
    """Hold both sets of a comparison against further sets, in the tables that differ.

    Parameters
    ----------
    result : Comparison
        Differences within a threshold count here: a relation knows no threshold.
    first_with, second_with : sequence of CalibrationSet
        Sets that belong with the first and the second one.
    """
    unequal = [t.id for t in result.tables.values() if t.state is not State.SAME]
    found = []
    for of, content, others in (
        ("A", result.first, first_with),
        ("B", result.second, second_with),
    ):
        for other in others if unequal else ():
            breaches, words = relation_breaches(content, other, unequal, unequal)
            if words.startswith("No "):  # two modes that are no pair
                continue
            kept = tuple(f for group in breaches.values() for f in group if not f.waived)
            found.append(Promise(of, other, words, kept))
    return tuple(found)
