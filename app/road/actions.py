"""Actions of the work area Road that belong to no single part, and those of Recordings."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, with_document, with_table
from app.road.parts import PARTS
from app.road.showing import in_part, is_shown, on_road, shows

MENU = "Road/Recordings"
LISTS = f"{MENU}/Lists"


def _recordings(act: Callable[[Any], object]) -> Callable[[Any], None]:
    return in_part("recordings", act)


ACTIONS: tuple[Action, ...] = (
    *(
        Action(f"road.{part.name}", part.menu_text, f"Road/{part.title}", shows(part.name),
               (part.key,), part.about, checked=is_shown(part.name), icon=part.icon)
        for part in PARTS
    ),
    Action("road.open", "&Open recordings…", f"-{MENU}", _recordings(lambda p: p.ask_open()),
           ("Ctrl+F3",), "Open one or several recordings of driving.", icon="folder-open"),
    Action("road.samples", "Open the &sample recordings", MENU,
           lambda w: w.files.open_sample_recordings(), (),
           "Open a snowy round and a highway run of the invented programme Larch."),
    Action("road.newest", "Load the &newest run", MENU, _recordings(lambda p: p.load_newest()),
           ("Ctrl+Shift+J",), "Open the newest run of the watched folder.", icon="refresh-cw"),
    Action("road.watch", "&Watch a folder…", MENU, _recordings(lambda p: p.watching.ask()), (),
           "Choose a folder whose newest run is offered as soon as it is complete.", icon="eye"),
    Action("road.close", "C&lose the recording", MENU,
           _recordings(lambda p: p.close_recording()), (),
           "Let the recording that is looked at go; its file stays.", icon="x"),
    Action("road.moments", "Moments of this &cell", LISTS,
           _recordings(lambda p: p.show_moments_of_cell()), ("Shift+F5",),
           "List when the drive used the cell under the cursor of Tune.", with_table),
    Action("road.moment", "Tables at this mo&ment", LISTS,
           _recordings(lambda p: p.show_tab("moment")), ("Ctrl+F5",),
           "List the tables and cells that the moment used, and which decided."),
    Action("road.agreement", "&Agreement with the vehicle", LISTS,
           _recordings(lambda p: p.show_tab("agreement")), (),
           "List how far the replay agrees with what the controller recorded itself."),
    Action("road.faults", "&Faults of the recording", LISTS,
           _recordings(lambda p: p.show_tab("faults")), (),
           "List gaps, doubtful time stamps and drop-outs; Enter goes to the moment.",
           icon="triangle-alert"),
    Action("road.channels", "C&hannels", LISTS, _recordings(lambda p: p.show_tab("channels")), (),
           "Say which channel gives which input, and what stands for those that are missing.",
           icon="cable"),
    Action("road.totals", "&Totals by table", LISTS, _recordings(lambda p: p.show_tab("totals")),
           (), "List for how long each table decided, and which of its cells were used."),
    Action("road.next_change", "Ne&xt change of the governing table (G)", f"-{MENU}",
           _recordings(lambda p: p.step_change(+1)), (),
           "Move the play head to where another table begins to govern."),
    Action("road.next_fault", "Next fault (F)", MENU, _recordings(lambda p: p.step_fault(+1)), (),
           "Move the play head to the next fault of the recording."),
    Action("road.to_cell", "&Go to the cell that decided (Enter)", MENU,
           _recordings(lambda p: p.jump_to_decider()), (),
           "Show the cell that decided at this moment in Tune."),
    Action("road.evidence", "Record as &evidence (E)", f"-{MENU}",
           _recordings(lambda p: p.record_evidence()), (),
           "Note in the set's record which cells this drive visited, and with which values.",
           with_document, icon="circle-check"),
    Action("road.go", "Go to what the row &names (Enter)", f"-{LISTS}",
           on_road(lambda page: page.take_row()), (),
           "Go to the cell, the moment or the run that the chosen row of the list names."),
    Action("road.copy_list", "&Copy the list", LISTS, on_road(lambda page: page.copy_list()), (),
           "Copy the whole list with its headings, for a sheet.", icon="copy"),
    Action("road.full_plot", "&Plot on the whole screen (Z)", f"-{MENU}",
           _recordings(lambda p: p.toggle_full_plot()), (),
           "Show the plot of the recording alone on the whole screen; Esc goes back.",
           icon="maximize"),
    Action("road.complain", "Raise a complaint here (C)", MENU,
           _recordings(lambda p: p.raise_complaint()), (),
           "Begin a complaint about this moment of the recording.", icon="message-square"),
)  # fmt: skip
