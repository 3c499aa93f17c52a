"""Jobs that use keys: sign a set, sign decisions, make a key.  Each does all or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from app.forms import Secret
from app.work.control import Control
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Outcome, SignOff
from calib_model.editing.change import Change
from calib_model.errors import EditRefused
from calib_model.signoff.authors import Authors
from calib_model.signoff.decisions import NAMESPACE as DECISION_NAMESPACE
from calib_model.signoff.decisions import decide
from calib_model.signoff.gate import counted
from calib_model.signoff.keys import PrivateKey, is_protected, load_key, make_key
from calib_model.signoff.signers import AllowedSigners
from calib_model.signoff.signing import make_sign_off
from calib_model.signoff.statement import NAMESPACE

from .standing import Past, Trust, stand


@dataclass(frozen=True)
class Signing:
    """A sign-off that is asked for.

    Parameters
    ----------
    content : CalibrationSet
        What is signed.
    others, trust, past
        See `calib_model.signoff.gate` and `standing`.
    key : Path
    secret : Secret
    name, role, comment : str
    """

    content: CalibrationSet
    others: tuple[CalibrationSet, ...]
    trust: Trust
    past: Past
    key: Path
    secret: Secret
    name: str
    role: str
    comment: str


def sign(control: Control, order: Signing) -> SignOff:
    """Return the sign-off, if nothing is left to do.

    Raises
    ------
    BitepointError
        Nothing is signed then.
    """
    role = order.role.strip()
    found = stand(control, order.content, order.others, order.trust, order.past, None)
    if found.known.problems:
        raise EditRefused(f"Not signed. {found.known.problems[0]}", "Choose another file.")
    to_do = found.gate.blocking(role)
    if to_do:
        first = to_do[0]
        place = f"{first.table}: " if first.table else ""
        raise EditRefused(
            f"Not signed: {len(to_do)} to do ({counted(to_do)}). First: {place}{first.text}"
        )
    key = unlocked(order.key, order.secret)
    require_listed(key, order.name, found.known.signers, NAMESPACE)
    return make_sign_off(
        order.content, key, name=order.name, role=role, comment=order.comment.strip()
    )


def unlocked(path: Path, secret: Secret) -> PrivateKey:
    """Return the key of a file."""
    return load_key(path, secret.reveal() if is_protected(path) else None)


def require_listed(
    key: PrivateKey, name: str, signers: AllowedSigners | None, namespace: str
) -> None:
    """Raise EditRefused if a list is in use and the key is not on it under this name."""
    if signers is None:
        return
    problem = signers.objection(key.public, " ".join(name.split()), datetime.now(UTC), namespace)
    if problem:
        raise EditRefused(f"Not signed. {problem}", "Sign with a listed key and its name.")


def decide_with_key(
    control: Control,
    content: CalibrationSet,
    tables: list[str],
    by: str,
    comment: str,
    key: Path,
    secret: Secret,
    signers: AllowedSigners | None,
    authors: Authors,
) -> Change:
    """Return the change that accepts tables, each decision signed."""
    control.check()
    private = unlocked(key, secret)
    require_listed(private, by, signers, DECISION_NAMESPACE)
    return decide(
        content, tables, Outcome.ACCEPTED, by=by, comment=comment, key=private, authors=authors
    )


@dataclass(frozen=True)
class NewKey:
    """A key that was made.

    Parameters
    ----------
    path : Path
    fingerprint : str
    line : str
        For the list of allowed signers.
    """

    path: Path
    fingerprint: str
    line: str


def new_key(control: Control, path: Path, secret: Secret, name: str) -> NewKey:
    """Make a key and write its two files."""
    control.check()
    public = make_key(path, secret.reveal(), name)
    shown = f'"{name}"' if name else "NAME"
    line = f'{shown} namespaces="{NAMESPACE},{DECISION_NAMESPACE}" {public.line()}'
    return NewKey(path, public.fingerprint, line)
