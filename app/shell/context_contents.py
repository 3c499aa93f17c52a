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
        "table.details", "table.add_rule", "table.suggest_rules", "table.rules", "-",
        "view.compare", "plots.result", "road.moments", "-",
        "release.accept", "release.query",
    ),
    "plot": (
        "plots.fit", "plots.turn_slices", "-",
        "plots.copy", "plots.save", "plots.slide", "plots.pop_out", "-",
        "plots.saved", "plots.reference", "plots.driving", "-",
        "plots.values", "plots.from_saved", "plots.from_reference",
    ),
    "finding": (
        "table.remedy_1", "table.remedy_2", "table.remedy_3", "table.remedy_4", "-",
        "table.next_finding", "table.previous_finding", "-",
        "table.rules", "table.findings_of_set",
    ),
    "rule": (
        "table.change_rule", "table.remove_rule", "-",
        "table.add_rule", "table.suggest_rules", "table.rules",
    ),
    "compared table": (
        "compare.table_into_a", "compare.table_into_b", "-",
        "compare.in_tune", "compare.list_all", "-", "sets.swap",
    ),
    "channel": ("road.go", "-", "road.agreement", "road.totals", "road.faults", "-",
                "road.copy_list"),
    "moment": ("road.go", "road.moment", "-", "road.complain", "road.evidence", "-",
               "road.copy_list"),
    "signal": ("road.go", "-", "road.channels", "road.moment", "-", "road.copy_list"),
    "used cell": ("road.go", "road.to_cell", "-", "road.moments", "road.complain", "-",
                  "road.copy_list"),
    "recording": (
        "road.complain", "road.evidence", "road.to_cell", "-",
        "road.full_plot", "-",
        "road.moment", "road.moments", "road.agreement", "road.totals", "road.faults", "-",
        "road.open", "road.close",
    ),
    "complaint": (
        "complaints.answer", "complaints.prove", "-",
        "complaints.moment", "complaints.table", "-",
        "complaints.drop", "complaints.remove", "-",
        "complaints.new", "complaints.summary", "complaints.change_note",
    ),
    "manoeuvre": (
        "road.drive", "road.drive_all", "-",
        "road.traces", "road.path", "road.sensitivity", "-",
        "road.desk_evidence", "-",
        "road.vehicle", "road.own_manoeuvres",
    ),
    "estimate": (
        "road.sensitivity", "road.traces", "road.estimates", "-", "road.left_out",
    ),
    "trace": ("road.deciding", "road.desk_evidence", "-", "road.path", "road.estimates"),
    "run": ("road.go", "-", "road.distributions", "-", "road.copy_list"),
    "open point": (
        "release.accept", "release.accept_all", "release.query", "release.waive", "-",
        "release.level", "release.remark",
    ),
}  # fmt: skip
