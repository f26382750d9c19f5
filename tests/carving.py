"""What carving tests share: every installed backend, and the kit's sweeps, stock and comparisons."""

from __future__ import annotations

import pytest

from lobework.carve.plain import PlainBackend
from lobework.plugins import registry
from lobework.testing.carvings import ALONG_X, STEPPED, UP, about, assert_same, carved, on_face, on_round
from lobework.testing.strategies import carvings, cutters, holders_by_kind, surfaces

__all__ = [
    "ALONG_X",
    "BACKENDS",
    "JUDGE",
    "STEPPED",
    "UP",
    "about",
    "assert_same",
    "backends_for",
    "carved",
    "carvings",
    "cutters",
    "holders_by_kind",
    "on_face",
    "on_round",
    "surfaces",
]

BACKENDS = tuple(registry.installed().backends().values())
JUDGE = PlainBackend()


def backends_for(*abilities):
    """The installed backends with these abilities, as parameters of a test; the judge is always among them."""
    able = [backend for backend in BACKENDS if backend.can.issuperset(abilities)]
    return pytest.mark.parametrize("backend", able, ids=[backend.name for backend in able])
