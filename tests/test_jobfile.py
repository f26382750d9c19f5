"""Job files and lathe files: what is read from them, and that the page about them is true."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import ClassVar, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import InputError, UnknownNameError
from lobework.geometry.rigid import Rigid
from lobework.jobs.jobfile import job_schema, read_job, read_lathe, starter
from lobework.jobs.jobfile.source import Source, written_key
from lobework.lathe.lathe import Axis
from lobework.lathe.passes import Pass
from lobework.parts.cam import EccentricCam, MotionLaw, Wave
from lobework.parts.chuck import EccentricChuck, Oval, PlainChuck
from lobework.parts.cutter import Ball, Pen, Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife, Roller
from lobework.parts.holder import HOLDERS
from lobework.parts.piece import Disc
from lobework.parts.protocols import Follower
from lobework.parts.slide import At
from lobework.plugins import registry
from lobework.program.program import Feeds
from lobework.quantities.fields import Angle, Length, Turning
from lobework.quantities.units import Phase

PAGE = (Path(__file__).parents[1] / "docs" / "job-file.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```toml\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
WHOLE = EXAMPLES[0]
KEYS = {
    "The job": "Job",
    "template": "Template",
    "disc": "Disc",
    "barrel": "Barrel",
    "turned": "Turned",
    "vee": "Vee",
    "ball": "Ball",
    "flat": "FlatEnd",
    "round-nosed": "RoundNosed",
    "profile": "Profiled",
    "pen": "Pen",
    "plain": "PlainChuck",
    "eccentric chuck": "EccentricChuck",
    "oval": "Oval",
    "straight-line chuck": "StraightLine",
    "dome chuck": "Dome",
    "screw": "screw",
    "wheel": "wheel",
    "Passes": "Pass",
    "at and travel": "at",
    "wave and scallop": "Wave",
    "twist": "twist",
    "eccentric cam": "EccentricCam",
    "law": "MotionLaw",
    "Followers": "Roller",
    "Series": "Series",
    "The program": "program",
}
CAM = {"shape", "follower", "ratio", "phase", "index", "side", "gain", "twist", "name"}


@pytest.fixture
def write(tmp_path):
    """Return a function that writes a job file and returns its path."""

    def written(text: str, name: str = "lid.toml") -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8", newline="")
        return path

    return written


@pytest.fixture
def read(write):
    return lambda text: read_job(write(text))


def as_toml(value: object) -> str:
    """Write a value inline, tables too."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{written_key(key)} = {as_toml(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(each) for each in value) + "]"
    return str(value).lower() if isinstance(value, bool) else repr(value)


def on_the_whole(fragment: str) -> str:
    """Return the page's first example with the keys of ``fragment`` in place of its own."""
    merged = {**tomllib.loads(WHOLE), **tomllib.loads(fragment)}
    return "\n".join(f"{written_key(key)} = {as_toml(value)}" for key, value in merged.items())


def schema_keys(title: str) -> set[str]:
    """Return the keys of the table with this title, wherever it stands in the schema."""
    found: list[set[str]] = []

    def look(at: object) -> None:
        if isinstance(at, dict):
            if at.get("title") == title and "properties" in at:
                found.append(set(at["properties"]))
            for each in at.values():
                look(each)
        elif isinstance(at, list):
            for each in at:
                look(each)

    look(job_schema())
    assert found, title
    assert all(each == found[0] for each in found)
    return found[0]


def documented(heading: str) -> set[str]:
    section = re.search(rf"^##+ {heading}\n(?P<text>.*?)(?=^##|\Z)", PAGE, re.DOTALL | re.MULTILINE)
    assert section is not None, heading
    return set(re.findall(r"^\| `(\w+)` \|", section["text"], re.MULTILINE))


@pytest.mark.parametrize("heading", KEYS)
def test_the_page_lists_exactly_the_keys_that_exist(heading):
    known = schema_keys(KEYS[heading])
    assert documented(heading) == (known - CAM if KEYS[heading] in ("Wave", "EccentricCam", "MotionLaw") else known)


def test_the_page_lists_every_key_of_a_cam_on_its_drive():
    assert documented("Cams") == CAM
    for shape in ("Wave", "Scallop", "EccentricCam", "MotionLaw"):
        assert schema_keys(shape) > CAM


def test_the_page_lists_every_built_in_part():
    shelf = registry.installed()
    names = {part.__name__ for kind in ("cam", "chuck", "cutter") for part in shelf.kinds(kind).values()}
    assert names - {"Scallop"} <= set(KEYS.values())
    assert set(shelf.kinds("piece")) <= set(KEYS)
    assert all(f'`"{holder.kind}"`' in PAGE for holder in HOLDERS)
    assert all(f'"{name}"' in PAGE for name in shelf.kinds("follower"))


@pytest.mark.parametrize("example", range(len(EXAMPLES)))
def test_every_example_on_the_page_is_read(example, read):
    text = EXAMPLES[example]
    assert read(text if text is WHOLE else on_the_whole(text)).cuts()


def test_the_page_shows_every_way_to_write_a_number():
    """Each written value of the page's table is read by the unit reader of its row."""
    from lobework.quantities import units

    rows = dict(re.findall(r"^\| (a [^|]+) \| [^|]+ \| (`.*`) \|$", PAGE, re.MULTILINE))
    readers = {
        "a length": units.length,
        "an angle": units.angle,
        "a phase or an index": units.phase,
        "a ratio or a count of turns": units.ratio,
    }
    assert set(rows) | {"an angle"} == set(readers)
    for row, values in rows.items():
        for value in re.findall(r'`"([^"]+)"`', values):
            readers[row](value)


def test_the_starter_is_the_job_that_its_comments_describe(read):
    job = read(starter())
    cam = Wave(lobes=12, base_radius=62.0, rise=2.0)
    rings = Pass(name="wave rings", at=At(x=30.0, depth=0.4), cams=(Drive(cam, follower=Roller(3.0)),))
    assert job.title == "Tide box, lid"
    assert job.lathe == read_lathe("rocking-bench")
    assert job.piece == Disc(diameter=70.0, thickness=8.0, material="boxwood")
    assert job.cutter == Vee(angle_deg=90.0, width=3.0)
    assert job.passes == (rings.series(16, x=-1.5, phase="1/2 lobe", name="ring"),)
    assert job.feeds == Feeds(spindle_rpm=2.0, clear=5.0)


def test_the_starter_has_no_warnings(read):
    assert [finding.level for finding in read(starter()).check() if finding.level != "note"] == []


def test_a_job_without_a_title_is_named_after_its_file(write):
    assert read_job(write(WHOLE.replace('title = "Tide box, lid"\n', ""), "tide lid.toml")).title == "tide lid"


def test_bare_lengths_are_in_the_files_unit_everywhere(read):
    """One inch is 25.4 mm (Federal Register, 30 June 1959)."""
    job = read(
        on_the_whole(
            """
            units = "inch"
            chord = "2 mm"
            piece = { form = "disc", diameter = 2, thickness = "8 mm" }
            cutter = { kind = "ball", radius = "1/8 in" }
            program = { clear = 0.5 }
            chuck = [{ kind = "eccentric", shift = 0.25 }]
            lathe = { headstock = { sideways = "slides" }, axis = [
              { moves = "x", letter = "X", low = -1, high = "40 mm" },
              { moves = "cam 1", letter = "A", low = -1, high = "1/4 turn" },
            ] }
            [[pass]]
            at = { x = 1 }
            travel = { x = "-1 mm" }
            cam = [{ shape = "wave", lobes = 4, base_radius = 2, rise = 0.1, follower = { kind = "knife" } }]
            series = { count = 2, each = { x = -0.5, eccentric = { shift = 1 }, phase = 3, gain = 0.5 } }
            """
        )
    )
    assert job.units == "inch"
    assert job.chord == 2.0
    assert job.piece == Disc(diameter=50.8, thickness=8.0)
    assert job.cutter == Ball(radius=3.175)
    assert job.feeds == Feeds(clear=12.7)
    assert job.lathe.axes == (
        Axis(moves="x", letter="X", low=-25.4, high=40.0),
        Axis(moves="cam 1", letter="A", low=-1.0, high=90.0),
    )
    first, second = job.cuts()
    assert first.passed.at.x == 25.4
    assert first.passed.travel.x == -1.0
    assert first.passed.cams[0].cam == Wave(lobes=4, base_radius=50.8, rise=2.54)
    assert second.passed.at.x == 12.7
    assert second.lathe.chucks[0].chuck == EccentricChuck(shift=0.25 * 25.4 + 25.4)
    assert second.passed.cams[0].phase == Phase.of("3 deg")
    assert second.passed.cams[0].gain == 1.5


def test_chucks_are_mounted_from_the_spindle_outwards_under_their_names(read):
    job = read(
        on_the_whole(
            'lathe = "plain-bench"\npass = [{}]\n'
            '[[chuck]]\nkind = "oval"\nthrow = 5\nring_angle = "1/8 turn"\n'
            '[[chuck]]\nkind = "plain"\nname = "wheel"\nindex = "1/96 turn"\n'
        )
    )
    assert [mounted.name for mounted in job.lathe.chucks] == ["oval", "wheel"]
    assert job.lathe.chucks[0].chuck == Oval(throw=5.0, ring_angle_deg=45.0)
    assert job.lathe.chucks[1].chuck == PlainChuck(index=Phase.of("1/96 turn"))


def test_a_cam_is_read_with_its_drive_and_follower(read):
    job = read(
        on_the_whole(
            """
            [[pass]]
            turns = "3/2"
            [[pass.cam]]
            shape = "law"
            law = "3-4-5"
            lobes = 3
            base_radius = 50
            rise = 2
            on = "face"
            rise_part = "1/4"
            fall_part = 0.25
            ratio = "-66.67 %"
            phase = "1/2 lobe + 2 deg"
            index = "1/96 turn"
            side = "back"
            gain = "1/2"
            name = "outer"
            follower = { kind = "knife" }
            """
        )
    )
    (passed,) = job.passes
    assert passed.turns == Fraction(3, 2)
    quarter = Fraction(1, 4)
    assert passed.cams[0] == Drive(
        MotionLaw(law="3-4-5", lobes=3, base_radius=50.0, rise=2.0, on="face", rise_part=quarter, fall_part=quarter),
        follower=Knife(),
        ratio=Fraction(-6667, 10000),
        phase=Phase.of("1/2 lobe + 2 deg"),
        index=Phase.of("1/96 turn"),
        side="back",
        gain=0.5,
        name="outer",
    )


def test_an_eccentric_cam_and_a_pen_are_read(read):
    job = read(
        on_the_whole(
            """
            cutter = { kind = "pen", line = "1/64 in" }
            [[pass]]
            cam = [{ shape = "eccentric", radius = 30, offset = "4 mm", follower = { kind = "roller", radius = 4 } }]
            """
        )
    )
    assert job.cutter == Pen(line=25.4 / 64)
    assert job.passes[0].cams[0].cam == EccentricCam(radius=30.0, offset=4.0)


def test_each_later_series_repeats_the_one_before(read):
    text = """
    [[pass]]
    at = { x = 20 }
    [[pass.series]]
    name = "ring"
    count = 3
    each = { x = -1 }
    [[pass.series]]
    name = "row"
    count = 2
    each = { depth = 0.1 }
    """
    job = read(on_the_whole(text))
    assert [[(level.name, level.number) for level in cut.levels] for cut in job.cuts()][:4] == [
        [("row", 1), ("ring", 1)],
        [("row", 1), ("ring", 2)],
        [("row", 1), ("ring", 3)],
        [("row", 2), ("ring", 1)],
    ]


@pytest.mark.parametrize("written", ['"cam 1.phase" = 2', '"cam 1".phase = 2', '"cam 1" = { phase = 2 }', "phase = 2"])
def test_a_cams_step_may_be_written_with_a_dot_or_as_a_table(written, read):
    job = read(WHOLE.replace('phase = "1/2 lobe"', written))
    assert job.cuts()[2].passed.cams[0].phase == Phase.of("4 deg")


def test_an_unknown_lathe_is_refused_with_a_suggestion():
    with pytest.raises(UnknownNameError, match="did you mean 'rocking-bench'"):
        read_lathe("roking-bench")


def test_a_lathe_path_is_relative_to_the_job_file(write, tmp_path, monkeypatch):
    (tmp_path / "lathes").mkdir()
    (tmp_path / "lathes" / "long.toml").write_text('units = "inch"\n[headstock]\nsideways = "rocks"\npivot_height = 10\n')
    monkeypatch.chdir("/")
    job = read_job(write(WHOLE.replace("rocking-bench", "lathes/long.toml")))
    assert job.lathe.name == "long"
    assert job.lathe.headstock.pivot_height == 254.0
    assert read_lathe(tmp_path / "lathes" / "long.toml") == job.lathe


def test_an_error_in_a_lathe_file_names_both_files(write, tmp_path):
    (tmp_path / "long.toml").write_text('[headstock]\nsideways = "rolls"\n')
    path = write(WHOLE.replace("rocking-bench", "long.toml"))
    with pytest.raises(InputError) as caught:
        read_job(path)
    assert str(caught.value).startswith(f"{path}:3: lathe: {tmp_path / 'long.toml'}:2: headstock.sideways: 'rolls'")


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_a_byte_order_mark_and_both_line_endings_are_accepted(ending, write):
    line = WHOLE[: WHOLE.index("rise = 1.5")].count("\n") + 1
    path = write("\ufeff" + WHOLE.replace("rise = 1.5", "rise = -1").replace("\n", ending))
    with pytest.raises(InputError, match=re.escape(f"{path}:{line}: pass[1].cam[1].rise: -1 must be zero or more")):
        read_job(path)


@given(above=st.integers(0, 40), blanks=st.integers(0, 5), passes=st.integers(1, 6))
def test_an_error_names_its_line(above, blanks, passes, tmp_path_factory):
    lines = ["# a remark, with = and [brackets]"] * above + WHOLE.splitlines()
    for number in range(2, passes + 2):
        lines += [""] * blanks + ["[[pass]]", f'name = "pass {number}"', "at = {", "] }"[2:] + " x = 1 }"]
        lines[-2:] = ["turns = [", "  1", "]"] if number == passes + 1 else ["turns = 1"]
    path = tmp_path_factory.mktemp("lines") / "lid.toml"
    path.write_text("\n".join(lines))
    with pytest.raises(InputError) as caught:
        read_job(path)
    assert str(caught.value).startswith(f"{path}:{len(lines) - 2}: pass[{passes + 1}].turns: [1] is not a number")


def test_a_source_knows_the_line_of_keys_in_quotes(write):
    source = Source.read(write('[a]\n"b.c" = 1\n"d e".f = 2\n'))
    assert str(source.with_file_and_line(InputError("no", 'a."b.c"'))) == f'{source.path}:2: a."b.c": no'
    assert str(source.with_file_and_line(InputError("no", 'a."d e".f'))) == f'{source.path}:3: a."d e".f: no'
    assert str(source.with_file_and_line(InputError("no", "ring 3"))) == f"{source.path}: ring 3: no"


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf:
    """What another part holds."""

    width: Length = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sway:
    """A chuck with a setting of every type that a file can hold.

    Parameters
    ----------
    copy : float, mm
        Carries a name that pydantic keeps for itself.
    """

    kind: ClassVar[str] = "sway"
    is_dynamic: ClassVar[bool] = False
    copy: Length
    lean_deg: Angle = 0.0
    index: Turning = Phase()
    part: Fraction = Fraction(1, 2)
    gain: float = 1.0
    teeth: int = 96
    locked: bool = False
    way: Literal["in", "out"] = "in"
    holes: tuple[Length, ...] = ()
    pair: tuple[Length, Angle] = (0.0, 0.0)
    limit: Length | None = None
    leaf: Leaf = Leaf()
    touch: Follower = Knife()

    def motions(self, theta):
        return Rigid.still()


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash(Sway):
    """A chuck with a setting that its table already knows."""

    kind: ClassVar[str] = "clash"
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd(Sway):
    """A chuck with a setting that no file can hold."""

    kind: ClassVar[str] = "odd"
    odd: complex = 0j


@pytest.fixture
def shelf(monkeypatch):
    """Have three more chucks installed."""
    real = registry.installed()
    chucks = {**real.parts["chuck"], "sway": Sway, "clash": Clash, "odd": Odd}
    monkeypatch.setattr(registry, "installed", lambda: dataclasses.replace(real, parts={**real.parts, "chuck": chucks}))


SWAY = """
[[chuck]]
kind = "sway"
copy = 1
lean = "1/4 turn"
index = "1 deg"
part = "2/3"
gain = 2
teeth = 12
locked = true
way = "out"
holes = [1, "1 in"]
pair = [2, "3 deg"]
limit = 4
leaf = { width = 5 }
touch = { kind = "roller", radius = 6 }
"""


def test_a_plugin_part_is_read_from_its_fields(read, shelf):
    job = read(on_the_whole(SWAY))
    assert job.lathe.chucks[0].chuck == Sway(
        copy=1.0,
        lean_deg=90.0,
        index=Phase.of("1 deg"),
        part=Fraction(2, 3),
        gain=2.0,
        teeth=12,
        locked=True,
        way="out",
        holes=(1.0, 25.4),
        pair=(2.0, 3.0),
        limit=4.0,
        leaf=Leaf(width=5.0),
        touch=Roller(6.0),
    )


def test_a_plugin_part_is_in_the_schema_with_the_text_of_its_docstring(shelf):
    sway = job_schema()["$defs"]["Sway"]
    assert sway["description"] == "A chuck with a setting of every type that a file can hold."
    assert sway["properties"]["copy"]["description"] == "Carries a name that pydantic keeps for itself."
    assert sway["properties"]["way"]["enum"] == ["in", "out"]
    assert sway["properties"]["kind"]["const"] == "sway"
    assert sway["required"] == ["kind", "copy"]
    assert "lean" in sway["properties"]


@pytest.mark.parametrize(
    ("given", "where", "message"),
    [
        ("holes = [1, '1 deg']", "chuck[1].holes[2]", "the unit 'deg' is not allowed here"),
        ("pair = [1]", "chuck[1].pair", "write a list: a length"),
        ("leaf = { width = 'x' }", "chuck[1].leaf.width", "'x' is not understood"),
        ("touch = { kind = 'roller', radius = 0 }", "chuck[1].touch.radius", "0 must be above zero"),
        ("locked = 1", "chuck[1].locked", "write true or false"),
        ("teeth = '12'", "chuck[1].teeth", "write a whole number"),
    ],
)
def test_an_error_deep_in_a_plugin_part_names_its_path(given, where, message, write, shelf):
    path = write(on_the_whole(f'chuck = [{{ kind = "sway", copy = 1, {given} }}]'))
    with pytest.raises(InputError) as caught:
        read_job(path)
    assert f": {where}: " in str(caught.value)
    assert message in str(caught.value)


@pytest.mark.parametrize(
    ("kind", "message"), [("clash", "its setting 'name' has the same name as a key of the table"), ("odd", "complex")]
)
def test_a_part_that_no_file_can_contain_is_refused_and_affects_no_other(kind, message, write, shelf):
    with pytest.raises(InputError, match=message):
        read_job(write(on_the_whole(f'chuck = [{{ kind = "{kind}", copy = 1 }}]')))
    assert kind.capitalize() not in job_schema()["$defs"]
    assert read_job(write(on_the_whole(SWAY)))


def test_the_schema_is_plain_json_that_names_its_dialect_and_refuses_unknown_keys():
    """JSON Schema draft 2020-12, section 8.1.1 ("$schema")."""
    import json

    schema = json.loads(json.dumps(job_schema()))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["additionalProperties"] is False
    assert schema["required"] == ["lathe", "piece", "cutter", "pass"]
    refs = set(re.findall(r'"#/\$defs/(\w+)"', json.dumps(schema)))
    assert refs <= set(schema["$defs"])
