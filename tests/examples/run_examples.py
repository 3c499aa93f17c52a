"""Runs the examples of the docstrings in a process of its own, in the order of its arguments.

Arguments are names of modules, whose examples are run, or ``import NAME`` to import one only.
Prints as JSON how many examples of each module ran and what failed.
"""

from __future__ import annotations

import doctest
import importlib
import io
import json
import sys
from types import ModuleType


def examples_of(module: ModuleType) -> list[doctest.DocTest]:
    """Return a module's examples, that of the module first."""
    found = doctest.DocTestFinder(exclude_empty=True).find(module)
    return sorted((t for t in found if t.examples), key=lambda t: t.name)


def main(orders: list[str]) -> None:
    """Run them."""
    ran: dict[str, int] = {}
    failures = []
    for order in orders:
        name = order.removeprefix("import ")
        module = importlib.import_module(name)
        if name != order:
            continue
        for test in examples_of(module):
            words = io.StringIO()
            result = doctest.DocTestRunner(verbose=False).run(test, out=words.write)
            ran[name] = ran.get(name, 0) + result.attempted
            if result.failed:
                failures.append(words.getvalue())
    print(json.dumps({"ran": ran, "failures": failures}))


if __name__ == "__main__":
    main(sys.argv[1:])
