"""A short hash of the source that compiled code is made from, by which it is kept apart."""

from __future__ import annotations

import ast
import hashlib
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent
_COMPILERS = ("lookup/jit.py", "lookup/portable.py")


@lru_cache(maxsize=1)
def source_key() -> str:
    """Return 16 hex digits that change with any source that reaches compiled code.

    That is every module with compiled functions and whatever those import of this package, which
    may be a constant compiled into them.  An edit elsewhere leaves the key as it is: compiling
    anew takes half a minute.
    """
    digest = hashlib.sha256(sys.version.encode())
    for path in compiled_sources():
        digest.update(path.relative_to(_PACKAGE).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def compiled_sources(package: Path = _PACKAGE) -> list[Path]:
    """Return the files that compiled code is made from, in order of their paths.

    Parameters
    ----------
    package : Path, optional
        Folder of the package to look through.
    """
    compilers = {package / name for name in _COMPILERS}
    found: set[Path] = set()
    wanted = [path for path in compilers if path.is_file()]
    wanted += [
        path
        for path in package.rglob("*.py")
        # The cheap look first: hardly any file compiles.
        if any(Path(name).stem in path.read_text("utf-8") for name in _COMPILERS)
        and compilers & set(_imported(path, package))
    ]
    while wanted:
        path = wanted.pop()
        if path not in found:
            found.add(path)
            wanted += _imported(path, package)
    return sorted(found)


def _imported(path: Path, package: Path) -> Iterator[Path]:
    """Yield the files of the package that a file imports at its top level."""
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.ImportFrom):
            base = (node.module or "").split(".")
            if node.level:
                folder = path.parents[node.level - 1]
            elif base[0] == package.name:
                folder, base = package, base[1:]
            else:
                continue
            home = folder.joinpath(*base)
            names = [home.joinpath(alias.name) for alias in node.names]
        elif isinstance(node, ast.Import):
            parts = [alias.name.split(".") for alias in node.names]
            home = package
            names = [package.joinpath(*p[1:]) for p in parts if p[0] == package.name]
            if not names:
                continue
        else:
            continue
        for name in (home, *names):
            for file in (name.with_suffix(".py"), name / "__init__.py"):
                if file.is_file():
                    yield file
