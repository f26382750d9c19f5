"""Whatever stands in a job file, a command answers with an exit code and at most a line for each mistake, without a traceback."""

from __future__ import annotations

import contextlib
import copy
import io
import json
import math
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.cli import main
from lobework.jobs.jobfile import starter
from tests.search import examples

MOST_LINES = 21
"""Twenty mistakes, a line each, and how many more there are."""
COMMANDS = st.sampled_from(["make", "draw", "program", "settings", "check"])


pytestmark = pytest.mark.usefixtures("small_pictures")

lengths = st.one_of(st.floats(0.5, 60), st.integers(1, 60), st.sampled_from(["3 mm", "1/8 in", "1 3/8 inch"]))
flanks = st.one_of(st.floats(1, 179), st.sampled_from(["90 deg", "1/8 turn"]))
angles = st.one_of(st.floats(-400, 400), st.sampled_from(["90 deg", "1/8 turn", "1/3", "9999 turn"]))
phases = st.one_of(angles, st.sampled_from(["1/2 lobe", "5/32 lobe", "1 lobe + 2 deg"]))
ratios = st.sampled_from([1, -1, 0, 0.75, "3/4", "-3/2", "66.67 %", "1e-30", "7/1000", 12])
odd = st.one_of(
    st.sampled_from(
        ["-1/4 in", "2 deg", "3 mm", "1/0", "1/0 lobe", "9e39", "1e39 turn", "1e30 lobe", "fast", "", 0, -1, "1/3 lobe"]
    ),
    st.none(),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
    st.lists(st.integers(), max_size=3),
    st.dictionaries(st.text(st.characters(exclude_categories=["Cs"]), max_size=4), st.integers(), max_size=2),
)


def table(needed: dict[str, st.SearchStrategy], optional: dict[str, st.SearchStrategy]) -> st.SearchStrategy:
    return st.fixed_dictionaries(needed, optional=optional)


followers = st.one_of(
    st.just({"kind": "knife"}), st.just({"kind": "flat"}), table({"kind": st.just("roller"), "radius": lengths}, {})
)
ways = {"over": lengths, "turns": ratios, "from": lengths, "ease": st.sampled_from([0, "1/4", 0.5, 0.6])}
twists = st.one_of(table({"angle": phases, "over": lengths}, {"ease": ways["ease"]}), table({"angle": phases}, ways))
drive = {
    "twist": twists,
    "ratio": ratios,
    "phase": phases,
    "index": phases,
    "side": st.sampled_from(["front", "back"]),
    "gain": st.sampled_from([1, 0.5, "1/3", 999]),
    "name": st.sampled_from(["slow", "x", "a.b"]),
}
lobes = st.integers(1, 30)
round_cams = table({"shape": st.just("eccentric"), "radius": lengths, "offset": lengths, "follower": followers}, drive)
lobed = {"lobes": lobes, "base_radius": lengths, "rise": st.one_of(st.just(0), st.floats(0, 2)), "follower": followers}
faces = {"on": st.sampled_from(["edge", "face"])}
waved_cams = table({"shape": st.sampled_from(["wave", "scallop"]), **lobed}, {**drive, **faces})
laws = st.sampled_from(["harmonic", "cycloidal", "3-4-5", "4-5-6-7", "modified sine", "modified trapezoid"])
parts = {key: st.sampled_from([0, "1/8", 0.25, "1/2", 1]) for key in ("rise_part", "dwell_part", "fall_part")}
law_cams = table({"shape": st.just("law"), "law": laws, **lobed}, {**drive, **faces, **parts})
places = table({}, {"x": lengths, "y": st.just(0), "z": st.sampled_from([0, -1, "1 in"]), "depth": lengths})
steps = table(
    {},
    {
        "x": lengths,
        "depth": st.floats(-0.1, 0.1),
        "z": lengths,
        "spindle": phases,
        "twist": phases,
    },
)
series = table({"count": st.integers(1, 4)}, {"each": steps, "name": st.just("ring")})
passes = table(
    {},
    {
        "name": st.text("abc 1,", max_size=6),
        "turns": st.sampled_from([1, 2, "1/3", "5/2", 0]),
        "spindle": phases,
        "at": places,
        "travel": places,
        "cam": st.lists(st.one_of(waved_cams, law_cams, round_cams), max_size=2),
        "together": st.sampled_from(["sum", "furthest"]),
        "series": st.one_of(series, st.lists(series, max_size=2)),
    },
)
wound = st.one_of(lengths, st.sampled_from(["3 turns 4 div", "-1/2 turn", "1 division", "2 turns 3 holes"]))
holes = st.one_of(phases, st.sampled_from(["8 holes of 96", "3 turns and 16 holes of 18", "-5 holes", "8 holes of outer"]))
screws = table({"lead": st.sampled_from([2, "0.1 in", 0])}, {"divisions": st.sampled_from([10, 100])})
circles = st.sampled_from([[96], [96, 144], {"outer": 18}, []])
wheels = table({"circles": circles}, {"worm": st.sampled_from([1, 40])})
fitted = {"screw": screws, "wheel": wheels, "index": holes}
chucks = st.one_of(
    table({"kind": st.just("eccentric"), "shift": wound}, {**fitted, "travel": wound, "name": st.just("upper")}),
    table({"kind": st.just("oval"), "throw": wound}, {**fitted, "ring_angle": angles, "swing": lengths, "swings": ratios}),
    table(
        {"kind": st.just("straight-line"), "per_turn": wound, "travel": wound}, {**fitted, "start": wound, "direction": angles}
    ),
    table({"kind": st.just("dome")}, {**fitted, "tilt": angles, "behind": wound, "shift": wound}),
    table({"kind": st.just("plain")}, {"index": holes, "wheel": wheels}),
)
extras = st.sampled_from(
    [
        {"turns": 10**7},
        {"turns": -1},
        {"travel": {"y": 3}},
        {"arc": {"radius": 20, "from": 85, "to": 20}, "at": {"z": -20}},
        {"arc": {"radius": -40, "from": -5, "to": "1/50 turn", "cutter": "keeps"}, "at": {"z": 40}},
        {"series": {"count": 2, "each": {"phase": 1, "oval.throw": 1}}},
        {"series": {"count": 3, "each": {"index": "1/3 turn", "gain": -0.4}}},
    ]
)
cutters = st.one_of(
    table({"kind": st.just("vee"), "angle": flanks, "width": lengths}, {}),
    table({"kind": st.just("ball"), "radius": lengths}, {}),
    table({"kind": st.just("pen")}, {"line": lengths}),
)
jobs = table(
    {
        "lathe": st.sampled_from(["rocking-bench", "sliding-bench", "plain-bench", "geared-bench", "computed-bench"]),
        "piece": table({"form": st.just("disc"), "diameter": lengths, "thickness": lengths}, {"material": st.just("box")}),
        "cutter": cutters,
        "pass": st.lists(passes, min_size=1, max_size=2),
    },
    {
        "title": st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
        "units": st.sampled_from(["mm", "inch"]),
        "chord": st.sampled_from([0.05, "1/1000 in", "0.01 mm"]),
        "chuck": st.lists(chucks, max_size=2),
        "program": table({}, {"spindle_rpm": st.sampled_from([2, 0.5, 900]), "clear": lengths, "plunge": lengths}),
    },
)


def as_toml(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {as_toml(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(each) for each in value) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else ("inf" if value > 0 else "-inf")
    return "''" if value is None else json.dumps(value).replace("\x7f", "\\u007f")


def tables_of(value: object) -> list[dict]:
    """Return every table within a value, itself first."""
    if isinstance(value, dict):
        return [value, *(table for each in value.values() for table in tables_of(each))]
    return [table for each in value for table in tables_of(each)] if isinstance(value, list) else []


@st.composite
def spoilt(draw: st.DrawFn) -> dict:
    """A job with one value, key or table put out of order."""
    job = draw(jobs)
    if draw(st.booleans()):
        job["pass"][0] |= draw(extras)
    job = copy.deepcopy(job)
    victim = draw(st.sampled_from(tables_of(job)))
    if victim:
        key = draw(st.sampled_from(sorted(victim)))
        how = draw(st.sampled_from(["drop", "rename", "replace"]))
        value = victim.pop(key)
        if how == "rename":
            victim[draw(st.text("abcxyz_. ", max_size=3)) + key] = value
        elif how == "replace":
            victim[key] = draw(odd)
    return job


def answer(command: str, text: str | bytes) -> int:
    """Run a command on a file that holds ``text``, in a folder of its own; hold it to its promises, return its code."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lid.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        into = [] if command == "check" else ["--into", str(Path(folder) / "out")]
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main([command, str(path), *into])
        assert code in (0, 1, 2), err.getvalue()
        if code == 2:
            lines = err.getvalue().splitlines()
            assert 1 <= len(lines) <= MOST_LINES
            assert [line for line in lines if not line.startswith("lobework: ")] == []
            assert [each.name for each in Path(folder).iterdir()] == ["lid.toml"]
        else:
            assert err.getvalue() == ""
        return code


@settings(max_examples=examples(40))
@given(job=jobs, command=COMMANDS)
def test_any_job_is_processed_or_refused_in_plain_lines(job, command):
    answer(command, "\n".join(f"{key} = {as_toml(value)}" for key, value in job.items()))


@settings(max_examples=examples(70))
@given(job=spoilt(), command=COMMANDS)
def test_any_corrupted_job_is_processed_or_refused_in_plain_lines(job, command):
    answer(command, "\n".join(f"{json.dumps(key)} = {as_toml(value)}" for key, value in job.items()))


@settings(max_examples=examples(50))
@given(data=st.data())
def test_a_job_file_with_a_typing_error_is_processed_or_refused_in_plain_lines(data):
    text = "resolution = 1.0\n" + starter().replace("count = 16", "count = 2")
    at = data.draw(st.integers(0, len(text)))
    gone = data.draw(st.integers(0, 12))
    put = data.draw(st.text(st.characters(exclude_categories=["Cs"]), max_size=3))
    answer(data.draw(COMMANDS), text[:at] + put + text[at + gone :])


@settings(max_examples=examples(40))
@given(text=st.binary(max_size=60))
def test_any_bytes_are_refused_in_plain_lines(text):
    assert answer("check", text) == 2
