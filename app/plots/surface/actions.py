"""The surface's rows of the action table."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, always
from app.desk import Desk
from app.plots.surface.bar import LOOKS, PERSPECTIVE
from app.plots.surface.camera import Look

MENU = "View/&Surface"


def _map_in_work(desk: Desk) -> bool:
    return desk.table is not None and desk.table.values.ndim >= 2


def _surface(window: Any) -> Any:
    """Return the window's surface, or None where there is none."""
    return window.plots.surface if window.plots is not None else None


def _do(act: Callable[[Any], object]) -> Callable[[Any], None]:
    def run(window: Any) -> None:
        surface = _surface(window)
        if surface is not None:
            act(surface)

    return run


def _is(ask: Callable[[Any], bool]) -> Callable[[Any], bool]:
    def checked(window: Any) -> bool:
        surface = _surface(window)
        return surface is not None and ask(surface)

    return checked


def _look(look: Look) -> Callable[[Any], None]:
    return _do(lambda surface: surface.look(look))


def _choose(choice: str) -> Callable[[Any], None]:
    return lambda window: window.plots.set_surface_choice(choice)


def _chosen(choice: str) -> Callable[[Any], bool]:
    return lambda window: bool(window.plots.surface_choice == choice)


ACTIONS: tuple[Action, ...] = (
    Action(
        "surface.show",
        "S&how the surface",
        MENU,
        lambda window: window.plots.show_surface(),
        ("F12",),
        "Show the map as a surface, or go back to heat map and slices.",
        _map_in_work,
        lambda window: bool(window.plots.shows_surface),
    ),
    *(
        Action(
            f"surface.{look.name.lower()}",
            f"Look from {name}",
            MENU,
            _look(look),
            (),
            f"{LOOKS[look][2]} {LOOKS[look][1]} in the plot.",
            _map_in_work,
        )
        for look, name in (
            (Look.CORNER, "a &corner"),
            (Look.FRONT, "the &front"),
            (Look.SIDE, "the &side"),
            (Look.TOP, "the &top"),
        )
    ),
    Action(
        "surface.perspective",
        "&Perspective",
        MENU,
        _do(lambda surface: surface.set_perspective(not surface.camera.perspective)),
        (),
        f"{PERSPECTIVE[2]} {PERSPECTIVE[1]} in the plot.",
        _map_in_work,
        _is(lambda surface: surface.camera.perspective),
    ),
    Action(
        "surface.whole",
        "Show &whole surface",
        MENU,
        _do(lambda surface: surface.fit()),
        (),
        "Set zoom and shift back. Home in the plot.",
        _map_in_work,
    ),
    Action(
        "surface.copy_picture",
        "C&opy the picture",
        f"-{MENU}",
        _do(lambda surface: surface.copy_picture()),
        (),
        "Put the surface on the clipboard as a picture. O in the plot.",
        _map_in_work,
    ),
    Action(
        "surface.auto",
        "&Draw where the computer can",
        f"-{MENU}",
        _choose("auto"),
        (),
        "Try once whether this computer can draw surfaces (OpenGL).",
        always,
        _chosen("auto"),
    ),
    Action(
        "surface.on",
        "&Always draw",
        MENU,
        _choose("on"),
        (),
        "Draw surfaces without trying first whether this computer can.",
        always,
        _chosen("on"),
    ),
    Action(
        "surface.off",
        "&Never draw",
        MENU,
        _choose("off"),
        (),
        "Show heat map and slices only.",
        always,
        _chosen("off"),
    ),
)
