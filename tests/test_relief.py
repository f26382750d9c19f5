"""The picture of carved work: where the light comes from, what it leaves dark, and that it is in true size."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lobework import At, Disc, Job, Pass, Pen, Vee, read_lathe
from lobework.errors import SettingError
from lobework.geometry.surface import Face
from lobework.render.relief import picture
from lobework.render.relief.bar import bar_of, draw_bar
from lobework.render.relief.ground import SHEET
from lobework.render.relief.light import LAMP, Field, light
from lobework.render.relief.wood import PLAIN, WOODS, grain, linear, material_findings, tree_of, wood_of
from tests.carved import barrel, disc, ring, turned, uncut


def tone(shown, x, y, half=0.35):
    """Return the mean tone, 0 to 255, of a square round a place on the face, mm."""
    rows, columns, _ = shown.dots.shape
    reach = max(1, round(half / shown.mm_per_dot))
    row, column = round((rows - 1) / 2 - y / shown.mm_per_dot), round((columns - 1) / 2 + x / shown.mm_per_dot)
    return float(shown.dots[row - reach : row + reach + 1, column - reach : column + reach + 1].mean())


def wood_along_row(shown, row):
    """Return how many dots of a row are dark wood; a dot at the edge counts for the part that is."""
    line = shown.dots[row].astype(float).mean(axis=1)
    paper, dark = line.max(), np.percentile(line, 5)
    return float(((paper - line) / (paper - dark)).clip(0, 1).round(1).sum())


@pytest.mark.parametrize(
    "carving", [disc(ring(20.0, 0.8), 0.3), barrel(uncut, 0.5), turned(uncut, 0.5)], ids=["disc", "barrel", "turned"]
)
def test_the_same_work_gives_the_same_dots(carving):
    once, again = picture(carving, 240), picture(carving, 240)
    assert once.dots.dtype == np.uint8
    assert once.dots.tobytes() == again.dots.tobytes()


def test_the_light_comes_from_the_upper_left():
    """A groove's wall that looks at the lamp is bright, the one that it comes over is dark, on both sides of the work."""
    shown = picture(disc(ring(20.0, 0.8)), 900)
    off = 20.4 * math.sqrt(0.5), 19.6 * math.sqrt(0.5)
    far_upper_left, near_upper_left = tone(shown, -off[1], off[1], 0.1), tone(shown, -off[0], off[0], 0.1)
    far_lower_right, near_lower_right = tone(shown, off[0], -off[0], 0.1), tone(shown, off[1], -off[1], 0.1)
    land = tone(shown, 0.0, 0.0)
    assert far_upper_left > land > near_upper_left
    assert far_lower_right > land > near_lower_right
    assert far_upper_left - near_upper_left > 60


def test_uncut_wood_shows_its_grain_and_no_shading():
    """Every dot is the wood's own colour under the same light: one gain and one sheen for the whole face, to a tone."""
    shown = picture(disc(uncut, material="walnut"), 400)
    place = ((np.arange(400) - 199.5) * shown.mm_per_dot)[120:280].astype(np.float32)
    x, y = np.meshgrid(place, -place)
    own = grain(WOODS["walnut"], tree_of(Face(radius=30.0, thickness=6.0)), (x, y, 0 * x), shown.mm_per_dot)
    seen = linear(shown.dots[120:280, 120:280].astype(np.float64))
    assert shown.dots[120:280, 120:280].astype(float).std(axis=(0, 1)).min() > 2
    for channel in range(3):
        terms = np.stack([own[..., channel].ravel(), np.ones(own[..., channel].size)], axis=-1)
        gain = np.linalg.lstsq(terms, seen[..., channel].ravel(), rcond=None)[0]
        assert np.abs(terms @ gain - seen[..., channel].ravel()).max() < 0.003
    level = np.zeros((8, 8), dtype=np.float32)
    found = light(Field(level, level, level, 0.1))
    assert found.lamp == pytest.approx(1.0, abs=1e-6)
    assert found.ambient == pytest.approx(1.0, abs=1e-6)


def test_the_length_of_a_shadow_is_its_height_divided_by_the_slope_of_the_light():
    """Plane geometry: a shadow ends between the heights over the tangents of the lamp's highest and lowest parts."""
    height, spacing = 2.0, 0.05
    wall = np.zeros((400, 400), dtype=np.float32)
    wall[:100] = height
    level = np.zeros_like(wall)
    lamp = light(Field(wall, level, level, spacing)).lamp[100:, 200]
    off = (np.arange(lamp.size) + 0.5) * spacing
    across = [each.out / each.up for each in LAMP]
    assert lamp[off < height / max(across) - 0.1].max() < 0.01
    assert lamp[(off > height / min(across) + 0.1) & (off < 10)].min() > 0.99


def test_the_edge_of_a_disc_is_at_its_position_in_millimetres():
    shown = picture(disc(uncut, material="blackwood"), 600)
    rows, columns, _ = shown.dots.shape
    for line in (shown.dots[rows // 2], shown.dots[:, columns // 2]):
        dark = np.flatnonzero(line.astype(float).mean(axis=1) < 110)
        assert dark[-1] - dark[0] + 1 == pytest.approx(60.0 / shown.mm_per_dot, abs=1.0)
        assert (dark[-1] + dark[0]) / 2 == pytest.approx((rows - 1) / 2, abs=0.5)


VEE = Vee(angle_deg=90.0, width=3.0)


def test_the_scale_bar_has_its_stated_length():
    shown = picture(disc(uncut), 600)
    foot = shown.dots[-30:, :300].astype(int).sum(axis=2)
    longest = (foot < 600).sum(axis=1).argmax()
    inked = np.flatnonzero(foot[longest] < 600)
    bar = np.split(inked, np.flatnonzero(np.diff(inked) > 1) + 1)[0]
    assert (bar[-1] - bar[0] + 1) * shown.mm_per_dot == pytest.approx(shown.bar, abs=shown.mm_per_dot)
    assert f"{shown.bar:g} mm" in shown.description


@pytest.mark.parametrize(("size", "bar", "label"), [(66.0, 12.7, "1/2 in"), (150.0, 25.4, "1 in"), (30.0, 3.175, "1/8 in")])
def test_an_inch_job_has_an_inch_bar(size, bar, label):
    """A fifth of the work at the most: 1, 2 or 5 inches, or a half, a quarter, an eighth, a sixteenth."""
    job = Job(lathe=read_lathe("plain-bench"), piece=Disc(diameter=size, thickness=6.0), cutter=VEE, passes=[Pass()])
    shown = picture(replace(job, units="inch").carve(1.0), 400)
    assert shown.bar == bar
    assert shown.description.endswith(f"; the bar is {label}")


@pytest.mark.parametrize("bar", [bar_of(mm) for mm in (2.5, 5.0, 10.0, 50.0, 100.0, 250.0)])
def test_the_length_of_the_bar_is_written_beside_it(bar):
    """One stretch of ink for each figure, and two for mm."""
    sheet = np.ones((900, 1800, 3), dtype=np.float32)
    draw_bar(sheet, 100, 880, bar, bar.mm / 200)
    inked = np.flatnonzero(sheet[:, 300 + 11 :].min(axis=(0, 2)) < 0.9)
    groups = np.split(inked, np.flatnonzero(np.diff(inked) > 1) + 1)
    assert len(groups) == len(bar.label.partition(" ")[0]) + 2
    assert (sheet[:850] == 1).all()


@pytest.mark.parametrize("resolution", [0.05, 0.35])
def test_a_finer_or_coarser_grid_shows_the_same_work(resolution):
    def waves(x, y):
        return 0.3 + 0.3 * np.cos(2 * np.pi * np.hypot(x, y) / 6)

    shown, other = (picture(disc(waves, each), 300).dots.astype(float) for each in (0.15, resolution))
    inside = slice(60, 240)
    assert np.abs(shown - other)[inside, inside].mean() < 2.5


def test_a_dot_averages_the_light_of_ridges_finer_than_itself():
    """Means are taken of light, not of heights: the mean height of a ripple is flat, its light is not."""

    def ripple(x, y):
        return 0.1 + 0.1 * np.cos(2 * np.pi * (x - y) / np.sqrt(2) / 0.45)

    fine, flat = picture(disc(ripple, 0.05), 240), picture(disc(lambda x, y: 0.1 + 0 * x, 0.05), 240)
    assert fine.mm_per_dot > 0.25
    assert tone(fine, 0.0, 0.0, 8.0) < tone(flat, 0.0, 0.0, 8.0) - 8


def test_the_background_is_visible_through_a_hole():
    shown = picture(disc(lambda x, y: np.where(np.hypot(x, y) < 8, 7.0, 0.0), material="blackwood"), 400)
    assert tone(shown, 0.0, 0.0, 3.0) > tone(shown, 15.0, 0.0, 3.0) + 20


def test_a_groove_that_runs_off_the_edge_leaves_no_lip_there():
    wide = picture(disc(lambda x, y: np.maximum(0.0, 0.8 - np.abs(y)), material="holly"), 900)
    plain = picture(disc(uncut, material="holly"), 900)
    row = 449
    inner = slice(round(449.5 + 27.0 / wide.mm_per_dot), round(449.5 + 29.4 / wide.mm_per_dot))
    there, further_in = wide.dots[row, inner].astype(float), wide.dots[row, 600:700].astype(float)
    assert np.abs(there.mean(axis=0) - further_in.mean(axis=0)).max() < 14
    assert there.mean() < plain.dots[row, inner].mean()


def test_a_barrel_has_the_width_of_its_diameter_and_its_surface_that_of_its_circumference():
    shown = picture(barrel(uncut), 1000)
    rows, _, _ = shown.dots.shape
    dark = shown.dots.astype(float).mean(axis=2) < 110
    strip = np.flatnonzero(dark[round(0.75 * rows)])
    assert (strip[-1] - strip[0] + 1) * shown.mm_per_dot == pytest.approx(math.pi * 40.0, abs=2 * shown.mm_per_dot)
    views = np.flatnonzero(dark[round(0.3 * rows)])
    gap = np.diff(views).argmax()
    for view in (views[: gap + 1], views[gap + 1 :]):
        assert (view[-1] - view[0] + 1) * shown.mm_per_dot == pytest.approx(40.0, abs=2 * shown.mm_per_dot)


def test_each_view_is_above_the_half_of_the_surface_that_it_shows():
    """A broad dark groove along the barrel at 90 degrees is in the middle of the left view, and of the left half."""

    def groove(along, angle):
        return np.where(np.abs(angle - math.pi / 2) < 0.12, 1.5, 0.0)

    cut, plain = picture(barrel(groove, material="holly"), 800), picture(barrel(uncut, material="holly"), 800)
    changed = np.abs(cut.dots.astype(float) - plain.dots.astype(float)).sum(axis=2) > 60
    rows, columns, _ = cut.dots.shape
    for part in (changed[: rows // 2], changed[rows // 2 :]):
        assert np.nonzero(part)[1].size > 20
        assert np.nonzero(part)[1].mean() * cut.mm_per_dot == pytest.approx(
            (columns - 1) / 2 * cut.mm_per_dot - math.pi * 10, abs=2.0
        )


def test_a_long_piece_is_shown_on_both_sides_of_its_surface():
    wide, long = picture(barrel(uncut, 0.5), 400), picture(barrel(uncut, 0.5, length=160.0), 400)
    assert max(wide.dots.shape) == max(long.dots.shape) == 400
    assert long.mm_per_dot < (160 * math.cos(math.radians(14)) + 160) / 400 * 1.2


def test_hollow_work_shows_its_inside():
    solid, hollow = picture(barrel(uncut, bore=0.0, material="holly"), 500), picture(barrel(uncut, material="holly"), 500)
    rows = solid.dots.shape[0]
    lost = solid.dots[: rows // 2].astype(float) - hollow.dots[: rows // 2].astype(float)
    assert lost.mean(axis=2).max() > 40


def test_woods_are_recognised_by_the_words_of_the_material():
    assert wood_of("Castle boxwood, air dried") is WOODS["boxwood"]
    assert wood_of("LIGNUM  vitae".replace("  ", " ")) is WOODS["lignum vitae"]
    assert wood_of("something") is PLAIN
    assert wood_of("purpleheart") is WOODS["purpleheart"]
    dark, pale = (picture(disc(uncut, material=each), 200).dots[80:120, 80:120].mean() for each in ("blackwood", "holly"))
    assert dark < 80 < 200 < pale


def test_grain_depends_only_on_the_position():
    tree = tree_of(Face(radius=30.0, thickness=5.0))
    x, y = (part.astype(np.float32) for part in np.meshgrid(np.linspace(-20, 20, 150), np.linspace(-20, 20, 140)))
    whole = grain(WOODS["walnut"], tree, (x, y, 0 * x), 0.1)
    row = grain(WOODS["walnut"], tree, (x[77], y[77], 0 * x[77]), 0.1)
    assert np.array_equal(whole[77], row)
    assert whole.min() > 0


def test_the_sheet_is_warm_off_white():
    corner = picture(disc(uncut), 300).dots[:12, :12].astype(float).mean(axis=(0, 1))
    assert corner == pytest.approx(SHEET, abs=8)
    assert linear(np.array([255.0])) == pytest.approx(1.0)


@pytest.mark.parametrize("dots", [0, 199, 3001, 800.0, True, "many"])
def test_an_invalid_picture_size_is_refused_in_one_line(dots):
    with pytest.raises(SettingError, match=r"dots=.*200 to 3000") as caught:
        picture(disc(uncut, 0.5), dots)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("material", ["brass", "silver", "water buffalo horn"])
def test_an_unknown_material_is_reported_with_the_known_woods(material):
    (finding,) = material_findings(Disc(diameter=60.0, thickness=5.0, material=material))
    assert str(finding).startswith(
        f"note (picture): piece: material '{material}' is not a known wood: drawn as pale wood; known woods: ash, "
    )
    assert all(name in finding.message for name in WOODS)


@pytest.mark.parametrize("material", ["", "African blackwood", "LIGNUMVITAE"])
def test_a_known_wood_or_no_material_gives_no_note(material):
    assert material_findings(Disc(diameter=60.0, thickness=5.0, material=material)) == []


def test_check_notes_an_unknown_material_unless_nothing_is_carved():
    brass = Disc(diameter=60.0, thickness=5.0, material="brass")
    job = Job(lathe=read_lathe("plain-bench"), piece=brass, cutter=VEE, passes=[Pass(at=At(x=20.0, depth=0.5))])
    assert [finding.kind for finding in job.check() if "brass" in finding.message] == ["picture"]
    assert [finding for finding in replace(job, cutter=Pen()).check() if "brass" in finding.message] == []
