"""What could be taken, what is doubtful, and what was chosen: the state behind the page, no Qt."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from calib_model.bringing.draft import Draft
from calib_model.bringing.found import Doubt
from calib_model.bringing.layout import AxisChoice, FileChoice, Layout
from calib_model.bringing.said import id_said
from calib_model.bringing.taking import Arrival, Coming, arrivals, change_of
from calib_model.bringing.understanding import Understood
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import short
from calib_model.core.table import Table
from calib_model.core.units import shown
from calib_model.editing.change import Change
from calib_model.editing.difference import change_between
from calib_model.errors import BitepointError

DOUBTFUL, SURE, OUT, UNREAD = "Doubtful", "Sure", "Left out", "Could not be read"
INTO = {
    Coming.NEW: "New",
    Coming.CHANGED: "Changed",
    Coming.RESIZED: "Other breakpoints",
    Coming.RENAMED: "Perhaps renamed",
    Coming.SAME: "Same as in the set",
    Coming.VANISHED: "In the set only",
}
"""Groups of what comes into a set that is open."""
Key = tuple[str, str]
CONFIRM, EMPTY = "confirm", "empty"
"""What settles a doubt besides its own choices: right as it is; leave the cells unfilled."""


@dataclass(frozen=True, eq=False)
class Row:
    """A line of the list.

    Parameters
    ----------
    group : str
    title, detail : str
    draft : Draft or None
    table : Table or None
        To draw.
    doubts : tuple of Doubt
        Still open.
    taken : bool or None
        Whether it would be taken (a vanished one: removed); None where there is nothing to take.
    id : str
        Of a table of the set that no file has.
    """

    group: str
    title: str
    detail: str
    draft: Draft | None = None
    table: Table | None = None
    doubts: tuple[Doubt, ...] = ()
    taken: bool | None = None
    id: str = ""

    @property
    def blocked(self) -> bool:
        """Whether it cannot be taken as it is."""
        return bool(self.taken) and any(doubt.blocks for doubt in self.doubts)

    @property
    def key(self) -> Key:
        """By this it is found again after a choice."""
        return key_of(self.draft) if self.draft is not None else (self.group, self.title)


def key_of(draft: Draft) -> Key:
    """Return what choices for a draft are remembered by."""
    return draft.source, draft.key


class Offer:
    """What was understood, and what becomes of it.

    Parameters
    ----------
    understood : Understood
    refused : iterable of BitepointError
        Files that could not be read.
    content : CalibrationSet, optional
        The set that the tables would come into; a new one by default.
    """

    def __init__(
        self,
        understood: Understood,
        refused: Iterable[BitepointError] = (),
        content: CalibrationSet | None = None,
    ) -> None:
        self.understood = understood
        self.refused = tuple(refused)
        self.content = content
        self._removed: set[str] = set()
        self._confirmed: set[Key] = set()
        self._rows: list[Row] | None = None

    # -- what is shown -----------------------------------------------------------------------

    def rows(self) -> list[Row]:
        """Return every line, group by group, in the order in which one works through them."""
        if self._rows is None:
            made = list(self._new() if self.content is None else self._into(self.content))
            order = (UNREAD, DOUBTFUL, *INTO.values(), SURE, OUT)
            self._rows = sorted(made, key=lambda row: (order.index(row.group), not row.doubts))
        return self._rows

    @property
    def taken(self) -> list[Row]:
        """What would be taken."""
        return [row for row in self.rows() if row.taken and row.draft is not None]

    @property
    def coming(self) -> list[Row]:
        """What would be taken and is not in the set already as it is."""
        return [row for row in self.taken if row.group != INTO[Coming.SAME]]

    @property
    def doubtful(self) -> list[Row]:
        """What would be taken and is doubtful still."""
        return [row for row in self.rows() if row.taken and row.doubts]

    @property
    def blocked(self) -> list[Row]:
        """What cannot be taken as it is."""
        return [row for row in self.rows() if row.blocked]

    @property
    def removed(self) -> list[str]:
        """Ids of the tables that the set would lose."""
        return [row.id for row in self.rows() if row.id and row.taken]

    def summary(self) -> str:
        """Return the counts in words."""
        out = len(self.rows()) - len(self.coming) - len(self.removed)
        parts = [f"{len(self.coming)} to take", f"{len(self.doubtful)} doubtful"]
        if self.removed:
            parts.append(f"{len(self.removed)} to be removed from the set")
        return ", ".join([*parts, f"{out} not taken"])

    def _new(self) -> Iterator[Row]:
        for draft in self.understood.tables:
            if not draft.takes:
                yield self._out(draft)
                continue
            group = DOUBTFUL if draft.doubts else SURE
            yield Row(
                group, draft.table.label, detail_of(draft.table), draft, draft.table,
                draft.doubts, taken=True,
            )  # fmt: skip
        yield from self._rest()

    def _into(self, content: CalibrationSet) -> Iterator[Row]:
        for one in arrivals(self.understood, content):
            group = INTO[one.coming]
            if one.draft is None:
                assert one.before is not None, "what vanished was there"
                yield Row(
                    group, one.before.label, f"{one.id} · {one.words}", None, one.before,
                    taken=one.id in self._removed, id=one.id,
                )  # fmt: skip
                continue
            words = f"{one.id} · {one.words}" if one.words else one.id
            table = one.after or one.draft.table
            yield Row(
                group, table.label, words, one.draft, table, self._open(one, one.draft), taken=True
            )
        for draft in self.understood.tables:
            if not draft.takes:
                yield self._out(draft)
        yield from self._rest()

    def _open(self, one: Arrival, draft: Draft) -> tuple[Doubt, ...]:
        """Return the doubts that nobody confirmed: some exist only against the set."""
        if key_of(draft) in self._confirmed:
            return tuple(doubt for doubt in one.doubts if doubt.blocks)
        return one.doubts

    def _out(self, draft: Draft) -> Row:
        why = draft.why_not or "So chosen."
        return Row(OUT, draft.table.label, f"{draft.where}: {why}", draft, draft.table, taken=False)

    def _rest(self) -> Iterator[Row]:
        for error in self.refused:
            place = getattr(error, "place", "")
            said = f"{place}: {error.problem}" if place else error.problem
            yield Row(UNREAD, _named(error), f"{said} {error.remedy}".strip())
        for left in self.understood.left_out:
            where = ", ".join(part for part in (left.source, left.where) if part)
            yield Row(OUT, where or "A list of tables", left.why)

    # -- choosing ----------------------------------------------------------------------------

    def alike(self, draft: Draft) -> list[Draft]:
        """Return the tables that a choice for one may count for: of one form, with its doubts.

        The draft itself is the first.
        """
        kind = _kind(draft)
        others = [one for one in self.understood.tables if one is not draft and _kind(one) == kind]
        return [draft, *others]

    def choose(self, drafts: Iterable[Draft], **chosen: Any) -> None:
        """Choose something for tables; see `calib_model.bringing.layout.TableChoice`."""
        listed = list(drafts)
        self._use({key_of(draft): self._with_axes(draft, chosen) for draft in listed})

    def choose_axis(self, drafts: Iterable[Draft], number: int, **chosen: Any) -> None:
        """Choose something for the axis of a number, counted from 0."""
        new: dict[Key, dict[str, Any]] = {}
        for draft in drafts:
            axes = self._axes(draft)
            if number < len(axes):
                axes[number] = replace(axes[number], **chosen)
                new[key_of(draft)] = {"axes": tuple(axes)}
        self._use(new)

    def confirm(self, drafts: Iterable[Draft]) -> None:
        """Say of tables that they are right as they were understood."""
        listed = list(drafts)
        self._confirmed |= {key_of(draft) for draft in listed}
        self._use({key_of(draft): {"sure": True} for draft in listed})

    def settle(self, draft: Draft, drafts: Sequence[Draft], about: str, choice: str) -> None:
        """Settle a doubt of a table, and the same one of others, by one of its choices.

        Parameters
        ----------
        draft : Draft
        drafts : sequence of Draft
            For which the choice counts.
        about : str
            See `calib_model.bringing.found.Doubt`.
        choice : str
            One of the doubt's choices, `CONFIRM` or `EMPTY`.
        """
        if choice == CONFIRM or choice == draft.table.id:
            self.confirm(drafts)
        elif about == "cells" and choice == EMPTY:
            self.choose(drafts, cells="empty")
        elif about in ("unit", "id"):
            self.choose(drafts, **{about: choice})
        elif about.startswith("axis "):
            number = int(about.split()[1]) - 1
            if about.endswith(" unit"):
                self.choose_axis(drafts, number, unit=choice)
            else:  # a doubt counts the axes as the file has them
                turned = self.understood.layout.for_table(*key_of(draft)).turned
                at = len(draft.table.axes) - 1 - number if turned else number
                self.choose_axis(drafts, at, order=choice)
        else:
            self.confirm(drafts)

    def of_files(self) -> list[Draft]:
        """Return tables without an id of their own, each alone in its file: that has a name."""
        alone = Counter(draft.source for draft in self.understood.tables)
        return [
            row.draft
            for row in self.blocked
            if row.draft is not None
            and alone[row.draft.source] == 1
            and any(doubt.about == "id" and doubt.blocks for doubt in row.doubts)
        ]

    def name_by_files(self) -> None:
        """Give the tables of `of_files` the names of their files as ids."""
        self._use({
            key_of(draft): {"id": id_said(Path(draft.source.split(" | ")[0]).stem)}
            for draft in self.of_files()
        })  # fmt: skip

    def leave_out_blocked(self) -> None:
        """Leave out what cannot be taken as it is."""
        drafts = [row.draft for row in self.blocked if row.draft is not None]
        self.choose(drafts, take=False)

    def turn_over(self, row: Row) -> None:
        """Take a table or leave it out; have the set lose one of its own, or keep it."""
        if row.id:
            self._removed ^= {row.id}
            self._rows = None
        elif row.draft is not None:
            self.choose([row.draft], take=not row.taken)

    def file_layout(self, draft: Draft, *, all_files: bool, **chosen: Any) -> Layout:
        """Return the layout with another way to read the file of a table, or all of its kind."""
        name = draft.source.split(" | ")[0]
        suffix = name[name.rfind(".") :] if "." in name else ""
        return self.understood.layout.with_file(f"*{suffix}" if all_files else name, **chosen)

    def file_choice(self, draft: Draft) -> FileChoice:
        """Return what was chosen for the file of a table."""
        name, _, sheet = draft.source.partition(" | ")
        return self.understood.layout.for_file(name, sheet)

    def replace(self, understood: Understood) -> None:
        """Show what is understood with other choices."""
        self.understood = understood
        self._rows = None

    def set_target(self, content: CalibrationSet | None) -> None:
        """Have the tables come into a set, or make a new one of them."""
        self.content = content
        self._rows = None

    def _use(self, chosen: Mapping[Key, Mapping[str, Any]]) -> None:
        if chosen:
            layout = self.understood.layout.with_tables(chosen)
            self.replace(self.understood.with_layout(layout))

    def _axes(self, draft: Draft) -> list[AxisChoice]:
        axes = list(self.understood.layout.for_table(*key_of(draft)).axes)
        return axes + [AxisChoice()] * (len(draft.found.axes) - len(axes))

    def _with_axes(self, draft: Draft, chosen: Mapping[str, Any]) -> dict[str, Any]:
        """What was chosen for the axes goes with them when they are turned round."""
        new = dict(chosen)
        was = bool(self.understood.layout.for_table(*key_of(draft)).turned)
        if "turned" in new and bool(new["turned"]) != was:
            new["axes"] = tuple(reversed(self._axes(draft)))
        return new

    # -- taking ------------------------------------------------------------------------------

    def title(self) -> str:
        """Return what the history says."""
        names = [one.contents.path.name for one in self.understood.files]
        more = f" and {len(names) - 2} more" if len(names) > 2 else ""
        return f"Import from {', '.join(names[:2])}{more}"

    def change(self, **about: str) -> Change:
        """Return the one change that takes what is chosen, of the set or of an empty one.

        Parameters
        ----------
        **about : str
            What a new set is called: ``programme``, ``mode``, ``base_mode``.

        Raises
        ------
        NotTaken
            If a table cannot be taken; nothing is half taken.
        """
        if self.content is None:
            said = {key: text for key, text in about.items() if text}
            content = self.understood.content().described(**said)
            return change_between(CalibrationSet({}), content, self.title())
        return change_of(
            self.content, arrivals(self.understood, self.content), self.title(),
            remove=self.removed, shared_axes=self.understood.shared_axes.values(),
        )  # fmt: skip


def _kind(draft: Draft) -> tuple[object, ...]:
    doubts = frozenset(doubt.about for doubt in draft.found.doubts)
    return draft.found.form, len(draft.found.axes), doubts


def _named(error: BitepointError) -> str:
    path = getattr(error, "path", None)
    return str(getattr(path, "name", "") or path or "A file")


def detail_of(table: Table) -> str:
    """Return id, size, unit and range of a table, for the second line of its row."""
    size = " × ".join(map(str, table.shape)) or table.kind
    finite = table.values[np.isfinite(table.values)]
    unit = shown(table.unit)
    if not finite.size:
        return f"{table.id} · {size} · empty"
    low, high = float(finite.min()), float(finite.max())
    span = short(low) if low == high else f"{short(low)} to {short(high)}"
    return f"{table.id} · {size} · {span} {unit}".rstrip()
