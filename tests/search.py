"""How hard the tests that draw their cases search, and with which seed.

Without a seed the cases are the same in every run, and a sixth of those that a seed draws. ``LOBEWORK_SEED`` draws other jobs;
for tests by hypothesis the seed is pytest's option ``--hypothesis-seed``, which sets the variable too. ``LOBEWORK_EXAMPLES``
multiplies the number of cases. The hunt (``python -m tests.hunt``) sets all three.
"""

from __future__ import annotations

import functools
import os
from pathlib import Path
from types import ModuleType
from typing import Any, Final

from hypothesis.internal.conjecture import providers
from hypothesis.internal.constants_ast import constants_from_module

import lobework

__all__ = ["examples", "fix_constants", "seed"]

_TIMES: Final = int(os.environ.get("LOBEWORK_EXAMPLES", "1"))
_SEED: Final = os.environ.get("LOBEWORK_SEED")
_FEWER: Final = 6
"""A run on fixed cases finds nothing new the second time, so it draws fewer of them."""


def examples(usual: int) -> int:
    """Return how many cases to draw: the usual number, a multiple of it in a hunt, a sixth of it on fixed cases."""
    return usual * _TIMES if _SEED is not None else max(usual // _FEWER, 2)


def seed(usual: int) -> int:
    """Return the seed from which jobs are drawn: the usual one, or that of the hunt."""
    return usual if _SEED is None else int(_SEED)


def fix_constants() -> None:
    """Let hypothesis draw the numbers and words of the library's sources, of all of them in every process.

    It draws those of the local modules that are loaded. So the cases of a seed depended on which tests had run before in the same
    process, and on the folder in which the library lies.
    """
    providers._get_local_constants = _constants


@functools.cache
def _constants() -> Any:
    """Return the constants of every module of the library, as hypothesis keeps them."""
    found = providers._local_constants  # none yet: sets that keep their order
    for path in sorted(Path(lobework.__file__).parent.rglob("*.py")):
        module = ModuleType(path.stem)
        module.__file__ = str(path)
        found |= constants_from_module(module)
    return found
