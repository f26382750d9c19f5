"""The PNG, read by Pillow."""

from __future__ import annotations

import io
import sys

import pytest
from PIL import Image

from lobework.errors import InputError, TooLargeError
from lobework.parts.piece import Disc
from lobework.render.drawing import draw
from lobework.targets.png import render


@pytest.fixture(scope="module")
def sheet(lid, piece, cutter):
    return draw("Tide box, lid", piece, cutter, lid)


def test_ten_dots_are_one_millimetre_and_the_file_states_it(sheet):
    picture = Image.open(io.BytesIO(render(sheet)))
    picture.load()
    assert picture.size == (round(10 * sheet.width), round(10 * sheet.height))
    assert picture.info["dpi"] == pytest.approx((254, 254))


def test_the_resolution_can_be_set(sheet):
    picture = Image.open(io.BytesIO(render(sheet, dpi=127)))
    assert picture.size == (round(5 * sheet.width), round(5 * sheet.height))
    assert picture.info["dpi"] == pytest.approx((127, 127))


def test_the_background_is_white_and_the_outline_is_at_its_position(sheet):
    picture = Image.open(io.BytesIO(render(sheet))).convert("L")
    right, middle = round(10 * (35 - sheet.left)), round(10 * sheet.top)
    assert picture.getpixel((0, 0)) == 255
    assert min(picture.getpixel((right + k, middle)) for k in (-1, 0, 1)) < 200
    assert picture.getpixel((right - 15, middle)) == picture.getpixel((right + 15, middle)) == 255


def test_without_the_renderer_the_error_names_the_package_to_install(sheet, monkeypatch):
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    with pytest.raises(InputError, match=r"pip install 'lobework\[png\]'") as caught:
        render(sheet)
    assert "\n" not in str(caught.value)


def test_a_picture_too_large_is_refused_with_its_size(lid, cutter):
    with pytest.raises(TooLargeError, match=r"\d+ x \d+ dots"):
        render(draw("Floor", Disc(diameter=2000.0, thickness=8.0), cutter, lid))
