"""What every test shares: how hard hypothesis looks, and that nothing is skipped where everything must run."""

from __future__ import annotations

import os
from collections.abc import Generator

import pytest
from hypothesis import settings

EVERYTHING_MUST_RUN = os.environ.get("CI") == "true"

settings.register_profile("bench", deadline=None)
settings.register_profile("ci", deadline=None, print_blob=True)
settings.load_profile("ci" if EVERYTHING_MUST_RUN else "bench")


def _refused(report: pytest.TestReport | pytest.CollectReport) -> None:
    """Turn a skip into a failure, with its reason."""
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
    report.outcome = "failed"
    report.longrepr = f"{report.nodeid}: nothing may be skipped here. {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if EVERYTHING_MUST_RUN and report.skipped and not hasattr(report, "wasxfail"):
        _refused(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    if EVERYTHING_MUST_RUN and report.skipped:
        _refused(report)
    return report
