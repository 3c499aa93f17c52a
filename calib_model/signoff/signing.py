"""Make a sign-off: all or nothing."""

from __future__ import annotations

import unicodedata
from datetime import UTC, datetime

from ..core.calibration_set import CalibrationSet
from ..core.names import same_person
from ..core.record import SignOff
from . import sshsig
from .keys import PrivateKey
from .statement import AUTHOR, MAX_TEXT, NAMESPACE, REVIEWER, read_statement, statement_text
from .verification import CLOCK_SLACK, checked_chain
from .wire import SignatureProblem

_OTHER_ROLE = {AUTHOR: REVIEWER, REVIEWER: AUTHOR}
_NOT_IN_NAMES = ',"*?!'  # OpenSSH's lists of signers give these a meaning


def make_sign_off(
    content: CalibrationSet,
    key: PrivateKey,
    *,
    name: str,
    role: str,
    comment: str = "",
    now: datetime | None = None,
) -> SignOff:
    """Sign a set as it is.  Whether it may be signed is `calib_model.signoff.gate`'s matter.

    Parameters
    ----------
    content : CalibrationSet
    key : PrivateKey
    name : str
        Who signs, as in the list of allowed signers.
    role : str
        ``author``, ``reviewer``, or any other.
    comment : str
    now : datetime, optional
        The present time, with its zone.

    Returns
    -------
    SignOff
        To be added to the record (`Document.sign`).

    Raises
    ------
    SignatureProblem
        If the name cannot be used, the sign-offs so far are not in order, the clock goes back,
        or author and reviewer would be one key or one person.
    """
    moment = (now or datetime.now(UTC)).replace(microsecond=0)
    name, role = _name(name), role.strip()
    if not role:
        raise SignatureProblem("A sign-off needs a role.", f"Such as {AUTHOR} or {REVIEWER}.")
    if max(len(role), len(comment), len(content.called), len(content.revision)) > MAX_TEXT:
        raise SignatureProblem(f"A text is longer than {MAX_TEXT} characters.", "Shorten it.")
    try:
        chain = checked_chain(content.record.sign_offs)
    except SignatureProblem as problem:
        raise SignatureProblem(
            f"The set's sign-offs are not in order. {problem.problem}",
            "Get the signed set again; or export it as text and import that, which begins anew.",
        ) from None
    last = chain[-1][0] if chain else None
    if last is not None and (last.programme, last.mode) != (content.programme, content.mode):
        raise SignatureProblem(
            f"The set carries sign-offs of another set ({last.set}).",
            "Export it as text and import that, which begins anew.",
        )
    if last is not None and last.moment > moment + CLOCK_SLACK:
        raise SignatureProblem(
            f"The last sign-off is of {last.time}, which is in the future.",
            "Set the clock of this machine right.",
        )
    text = statement_text(
        content,
        previous=last.digest if last is not None else "",
        role=role,
        name=name,
        comment=comment,
        time=moment,
    )
    statement = read_statement(text)
    for other, other_key in reversed(chain):
        if other.content != statement.content:
            break
        if other.role == _OTHER_ROLE.get(role) and (
            other_key == key.public or same_person(other.name, name)
        ):
            raise SignatureProblem(
                f"{other.who} signed this state already; author and reviewer must be two people "
                "with two keys.",
                f"Let somebody else sign as {role}.",
            )
    armoured = sshsig.sign(text.encode(), key, NAMESPACE)
    if sshsig.verify(text.encode(), armoured, NAMESPACE) != key.public:
        raise SignatureProblem("The signature made does not verify.", "Nothing was signed.")
    return SignOff(statement=text, signature=armoured)


def _name(text: str) -> str:
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name:
        raise SignatureProblem("A sign-off needs a name.", "Say who signs.")
    if len(name) > 200 or not name.isprintable() or any(sign in name for sign in _NOT_IN_NAMES):
        raise SignatureProblem(
            f"{name[:60]!r} cannot be the name of a signer.",
            f"Use up to 200 letters, without {' '.join(_NOT_IN_NAMES)}",
        )
    return name
