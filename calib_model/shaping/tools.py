"""The shaping tools, each described once.

The window's form, the command line's options and, as a test holds, the parameters of the functions
for scripts follow from these descriptions.  What a tool works on (set, table, cells, weights, sets
to hold against, rules to leave out, samples) is the same for all and no option.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from .options import Option


@dataclass(frozen=True)
class ToolDescription:
    """One shaping tool.

    Parameters
    ----------
    verb : str
        Its name, and its verb on the command line.
    options : tuple of Option
    """

    verb: str
    options: tuple[Option, ...]

    def __getitem__(self, name: str) -> Option:
        """Return an option by name."""
        return next(one for one in self.options if one.name == name)


_ON_RASTER = Option(
    "on_raster", "Storable values", "round to values that the storage can hold", "flag", True,
    off="unrounded",
)  # fmt: skip
_AXIS = Option("axis", "Axis", "which axis; the first if none is named", "axis", 0)
_STEP = Option(
    "step", "Raster", "breakpoints are to be multiples of it; 0 for any that can be stored",
    "number", 0.0, "axis", least=0, spellings=("raster",),
)  # fmt: skip
_COUNT = Option("count", "Number", "how many breakpoints", "whole", least=2)
_DETACH = Option(
    "detach", "This table only", "change this table only, not all of a shared axis", "flag", False
)
_NOMINAL = Option(
    "nominal", "Units under test", "unit under test that makes the table; all by default", "names",
    (),
)  # fmt: skip
_BRANCH = Option(
    "branch", "Branches", "which samples of a sweep count; all by default", "choice", "",
    choices=(("up", "Way up only"), ("down", "Way down only")),
)  # fmt: skip

SMOOTH = ToolDescription(
    "smooth",
    (
        Option(
            "strength", "Strength",
            "larger is smoother: lambda, 0 for none, 0.001 a little, 1 much; or chosen",
            "choice", "auto", least=0, or_number=True,
            choices=(
                ("auto", "From the data"),
                ("likelihood", "By likelihood"),
                ("straight", "As straight as allowed"),
            ),
        ),
        Option(
            "along", "Along",
            "smooth along this axis only; a FACTOR multiplies the strength along it", "axes",
        ),
        _ON_RASTER,
    ),
)  # fmt: skip

REPAIR = ToolDescription(
    "repair",
    (
        _ON_RASTER,
        Option(
            "seconds", "Time",
            "how long to look for stored values that keep rules which rounding breaks",
            "number", 20.0, "s", least=0,
        ),
    ),
)  # fmt: skip

QUANTISE = ToolDescription(
    "quantise",
    (
        Option(
            "step", "Step", "move to a storage with this step, such as 0.02 or 1/128", "text", "",
            "value",
        ),
        Option("type", "Type", "its type, such as uint16; the smallest by default", "text", ""),
        Option(
            "range", "Range",
            "range it must hold; the table's limits by default, or else its values",
            "numbers", None, "value", size=2,
        ),
    ),
)  # fmt: skip

FIT = ToolDescription(
    "fit",
    (
        Option("falling", "Way down into", "table of the way down of a sweep", "table", ""),
        _BRANCH,
        Option(
            "gap", "Gap", "smallest distance between the branches; 0 for the rule's own", "number",
            0.0, "value", least=0,
        ),
        Option(
            "loss", "Outliers", "how far samples pull that lie off", "choice", "huber",
            choices=(
                ("huber", "Pull less"), ("biweight", "Do not pull"), ("squares", "Pull fully"),
            ),
        ),
        Option(
            "strength", "Roughness", "weight of the roughness; chosen from the data by default",
            "number", least=0, spellings=("roughness",),
        ),
        Option(
            "elsewhere", "No data", "what nodes without samples do", "choice", "fill",
            choices=(("fill", "Continue their neighbours"), ("keep", "Stay as they are")),
        ),
        Option(
            "least", "Samples per node", "so many nearest to a node make it measured", "whole", 3,
            least=1,
        ),
        Option(
            "outlier", "List beyond", "samples so many standard deviations off are listed",
            "number", 4.5, least=0, above=True,
        ),
        Option(
            "along", "Along", "roughness counts along this axis; along all by default", "axes",
        ),
        Option(
            "hold", "Hold", "axis beyond whose ends samples count at the end", "axes", (),
        ),
        Option("also", "May move along", "table that may move along", "tables", ()),
        _NOMINAL,
        _ON_RASTER,
    ),
)  # fmt: skip

BREAKPOINTS = ToolDescription(
    "breakpoints",
    (
        _AXIS,
        _COUNT,
        Option(
            "tolerance", "Error",
            "or the fewest with at most this difference from the table as it is", "number", None,
            "value", least=0, above=True,
        ),
        Option(
            "relative", "Errors",
            "errors, and the tolerance, are shares of the value (of a hundredth of the largest, "
            "if below it): 0.02 for 2 %", "flag", False,
        ),
        _STEP,
        Option(
            "kept", "Must be there", "inputs that must be breakpoints", "numbers", (), "axis",
            spellings=("fixed",),
        ),
        Option(
            "free", "Values may move",
            "values may leave the present curve, which halves the error where it is bent", "flag",
            False,
        ),
        _DETACH,
        _NOMINAL,
    ),
)  # fmt: skip

REAXIS = ToolDescription(
    "reaxis",
    (
        _AXIS,
        Option(
            "breakpoints", "Breakpoints", "the new breakpoints, rising", "numbers", None, "axis",
            spellings=("to",),
        ),
        Option("like", "From", "or those of a table or a shared axis, by its id", "text", ""),
        Option(
            "method", "Values", "what the new values follow", "choice", "read",
            choices=(
                ("read", "As read before"), ("nearest", "Nearest everywhere"),
                ("not above", "Nowhere above before"), ("not below", "Nowhere below before"),
            ),
            spellings=("values",),
        ),
        Option(
            "adopt", "Share it", "use the shared axis it is taken from, from now on", "flag", False
        ),
        _DETACH,
    ),
)  # fmt: skip

INVERT = ToolDescription(
    "invert",
    (
        _AXIS,
        Option("into", "Into", "table of the set that takes the outcome", "table", ""),
        Option(
            "new_id", "New id", "or id of a table to add", "text", "", spellings=("new",)
        ),
        Option(
            "breakpoints", "Breakpoints", "breakpoints of the new input, rising", "numbers", None,
            "value", spellings=("to",),
        ),
        _COUNT,
        Option(
            "tolerance", "Error", "or the fewest with at most this error of the outcome", "number",
            None, "axis", least=0, above=True,
        ),
        Option(
            "step", "Raster", "breakpoints are to be multiples of it; 0 for any that can be stored",
            "number", 0.0, "value", least=0, spellings=("raster",),
        ),
        Option(
            "end", "Plateaus",
            "which input of a level stretch to take; at its inner end the table begins to move",
            "choice", "inner",
            choices=(
                ("inner", "The inner end"), ("low", "The low end"),
                ("middle", "The middle"), ("high", "The high end"),
            ),
            spellings=("level",),
        ),
    ),
)  # fmt: skip

DESCRIBED: Mapping[str, ToolDescription] = MappingProxyType(
    {t.verb: t for t in (SMOOTH, REPAIR, QUANTISE, FIT, BREAKPOINTS, REAXIS, INVERT)}
)
"""Every shaping tool by its verb."""
