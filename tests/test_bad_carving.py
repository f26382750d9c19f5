"""Whatever is wrong with work to be carved gets one line and exit code 2, and nothing is written."""

from __future__ import annotations

import pytest

from tests.test_bad_input import Bench

BARREL = """\
title = "Tide box, barrel"
units = "mm"
lathe = "plain-bench"
resolution = "0.5 mm"

[piece]
form = "barrel"
diameter = 24
length = 20
bore = 18

[cutter]
kind = "ball"
radius = 1

[[pass]]
name = "rings"
at = { x = 12, z = -5, depth = 0.4 }
series = { count = 2, each = { z = -4 } }
"""
WORK = 'form = "barrel"\ndiameter = 24\nlength = 20\nbore = 18'
BALL = 'kind = "ball"\nradius = 1'
RING = 'name = "rings"'


@pytest.fixture
def bench(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return Bench(tmp_path, capsys)


def changed(old, new):
    assert old in BARREL
    return BARREL.replace(old, new, 1)


def turned(profile, hollow=""):
    return changed(WORK, f'form = "turned"\nprofile = {profile}' + (f"\nhollow = {hollow}" if hollow else ""))


def profile(points):
    return changed(BALL, f'kind = "profile"\npoints = {points}')


def holder(table):
    return changed(BALL, f"{BALL}\nholder = {table}")


HOLDERS = "fixed, drilling spindle, cutting frame, eccentric frame"
ACROSS = "write a list of [across, height] pairs from the tip outwards, such as [[0, 0], [0.5, 0], [1.5, 2]]"
ALONG = "write a list of [z, radius] pairs, from the end away from the headstock, such as [[0, 20], [-30, 25], [-60, 18]]"
LENGTHS = "write for example '3 mm' or '3/8 in'"
SMOOTH = "must be a curve that neither folds back nor crosses the axis; add points"
GRID = "needs 1.51e+11 rays, which would take 1,809.6 GB to carve, more than the 4 GB a job may take; use 0.003 mm or more"
WRONG = {
    "a profile that folds back": (
        profile("[[0, 0], [1, 1], [0.5, 2]]"),
        ":14: cutter.points[3]: (0.5, 2.0) must be further out than 1 and no lower than 1; the profile folds back there",
    ),
    "a profile that falls": (
        profile("[[0, 0], [1, 1], [2, 0.5]]"),
        ":14: cutter.points[3]: (2.0, 0.5) must be further out than 1 and no lower than 1; the profile folds back there",
    ),
    "a profile that begins beside its tip": (
        profile("[[0.1, 0], [1, 1]]"),
        ":14: cutter.points: [[0.1, 0], [1, 1]] must be (0, 0), the tip, as the first point",
    ),
    "a profile of one point": (profile("[[0, 0]]"), ":14: cutter.points: [[0, 0]] must be two points or more"),
    "a profile of no number": (
        profile("[[0, 0], [1, nan]]"),
        ":14: cutter.points: nan is not a finite number; write for example '3 mm' or '3/8 in'",
    ),
    "a profile without end": (
        profile("[[0, 0], [inf, 1]]"),
        ":14: cutter.points: inf is not a finite number; write for example '3 mm' or '3/8 in'",
    ),
    "a profile beyond any lathe": (
        profile("[[0, 0], [1e9, 1]]"),
        f":14: cutter.points: [[0, 0], [1000000000.0, 1]] is more than a million, beyond any lathe; {ACROSS}",
    ),
    "a profile in words": (
        profile('"vee"'),
        f":14: cutter.points: 'vee' does not fit here (it is not a list of pairs); {ACROSS}",
    ),
    "a profile in one row": (
        profile("[0, 0, 1, 1]"),
        f":14: cutter.points: [0, 0, 1, 1] does not fit here (it is not a list of pairs); {ACROSS}",
    ),
    "a profile of triples": (
        profile("[[0, 0, 0]]"),
        f":14: cutter.points: [[0, 0, 0]] does not fit here (it is not a list of pairs); {ACROSS}",
    ),
    "a profile in degrees": (
        profile('[[0, 0], ["1 deg", 1]]'),
        f":14: cutter.points: '1 deg': the unit 'deg' is not allowed here; allowed: mm, cm, in, inch; {LENGTHS}",
    ),
    "a profile of far too many points": (
        profile([[k, k] for k in range(501)]),
        ":14: cutter.points: [[0, 0], [1, 1], [2, 2], [3, 3], [4, 4]... must be 500 points or fewer",
    ),
    "a pen": (
        changed(BALL, 'kind = "pen"'),
        ":13: cutter.kind: 'pen' has no edge, so it carves nothing; use a vee or another cutter",
    ),
    "a holder misspelt": (
        holder('{ kind = "cuting frame", radius = 20 }'),
        f":15: cutter.holder.kind: no holder is called 'cuting frame'; did you mean 'cutting frame'?; installed: {HOLDERS}",
    ),
    "a holder that is no table": (
        holder('"cutting frame"'),
        f":15: cutter.holder: 'cutting frame' is not a table; write kind = one of {HOLDERS}, and its settings",
    ),
    "a holder without its kind": (holder("{ radius = 20 }"), f":15: cutter.holder.kind: is missing; write one of {HOLDERS}"),
    "a frame of no radius": (
        holder('{ kind = "cutting frame", radius = 0 }'),
        ":15: cutter.holder.radius: 0 must be above zero",
    ),
    "a frame without its radius": (
        holder('{ kind = "eccentric frame" }'),
        ":15: cutter.holder.radius: is missing; write a length such as 3, '3 mm' or '1/8 in'",
    ),
    "a frame's angle in the Python spelling": (
        holder('{ kind = "cutting frame", radius = 20, angle_deg = 3 }'),
        ":15: cutter.holder.angle_deg: there is no such key; did you mean 'angle'?; keys here: kind, radius, angle",
    ),
    "a setting of another holder": (
        holder('{ kind = "fixed", radius = 20 }'),
        ":15: cutter.holder.radius: there is no such key; keys here: kind",
    ),
    "a bore as wide as the work": (
        changed("bore = 18", "bore = 24"),
        ":10: piece.bore: 24 must be zero or more and below the diameter, 24 mm",
    ),
    "a barrel's setting on a disc": (
        changed('"barrel"', '"disc"'),
        ":9: piece.length: there is no such key; keys here: form, diameter, thickness, material",
    ),
    "a turned profile that folds back": (
        turned("[[0, 12], [-10, 14], [-5, 12]]"),
        ":8: piece.profile[3]: (-5.0, 12.0) must be further towards the headstock than z -10; the profile folds back there",
    ),
    "a turned profile through the axis": (
        turned("[[0, 12], [-10, -1], [-20, 12]]"),
        ":8: piece.profile: [[0, 12], [-10, -1], [-20, 12]] must be radii above zero; end the profile at a small radius",
    ),
    "a smooth curve through the axis": (
        turned("[[0, 30], [-10, 2], [-30, 2], [-40, 30]]"),
        f":8: piece.profile: [[0, 30], [-10, 2], [-30, 2], [-40, 30]] {SMOOTH}",
    ),
    "a turned profile in words": (
        turned('"vase"'),
        f":8: piece.profile: 'vase' does not fit here (it is not a list of pairs); {ALONG}",
    ),
    "a hollow thicker than the work": (
        turned("[[0, 12], [-20, 12]]", "[[0, 13], [-20, 13]]"),
        ":9: piece.hollow: [[0, 13], [-20, 13]] must be below the work's outer radius, 12 mm at z 0 mm; make the hollow smaller",
    ),
    "a hollow beyond the work": (
        turned("[[0, 12], [-20, 12]]", "[[-30, 5], [-40, 5]]"),
        ":9: piece.hollow: [[-30, 5], [-40, 5]] must be inside the work",
    ),
    "turns below zero": (
        changed(RING, f"{RING}\nturns = -1"),
        ":18: pass[1].turns: -1 must be zero or more, at most a million",
    ),
    "a grid past memory": (
        changed("0.5 mm", "0.0001 mm"),
        f":4: resolution: '0.0001 mm' {GRID}",
    ),
    "a resolution of nothing": (changed('"0.5 mm"', "0"), ":4: resolution: 0 must be above zero, such as 0.05 mm"),
    "a resolution below zero": (changed("0.5 mm", "-0.1 mm"), ":4: resolution: '-0.1 mm' must be above zero, such as 0.05 mm"),
    "a resolution of no number": (
        changed('"0.5 mm"', "nan"),
        ":4: resolution: nan is not a finite number; write for example '3 mm' or '3/8 in'",
    ),
    "a resolution in words": (
        changed("0.5 mm", "fine"),
        ":4: resolution: 'fine' is not understood; write for example '3 mm' or '3/8 in'",
    ),
    "a resolution too coarse": (
        changed("0.5 mm", "6 mm"),
        ":4: resolution: '6 mm' must be above zero and at most 5 mm, a quarter of the work's size",
    ),
}
DRAWS = ("a pen", "a grid past memory", "a resolution too coarse")


@pytest.mark.parametrize("case", WRONG)
def test_an_error_names_file_line_key_value_and_remedy(case, bench):
    text, message = WRONG[case]
    bench.job.write_text(text, encoding="utf-8")
    assert bench.refusal("carve", bench.job) == f"{bench.job}{message}"


@pytest.mark.parametrize("case", sorted(set(WRONG) - {"a pen"}))
def test_make_reports_the_same_error_and_writes_nothing(case, bench):
    text, message = WRONG[case]
    bench.job.write_text(text, encoding="utf-8")
    assert bench.refusal("make", bench.job) == f"{bench.job}{message}"


@pytest.mark.parametrize("case", sorted(set(WRONG) - set(DRAWS)))
def test_invalid_work_is_refused_by_draw(case, bench):
    text, message = WRONG[case]
    bench.job.write_text(text, encoding="utf-8")
    assert bench.refusal("draw", bench.job) == f"{bench.job}{message}"


OPTIONS = {
    "a resolution of nothing": ("--resolution", "0", "'0' must be above zero and at most 5 mm, a quarter of the work's size"),
    "a resolution too coarse": ("--resolution", "9 mm", "'9 mm' must be above zero and at most 5 mm, a quarter of the work's"),
    "a resolution in words": ("--resolution", "fine", "'fine' is not understood; write for example '3 mm' or '3/8 in'"),
    "no resolution at all": ("--resolution", "", "'' is not understood; write for example '3 mm' or '3/8 in'"),
    "a resolution in degrees": ("--resolution", "1 deg", "'1 deg': the unit 'deg' is not allowed here; allowed: mm, cm, in"),
    "a grid past memory": ("--resolution", "0.0001 mm", "'0.0001 mm' needs 1.51e+11 rays, which would take 1,809.6 GB to carve"),
    "a backend that is not installed": ("--backend", "plane", "no backend is called 'plane'; did you mean 'plain'?; installed: "),
    "a drawing's target": ("--as", "svg", "no target for the carving is called 'svg'"),
}


@pytest.mark.parametrize("case", OPTIONS)
def test_an_invalid_option_is_reported_under_its_name_before_tracing(case, bench, monkeypatch):
    from lobework.jobs import job

    monkeypatch.setattr(job, "trace", lambda *_, **__: pytest.fail("it was traced"))
    option, given, message = OPTIONS[case]
    bench.job.write_text(BARREL, encoding="utf-8")
    line = bench.refusal("carve", bench.job, option, given)
    assert line.startswith(f"--resolution: {message}" if option == "--resolution" else message)


def test_a_grid_too_large_for_memory_is_refused_before_tracing(bench, monkeypatch):
    from lobework.jobs import job

    monkeypatch.setattr(job, "trace", lambda *_, **__: pytest.fail("it was traced"))
    bench.job.write_text(WRONG["a grid past memory"][0], encoding="utf-8")
    assert "1,809.6 GB" in bench.refusal("carve", bench.job)


def test_a_missing_picture_library_is_reported_before_carving(bench, monkeypatch):
    import importlib.util

    from lobework.jobs import job

    real = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "PIL" else real(name))
    monkeypatch.setattr(job, "trace", lambda *_, **__: pytest.fail("it was traced"))
    bench.job.write_text(BARREL, encoding="utf-8")
    assert (
        bench.refusal("carve", bench.job)
        == "--as relief: a package that this target needs is not installed; run: pip install 'lobework[picture]'"
    )


@pytest.mark.parametrize("name", ["relief.png"])
def test_carving_overwrites_no_existing_file(name, bench):
    bench.job.write_text(BARREL, encoding="utf-8")
    (bench.folder / name).write_text("mine")
    assert bench.refusal("carve", bench.job, "--into", bench.folder).endswith("add --overwrite")


def test_the_line_named_in_an_error_is_the_line_with_the_wrong_value():
    for text, message in WRONG.values():
        number, _, key = message.removeprefix(":").partition(":")
        if number.isdigit():
            name = key.split(":")[0].strip().split(".")[-1].split("[")[0]
            assert name in text.splitlines()[int(number) - 1] or "holder" in text.splitlines()[int(number) - 1]
