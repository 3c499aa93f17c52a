"""Ten small tasks on the practice set, each ticked as it is done."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Step:
    """One task.

    Parameters
    ----------
    id : str
        Kept in the settings once it is done.
    text : str
        What to do; ``{keys}`` stands for the keys of `action`.
    action : str
        The action that does it, or helps to.
    done_by : str
        ``action`` (running it), ``edit`` (any edit that is no undo) or ``table`` (another table).
    """

    id: str
    text: str
    action: str
    done_by: str = "action"


STEPS = (
    Step("open", "Open the practice set: it holds eight planted mistakes.", "file.open_practice"),
    Step("find", "Find a table by name: {keys}, then type “touch” and Enter.",
         "view.palette", "table"),
    Step("change", "Go to a cell, type a number, Enter.", "edit.cell", "edit"),
    Step("undo", "Take it back: {keys}.", "edit.undo"),
    Step("finding", "Go to the next finding: {keys}. Read what is wrong with it.",
         "table.next_finding"),
    Step("remedy", "Apply the first remedy: {keys}.", "table.remedy_1"),
    Step("fill", "Select a block with Shift and the arrow keys, then fill it between its "
         "corners: {keys}.", "values.corners"),
    Step("smooth", "Look at what smoothing would propose; take it, or leave it.", "shape.smooth"),
    Step("surface", "See a map as a surface: {keys}.", "surface.show"),
    Step("history", "See what you did, and when: {keys}.", "file.history"),
)  # fmt: skip
