"""What the verbs that read measurements share: the file, its columns, and which samples count."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.answer import refuse
from app.cli.parser import VerbParser
from app.cli.proposals import kinds
from calib_model.core.rule import find_axis
from calib_model.exchange.measurements import Choice, inspect, read_samples, suggested
from calib_model.shaping.fit_options import FitOptions

if TYPE_CHECKING:
    from calib_model.core.table import Table
    from calib_model.shaping.samples import Samples


def add_samples(made: VerbParser, *, required: bool) -> None:
    """Add the file of samples and its columns."""
    made.add_argument("--data", metavar="CSV", type=Path, required=required, help="file of samples")
    made.add_argument(
        "--column",
        metavar="NAME=COLUMN",
        action="append",
        default=[],
        help="which column of the file carries an axis (by quantity, name or number) or the "
        "`value`; add the unit it is in as COLUMN[UNIT]; columns of the same name are found",
    )
    made.add_argument("--drive", metavar="COLUMN", default="", help="column that drives a sweep")
    made.add_argument(
        "--specimen", metavar="COLUMN", default="", help="column that names the unit under test"
    )
    made.add_argument(
        "--weight", metavar="COLUMN", default="",
        help="column that says how many samples a row counts as (0: none); one each by default",
    )  # fmt: skip
    made.add_argument(
        "--samples",
        metavar="NAME=LOW..HIGH",
        action="append",
        default=[],
        help="use only samples in this range of an axis or the `value`, in the table's units",
    )
    made.add_argument("--separator", metavar="SIGN", help="separator, if it is not found out")
    made.add_argument("--decimal", choices=(".", ","), help="decimal mark, if there is a doubt")
    made.add_argument("--encoding", metavar="NAME", help="encoding, if it is not found out")
    made.add_argument(
        "--skip-text", action="store_true", help="leave out rows with text in a number column"
    )


def read(given: argparse.Namespace, table: Table) -> Samples:
    """Read the samples for a table."""
    layout = inspect(
        given.data, encoding=given.encoding, separator=given.separator, decimal=given.decimal
    )
    found: dict[str, str] = suggested(layout, table)
    for text in given.column:
        name, sign, column = text.partition("=")
        if not sign or not column:
            refuse(
                f"--column {text!r} is not understood.", "Write NAME=COLUMN or NAME=COLUMN[UNIT]."
            )
        found[_key(table, name.strip())] = column.strip()
    choices = []
    wanted = [*(str(n + 1) for n in range(len(table.axes))), "value"]
    for key in wanted:
        if key not in found:
            what = "value" if key == "value" else table.axes[int(key) - 1].label.lower()
            name = "value" if key == "value" else table.axes[int(key) - 1].quantity or key
            refuse(
                f"{given.data}: No column is known for the {what} of {table.id}.",
                f"Add --column {name}=COLUMN; the file has "
                f"{', '.join(c.name for c in layout.columns)}.",
            )
        column, unit = found[key], ""
        if column.endswith("]") and "[" in column:
            column, _, unit = column[:-1].rpartition("[")
        choices.append(Choice(column.strip(), unit.strip()))
    samples = read_samples(
        given.data,
        table,
        choices[:-1],
        choices[-1],
        specimen=given.specimen,
        drive=given.drive,
        weight=given.weight,
        skip_text=given.skip_text,
        layout=layout,
    )
    for text in given.samples:
        name, low, high = _range(text)
        key = _key(table, name)
        samples = samples.within(-1 if key == "value" else int(key) - 1, low, high)
    return samples


def options(given: argparse.Namespace) -> FitOptions:
    """Return the options of the fit that breakpoints are placed by."""
    return FitOptions(loss=given.loss, strength=given.strength, without=kinds(given.without))


def _key(table: Table, name: str) -> str:
    return "value" if name == "value" else str(find_axis(table, name) + 1)


def _range(text: str) -> tuple[str, float, float]:
    name, sign, span = text.partition("=")
    low, dots, high = span.partition("..")
    try:
        first = float(low) if low.strip() else float("-inf")
        last = (float(high) if high.strip() else float("inf")) if dots else first
    except ValueError:
        first = last = float("nan")
    if not sign or not first <= last:
        refuse(
            f"--samples {text!r} is not understood.", "Write NAME=LOW..HIGH, as clamp=50..12000."
        )
    return name.strip(), first, last
