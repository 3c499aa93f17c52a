"""Actions of the work area Compare."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, with_document
from app.compare.area import page_of
from app.compare.taking import Scope
from app.desk import Desk
from app.needs import COMPARE, TUNE
from calib_model.compare.take_over import Into

MENU = "Compare"


def _in_area(act: Callable[[Any], object]) -> Callable[[Any], None]:
    """Return a handler that works in Compare alone: elsewhere it would change what is not seen."""

    def run(window: Any) -> None:
        if window.area == COMPARE:
            act(page_of(window))
        else:
            window.desk.tell("This works in Compare (Ctrl+2).", refused=True)

    return run


def _show_view(number: int) -> Callable[[Any], None]:
    return _in_area(lambda page: page.detail.show_view(number))


def _take(scope: Scope, into: Into) -> Callable[[Any], None]:
    return _in_area(lambda page: page.take(scope, into))


def _open_in_tune(window: Any) -> None:
    if page_of(window).open_in_tune():
        window.show_area(TUNE)


def _sets(desk: Desk) -> bool:
    return desk.current is not None


ACTIONS: tuple[Action, ...] = (
    Action("compare.next_difference", "Next &difference", MENU,
           _in_area(lambda page: page.step_difference(+1)), ("F3",),
           "Go to the next cell that differs, in the next table of the list if need be.", _sets),
    Action("compare.previous_difference", "Previous d&ifference", MENU,
           _in_area(lambda page: page.step_difference(-1)), ("Shift+F3",),
           "Go to the cell that differs before this one.", _sets),
    Action("compare.cells_into_b", "Take over the &selection into the edited set", f"-{MENU}",
           _take(Scope.CELLS, Into.SECOND), ("Ctrl+T",),
           "Give the selected cells of the edited set the reference's values.", _sets),
    Action("compare.cells_into_a", "Take over the selection into the re&ference", MENU,
           _take(Scope.CELLS, Into.FIRST), ("Ctrl+Shift+T",),
           "Give the selected cells of the reference the edited set's values.", _sets),
    Action("compare.table_into_b", "Take over the &table into the edited set", MENU,
           _take(Scope.TABLE, Into.SECOND), ("Ctrl+U",),
           "Give the edited set the reference's values and axes of this table.", _sets),
    Action("compare.table_into_a", "Take over the table &into the reference", MENU,
           _take(Scope.TABLE, Into.FIRST), ("Ctrl+Shift+Y",),
           "Give the reference the edited set's values and axes of this table.", _sets),
    Action("compare.whole_into_b", "Take over the table with &rules and texts into the edited set",
           MENU,
           _take(Scope.WHOLE, Into.SECOND), (),
           "Also gives the edited set the reference's rules, limits and texts.", _sets),
    Action("compare.whole_into_a", "Take over the table with rules and te&xts into the reference",
           MENU,
           _take(Scope.WHOLE, Into.FIRST), (),
           "Also gives the reference the edited set's rules, limits and texts.", _sets),
    Action("compare.listed_into_b", "Take over all &listed tables into the edited set", MENU,
           _take(Scope.LISTED, Into.SECOND), (),
           "Give every listed table of the edited set the reference's values, as one step.", _sets),
    Action("compare.listed_into_a", "Take over all listed tables int&o the reference", MENU,
           _take(Scope.LISTED, Into.FIRST), (),
           "Give every listed table of the reference the edited set's values, as one step.", _sets),
    Action("compare.earlier", "Hold the set against an &earlier state…", f"-{MENU}",
           _in_area(lambda page: page.choose_earlier()), (),
           "Put a state from the history of the edited set in the place of the reference.", _sets),
    Action("compare.again", "Co&mpare again", MENU, _in_area(lambda page: page.compare_again()),
           ("F5",), "Compare again after it was given up.", _sets),
    Action("compare.list_all", "List all that di&ffer", f"-{MENU}",
           _in_area(lambda page: page.list_all()), ("Ctrl+Backspace",),
           "Clear the find box and every other choice of the list.", _sets),
    Action("compare.in_tune", "Sha&pe this table in Tune", MENU, _open_in_tune, ("Ctrl+Shift+B",),
           "Open the table in Tune, at the same cell, in the set being edited.", with_document),
    *(
        Action(f"compare.view_{number + 1}", f"View &{number + 1}: {name}", f"-{MENU}"
               if not number else MENU,
               _show_view(number), (),
               tip, _sets)
        for number, (name, tip) in enumerate((
            ("difference map, or lines", "Show the map of differences; of a curve, both lines."),
            ("slices, or rules and texts", "Show both slices; of a curve, what else differs."),
            ("surface", "Show both maps as surfaces, or the difference."),
            ("rules and texts", "Show which rules, texts and settings of the map differ."),
        ))
    ),
)  # fmt: skip
