"""A pytest plugin: ``@pytest.mark.lobework("sway")`` makes one test for each promise of each item of a plugin.

::

    @pytest.mark.lobework("sway")
    def test_sway_keeps_its_promises(promise):
        promise.hold()
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from lobework.testing.verified import PromiseTest

__all__ = ["pytest_configure", "pytest_generate_tests"]

_MARK = 'lobework(name): test every promise of the items of a lobework plugin or package, given as the argument "promise"'


@dataclass(frozen=True, slots=True)
class _Test:
    """A promise as the argument of a test; if the promise cannot be judged, the test is skipped, and the reason is reported."""

    test: PromiseTest

    def __str__(self) -> str:
        return str(self.test)

    def hold(self) -> int:
        """Test the promise and return the number of cases."""
        from lobework.testing.promise import Unjudged

        try:
            return self.test.hold()
        except Unjudged as lacking:
            pytest.skip(f"{self.test}: {lacking}")


def pytest_configure(config: pytest.Config) -> None:
    """Register the marker."""
    config.addinivalue_line("markers", _MARK)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Make one test for each pair of a promise and a sample."""
    mark = metafunc.definition.get_closest_marker("lobework")
    if mark is None or "promise" not in metafunc.fixturenames:
        return
    if len(mark.args) != 1 or mark.kwargs or not isinstance(mark.args[0], str):
        raise pytest.Collector.CollectError(
            'write the mark with one name: @pytest.mark.lobework("name of the plugin or package")'
        )
    from lobework.errors import LobeworkError
    from lobework.testing.verified import promise_tests_of

    try:
        tests = [_Test(test) for test in promise_tests_of(mark.args[0])]
    except LobeworkError as error:
        raise pytest.Collector.CollectError(str(error)) from None
    metafunc.parametrize("promise", tests, ids=str)
