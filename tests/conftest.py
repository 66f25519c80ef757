"""What every test run shares: how a test that is left out is told, and when that is a failure.

A test that needs a browser or a server skips itself with one sentence where that is absent. The closing lines then say
how many were left out and why. With EVENHAND_FORBID_SKIPS=1, as in the project's own check, each is a failure, and so
is a run that leaves tests out by selection.
"""

import os
from collections import Counter
from collections.abc import Generator
from typing import Any

import pytest
from hypothesis import settings

FORBID = os.environ.get("EVENHAND_FORBID_SKIPS", "") not in ("", "0")

# Examples are drawn the same way on every machine, and no example is timed: a slow machine is not a defect.
# HYPOTHESIS_PROFILE=explore looks for new ones.
settings.register_profile("same", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("explore", deadline=None, print_blob=True, max_examples=1000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))

_left_out: Counter[str] = Counter()
_deselected = 0


def _told(report: Any) -> str:
    """Return the sentence with which a test was left out."""
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    return reason.removeprefix("Skipped: ")


def _count(report: Any) -> None:
    """Note a test that was left out, and fail it where leaving out is forbidden."""
    if report.skipped and not hasattr(report, "wasxfail"):
        reason = _told(report)
        _left_out[reason] += 1
        if FORBID:
            report.outcome = "failed"
            report.longrepr = f"left out, which EVENHAND_FORBID_SKIPS forbids: {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, Any, Any]:
    report = yield
    _count(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, Any, Any]:
    report = yield
    _count(report)
    return report


def pytest_deselected(items: list[pytest.Item]) -> None:
    global _deselected
    _deselected += len(items)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    if FORBID and _deselected and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: Any) -> None:
    for reason, times in _left_out.most_common():
        terminalreporter.write_line(f"left out: {times} test(s) or file(s): {reason}")
    if _deselected:
        terminalreporter.write_line(f"left out: {_deselected} test(s), by selection")
    terminalreporter.write_line(f"left out in all: {_left_out.total() + _deselected}")
