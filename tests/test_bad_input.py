"""Whatever is wrong with the input gets one line, exit code 2, and nothing is written."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from lobework.cli import main
from lobework.jobs.jobfile import starter

WRITERS = ("make", "draw", "program", "settings", "check")


class Bench:
    """A folder with a job in it, and what a command did there."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self.capsys = capsys

    @property
    def job(self) -> Path:
        return self.folder / "lid.toml"

    def files(self) -> dict[Path, bytes]:
        return {path: path.read_bytes() if path.is_file() else b"" for path in self.folder.rglob("*")}

    def refusal(self, *arguments: object) -> str:
        """Run a command that must refuse, and return the first of its lines, one for each mistake."""
        before = self.files()
        self.capsys.readouterr()
        code = main([str(each) for each in arguments])
        said = self.capsys.readouterr()
        assert code == 2, said
        assert said.out == ""
        lines = said.err.splitlines()
        assert lines
        assert all(line.startswith("lobework: ") for line in lines)
        assert len(set(lines)) == len(lines)
        assert self.files() == before
        return lines[0].removeprefix("lobework: ")


@pytest.fixture
def bench(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return Bench(tmp_path, capsys)


def changed(old: str, new: str) -> str:
    text = starter()
    assert old in text
    return text.replace(old, new, 1)


WAVE = '"wave"\nlobes = 12\nbase_radius = 62\nrise = 2'
OVERHANGS = '"scallop"\nlobes = 12\nbase_radius = 62\nrise = 50'
PROGRAM = "[program]"
OVAL = '[[chuck]]\nkind = "oval"\nthrow = -3\n[program]'
PUMP = '[[pass.cam]]\nshape = "wave"\nlobes = 4\nbase_radius = 60\nrise = 1\non = "face"\nfollower = { kind = "knife" }\n'
WRONG = {
    "an unknown key": ("rise = 2", "risse = 1.5", "pass[1].cam[1].risse", "did you mean 'rise'?"),
    "an unknown key of the job": (PROGRAM, "[programme]", "programme", "did you mean 'program'?"),
    "a key in the Python spelling": ('angle = "90 deg"', "angle_deg = 90", "cutter.angle_deg", "did you mean 'angle'?"),
    "a key that is missing": ("lobes = 12", "", "pass[1].cam[1].lobes", "is missing; write a whole number"),
    "a table that is missing": ("[cutter]", "[piece.cutter]", "cutter", "is missing; write a [cutter] table"),
    "a wrong unit": ("rise = 2", 'rise = "3 deg"', "pass[1].cam[1].rise", "the unit 'deg' is not allowed here; allowed: mm"),
    "an unknown unit": ("rise = 2", 'rise = "3 furlong"', "pass[1].cam[1].rise", "allowed: mm, cm, in, inch"),
    "a length for an angle": ('angle = "90 deg"', 'angle = "3 mm"', "cutter.angle", "allowed: deg, turn"),
    "a wrong unit in a step": ("x = -1.5, phase", 'x = "1 lobe", phase', "pass[1].series.each.x", "the unit 'lobe'"),
    "a ratio of 1/0": ("ratio = 1 ", 'ratio = "1/0" ', "pass[1].cam[1].ratio", "'1/0' divides by zero"),
    "a negative radius": ("radius = 3 }", "radius = -3 }", "pass[1].cam[1].follower.radius", "-3 must be above zero"),
    "a negative diameter": ("diameter = 70", 'diameter = "-1/2 in"', "piece.diameter", "'-1/2 in' must be above zero"),
    "a cam a kilometre across": ("base_radius = 62", "base_radius = 1000000", "pass[1].cam[1].base_radius", "at most 1000 mm"),
    "a cam of a hair": ("base_radius = 62", "base_radius = 1e-9", "pass[1].cam[1].base_radius", "must be at least 0.01 mm"),
    "a rise of a kilometre": ("rise = 2", "rise = 1000000", "pass[1].cam[1].rise", "must be at most 1000 mm"),
    "a roller of a kilometre": (
        "radius = 3 }",
        "radius = 1000000 }",
        "pass[1].cam[1].follower.radius",
        "use a flat follower for a straight",
    ),
    "a roller of an atom": ("radius = 3 }", "radius = 1e-7 }", "pass[1].cam[1].follower.radius", "must be at least 0.001 mm"),
    "text for a number": ("lobes = 12", 'lobes = "12"', "pass[1].cam[1].lobes", "write a whole number"),
    "half a lobe": ("lobes = 12", "lobes = 1.5", "pass[1].cam[1].lobes", "1.5 does not fit here; write a whole number"),
    "no lobes": ("lobes = 12", "lobes = 0", "pass[1].cam[1].lobes", "0 must be a whole number from 1 to 1000"),
    "a number for text": ('title = "Tide box, lid"', "title = 3", "title", "3 does not fit here; write text in quotes"),
    "a unit for the file that is none": (
        'units = "mm" ',
        'units = "ell" ',
        "units",
        "'ell' does not fit here; write 'mm' or",
    ),
    "a cam that is not installed": ('"wave"', '"wawe"', "pass[1].cam[1].shape", "did you mean 'wave'?"),
    "a follower that is not installed": (
        '"roller"',
        '"rolller"',
        "pass[1].cam[1].follower.kind",
        "installed: knife, roller",
    ),
    "a cutter without a kind": ('kind = "vee"', "", "cutter.kind", "is missing; write one of vee"),
    "a lathe that does not ship": ('"rocking-bench"', '"roking-bench"', "lathe", "did you mean 'rocking-bench'?"),
    "a lathe file that is missing": ('"rocking-bench"', '"long.toml"', "lathe", "long.toml: there is no such file"),
    "a lathe that is a number": ('"rocking-bench"', "3", "lathe", "3 does not fit here; write a lathe's name"),
    "a flat on a face cam": (
        'kind = "roller", radius = 3 }',
        'kind = "flat" }\non = "face"',
        "pass[1].cam[1]",
        "too wide for the waves",
    ),
    "a roller wider than a face cam": ("radius = 3 }", 'radius = 99 }\non = "face"', "pass[1].cam[1]", "too wide for the waves"),
    "a rise that would overhang": (
        WAVE,
        WAVE.replace("wave", "scallop").replace("= 2", "= 50"),
        "pass[1].cam[1].rise",
        "50 must be at most",
    ),
    "no turns": ("turns = 1 ", "turns = -1 ", "pass[1].turns", "-1 must be zero or more"),
    "turns that are not a number": ("turns = 1 ", 'turns = "once" ', "pass[1].turns", "'once' is not understood"),
    "a place that is no table": (
        "at = { x = 30, depth = 0.4 }",
        "at = 30",
        "pass[1].at",
        "30 is not a table; write a table",
    ),
    "an unknown slide": ("x = 30, depth", "r = 30, depth", "pass[1].at.r", "keys here: x, y, z, depth"),
    "a step of nothing": (
        "x = -1.5, phase",
        "r = -1.5, phase",
        "pass[1].series.each.r",
        "settings that can be stepped: cam",
    ),
    "a series of none": ("count = 16", "count = 0", "pass[1].series.count", "0 must be a whole number, one or more"),
    "a series of far too many": ("count = 16", "count = 1000000", "pass[1].series.count", "at most 100,000 cuts"),
    "series within series of far too many": (
        PROGRAM,
        "[[pass]]\nseries = [{ count = 1000 }, { count = 1000 }]\n[program]",
        "pass[2].series[2].count",
        "at most 100,000 cuts",
    ),
    "a pass that is not a list": ("[[pass]]", "[pass]", "pass", "write one or more [[pass]] tables"),
    "two chucks of one name": (
        PROGRAM,
        '[[chuck]]\nkind = "plain"\n[[chuck]]\nkind = "plain"\n[program]',
        "chuck[2].name",
        "'plain' must be given to one chuck only",
    ),
    "a throw below zero": (
        PROGRAM,
        '[[chuck]]\nkind = "oval"\nthrow = -3\n[program]',
        "chuck[1].throw",
        "-3 must be zero or more",
    ),
    "a spindle that does not turn": ("spindle_rpm = 2", "spindle_rpm = 0", "program.spindle_rpm", "0 must be from 0.001"),
    "a chord below zero": ('title = "Tide box, lid"', "chord = -1", "chord", "-1 must be at least 1e-09 mm"),
    "no number": ("rise = 2", "rise = nan", "pass[1].cam[1].rise", "nan is not a finite number"),
    "an endless number": ("rise = 2", "rise = inf", "pass[1].cam[1].rise", "inf is not a finite number"),
    "a number beyond any lathe": ("rise = 2", f"rise = {'9' * 400}", "pass[1].cam[1].rise", "does not fit here"),
    "a phase beyond any lathe": ("ratio = 1 ", 'phase = "1e9 lobe" ', "pass[1].cam[1].phase", "more than a million"),
    "a length beyond any lathe": ("diameter = 70", 'diameter = "1e9 mm"', "piece.diameter", "more than a million"),
    "a ratio beyond any lathe": ("ratio = 1 ", "ratio = 1e9 ", "pass[1].cam[1].ratio", "more than a million"),
    "a step beyond any lathe": ("x = -1.5, phase", "x = 1e9, phase", "pass[1].series.each.x", "more than a million"),
    "a quantity that goes on and on": ("rise = 2", f'rise = "{" " * 9000}x"', "pass[1].cam[1].rise", "too long for a number"),
    "a date for a length": ("rise = 2", "rise = 1979-05-27", "pass[1].cam[1].rise", "is not a number"),
    "a key that breaks the line": ("material", '"a\\nb"', 'piece."a\\nb"', "there is no such key"),
}


@pytest.mark.parametrize("case", WRONG)
def test_an_error_names_file_line_key_value_and_remedy(case, bench):
    old, new, key, message = WRONG[case]
    bench.job.write_text(changed(old, new), encoding="utf-8")
    for command in WRITERS:
        line = bench.refusal(command, bench.job)
        assert line.startswith(str(bench.job))
        assert f": {key}: " in line
        assert message in line


@pytest.mark.parametrize(("case", "at"), [("an unknown key", "risse"), ("a negative radius", "-3"), ("a ratio of 1/0", "1/0")])
def test_the_line_named_in_an_error_is_the_line_with_the_wrong_value(case, at, bench):
    old, new, *_ = WRONG[case]
    bench.job.write_text(changed(old, new), encoding="utf-8")
    number = int(bench.refusal("check", bench.job).removeprefix(f"{bench.job}:").partition(":")[0])
    assert at in bench.job.read_text(encoding="utf-8").splitlines()[number - 1]


LACKS = {
    "a cam on a headstock that stands still": ('lathe = "rocking-bench"', 'lathe = "plain-bench"', ""),
    "a slide across that the lathe lacks": ("depth = 0.4 }", "depth = 0.4 }\ntravel = { y = 3 }", "no axis that moves the y"),
    "a cutter above the spindle": ("depth = 0.4 }", "depth = 0.4, y = 3 }", "no axis that moves the y"),
    "a third cam with a ratio of its own": (
        "[pass.series]",
        f'{PUMP}{PUMP}ratio = "3/4"\n[pass.series]',
        "no axis that moves the cam 3",
    ),
}


@pytest.mark.parametrize("case", LACKS)
def test_every_command_refuses_a_job_that_the_lathe_cannot_do(case, bench):
    old, new, message = LACKS[case]
    bench.job.write_text(changed(old, new), encoding="utf-8")
    for command in WRITERS:
        line = bench.refusal(command, bench.job)
        assert line.startswith(f"{bench.job}:")
        assert "pass[1]" in line
        assert message in line


FINE = ('title = "Tide box, lid"', 'chord = "1e-9 mm"')
TOO_LARGE = {
    "a million turns": changed("turns = 1 ", "turns = 1000000 "),
    "a thousand turns, in steps of an atom": changed(*FINE).replace("turns = 1 ", "turns = 1000 "),
    "a sweep of 10 GB": changed("turns = 1 ", "turns = 100000 "),
}


@pytest.mark.parametrize("command", ["make", "draw", "program", "check"])
@pytest.mark.parametrize("case", TOO_LARGE)
def test_a_job_too_large_for_memory_is_refused_with_its_size_before_tracing(case, command, bench, monkeypatch):
    from lobework.jobs import job

    monkeypatch.setattr(job, "trace", lambda *_, **__: pytest.fail("it was traced"))
    bench.job.write_text(TOO_LARGE[case], encoding="utf-8")
    line = bench.refusal(command, bench.job)
    assert line.startswith(str(bench.job))
    assert "GB" in line


def test_invalid_toml_is_reported_with_line_and_column(bench):
    """TOML 1.0.0, "Key/Value Pair": a value must follow the equals sign on the same line."""
    bench.job.write_text("title = 'lid'\nunits = \n", encoding="utf-8")
    assert bench.refusal("make", bench.job).startswith(f"{bench.job}, line 2, column 9: is not TOML: ")


NO_JOB = [
    ("title = 'lid", "line 1"),
    ("a = 1\na = 2", "line 2"),
    (f"a = {'[' * 3000}{']' * 3000}", "nested too deeply"),
    (f"a = {'9' * 5000}", "lid.toml:1: holds a number of 5,000 characters; write a shorter one"),
    (f"\na = 0x{'f' * 5000}", "lid.toml:2: holds a number of 5,002 characters; write a shorter one"),
    (f"\n\n{'.'.join('a' * 31)} = 1", "lid.toml:3: holds a key with more than 30 dotted parts; write fewer"),
    (f"{'a' * 401} = 1", "lid.toml:1: holds a key of 401 characters; write a shorter one"),
    ("[[pass]]\n" * 5_001, "lid.toml:5001: holds more than 5,000 tables; use a series in place of many passes"),
    ("#" * 500_001, "is longer than 500 kB; use a series in place of many passes"),
    ("lathe = 'a\0b'", "is not TOML: "),
    ("units = 1979-05-27T07:32:00Z", "lid.toml"),
    ("", "lathe: is missing"),
]


@pytest.mark.parametrize(("text", "message"), [pytest.param(*each, id=each[1]) for each in NO_JOB])
def test_files_without_a_job_are_refused(text, message, bench):
    bench.job.write_text(text, encoding="utf-8")
    assert message in bench.refusal("make", bench.job)


def test_a_file_that_is_not_utf_8_is_refused_with_its_line(bench):
    bench.job.write_bytes(starter().encode().replace(b"boxwood", b"Buchsb\xe4ume"))
    line = bench.refusal("make", bench.job)
    number = starter()[: starter().index("boxwood")].count("\n") + 1
    assert line == f"{bench.job}:{number}: byte 0xe4 is not UTF-8 text; save the file as UTF-8"


@pytest.mark.parametrize("command", WRITERS)
def test_a_missing_file_is_refused(command, bench):
    assert bench.refusal(command, "lid.toml").startswith("lid.toml: there is no such file")


@pytest.mark.parametrize("command", WRITERS)
def test_a_folder_is_refused_as_a_job_file(command, bench):
    assert "is a folder, not a file" in bench.refusal(command, bench.folder)


def test_a_file_that_never_ends_is_refused(bench):
    for command in (["make"], ["prove", "--job", bench.job], ["lathe"]):
        bench.job.write_text(starter(), encoding="utf-8")
        (bench.folder / "endless.toml").unlink(missing_ok=True)
        (bench.folder / "endless.toml").symlink_to("/dev/zero")
        message = "endless.toml: is a device or a pipe, not a file that has an end; name a regular file"
        assert bench.refusal(*command, "endless.toml") == message


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize("command", ["make", "check", "lathe", "prove"])
def test_a_named_pipe_is_refused_without_waiting(command, bench):
    bench.job.write_text(starter(), encoding="utf-8")
    os.mkfifo(bench.folder / "pipe.toml")
    given = ["--job", bench.job] if command == "prove" else []
    message = "pipe.toml: is a device or a pipe, not a file that has an end; name a regular file"
    assert bench.refusal(command, "pipe.toml", *given) == message


def test_a_job_can_be_read_from_standard_input(bench):
    command = [sys.executable, "-c", "import sys; from lobework.cli import main; sys.exit(main())", "check", "/dev/stdin"]
    done = subprocess.run(command, check=False, capture_output=True, text=True, input=starter())
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("name", ["drawing.svg", "drawing.png", "axes.csv", "program.ngc", "settings.txt"])
def test_if_one_output_exists_none_is_written(name, bench):
    bench.job.write_text(starter(), encoding="utf-8")
    (bench.folder / "out").mkdir()
    (bench.folder / "out" / name).write_text("mine")
    line = bench.refusal("make", bench.job, "--into", "out")
    assert line == f"out/{name}: exists already; name another folder or file, or add --overwrite"


@pytest.mark.parametrize(("command", "name"), [("draw", "drawing.svg"), ("program", "program.ngc"), ("settings", "settings.txt")])
def test_no_command_overwrites_an_existing_file(command, name, bench):
    bench.job.write_text(starter(), encoding="utf-8")
    (bench.folder / name).write_text("mine")
    assert "exists already" in bench.refusal(command, bench.job, "--into", bench.folder)


def test_new_overwrites_no_file(bench):
    bench.job.write_text("mine")
    assert "exists already" in bench.refusal("new", bench.job)


def test_a_folder_with_the_name_of_an_output_is_never_replaced(bench):
    bench.job.write_text(starter(), encoding="utf-8")
    (bench.folder / "out" / "axes.csv").mkdir(parents=True)
    assert "is a folder" in bench.refusal("make", bench.job, "--into", "out", "--overwrite")


@pytest.mark.parametrize("into", ["lid.toml", "lid.toml/deeper"])
def test_a_file_given_as_the_output_folder_is_refused(into, bench):
    bench.job.write_text(starter(), encoding="utf-8")
    assert "name another folder" in bench.refusal("draw", bench.job, "--into", into)


def test_a_folder_that_cannot_be_written_is_refused(bench):
    """The kernel's own file system takes no new files, whoever asks."""
    bench.job.write_text(starter(), encoding="utf-8")
    assert "cannot be written" in bench.refusal("draw", bench.job, "--into", "/proc/lobework")


USAGE = {
    "an unknown command": (["mkae", "lid.toml"], "there is no command 'mkae'; did you mean 'make'?"),
    "a missing job": (["make"], "JOB"),
    "an unknown option": (["make", "lid.toml", "--overwite"], "did you mean '--overwrite'?"),
    "an unknown option alone": (["--verison"], "did you mean '--version'?"),
    "half an option": (["make", "lid.toml", "--over"], "'--over' is unknown here"),
    "an option without its folder": (["make", "lid.toml", "--into"], "--into"),
    "two jobs": (["make", "lid.toml", "barrel.toml"], "'barrel.toml' is unknown here"),
    "an argument that breaks the line": (["make", "no\nsuch\x1b[2J file"], "there is no such file"),
}


@pytest.mark.parametrize("case", USAGE)
def test_an_invalid_command_line_is_refused(case, bench):
    arguments, message = USAGE[case]
    assert message in bench.refusal(*arguments)


@pytest.mark.parametrize(("command", "given"), [("draw", "rs274"), ("program", "svg"), ("settings", "drawin"), ("draw", "svgg")])
def test_a_target_of_another_kind_is_refused_with_a_list_of_suitable_ones(command, given, bench):
    bench.job.write_text(starter(), encoding="utf-8")
    line = bench.refusal(command, bench.job, "--as", given)
    assert f"is called '{given}'" in line
    assert "installed: " in line


def test_a_separate_process_prints_the_same_error(tmp_path):
    job = tmp_path / "lid.toml"
    job.write_text(changed("radius = 3 }", "radius = -3 }"), encoding="utf-8")
    command = [sys.executable, "-c", "import sys; from lobework.cli import main; sys.exit(main())", "make", str(job)]
    done = subprocess.run(command, check=False, capture_output=True, text=True, cwd=tmp_path)
    line = starter()[: starter().index("radius = 3 }")].count("\n") + 1
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == (
        f"lobework: {job}:{line}: pass[1].cam[1].follower.radius: -3 must be above zero; use a knife for a sharp edge\n"
    )
    assert list(tmp_path.iterdir()) == [job]
