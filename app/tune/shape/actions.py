"""Actions of the shaping tools."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, can_edit

from .tools import TOOLS


def _show(tool_id: str) -> Callable[[Any], None]:
    return lambda window: window.tune.show_tool(tool_id)


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
        "&Apply the proposal",
        "-Shape",
        lambda window: window.tune.shape.apply(),
        ("Ctrl+Shift+Return",),
        "Make the proposed values the table's; one undo step.",
        can_edit,
    ),
    Action(
        "shape.drop",
        "&Drop the proposal",
        "Shape",
        lambda window: window.tune.shape.drop(),
        ("Ctrl+Shift+Backspace",),
        "Leave the table as it is.",
        can_edit,
    ),
)
