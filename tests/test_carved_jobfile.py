"""What a job file says of carving: forms of work, profiles, what holds the cutter, how fine, passes of no turns."""

from __future__ import annotations

import pytest

from lobework.jobs.jobfile import job_schema, read_job
from lobework.parts.cutter import Ball, FlatEnd, Profiled, RoundNosed, Vee
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.parts.slide import At

JOB = """\
units = "{units}"
lathe = "plain-bench"
{more}

[piece]
{piece}

[cutter]
{cutter}

[[pass]]
{passed}
"""
DISC = 'form = "disc"\ndiameter = "40 mm"\nthickness = "5 mm"'
BALL = 'kind = "ball"\nradius = "1 mm"'


@pytest.fixture
def read(tmp_path):
    """Return a function that reads a job of these tables."""

    def made(piece=DISC, cutter=BALL, passed="", more="", units="mm"):
        path = tmp_path / "job.toml"
        path.write_text(JOB.format(piece=piece, cutter=cutter, passed=passed, more=more, units=units), encoding="utf-8")
        return read_job(path)

    return made


PIECES = {
    "disc": (DISC, Disc(diameter=40.0, thickness=5.0)),
    "barrel": ('form = "barrel"\ndiameter = 50\nlength = "60 mm"\nbore = "1 in"', Barrel(diameter=50.0, length=60.0, bore=25.4)),
    "solid barrel": ('form = "barrel"\ndiameter = 50\nlength = 60', Barrel(diameter=50.0, length=60.0)),
    "turned": (
        'form = "turned"\nprofile = [[0, 20], ["-1 in", "5/4 in"], [-60.5, 18]]\nmaterial = "cherry"',
        Turned(profile=((0, 20), (-25.4, 31.75), (-60.5, 18)), material="cherry"),
    ),
    "hollow": (
        'form = "turned"\nprofile = [[0, 20], [-60, 18]]\nhollow = [[5, 15], [-40, "10 mm"]]',
        Turned(profile=((0, 20), (-60, 18)), hollow=((5, 15), (-40, 10))),
    ),
}


@pytest.mark.parametrize("form", PIECES)
def test_every_form_of_work_is_read(form, read):
    written, piece = PIECES[form]
    assert read(piece=written).piece == piece


CUTTERS = {
    "vee": ('kind = "vee"\nangle = "1/6 turn"\nwidth = 3', Vee(angle_deg=60.0, width=3.0)),
    "flat": ('kind = "flat"\nwidth = "1/8 in"', FlatEnd(width=3.175)),
    "round-nosed": (
        'kind = "round-nosed"\nradius = 0.5\nangle = "60 deg"\nwidth = 3',
        RoundNosed(radius=0.5, angle_deg=60.0, width=3.0),
    ),
    "profile": (
        'kind = "profile"\npoints = [[0, 0], ["0.5 mm", 0], [1.5, "1/10 in"]]',
        Profiled(points=((0, 0), (0.5, 0), (1.5, 2.54))),
    ),
}


@pytest.mark.parametrize("kind", CUTTERS)
def test_every_cutter_is_read(kind, read):
    written, cutter = CUTTERS[kind]
    assert read(cutter=written).cutter == cutter


HELD = {
    "fixed": ('{ kind = "fixed" }', FixedTool()),
    "drilling spindle": ('{ kind = "drilling spindle" }', DrillingSpindle()),
    "cutting frame": (
        '{ kind = "cutting frame", radius = "3/4 in", angle = "1/8 turn" }',
        CuttingFrame(radius=19.05, angle_deg=45.0),
    ),
    "straight cutting frame": ('{ kind = "cutting frame", radius = 20 }', CuttingFrame(radius=20.0)),
    "eccentric frame": ('{ kind = "eccentric frame", radius = 6 }', EccentricFrame(radius=6.0)),
}


@pytest.mark.parametrize("kind", HELD)
def test_every_holder_is_read(kind, read):
    written, holder = HELD[kind]
    assert read(cutter=f"{BALL}\nholder = {written}").cutter == Ball(radius=1.0, holder=holder)
    as_table = "\n[cutter.holder]\n" + written.strip("{ }").replace(", ", "\n")
    assert read(cutter=f"{BALL}\n{as_table}").cutter == Ball(radius=1.0, holder=holder)


def test_bare_lengths_in_profiles_and_frames_are_in_the_unit_of_the_file(read):
    """One inch is 25.4 mm (Federal Register, 30 June 1959)."""
    swung = '{ kind = "cutting frame", radius = 2 }'
    job = read(
        piece='form = "turned"\nprofile = [[0, 1], ["-30 mm", 1.5], [-2, 1]]\nhollow = [[0, 0.5], [-1, "10 mm"]]',
        cutter=f'kind = "profile"\npoints = [[0, 0], [0.02, 0.01], ["1 mm", "1 mm"]]\nholder = {swung}',
        passed="at = { x = 1, z = -1, depth = 0.01 }",
        more="resolution = 0.01",
        units="inch",
    )
    assert job.piece == Turned(profile=((0, 25.4), (-30, 38.1), (-50.8, 25.4)), hollow=((0, 12.7), (-25.4, 10)))
    assert job.cutter == Profiled(points=((0, 0), (0.508, 0.254), (1, 1)), holder=CuttingFrame(radius=50.8))
    assert job.resolution == 0.254
    assert job.passes[0].at == At(x=25.4, z=-25.4, depth=0.254)


@pytest.mark.parametrize(("more", "resolution"), [("", 0.05), ("resolution = 0.2", 0.2), ('resolution = "1/100 in"', 0.254)])
def test_a_job_file_sets_the_resolution(more, resolution, read):
    assert read(more=more).resolution == resolution


def test_a_pass_of_0_turns_is_read(read):
    (passed,) = read(passed='turns = 0\nat = { x = 12, depth = "0.5 mm" }').passes
    assert passed.turns == 0
    assert passed.at == At(x=12.0, depth=0.5)


def tables(at, found):
    """Gather every table of a schema by its title."""
    if isinstance(at, dict):
        if "properties" in at and "title" in at:
            found[at["title"]] = at["properties"]
        for each in at.values():
            tables(each, found)
    elif isinstance(at, list):
        for each in at:
            tables(each, found)
    return found


def test_the_schema_accepts_profiles_as_lists_of_pairs():
    """JSON Schema, draft 2020-12, "Arrays": items, minItems, maxItems."""
    known = tables(job_schema(), {})
    pairs = {"type": "array", "items": {"type": ["number", "string"]}, "minItems": 2, "maxItems": 2}
    for title, key in (("Profiled", "points"), ("Turned", "profile"), ("Turned", "hollow")):
        assert known[title][key]["type"] == "array"
        assert known[title][key]["items"] == pairs
        assert known[title][key]["description"]


def test_the_schema_knows_every_form_cutter_and_holder_with_its_keys():
    known = tables(job_schema(), {})
    assert {"form", "diameter", "length", "bore", "material"} == set(known["Barrel"])
    assert {"form", "profile", "hollow", "material"} == set(known["Turned"])
    assert {"kind", "radius", "angle"} == set(known["CuttingFrame"])
    assert {"kind", "radius"} == set(known["EccentricFrame"])
    assert {"kind"} == set(known["FixedTool"]) == set(known["DrillingSpindle"])
    assert all("holder" in known[name] for name in ("Vee", "Ball", "FlatEnd", "RoundNosed", "Profiled"))
    assert "resolution" in known["Job"]
