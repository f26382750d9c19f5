"""The commands on numbers alone, run as people run them."""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.cli import main
from tests.search import examples


def answer(capsys, *arguments, code=0):
    """Return the lines that a command prints, split where its columns are."""
    assert main(list(arguments)) == code
    said = capsys.readouterr()
    assert said.err == ""
    return said.out.splitlines()


def rows(lines):
    """Return the cells of each row of the first table."""
    return [[cell.strip() for cell in line.split("   ") if cell.strip()] for line in lines[2:]]


def test_a_ratio_is_listed_for_every_requested_drive(capsys):
    lines = answer(
        capsys, "ratio", "2/3", "--lobes", "4", "--decimals", "0,2", "--wheels", "20,30", "--steps", "200", "--radius", "30 mm"
    )
    assert lines[0] == "2/3 (66.6666667 %): 8/3 lobes per turn of the work; closes after 3 turns"
    assert rows(lines) == [
        ["drive", "actual ratio", "gap after 3 turns", "step error", "0.05 mm off"],
        ["percent, no decimals", "67/100 (67 %)", "5.373 deg, 2.81 mm", "-", "after 1 turn"],
        ["percent, 2 decimals", "66.67 %", "0.054 deg, 0.0283 mm", "-", "after 6 turns"],
        ["20 drives 30", "2/3 (66.6666667 %)", "none", "-", "never"],
        ["motor, 200 steps a turn", "2/3 (66.6666667 %)", "none", "within 1.35 deg, 0.707 mm", "never"],
    ]


def test_a_ratio_without_options_is_listed_in_percent_with_two_decimals(capsys):
    assert [row[0] for row in rows(answer(capsys, "ratio", "1/7"))] == ["drive", "percent, 2 decimals"]


def test_a_negative_ratio_is_accepted_and_a_shortfall_is_negative(capsys):
    lines = answer(capsys, "ratio", "-1/3", "--decimals", "2", "--wheels", "20,60")
    assert [row[1:3] for row in rows(lines)[1:]] == [["-33.33 %", "-0.108 deg"], ["-1/3 (-33.3333333 %)", "none"]]


def test_lengths_given_in_inches_are_printed_in_inches(capsys):
    in_inches = answer(capsys, "ratio", "2/3", "--radius", "1 in", "--seen", "0.002 in")
    assert in_inches == answer(capsys, "ratio", "2/3", "--radius", "1", "--seen", "0.002", "--units", "inch")
    assert rows(in_inches)[1][2:] == ["0.054 deg, 0.000942 in", "-", "after 7 turns"]
    in_mm = answer(capsys, "ratio", "2/3", "--radius", "25.4", "--seen", "0.0508")
    assert rows(in_mm)[1][2:] == ["0.054 deg, 0.0239 mm", "-", "after 7 turns"]


def test_only_the_cheapest_train_within_an_error_is_listed_and_none_exits_with_1(capsys):
    owned = "24,28,32,40,44,48,56,64,72,86,100"
    near = answer(capsys, "ratio", "0.6667", "--wheels", owned, "--within", "0.01 %")
    assert [row[0] for row in rows(near)[1:2]] == ["32 drives 48"]
    far = answer(capsys, "ratio", "0.6667", "--wheels", owned, "--pairs", "1", "--within", "0.001 %", code=1)
    assert far[-1] == "no train of these wheels is within 0.001 % of 6667/10000: the nearest, 32 drives 48, is 0.005 % off"


def test_wheels_to_cut_are_found_in_a_range_and_none_exits_with_1(capsys):
    """R. W. Gosper, on the math-fun list: three pairs of 12 to 400 teeth, the same three."""
    near = answer(capsys, "ratio", "224.7007992", "--wheels", "12-400", "--pairs", "3", "--within", "0.00000003 %")
    assert rows(near)[1][0] == "149 drives 12, 152 drives 23, 293 drives 107"
    far = answer(capsys, "ratio", "224.7007992", "--wheels", "12-400", "--pairs", "1", "--within", "1 %", code=1)
    (message,) = far
    assert message.startswith(
        "ratio=280875999/1250000: no train of 1 pair of wheels with 12 to 400 teeth was found with a relative error "
        "of at most 0.01"
    )


def test_the_mediants_are_listed_with_their_errors(capsys):
    """Brocot, 1861: 191/23, begun at 8/1, which is 7 too small."""
    lines = answer(capsys, "ratio", "191/23", "--mediants")
    found = [line.split()[:2] for line in lines[6:]]
    assert found[:3] == [["8/1", "-7"], ["9/1", "+16"], ["17/2", "+9"]]
    assert found[-1] == ["191/23", "0"]


def test_the_wheel_on_a_lathes_spindle_is_used(capsys):
    lines = answer(capsys, "index", "5", "--lathe", "hand-bench")
    assert lines[0] == "circle of 96: 1 of 5 positions are exact; at most 1.5 deg off"


def test_the_other_arrangements_of_a_train_are_listed(capsys):
    """Brown & Sharpe, p. 62: drivers 24 and 48 with driven 100 and 32, in four arrangements."""
    said = answer(capsys, "helix", "--diameter", "2 in", "--lead", "3.60 in", "--even", "10 in", "--wheels", "24,32,48,100")
    assert "24 drives 32, 48 drives 100    3.6 in   exact" in said
    others = said[-1].partition("may also be arranged as: ")[2].split("; ")
    assert others == ["24 drives 100, 48 drives 32", "48 drives 32, 24 drives 100", "48 drives 100, 24 drives 32"]


def test_the_actual_ratio_of_a_lathe_is_printed(capsys, tmp_path):
    (tmp_path / "bench.toml").write_text(
        '[headstock]\nsideways = "slides"\n'
        '[[axis]]\nmoves = "cam 1"\nletter = "A"\nsteps = 3200\n'
        '[[cam]]\nnumber = 1\nturned_by = "motor"\npercent_places = 1\n'
    )
    said = rows(answer(capsys, "ratio", "2/3", "--lathe", str(tmp_path / "bench.toml")))
    assert said[1] == [
        "bench, cam 1: percent, 1 decimal; motor, 3200 steps a turn", "66.7 %", "0.5397 deg", "within 0.08438 deg",
    ]  # fmt: skip
    locked = rows(answer(capsys, "ratio", "2/3", "--lathe", str(tmp_path / "bench.toml"), "--cam", "2"))
    assert locked[1][:2] == ["bench, cam 2: locked to the spindle", "1 (100 %)"]


def test_an_index_list_marks_exact_holes_on_each_circle(capsys):
    lines = answer(capsys, "index", "12", "--wheel", "96,100")
    assert lines[:2] == [
        "circle of 96: 12 of 12 positions are exact",
        "circle of 100: 4 of 12 positions are exact; at most 1.2 deg off",
    ]
    assert sum(line.endswith(" exact") for line in lines[2:]) == 16
    assert lines[5].split() == ["1", "30", *["8", "holes", "of", "the", "96", "circle"], "exact"]


def test_angles_are_listed_with_a_worm(capsys):
    """*Machinery's Handbook*, 1916: 35 degrees with a worm of 40 are 3 turns and 16 holes of 18; US Army Ordnance text od1644:
    24 minutes are a hole of 23, nearly."""
    lines = answer(capsys, "index", "35 deg", "24/60 deg", "-35 deg", "--wheel", "18,23", "--worm", "40", "--radius", "100")
    text = "\n".join(lines)
    assert "3 turns and 16 holes of the 18 circle    exact" in text
    assert "-3 turns and 16 holes of the 18 circle   exact" in text
    assert "1 hole of the 23 circle                  0.008696 deg, 0.0152 mm less" in text


def test_a_frame_is_set_to_thirty_eight_degrees_for_a_quarter_turn_in_two_inches(capsys):
    """Common practice, no source: 90 degrees over 2 in at 2 in diameter is 38.1 degrees."""
    expected = ["diameter   angle to the axis   lead", "2 in       38.146 deg          8 in"]
    assert answer(capsys, "helix", "--diameter", "2 in", "--twist", "90 deg", "--over", "2 in") == expected
    assert answer(capsys, "helix", "--diameter", "2 in", "--travel", "4 in", "--turns", "1/2") == expected
    assert answer(capsys, "helix", "--diameter", "2 in", "--lead", "8 in") == expected


def test_an_angle_gives_its_lead_back(capsys):
    """J. Rose, *Modern Machine-Shop Practice*: the circumference over the lead is the tangent of the angle."""
    ahead, back = (answer(capsys, "helix", "--diameter", "60", "--angle", given)[1] for given in ("45 deg", "-45"))
    assert ahead.split() == ["60", "mm", "45.000", "deg", "188.4956", "mm"]
    assert back.split() == ["60", "mm", "-45.000", "deg", "-188.4956", "mm"]
    assert answer(capsys, "helix", "--diameter", "60", "--angle", "0")[1].split()[-1] == "endless"


def test_a_taper_is_listed_with_the_angle_of_least_error(capsys):
    lines = answer(capsys, "helix", "--diameter", "50", "40", "30", "--lead", "300")
    assert [line.split()[2] for line in lines[1:4]] == ["27.636", "22.728", "17.441"]
    assert lines[-1] == "one setting for all diameters: 22.539 deg, at most 5.098 deg off"


BAD = {
    "ratio": "the following arguments are required: RATIO; see lobework ratio --help",
    "ratio 0": "RATIO: '0' must be other than zero; a cam that stands still needs no drive",
    "ratio x": "RATIO: 'x' is not understood; write for example '3/4', '-3/2' or '66.67 %'",
    "ratio 1/3 --wheels 20": "--wheels: wheels=[20]: must be two or more; list every wheel that you own",
    "ratio 1/3 --wheels 20,x": "--wheels: 'x' must be a whole number, such as 4",
    "ratio 1/3 --wheels 20,30 --pairs 9": "--wheels: pairs=9: must be a whole number, 1 to 6",
    "ratio 1/3 --wheels 20,30 --within -1": "--within: '-1' must be a fraction of the ratio, from 0 to 1, such as '0.01 %'",
    "ratio 1/3 --pairs 2": "--pairs needs --wheels as well; see lobework ratio --help",
    "ratio 1/3 --parts 2": "--parts needs --steps as well; see lobework ratio --help",
    "ratio 1/3 --seen 1": "--seen needs --radius as well; see lobework ratio --help",
    "ratio 1/3 --cam 1": "--cam needs --lathe as well; see lobework ratio --help",
    "ratio 1/3 --radius -3": "--radius: '-3' must be above zero",
    "ratio 1/3 --units cm": "--units: 'cm' must be 'mm' or 'inch'",
    "ratio 1/3 --lobes 0": "--lobes: '0' must be one or more",
    "ratio 1/3 --decimals 99": "--decimals: places=99: must be a number of decimals of a percentage, 0 to 30",
    "ratio 1/99999": "--decimals: actual=0: must be other than zero; percent, 2 decimals is too coarse for the ratio 1/99999",
    "ratio 1/3 --steps 0": "--steps: cam=0: must be one or more steps per turn",
    "ratio 1/3 --steps 1,2,3": "--steps: '1,2,3' must be motor steps per turn of the cam, and of the spindle, such as 3200,6400",
    "ratio 1/3 --lathe plain-bench --cam 0": "--cam: number=0: must be 1, 2 and so on, in the order of the cams of a pass",
    "index 7": "give --wheel, such as --wheel 96,112, or --lathe; see lobework index --help",
    "index 7 --wheel 96 --lathe hand-bench": "give --wheel, such as --wheel 96,112, or --lathe; see lobework index --help",
    "index 7 --lathe plain-bench": (
        "--lathe: 'plain-bench' has no dividing wheel on its spindle; describe one in a [[hand]] table of its file"
    ),
    "ratio 1/3 --wheels 12-400": "--wheels: '12-400' is a range of wheels; give --within too, such as --within '0.001 %'",
    "ratio 1/3 --wheels 400-12 --within 1": "--within: '1' must be a fraction of the ratio, from 0 to 1, such as '0.01 %'",
    "ratio 1/3 --wheels 400-12 --within 0": "--wheels: most=12: must be a whole number of teeth, 400 to 1000",
    "index 7 --wheel 0 --worm 0": "--wheel: circles=[0]: must be whole numbers of holes, 1 to 100000",
    "index 7 --wheel 0": "--wheel: circles=[0]: must be whole numbers of holes, 1 to 100000",
    "index 7 --wheel 96,96": "--wheel: circles=[96, 96]: must be different circles",
    "index 7 --wheel 96 --worm 0": "--wheel: worm=0: must be a whole number of crank turns, 1 to 100000",
    "index 0 --wheel 96": "N: '0' must be 1 to 1000 divisions",
    "index x y --wheel 96": "ANGLE: 'x' is not understood; write for example '2 deg', '1/96 turn' or '1/2 lobe'",
    "index 1/3lobe --wheel 96": "ANGLE: '1/3lobe' must be an angle; a wheel has no lobes",
    "helix --diameter 5": "give one of --lead, --twist and --over, --angle, --travel and --turns; see lobework helix --help",
    "helix --diameter 5 --twist 9": (
        "give one of --lead, --twist and --over, --angle, --travel and --turns; given: --twist and --over; "
        "see lobework helix --help"
    ),
    "helix --diameter 0 --lead 9": "diameter=0: must be above zero",
    "helix --diameter 5 --angle 91": "angle=91: must be -90 to 90 degrees",
    "helix --diameter 5 --travel 9 --turns 0": "turns=0: must be above zero",
    "helix --diameter 5 --angle 9 --even 5 --wheels 20,30": (
        "to choose change wheels, give a lead, --even and --wheels; see lobework helix --help"
    ),
}


@pytest.mark.parametrize("line", BAD)
def test_an_error_is_one_line_and_exits_with_2(line, capsys):
    assert main(line.split()) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == f"lobework: {BAD[line]}\n"


ODD = (
    "",
    "0",
    "-1",
    "1/0",
    "1e39",
    "1e-39",
    "nan",
    "inf",
    "3,,4",
    "12-4",
    "-2/3",
    "2 in",
    "90 deg",
    "7",
    "96,112",
    "½",
    "x" * 90,
)
VERBS = {
    "ratio": ("--lobes", "--decimals", "--wheels", "--pairs", "--within", "--steps", "--parts", "--radius", "--units", "--seen"),
    "index": ("--wheel", "--worm", "--radius", "--units"),
    "helix": ("--diameter", "--lead", "--twist", "--over", "--travel", "--turns", "--angle", "--even", "--wheels", "--pairs"),
}


@pytest.mark.parametrize("verb", VERBS)
@settings(max_examples=examples(30))
@given(data=st.data())
def test_any_input_is_answered_or_refused_in_one_line(verb, data):
    options = data.draw(st.lists(st.sampled_from(VERBS[verb]), max_size=4, unique=True))
    line = [verb, *(data.draw(st.sampled_from(ODD)) for _ in range(verb != "helix"))]
    for option in options:
        line += [option, data.draw(st.sampled_from(ODD))]
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(line)
    assert (code, err.getvalue().count("\n")) in ((0, 0), (1, 0), (2, 1)), (line, err.getvalue())
    assert code != 2 or out.getvalue() == ""


def test_no_ratio_of_plain_numbers_needs_a_heavy_library():
    look = (
        "import sys; from lobework.cli import main; main(sys.argv[1:]); print({'numpy', 'numba', 'pydantic'} & set(sys.modules))"
    )
    asked = ["ratio", "2/3", "--wheels", "20,30", "--steps", "200", "--radius", "30"]
    done = subprocess.run([sys.executable, "-c", look, *asked], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("set()\n")
