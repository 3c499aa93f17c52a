"""Each shaping tool is described once: scripts, the command line and the window agree with it."""

from __future__ import annotations

import argparse
import inspect
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

import calib_model
from app.cli.answer import CannotDo
from app.cli.options import add_option, values
from app.cli.parser import VerbParser
from app.cli.verbs import verb
from app.desk import Desk
from app.tune.shape.form import field
from app.tune.shape.panel import ShapePanel
from app.tune.shape.tool import Asking
from app.tune.shape.tools import TOOLS
from calib_model.errors import BitepointError, EditRefused
from calib_model.shaping import quantise, repair, smooth
from calib_model.shaping.branches import fit_branches
from calib_model.shaping.breakpoints import place_breakpoints
from calib_model.shaping.fit import fit
from calib_model.shaping.fit_options import FitOptions
from calib_model.shaping.invert import invert
from calib_model.shaping.options import LISTS, Option
from calib_model.shaping.reaxis import reaxis
from calib_model.shaping.tools import DESCRIBED, ToolDescription

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
SETS = SAMPLES / "larch_normal.h5"
SUBJECT = {
    "content", "table", "tables", "source", "rising", "samples", "options", "selection", "allowed",
    "weights", "factors", "against", "without", "reference", "storage",
}  # fmt: skip
"""What a tool works on: the same for all, and no option."""
FUNCTIONS: dict[str, tuple[Callable[..., Any], ...]] = {
    "smooth": (smooth,),
    "repair": (repair,),
    "quantise": (quantise,),
    "fit": (FitOptions, fit, fit_branches),
    "breakpoints": (place_breakpoints,),
    "reaxis": (reaxis,),
    "invert": (invert,),
}
AS_IT_IS = {("breakpoints", "count"), ("reaxis", "breakpoints"), ("invert", "new_id")}
"""Fields that begin with what the table has, where the command line and scripts begin with none."""


def beyond(option: Option) -> list[float]:
    """Numbers out of an option's bounds."""
    found = [float("inf")]
    if option.least > -np.inf:
        found.append(option.least if option.above else option.least - 1)
    if option.kind == "whole":
        found.append(option.least + 0.5)
    return found


every_tool = pytest.mark.parametrize("tool", DESCRIBED.values(), ids=DESCRIBED)


# -- scripts -------------------------------------------------------------------------------------


@every_tool
def test_a_function_takes_the_options_and_nothing_else(tool: ToolDescription) -> None:
    taken: dict[str, Any] = {}
    for function in FUNCTIONS[tool.verb]:
        taken |= {n: p.default for n, p in inspect.signature(function).parameters.items()}
    needed = {"falling": ""} if tool.verb == "fit" else {}  # of the function for two branches
    assert {n: d for n, d in taken.items() if n not in SUBJECT} == {
        o.name: o.default for o in tool.options
    } | dict.fromkeys(needed, inspect.Parameter.empty)


@every_tool
def test_a_function_refuses_what_is_out_of_bounds(tool: ToolDescription) -> None:
    content = calib_model.open_set(SETS)
    calls: dict[str, Callable[..., object]] = {
        "smooth": lambda **how: smooth(content, "plate_cooling", **how),
        "repair": lambda **how: repair(content, "plate_cooling", **how),
        "fit": FitOptions,
        "breakpoints": lambda **how: place_breakpoints(
            content, "plate_cooling", **({"count": 5} | how if "tolerance" not in how else how)
        ),
        "invert": lambda **how: invert(content, "touch_point_current", new_id="x", **how),
    }
    for option in tool.options:
        if option.least == -np.inf:
            continue
        with pytest.raises(BitepointError):
            calls[tool.verb](**{option.name: beyond(option)[1]})


# -- the command line ----------------------------------------------------------------------------


def actions(tool: ToolDescription) -> dict[str, argparse.Action]:
    made = verb(tool.verb).parser()
    found: dict[str, argparse.Action] = {}
    for action in made._actions:
        found.setdefault(action.dest, action)
    return found


def parsed(tool: ToolDescription, *more: str) -> argparse.Namespace:
    data = ("--data", "samples.csv") if tool.verb == "fit" else ()
    return verb(tool.verb).parser().parse_args([str(SETS), "pre_engage_torque", *data, *more])


@every_tool
def test_the_command_line_has_the_options(tool: ToolDescription) -> None:
    content = calib_model.open_set(SETS)
    there = actions(tool)
    for option in tool.options:
        action = there[option.name]
        assert f"--{option.off or option.name.replace('_', '-')}" in action.option_strings
        assert option.help.replace("%", "%%") in str(action.help)
        assert option.bounds in str(action.help)
    found = values(tool, parsed(tool), content, content["pre_engage_torque"])
    assert found == {option.name: option.default for option in tool.options}


@every_tool
def test_the_command_line_keeps_the_bounds_and_knows_the_choices(tool: ToolDescription) -> None:
    for option in tool.options:
        flag = f"--{option.name.replace('_', '-')}"
        if option.kind in ("number", "whole"):
            for number in beyond(option):
                with pytest.raises(CannotDo, match="is not understood"):
                    parsed(tool, flag, str(number))
        for value, _ in option.choices:
            given = parsed(tool, flag, str(value).replace(" ", "-"))
            assert getattr(given, option.name) == value
        for spelling in option.spellings:  # as before
            assert f"--{spelling}" in actions(tool)[option.name].option_strings


# -- the window ----------------------------------------------------------------------------------


@pytest.fixture
def panel(practice_desk: Desk, qtbot: QtBot) -> ShapePanel:
    made = ShapePanel(practice_desk)
    qtbot.addWidget(made)
    practice_desk.open_table("pre_engage_torque")
    return made


def test_every_tool_has_its_form() -> None:
    assert [tool.described for tool in TOOLS] == list(DESCRIBED.values())


@pytest.mark.parametrize("number", range(len(TOOLS)), ids=[t.id for t in TOOLS])
def test_a_form_asks_for_the_options(panel: ShapePanel, number: int) -> None:
    tool = TOOLS[number].described
    panel.choose(TOOLS[number].id)
    if "data" in panel.fields:
        panel.fields["data"].set_value(SAMPLES / "larch_bench_sweep.csv")
        panel._changed()
    shown = {key for key, widget in panel.fields.items() if widget.field.option is not None}
    wanted = {o.name for o in tool.options if o.kind not in LISTS}
    assert wanted - {"detach"} <= shown  # only an axis that is shared can be detached
    assert shown <= {o.name for o in tool.options}
    for name in shown:
        option, widget = tool[name], panel.fields[name]
        assert widget.field.option is option
        assert widget.field.label.replace("&", "").startswith(option.label) or name == "detach"
        if (tool.verb, name) not in AS_IT_IS:
            assert (widget.value or None) == (option.default or None), name
        if option.kind in ("number", "whole"):
            for amount in beyond(option)[1:]:
                widget.set_value(amount)
                with pytest.raises(EditRefused, match="cannot be used"):
                    _ = widget.value
        if widget.field.kind == "choice" and option.choices:
            offered = [value for value, _ in widget.field.options]
            assert [v for v in offered if v in dict(option.choices)] == list(dict(option.choices))


def test_the_documented_option_is_asked_for_everywhere(practice_desk: Desk) -> None:
    text = (SAMPLES.parent / "DEVELOPERS.md").read_text("utf-8")
    place = text.index("# calib_model/shaping/tools.py, in the tool's options")
    written = text[place : text.index("```", place)].strip().rstrip(",")
    option = eval(written.partition("\n")[2], {"Option": Option})
    made = VerbParser("try", "Tries an option.")
    add_option(made, option)
    assert made.parse_args([]).gap == 0.0
    assert made.parse_args(["--gap", "2"]).gap == 2.0
    assert "in the table's unit; 0 or more" in " ".join(made.format_help().split())
    with pytest.raises(CannotDo, match="0 or more"):
        made.parse_args(["--gap", "-1"])
    practice_desk.open_table("pre_engage_torque")
    current, table = practice_desk.current, practice_desk.table
    assert current is not None
    assert table is not None
    asked = field(option, Asking(current.content, table, {}))
    assert (asked.key, asked.label, asked.kind) == ("gap", "Gap [N·m]", "number")
