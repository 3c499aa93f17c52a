"""Subpackages that share their name with the function they are there for.

`calib_model.lookup` is a subpackage and, on the scripting surface, a function.  Python keeps one
attribute for both and puts the subpackage there as soon as anything imports it.  So the
subpackage is what stands there from the beginning, and calling it calls the function: every form
of import means the same in every order, for Python as for type checkers.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from types import ModuleType
from typing import Any


class CalledModule(ModuleType):
    """A module that can be called: it passes the call on to its function of the same name."""

    @property
    def __wrapped__(self) -> Callable[..., Any]:
        """The function; `inspect.signature` and what builds on it look here."""
        function: Callable[..., Any] = vars(self)[self.__name__.rpartition(".")[2]]
        return function

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        """Call the function."""
        return self.__wrapped__(*args, **kwargs)

    def __reduce__(self) -> tuple[Callable[[str], ModuleType], tuple[str]]:
        """Pickled by name, as functions are: a pool of processes can be given it."""
        return import_module, (self.__name__,)
