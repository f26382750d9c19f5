"""A job: one object from which everything else follows, and files that appear whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from lobework.errors import InputError, OutputExistsError, SettingError, TooLargeError, UnknownNameError
from lobework.files.outputs import refuse_existing, write_files
from lobework.jobs import jobfile
from lobework.jobs.job import Job, require_memory
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.cutter import Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.plugins import registry
from lobework.program.program import Feeds


@pytest.fixture
def job():
    waves = Drive(Wave(lobes=6, base_radius=60.0, rise=2.0), follower=Roller(3.0))
    rings = Pass(name="rings", at=At(x=20.0, depth=0.3), cams=(waves,))
    return Job(
        title="Tide box, lid",
        lathe=jobfile.read_lathe("rocking-bench"),
        piece=Disc(diameter=60.0, thickness=6.0),
        cutter=Vee(angle_deg=90.0, width=3.0),
        passes=[rings.series(3, x=-2.0, phase="1/2 lobe"), Pass(name="border", at=At(x=25.0, depth=0.2))],
    )


def settings_of(job, **changes):
    names = ("title", "lathe", "piece", "cutter", "passes", "units", "chord", "feeds")
    return {name: getattr(job, name) for name in names} | changes


def test_the_repr_of_a_job_is_one_short_line(job):
    assert repr(job) == "<Job 'Tide box, lid': 4 cuts on rocking-bench>"
    assert "1 cut on" in repr(Job(**settings_of(job, passes=[Pass(at=At(x=9.0))])))


def test_cuts_are_numbered_through_the_job_and_know_their_pass(job):
    assert [(cut.number, cut.group) for cut in job.cuts()] == [(1, 1), (2, 1), (3, 1), (4, 2)]
    assert [cut.passed.at.x for cut in job.cuts()] == [20.0, 18.0, 16.0, 25.0]


def test_traces_are_in_the_order_of_the_cuts_and_can_be_sliced(job):
    traces = job.trace()
    assert [each.cut.number for each in traces] == [1, 2, 3, 4]
    assert [each.cut.number for each in traces[1:3]] == [2, 3]
    assert traces[-1] is traces[3]
    assert repr(traces[3:]) == f"<1 traces of {traces[3].u.size} samples: Tide box, lid>"


def test_a_pass_without_cams_on_the_axis_of_the_work_is_a_circle(job):
    """By construction: the tip stands still, the work turns under it."""
    border = job.trace()[3]
    assert np.allclose(np.hypot(border.x, border.y), 25.0, atol=1e-9)


def test_the_most_severe_finding_is_first(job):
    from lobework.parts.cam import Scallop

    bridged = Drive(Scallop(lobes=6, base_radius=60.0, rise=4.0), follower=Roller(30.0))
    levels = [finding.level for finding in Job(**settings_of(job, passes=[Pass(at=At(x=20.0), cams=(bridged,))])).check()]
    assert "warning" in levels
    assert levels == sorted(levels, key=("problem", "warning", "note").index)


def test_every_installed_check_examines_the_job(job, monkeypatch):
    import dataclasses

    seen = []

    def eyes(cuts, traces):
        seen.append((list(cuts), list(traces)))
        return []

    real = registry.installed()
    parts = {**real.parts, "check": {**real.parts["check"], "eyes": eyes}}
    monkeypatch.setattr(registry, "installed", lambda: dataclasses.replace(real, parts=parts))
    job.check()
    ((cuts, traces),) = seen
    assert [each.cut for each in traces] == cuts
    assert len(cuts) == 4


def test_the_settings_and_the_program_are_of_this_job(job):
    assert job.settings().title == "Tide box, lid"
    assert sum(len(steps.rows) for steps in job.settings().steps) == 4
    assert job.program().title == "Tide box, lid"
    assert len(job.program().sections) == 4


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"passes": []}, "one pass or more"),
        ({"units": "cm"}, "'mm' or 'inch'"),
        ({"chord": 0.0}, "at least 1e-09 mm"),
        ({"chord": float("nan")}, "at least 1e-09 mm"),
        ({"passes": [Pass().series(1000).series(101)]}, "at most 100,000 cuts in all"),
        ({"passes": [Pass().series(60_000), Pass().series(60_000)]}, "at most 100,000 cuts in all"),
    ],
)
def test_an_invalid_job_is_refused_at_construction(change, message, job):
    with pytest.raises(SettingError, match=message):
        Job(**settings_of(job, **change))


def test_an_invalid_step_is_reported_with_its_pass(job):
    with pytest.raises(InputError, match=r"^pass\[2\]\.series\.each\.u: no slide, cam or chuck of this pass has a setting 'u'"):
        Job(**settings_of(job, passes=[Pass(), Pass().series(2, u=1)])).cuts()


def test_a_missing_axis_of_the_lathe_is_reported_with_the_pass(job):
    with pytest.raises(InputError, match=r"^pass\[2\]: .* no axis that moves the y"):
        Job(**settings_of(job, passes=[Pass(at=At(x=9.0)), Pass(travel=At(y=1.0))])).settings()


def test_traces_are_limited_to_4_gb():
    """A sample is four float64: 32 bytes."""
    require_memory(125_000_000)
    with pytest.raises(TooLargeError, match="4 GB"):
        require_memory(125_000_001)


def test_a_job_too_large_is_refused_for_the_sum_of_its_cuts(job, monkeypatch):
    from lobework.jobs import job as module

    asked = []
    monkeypatch.setattr(module, "estimate", lambda cut, chord: asked.append(cut.number) or 40_000_000)
    with pytest.raises(TooLargeError, match="160,000,000 samples"):
        job.trace()
    assert asked == [1, 4]


def test_a_job_that_turns_out_larger_than_estimated_is_still_refused(job, monkeypatch):
    from lobework.jobs import job as module

    monkeypatch.setattr(module, "estimate", lambda cut, chord: 1)
    monkeypatch.setattr(module, "MOST_BYTES", 32 * 300)
    with pytest.raises(TooLargeError):
        job.trace()


@pytest.mark.parametrize("name", ["svg", "png", "csv", "rs274", "text"])
def test_a_job_writes_any_target(name, job, tmp_path):
    path = job.write(name, tmp_path / "new" / "folder")
    assert path == tmp_path / "new" / "folder" / registry.installed().target(name).file
    assert path.stat().st_size > 100
    assert [path] == list(path.parent.iterdir())


def test_a_target_that_is_not_installed_is_refused(job, tmp_path):
    with pytest.raises(UnknownNameError, match="did you mean 'svg'"):
        job.write("svgg", tmp_path)


def test_a_file_is_overwritten_only_if_requested(job, tmp_path):
    path = job.write("text", tmp_path)
    path.write_text("mine")
    with pytest.raises(OutputExistsError):
        job.write("text", tmp_path)
    assert path.read_text() == "mine"
    job.write("text", tmp_path, overwrite=True)
    assert "Tide box, lid" in path.read_text()


def test_feeds_have_default_values(job):
    assert job.feeds == Feeds()


def folder_of(path: Path) -> list[str]:
    return sorted(str(each.relative_to(path)) for each in path.rglob("*"))


def test_files_are_written_together(tmp_path):
    write_files({tmp_path / "a" / "one": b"1", tmp_path / "b" / "two": b"22"})
    assert folder_of(tmp_path) == ["a", "a/one", "b", "b/two"]
    assert (tmp_path / "b" / "two").read_bytes() == b"22"


def test_files_have_the_permissions_of_any_new_file(tmp_path):
    (tmp_path / "plain").write_bytes(b"")
    write_files({tmp_path / "one": b"1"})
    assert (tmp_path / "one").stat().st_mode == (tmp_path / "plain").stat().st_mode


FULL = OSError(28, "No space left on device")


@pytest.mark.parametrize(
    ("step", "fault"),
    [("link", KeyboardInterrupt), ("unlink", KeyboardInterrupt), ("mkdir", MemoryError), ("unlink", FULL), ("mkdir", FULL)],
)
def test_an_interrupted_write_leaves_no_new_file(step, fault, tmp_path, monkeypatch):
    real = {"link": os.link, "unlink": Path.unlink, "mkdir": Path.mkdir}[step]
    calls = []

    def breaks(*arguments, **settings):
        calls.append(arguments)
        if len(calls) == 2:
            raise fault
        return real(*arguments, **settings)

    monkeypatch.setattr(*((os, "link") if step == "link" else (Path, step)), breaks)
    with pytest.raises(InputError if isinstance(fault, OSError) else fault):
        write_files({tmp_path / "a" / "one": b"1", tmp_path / "b" / "two": b"22"})
    assert folder_of(tmp_path) == []


def test_a_file_created_during_writing_is_not_overwritten(tmp_path, monkeypatch):
    real = Path.open

    def slow(path, *arguments, **settings):
        (tmp_path / "one").write_bytes(b"theirs")
        return real(path, *arguments, **settings)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", lambda path, *a, **s: real(path, *a, **s) if path.name == "one" else slow(path, *a, **s))
        with pytest.raises(OutputExistsError):
            write_files({tmp_path / "one": b"ours"})
    assert folder_of(tmp_path) == ["one"]
    assert (tmp_path / "one").read_bytes() == b"theirs"


def test_writing_works_without_hard_links(tmp_path, monkeypatch):
    def no_links(*_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", no_links)
    write_files({tmp_path / "one": b"1"})
    assert folder_of(tmp_path) == ["one"]


def test_a_dangling_link_counts_as_a_file(tmp_path):
    (tmp_path / "one").symlink_to(tmp_path / "gone")
    with pytest.raises(OutputExistsError):
        refuse_existing([tmp_path / "one"])
