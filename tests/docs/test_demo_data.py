"""What the pages, examples and docstrings show is invented for this project, and says so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lobework.jobs.jobfile import starter

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted([*ROOT.glob("docs/examples/*.*"), *ROOT.glob("plugins/*/examples/*.toml")])
_READ = (".md", ".py", ".toml", ".txt")
FOLDERS = [ROOT / "docs", ROOT / "src", ROOT / "benchmarks", *ROOT.glob("plugins/*/")]
_FOUND = [ROOT / "README.md", *sorted(path for folder in FOLDERS for path in folder.rglob("*") if path.suffix in _READ)]
SHOWN = [path for path in _FOUND if "tests" not in path.relative_to(ROOT).parts]
"""Every file that a person reads to learn from; tests are left out."""

COMMON_PRACTICE = re.compile(
    r"\b38\.1\b|\b38\.146\b|\b0\.275\b|\b1/32 lobe|\b1/30 lobe|"
    r"lobes ?= ?4\b[^\n]*ratio ?= ?\"(?:75 %|150 %|50 %|25 %|3/4|3/2|1/2|1/4)\"|"
    r"lobes ?= ?1\b[^\n]*ratio ?= ?\"?(?:400 %|4\b)|"
    r"twist \"90 deg\" --over \"2 in\""
)
"""Common practice, no source: the trade's own numbers are check values of the tests and stand nowhere else."""


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_the_header_of_an_example_states_that_the_piece_is_invented(path):
    head = " ".join(path.read_text(encoding="utf-8").splitlines()[:8])
    assert re.search(r"(?:is|are) invented for this project", head)


def test_the_first_pages_and_the_starter_state_that_the_tide_box_is_invented():
    pages = [(ROOT / page).read_text(encoding="utf-8") for page in ("README.md", "docs/guide.md")]
    for text in (*pages, starter()):
        assert " ".join(text.split()).count("tide box is invented for this project") == 1


def test_only_tests_contain_numbers_of_common_practice():
    assert [str(path) for path in SHOWN if COMMON_PRACTICE.search(path.read_text(encoding="utf-8"))] == []
    assert len(SHOWN) > 200


@pytest.mark.parametrize(
    "text",
    [
        "set it to 38.1 degrees",
        'number("0.275")',
        'Wave(lobes=4, base_radius=60, rise=5), ratio="75 %"',
        'helix --diameter "2 in" --twist "90 deg" --over "2 in"',
        "Scallop(lobes=1, base_radius=60, rise=5), ratio=4",
    ],
)
def test_the_search_for_numbers_of_common_practice_finds_them(text):
    assert COMMON_PRACTICE.search(text)
