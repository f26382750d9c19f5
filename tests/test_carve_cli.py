"""Carving from the command line: what it prints, what it answers, and that it can be stopped without loss."""

from __future__ import annotations

import dataclasses
import io
import re
import sys
from pathlib import Path

import pytest

from lobework.cli import main, writing
from lobework.cli.writing import EVERY, FIRST_AFTER, progress
from lobework.errors import PluginError, SettingError
from lobework.plugins import registry
from lobework.targets import Target
from tests.test_bad_carving import BALL, BARREL, WORK, changed

TALLY = Target(
    name="tally",
    file="tally.txt",
    shows="carving",
    description="how deep it is",
    render=lambda carving: f"{carving.title}: {carving.deepest.depth:.4f}".encode(),
)


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """Be in a folder with a barrel in it; carvings are written as one line by a target that is quick."""
    monkeypatch.chdir(tmp_path)
    Path("barrel.toml").write_text(BARREL, encoding="utf-8")
    real = registry.installed()
    quick = {name: target for name, target in real.targets().items() if target.shows not in ("carving", "drawing")}
    shelf = dataclasses.replace(real, parts={**real.parts, "target": {**quick, "tally": TALLY}})
    monkeypatch.setattr(registry, "installed", lambda: shelf)
    return tmp_path


def carve(capsys, text=None, *options):
    """Carve a job, and return the exit code and the lines that were printed after the first, which names the file."""
    if text is not None:
        Path("barrel.toml").write_text(text, encoding="utf-8")
    code = main(["carve", "barrel.toml", "--as", "tally", "--overwrite", *options])
    said = capsys.readouterr()
    assert said.err == ""
    wrote, *lines = said.out.splitlines()
    assert wrote == "wrote barrel/tally.txt"
    return code, lines


def at(old, new):
    place = "at = { x = 12, z = -5, depth = 0.4 }"
    assert old in place
    return changed(place, place.replace(old, new))


SUMMARY = [
    "carved on 41 x 151 rays, 0.5 mm apart",
    "deepest 0.4 mm at 0 degrees, z -5 mm, by rings 1",
    "least wall left 2.6 mm at 0 degrees, z -5 mm",
]


def test_carve_prints_a_summary_and_writes_one_file(bench, capsys):
    code, lines = carve(capsys)
    assert code == 0
    assert [lines[0], *lines[2:]] == SUMMARY
    assert lines[1].startswith("removed ")
    assert Path("barrel/tally.txt").read_text() == "Tide box, barrel: 0.4000"
    assert [path.name for path in Path("barrel").iterdir()] == ["tally.txt"]


def test_options_set_the_resolution_in_job_units_and_the_backend(bench, capsys):
    assert carve(capsys, None, "--resolution", "1")[1][0] == "carved on 21 x 76 rays, 1 mm apart"
    assert carve(capsys, None, "--resolution", "0.8 mm", "--backend", "plain")[1][0] == "carved on 26 x 95 rays, 0.8 mm apart"
    inches = re.sub(r"(?<!count) = (-?[0-9.]+)", r' = "\1 mm"', BARREL.replace('units = "mm"', 'units = "inch"'))
    code, lines = carve(capsys, inches, "--resolution", "0.04")
    assert code == 0
    assert lines[0] == "carved on 21 x 75 rays, 0.03937 in apart"
    assert "cubic inches" in lines[1]


def test_every_backend_gives_the_same_result(bench, capsys):
    """To the last printed figure: a tenth of a micrometre."""
    told = {
        name: carve(capsys, None, "--backend", name)[1][2:]
        for name, way in registry.installed().backends().items()
        if "round" in way.can
    }
    assert all(lines == told["plain"] for lines in told.values())


BODY = "so the body of the cutter would be in the wood; cut less deep, or use a cutter with a higher edge"
THROUGH = (
    (
        "problem (carving): rings 1: the work is cut through at 0 degrees, z -5 mm: the cut is 3.2 mm deep, the "
        "work 3 mm thick; cut less deep"
    ),
    f"problem (carving): rings 1: 3.2 mm deep at 0 degrees, z -5 mm, but the cutter's edge is 1 mm high, {BODY}",
)


def test_a_wall_cut_through_is_a_problem_with_exit_code_1(bench, capsys):
    code, lines = carve(capsys, at("depth = 0.4", "depth = 3.2"))
    assert code == 1
    assert tuple(lines[-2:]) == THROUGH
    assert Path("barrel/tally.txt").exists()


def test_a_cut_deeper_than_the_height_of_the_edge_is_a_problem_with_exit_code_1(bench, capsys):
    code, lines = carve(capsys, at("depth = 0.4", "depth = 1.5"))
    assert code == 1
    assert lines[-1] == (
        f"problem (carving): rings 1: 1.5 mm deep at 0 degrees, z -5 mm, but the cutter's edge is 1 mm high, {BODY}"
    )


def test_check_finds_the_cutter_s_body_in_the_wood_before_anything_is_carved(bench, capsys):
    Path("barrel.toml").write_text(at("depth = 0.4", "depth = 1.5"), encoding="utf-8")
    assert main(["check", "barrel.toml"]) == 1
    message = f"problem (work): rings: the tip goes 1.5 mm deep, first in rings 1, but the cutter's edge is 1 mm high, {BODY}"
    assert capsys.readouterr().out.splitlines()[0] == message
    Path("barrel.toml").write_text(at("depth = 0.4", "depth = 1.0"), encoding="utf-8")
    main(["check", "barrel.toml"])
    assert BODY not in capsys.readouterr().out


def test_a_cutter_that_touches_nothing_is_a_warning(bench, capsys):
    code, lines = carve(capsys, at("depth = 0.4", "depth = -0.4"))
    assert code == 0
    assert lines[1:] == [
        "removed 0 cubic mm; 100 % of the surface is untouched",
        (
            "warning (carving): whole job: no cutter reaches into the work; depth is positive into the work, "
            "and the slides position the tip"
        ),
    ]


def test_make_reports_the_findings_of_carving_and_of_the_check(bench, capsys):
    Path("barrel.toml").write_text(at("depth = 0.4", "depth = 3.2"), encoding="utf-8")
    assert main(["make", "barrel.toml"]) == 0
    said = capsys.readouterr().out
    assert "wrote barrel/tally.txt\n" in said
    assert f"{THROUGH[0]}\n" in said
    assert said.count(BODY) == 1
    assert (
        f"problem (work): rings: the tip goes 3.2 mm deep, first in rings 1, but the cutter's edge is 1 mm high, {BODY}\n" in said
    )
    assert (
        "warning (work): rings: the tip goes 3.2 mm deep, first in rings 1, but the work is 3 mm thick; keep the "
        "tip clear of what holds the work\n" in said
    )


def tallied(render, monkeypatch):
    """Have the tally rendered otherwise."""
    shelf = registry.installed()
    target = {**shelf.parts["target"], "tally": dataclasses.replace(TALLY, render=render)}
    shelf = dataclasses.replace(shelf, parts={**shelf.parts, "target": target})
    monkeypatch.setattr(registry, "installed", lambda: shelf)


def raising(error):
    def render(_):
        raise error

    return render


def test_make_omits_outputs_that_cannot_be_made_and_writes_the_others(bench, capsys, monkeypatch):
    tallied(raising(SettingError("depth=3.2: nothing is left; cut less deep")), monkeypatch)
    assert main(["make", "barrel.toml"]) == 1
    assert sorted(each.name for each in Path("barrel").iterdir()) == ["axes.csv", "moves.csv", "program.ngc", "settings.txt"]
    assert "tally.txt not written: depth=3.2: nothing is left; cut less deep\n" in capsys.readouterr().out


def test_a_plugin_that_fails_exits_with_70(bench, capsys, monkeypatch):
    failed = PluginError("target 'tally' of plugin 'sums' (lobework-sums 1.0) failed: KeyError: 'wood'")
    failed.__cause__ = KeyError("wood")
    tallied(raising(failed), monkeypatch)
    assert main(["carve", "barrel.toml", "--as", "tally"]) == 70
    assert capsys.readouterr().err == f"lobework: {failed}; set LOBEWORK_TRACEBACK=1 to see where\n"
    assert not Path("barrel").exists()


def test_a_ctrl_c_dropped_by_numba_still_stops_the_command(bench, capsys, monkeypatch):
    """Compiled code calls Python back, where a KeyboardInterrupt can only be noted; what was half compiled then fails."""

    class Callback:
        def __del__(self):
            raise KeyboardInterrupt

    def render(_):
        Callback()
        raise RuntimeError("no compiled object yet")

    before = sys.unraisablehook
    tallied(render, monkeypatch)
    assert main(["carve", "barrel.toml", "--as", "tally"]) == 130
    assert capsys.readouterr().err == "lobework: stopped; nothing more was written\n"
    assert sys.unraisablehook is before


def test_check_finds_a_path_beyond_the_end_of_a_barrel(bench, capsys):
    Path("barrel.toml").write_text(at("z = -5", "z = 1"), encoding="utf-8")
    assert main(["check", "barrel.toml"]) == 1
    assert capsys.readouterr().out.splitlines()[0] == (
        "warning (work): rings: the tip cuts up to 1 mm beyond the edge of the work, first in rings 1; begin nearer the middle"
    )


NOSE = 'kind = "round-nosed"\nradius = 0.5\nangle = 60\nwidth = 2'
BLADE = 'kind = "profile"\npoints = [[0, 0], ["1/64 in", 0], [1, 2]]'


@pytest.mark.parametrize(
    "text",
    [
        changed(WORK, 'form = "turned"\nprofile = [[0, 11], [-10, 12], [-20, 11]]\nhollow = [[0, 9], [-15, 8]]'),
        changed(
            BALL, 'kind = "round-nosed"\nradius = 0.5\nangle = 60\nwidth = 2\nholder = { kind = "cutting frame", radius = 15 }'
        ),
        changed(
            BALL, 'kind = "profile"\npoints = [[0, 0], ["1/64 in", 0], [1, 2]]\nholder = { kind = "eccentric frame", radius = 2 }'
        ),
        changed(BALL, 'kind = "flat"\nwidth = 1.5\nholder = { kind = "fixed" }'),
        changed('name = "rings"', 'name = "rings"\nturns = 0'),
    ],
    ids=["turned", "round nose in a cutting frame", "profile in an eccentric frame", "fixed flat", "plunges"],
)
def test_every_form_and_holder_is_carved_from_a_file(text, bench, capsys):
    code, lines = carve(capsys, text, "--resolution", "1")
    assert code == 0
    assert lines[0].startswith("carved on ")


def stopping(monkeypatch):
    """Have every way of carving stopped by hand when it first says how far it is."""
    from lobework.carve.plain import PlainBackend

    def stopped(self, stock, sweeps, depth, progress=None):
        if progress is not None:
            progress(0.4)
        raise KeyboardInterrupt

    monkeypatch.setattr(PlainBackend, "carve", stopped)


@pytest.mark.parametrize("command", [["carve", "barrel.toml", "--as", "tally", "--backend", "plain"]])
def test_ctrl_c_is_reported_in_one_line_and_leaves_no_file(command, bench, capsys, monkeypatch):
    stopping(monkeypatch)
    assert main(command) == 130
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", "lobework: stopped; nothing more was written\n")
    assert [path.name for path in bench.iterdir()] == ["barrel.toml"]


class Terminal(io.StringIO):
    """Takes what a terminal would be sent."""

    def isatty(self):
        return True

    def shown(self):
        """Return the lines that stay to be seen: a carriage return goes back to the line's beginning."""
        lines = []
        for line in self.getvalue().split("\n"):
            seen = ""
            for part in line.split("\r"):
                seen = part + seen[len(part) :]
            lines.append(seen.rstrip())
        return lines


def test_long_work_shows_progress_on_a_terminal_and_erases_it_at_the_end(bench, monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    assert main(["carve", "barrel.toml", "--as", "tally", "--backend", "plain"]) == 0
    assert "\rcarving 100%" not in terminal.getvalue()
    assert "\rcarving  " in terminal.getvalue()
    assert terminal.shown() == [""]


def test_the_stop_message_starts_on_a_new_line(bench, monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    stopping(monkeypatch)
    assert main(["carve", "barrel.toml", "--as", "tally", "--backend", "plain"]) == 130
    assert "carving  40%" in terminal.getvalue()
    assert terminal.shown() == ["lobework: stopped; nothing more was written", ""]


def test_long_work_without_a_terminal_prints_progress_and_remaining_time(monkeypatch, capsys):
    clock = iter([0.0, 1.0, FIRST_AFTER, FIRST_AFTER + 1, FIRST_AFTER + EVERY, 100.0])
    monkeypatch.setattr(writing, "FIRST_AFTER", FIRST_AFTER)
    monkeypatch.setattr(writing.time, "monotonic", lambda: next(clock))
    tell = progress("carving")
    for part in (0.1, 0.25, 0.3, 0.5, 1.0):
        tell(part)
    first, second = capsys.readouterr().err.splitlines()
    assert first == "carving: 25% after 5 s, about 20 s to go"
    assert second == "carving: 50% after 35 s, about 42 s to go"


def test_the_remaining_time_excludes_the_initial_compilation(monkeypatch, capsys):
    clock = iter([0.0, 40.0, 80.0])
    monkeypatch.setattr(writing, "FIRST_AFTER", FIRST_AFTER)
    monkeypatch.setattr(writing.time, "monotonic", lambda: next(clock))
    tell = progress("carving")
    for part in (0.03, 0.53):
        tell(part)
    assert capsys.readouterr().err.splitlines() == ["carving: 3% after 40 s", "carving: 53% after 1 min 20 s, about 38 s to go"]


def test_short_work_without_a_terminal_prints_no_progress(bench, capsys):
    assert main(["carve", "barrel.toml", "--as", "tally", "--backend", "plain"]) == 0
    assert capsys.readouterr().err == ""


def test_carve_notes_an_unknown_material(bench, capsys):
    text = BARREL.replace("[piece]", '[piece]\nmaterial = "brass"')
    Path("barrel.toml").write_text(text, encoding="utf-8")
    assert main(["carve", "barrel.toml", "--as", "tally", "--backend", "plain"]) == 0
    assert (
        "note (picture): piece: material 'brass' is not a known wood: drawn as pale wood; known woods: ash"
        in capsys.readouterr().out
    )
