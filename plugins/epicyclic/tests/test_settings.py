"""The settings of the chuck in Python and in a job file; invalid ones are refused in one line."""

import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from lobework_epicyclic import Epicyclic, Stage

from lobework import Phase, read_job, read_lathe
from lobework.plugins import InputError, SettingError, installed

JOB = """
lathe = "sliding-bench"
piece = { form = "disc", diameter = 60, thickness = 8 }
cutter = { kind = "pen" }

[[chuck]]
kind = "epicyclic"

[[chuck.stages]]
arm = 12
train = [[40, 120]]

[[pass]]
turns = 3
at = { x = 10 }
"""


def read(tmp_path, old="", new=""):
    assert old in JOB
    path = tmp_path / "job.toml"
    path.write_text(JOB.replace(old, new), encoding="utf-8")
    (mounted,) = read_job(path).lathe.chucks
    return mounted.chuck


def test_a_job_file_holds_any_number_of_stages(tmp_path):
    second = (
        "train = [[40, 120]]\n[[chuck.stages]]\narm = '-1/8 in'\ntrain = [[48, 32], [30, 60]]\nidler = true\nindex = '1/12 turn'"
    )
    chuck = read(tmp_path, "train = [[40, 120]]", second)
    assert chuck == Epicyclic(
        stages=[
            Stage(arm=12.0, train=[(40, 120)]),
            Stage(arm=-3.175, train=[(48, 32), (30, 60)], idler=True, index="1/12 turn"),
        ]
    )
    assert chuck.ratios == (Fraction(1, 3), Fraction(1, 4))


@pytest.mark.parametrize(
    ("train", "message"),
    [
        ("[[40, 0]]", "[[40, 0]] must be whole numbers of teeth, 1 to 10000; use an idler to reverse the train"),
        ("[[-40, 120]]", "[[-40, 120]] must be whole numbers of teeth, 1 to 10000; use an idler to reverse the train"),
        ("[[40.5, 120]]", "[[40.5, 120]] must be whole numbers of teeth, 1 to 10000; use an idler to reverse the train"),
        ("[[true, 120]]", "[[True, 120]] must be whole numbers of teeth, 1 to 10000; use an idler to reverse the train"),
        ("[40, 120]", "[40, 120] must be pairs of wheels, driver and driven, in teeth, such as [[60, 120]]"),
        ("[[40, 120, 3]]", "[[40, 120, 3]] must be pairs of wheels, driver and driven, in teeth, such as [[60, 120]]"),
        ("[]", "[] must be pairs of wheels, driver and driven, in teeth, such as [[60, 120]]"),
        ("'40:120'", "'40:120' must be pairs of wheels, driver and driven, in teeth, such as [[60, 120]]"),
    ],
)
def test_an_invalid_train_is_refused_with_its_line_and_key(train, message, tmp_path):
    with pytest.raises(InputError) as refused:
        read(tmp_path, "[[40, 120]]", train)
    assert str(refused.value) == f"{tmp_path / 'job.toml'}:11: chuck[1].stages[1].train: {message}"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("train", "teeth", "teeth: there is no such key; keys here: arm, train, idler, index, travel, screw"),
        ("arm = 12", "arm = 'far'", "arm: 'far' is not understood"),
        ("arm = 12", "arm = 12\nindex = '1/2 lobe'", "index: '1/2 lobe' must be in degrees or turns; only cams have lobes"),
        ("arm = 12", "arm = 12\ntravel = 10", "arm: 12 must be a length within the travel of its slide, 10 mm to either side"),
        ("arm = 12", "arm = 12\ntravel = 0", "travel: 0 must be above zero; leave it out if the travel is unlimited"),
        ("[[40, 120]]", "[[40, 120]]\nidler = 1", "idler: 1 does not fit here; write true or false"),
    ],
)
def test_an_invalid_stage_is_refused_with_its_key(old, new, message, tmp_path):
    with pytest.raises(InputError) as refused:
        read(tmp_path, old, new)
    assert f"chuck[1].stages[1].{message}" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_each_stage_gives_the_position_and_the_limits_of_its_slide():
    stages = [Stage(arm=3.0, train=[(60, 120)]), Stage(arm=-2.0, train=[(60, 120)], travel=25.0)]
    slides = Epicyclic(stages=stages).slides(np.linspace(0, 7, 5))
    ends = [(slide.name, slide.at.tolist(), slide.low, slide.high) for slide in slides]
    assert ends == [("stage 1", [3.0], -np.inf, np.inf), ("stage 2", [-2.0], -25.0, 25.0)]


@pytest.mark.parametrize("given", [[], "stage", 3.0, [Stage], [{"arm": 3.0}]])
def test_invalid_stages_are_refused(given):
    with pytest.raises(SettingError, match=r"^stages"):
        Epicyclic(stages=given)


@pytest.mark.parametrize("arm", [float("nan"), float("inf"), "12 mm", None])
def test_an_arm_must_be_a_length(arm):
    with pytest.raises(SettingError, match=r"^arm="):
        Stage(arm=arm, train=[(60, 120)])


@pytest.mark.parametrize(
    ("train", "idler", "ratio"),
    [
        ([(60, 120)], False, "1/2"),
        ([(60, 120)], True, "-1/2"),
        ([(40, 120), (36, 24)], False, "-1/2"),
        ([(40, 120), (36, 24)], True, "1/2"),
        ([(40, 120), (36, 24), (7, 11)], False, "7/22"),
        ([(97, 89)], False, "97/89"),
    ],
)
def test_a_ratio_is_exact_and_every_mesh_after_the_first_reverses_it(train, idler, ratio):
    assert Stage(arm=1.0, train=train, idler=idler).ratio == Fraction(ratio)


@pytest.mark.parametrize(
    ("trains", "turns"),
    [
        ([(120, 60)], 1),
        ([(60, 120)], 2),
        ([(48, 120)], 5),
        ([(40, 120), (60, 120)], 6),
        ([(40, 120), (90, 60)], 6),
        ([(3, 7), (7, 3)], 7),
    ],
)
def test_the_period_is_that_of_all_wheels(trains, turns):
    chuck = Epicyclic(stages=[Stage(arm=1.0, train=[train]) for train in trains])
    assert chuck.period_turns == turns
    assert [chuck.period_turns * ratio % 1 for ratio in chuck.ratios] == [0] * len(trains)


def test_the_work_is_indexed_on_the_last_wheel():
    stages = [Stage(arm=1.0, train=[(60, 120)]), Stage(arm=2.0, train=[(60, 120)])]
    on_chuck = Epicyclic(stages=stages, index="1/8 turn")
    on_stage = Epicyclic(stages=[stages[0], Stage(arm=2.0, train=[(60, 120)], index=Phase(Fraction(1, 8)))])
    theta = np.linspace(0, 7, 9)
    assert np.abs(on_chuck.motions(theta).rotation - on_stage.motions(theta).rotation).max() < 1e-15


def test_a_lathe_without_a_fixed_wheel_is_refused():
    chuck = Epicyclic(stages=[Stage(arm=1.0, train=[(60, 120)])])
    assert read_lathe("rocking-bench").mount(chuck).chucks
    with pytest.raises(SettingError, match="needs 'fixed wheel'"):
        replace(read_lathe("rocking-bench"), fittings=("ring",)).mount(chuck)


def test_the_bench_sheet_lists_the_settings_of_each_stage(tmp_path):
    """A length is also given in turns of the stage's own screw, and a train by its driving and driven wheels."""
    screw = "arm = '3 turns 4 div'\nscrew = { lead = '0.1 in' }"
    (tmp_path / "job.toml").write_text(JOB.replace("arm = 12", screw), encoding="utf-8")
    sheet = installed().target("text").render(read_job(tmp_path / "job.toml").settings()).decode()
    said = {line.partition(" .")[0].strip(): line.rpartition(". ")[2] for line in sheet.splitlines()}
    assert said["stage 1 arm"] == "8.636 mm = 3 turns 4 div of its screw"
    assert said["stage 1 train"] == "40 drives 120"


@pytest.mark.parametrize(
    "step", ["arm = 2", "'stage 1.arm' = 2", "'epicyclic.stage 1.arm' = '2 mm'", "epicyclic = { 'stage 1' = { arm = 2 } }"]
)
def test_a_series_steps_the_slide_of_a_stage(step, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(f"{JOB}\n[pass.series]\ncount = 3\neach = {{ {step} }}\n", encoding="utf-8")
    job = read_job(path)
    assert [trace.cut.lathe.chucks[0].chuck.stages[0].arm for trace in job.trace()] == [12, 14, 16]
    sheet = installed().target("text").render(job.settings()).decode()
    assert "epicyclic stage 1 arm" in sheet
    assert re.search(r"3 .*16 mm", sheet)


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ("'stage 2.arm' = 2", "no slide, cam or chuck of this pass has a setting 'stage 2.arm'"),
        ("train = 2", "no slide, cam or chuck of this pass has a setting 'train'"),
    ],
)
def test_an_invalid_step_of_a_stage_is_refused(step, message, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(f"{JOB}\n[pass.series]\ncount = 3\neach = {{ {step} }}\n", encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_job(path).trace()


def test_the_index_must_fall_on_a_hole(tmp_path):
    chuck = read(tmp_path, 'kind = "epicyclic"', 'kind = "epicyclic"\nindex = "8 holes of 96"\nwheel = { circles = [96, 144] }')
    assert chuck.index == Phase(Fraction(1, 12))
    with pytest.raises(InputError, match="must coincide with a hole"):
        read(tmp_path, 'kind = "epicyclic"', 'kind = "epicyclic"\nindex = "1/7 turn"\nwheel = { circles = [96, 144] }')


def test_numpy_numbers_are_stored_as_python_numbers():
    stage = Stage(arm=np.float64(3), train=[np.array([60, 120])])
    assert repr(stage) == repr(Stage(arm=3.0, train=[(60, 120)]))
