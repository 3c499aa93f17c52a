"""Shaping: values that obey a table's own rules, computed as proposals.

Everything here is a pure function from a set to a `Proposal`: nothing is changed until the
proposal's change is applied.  `problem` states the rules in force as one sparse system, `solve`
minimises a quadratic form under them, `storing` takes the answer to the storage raster; `smooth`,
`repair` and `quantise` are built on these, and `explain` says why rules and locks are at odds.
"""

from .explain import Conflict, explain, relocked
from .problem import RuleSystem, gather
from .proposal import Diagnostics, Proposal
from .quantise import quantise, rounding
from .repair import repair
from .scaling import scalings
from .smooth import Smoother, smooth
from .solve import AtOdds, NotSolved, Solution, minimise
from .storing import to_storage

__all__ = [
    "AtOdds",
    "Conflict",
    "Diagnostics",
    "NotSolved",
    "Proposal",
    "RuleSystem",
    "Smoother",
    "Solution",
    "explain",
    "gather",
    "minimise",
    "quantise",
    "relocked",
    "repair",
    "rounding",
    "scalings",
    "smooth",
    "to_storage",
]
