"""What using a Dask cluster means, and whether somebody on this machine said yes to it once.

Dask sends work as pickled Python. Whoever controls the scheduler, a worker, or a network that is
not encrypted, can send an answer that runs any program here, with all rights of the account that
asked. So the first use of an address is confirmed, and ``tls://`` with certificates is asked for.
"""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..core.plain_file import open_plain
from ..errors import BitepointError
from ..foreign_text import plain_line

FILE = "confirmed_schedulers"
MAX_FILE = 1 << 20


@dataclass(frozen=True)
class Certificates:
    """Files that prove who is who on a ``tls://`` cluster; what is not given Dask's settings say.

    Parameters
    ----------
    ca : Path or None
        Certificates of whoever signed those of scheduler and workers (PEM).
    cert, key : Path or None
        This client's own (PEM).
    """

    ca: Path | None = None
    cert: Path | None = None
    key: Path | None = None

    def options(self) -> dict[str, Any]:
        """Return the options of `distributed.Security`; encryption is always required."""
        named = {"tls_ca_file": self.ca, "tls_client_cert": self.cert, "tls_client_key": self.key}
        given = {name: str(path) for name, path in named.items() if path is not None}
        return {"require_encryption": True, **given}


def is_encrypted(address: str) -> bool:
    """Whether an address asks for encryption and certificates."""
    return address.strip().lower().startswith("tls://")


def risk(address: str) -> str:
    """Say what whoever is at an address can do here."""
    said = (
        f"Whoever controls the Dask scheduler at {plain_line(address)}, or one of its workers, can "
        "run any program on this machine with all rights of your account: answers come as Python "
        "code."
    )
    if is_encrypted(address):
        return f"{said} tls:// makes sure that it is the cluster whose certificates you trust."
    return (
        f"{said} So can anybody on the network between, since nothing is encrypted; use tls:// "
        "with certificates."
    )


def is_confirmed(address: str) -> bool:
    """Whether this address was confirmed on this machine by this account."""
    return address.strip() in _read()


def confirm(address: str) -> None:
    """Keep that an address was confirmed.

    Raises
    ------
    BitepointError
        If it cannot be kept.
    """
    address = address.strip()
    if not address or plain_line(address) != address:
        raise BitepointError("This is no address of a scheduler.", "Write it as tls://HOST:8786.")
    listed = _read()
    if address in listed:
        return
    place = _place()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        fresh = place.with_name(f"{place.name}.{os.getpid()}.new")
        fresh.write_text("".join(f"{line}\n" for line in [*listed, address]), encoding="utf-8")
        fresh.replace(place)
    except OSError as error:
        raise BitepointError(
            f"That {address} was confirmed cannot be kept ({error.strerror}).", f"Check {place}."
        ) from None


def _read() -> list[str]:
    with suppress(OSError, UnicodeDecodeError), open_plain(_place()) as file:
        return file.read(MAX_FILE).decode("utf-8").splitlines()
    return []


def _place() -> Path:
    given = os.environ.get("BITEPOINT_CONFIG_DIR")
    if given:
        return Path(given) / FILE
    from platformdirs import user_config_path

    return user_config_path("bitepoint", appauthor=False) / FILE
