"""The test kit for authors of plugins: samples with known answers, named promises, and comparisons that report the worst error.

`lobework.testing.strategies` has hypothesis strategies for settings, parts and jobs, including degenerate ones; the module needs
the extra ``lobework[testing]``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lobework.lazy import names_on_demand

if TYPE_CHECKING:
    from lobework.plugins.sample import ExpectedValue, Sample
    from lobework.testing.compare import Broken, Worst, assert_close, worst
    from lobework.testing.promise import Promise, Unjudged
    from lobework.testing.verified import PromiseTest, Report, Verdict, promise_tests_of, promises_of, verify

__all__ = [
    "Broken",
    "ExpectedValue",
    "Promise",
    "PromiseTest",
    "Report",
    "Sample",
    "Unjudged",
    "Verdict",
    "Worst",
    "assert_close",
    "promise_tests_of",
    "promises_of",
    "verify",
    "worst",
]

__getattr__, __dir__ = names_on_demand(
    __name__,
    {
        "lobework.plugins.sample": ("ExpectedValue", "Sample"),
        "lobework.testing.compare": ("Broken", "Worst", "assert_close", "worst"),
        "lobework.testing.promise": ("Promise", "Unjudged"),
        "lobework.testing.verified": ("PromiseTest", "Report", "Verdict", "promise_tests_of", "promises_of", "verify"),
    },
    ["strategies"],
)
