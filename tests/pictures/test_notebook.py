"""What a notebook shows of each result, as IPython's own formatter asks for it."""

from __future__ import annotations

import base64
import io

import html5lib
import pytest
from IPython.core.formatters import DisplayFormatter
from PIL import Image

from lobework.plugins import registry
from lobework.targets import relief


def displayed(result):
    data, _ = DisplayFormatter().format(result)
    return data


def test_a_drawing_and_traces_are_displayed_as_the_drawing(job, results):
    expected = registry.installed().target("svg").render(results["drawing"]).decode()
    assert displayed(results["drawing"])["image/svg+xml"] == expected
    assert displayed(job.trace())["image/svg+xml"] == expected
    assert len(displayed(job.trace()[:1])["image/svg+xml"]) < len(expected)


def test_a_carving_is_displayed_as_its_picture(results, monkeypatch):
    picture = displayed(results["carving"])["image/png"]
    data = picture if isinstance(picture, bytes) else base64.b64decode(picture)
    assert Image.open(io.BytesIO(data)).size == (800, 800)
    monkeypatch.setattr(relief, "has_encoder", lambda: False)
    assert set(displayed(results["carving"])) == {"text/plain"}


@pytest.mark.parametrize("name", ["settings", "program", "proof"])
def test_tables_and_lists_are_displayed_as_html(results, name):
    data = displayed(results[name])
    fragment = html5lib.HTMLParser(strict=True).parseFragment(data["text/html"])
    text = "".join(fragment.itertext())
    first = {"settings": "Tide box & lid", "program": "(job: Tide box & lid)", "proof": str(results["proof"]).splitlines()[0]}[
        name
    ]
    assert first in text


def test_a_long_program_is_displayed_by_its_first_lines(results):
    lines = registry.installed().target("rs274").render(results["program"]).decode().splitlines()
    text = displayed(results["program"])["text/html"]
    assert text.count("\n") == 40
    assert f"... and {len(lines) - 40:,} more lines" in text


@pytest.mark.parametrize("name", ["drawing", "carving", "settings", "program", "proof"])
def test_the_plain_text_is_the_repr_in_one_line(results, name):
    text = displayed(results[name])["text/plain"]
    assert text == repr(results[name])
    assert "\n" not in text
