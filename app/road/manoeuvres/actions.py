"""Actions of the part Manoeuvres, and of the live strip in Tune."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, with_document
from app.needs import TUNE
from app.road.area import page_of
from app.road.showing import in_part

MENU = "Road/Manoeuvres"
VIEWS = f"{MENU}/Views"


def _here(act: Callable[[Any], object]) -> Callable[[Any], None]:
    return in_part("manoeuvres", act)


def _toggle_strip(window: Any) -> None:
    if window.area != TUNE:
        window.show_area(TUNE)
    window.tune.strip.toggle()


ACTIONS: tuple[Action, ...] = (
    Action("road.drive", "&Drive the manoeuvre", f"-{MENU}", _here(lambda p: p.drive_chosen()),
           ("Ctrl+F11",), "Drive the chosen manoeuvre on the desk with the open sets.",
           with_document, icon="play"),
    Action("road.drive_all", "Drive &all manoeuvres", MENU, _here(lambda p: p.drive_all()),
           ("Ctrl+Shift+F11",), "Drive every manoeuvre on the desk, in the background.",
           with_document, icon="list-checks"),
    Action("road.traces", "&Traces", VIEWS, _here(lambda p: p.show_tab(0)), (),
           "Show the traces of the manoeuvre over time.", with_document),
    Action("road.path", "Path from a&bove", VIEWS, _here(lambda p: p.show_tab(1)), (),
           "Show where the vehicle went, from above.", with_document),
    Action("road.estimates", "All &estimates", VIEWS, _here(lambda p: p.show_tab(2)), (),
           "List the estimates of every manoeuvre that was driven.", with_document),
    Action("road.sensitivity", "&Sensitivity of the cells", VIEWS, _here(lambda p: p.show_tab(3)),
           (), "See which cells of a table matter to an estimate.", with_document,
           icon="chart-spline"),
    Action("road.sensitivity_in_tune", "Sensitivity over the cells in T&une", VIEWS,
           lambda w: page_of(w).manoeuvres.sensitivity.toggle_in_tune(), (),
           "Mark the cells in Tune by how the estimate answers to each, until the next edit.",
           with_document),
    Action("road.left_out", "What the model leaves &out", VIEWS, _here(lambda p: p.show_tab(4)), (),
           "Read what the desk's numbers cannot tell, and the cautions."),
    Action("road.deciding", "Open the table that decides", MENU,
           _here(lambda p: p.open_deciding_table()), (),
           "Open the table that decided the torque at the play head, in Tune.", with_document,
           icon="table-2"),
    Action("road.desk_evidence", "Record the run as evidence (E)", MENU,
           _here(lambda p: p.record_evidence()), (),
           "Keep in the set which cells the run visited, as evidence of the grade desk only.",
           with_document, icon="circle-check"),
    Action("road.vehicle", "Choose the &vehicle…", f"-{MENU}",
           _here(lambda p: p.chooser.ask_vehicle()), (),
           "Choose the vehicle file that the desk drives."),
    Action("road.own_manoeuvres", "Manoeuvres of &yours…", MENU,
           _here(lambda p: p.chooser.ask_manoeuvres()), (),
           "Add manoeuvres of your own from a file."),
    Action("view.live_strip", "Live &manoeuvre", "-View", _toggle_strip, ("Shift+F11",),
           "Drive a manoeuvre on the desk after every edit, under the plots of Tune.",
           checked=lambda w: w.tune is not None and w.tune.strip.on),
)  # fmt: skip
