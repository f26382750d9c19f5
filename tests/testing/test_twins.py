"""The kit, tried on faulty twins: each must be caught, and by the promise that it breaks; the honest must pass every one."""

from __future__ import annotations

from typing import get_args

import pytest

from lobework.errors import UnknownNameError
from lobework.plugins import registry
from lobework.plugins.registry import PartKind, Plugins
from lobework.testing import Broken, Sample, Unjudged, promises_of
from tests.testing.twins import backends, cams, checks, chucks, cutters, followers, pieces, targets

KINDS = {
    "chuck": chucks,
    "cam": cams,
    "follower": followers,
    "cutter": cutters,
    "piece": pieces,
    "backend": backends,
    "target": targets,
    "check": checks,
}
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
        if part.kind in get_args(PartKind):
            shelf.parts[part.kind][part.name] = type(part.part)

    monkeypatch.setattr(registry, "installed", lambda: shelf)
    return installed


@pytest.mark.parametrize(("kind", "twin"), TWINS, ids=[f"{kind} {twin.fault}" for kind, twin in TWINS])
def test_a_faulty_twin_is_found_by_the_promise_that_it_breaks(kind, twin, shelf):
    shelf(twin.sample)
    with pytest.raises(Broken) as caught:
        promise(kind, twin.breaks).hold(twin.sample)
    assert twin.message in str(caught.value)
    assert "\n" not in str(caught.value)


MAY_HAVE_NO_CASE = ("refuses nan and infinity", "carves no deeper than the deepest pass")
"""A part without numbers has nothing to refuse, and the carving of many rays is on a face."""


@pytest.mark.parametrize(("kind", "sample"), HONESTS, ids=[f"{kind} {sample.name}" for kind, sample in HONESTS])
def test_a_correct_item_keeps_every_promise(kind, sample, shelf):
    shelf(sample)
    for each in promises_of(kind):
        try:
            cases = each.hold(sample)
        except Unjudged:
            assert each.name in ("gives the known answers", "is true to size")
        else:
            assert cases > 0 or each.name in MAY_HAVE_NO_CASE


@pytest.mark.parametrize("kind", KINDS)
def test_every_promise_finds_a_faulty_twin(kind):
    caught = {twin.breaks for twin in KINDS[kind].TWINS}
    assert caught == {each.name for each in promises_of(kind)}


@pytest.mark.parametrize("each", promises_of("target"), ids=str)
def test_a_target_without_its_package_is_not_tested_and_the_reason_is_given(each):
    lacking = targets.made(targets.points, needs=("no_such_module", "lobework-none"))
    with pytest.raises(Unjudged) as said:
        each.hold(Sample(lacking))
    lacks = "no_such_module is not installed here; run: pip install 'lobework-none'"
    assert str(said.value) == lacks or each.name == "gives the known answers"


@pytest.mark.parametrize("kind", KINDS)
def test_promises_have_unique_names_and_a_description_of_one_sentence(kind):
    names = [each.name for each in promises_of(kind)]
    assert len(set(names)) == len(names)
    for each in promises_of(kind):
        assert str(each) == f"{kind}: {each.name}"
        assert each.description[0].isupper()
        assert each.description.endswith(".")


def test_an_unknown_kind_is_reported_with_a_suggestion():
    with pytest.raises(UnknownNameError, match="no kind of thing is called 'chucks'; did you mean 'chuck'"):
        promises_of("chucks")
