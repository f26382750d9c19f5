"""The relief as a file, read by Pillow."""

from __future__ import annotations

import io
import sys

import pytest
from PIL import Image

from lobework.errors import InputError
from lobework.render.relief import DOTS, picture
from lobework.targets.relief import TARGET, render
from tests.carved import barrel, disc, ring, uncut


@pytest.mark.parametrize("carving", [disc(ring(20.0, 0.5), 0.3), barrel(uncut, 0.5)], ids=["disc", "barrel"])
def test_the_file_is_the_picture_in_true_size(carving):
    read = Image.open(io.BytesIO(render(carving, 400)))
    read.load()
    shown = picture(carving, 400)
    assert (read.format, read.mode, read.size) == ("PNG", "RGB", (shown.dots.shape[1], shown.dots.shape[0]))
    assert read.tobytes() == shown.dots.tobytes()
    assert read.info["dpi"] == pytest.approx((25.4 / shown.mm_per_dot,) * 2, rel=1e-3)
    assert read.info["Title"] == "Tide box"
    assert read.info["Description"] == shown.description


def test_a_disc_60_mm_across_prints_60_mm_across():
    """PNG states dots a metre in whole numbers (W3C PNG specification, 2nd ed., 11.3.5.3)."""
    read = Image.open(io.BytesIO(render(disc(uncut, 0.3, material="blackwood"), 500))).convert("L")
    row = [read.getpixel((column, 250)) < 110 for column in range(500)]
    assert sum(row) / read.info["dpi"][0] * 25.4 == pytest.approx(60.0, abs=0.25)


def test_the_same_work_gives_the_same_bytes():
    assert render(disc(ring(12.0, 0.5), 0.3), 200) == render(disc(ring(12.0, 0.5), 0.3), 200)


def test_the_default_size_is_the_documented_size():
    assert Image.open(io.BytesIO(TARGET.render(disc(uncut, 0.5)))).size == (DOTS, DOTS)


def test_without_the_encoder_the_error_names_the_package_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "PIL", None)
    with pytest.raises(InputError, match=r"pip install 'lobework\[picture\]'") as caught:
        render(disc(uncut, 0.5), 200)
    assert "\n" not in str(caught.value)
