"""All shaping tools, in the order they are offered.  A new tool is one more `Tool` here."""

from __future__ import annotations

from .axis_tools import AXIS_TOOLS
from .fit_tool import FIT_TOOL
from .tool import Tool
from .value_tools import VALUE_TOOLS

TOOLS: tuple[Tool, ...] = (*VALUE_TOOLS, FIT_TOOL, *AXIS_TOOLS)
