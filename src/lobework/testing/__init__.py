"""The kit for whoever adds a part: samples with known answers, named promises, and comparisons that say the worst error.

`lobework.testing.strategies` draws settings, parts and jobs that lean towards the degenerate; it needs the extra
``lobework[testing]``.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lobework.sample import Known, Sample
    from lobework.testing.compare import Broken, Worst, assert_close, worst
    from lobework.testing.promise import Promise, Unjudged
    from lobework.testing.verified import Asked, Report, Verdict, asked_of, promises_of, verify

__all__ = [
    "Asked",
    "Broken",
    "Known",
    "Promise",
    "Report",
    "Sample",
    "Unjudged",
    "Verdict",
    "Worst",
    "asked_of",
    "assert_close",
    "promises_of",
    "verify",
    "worst",
]

_HOME = {
    "lobework.sample": ("Known", "Sample"),
    "lobework.testing.compare": ("Broken", "Worst", "assert_close", "worst"),
    "lobework.testing.promise": ("Promise", "Unjudged"),
    "lobework.testing.verified": ("Asked", "Report", "Verdict", "asked_of", "promises_of", "verify"),
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}


def __getattr__(name: str) -> object:
    """Import a public name's module when it is first asked for: a plugin may name a sample and still start at once."""
    if name not in _MODULE_OF:
        raise AttributeError(f"module 'lobework.testing' has no attribute {name!r}")
    found = getattr(importlib.import_module(_MODULE_OF[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return [*__all__, "strategies", "__doc__", "__file__", "__path__"]
