"""Actions of the work area Tune: tables, findings, rules."""

from __future__ import annotations

from app.action import Action, can_edit, with_document, with_table
from app.tune.area import page_of

ACTIONS: tuple[Action, ...] = (
    Action("table.next", "&Next table", "Table", lambda w: w.work.step_table(+1),
           ("Ctrl+PgDown",), "Open the next table of the list.", with_document),
    Action("table.previous", "&Previous table", "Table", lambda w: w.work.step_table(-1),
           ("Ctrl+PgUp",), "Open the table before this one in the list.", with_document),
    Action("table.details", "&Details…", "-Table", lambda w: page_of(w).edit_details(),
           ("Alt+Return",), "Change the table's name, unit, limits, storage or description.",
           can_edit, icon="table-2"),
    Action("table.rules", "Edit &rules…", "Table", lambda w: page_of(w).edit_rules(),
           ("Ctrl+Shift+L",), "Write what the table must satisfy, as text.", can_edit,
           icon="file-text"),
    Action("table.next_finding", "Next &finding", "-Table", lambda w: w.work.step_finding(+1),
           ("F8",), "Go to the next finding of the set, at its cell.", with_document,
           icon="triangle-alert"),
    Action("table.previous_finding", "Previous f&inding", "Table",
           lambda w: w.work.step_finding(-1), ("Shift+F8",),
           "Go to the finding before this one.", with_document),
    Action("table.remedy_1", "Apply remedy &1", "Table", lambda w: w.work.apply_remedy(0),
           ("Alt+1",), "Mend the chosen finding by the first remedy listed.", can_edit),
    Action("table.remedy_2", "Apply remedy &2", "Table", lambda w: w.work.apply_remedy(1),
           ("Alt+2",), "Mend the chosen finding by the second remedy listed.", can_edit),
    Action("table.remedy_3", "Apply remedy &3", "Table", lambda w: w.work.apply_remedy(2),
           ("Alt+3",), "Mend the chosen finding by the third remedy listed.", can_edit),
    Action("table.remedy_4", "Apply remedy &4", "Table", lambda w: w.work.apply_remedy(3),
           ("Alt+4",), "Mend the chosen finding by the fourth remedy listed.", can_edit),
    Action("table.findings_of_set", "Findings of the &whole set", "-Table",
           lambda w: page_of(w).findings.whole_set.toggle(), ("Ctrl+Shift+F",),
           "List the findings of every table, or of this one only.", with_document,
           lambda w: page_of(w).findings.model.whole_set),
    Action("view.findings", "Show fin&dings", "-View", lambda w: page_of(w).show_side(0), ("F9",),
           "Move to the findings.", with_table),
    Action("view.rules", "Show rul&es", "View", lambda w: page_of(w).show_side(1), ("Shift+F9",),
           "Move to the rules of the table.", with_table),
    Action("view.next_pane", "Next &pane", "View", lambda w: w.work.next_pane(+1), ("F6",),
           "Move the keyboard to the next pane: list, grid, plots, findings.", with_document),
    Action("view.previous_pane", "Previous pane", "View", lambda w: w.work.next_pane(-1),
           ("Shift+F6",), "Move the keyboard to the pane before this one.", with_document),
)  # fmt: skip
