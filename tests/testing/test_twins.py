"""The kit, tried on faulty twins: each must be caught, and by the promise that it breaks; the honest must pass every one."""

from __future__ import annotations

import pytest

from lobework import plugins
from lobework.plugins import Plugins
from lobework.testing import Broken, Unjudged, promises_of
from tests.testing.twins import cams, chucks, cutters, followers, pieces

KINDS = {"chuck": chucks, "cam": cams, "follower": followers, "cutter": cutters, "piece": pieces}
TWINS = [(kind, twin) for kind, module in KINDS.items() for twin in module.TWINS]
HONESTS = [(kind, sample) for kind, module in KINDS.items() for sample in module.HONESTS]


def promise(kind, name):
    (found,) = (each for each in promises_of(kind) if each.name == name)
    return found


@pytest.fixture(autouse=True)
def shelf(monkeypatch):
    """What is installed, and whatever part is tried in the place of any of its name."""
    shelf = Plugins.load()

    def installed(part):
        if (parts := shelf.parts.get(part.kind)) is not None:
            parts[part.name] = type(part.part)

    monkeypatch.setattr(plugins, "installed", lambda: shelf)
    return installed


@pytest.mark.parametrize(("kind", "twin"), TWINS, ids=[f"{kind} {twin.fault}" for kind, twin in TWINS])
def test_a_faulty_twin_is_caught_by_the_promise_that_it_breaks(kind, twin, shelf):
    shelf(twin.sample)
    with pytest.raises(Broken) as caught:
        promise(kind, twin.breaks).hold(twin.sample)
    assert twin.says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("kind", "sample"), HONESTS, ids=[f"{kind} {sample.name}" for kind, sample in HONESTS])
def test_an_honest_one_keeps_every_promise(kind, sample, shelf):
    shelf(sample)
    for each in promises_of(kind):
        try:
            assert each.hold(sample) >= 0
        except Unjudged:
            assert each.name in ("gives the known answers", "is true to size")


@pytest.mark.parametrize("kind", KINDS)
def test_every_promise_has_a_twin_that_it_catches(kind):
    caught = {twin.breaks for twin in KINDS[kind].TWINS}
    assert caught == {each.name for each in promises_of(kind)}
