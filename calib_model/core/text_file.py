"""Small text files that people write: read whole, refused in words."""

from __future__ import annotations

from pathlib import Path

from calib_model.core.plain_file import read_plain
from calib_model.errors import FileProblem


def read_text(path: Path, what: str, most: int) -> str:
    """Return the text of a file.

    Parameters
    ----------
    path : Path
    what : str
        What the file should be, such as ``a rule sheet``.
    most : int
        Bytes that are plenty for it; a larger file is something else.

    Raises
    ------
    FileProblem
        If it cannot be read, is no plain file, is too large or no UTF-8 text.
    """
    data = read_plain(path, what, most)
    try:
        return data.decode("utf-8-sig")  # some editors put a mark at the beginning
    except UnicodeDecodeError as error:
        raise FileProblem(
            path, f"byte {error.start}", "This is not UTF-8 text.", "Save it as UTF-8."
        ) from None
