"""The page that turns the work, read by an HTML parser of its own; a browser draws it in .ci/check-page."""

from __future__ import annotations

import base64
import io
import itertools
import json
import math
import re
import sys

import html5lib
import numpy as np
import pytest
from PIL import Image

from lobework.carve.carving import Carving
from lobework.errors import InputError
from lobework.render.relief.wood import lattice
from lobework.targets.page import HEIGHTS, MOST_TEXELS, STILL_DOTS
from lobework.targets.page import render as whole_page
from tests.carved import barrel, carved, disc, ring, turned, uncut

HOLLOW = ((0.0, 14.0), (-25.0, 22.0), (-45.0, 8.0))


def render(carving):
    """Return the page with a small still picture."""
    return whole_page(carving, dots=200)


def slope(x, y):
    """Return depths that are a plane, so that what lies between rays is known exactly."""
    return 0.6 + 0.010 * x - 0.004 * y


def parsed(page):
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page.decode("utf-8"))


def told(page):
    """Return what the page's script is told."""
    return json.loads(parsed(page).find(".//script[@id='work']").text)


def mesh_of(work):
    """Return depths of the mesh, mm, as the script reads them: little-endian whole numbers of the deepest over 65535."""
    packed = np.frombuffer(base64.b64decode(work["heights"]), dtype="<u2")
    return packed.reshape(work["rows"], work["columns"]) / HEIGHTS * work["deepest"]


@pytest.fixture(scope="module")
def page():
    return render(disc(slope))


@pytest.mark.parametrize(
    "carving",
    [disc(ring(20.0, 0.5), 0.3), barrel(uncut, 0.5), turned(uncut, 0.5), turned(uncut, 0.5, HOLLOW)],
    ids=["disc", "barrel", "turned", "hollow"],
)
def test_every_form_gives_a_well_formed_page_without_network_requests(carving):
    page = render(carving)
    tree = parsed(page)
    for each in tree.iter():
        for name, value in each.attrib.items():
            assert name not in ("src", "href", "srcset", "action", "data") or value.startswith("data:image/png;base64,")
    assert not tree.findall(".//link") + tree.findall(".//iframe") + tree.findall(".//object")
    text = re.sub(r"[A-Za-z0-9+/=]{200,}", "", page.decode("utf-8"))
    assert not re.search(r"https?:|//\w+\.\w|@import|url\(|\bfetch\b|XMLHttpRequest|WebSocket|\bimport\b", text)


def test_depths_of_the_mesh_are_those_of_the_work_to_half_a_step(page):
    work = told(page)
    found, radius = mesh_of(work), np.array(work["profile"])[:, 0]
    turn = np.arange(work["columns"]) * 2 * math.pi / work["columns"]
    x, y = radius[:, None] * np.cos(turn), radius[:, None] * np.sin(turn)
    inside = radius < 30.0 - 0.3
    assert found[inside] == pytest.approx(slope(x, y)[inside], abs=work["deepest"] / HEIGHTS / 2 + 1e-6)


def test_depths_of_a_round_mesh_are_those_of_the_work_to_half_a_step():
    work = told(render(barrel(lambda along, angle: 0.2 + 0.01 * along)))
    along = np.linspace(0.0, 50.0, work["rows"])[:, None]
    half = work["deepest"] / HEIGHTS / 2 + 1e-6
    assert mesh_of(work) == pytest.approx(0.2 + 0.01 * along + np.zeros(work["columns"]), abs=half)


def test_the_picture_of_slopes_has_the_normal_and_the_depth_of_every_ray(page):
    work = told(page)
    dots = np.asarray(Image.open(io.BytesIO(base64.b64decode(work["detail"]))).convert("RGB")).astype(float)
    assert dots.shape == (601, 601, 3)
    upright = 1 / math.sqrt(1 + 0.010**2 + 0.004**2)
    middle = dots[200:400, 200:400]
    assert middle[..., 0] == pytest.approx(128 + 127 * 0.010 * upright, abs=0.51)
    assert middle[..., 1] == pytest.approx(128 - 127 * 0.004 * upright, abs=0.51)
    at = (np.arange(200, 400) - 300) * 0.1
    assert middle[..., 2] == pytest.approx(slope(at, at[:, None]) / work["deepest"] * 255, abs=0.51)


def test_a_grid_too_fine_for_a_browser_is_averaged():
    work = told(render(disc(slope, 60 / 2500)))
    picture = Image.open(io.BytesIO(base64.b64decode(work["detail"])))
    assert picture.size == (MOST_TEXELS, MOST_TEXELS)
    assert np.asarray(picture)[900:1100, 900:1100, 0] == pytest.approx(129.27, abs=0.8)


@pytest.mark.parametrize(
    "carving",
    [disc(uncut), barrel(uncut), barrel(uncut, bore=0.0), turned(uncut), turned(uncut, 0.2, HOLLOW)],
    ids=["disc", "bored barrel", "solid barrel", "solid turned", "hollow turned"],
)
def test_the_revolved_lines_form_a_closed_body(carving):
    """Each carved or plain line begins where another ends, or on the axis; so the body that they sweep is closed.

    Its volume by Pappus is that of the piece (closed forms for disc and barrel).
    """
    work = told(render(carving))
    lines = [np.array(work["profile"])[:, :2], *(np.array(each["line"]) for each in work["plain"])]
    starts, finishes = ([tuple(line[k].round(3)) for line in lines if line[k, 0] > 1e-3] for k in (0, -1))
    assert sorted(starts) == sorted(finishes)
    volume = -sum(
        math.pi / 3 * (a[0] ** 2 + a[0] * b[0] + b[0] ** 2) * (b[1] - a[1]) for line in lines for a, b in itertools.pairwise(line)
    )
    if carving.piece.form == "disc":
        assert volume == pytest.approx(math.pi * 30**2 * 6, rel=1e-9)
    elif carving.piece.form == "barrel":
        assert volume == pytest.approx(math.pi * (20**2 - (carving.piece.bore / 2) ** 2) * 50, rel=1e-9)
    else:
        assert volume > 0


def test_the_page_states_the_size_of_the_work_and_the_removed_material():
    """Pappus: a 90 degree vee 0.8 deep at radius 20 takes 0.64 mm^2 round 2 pi 20 mm."""
    tree = parsed(render(disc(ring(20.0, 0.8))))
    facts = dict(zip((each.text for each in tree.iter("dt")), (each.text for each in tree.iter("dd")), strict=True))
    assert facts["Diameter"] == "60 mm"
    assert facts["Thickness"] == "6 mm"
    assert float(facts["Cut away"].split()[0]) == pytest.approx(0.64 * 2 * math.pi * 20, abs=1.0)
    assert facts["Deepest point"].startswith("0.8 mm, at X ")
    assert facts["Least wood left"] == "5.2 mm"
    assert tree.find(".//h1").text == "Tide box"
    assert tree.find(".//p[@class='what']").text == "Disc in boxwood"


def test_the_page_states_that_the_work_is_cut_through():
    text = render(disc(lambda x, y: np.where(np.hypot(x, y) < 5, 7.0, 0.0), 0.3)).decode()
    assert "none: the work is cut through" in text


def test_the_page_of_uncut_work_states_that_nothing_is_cut():
    assert "<dt>Cut away</dt><dd>nothing</dd>" in render(disc(uncut, 0.5)).decode()


def test_the_page_is_accessible_without_sight_or_mouse(page):
    """Source: W3C, Web Content Accessibility Guidelines 2.2: 1.1.1, 2.1.1, 2.4.2, 3.1.1, 4.1.2."""
    tree = parsed(page)
    assert tree.get("lang") == "en"
    assert tree.find(".//title").text == "Tide box"
    assert all(each.get("alt") for each in tree.iter("img"))
    labelled = {each.get("for") for each in tree.iter("label")} | {
        each.get("id") for label in tree.iter("label") for each in label.iter("input")
    }
    assert {each.get("id") for each in tree.iter("input")} <= labelled
    assert all((each.text or "").strip() for each in tree.iter("button"))
    canvas = tree.find(".//canvas")
    assert canvas.get("tabindex") == "0"
    assert canvas.get("aria-label")
    assert len(tree.findall(".//h1")) == 1
    assert "prefers-reduced-motion" in page.decode()


def luminance(colour):
    """Return a colour's relative luminance. Source: WCAG 2.2, "relative luminance"."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize(("name", "least"), [("ink", 7.0), ("quiet", 4.5), ("mark", 4.5), ("edge", 3.0)])
def test_text_has_the_contrast_that_wcag_requires(page, name, least):
    """Source: WCAG 2.2, 1.4.3 (4.5 to 1), 1.4.6 (7 to 1) and 1.4.11 (3 to 1)."""
    tones = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", page.decode()))
    low, high = sorted(luminance(tones[each]) for each in (name, "paper"))
    assert (high + 0.05) / (low + 0.05) >= least


def test_title_and_material_are_escaped():
    carving = disc(uncut, 0.5, material="</p><script>alert(1)</script>")
    page = render(
        Carving(title='<b>& "Lid"</b></script>', piece=carving.piece, stock=carving.stock, depth=carving.depth, sweeps=())
    )
    tree = parsed(page)
    assert tree.find(".//h1").text == '<b>& "Lid"</b></script>'
    assert len(tree.findall(".//script")) == 2


def test_the_still_picture_is_in_the_page():
    page = whole_page(disc(uncut, 0.5))
    still = parsed(page).find(".//img[@id='still']").get("src")
    picture = Image.open(io.BytesIO(base64.b64decode(still.partition(",")[2])))
    assert picture.size == (STILL_DOTS, STILL_DOTS)


def test_the_same_work_gives_the_same_bytes(page):
    assert render(disc(slope)) == page


def test_without_the_encoder_the_error_names_the_package_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "PIL", None)
    with pytest.raises(InputError, match=r"pip install 'lobework\[picture\]'") as caught:
        render(disc(uncut, 0.5))
    assert "\n" not in str(caught.value)


def test_an_unknown_material_is_shown_as_pale_wood():
    assert told(render(carved(disc(uncut, 0.5, material="").piece, uncut, 0.5)))["wood"]["early"][0] > 0.5


def test_the_grain_in_the_browser_is_made_of_the_random_numbers_of_the_still_picture(page):
    """They are sent, a byte each, as the sheet that the shader looks them up in; the script mixes no bits of its own."""
    sheet = np.frombuffer(base64.b64decode(told(page)["wood"]["sheet"]), dtype=np.uint8)
    assert sheet / 127.5 - 1 == pytest.approx(lattice(1), abs=0.5 / 127.5 + 1e-6)
    script = page.decode().rpartition("<script>")[2]
    assert "texelFetch(sheet" in script
    assert not re.search(r"\d{8}u|>>|\buint\b", script)
