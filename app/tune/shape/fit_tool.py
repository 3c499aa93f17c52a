"""The shaping tool that fits a table from measurements in a text file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib_model.core.table import Table
from calib_model.core.units import same_kind
from calib_model.errors import BitepointError, EditRefused
from calib_model.exchange.measurement_layout import inspect
from calib_model.exchange.measurements import Choice, read_samples, suggested
from calib_model.shaping.fit_options import FitOptions
from calib_model.shaping.tools import FIT

from .fields import Field
from .form import field, fields
from .tool import Asking, Question, Tool, given, needs_axes

if TYPE_CHECKING:
    from calib_model.exchange.measurement_layout import Layout
    from calib_model.shaping import Proposal

_LAYOUTS: dict[tuple[str, int, int], Any] = {}


def _layout(path: Path | None) -> Layout | None:
    """Return what a file looks like, looked at once as long as it stays; None if it has no form."""
    if path is None:
        return None
    try:
        status = path.stat()
        key = (str(path), status.st_mtime_ns, status.st_size)
        if key not in _LAYOUTS:
            _LAYOUTS.clear()
            _LAYOUTS[key] = inspect(path)
    except (OSError, BitepointError):
        return None  # proposing says what is wrong with it
    return _LAYOUTS[key]  # type: ignore[no-any-return]


def _fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    data = Field("data", "&Measurements", "file", "A text file with one sample per row.",
                 default="Measurements (*.csv *.txt);;All files (*)")  # fmt: skip
    layout = _layout(asking.entered.get("data"))
    if layout is None:
        return (data,)
    guess = dict(suggested(layout, table))
    targets = [(str(n + 1), axis.unit) for n, axis in enumerate(table.axes)]
    for key, unit in (*targets, ("value", table.unit)):
        # No name fits: offer the first free column whose unit does; the user sees the choice.
        free = (c for c in layout.columns if c.name not in guess.values() and c.unit)
        fits = next((c.name for c in free if same_kind(c.unit, unit)), "")
        if key not in guess and fits:
            guess[key] = fits
    columns = tuple((c.name, f"{c.name} [{c.unit}]" if c.unit else c.name) for c in layout.columns)
    names = {name for name, _ in columns}
    maybe = (("", "None"), *columns)

    def column(key: str, label: str, tip: str, wanted: str) -> Field:
        default = wanted if wanted in names else columns[0][0]
        return Field(key, label, "choice", tip, columns, default)

    axes = [
        column(f"column_{n}", axis.label, f"Column of {axis.label}.", guess.get(str(n + 1), ""))
        for n, axis in enumerate(table.axes)
    ]
    falling = tuple(
        (other.id, other.label)
        for other in asking.content
        if other.id != table.id and other.axes == table.axes and other.unit == table.unit
    )
    return (
        data,
        *axes,
        column("column_value", table.label, "Column of the value.", guess.get("value", "")),
        Field("specimen", "&Unit under test", "choice", "Column that names the unit.", maybe, ""),
        Field("drive", "Dr&ive", "choice", "Column that a sweep drives up and down.", maybe, ""),
        Field("weight", "Wei&ght", "choice", "Column that says how many samples a row counts as.",
              maybe, ""),
        field(FIT["branch"], asking, options=(("", "All samples"), *FIT["branch"].choices),
              when=lambda v: not v.get("falling")),
        field(FIT["falling"], asking, options=(("", "No table"), *falling)),
        field(FIT["gap"], asking, when=lambda v: bool(v.get("falling"))),
        *fields(FIT, asking, "loss", "elsewhere", "strength", "least", "outlier", "on_raster"),
    )  # fmt: skip


def _make(question: Question) -> Proposal:
    # Late: a tenth of a second that the window's start need not wait for.
    from calib_model.shaping.branches import fit_branches
    from calib_model.shaping.fit import fit

    s = question.settings
    path = s.get("data")
    if path is None:
        raise EditRefused("No file of measurements is chosen.", "Choose one, then Work out.")
    table: Table = question.content[question.table]
    layout = _layout(path) or inspect(path)
    if "column_value" not in s:
        raise EditRefused("The file's columns are not chosen yet.", "Choose them, then Work out.")
    chosen = [s[f"column_{n}"] for n in range(len(table.axes))]
    used = [*chosen, s["column_value"], *filter(None, [s.get("weight")])]
    if len(set(used)) < len(used):
        raise EditRefused(
            f"Column {next(c for c in used if used.count(c) > 1)!r} is chosen twice.",
            "Give every axis, the value and the weight a column of its own.",
        )
    samples = read_samples(
        path,
        table,
        [Choice(name) for name in chosen],
        Choice(s["column_value"]),
        specimen=s.get("specimen") or "",
        drive=s.get("drive") or "",
        weight=s.get("weight") or "",
        layout=layout,
    )
    asked = given(FIT, question)
    falling, branch, nominal = (asked.pop(name) for name in ("falling", "branch", "nominal"))
    options, against = FitOptions(**asked), question.against
    if falling:
        return fit_branches(
            question.content, table.id, falling, samples, options, nominal=nominal, against=against
        )
    return fit(
        question.content, table.id, samples, options, branch=branch, nominal=nominal,
        against=against,
    )  # fmt: skip


FIT_TOOL = Tool(
    "fit",
    "Fit from measurements",
    "Values from scattered samples, under the table's rules; nodes without samples are named and "
    "never taken for measured.",
    FIT,
    _make,
    _fields,
    needs_axes,
    live=False,
)
