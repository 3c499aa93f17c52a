"""Benchmarks: run once without a judgement by the suite, timed and judged when asked for.

A machine that is busy elsewhere must not fail the suite, so limits of time count only under
`tests/run.py --benchmarks`.  What the timed code returns is always checked; what is repeated only
to find its best time runs once where no time is judged, and a tenth of the tables, samples or
minutes then stands in for the whole, since what is checked of each is the same.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest

Best = Callable[..., tuple[float, Any]]
RECORDED: list[tuple[str, object]] = []


@pytest.fixture
def record_testsuite_property(
    record_testsuite_property: Callable[[str, object], None],
) -> Callable[[str, object], None]:
    """Record a figure in the report, and print it at the end."""

    def record(name: str, value: object) -> None:
        RECORDED.append((name, value))
        record_testsuite_property(name, value)

    return record


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Print what was measured, where times were asked for."""
    if RECORDED and config.getoption("benchmark_enable"):
        terminalreporter.section("measured")
        for name, value in RECORDED:
            terminalreporter.write_line(f"{name}: {value}")


@pytest.fixture(scope="session")
def timed(request: pytest.FixtureRequest) -> bool:
    """Whether limits of time count."""
    return bool(request.config.getoption("benchmark_enable"))


@pytest.fixture(scope="session")
def count(timed: bool) -> int:
    """How many tables a large set has."""
    return 30_000 if timed else 3_000


@pytest.fixture(scope="session")
def best(timed: bool) -> Best:
    """Return a function that gives a job's best time in seconds, and what it returned last.

    Its arguments: the job; how many rounds count where times do; the clock, which is that of this
    process unless another is given.
    """

    def measure(
        job: Callable[[], Any], rounds: int = 3, clock: Callable[[], float] = time.process_time
    ) -> tuple[float, Any]:
        least, result = float("inf"), None
        for _ in range(rounds if timed else 1):
            start = clock()
            result = job()
            least = min(least, clock() - start)
        return least, result

    return measure
