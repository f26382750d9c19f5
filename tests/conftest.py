"""What every test shares: how hard hypothesis looks, and that nothing is skipped where everything must run."""

from __future__ import annotations

import math
import os
import re
import sys
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from tests.compile_kernels import Compilation
from tests.search import fix_constants

CARVES = re.compile(
    r"tests/(?:carve/|properties/test_carving|truths/test_(?:carved|crossing|helix)|docs/test_(?:examples|guide)"
    r"|test_(?:skeleton|uncompiled))"
)
SHARES = re.compile(
    r"tests/(?:test_(?:cli|compile_cache|names_in_outputs|packaging|plugins)|docs/test_(?:author_guide|types)"
    r"|testing/test_pytest_plugin)\.py"
)
EVERYTHING_MUST_RUN = os.environ.get("CI") == "true"

os.environ.setdefault("OMP_WAIT_POLICY", "passive")
"""Read as the threads of kernels are first started: two processes whose idle threads spin take a third of each other's time."""
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
"""Tests start hundreds of processes: each would compile the library's modules, and pytest's rewritten ones, anew."""

NO_CLOCK = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("fixed", **NO_CLOCK, derandomize=True)
settings.register_profile("seeded", **NO_CLOCK, derandomize=False, database=None, print_blob=True)
settings.load_profile("fixed")
fix_constants()


def pytest_configure(config: pytest.Config) -> None:
    """Draw the same cases in every run; other cases, and more, only where a seed is given."""
    given = config.getoption("hypothesis_seed", None)
    if given is not None:
        settings.load_profile("seeded")
        os.environ.setdefault("LOBEWORK_SEED", str(given))


COMPILATION: pytest.StashKey[Compilation] = pytest.StashKey()


def pytest_sessionstart(session: pytest.Session) -> None:
    """Begin to compile the kernels if several processes will run all tests."""
    config = session.config
    if config.getoption("dist", None) == "loadgroup" and config.args_source is pytest.Config.ArgsSource.TESTPATHS:
        config.stash[COMPILATION] = Compilation()


@pytest.hookimpl(wrapper=True)
def pytest_runtestloop(session: pytest.Session) -> Generator[None, object, object]:
    """Give out no test before the kernels are compiled."""
    if compilation := session.config.stash.get(COMPILATION, None):
        compilation.wait()
    return (yield)


def group_of(test: str) -> str:
    """Return the name of the group of tests that one process runs: the test's own name if any process may run it.

    What carves is one group, so that each kernel is compiled once. A file whose tests share what takes long to make is a group.
    """
    if CARVES.match(test):
        return "carving"
    shares = SHARES.match(test)
    return shares.group() if shares else test


@pytest.hookimpl(tryfirst=True, optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Distribute the tests by ``group_of`` (``pytest -n auto --dist loadgroup``).

    Marks cannot do it: the scheduler of xdist 3.8 reads them from an attribute that the tests of pytest 9.2 no longer have.
    """
    if config.getoption("dist") != "loadgroup":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class ByGroup(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return group_of(nodeid)

    return ByGroup(config, log)


@pytest.fixture(scope="session", autouse=True)
def no_word_of_time() -> Generator[None, None, None]:
    """However slow the machine is, a command in a test says nothing of how long it will take; no test reads a clock."""
    from lobework.cli import writing

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writing, "FIRST_AFTER", math.inf)
        yield


@pytest.fixture(scope="module")
def small_pictures() -> Generator[None, None, None]:
    """For tests that ask something else of pictures than how large they are."""
    from lobework.render import relief
    from lobework.targets import page

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(relief, "DOTS", relief.FEWEST)
        patch.setattr(page, "STILL_DOTS", relief.FEWEST)
        yield


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Look for doctests in the library, and in here only for tests: what stands beside them may need another Python."""
    return True if collection_path.suffix == ".py" and not collection_path.name.startswith("test_") else None


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
