"""The pictures of the reference: one for every cam and chuck, true to scale, and at home on any page."""

from __future__ import annotations

import re
import runpy
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar
from xml.etree import ElementTree as ET

import numpy as np
import pytest

import lobework as lw
from lobework.geometry.rigid import Rigid
from lobework.plugins.registry import installed

PARTS = runpy.run_path(str(Path(__file__).parents[2] / "docs" / "pictures" / "parts.py"))
SHOWN = PARTS["PictureSettings"]
SVG = "{http://www.w3.org/2000/svg}"
SAMPLES = {(each.kind, each.name): each.part for each in installed().samples("built-in")}
NAMES = [(kind, name) for kind in ("cam", "chuck") for name in installed().kinds(kind)]


def drawn(svg):
    """Return the pictures that a text holds."""
    return list(ET.fromstring(f"<all>{svg}</all>"))


def lines(picture, kind="line"):
    """Return the lines of one kind, each (n, 2) mm, Y up."""
    paths = [path.get("d") for path in picture.iter(f"{SVG}path") if kind in path.get("class").split()]
    return [np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", path), dtype=float) * [1, -1] for path in paths]


@pytest.mark.parametrize(("kind", "name"), NAMES)
def test_every_cam_and_chuck_is_drawn_within_its_sheet_with_a_scale(kind, name):
    for picture in drawn(PARTS["picture"](kind, name, SAMPLES.get((kind, name)))):
        left, top, width, height = map(float, picture.get("viewBox").split())
        points = np.concatenate(lines(picture)) * [1, -1]
        assert (points > [left, top]).all()
        assert (points < [left + width, top + height]).all()
        bar = next(path.get("d") for path in picture.iter(f"{SVG}path") if re.search(r"h\d+M", path.get("d")))
        (words,) = (text.text for text in picture.iter(f"{SVG}text"))
        assert words == f"{re.search(r'h([0-9]+)', bar)[1]} mm"
        assert f"{kind} {name}: " in picture.get("aria-label")


@pytest.mark.parametrize(("kind", "name"), NAMES)
def test_a_picture_takes_its_colours_from_the_page(kind, name):
    svg = PARTS["picture"](kind, name, SAMPLES.get((kind, name)))
    assert not re.search(r"#[0-9a-f]{3,6}\b|(?:fill|stroke|color|style)=", svg)


@pytest.mark.parametrize("name", installed().kinds("cam"))
def test_a_cam_is_drawn_in_true_size_and_the_roller_touches_it(name):
    cam = PARTS["CAMS"].get(name) or SAMPLES["cam", name]
    (picture,) = drawn(PARTS["picture"]("cam", name, cam))
    (outline,) = lines(picture)
    radius = np.hypot(*outline.T)
    assert radius.max() == pytest.approx(cam.base_radius + float(cam.rise_at(np.zeros(1))[0]), abs=1e-3)
    assert radius.min() == pytest.approx(cam.base_radius, abs=2e-2)
    roller = next(circle for circle in picture.iter(f"{SVG}circle") if circle.get("class") == "accent")
    middle, size = float(roller.get("cx")), float(roller.get("r"))
    assert np.hypot(*(outline - [middle, 0.0]).T).min() == pytest.approx(size, abs=2e-2)


def test_a_face_cam_is_drawn_rolled_out():
    (picture,) = drawn(PARTS["cam"](lw.Wave(lobes=6, base_radius=30.0, rise=4.0, on="face")))
    (top,) = lines(picture)
    assert np.ptp(top[:, 0]) == pytest.approx(np.pi * 30.0, rel=1e-3)
    assert np.ptp(top[:, 1]) == pytest.approx(4.0, abs=1e-2)


def test_a_circle_on_the_oval_chuck_is_drawn_as_an_ellipse():
    """A. Cayley, Proc. London Math. Soc. 4 (1872), 186-190: half axes that differ by the throw."""
    (picture,) = drawn(PARTS["chuck"](SHOWN(chuck=lw.Oval(throw=9.0), lobes=0, x=26.0)))
    (ellipse,), (circle,) = lines(picture), lines(picture, "dashes")
    assert np.ptp(ellipse, axis=0) / 2 == pytest.approx([17.0, 26.0], abs=1e-2)
    assert np.ptp(circle, axis=0) / 2 == pytest.approx([26.0, 26.0], abs=1e-2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Turning:
    """Turns the work back half as fast as the spindle turns it: it comes back after two turns."""

    kind: ClassVar[str] = "turning"
    is_dynamic: ClassVar[bool] = True
    period_turns: ClassVar[int] = 2

    def motions(self, theta):
        return Rigid.move(x=6.0 * np.cos(theta / 2))


def test_a_plugin_chuck_is_drawn_from_its_sample_over_one_period():
    (picture,) = drawn(PARTS["picture"]("chuck", "turning", Turning()))
    (line,) = lines(picture)
    assert np.hypot(*(line[0] - line[-1])) < 1e-3
    assert np.hypot(*(line - line[0]).T)[1:-1].min() > 1e-3


def test_a_part_without_settings_for_a_picture_is_refused():
    with pytest.raises(LookupError, match=r"chuck 'strange' cannot be drawn: .* give a Sample of it in lobework_samples"):
        PARTS["picture"]("chuck", "strange", None)
