"""Where batches of runs are worked off: this process, all cores, or a Dask cluster.

All three are `concurrent.futures` executors, so whoever submits work has one code path.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    wait,
)
from contextlib import contextmanager
from typing import Any, TypeVar

from ..errors import BitepointError
from .cluster_trust import Certificates, is_confirmed, is_encrypted, risk

Result = TypeVar("Result")
CONNECT_SECONDS = 10.0


class NoWorkers(BitepointError):
    """The workers asked for are not there."""


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


@contextmanager
def executor(
    workers: int | None = None, scheduler: str = "", certificates: Certificates | None = None
) -> Iterator[Executor]:
    """Provide an executor, and end it after use.

    Parameters
    ----------
    workers : int, optional
        Processes on this computer; all cores if not given; 1 works in a thread of this process.
    scheduler : str
        Address of a Dask scheduler, such as ``tls://10.0.0.5:8786``; empty for this computer.
        It must have been confirmed (`calib_model.vehicle.cluster_trust`): it can run code here.
    certificates : Certificates, optional
        For a ``tls://`` address; without them Dask's own settings count.

    Raises
    ------
    NoWorkers
        If the cluster was not confirmed, does not answer, or its software is not installed here.
    """
    if scheduler:
        if not is_confirmed(scheduler):
            raise NoWorkers(risk(scheduler), "Confirm the address once, if you trust it.")
        with _cluster(scheduler.strip(), certificates or Certificates()) as cluster:
            yield cluster
        return
    count = cores() if workers is None else workers
    if count < 1:
        raise NoWorkers(f"{count} workers can do nothing.", "Ask for 1 or more.")
    made: Executor
    if count == 1:
        made = ThreadPoolExecutor(1)
    else:
        # Spawned: a process that forks while other threads run (the window has some) may hang.
        made = ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"))
    with made:
        yield made


@contextmanager
def _cluster(address: str, certificates: Certificates) -> Iterator[Executor]:
    try:
        import distributed
    except ImportError:
        raise NoWorkers(
            "Dask is not installed here, so no cluster can be used.",
            "Install the extra: pip install 'bitepoint[cluster]'.",
        ) from None
    library: Any = distributed  # it publishes types for a part of itself only
    given: dict[str, Any] = {}
    try:
        if is_encrypted(address):
            given["security"] = library.Security(**certificates.options())
        client = library.Client(address, timeout=CONNECT_SECONDS, set_as_default=False, **given)
    except (OSError, ValueError, TimeoutError, TypeError, RuntimeError) as error:
        raise NoWorkers(
            f"The Dask scheduler at {address} does not answer ({type(error).__name__}).",
            "Check the address, its certificates and that it runs, or leave it out to use this "
            "computer's cores.",
        ) from None
    try:
        yield client.get_executor()
    finally:
        client.close()


def in_order(
    made: Executor,
    job: Callable[..., Result],
    batches: Sequence[tuple[Any, ...]],
    *,
    ahead: int,
    done: Callable[[int, Result], None],
    cancelled: Callable[[], bool] = lambda: False,
) -> bool:
    """Work off batches with only a few submitted at a time, so that cancelling is quick.

    Parameters
    ----------
    made : Executor
    job : callable
        Importable by name; called with each batch.
    batches : sequence of tuple
        Arguments of each call.
    ahead : int
        How many may be under way at a time.
    done : callable
        Called with a batch's number and result, in the order in which they end.
    cancelled : callable
        Asked between results.

    Returns
    -------
    bool
        Whether every batch was worked off.
    """
    waiting = iter(enumerate(batches))
    running: dict[Future[Result], int] = {}
    try:
        while True:
            while len(running) < ahead and not cancelled():
                number, batch = next(waiting, (-1, ()))
                if number < 0:
                    break
                running[made.submit(job, *batch)] = number
            if not running:
                return next(waiting, None) is None and not cancelled()
            ended, _ = wait(running, timeout=0.1, return_when=FIRST_COMPLETED)
            for future in ended:
                done(running.pop(future), future.result())
            if cancelled():
                return False
    finally:
        for future in running:
            future.cancel()
