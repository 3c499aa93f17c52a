"""Benchmarks: run once without a judgement by the suite, timed and judged when asked for.

A machine that is busy elsewhere must not fail the suite, so limits of time count only under
`tests/run.py --benchmarks`.  What the timed code returns is always checked.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

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
