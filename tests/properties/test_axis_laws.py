"""What holds where the axes alone say where everything stands."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.kinematics.motion import motion_of
from lobework.lathe.passes import Cut, Pass
from lobework.parts.slide import At
from lobework.quantities.units import Phase
from tests.search import examples
from tests.strategies import chucks, cuts, drives, high_enough, numbers, rocking, scallops, waves
from tests.test_arc import BENCH, arcs, centres

some = settings(max_examples=examples(30))
U = np.linspace(0.0, 1.0, 61)


def on_arcs():
    return st.builds(
        lambda arc, at: Cut(number=1, passed=Pass(turns=2, arc=arc, at=at), lathe=BENCH),
        arcs,
        centres,
    )


@settings(max_examples=examples(80))
@given(cut=st.one_of(cuts, on_arcs()))
def test_the_axes_of_a_pass_put_the_tip_where_the_pass_does(cut):
    moved = motion_of(cut)
    u = cut.span * U
    axes = moved.axes(u)
    assert_allclose(moved.place_of(axes), moved.place(u), rtol=0, atol=1e-9)
    pose, seen = moved.pose_of(axes), moved.work(u).inverse() @ moved.cutter(u)
    assert_allclose(pose.rotation, seen.rotation, rtol=0, atol=1e-11)
    assert_allclose(pose.shift, moved.place(u), rtol=0, atol=1e-9)


@some
@given(
    cut=cuts, x=numbers(-60.0, 60.0), y=numbers(-5.0, 5.0), z=numbers(-60.0, 5.0), spindle=numbers(-700.0, 700.0), data=st.data()
)
def test_any_axis_positions_correspond_to_a_pass(cut, x, y, z, spindle, data):
    """A pass whose cams are set so far on that they stand there when the spindle does."""
    turned = Fraction(spindle) / 360
    axes, cams = {"spindle": spindle, "x": x, "y": y, "z": z}, []
    for number, drive in enumerate(cut.passed.cams, 1):
        axes[f"cam {number}"] = stands = data.draw(numbers(-700.0, 700.0))
        cams.append(replace(drive, phase=Phase(turns=Fraction(stands) / 360 - drive.ratio * turned)))
    passed = replace(cut.passed, at=At(x=x, y=y, z=z), travel=At(), cams=tuple(cams))
    through = motion_of(replace(cut, passed=passed)).place(np.array([float(turned)]))
    assert_allclose(motion_of(cut).place_of(axes), through, rtol=0, atol=1e-9)


@some
@given(drive=drives(st.one_of(waves(), scallops())), chuck=chucks)
def test_a_cam_without_an_axis_turns_with_the_spindle(drive, chuck):
    bench = rocking(high_enough(250.0, drive), chuck)
    locked = replace(bench, axes=tuple(axis for axis in bench.axes if not axis.moves.startswith("cam")))
    moved = motion_of(Cut(number=1, passed=Pass(at=At(x=20.0), cams=(replace(drive, ratio=1),)), lathe=locked))
    axes = moved.axes(U)
    assert_allclose(moved.place_of({"spindle": axes["spindle"]}), moved.place(U), rtol=0, atol=1e-9)


@some
@given(drive=drives(st.one_of(waves(), scallops())), at=numbers(-700.0, 700.0))
def test_an_omitted_cam_is_at_its_phase_and_an_omitted_slide_at_the_start_of_the_pass(drive, at):
    passed = Pass(turns=2, at=At(x=20.0, z=-1.0), travel=At(x=3.0), cams=(drive,))
    moved = motion_of(Cut(number=1, passed=passed, lathe=rocking(high_enough(250.0, drive))))
    begins = {name: places[:1] for name, places in moved.axes(np.zeros(1)).items()}
    spindle = np.array([at])
    assert_allclose(moved.place_of({"spindle": spindle}), moved.place_of({**begins, "spindle": spindle}), rtol=0, atol=1e-12)
