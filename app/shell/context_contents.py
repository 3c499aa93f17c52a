"""What the menu of each kind of thing holds: ids of actions, ``-`` for a line between groups."""

from __future__ import annotations

CONTENTS: dict[str, tuple[str, ...]] = {
    "cell": (
        "edit.cell", "values.set", "-",
        "edit.cut", "edit.copy", "edit.copy_with_axes", "edit.paste", "-",
        "values.fill_down", "values.fill_right", "values.corners", "values.from_neighbours",
        "values.average", "values.round", "-",
        "values.lock", "values.unlock", "-",
        "road.moments",
    ),
    "axis across": (
        "axes.move_column", "axes.insert_column", "axes.delete_column", "axes.detach_column", "-",
        "plots.turn_slices",
    ),
    "axis down": (
        "axes.move_row", "axes.insert_row", "axes.delete_row", "axes.detach_row", "-",
        "plots.turn_slices",
    ),
    "table": (
        "table.details", "table.rules", "-",
        "view.compare", "plots.result", "road.moments", "-",
        "release.accept", "release.query",
    ),
    "plot": (
        "plots.fit", "plots.turn_slices", "-",
        "plots.saved", "plots.reference", "plots.driving", "-",
        "plots.values", "plots.from_saved", "plots.from_reference",
    ),
    "finding": (
        "table.remedy_1", "table.remedy_2", "table.remedy_3", "table.remedy_4", "-",
        "table.next_finding", "table.previous_finding", "-",
        "table.rules", "table.findings_of_set",
    ),
    "compared table": (
        "compare.table_into_a", "compare.table_into_b", "-",
        "compare.in_tune", "compare.list_all", "-", "sets.swap",
    ),
    "channel": ("road.channels", "road.agreement", "road.totals", "-", "road.faults"),
    "recording": (
        "road.complain", "road.evidence", "-",
        "road.moments", "road.agreement", "road.totals", "road.faults", "-",
        "road.open", "road.close",
    ),
    "complaint": ("complaints.summary", "complaints.change_note"),
    "open point": (
        "release.accept", "release.accept_all", "release.query", "release.waive", "-",
        "release.level", "release.remark",
    ),
}  # fmt: skip
