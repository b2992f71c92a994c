"""How much of the processor every test takes, and which are too slow for the quick tier.

The quick tier is what is not marked ``slow``: ``uv run pytest -m "not slow"``. Processor seconds
are told, those of child processes with them: they hardly depend on what else the machine does.
"""

from __future__ import annotations

import os
from collections.abc import Generator, Iterable

import pytest

MARKED_FROM = 0.5
"""Whoever writes a test that takes so many processor seconds marks it slow."""

TOO_SLOW = 3.0
"""A test without the mark that takes more than these fails the run: six times as much, since
the first test of a process pays for what the others find in its caches."""

TIER = 90.0
"""So many processor seconds all tests of the quick tier may take: a minute on two cores, with
collection. What they take is told; beyond this it is a warning."""

NAME = "processor seconds"


def used() -> float:
    """Processor seconds of this process and of those of its children that have ended."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


class Pace:
    """Measures every test, in every worker, and tells at the end what is out of place."""

    def __init__(self) -> None:
        self.quick: dict[str, float] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Generator[None, None, None]:
        """Note with a test what it took, without fixtures: whoever asks first pays for all."""
        began = used()
        try:
            return (yield)
        finally:
            if item.get_closest_marker("slow") is None:
                item.user_properties.append((NAME, used() - began))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Take in what was measured, in this process or in a worker."""
        for name, value in report.user_properties if report.when == "call" else ():
            if name == NAME and isinstance(value, float):
                self.quick[report.nodeid] = value

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """Fail where a slow test has no mark."""
        if session.exitstatus == 0 and too_slow(self.quick):
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Tell what the quick tier took, and what does not belong to it."""
        for line in told(self.quick):
            terminalreporter.write_line(line)


def too_slow(quick: dict[str, float]) -> list[str]:
    """The tests that want the mark, slowest first.

    >>> too_slow({"a": 0.1, "b": 3.5, "c": 9.0})
    ['c', 'b']
    """
    slow = (test for test, seconds in quick.items() if seconds > TOO_SLOW)
    return sorted(slow, key=lambda test: -quick[test])


def told(quick: dict[str, float]) -> Iterable[str]:
    """What is said at the end of a session.

    >>> list(told({}))
    []
    >>> for line in told({"a": 0.1, "b": 3.5}):
    ...     print(line)
    quick tier: 2 tests, 3.6 of 90 processor seconds
    b takes 3.5 processor seconds: mark it slow, or make it quicker
    """
    if not quick:
        return
    total = sum(quick.values())
    yield f"quick tier: {len(quick):,} tests, {total:.1f} of {TIER:.0f} processor seconds"
    if total > TIER:
        yield "warning: the quick tier is to end within a minute: mark its slowest tests slow"
    for test in too_slow(quick):
        yield f"{test} takes {quick[test]:.1f} processor seconds: mark it slow, or make it quicker"
