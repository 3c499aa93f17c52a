"""Acts on the chosen lines: jump, accept, query, waive, maturity, remarks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QObject

from app.forms import Form
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Level, Outcome, Remark, Waiver
from calib_model.editing.change import Change
from calib_model.errors import BitepointError
from calib_model.evidence.gaps import undriven
from calib_model.signoff.authors import Authors, own_edits
from calib_model.signoff.decisions import decide, give_level
from calib_model.signoff.gate import Item, Obstacle

from . import acts
from .keys_kept import keep_key, key_of
from .lines import Line, View, lines_of
from .panels import ReleasePanels
from .signing import decide_with_key
from .standing import Standing

OWN_EDITS = (
    "You edited some of these tables, or signed as their author: another person decides. "
    "Let them give their name."
)


class ActWork(QObject):
    """Does what is ordered for the chosen lines.

    Parameters
    ----------
    panels : ReleasePanels
    """

    def __init__(self, panels: ReleasePanels) -> None:
        super().__init__(panels)
        self._panels, self._desk = panels, panels.desk
        panel = panels.act
        for form, text, act in (
            (panel.waive, "Waive", self._waive),
            (panel.decide, "Decide", self._decide),
            (panel.level, "Give this level", self._level),
            (panel.remark, "Add it", self._remark),
            (panel.approve, "Approve", self._approve),
        ):
            button = form.button(text, act)
            if form is panel.decide:
                panel.decide.confirm = button

    @property
    def _by(self) -> str:
        return self._panels.memory.author

    def order(self, name: str) -> None:
        """Do what a key or button stands for."""
        standing, document = self._panels.standings.standing, self._desk.current
        lines = self._panels.list.lines
        if standing is None or document is None:
            self._desk.tell("Still looking at what is to do; try again in a moment.")
            return
        if not lines and name not in ("remark", "accept_all"):
            self._desk.tell("Choose a line first (Up and Down).")
            return
        steps: dict[str, Callable[[Standing, list[Line]], None]] = {
            "go": self._go,
            "accept": self._accept,
            "accept_all": self._accept_all,
            "query": self._query,
            "waive": self._start_waiver,
            "level": self._start_level,
            "remark": self._start_remark,
            "close": self._close,
            "remove": self._remove,
            "open": self._open,
        }
        steps[name](standing, lines)

    # -- going there -----------------------------------------------------------------------------

    def _go(self, standing: Standing, lines: list[Line]) -> None:
        line = self._panels.list.line or lines[0]
        document = self._desk.current
        if document is None or line.table not in document.content.tables:
            self._desk.tell("This line has no table to go to.", refused=True)
            return
        cells = line.cells
        self._desk.open_table(line.table, cells[0] if cells else None)
        table = self._desk.table
        if table is not None and len(cells) > 1 and all(len(c) == len(table.shape) for c in cells):
            chosen = np.zeros(table.shape, dtype=bool)
            for cell in cells:
                if all(i < n for i, n in zip(cell, table.shape, strict=True)):
                    chosen[cell] = True
            self._desk.set_selection(chosen)
        self._panels.jumped.emit()
        self._desk.tell(line.text)

    def _open(self, standing: Standing, _lines: list[Line]) -> None:
        programme = standing.known.programme
        if programme is not None:
            open_ones = {d.path for d in self._desk.documents}
            mine = standing.content.mode
            self._panels.open_wanted.emit(
                [p for m, p in programme.sets.items() if m != mine and p not in open_ones]
            )

    # -- decisions -------------------------------------------------------------------------------

    def _accept(self, standing: Standing, lines: list[Line]) -> None:
        tables = acts.tables_of(lines)
        if not tables:
            self._desk.tell("This line is about no table.", refused=True)
            return
        content = standing.content
        owned = acts.owned(content, tables, standing.known.programme)
        queried = acts.queried(content, tables)
        if owned or queried:
            self._start_decision(standing, tables, Outcome.ACCEPTED, owned=owned, queried=queried)
            return
        if own_edits(tables, self._by, standing.gate.authors):
            self._start_decision(standing, tables, Outcome.ACCEPTED)
            self._panels.act.decide.say(OWN_EDITS, refused=True)
            self._panels.act.decide.by.clear()
            self._panels.act.decide.by.setFocus()
            return
        if len(tables) > 1:  # shown first; the button has the keyboard, so that Enter accepts
            self._start_decision(standing, tables, Outcome.ACCEPTED)
            confirm = self._panels.act.decide.confirm
            if confirm is not None:
                confirm.setFocus()
            return
        authors = standing.gate.authors
        self._apply(
            lambda: decide(self._content(), tables, Outcome.ACCEPTED, by=self._by, authors=authors),
            None,
        )

    def _accept_all(self, standing: Standing, _lines: list[Line]) -> None:
        """Accept all tables that await a decision; what was queried waits for its answer."""
        lines = [
            line
            for line in lines_of(View.TO_DO, standing)
            if isinstance(line.about, Item) and line.about.kind is Obstacle.DECISION
        ]
        if lines:
            self._accept(standing, lines)
        else:
            self._desk.tell("No table awaits a decision.", refused=True)

    def _query(self, standing: Standing, lines: list[Line]) -> None:
        tables = acts.tables_of(lines)
        if tables:
            self._start_decision(standing, tables, Outcome.QUERIED)
        else:
            self._desk.tell("This line is about no table.", refused=True)

    def _start_decision(
        self,
        standing: Standing,
        tables: list[str],
        outcome: Outcome,
        *,
        owned: list[str] | None = None,
        queried: list[str] | None = None,
    ) -> None:
        form = self._panels.act.decide
        form.show_tables(
            standing,
            tables,
            outcome,
            self._by,
            with_key=bool(owned),
            answered=bool(queried),
        )
        if owned:
            kept = key_of(self._panels.memory, form.by.text()).path
            form.key.show_path(kept or form.key.path or self._panels.sign.key.path)
        self._show(form)

    def _decide(self) -> None:
        form = self._panels.act.decide
        comment, by = form.comment.text(), form.by.text()
        if form.needs_comment and not comment.strip():
            what = "question" if form.outcome is Outcome.QUERIED else "answer to the query"
            form.say(f"The {what} is missing.", refused=True)
            form.comment.setFocus()
            return
        if form.with_key:
            self._decide_with_key()
            return
        authors = self._authors()
        self._apply(
            lambda: decide(
                self._content(), form.tables, form.outcome, by=by, comment=comment, authors=authors
            ),
            form,
        )

    def _authors(self) -> Authors:
        """Return who edited which table since the last sign-off."""
        standing = self._panels.standings.standing
        return standing.gate.authors if standing is not None else {}

    def _decide_with_key(self) -> None:
        form, standing = self._panels.act.decide, self._panels.standings.standing
        document, secret = self._desk.current, form.secret.take()
        if form.key.path is None or standing is None or document is None:
            form.say("Name the key file of who accepts.", refused=True)
            return
        form.busy = True

        def done(change: Change) -> None:
            form.busy = False
            if document is not self._desk.current:
                form.say("Another set is edited now; nothing was accepted.", refused=True)
                return
            if self._apply(lambda: change, form):
                keep_key(self._panels.memory, form.by.text(), str(form.key.path or ""))

        def failed(error: BitepointError) -> None:
            form.busy = False
            form.say(str(error), refused=True)
            form.secret.setFocus()

        self._panels.jobs.start(
            "Signing decisions",
            decide_with_key,
            document.content,
            form.tables,
            form.by.text().strip(),
            form.comment.text(),
            form.key.path,
            secret,
            standing.known.signers,
            standing.gate.authors,
            done=done,
            failed=failed,
        )

    # -- waivers ---------------------------------------------------------------------------------

    def _start_waiver(self, standing: Standing, lines: list[Line]) -> None:
        waivers = [x.about for x in lines if isinstance(x.about, Waiver)]
        panel = self._panels.act
        if waivers:
            if waivers[0].approver:
                self._desk.tell(f"It was approved by {waivers[0].approver}.", refused=True)
                return
            panel.approve.show_waiver(standing.content, waivers[0])
            self._show(panel.approve)
            return
        findings = acts.findings_of(lines)
        if not findings:
            self._desk.tell("Only findings can be waived.", refused=True)
            return
        panel.waive.show_findings(standing.content, findings, self._by)
        self._show(panel.waive)
        panel.waive.reason.setFocus()

    def _waive(self) -> None:
        form = self._panels.act.waive
        done = self._apply(
            lambda: acts.waive(
                self._content(),
                form.findings,
                reason=form.reason.text(),
                author=form.author.text(),
                approver=form.approver.text(),
                size=form.largest.text(),
                expires=form.expires.text(),
            ),
            form,
        )
        if done:
            form.reason.clear()

    def _approve(self) -> None:
        form = self._panels.act.approve
        waiver = form.waiver
        if waiver is not None:
            self._apply(lambda: acts.approve(waiver, form.approver.text()), form)

    # -- maturity, remarks -----------------------------------------------------------------------

    def _start_level(self, standing: Standing, lines: list[Line]) -> None:
        tables = [id for id in acts.tables_of(lines) if id in standing.content.tables]
        if not tables:
            self._desk.tell("This line is about no table.", refused=True)
            return
        form = self._panels.act.level
        form.show_tables(standing.content, tables, self._by)
        self._show(form)

    def _level(self) -> None:
        form, standing = self._panels.act.level, self._panels.standings.standing
        level = Level(form.level.currentData())
        base = standing.evidence_base if standing is not None else None
        self._apply(
            lambda: give_level(
                self._content(),
                form.tables,
                level,
                by=form.by.text(),
                note=form.note.text(),
                undriven=undriven(self._content(), base, form.tables)
                if level is Level.DRIVEN
                else None,
            ),
            form,
        )

    def _start_remark(self, standing: Standing, lines: list[Line]) -> None:
        form = self._panels.act.remark
        remark = next((x.about for x in lines if isinstance(x.about, Remark)), None)
        if remark is not None:
            form.show_remark(remark, self._by)
        else:
            line = lines[0] if lines else None
            table = line.table if line is not None else ""
            places = acts.selected_places(self._desk, table)
            document = self._desk.current
            if line is not None and line.cells and document is not None and table:
                shown = document.content.tables.get(table)
                if shown is not None and shown.axes:
                    places = tuple(shown.coordinates(cell) for cell in line.cells)
            form.show_table(standing.content, table, places, self._by)
        self._show(form)

    def _remark(self) -> None:
        form = self._panels.act.remark
        text, by, to = form.text.text(), form.by.text().strip(), form.to
        if to is not None:
            self._apply(lambda: acts.answer(to, text, by), form)
            return
        table = self._content().tables.get(form.table)
        label = table.label if table is not None else ""
        self._apply(lambda: acts.remark(text, by, form.table, form.places, label), form)

    def _close(self, _standing: Standing, lines: list[Line]) -> None:
        remarks = [x.about for x in lines if isinstance(x.about, Remark)]
        if not remarks:
            self._desk.tell("Only remarks are closed. They are in the list Remarks.", refused=True)
            return
        self._apply(lambda: acts.close(remarks, self._by), None)

    def _remove(self, standing: Standing, lines: list[Line]) -> None:
        items = [x.about for x in lines if isinstance(x.about, Waiver | Remark)]
        if not items:
            self._desk.tell("Only waivers and remarks are removed.", refused=True)
            return
        self._apply(lambda: acts.remove(self._content(), items), None)

    # -- doing it --------------------------------------------------------------------------------

    def _content(self) -> CalibrationSet:
        assert self._desk.current is not None
        return self._desk.current.content

    def _show(self, form: Form) -> None:
        self._panels.act.show_form(form)
        self._panels.show_panel(form)

    def _apply(self, make: Callable[[], Change], form: Form | None) -> bool:
        """Make a change and apply it; a refusal stands in the form as well."""
        if self._desk.current is None:
            return False
        try:
            change = make()
        except BitepointError as error:
            self._refuse(str(error), form)
            return False
        self._panels.list.choose_only_cursor()
        if not self._desk.do(change):
            if form is not None:
                form.say("Nothing was changed; the line at the bottom says why.", refused=True)
            return False
        self._panels.back_to_list()
        return True

    def _refuse(self, text: str, form: Form | None) -> None:
        self._desk.tell(text, refused=True)
        if form is not None:
            form.say(text, refused=True)
