"""The sheet before it has a format: true millimetres, layers, widths, scale bar."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest

from lobework.errors import SettingError
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Wave
from lobework.parts.cutter import Ball, Pen, Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.render.drawing import draw

LATHE = Lathe(
    name="bench",
    headstock=Headstock(sideways="slides", endways="pumps"),
    axes=tuple(Axis(moves=moves, letter=letter) for moves, letter in (("spindle", "C"), ("cam 1", "A"), ("x", "X"), ("z", "Z"))),
)
LID = Disc(diameter=70.0, thickness=8.0, material="boxwood")


def traced(*items):
    cuts = []
    for group, item in enumerate(items, 1):
        cuts += list(cuts_of(item, LATHE, first=len(cuts) + 1, group=group))
    return [trace(cut) for cut in cuts]


def ring(x=24.0, depth=0.4, **given):
    return Pass(**{"name": "ring", "at": At(x=x, depth=depth), **given})


def sheet(*items, piece=LID, cutter=None, units="mm"):
    return draw("Tide box, lid", piece, cutter or Pen(), traced(*items), units)


def test_a_ring_is_drawn_at_its_position_in_millimetres():
    (stroke,) = sheet(ring(x=24.0)).strokes
    assert np.hypot(*stroke.points.T) == pytest.approx(24.0, abs=1e-12)
    assert stroke.closed


def test_a_joined_path_does_not_repeat_its_first_point():
    (stroke,) = sheet(ring()).strokes
    (one,) = traced(ring())
    assert len(stroke.points) == len(one.x) - 1
    assert stroke.points.tolist() == np.stack([one.x, one.y], axis=-1)[:-1].tolist()


def test_an_open_path_stays_open_with_every_point():
    (stroke,) = sheet(ring(travel=At(x=-5.0))).strokes
    assert not stroke.closed
    assert np.hypot(*stroke.points[[0, -1]].T) == pytest.approx([24.0, 19.0])


@pytest.mark.parametrize(
    ("cutter", "depth", "width"),
    [
        (Vee(angle_deg=90.0, width=3.0), 0.4, 0.8),
        (Vee(angle_deg=60.0, width=3.0), 0.5, 1 / np.sqrt(3)),
        (Vee(angle_deg=90.0, width=3.0), 4.0, 3.0),
        (Ball(radius=1.5), 0.6, 2.4),
        (Pen(line=0.25), 0.0, 0.25),
        (Vee(angle_deg=90.0, width=3.0), 0.0, 0.1),
    ],
)
def test_a_stroke_has_the_width_of_the_cut_and_a_least_visible_width(cutter, depth, width):
    """Plane geometry: a vee of angle a is 2 d tan(a/2) wide at depth d; a ball of radius r, 2 sqrt(d (2 r - d))."""
    (stroke,) = sheet(ring(depth=depth), cutter=cutter).strokes
    assert stroke.width == pytest.approx(width, abs=1e-12)


def test_on_a_pumping_headstock_stroke_width_follows_depth_and_air_strokes_are_marked():
    """The face falls away by the lift, so the depth is 0.3 less the lift, a cosine from 0 to 0.5 mm."""
    pumped = Drive(Wave(lobes=8, base_radius=40.0, rise=0.5, on="face"), follower=Knife())
    strokes = list(sheet(ring(depth=0.3, cams=(pumped,)), cutter=Vee(angle_deg=90.0, width=3.0)).strokes)
    (one,) = traced(ring(depth=0.3, cams=(pumped,)))
    depth_at = {(x, y): -z for x, y, z in zip(one.x, one.y, one.z, strict=True)}
    assert {stroke.ink for stroke in strokes} == {"cut", "air"}
    for stroke in strokes:
        depths = np.array([depth_at[x, y] for x, y in stroke.points.tolist()])
        if stroke.ink == "air":
            assert depths[1:-1].max(initial=-1.0) < 0
        else:
            assert 2 * depths.max() == pytest.approx(stroke.width, abs=0.0251 + 0.1)
    assert max(stroke.width for stroke in strokes) == pytest.approx(0.6, abs=0.026)


def test_strokes_of_one_cut_meet_end_to_end():
    pumped = Drive(Wave(lobes=8, base_radius=40.0, rise=0.5, on="face"), follower=Knife())
    strokes = list(sheet(ring(depth=0.3, cams=(pumped,)), cutter=Vee(angle_deg=90.0, width=3.0)).strokes)
    for one, following in itertools.pairwise(strokes):
        assert one.points[-1].tolist() == following.points[0].tolist()


def test_each_pass_of_the_job_is_a_layer_with_a_figure_for_each_cut():
    made = sheet(ring().series(4, x=-1.0), ring(x=30.0, name="rim"))
    assert [(layer.name, layer.title) for layer in made.layers] == [("pass-1", "ring"), ("pass-2", "rim")]
    assert [[figure.title for figure in layer.figures] for layer in made.layers] == [
        ["ring 1", "ring 2", "ring 3", "ring 4"],
        ["rim"],
    ]


@pytest.mark.parametrize("diameter", [8.0, 70.0, 300.0])
@pytest.mark.parametrize(("units", "bar", "message"), [("mm", 50.0, "50 mm"), ("inch", 50.8, "2 in")])
def test_the_scale_bar_is_a_round_length_on_every_sheet(diameter, units, bar, message):
    """One inch is 25.4 mm (Federal Register, 30 June 1959)."""
    made = sheet(ring(x=3.0), piece=Disc(diameter=diameter, thickness=5.0), units=units)
    assert made.bar == bar
    assert message in [words.text for words in made.words]
    drawn = [stroke for stroke in made.lines if np.ptp(stroke.points[:, 1]) == 0 and np.ptp(stroke.points[:, 0]) > 5]
    assert [float(np.ptp(stroke.points[:, 0])) for stroke in drawn] == pytest.approx([bar])


def test_the_outline_and_a_mark_at_the_centre_are_there():
    made = sheet(ring())
    outline = next(stroke for stroke in made.lines if stroke.ink == "outline")
    assert np.hypot(*outline.points.T) == pytest.approx(35.0)
    centre = [stroke for stroke in made.lines if stroke.ink == "accent" and abs(stroke.points).max() <= 2.5]
    assert len(centre) == 5
    assert sum(stroke.points.sum() for stroke in centre) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("x", [2.0, 24.0, 80.0])
def test_everything_is_within_the_sheet(x, units):
    made = sheet(
        ring(x=x, depth=1.5), piece=Disc(diameter=3 * x, thickness=8.0), units=units, cutter=Vee(angle_deg=90.0, width=3.0)
    )
    for stroke in [*made.strokes, *made.lines]:
        reach = stroke.width / 2
        assert made.left + reach <= stroke.points[:, 0].min()
        assert stroke.points[:, 0].max() <= made.left + made.width - reach
        assert made.top - made.height + reach <= stroke.points[:, 1].min()
        assert stroke.points[:, 1].max() <= made.top - reach
    for words in made.words:
        assert made.left < words.x
        assert words.x + len(words.text) * words.size * 0.62 < made.left + made.width
        assert made.top - made.height < words.y < made.top


def test_the_sheet_states_its_content_and_how_to_print_it():
    words = [
        each.text.replace("\N{NO-BREAK SPACE}", " ")
        for each in sheet(ring().series(3, x=-1.0), cutter=Vee(angle_deg=90.0, width=3.0)).words
    ]
    assert words[0] == "Tide box, lid"
    assert "disc, diameter 70 mm, thickness 8 mm, material boxwood" in words
    assert "vee, angle 90 deg, width 3 mm" in words
    assert "3 cuts" in words
    assert "print at 100 %, check the scale bar" in words


def test_a_long_title_is_set_on_several_lines():
    made = draw("Tide box, lid, with a border of waves and a rim that was trimmed to meet them", LID, Pen(), traced(ring()))
    assert sum(words.manner == "title" for words in made.words) == 3


def test_a_job_without_a_cut_is_refused():
    with pytest.raises(SettingError, match="traces=0"):
        draw("Lid", LID, Pen(), [])


def test_a_fraction_of_a_turn_is_an_open_arc():
    (stroke,) = sheet(ring(turns=Fraction(1, 4))).strokes
    ends = np.degrees(np.arctan2(*stroke.points[[0, -1]].T[::-1]))
    assert abs(ends[1] - ends[0]) == pytest.approx(90.0)
