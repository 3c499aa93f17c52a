"""A comparison narrowed to some tables, and to differences of some size."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from types import MappingProxyType

from calib_model.compare.aligned import align
from calib_model.compare.cells import NotComparable
from calib_model.compare.result import Comparison, State, TableComparison
from calib_model.compare.threshold import Threshold
from calib_model.core.patterns import any_fits

_VALUES_ONLY = (State.CHANGED, State.ROUNDING)


def matching(patterns: Sequence[str]) -> Callable[[TableComparison], bool]:
    """Return what tells whether a table's id, name or function matches one of some patterns.

    Parameters
    ----------
    patterns : sequence of str
        ``*`` for any text, ``?`` for one character; upper and lower case alike.
    """
    wanted = [pattern.casefold() for pattern in patterns]

    def matches(pair: TableComparison) -> bool:
        table = pair.table
        texts = [text.casefold() for text in (table.id, table.name, table.function)]
        return any(any_fits(wanted, text) for text in texts)

    return matches


def narrowed(
    result: Comparison,
    threshold: Threshold | None = None,
    wanted: Callable[[TableComparison], bool] | None = None,
) -> Comparison:
    """Narrow a comparison.

    Parameters
    ----------
    result : Comparison
    threshold : Threshold, optional
        Cells that differ by no more do not count.  A table that differs in nothing else, and
        breaches no relation, is then `State.BELOW`.
    wanted : callable, optional
        Tells which tables are kept; what the sets say of themselves is left out then.
    """
    tables = {id: pair for id, pair in result.tables.items() if wanted is None or wanted(pair)}
    if threshold is not None and threshold.amount > 0:
        tables = {id: _above(pair, threshold) for id, pair in tables.items()}
    fields = result.fields if wanted is None else ()
    return replace(result, tables=MappingProxyType(tables), fields=fields)


def _above(pair: TableComparison, threshold: Threshold) -> TableComparison:
    if not pair.cells_changed or pair.first is None or pair.second is None:
        return pair
    try:
        count = int(align(pair.first, pair.second).beyond(threshold).sum())
    except NotComparable:
        return pair
    state = pair.state
    if count == 0 and state in _VALUES_ONLY and not pair.fields and not pair.breaches:
        state = State.BELOW
    return replace(pair, state=state, cells_changed=count, threshold=threshold)
