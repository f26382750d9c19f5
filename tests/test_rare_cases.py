"""Cases that no other test reaches: results for unusual jobs, in the same words and numbers as for usual ones."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import ClassVar

import numpy as np
import pytest

import lobework as lw
from lobework.carve.sweep import sweep_of
from lobework.checks.workpiece import body_findings, carving_summary
from lobework.cli import main
from lobework.geometry.rigid import Rigid
from lobework.lathe.clearance import highest_z, reach_of
from lobework.plugins import registry
from lobework.proof.report import Proof, fine
from lobework.quantities.units import format_length, length

WAVE = lw.Wave(lobes=6, base_radius=60.0, rise=2.0)


def job_of(*passes, lathe="rocking-bench", piece=None, cutter=None, **more):
    """A job on a small disc."""
    return lw.Job(
        lathe=lw.read_lathe(lathe) if isinstance(lathe, str) else lathe,
        piece=piece or lw.Disc(diameter=40.0, thickness=6.0),
        cutter=cutter or lw.Vee(angle_deg=90.0, width=3.0),
        passes=list(passes),
        **more,
    )


def ring(**more):
    return lw.Pass(**{"at": lw.At(x=12.0, depth=0.2), **more})


def test_an_eased_twist_is_the_reason_why_a_pass_does_not_close():
    twist = lw.Twist(angle="30 deg", turns=2, ease="1/4")
    drive = lw.Drive(WAVE, follower=lw.Roller(2.0), twist=twist)
    found = [finding.message for finding in job_of(ring(turns=2, cams=(drive,))).check() if finding.kind == "closure"]
    assert any("is eased, so the pass does not close" in message for message in found), found


def test_the_volume_of_a_scratch_has_a_digit_that_is_not_zero():
    carving = job_of(ring(at=lw.At(x=2.0, depth=0.002)), cutter=lw.Vee(angle_deg=20.0, width=1.0)).carve(0.02)
    assert 0 < carving.volume < 0.001
    removed = carving_summary(carving)[1].split()[1]
    assert float(removed) == pytest.approx(carving.volume, rel=0.5)
    assert float(removed) > 0


def test_a_very_long_line_is_printed_shortened_with_its_ends(capsys):
    assert main(["make", "x" * 3000]) == 2
    shown = capsys.readouterr().err
    assert len(shown.strip().removeprefix("lobework: ")) <= 600
    assert "..." in shown


def test_phase_and_index_are_added_on_a_drive():
    """By definition: 1/4 lobe of six is 15 degrees."""
    drive = lw.Drive(WAVE, follower=lw.Roller(2.0), phase="1/4 lobe", index="30 deg")
    assert drive.total_phase_rad == pytest.approx(math.radians(45.0))


@pytest.mark.parametrize("mm", [1e-30, 2.5e-40, 1 / 3 * 1e-20])
def test_a_tiny_length_reads_back_as_itself(mm):
    assert length(format_length(mm)) == mm


def test_two_cams_together_are_a_hand_setting_of_their_own():
    cams = (lw.Drive(WAVE, follower=lw.Roller(2.0)), lw.Drive(WAVE, follower=lw.Roller(2.0), phase="1/2 lobe"))
    sheet = job_of(ring(cams=cams, together="furthest")).settings()
    assert any("furthest" in entry.value for group in sheet.groups for entry in group.entries)


@dataclass(frozen=True, kw_only=True)
class Wobbly:
    """A chuck whose declaration is wrong."""

    kind: ClassVar[str] = "wobbly"
    is_dynamic: ClassVar[object] = "yes"

    def motions(self, theta):
        return Rigid.move(x=np.zeros_like(theta))


def test_a_declaration_that_is_neither_true_nor_false_is_reported():
    lathe = replace(lw.read_lathe("plain-bench"), fittings=None).mount(Wobbly())
    with pytest.raises(lw.PluginError, match="is_dynamic is 'yes'; it must be True or False"):
        job_of(ring(), lathe=lathe).trace()


def test_a_cam_in_software_is_not_set_by_hand():
    lathe = lw.read_lathe("computed-bench")
    assert any(cam.turned_by == "software" for cam in lathe.cams)
    number = next(cam.number for cam in lathe.cams if cam.turned_by == "software")
    with pytest.raises(lw.SettingError, match="this cam exists only in software"):
        replace(lathe, hand=(lw.HandAxis(moves=f"cam {number} phase", wheel=lw.Wheel([96])),))


def test_a_cam_without_a_shape_says_which_method_is_missing():
    class Blank(lw.CamShape):
        kind = "blank"
        lobes = 3

    with pytest.raises(TypeError, match=r"Blank has no shape: define its method rise_at\(psi\)"):
        lw.CamShape.rise_at(object.__new__(Blank), np.zeros(1))


def test_a_cutter_with_an_edge_and_no_holder_is_refused_by_its_name():
    vee = lw.Vee(angle_deg=90.0, width=3.0)
    bare = SimpleNamespace(kind="bare", edge=vee.edge, width_at=vee.width_at)
    job = job_of(ring())
    with pytest.raises(lw.SettingError, match=r"cutter.kind='bare': has no holder, so it carves nothing"):
        sweep_of(job.trace()[0], bare, job.piece.surface)


def test_a_proof_of_nothing_says_so():
    assert Proof(title="", units="mm", allowed=0.01).summary == (
        "proved: the program cuts nothing, and the job has nothing to cut"
    )


@dataclass(frozen=True, kw_only=True)
class Slab:
    """A rectangle, drawn but not carved: work that is no solid of revolution."""

    form: ClassVar[str] = "slab"
    wide: float
    high: float

    @property
    def outline(self):
        x, y = self.wide / 2, self.high / 2
        return np.array([[-x, -y], [x, -y], [x, y], [-x, y], [-x, -y]])


@dataclass(kw_only=True)
class Listed:
    """A tilt whose class has no hash, because it holds a list."""

    kind: ClassVar[str] = "listed"
    is_dynamic: ClassVar[bool] = False
    degrees: list[float]

    def motions(self, theta):
        angle = math.radians(self.degrees[0])
        turn = np.array([[math.cos(angle), 0.0, math.sin(angle)], [0.0, 1.0, 0.0], [-math.sin(angle), 0.0, math.cos(angle)]])
        return Rigid(turn[None], np.zeros((1, 3)))


@pytest.mark.parametrize("tilt", [lw.Dome(tilt_deg=40.0, shift=3.0), Listed(degrees=[40.0])], ids=["dome", "listed"])
def test_the_reach_of_a_tilted_slab_is_that_of_its_corners(tilt):
    """By hand: the four corners, moved by the chuck as a point is moved, at 721 angles."""
    slab = Slab(wide=50.0, high=20.0)
    lathe = replace(lw.read_lathe("plain-bench"), fittings=None).mount(tilt)
    corners = np.column_stack([slab.outline, np.zeros(5)])
    places = np.stack([tilt.motions(np.linspace(0.0, 2 * np.pi, 721)).apply(corner[None]) for corner in corners])
    assert reach_of(slab, lathe, turns=1.0) == pytest.approx(np.hypot(places[..., 0], places[..., 1]).max(), abs=1e-6)
    assert highest_z(slab, lathe, turns=1.0) == pytest.approx(places[..., 2].max(), abs=1e-6)


def test_a_slab_can_be_drawn_and_not_carved():
    job = job_of(ring(), piece=Slab(wide=50.0, high=50.0))
    assert job.uncarvable == "this work has no surface to carve"
    assert len(list(job.drawing().strokes)) == 1
    assert list(body_findings(job.piece, job.cutter, job.trace())) == []


def test_of_three_cams_the_furthest_holds_the_headstock():
    """The greatest of the three lifts, each alone: at every place the path of all is the outermost of theirs."""
    cams = tuple(
        lw.Drive(lw.Wave(lobes=lobes, base_radius=60.0, rise=2.0), follower=lw.Roller(2.0), phase=f"{lobes} deg")
        for lobes in (3, 5, 7)
    )
    lathe = lw.read_lathe("sliding-bench")

    def path(*drives):
        return job_of(ring(cams=drives, together="furthest"), lathe=lathe, chord=1e-4).trace()[0]

    together, alone = path(*cams), [path(cam) for cam in cams]
    radius = [np.interp(together.u, each.u, np.hypot(each.x, each.y)) for each in alone]
    rest = 12.0
    pushed = np.stack(radius) - rest
    expected = rest + pushed[np.abs(pushed).argmax(axis=0), np.arange(together.u.size)]
    assert np.abs(np.hypot(together.x, together.y) - expected).max() < 5e-3


def test_a_program_longer_than_the_limit_is_refused(monkeypatch):
    from lobework.proof import reader

    monkeypatch.setattr(reader, "_MOST_BYTES", 10**6)
    with pytest.raises(lw.TooLargeError, match="is longer than 1 MB; split the program"):
        reader.read(b"(a)\n" * 300_000)


def test_a_line_longer_than_the_controller_accepts_is_found():
    job = job_of(ring())
    short = replace(job.lathe, controller=replace(job.lathe.controller, longest_line=90))
    job = replace(job, lathe=short)
    text = registry.installed().target("rs274").render(job.program())
    assert job.prove(text).proved
    proof = job.prove(text.replace(b"\nM2", b"\n(" + 100 * b"-" + b")\nM2"))
    assert not proof.proved
    assert any("has 102 characters; the lathe's controller accepts 90 (longest_line)" in str(each) for each in proof.problems)


def test_an_infinite_deviation_is_written_in_words():
    assert fine(math.inf, "mm") == "an infinite length"


def test_a_plunge_of_a_swung_cutter_is_drawn_as_long_as_it_cuts():
    """A vee swung in a frame on a face leaves a stroke as long as two chords: 2 sqrt(d (2 r - d)), by Pythagoras."""
    frame = lw.CuttingFrame(radius=8.0, angle_deg=30.0)
    job = job_of(ring(turns=0), cutter=lw.Vee(angle_deg=90.0, width=3.0, holder=frame))
    (stroke,) = job.drawing().strokes
    reach = math.dist(stroke.points[0], stroke.points[-1])
    assert reach == pytest.approx(2 * math.sqrt(0.2 * (2 * 8.0 - 0.2)), abs=1e-9)
