"""A fixture for the claims of a benchmark, and a table of all claims at the end of the run."""

from __future__ import annotations

import os
import sys
from collections.abc import Generator
from typing import Any

import numpy as np
import pytest

from benchmarks.measure import Claims, Line

_LINES = pytest.StashKey[list[Line]]()


def pytest_configure(config: pytest.Config) -> None:
    config.stash[_LINES] = []


@pytest.fixture
def claims(benchmark: Any) -> Claims:
    """The claims of this benchmark."""
    return Claims(benchmark)


@pytest.hookimpl(wrapper=True)
def pytest_pyfunc_call(pyfuncitem: pytest.Function) -> Generator[None, Any, Any]:
    """Run a benchmark to its end, store its lines, and make it fail if a claim is missed."""
    claimed = pyfuncitem.funcargs.get("claims")
    try:
        return (yield)
    finally:
        if isinstance(claimed, Claims):
            pyfuncitem.config.stash[_LINES].extend(claimed.lines)
            if claimed.not_met and sys.exc_info()[0] is None:
                pytest.fail("\n".join(map(str, claimed.not_met)), pytrace=False)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the table, with one line for each claim."""
    if lines := terminalreporter.config.stash[_LINES]:
        terminalreporter.section("claims")
        terminalreporter.line(f"{os.cpu_count()} cores, Python {sys.version.split()[0]}, numpy {np.__version__}")
        for line in lines:
            terminalreporter.line(str(line), green=line.met, red=not line.met)
