"""The command line, run as people run it."""

from __future__ import annotations

import json
import os
import re
import shlex
import signal
import subprocess
import sys
import time
import tomllib
from importlib import metadata
from pathlib import Path

import pytest

import lobework
from lobework.cli import main, shelf
from lobework.jobs.jobfile import job_schema, starter
from lobework.plugins import registry
from lobework.testing import PromiseTest

pytestmark = pytest.mark.usefixtures("small_pictures")

PAGE = (Path(__file__).parents[1] / "docs" / "commands.md").read_text(encoding="utf-8")
COMMANDS = (
    "make",
    "draw",
    "carve",
    "program",
    "prove",
    "settings",
    "check",
    "ratio",
    "index",
    "helix",
    "list",
    "lathe",
    "new",
    "schema",
    "verify",
)
DRAWN = ["axes.csv", "drawing.png", "drawing.svg", "moves.csv", "program.ngc", "settings.txt"]
CARVED = ["relief.png", "work.3mf", "work.html", "work.stl"]
WRITTEN = sorted(DRAWN + CARVED)
PROCESS = [sys.executable, "-c", "import sys; from lobework.cli import main; sys.exit(main())"]


def coarse(text: str) -> str:
    """Return a job of two rings on few rays, carved quickly whichever way carves it."""
    return text.replace('units = "mm"', 'resolution = "1.5 mm"\nunits = "mm"', 1).replace("count = 16", "count = 2")


def on_paper(text: str) -> str:
    """Return a job that a pen draws, so that nothing is carved."""
    cutter = 'kind = "vee"\nangle = "90 deg"\nwidth = 3\n'
    assert cutter in text
    return text.replace(cutter, 'kind = "pen"\n')


@pytest.fixture(scope="module")
def made(tmp_path_factory, small_pictures):
    """Everything that make writes for the job, in a folder."""
    folder = tmp_path_factory.mktemp("made")
    (folder / "lid.toml").write_text(coarse(starter()), encoding="utf-8")
    assert main(["make", str(folder / "lid.toml"), "--into", str(folder / "lid")]) == 0
    return folder / "lid"


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """Be in a folder with a job in it."""
    monkeypatch.chdir(tmp_path)
    Path("lid.toml").write_text(coarse(starter()), encoding="utf-8")
    return tmp_path


def run(*arguments: str, **settings) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*PROCESS, *arguments], check=False, capture_output=True, text=True, **settings)


def names(folder: str | Path) -> list[str]:
    return sorted(each.name for each in Path(folder).iterdir())


def test_make_writes_every_file_and_prints_the_findings(bench, capsys):
    assert main(["make", "lid.toml"]) == 0
    said = capsys.readouterr()
    assert names("lid") == WRITTEN
    assert all(f"wrote lid/{name}\n" in said.out for name in WRITTEN)
    assert "closes after 1 turn" in said.out
    assert said.err == ""


def test_make_writes_into_the_given_folder_and_overwrites_only_if_requested(bench):
    Path("lid.toml").write_text(on_paper(starter()), encoding="utf-8")
    assert main(["make", "lid.toml", "--into", "deep/er"]) == 0
    Path("deep/er/axes.csv").write_text("old")
    assert main(["make", "lid.toml", "--into", "deep/er"]) == 2
    assert main(["make", "lid.toml", "--into", "deep/er", "--overwrite"]) == 0
    assert Path("deep/er/axes.csv").read_text() != "old"
    assert names("deep/er") == DRAWN


def test_make_without_the_png_extra_writes_the_other_files_reports_it_and_exits_with_1(bench, capsys, monkeypatch):
    import importlib.util

    real = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "resvg_py" else real(name))
    Path("lid.toml").write_text(on_paper(starter()), encoding="utf-8")
    assert main(["make", "lid.toml"]) == 1
    assert names("lid") == [name for name in DRAWN if name != "drawing.png"]
    assert (
        "drawing.png not written: a package that this target needs is not installed; run: pip install 'lobework[png]'"
        in capsys.readouterr().out
    )


def test_make_with_a_pen_lists_the_carved_files_that_it_cannot_write_and_exits_with_0(bench, capsys):
    Path("lid.toml").write_text(on_paper(starter()), encoding="utf-8")
    assert main(["make", "lid.toml"]) == 0
    assert names("lid") == DRAWN
    said = capsys.readouterr().out
    assert all(f"no {name}: this cutter has no edge to carve with\n" in said for name in CARVED)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (["draw", "lid.toml"], "drawing.svg"),
        (["draw", "lid.toml", "--as", "png"], "drawing.png"),
        (["program", "lid.toml"], "program.ngc"),
        (["settings", "lid.toml", "--into", "lid"], "settings.txt"),
        (["carve", "lid.toml"], "relief.png"),
        (["carve", "lid.toml", "--as", "stl"], "work.stl"),
        (["carve", "lid.toml", "--as", "3mf"], "work.3mf"),
        (["carve", "lid.toml", "--as", "page"], "work.html"),
    ],
)
def test_a_command_writes_only_its_file_with_the_bytes_that_make_writes(arguments, name, made, bench, capsys):
    capsys.readouterr()
    assert main(arguments) == 0
    assert capsys.readouterr().out.splitlines()[0] == f"wrote lid/{name}"
    assert names("lid") == [name]
    assert Path("lid", name).read_bytes() == (made / name).read_bytes()


def test_settings_are_printed_as_they_are_written(bench, capsys):
    assert main(["settings", "lid.toml"]) == 0
    printed = capsys.readouterr().out
    assert main(["settings", "lid.toml", "--into", "."]) == 0
    assert Path("settings.txt").read_text(encoding="utf-8") == printed
    assert "Tide box, lid" in printed


def test_check_exits_with_0_if_there_are_only_notes(bench, capsys):
    assert main(["check", "lid.toml"]) == 0
    said = capsys.readouterr().out
    assert said
    assert all(line.startswith("note") for line in said.splitlines())


def test_check_exits_with_1_if_it_has_a_warning(bench, capsys):
    Path("lid.toml").write_text(starter().replace('"wave"', '"scallop"').replace("radius = 3 }", "radius = 30 }"))
    assert main(["check", "lid.toml"]) == 1
    said = capsys.readouterr()
    assert said.out.startswith("warning")
    assert said.err == ""


def test_check_reports_that_it_found_nothing(bench, capsys, monkeypatch):
    from lobework.jobs.job import Job

    monkeypatch.setattr(Job, "check", lambda job: [])
    assert main(["check", "lid.toml"]) == 0
    assert capsys.readouterr().out == "no findings\n"


def test_list_shows_everything_that_is_installed(capsys):
    assert main(["list"]) == 0
    said = capsys.readouterr().out
    shelf = registry.installed()
    for kind in ("cam", "follower", "chuck", "cutter", "piece"):
        assert f"{kind}s\n" in said
        assert all(re.search(rf"^  {name} ", said, re.MULTILINE) for name in shelf.kinds(kind))
    assert all(target.file in said for target in shelf.targets().values())
    assert "  rocking-bench  A rose engine whose headstock rocks" in said
    assert f"lobework {lobework_version()}" in said


def test_list_shows_omitted_plugins_with_the_cause(capsys, monkeypatch):
    import dataclasses

    real = registry.installed()
    broken = registry.Record(name="sway", package="lobework-sway", version="0.3", cause="it cannot be imported: no module")
    monkeypatch.setattr(registry, "installed", lambda: dataclasses.replace(real, refused=(broken,)))
    assert main(["list"]) == 0
    assert "plugins not loaded\n  sway           lobework-sway 0.3: it cannot be imported: no module\n" in capsys.readouterr().out


def test_a_plugin_that_is_left_out_gives_a_warning_of_one_line(bench):
    done = run("settings", "lid.toml", env={**os.environ, "LOBEWORK_PLUGINS": "no-such-plugin"})
    assert done.returncode == 0
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("lobework: note: ")
    assert "no-such-plugin" in done.stderr


def lobework_version() -> str:
    return metadata.version("lobework")


def test_the_version_is_that_of_the_package(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"lobework {lobework_version()}\n"


def test_new_writes_a_job_that_runs_unchanged(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "barrel.toml"]) == 0
    assert capsys.readouterr().out == "wrote barrel.toml; next: lobework make barrel.toml\n"
    assert main(["make", "barrel.toml"]) == 0
    assert names("barrel") == WRITTEN


def test_schema_prints_the_schema_of_a_job_file(capsys):
    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out) == job_schema()


def test_without_a_command_the_help_is_shown(capsys):
    assert main([]) == 0
    said = capsys.readouterr().out
    assert all(f"    {command} " in said for command in COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_ends_with_a_command_that_works(command, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    if command != "new":
        Path("lid.toml").write_text(coarse(starter()), encoding="utf-8")
    assert main([command, "--help"]) == 0
    last = capsys.readouterr().out.rstrip().splitlines()[-1]
    line = re.fullmatch(r"Try: lobework (.*)", last)
    assert line is not None
    words = shlex.split(line[1].partition(" > ")[0])
    assert words[0] == command
    if command == "prove":
        assert main(["program", "lid.toml", "--into", "lid"]) == 0
    if command == "verify":  # each of these promises is held in tests/testing
        monkeypatch.setattr(PromiseTest, "hold", lambda asked: 1)
    assert main(words) == 0


def test_the_page_lists_every_command_and_option(capsys):
    assert re.findall(r"^\| `lobework (\w+)", PAGE, re.MULTILINE) == [
        "new", "new", "new", "make", "draw", "carve", "program", "prove", "settings", "check", "ratio", "index", "helix", "list",
        "lathe", "schema", "verify",
    ]  # fmt: skip
    documented = {
        (option, command)
        for options, commands in re.findall(r"^\| `(--\w+)[^|]*` \| ([\w, ]+) \|", PAGE, re.MULTILINE)
        for option in [options]
        for command in commands.split(", ")
    }
    offered = set()
    for command in COMMANDS:
        main([command, "--help"])
        found = set(re.findall(r"(?<![\w-])--\w+", capsys.readouterr().out.partition("Try:")[0]))
        offered |= {(option, command) for option in found - {"--help"}}
    main(["--help"])
    assert "--version" in capsys.readouterr().out
    assert documented == offered | {("--version", "lobework")}


def test_every_command_on_the_page_works(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    lines = re.findall(r"^\$ lobework (.*)$", PAGE, re.MULTILINE)
    assert len(lines) >= 5
    for line in lines:
        assert main(shlex.split(line)) == 0, line


def test_no_heavy_library_is_imported_for_help_or_a_command_line_error():
    look = "import sys; from lobework.cli import main; main(sys.argv[1:]); print([n for n in sys.modules if '.' not in n])"
    for arguments in (["--help"], ["make", "--help"], ["mkae"], ["--version"]):
        done = subprocess.run([sys.executable, "-c", look, *arguments], capture_output=True, text=True, check=True)
        loaded = done.stdout.splitlines()[-1]
        assert not {"numpy", "numba", "pydantic", "pluggy"} & set(re.findall(r"'(\w+)'", loaded))


def test_list_needs_no_pydantic():
    look = "import sys; from lobework.cli import main; main(['list']); print('pydantic' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("False\n")


@pytest.mark.parametrize("arguments", [["list"], ["schema"], ["settings", "lid.toml"]])
def test_a_closed_pipe_is_not_an_error(arguments, bench):
    ours = subprocess.Popen([*PROCESS, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert ours.stdout is not None
    ours.stdout.close()
    assert ours.wait(60) == 0
    assert ours.stderr is not None
    assert ours.stderr.read() == ""
    ours.stderr.close()


def test_ctrl_c_is_reported_in_one_line_and_leaves_no_file(bench, capsys, monkeypatch):
    from lobework.jobs import job

    def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(job, "trace", stopped)
    assert main(["make", "lid.toml"]) == 130
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", "lobework: stopped; nothing more was written\n")
    assert names(".") == ["lid.toml"]


def test_a_signal_stops_a_separate_process_cleanly(bench):
    Path("lid.toml").write_text(starter().replace("count = 16", "count = 60000").replace("x = -1.5, ", ""))
    # A shell that runs the tests in the background has SIGINT ignored, which a process inherits.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    with subprocess.Popen([*PROCESS, "make", "lid.toml"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as ours:
        signal.signal(signal.SIGINT, before)
        try:
            time.sleep(2)
            ours.send_signal(signal.SIGINT)
            out, err = ours.communicate(timeout=60)
        finally:
            ours.kill()
    assert (ours.returncode, out, err) == (130, "", "lobework: stopped; nothing more was written\n")
    assert names(".") == ["lid.toml"]


def test_a_memory_error_is_reported_in_one_line(bench, capsys, monkeypatch):
    from lobework.jobs import job

    def full(*_, **__):
        raise MemoryError

    monkeypatch.setattr(job, "trace", full)
    assert main(["make", "lid.toml"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_an_internal_error_is_one_line_with_exit_code_70_and_a_hint_for_the_traceback(capsys, monkeypatch):
    def broken(_):
        raise RuntimeError("the\nbench fell over")

    monkeypatch.setattr(shelf, "_list", broken)
    assert main(["list"]) == 70
    assert capsys.readouterr().err == (
        "lobework: a fault in lobework itself: RuntimeError: the bench fell over; set LOBEWORK_TRACEBACK=1 to see where\n"
    )
    monkeypatch.setenv("LOBEWORK_TRACEBACK", "1")
    with pytest.raises(RuntimeError):
        main(["list"])


def test_an_ascii_terminal_shows_other_characters_as_escapes(bench):
    Path("lid.toml").write_text(starter().replace("Tide box, lid", "Gezeitendöschen"), encoding="utf-8")
    done = run("settings", "lid.toml", env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"})
    assert done.returncode == 0
    assert "Gezeitend\\xf6schen" in done.stdout


def test_the_command_is_the_one_that_the_package_installs():
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["scripts"] == {"lobework": "lobework.cli:main"}
    assert lobework.__all__
