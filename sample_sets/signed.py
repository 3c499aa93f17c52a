"""The first release of the normal set, reviewed and signed.

The keys are made afresh whenever it has to be made again, and are not kept: only their public
halves are, on the demo list of allowed signers.  Do not take that list for your own work.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from calib_model.core.record import Level, Outcome, Remark
from calib_model.editing.change import change_to_plain, record_change
from calib_model.errors import FileProblem
from calib_model.session.document import Document
from calib_model.signoff.decisions import decide, give_level
from calib_model.signoff.keys import PrivateKey
from calib_model.signoff.signing import make_sign_off
from calib_model.signoff.verification import State, verify
from calib_model.store import HistoryColumns, read_set, write_set

from .sets import first_values

NAME, SIGNERS = "larch_normal_signed.h5", "allowed_signers"
AUTHOR, REVIEWER = "calibrator A", "reviewer A"
_HEAD = "# Demo list of allowed signers for the invented programme Larch; not for real work.\n"


def is_up_to_date(folder: Path) -> bool:
    """Whether the signed set is there, verifies, and holds what it should."""
    try:
        content = read_set(folder / NAME).set
        found = verify(content, folder / SIGNERS)
    except FileProblem:
        return False
    return found.state is State.SIGNED_OFF and content.with_record(
        first_values("normal").record
    ) == first_values("normal")


def make(folder: Path) -> None:
    """Write the signed set and the list of its signers."""
    author, reviewer = PrivateKey.new(), PrivateKey.new()
    document = Document(first_values("normal"))
    ids = list(document.content.tables)
    remark = Remark(
        text="Colder than -30 °C was not reached on the trip; the values there are extrapolated.",
        author=REVIEWER,
        time="2026-01-09T13:10:00Z",
        table="pre_engage_torque",
        places=((-40.0, 100.0),),
        settled_by=REVIEWER,
        settled_at="2026-01-09T15:00:00Z",
    )
    document.do(record_change(None, remark, "Remark on Pre-engage torque", author=REVIEWER))
    document.do(
        give_level(
            document.content,
            ids,
            Level.DESK_CHECKED,
            by=AUTHOR,
            note="From the physical arguments of the demo.",
            now=_at(9, 14),
        )
    )
    _sign(document, author, AUTHOR, "author", "First values, for review.", _at(9, 15))
    document.do(decide(document.content, ids, Outcome.ACCEPTED, by=REVIEWER, now=_at(12, 9)))
    _sign(document, reviewer, REVIEWER, "reviewer", "Released for the first trip.", _at(12, 10))
    history = HistoryColumns().with_entries([change_to_plain(c) for c in document.pending])
    (folder / NAME).unlink(missing_ok=True)
    write_set(folder / NAME, document.content, history, backup=False)
    spaces = 'namespaces="bitepoint-signoff,bitepoint-decision"'
    lines = [f'"{AUTHOR}" {spaces} {author.public.line()}\n']
    lines.append(f'"{REVIEWER}" {spaces} {reviewer.public.line()}\n')
    (folder / SIGNERS).write_text(_HEAD + "".join(lines), encoding="utf-8", newline="\n")


def _sign(
    document: Document, key: PrivateKey, name: str, role: str, comment: str, when: datetime
) -> None:
    made = make_sign_off(document.content, key, name=name, role=role, comment=comment, now=when)
    document.author = name
    document.sign(made, f"Sign as {role}")


def _at(day: int, hour: int) -> datetime:
    return datetime(2026, 1, day, hour, tzinfo=UTC)
