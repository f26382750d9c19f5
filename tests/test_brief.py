"""Whatever a job leads to is shown in one short line; its parts show all their settings."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lobework import Barrel, Disc, Roller, Wave, lift_of
from lobework.carve import stock_of
from lobework.jobs.jobfile import read_job
from lobework.lathe.passes import Pass, Series
from lobework.plugins.registry import installed
from lobework.render.solid import solid_of
from tests.test_hashes import frozen_in

EXAMPLES = Path(__file__).parents[1] / "docs" / "examples"
SHOW_ALL = {"Lathe", "Pass", "Series"}
"""Parts and passes: what one would write to make them."""


@pytest.fixture(scope="module")
def lid():
    job = read_job(EXAMPLES / "wave-rings.toml")
    traces = job.trace()
    program = traces.program()
    return {
        "job": job,
        "traces": traces,
        "trace": traces[2],
        "cut": traces[2].cut,
        "drawing": traces.drawing(),
        "carving": traces.carve(1.0),
        "settings": job.settings(),
        "program": program,
        "proof": job.prove(installed().target("rs274").render(program)),
    }


SHOWN = {
    "job": r"<Job 'Tide box, lid: wave rings': 36 cuts on rocking-bench>",
    "traces": r"<36 traces of \d+ samples: Tide box, lid: wave rings>",
    "trace": r"<trace of cut 3 \(wave rings 3\): \d+ samples>",
    "cut": r"<cut 3 \(wave rings 3\) on rocking-bench>",
    "drawing": r"<drawing of \d+ layers, \d+ x \d+ mm: Tide box, lid: wave rings>",
    "carving": r"<carving of 36 cuts on 77 x 77 rays: Tide box, lid: wave rings>",
    "settings": r"<settings, \d+ groups and 36 cuts: Tide box, lid: wave rings>",
    "program": r"<program of 36 cuts for rocking-bench: Tide box, lid: wave rings>",
    "proof": r"<proof: proved: .*>",
}


@pytest.mark.parametrize("name", SHOWN)
def test_the_repr_of_a_result_is_one_short_line(name, lid):
    assert re.fullmatch(SHOWN[name], repr(lid[name]))
    assert len(repr(lid[name])) < 250


def test_the_repr_of_contained_objects_is_one_short_line(lid):
    others = (lift_of(Wave(lobes=4, base_radius=60.0, rise=5.0), Roller(3.0)), solid_of(lid["carving"]))
    stocks = (stock_of(Disc(diameter=60.0, thickness=5.0), 1.0), stock_of(Barrel(diameter=40.0, length=50.0), 1.0))
    every = (*lid["traces"][:3], *others, *stocks, *(each for name, each in lid.items() if name != "traces"))
    found = [each for each in frozen_in(every, {}) if type(each).__name__ not in SHOW_ALL]
    assert len({type(each) for each in found}) > 30
    assert [type(each) for each in found if "\n" in repr(each) or len(repr(each)) > 400] == []


def test_the_repr_of_a_pass_shows_its_arguments(lid):
    series = lid["job"].passes[0]
    assert isinstance(series, Series)
    assert isinstance(series.of, Pass)
    assert "At(x=35.0, y=0.0, z=0.0, depth=0.19)" in repr(series)
