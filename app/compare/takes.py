"""Takes over what the strip orders: makes the change, names the set, does it on the desk."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject

from app.desk import Desk
from app.work.jobs import Jobs
from calib_model.compare.take_over import Into, take_over_cells, take_over_tables
from calib_model.editing.change import Change
from calib_model.errors import BitepointError

from .pair import PairDesk
from .service import Comparing
from .sides import Side
from .summary import Summary
from .taking import Order, Scope, TakeStrip
from .words import counted

MANY = 400
"""More tables than this are taken over in the background."""


class TakesOver(QObject):
    """Taking over, between the strip and the desk.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    comparing : Comparing
    summary : Summary
        Says which table is shown and which are listed.
    pair : PairDesk
        Says which cells are selected.
    strip : TakeStrip
    """

    def __init__(
        self,
        desk: Desk,
        jobs: Jobs,
        comparing: Comparing,
        summary: Summary,
        pair: PairDesk,
        strip: TakeStrip,
    ) -> None:
        super().__init__(strip)
        self.desk, self._jobs, self.comparing = desk, jobs, comparing
        self.summary, self.pair, self.strip = summary, pair, strip
        self._scoped: tuple[str, bool] | None = None
        strip.ordered.connect(self._take)

    def side(self, into: Into) -> Side | None:
        """Return the side that would be changed."""
        return self.comparing.first if into is Into.FIRST else self.comparing.second

    def take(self, scope: Scope, into: Into) -> None:
        """Take over, once a reason is given."""
        side = self.side(into)
        if side is None or self.comparing.prepared is None:
            self.desk.tell("There is nothing to take over yet.", refused=True)
        elif side.why_fixed:
            self.desk.tell(side.why_fixed, refused=True)
        elif scope is not Scope.LISTED and self.pair.pair is None:
            self.desk.tell("Choose a table from the list first.", refused=True)
        else:
            self.strip.order(Order(scope, into))

    def say_scopes(self) -> None:
        """Say on the strip what could be taken over just now."""
        pair = self.pair
        cells = int(pair.selection.sum()) if pair.table is not None else 0
        label = pair.table.label if pair.table is not None else "none chosen"
        listed = self.summary.rows.rowCount()
        self.strip.show_scopes(
            {
                Scope.CELLS: f"the selection: {counted(cells, 'cell')}",
                Scope.TABLE: f"the table: {label}",
                Scope.WHOLE: "the table with its rules and texts",
                Scope.LISTED: f"all that are listed: {counted(listed, 'table')}",
            }
        )
        scoped = (self.summary.shown, cells > 1)
        if scoped != self._scoped and self.strip.waiting is None:
            # What is selected says what is meant, until something else is chosen by hand.
            self._scoped = scoped
            self.strip.choose(Scope.CELLS if cells > 1 else Scope.TABLE)

    def _take(self, order: Order) -> None:
        prepared, side = self.comparing.prepared, self.side(order.into)
        source = self.side(Into.SECOND if order.into is Into.FIRST else Into.FIRST)
        if prepared is None or side is None or source is None:
            return
        comparison, reason = prepared.comparison, self.strip.reason.text().strip()
        shown = self.summary.shown
        if order.scope is Scope.LISTED:
            ids = self.summary.rows.ids()
            if len(ids) > MANY:
                self._jobs.start(
                    f"Taking over {counted(len(ids), 'table')}",
                    _take_many,
                    (comparison, ids, order.into, source.name, reason),
                    done=lambda change: self._perform(change, side),
                    failed=lambda problem: self.desk.tell(str(problem), refused=True),
                    cancellable=True,
                )
                return
            self._perform_made(
                side,
                lambda: take_over_tables(comparison, ids, order.into, source.name, reason),
            )
        elif shown not in comparison.tables:
            self.desk.tell("No table is chosen.", refused=True)
        elif order.scope is Scope.CELLS:
            chosen = self.pair.selection
            pair = comparison.tables[shown]
            self._perform_made(
                side, lambda: take_over_cells(pair, chosen, order.into, source.name, reason)
            )
        else:
            whole = order.scope is Scope.WHOLE
            self._perform_made(
                side,
                lambda: take_over_tables(
                    comparison, [shown], order.into, source.name, reason, whole=whole
                ),
            )

    def _perform_made(self, side: Side, make: Callable[[], Change]) -> None:
        try:
            change = make()
        except BitepointError as problem:
            self.desk.tell(str(problem), refused=True)
            return
        self._perform(change, side)

    def _perform(self, change: Change, side: Side) -> None:
        """Do a change in the set of a side, which becomes the set being edited.

        Taken into the reference, the two change places, as with the window's own exchange.
        """
        if change.is_empty:
            self.desk.tell(f"Nothing to take over: {side.name} holds the same there already.")
            return
        if side.document not in self.desk.documents:
            return
        if self.desk.current is not side.document:
            # Undo, redo and the findings follow the set being edited.
            self.desk.set_current(side.document)
        if self.desk.do(change):
            note = f" {change.note}" if change.note else ""
            self.desk.tell(f"{change.title} into {side.document.title}.{note} Ctrl+Z undoes it.")
            self.strip.done()


def _take_many(control: Any, work: tuple[Any, ...]) -> Change:
    comparison, ids, into, origin, reason = work
    return take_over_tables(comparison, ids, into, origin, reason, progress=control.progress)
