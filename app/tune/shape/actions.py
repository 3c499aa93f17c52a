"""Actions of the shaping tools."""

from __future__ import annotations

from collections.abc import Callable

from app.action import Action, can_edit
from app.tune.area import page_of
from app.work_area import Window

from .tools import TOOLS


def _show(tool_id: str) -> Callable[[Window], None]:
    return lambda window: page_of(window).show_tool(tool_id)


_KEYS = {"smooth": ("Ctrl+P",), "nearest": ("Ctrl+Shift+E",)}

ACTIONS: tuple[Action, ...] = (
    *(
        Action(
            f"shape.{tool.id}",
            f"&{tool.name}",
            "Shape",
            _show(tool.id),
            _KEYS.get(tool.id, ()),
            tool.about,
            can_edit,
        )
        for tool in TOOLS
    ),
    Action(
        "shape.apply",
        "Take the &proposal",
        "-Shape",
        lambda window: page_of(window).shape.apply(),
        ("Ctrl+Shift+Return",),
        "Make the proposed values the table's; one undo step.",
        can_edit,
    ),
    Action(
        "shape.drop",
        "&Leave the proposal",
        "Shape",
        lambda window: page_of(window).shape.drop(),
        ("Ctrl+Shift+Backspace",),
        "Leave the table as it is.",
        can_edit,
    ),
)
