"""A new folder that is there with everything in it, or not at all."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..errors import FileProblem
from .durable import sync_folder


@contextmanager
def whole_folder(folder: Path) -> Iterator[Path]:
    """Make a folder under another name, and give it its own when the body is done.

    Parameters
    ----------
    folder : Path

    Yields
    ------
    Path
        Where to write; gone, with what is in it, if the body fails.

    Raises
    ------
    FileProblem
        If there is such a folder or file already, or it cannot be made.
    """
    if folder.exists() or folder.is_symlink():
        raise FileProblem(folder, "", "There is such a folder already.", "Give a new name.")
    partial = folder.with_name(f".{folder.name}.{secrets.token_hex(4)}.writing")
    try:
        partial.mkdir()
        yield partial
        partial.rename(folder)
        sync_folder(folder.parent)
    except OSError as error:
        reason = error.strerror or "it stopped"
        raise FileProblem(
            folder, "", f"Cannot be written: {reason}.", "Choose another place."
        ) from None
    finally:
        if partial.exists():
            shutil.rmtree(partial, ignore_errors=True)
