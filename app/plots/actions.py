"""The plots' rows of the action table."""

from __future__ import annotations

from typing import Any

from app.action import Action, with_document, with_table
from app.desk import Desk
from app.needs import TUNE
from app.plots.heatmap import Show


def _map_in_work(desk: Desk) -> bool:
    return desk.table is not None and desk.table.values.ndim >= 2


def _map_and_reference(desk: Desk) -> bool:
    return _map_in_work(desk) and desk.reference is not None


def _reference(desk: Desk) -> bool:
    return desk.table is not None and desk.reference is not None


def _set_mode(window: Any, mode: Show) -> None:
    window.plots.set_mode(mode)


def _turn_slices(window: Any) -> None:
    if not window.work.turn_slices():  # in Compare the slices in sight are its own
        window.areas.page(TUNE).turn_slices()


def _show_result(window: Any) -> None:
    if not window.work.can_show_result:
        window.show_area(TUNE)
    window.work.show_result()


def _shows_result(window: Any) -> bool:
    area = window.work if window.work.can_show_result else window.areas.page(TUNE)
    return bool(area.shows_result)


ACTIONS: tuple[Action, ...] = (
    Action(
        "plots.saved",
        "Overlay &saved state",
        "-View",
        lambda window: window.plots.toggle_saved(),
        ("F7",),
        "Draw the table as it was last saved behind the plot.",
        with_table,
        lambda window: window.plots.saved_box.isChecked(),
        icon="layers",
    ),
    Action(
        "plots.reference",
        "Overlay &reference",
        "View",
        lambda window: window.plots.toggle_reference(),
        ("Ctrl+F7",),
        "Draw the reference set's table behind the plot.",
        _reference,
        lambda window: window.plots.reference_box.isChecked(),
    ),
    Action(
        "plots.driving",
        "Overlay &driving",
        "View",
        lambda window: window.desk.driving.show_driving(not window.desk.driving.shows_driving),
        ("Shift+F12",),
        "Mark in grid and plots how long each cell was driven and where its table decided.",
        lambda desk: desk.table is not None and desk.driving.has_coverage,
        lambda window: window.desk.driving.has_coverage and window.desk.driving.shows_driving,
    ),
    Action(
        "plots.result",
        "Resulting &torque",
        "View",
        _show_result,
        ("Ctrl+F12",),
        "Show what all tables together command over two inputs, against the reference or A.",
        with_document,
        _shows_result,
        icon="chart-spline",
    ),
    Action(
        "plots.turn_slices",
        "&Turn slices",
        "View",
        _turn_slices,
        ("F4",),
        "Run the slices of the map along its other axis.",
        _map_in_work,
        icon="refresh-cw",
    ),
    Action(
        "plots.fit",
        "Show &whole plot",
        "View",
        lambda window: window.plots.fit(),
        ("Shift+F4",),
        "Set the plots back to show everything.",
        with_table,
        icon="maximize",
    ),
    Action(
        "plots.copy",
        "&Copy as a picture",
        "View/&Plot",
        lambda window: window.plots.tools.copy(),
        (),
        "Put the plot as a picture on the clipboard.",
        with_table,
        icon="copy",
    ),
    Action(
        "plots.save",
        "&Save as PNG or SVG…",
        "View/&Plot",
        lambda window: window.plots.tools.save(),
        (),
        "Write the plot as a picture to a file.",
        with_table,
        icon="download",
    ),
    Action(
        "plots.slide",
        "Save for s&lides…",
        "View/&Plot",
        lambda window: window.plots.tools.save_slide(),
        (),
        "Write the plot light and in large type, whatever the window looks like.",
        with_table,
        icon="presentation",
    ),
    Action(
        "plots.pop_out",
        "In its own &window",
        "View/&Plot",
        lambda window: window.plots.tools.pop_out(),
        (),
        "Show the plot in a window of its own, on a second screen say; it follows every edit.",
        with_table,
        icon="external-link",
    ),
    Action(
        "plots.values",
        "&Values",
        "View/&Heat map",
        lambda window: _set_mode(window, Show.VALUES),
        (),
        "Colour the heat map by value.",
        _map_in_work,
        lambda window: window.plots.mode is Show.VALUES,
    ),
    Action(
        "plots.from_saved",
        "Difference from &saved",
        "View/&Heat map",
        lambda window: _set_mode(window, Show.FROM_SAVED),
        ("Shift+F7",),
        "Colour the heat map by what was changed since the last save.",
        _map_in_work,
        lambda window: window.plots.mode is Show.FROM_SAVED,
    ),
    Action(
        "plots.from_reference",
        "Difference from &reference",
        "View/&Heat map",
        lambda window: _set_mode(window, Show.FROM_REFERENCE),
        ("Ctrl+Shift+F7",),
        "Colour the heat map by how the map differs from the reference set's.",
        _map_and_reference,
        lambda window: window.plots.mode is Show.FROM_REFERENCE,
    ),
)
