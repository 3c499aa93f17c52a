"""What a surface says beside its shape: marks at nodes, the key, the read-out."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor

from app.cell_marks import CellMarks
from app.colours import Inks
from app.plots import words
from app.plots.legend import Entry
from app.plots.overlay_items import SIZES
from app.plots.surface.camera import Lens
from app.plots.surface.layers import Placed, Style
from app.plots.surface.marks import Mark, marks_at
from app.plots.surface.scene import Frame, hidden
from app.plots.view import Cell, Findings
from calib_model.core.arrays import BoolArray
from calib_model.core.planes import plane_index
from calib_model.core.table import Table

MOST_MARKS = 400
"""More marks of a kind than this would cover the surface, and cost more than they tell."""


def node_marks(
    shown: Placed,
    frame: Frame,
    lens: Lens,
    inks: Inks,
    cell: Cell,
    findings: Findings,
    locked: BoolArray | None,
    marks: CellMarks | None = None,
) -> list[Mark]:
    """Return the marks at the nodes of a sheet, as they are seen through a lens.

    Parameters
    ----------
    shown : Placed
    frame : Frame
    lens : Lens
    inks : Inks
    cell : tuple of int
        Under the cross-hair.
    findings : mapping of cell to (severity, sentence)
        Those in the drawn plane are marked.
    locked : bool array, shape (rows, columns), or None
    marks : CellMarks, optional
        Such as how the cells were driven.
    """
    sheet = shown.sheet
    wanted: list[tuple[str, BoolArray, QColor, float]] = []
    if marks is not None and marks.amounts.shape == shown.layer.table.shape:
        index = plane_index(cell[2:])
        levels, full = marks.levels[index], marks.full[index]
        for level in range(1, len(SIZES)):
            for kind, where in (("half", ~full), ("box", full)):
                wanted.append((kind, (levels == level) & where, inks.line, float(SIZES[level])))
    wanted.append(("empty", np.isnan(sheet.values), inks.line, 9.0))
    if locked is not None:
        wanted.append(("locked", locked, inks.line, 11.0))
    severities = np.full(sheet.values.shape, "", dtype=object)
    for place, (severity, _) in findings.items():
        if place[2:] == cell[2:]:
            severities[place[:2]] = str(severity)
    for severity in ("note", "warning", "error"):
        wanted.append((severity, severities == severity, inks.of(severity), 13.0))
    cursor = np.zeros(sheet.values.shape, dtype=bool)
    cursor[cell[:2]] = True
    wanted.append(("ring", cursor, inks.accent, 17.0))
    nodes = sheet.nodes(frame)
    points = [nodes[where][:MOST_MARKS] for _, where, _, _ in wanted]
    each = np.concatenate(points)
    seen, behind = lens.project(each), hidden(lens, sheet, frame, each)
    found: list[Mark] = []
    start = 0
    for (kind, _, colour, size), some in zip(wanted, points, strict=True):
        part = slice(start, start + len(some))
        found += marks_at(kind, seen[part], behind[part], colour, size)
        start = part.stop
    return found


def key_of(
    sheets: list[Placed], inks: Inks, findings: Findings, locked: BoolArray | None
) -> list[Entry]:
    """Return the entries of the key."""
    entries = []
    styles = {
        Style.SOLID: (Qt.PenStyle.SolidLine, 2.0),
        Style.DASHED: (Qt.PenStyle.DashLine, 1.6),
        Style.DOTTED: (Qt.PenStyle.DotLine, 2.2),
        Style.DIFFERENCE: (Qt.PenStyle.SolidLine, 2.0),
    }
    # The first one always has its entry: a key that comes and goes would move the scene under
    # the pointer.
    for shown in sheets:
        style, width = styles[shown.layer.style]
        entries.append(Entry(shown.layer.name or "values", inks.line, style, width))
    if any(shown.layer.style is Style.DIFFERENCE for shown in sheets):
        entries.append(Entry("no difference", inks.quiet, width=2.0))
    if locked is not None and locked.any():
        entries.append(Entry("locked", inks.line, mark="locked", filled=True))
    severities = {str(severity) for severity, _ in findings.values()}
    for severity in ("error", "warning", "note"):
        if severity in severities:
            entries.append(Entry(severity, inks.of(severity), mark=severity, filled=True))
    return entries


def beside_each_other(table: Table, cell: Cell, sheets: list[Placed], frame: Frame) -> str:
    """Return what several tables hold at a node of the first one, in words."""
    node = sheets[0].sheet.nodes(frame)[cell[:2]]
    parts = []
    for shown in sheets:
        height = shown.sheet.height(frame, node[:1], node[1:2])
        value = frame.value(float(height[0]))
        text = table.said(value) if np.isfinite(value) else "no value"
        if shown.layer.style is Style.DIFFERENCE and value > 0:
            text = f"+{text}"
        parts.append(f"{shown.layer.name} {text}".strip())
    return f"{words.place(table, cell)}: {'; '.join(parts)}"
