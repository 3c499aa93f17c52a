"""Make the samples: ``python sample_sets/make_sets.py`` writes sets and recordings beside it."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
if __package__ in (None, ""):
    # Started as a script: the folder above holds both this package and the model.
    sys.path[0] = str(HERE.parent)

from calib_model.editing.change import change_to_plain  # noqa: E402
from calib_model.session.document import Document  # noqa: E402
from calib_model.store import HistoryColumns, write_set  # noqa: E402
from sample_sets import recordings, signed  # noqa: E402
from sample_sets.practice import practice_document  # noqa: E402
from sample_sets.sets import (  # noqa: E402
    low_grip_document,
    normal_document,
    towing_document,
)

DOCUMENTS = {
    "larch_normal.h5": normal_document,
    "larch_low_grip.h5": low_grip_document,
    "larch_towing.h5": towing_document,
    "larch_practice.h5": practice_document,
}


def history_of(document: Document) -> HistoryColumns:
    """Return every change of a document as the history to store."""
    return HistoryColumns().with_entries([change_to_plain(c) for c in document.pending])


def main(folder: Path = HERE) -> None:
    """Write every set into `folder`, in place of what is there."""
    for name, make in DOCUMENTS.items():
        document = make()
        path = folder / name
        path.unlink(missing_ok=True)
        write_set(path, document.content, history_of(document), backup=False)
        print(f"{name}: {len(document.content)} tables, {len(document.pending)} history entries")
    recordings.main(normal_document().content, folder)
    # Its keys are not kept, so it is made again only when what it holds changed.
    if signed.is_up_to_date(folder):
        print(f"{signed.NAME}: as it was")
    else:
        signed.make(folder)
        print(f"{signed.NAME}: signed with fresh keys, see {signed.SIGNERS}")


if __name__ == "__main__":
    main()
