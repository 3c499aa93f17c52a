"""What was understood of some files: tables, doubts, what is left out; every guess changeable."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.patterns import any_fits
from ..core.table import Table
from ..errors import BitepointError, ModelError
from .asking import Contents, Reader
from .draft import Draft, draft_of
from .found import Doubt, Found, LeftOut, Reading
from .layout import FileChoice, Layout, TableChoice
from .said import id_said
from .sources import reading_of


class NotTaken(BitepointError):
    """Tables that cannot be taken as they were understood."""


@dataclass(frozen=True, eq=False)
class FileRead:
    """A file that was read, and what was understood of it."""

    contents: Contents
    reading: Reading
    asked: FileChoice


@dataclass(frozen=True, eq=False)
class Understood:
    """Everything that was understood.

    Parameters
    ----------
    files : tuple of FileRead
    layout : Layout
        What was chosen.
    tables : tuple of Draft
        In the order of the files.
    left_out : tuple of LeftOut
    about : mapping of str
        What the files say of the set (programme, mode, ...).
    shared_axes : mapping of id to Axis
    """

    files: tuple[FileRead, ...]
    layout: Layout
    tables: tuple[Draft, ...]
    left_out: tuple[LeftOut, ...]
    about: Mapping[str, str] = field(default_factory=dict)
    shared_axes: Mapping[str, Axis] = field(default_factory=dict)

    @property
    def taken(self) -> tuple[Draft, ...]:
        """The tables that would be taken."""
        return tuple(draft for draft in self.tables if draft.takes)

    @property
    def doubtful(self) -> tuple[tuple[Draft, Doubt], ...]:
        """What is doubtful of the tables that would be taken."""
        return tuple((draft, doubt) for draft in self.taken for doubt in draft.doubts)

    def with_table(self, draft: Draft, **chosen: Any) -> Understood:
        """Return the same with something chosen for one table; see `layout.TableChoice`."""
        return self.with_layout(self.layout.with_table(draft.source, draft.key, **chosen))

    def with_layout(self, layout: Layout) -> Understood:
        """Return what is understood with other choices; files are read again only if they must.

        Raises
        ------
        FileProblem
            If a file has to be read again and cannot be.
        """
        files = []
        with Reader() as reader:
            for one in self.files:
                path = one.contents.path
                asked = layout.for_file(path.name)
                if asked == one.asked and layout.files == self.layout.files:
                    files.append(one)
                    continue
                contents = one.contents
                how = (asked.encoding, asked.separator)
                if contents.kind == "text" and how != (one.asked.encoding, one.asked.separator):
                    contents = reader.contents(path, _hints(asked))
                files.append(FileRead(contents, reading_of(contents, layout), asked))
        return understood(files, layout)

    def content(self) -> CalibrationSet:
        """Return the tables as a set; see `require_clear` for whether they may be taken.

        Raises
        ------
        NotTaken
            If a table cannot be taken before something is settled, or there is none.
        """
        for draft in self.taken:
            stop = next((doubt for doubt in draft.doubts if doubt.blocks), None)
            if stop is not None:
                raise NotTaken(f"{draft.where}: {stop.why}", stop.remedy)
        tables = [draft.table for draft in self.taken]
        if not tables:
            raise NotTaken("No table was found in these files.", "See what was left out, and why.")
        try:
            return CalibrationSet({t.id: t for t in tables}, self.shared_axes).described(
                **self.about
            )
        except ModelError as error:
            raise NotTaken(error.problem, error.remedy) from None

    def require_clear(self) -> None:
        """Raise NotTaken if something is doubtful still, naming the first."""
        doubtful = self.doubtful
        if doubtful:
            draft, doubt = doubtful[0]
            more = f" And {len(doubtful) - 1} more doubts." if len(doubtful) > 1 else ""
            raise NotTaken(f"{draft.where}: {doubt.why}{more}", doubt.remedy)


def understand(
    paths: Iterable[Path | str],
    layout: Layout | None = None,
    *,
    refused: list[BitepointError] | None = None,
    progress: Callable[[int, int, Path], None] | None = None,
    reader: Reader | None = None,
) -> Understood:
    """Read files and say what was understood of them; nothing is taken yet.

    Parameters
    ----------
    paths : iterable of path-like
        Files; of a folder, every file in it that may hold tables.
    layout : Layout, optional
        What was chosen before.
    refused : list, optional
        Gets the problem of each file that cannot be read, and the rest is understood.
    progress : callable, optional
        Called before each file with its number, how many there are, and its path; what it raises
        ends the reading.
    reader : Reader, optional
        Ended by this; another thread may end it sooner, to give up.

    Raises
    ------
    FileProblem
        If a file cannot be read and `refused` is not given; the text names the place and the
        remedy.
    """
    chosen = layout or Layout()
    files = []
    wanted = listed(paths)
    with reader or Reader() as asking:
        for number, path in enumerate(wanted):
            if progress is not None:
                progress(number, len(wanted), path)
            asked = chosen.for_file(path.name)
            try:
                contents = (
                    Contents(path, "text") if asked.take is False
                    else asking.contents(path, _hints(asked))
                )  # fmt: skip
                files.append(FileRead(contents, reading_of(contents, chosen), asked))
            except BitepointError as error:
                if refused is None:
                    raise
                refused.append(error)
    return understood(files, chosen)


def set_of(
    paths: Iterable[Path | str], layout: Layout | None = None, *, as_understood: bool = False
) -> CalibrationSet:
    """Return the tables of some files as a set; see `calib_model.scripting.bring_in`.

    Raises
    ------
    NotTaken
        If something is doubtful, or cannot be taken.
    FileProblem
        If a file cannot be read.
    """
    found = understand(paths, layout)
    if not as_understood:
        found.require_clear()
    return found.content()


SUFFIXES = (".csv", ".tsv", ".txt", ".tab", ".xlsx", ".xlsm", ".ods", ".h5", ".hdf5", ".hdf", ".nc",
            ".nc4")  # fmt: skip
MOST_FILES = 5_000


def listed(paths: Iterable[Path | str]) -> list[Path]:
    """Return files; for a folder those in it (not deeper) whose suffix may be one of tables."""
    found: list[Path] = []
    for path in map(Path, paths):
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.suffix.lower() in SUFFIXES)
            found += [p for p in inside if p.is_file() and not p.name.startswith((".", "~"))]
        else:
            found.append(path)
    if len(found) > MOST_FILES:
        raise NotTaken(f"These are {len(found)} files.", f"Take at most {MOST_FILES} at once.")
    return list(dict.fromkeys(found))


def _hints(choice: FileChoice) -> dict[str, str]:
    return {
        key: text
        for key in ("encoding", "separator", "decimal", "thousands")
        if (text := getattr(choice, key)) is not None
    }


def understood(files: Sequence[FileRead], layout: Layout) -> Understood:
    """Put together what was understood of several files."""
    about: dict[str, str] = {}
    shared: dict[str, Axis] = {}
    details: dict[str, dict[str, str]] = {}
    left_out: list[LeftOut] = []
    for one in files:
        about.update({k: text for k, text in one.reading.about.items() if text})
        left_out += one.reading.left_out
        for axis in one.reading.shared_axes:
            shared.setdefault(axis.shared, axis)
        for id, texts in one.reading.details:
            details.setdefault(id, {}).update(texts)
    drafts = []
    for one in files:
        for found, key in _keyed(one.reading.tables, one.contents.path):
            choice = layout.for_table(found.source, key)
            drafts.append(draft_of(found, key, choice, details.get(found.id)))
    unused = set(details) - {draft.found.id for draft in drafts}
    if unused:
        some = ", ".join(sorted(unused)[:5])
        more = f" and {len(unused) - 5} more" if len(unused) > 5 else ""
        left_out.append(LeftOut("", "", f"A list names tables without values: {some}{more}."))
    drafts = list(_claims(drafts))
    drafts = list(_shared(drafts, shared))
    return Understood(tuple(files), layout, tuple(drafts), tuple(left_out), about, shared)


def _keyed(tables: Sequence[Found], path: Path) -> Iterator[tuple[Found, str]]:
    """Give each table of a file a key: the id that was understood, numbered where it repeats."""
    seen: Counter[tuple[str, str]] = Counter()
    alone = len(tables) == 1
    for found in tables:
        if not found.id:
            text = path.stem if alone else found.name
            found = replace(found, id=id_said(text) if text else "")
        key = found.id or found.where
        seen[found.source, key] += 1
        number = seen[found.source, key]
        yield found, key if number == 1 else f"{key} ({number})"


def _claims(drafts: Sequence[Draft]) -> Iterator[Draft]:
    """Doubt tables that claim one id; leave out what is the same again."""
    by_id: dict[str, list[Draft]] = {}
    for draft in drafts:
        if draft.takes:
            by_id.setdefault(draft.table.id, []).append(draft)
    for draft in drafts:
        claims = by_id.get(draft.table.id, [])
        if not draft.takes or len(claims) < 2 or draft.table.id == "unnamed":
            yield draft
            continue
        first = claims[0]
        if all(other.table == first.table for other in claims[1:]):
            if draft is first:
                yield draft
            else:
                yield replace(draft, takes=False, why_not=f"It is the same as in {first.where}.")
            continue
        other = next(one for one in claims if one is not draft)
        doubt = Doubt(
            "id", f"{draft.table.id} is claimed by another table as well, in {other.where}.",
            "Choose another id for one of them, or leave one out.", blocks=True,
        )  # fmt: skip
        yield replace(draft, doubts=(*draft.doubts, doubt))


def _shared(drafts: Sequence[Draft], shared: dict[str, Axis]) -> Iterator[Draft]:
    """Find the set's shared axes; a table whose axis is another one is detached, in doubt."""
    for draft in drafts:
        if draft.takes:
            for axis in draft.table.axes:
                if axis.shared:
                    shared.setdefault(axis.shared, axis)
    for draft in drafts:
        loose = [
            n for n, a in enumerate(draft.table.axes) if a.shared and shared.get(a.shared) != a
        ]
        if not loose:
            yield draft
            continue
        table: Table = draft.table
        names = ", ".join(table.axes[n].shared for n in loose)
        axes = tuple(replace(a, shared="") if n in loose else a for n, a in enumerate(table.axes))
        doubt = Doubt("shared axis", f"Its axis {names} is not the one that other tables share.",
                      "Mend it in the file, or confirm that it is the table's own.")  # fmt: skip
        yield replace(draft, table=replace(table, axes=axes), doubts=(*draft.doubts, doubt))


def only(understood: Understood, patterns: Iterable[str]) -> Understood:
    """Return the same with tables of other ids left out.

    Parameters
    ----------
    understood : Understood
    patterns : iterable of str
        With ``*`` and ``?``.
    """
    wanted = tuple(patterns)
    tables = tuple(
        draft
        if any_fits(wanted, draft.table.id)
        else replace(draft, takes=False, why_not=draft.why_not or "It was not asked for.")
        for draft in understood.tables
    )
    return replace(understood, tables=tables)


def to_remember(understood: Understood) -> Layout:
    """Return the layout with an entry for each doubtful table, to be filled in by hand."""
    layout = understood.layout
    for draft in dict.fromkeys(draft for draft, _ in understood.doubtful):
        kept = layout.for_table(draft.source, draft.key)
        if kept == TableChoice():
            layout = layout.with_table(draft.source, draft.key, id=draft.table.id)
        if any(doubt.about == "numbers" for doubt in draft.doubts):
            file = draft.source.split(" | ")[0]
            if layout.for_file(file) == FileChoice():
                numerals = _numerals_of(understood, draft.source)
                layout = layout.with_file(file, decimal=numerals)
    return layout


def _numerals_of(understood: Understood, source: str) -> str:
    for one in understood.files:
        for grid in one.contents.grids:
            if grid.source == source:
                return grid.numerals.decimal
    return "."
