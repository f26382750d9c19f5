"""Plugins from really installed packages: the good are used, the faulty are left out whole and said in one line."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lobework import plugins
from lobework.errors import PluginError, UnknownNameError
from lobework.files.outputs import write_files
from lobework.geometry.rigid import Rigid
from lobework.plugins.registry import Plugins, PluginWarning, Record
from lobework.plugins.skeleton import lay_out
from lobework.plugins.validation import name_of
from tests.workshop import REPORT, Shop

HERE = Path(__file__).parent
PACKAGES = tomllib.loads((HERE / "installed" / "packages.toml").read_text(encoding="utf-8"))["package"]
PLUGINS = {(package["name"], name): plugin for package in PACKAGES for name, plugin in package["plugins"].items()}
FAULTY = {key: plugin["cause"] for key, plugin in PLUGINS.items() if "cause" in plugin}
GOOD = {key: plugin["offers"] for key, plugin in PLUGINS.items() if "offers" in plugin}

PROJECT = """\
[build-system]
requires = ["hatchling"]
build-backend = "hatchling.build"

[project]
name = "{name}"
version = "{version}"

[project.entry-points.lobework]
{entries}

[tool.hatch.build.targets.wheel]
only-include = {files}
"""


def write_package(package: dict[str, Any], folder: Path) -> Path:
    """Write a package's pyproject.toml and modules as their author would have."""
    folder.mkdir()
    entries = []
    files = []
    for name, plugin in package["plugins"].items():
        module = plugin.get("module") or f"lobework_{name.replace('-', '_')}"
        entries.append(f'"{name}" = "{module}"')
        files.append(f"{module}.py")
        (folder / files[-1]).write_text(plugin["source"].lstrip("\n"), encoding="utf-8")
    text = PROJECT.format(name=package["name"], version=package["version"], entries="\n".join(entries), files=json.dumps(files))
    (folder / "pyproject.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """Install every package, and the chuck that the author's guide begins with, in one go."""
    place = tmp_path_factory.mktemp("plugins")
    sway = place / "sway"
    write_files({sway / path: content for path, content in lay_out("sway").items()})
    shop = Shop(place / "site")
    shop.install(*(write_package(package, place / package["name"]) for package in PACKAGES), sway)
    return shop


@pytest.fixture(scope="session")
def everything(shop: Shop) -> dict[str, Any]:
    """What is found where every package is installed and nothing is said about which to load."""
    return shop.report()


def cause_of(report: dict[str, Any], package: str, name: str) -> str:
    (cause,) = (each["cause"] for each in report["refused"] if (each["package"], each["name"]) == (package, name))
    return str(cause)


def expected(cause: str) -> str:
    cause = cause.replace("(DOOR)", f"({plugins.__file__})")
    return " ".join(cause.replace("LOBEWORK", metadata.version("lobework"), 1 if "(lobework LOBEWORK)" in cause else 0).split())


@pytest.mark.parametrize(("package", "name"), FAULTY, ids=lambda part: part)
def test_a_faulty_plugin_is_left_out_with_its_cause_in_one_line(everything, package, name):
    cause = cause_of(everything, package, name)
    assert cause == expected(FAULTY[package, name])
    assert "\n" not in cause
    assert (package, name) not in {(each["package"], each["name"]) for each in everything["loaded"]}


@pytest.mark.parametrize(("package", "name"), FAULTY, ids=lambda part: part)
def test_a_faulty_plugin_gives_one_warning_with_its_package_and_version(everything, package, name):
    version = next(each["version"] for each in PACKAGES if each["name"] == package)
    line = f"lobework plugin {name!r} ({package} {version}) is not loaded: {expected(FAULTY[package, name])}"
    assert everything["said"].count(["PluginWarning", line]) == 1
    assert everything["said again"] == 0


def test_import_lobework_searches_no_plugins(shop, everything):
    assert everything["said at import"] == 0
    script = """
        import sys
        import lobework
        before = set(sys.modules)
        import lobework.plugins.registry
        print(sorted(name for name in set(sys.modules) - before if name.split(".")[0] in ("numpy", "numba", "pydantic")))
        print(sorted(name for name in sys.modules if name.startswith("lobework_") or name == "lobework.plugins.builtin"))
    """
    assert shop.message("\n".join(line.strip() for line in script.splitlines())) == ["[]", "[]"]


@pytest.mark.parametrize(("package", "name"), GOOD, ids=lambda part: part)
def test_a_correct_plugin_among_faulty_ones_loads_completely(everything, package, name):
    (record,) = (each for each in everything["loaded"] if (each["package"], each["name"]) == (package, name))
    assert record["offers"] == GOOD[package, name]
    for kind, offered in record["offers"]:
        others = {"backend": everything["backends"], "target": everything["targets"], "check": everything["checks"]}
        shelf = others.get(kind) or everything["parts"][kind]
        assert offered in shelf


def test_built_in_parts_are_the_same_beside_correct_and_faulty_plugins(shop, everything):
    alone = shop.report("none")
    assert everything["loaded"][0] == alone["loaded"][0]
    for kind, parts in alone["parts"].items():
        assert {name: everything["parts"][kind][name] for name in parts} == parts
    assert alone["targets"].items() <= everything["targets"].items()
    assert list(alone["backends"].items()) == list(everything["backends"].items())[: len(alone["backends"])]
    assert everything["checks"][: len(alone["checks"])] == alone["checks"]


@pytest.mark.parametrize("given", ["", "none", " None "])
def test_empty_or_none_loads_only_built_in_parts(shop, given):
    found = shop.report(given)
    assert [(each["name"], each["package"]) for each in found["loaded"]] == [("built-in", "lobework")]
    assert found["refused"] == found["said"] == []


@pytest.mark.parametrize("given", ["sway,careful", " careful , sway ,", "lobework_sway,careful"])
def test_a_list_loads_only_the_plugins_or_packages_that_it_names(shop, given):
    found = shop.report(given)
    assert [each["name"] for each in found["loaded"]] == ["built-in", "careful", "sway"]
    assert found["refused"] == []


def test_a_plugin_named_in_the_list_but_not_installed_is_reported_with_a_suggestion(shop):
    (record,) = shop.report("swy")["refused"]
    assert (record["name"], record["package"]) == ("swy", "")
    assert record["cause"].startswith(
        "LOBEWORK_PLUGINS names this plugin, but no plugin or package of this name is installed; did you mean 'sway'?; "
        "installed: asking, bench, built-in,"
    )


def test_selecting_one_of_two_clashing_plugins_loads_it(shop):
    found = shop.report("left")
    assert found["parts"]["cutter"]["spoon"] == "lobework_left"
    assert found["refused"] == []


def test_of_two_clashing_plugins_neither_is_used(everything):
    assert "spoon" not in everything["parts"]["cutter"]


def test_a_warning_turned_into_an_error_stops_once_and_then_the_rest_loads(shop):
    script = """
import warnings
from lobework.plugins.registry import Plugins, PluginWarning
warnings.simplefilter("error")
try:
    Plugins.load()
except PluginWarning as warning:
    print(str(warning).partition(" is ")[0])
shelf = Plugins.load()
print([record.name for record in shelf.loaded], [record.name for record in shelf.refused])
"""
    first, then = shop.message(script, plugins="lost,sway")
    assert first == "lobework plugin 'lost' (lobework-lost 1.2.0)"
    assert then == "['built-in', 'sway'] ['lost']"


def test_a_package_whose_list_of_plugins_cannot_be_read_hides_no_other(shop, tmp_path):
    spoilt = tmp_path / "lobework_spoilt-0.1.0.dist-info"
    spoilt.mkdir()
    (spoilt / "METADATA").write_text("Metadata-Version: 2.1\nName: lobework-spoilt\nVersion: 0.1.0\n", encoding="utf-8")
    (spoilt / "entry_points.txt").write_bytes(b"[lobework]\nspoilt = \xff\xfe\n")
    script = f"import sys; sys.path.insert(0, {str(tmp_path)!r})\n" + REPORT
    (found,) = map(json.loads, shop.message(script))
    assert cause_of(found, "lobework-spoilt", "lobework-spoilt") == (
        "the package's list of plugins cannot be read: UnicodeDecodeError: 'utf-8' codec can't decode byte 0xff in position 20: "
        "invalid start byte; install lobework-spoilt again"
    )
    assert ["chuck", "sway"] in [offer for each in found["loaded"] for offer in each["offers"]]


SHELF = """
import numpy as np
from lobework.parts.headstock import Headstock
from lobework.parts.drive import Drive
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass, cuts_of
from lobework.plugins import installed
from lobework.parts.slide import At
from lobework.kinematics.trace import trace

shelf = installed()
spindle = Axis(moves="spindle", letter="C")
"""


def test_an_external_chuck_moves_the_work_like_a_built_in_one(shop):
    """From the definition of the motion: a fixed tip at radius R, seen from work turned by theta and swung by s(theta),
    stands at R and the polar angle -(theta + s(theta)). No source."""
    script = f"""{SHELF}
import json
lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=(spindle,))
lathe = lathe.mount(shelf.part("chuck", "sway")(arc_deg=40.0, swings=2), name="plate")
(cut,) = cuts_of(Pass(turns=1, at=At(x=10.0)), lathe)
path = trace(cut)
print(json.dumps([path.u.tolist(), path.x.tolist(), path.y.tolist()]))
"""
    u, x, y = map(np.array, json.loads(*shop.message(script, plugins="sway")))
    seen = 2 * np.pi * u + np.radians(20.0) * np.sin(2 * 2 * np.pi * u)
    assert u.size > 100
    np.testing.assert_allclose(x, 10.0 * np.cos(seen), rtol=0, atol=1e-9)
    np.testing.assert_allclose(y, -10.0 * np.sin(seen), rtol=0, atol=1e-9)


def test_an_external_cam_and_follower_move_the_headstock_like_the_same_built_in_shape(shop):
    """The outside shape is written with the double-angle formula: (1 + cos 2a) / 2 = cos(a) ** 2."""
    script = f"""{SHELF}
lathe = Lathe(name="bench", headstock=Headstock(sideways="slides"), axes=(spindle,))
paths = []
for shape, follower in (("tooth", "point"), ("wave", "knife")):
    cam = shelf.part("cam", shape)(lobes=5, base_radius=50.0, rise=4.0)
    drive = Drive(cam, follower=shelf.part("follower", follower)())
    (cut,) = cuts_of(Pass(turns=1, at=At(x=20.0), cams=(drive,)), lathe)
    path = trace(cut)
    around = np.linspace(0.0, 1.0, 41)
    paths.append(np.array([np.interp(around, path.u, path.x), np.interp(around, path.u, path.y)]))
print(np.abs(paths[0] - paths[1]).max() < 1e-6, np.ptp(np.hypot(*paths[0])) > 3.9)
"""
    assert shop.message(script, plugins="bench") == ["True True"]


def test_an_external_target_renders_traces_and_an_external_check_examines_them(shop):
    script = f"""{SHELF}
lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=(spindle,))
cuts = list(cuts_of(Pass(turns=1, at=At(x=10.0), name="ring").series(3, x=-1.0), lathe))
traces = [trace(cut) for cut in cuts]
lines = [f"ring {{number}}: {{path.u.size}} points" for number, path in enumerate(traces, 1)]
print(shelf.target("tally").render(traces).decode().splitlines() == lines)
crowded = next(check for check in shelf.checks() if check.__name__ == "crowded_findings")
print([(found.kind, found.level, found.where) for found in crowded(cuts, traces)], crowded(cuts[:2], traces[:2]))
"""
    rendered, looked = shop.message(script, plugins="bench")
    assert rendered == "True"
    assert looked == "[('crowded', 'note', 'ring 1'), ('crowded', 'note', 'ring 2'), ('crowded', 'note', 'ring 3')] []"


def test_an_external_cutter_and_piece_are_made_by_name(shop):
    script = f"""{SHELF}
print(shelf.part("cutter", "chisel")().width_at(0.1), shelf.part("piece", "square")(side=30.0).outline[0].tolist())
"""
    assert shop.message(script, plugins="bench") == ["2.0 [15.0, 15.0]"]


@pytest.mark.parametrize(
    ("use", "line"),
    [
        ('target("shaky").render([])', "PluginError: target 'shaky' of {who} failed: KeyError: 'no such axis'"),
        (
            'target("wordy").render([])',
            "PluginError: target 'wordy' of {who} failed: render returned str instead of the file's bytes",
        ),
        ('target("strict").render([])', "InputError: too many cuts for one file; split the job"),
        ("checks()[-2]([], [])", "PluginError: check 'shaky_findings' of {who} failed: ZeroDivisionError: division by zero"),
        (
            "checks()[-1]([], [])",
            (
                "PluginError: check 'wordy_findings' of {who} failed: "
                "the check returned 'all is well', which is not a lobework.plugins.Finding"
            ),
        ),
    ],
    ids=["raises", "returns text", "says what is wrong with the job", "check raises", "check returns text"],
)
def test_an_external_target_or_check_that_fails_is_reported_with_its_plugin(shop, use, line):
    script = f"""{SHELF}
try:
    shelf.{use}
except Exception as error:
    print(f"{{type(error).__name__}}: {{error}}")
"""
    assert shop.message(script, plugins="shaky") == [line.format(who="plugin 'shaky' (lobework-shaky 0.7.0)")]


CARVED = """
import numpy as np
import lobework as lw
disc, barrel = lw.Disc(diameter=20.0, thickness=4.0), lw.Barrel(diameter=20.0, length=20.0)
ring = lw.Pass(name="ring", at=lw.At(x=8.0, depth=0.4))


def job(**given):
    usual = {"lathe": lw.read_lathe("plain-bench"), "piece": disc, "cutter": lw.Ball(radius=1.0), "resolution": 1.0}
    return lw.Job(**{"passes": [ring], **usual, **given})


def said(backend, **given):
    try:
        job(**given).carve(backend=backend)
    except Exception as error:
        print(f"{type(error).__name__}: {error}")
"""


def test_an_external_backend_is_used_on_request_and_a_built_in_one_is_the_default(shop):
    script = f"""{CARVED}
from lobework import plugins
print(list(plugins.installed().backends())[0] in ("compiled", "plain"), plugins.installed().backend("second").description)
print(np.array_equal(job().carve(backend="second").depth, job().carve(backend="plain").depth))
"""
    assert shop.message(script, plugins="ways") == ["True plain again", "True"]


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("blunt", "RuntimeError: the edge is gone"),
        ("lost", "the backend left a depth of nan mm at row 0, column 20; a depth must be a number, zero or more"),
        ("building", "the backend left a depth of -0.25 mm at row 0, column 20; a depth must be a number, zero or more"),
        (
            "straying",
            "the backend left a depth of 0.5 mm at row 0, column 20; there is no work at this ray, so its depth must stay zero",
        ),
    ],
)
def test_an_external_backend_that_fails_is_reported_with_its_plugin(shop, name, message):
    who = "of plugin 'ways' (lobework-carvers 0.4.0) failed: "
    assert shop.message(f"{CARVED}\nsaid({name!r})", plugins="ways") == [f"PluginError: backend {name!r} {who}{message}"]


def test_an_external_backend_that_cuts_through_the_axis_is_reported_with_its_plugin(shop):
    (line,) = shop.message(
        f"{CARVED}\nsaid('boring', piece=barrel, passes=[lw.Pass(name='ring', at=lw.At(z=-9.0, depth=0.4))])", plugins="ways"
    )
    assert re.fullmatch(
        r"PluginError: backend 'boring' of plugin 'ways' \(lobework-carvers 0\.4\.0\) failed: "
        r"the backend left a depth of 10\.5 mm "
        r"at row 0, column \d+; the depth must not reach beyond the axis of the work",
        line,
    )


def test_an_external_backend_that_cannot_carve_the_job_is_refused_before_carving(shop):
    """Said as to the command line, where the job file's name comes first."""
    lines = shop.message(
        f"{CARVED}\nsaid('narrow')\nsaid('narrow', piece=barrel)\n"
        "said('narrow', cutter=lw.Ball(radius=1.0, holder=lw.CuttingFrame(radius=9.0)))",
        plugins="ways",
    )
    rest = "it supports: drilling spindle, face; use another backend, such as 'plain'"
    assert lines == [
        f"SettingError: backend='narrow': does not support: round; {rest}",
        f"SettingError: backend='narrow': does not support: cutting frame; {rest}",
    ]


def test_an_exception_from_progress_is_not_attributed_to_an_external_backend(shop):
    script = f"""{CARVED}
class Enough(Exception):
    pass


def stop(part):
    raise Enough("for today")


try:
    job().carve(backend="second", progress=stop)
except Exception as error:
    print(f"{{type(error).__name__}}: {{error}}", error.__cause__)
"""
    assert shop.message(script, plugins="ways") == ["Enough: for today None"]


class TestInside:
    @pytest.fixture
    def inside(self, monkeypatch):
        monkeypatch.setenv("LOBEWORK_PLUGINS", "none")
        return Plugins.load()

    def test_built_in_parts_are_loaded_through_the_same_hooks(self, inside):
        assert {kind: sorted(inside.kinds(kind)) for kind in ("cam", "follower", "chuck", "cutter", "piece")} == {
            "cam": ["eccentric", "law", "scallop", "wave"],
            "follower": ["flat", "knife", "roller"],
            "chuck": ["dome", "eccentric", "oval", "plain", "straight-line"],
            "cutter": ["ball", "flat", "pen", "profile", "round-nosed", "vee"],
            "piece": ["barrel", "disc", "turned"],
        }
        assert sorted(inside.targets()) == ["3mf", "csv", "moves", "page", "png", "relief", "rs274", "stl", "svg", "text"]
        assert "plain" in inside.backends()
        assert [check.__name__ for check in inside.checks()] == [
            "closure_findings",
            "bridging_findings",
            "travel_findings",
            "ratio_findings",
            "template_findings",
        ]

    def test_every_built_in_target_declares_what_it_shows_and_its_file(self, inside):
        assert {name: (target.shows, target.file) for name, target in inside.targets().items()} == {
            "svg": ("drawing", "drawing.svg"),
            "png": ("drawing", "drawing.png"),
            "csv": ("axes", "axes.csv"),
            "rs274": ("program", "program.ngc"),
            "moves": ("program", "moves.csv"),
            "text": ("settings", "settings.txt"),
            "relief": ("carving", "relief.png"),
            "page": ("carving", "work.html"),
            "stl": ("carving", "work.stl"),
            "3mf": ("carving", "work.3mf"),
        }

    def test_an_unknown_name_is_reported_with_a_suggestion_and_all_installed_names(self, inside):
        with pytest.raises(UnknownNameError) as chuck:
            inside.part("chuck", "ovla")
        known = "dome, eccentric, oval, plain, straight-line"
        assert str(chuck.value) == f"no chuck is called 'ovla'; did you mean 'oval'?; installed: {known}"
        with pytest.raises(UnknownNameError) as target:
            inside.target("plan")
        there = "3mf, csv, moves, page, png, relief, rs274, stl, svg, text"
        assert str(target.value) == f"no target is called 'plan'; installed: {there}"
        with pytest.raises(UnknownNameError, match="no kind of part is called 'chucks'; did you mean 'chuck'"):
            inside.kinds("chucks")

    def test_returned_mappings_are_copies(self, inside):
        inside.kinds("chuck").clear()
        inside.targets().clear()
        assert inside.part("chuck", "oval").kind == "oval"
        assert inside.target("svg").name == "svg"


def test_the_text_of_a_record_is_one_line():
    record = Record(name="lost", package="lobework-lost", version="1.2.0", cause="it cannot be imported")
    assert str(record) == "plugin 'lost' (lobework-lost 1.2.0) is not loaded: it cannot be imported"
    idle = Record(name="idle", package="lobework-idle", version="1.0")
    assert str(idle) == "plugin 'idle' (lobework-idle 1.0): nothing on this machine"


def test_a_plugin_warning_has_its_own_class():
    assert issubclass(PluginWarning, UserWarning)


CROOKED = """
import numpy as np

class Crooked:
    kind = "crooked"

    def motions(self, theta):
        return np.linalg.inv(np.ones((2, 3)))
"""


def test_an_error_is_attributed_to_the_plugin_or_to_lobework():
    names = {"__name__": "lobework_crooked"}
    exec(CROOKED, names)
    inside = Record(name="built-in", package="lobework", version="1")
    record = Record(name="crooked", package="lobework-crooked", version="0.2", offers=(("chuck", "crooked"),))
    shelf = Plugins(loaded=(inside, record), refused=(), parts={"chuck": {"crooked": names["Crooked"]}})
    with pytest.raises(Exception, match="square") as theirs:
        names["Crooked"]().motions(0.0)
    assert shelf.plugin_at_fault(theirs.value) is record
    with pytest.raises(Exception, match="is called") as ours:
        shelf.part("chuck", "straight")
    assert shelf.plugin_at_fault(ours.value) is None


class Turning:
    """What a chuck must have, to be given methods that are wrong."""

    kind = "turning"
    is_dynamic = True

    def motions(self, theta):
        return Rigid.turn(theta)


def chuck_with(**methods):
    return dataclass(frozen=True)(type("Turning", (Turning,), methods))


@pytest.mark.parametrize(
    ("methods", "message"),
    [
        ({"motions": lambda self: Rigid.still()}, "motions must take theta; write def motions(self, theta):"),
        ({"motions": lambda self, *, theta: Rigid.still()}, "motions must take theta; write def motions(self, theta):"),
        ({"motions": property(lambda self: Rigid.still())}, "it must be a method: write def motions(self, theta):"),
        ({"is_dynamic": property(lambda self, asked: True)}, "is_dynamic must take no argument; write def is_dynamic(self):"),
        ({"slides": lambda self: ()}, "slides must take theta; write def slides(self, theta):"),
    ],
)
def test_a_part_whose_method_cannot_be_called_as_promised_is_refused(methods, message):
    with pytest.raises(PluginError) as refusal:
        name_of("chuck", chuck_with(**methods))
    assert message in str(refusal.value)


@pytest.mark.parametrize(
    "methods",
    [
        {},
        {"motions": lambda self, theta, more=None: Rigid.turn(theta)},
        {"motions": lambda self, *given: Rigid.turn(*given)},
        {"motions": staticmethod(Rigid.turn)},
        {"slides": lambda self, theta: ()},
    ],
)
def test_a_part_whose_methods_can_be_called_as_promised_is_accepted(methods):
    assert name_of("chuck", chuck_with(**methods)) == "turning"
