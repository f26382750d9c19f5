"""The settings as plain text."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from lobework.sheets.settings import Column, CutRow, Settings, Steps, settings
from lobework.targets.text import WIDTH, render


@pytest.fixture(scope="module")
def page(lid, piece, cutter):
    cuts = [each.cut for each in lid]
    return render(settings("Tide box, lid", cuts[0].lathe, piece, cutter, cuts)).decode()


def steps_of(page):
    return [line for line in page.partition("Steps, in order")[2].splitlines() if line.startswith("[ ]")]


def test_every_cut_has_a_box_to_tick_in_order(page, lid):
    assert [int(line.split()[2]) for line in steps_of(page)] == [each.cut.number for each in lid]


def test_every_part_of_the_set_up_has_a_box_to_tick(page):
    boxes = [line[4:] for line in page.partition("Steps, in order")[0].splitlines() if line.startswith("[ ] ")]
    assert {"work", "cutter", "headstock", "chuck 2 from the spindle: upper", "cam 1"} <= set(boxes)


def test_no_line_is_wider_than_the_page(page):
    assert max(len(line) for line in page.splitlines()) <= WIDTH


def test_values_are_aligned_under_their_names(page):
    lines = page.splitlines()
    at = next(number for number, line in enumerate(lines) if "cam 1 phase" in line)
    where = lines[at].index("cam 1 phase")
    assert lines[at + 2][where:].strip() == "0 deg"
    assert lines[at + 3][where:].strip() == "5/32 lobe = 14.0625 deg"
    assert lines[at + 4][where:].strip() == "5/16 lobe = 28.125 deg"


def test_columns_show_what_is_set_by_hand_and_what_by_the_program(page):
    lines = page.splitlines()
    at = next(number for number, line in enumerate(lines) if "cam 1 phase" in line)
    done_by = dict(zip(re.split(r"\s{3,}", lines[at].strip())[2:], re.findall(r"\((.*?)\)", lines[at + 1]), strict=True))
    assert done_by == {"upper index": "BY HAND", "lower shift": "BY HAND", "x": "by program", "cam 1 phase": "by program"}


def test_the_cautions_precede_the_settings(page):
    """Content of the cautions: common practice, no source."""
    opening = page[page.index("Before you start") : page.index("Set up")]
    for word in (
        "eye protection",
        "breathing",
        "guard",
        "loose",
        "in air first",
        "Stop the machine",
        "maker",
        "local codes",
        "licensed",
    ):
        assert word in opening


def test_a_row_too_wide_for_the_page_is_continued_below():
    columns = tuple(Column(f"setting number {k}", "hand") for k in range(12))
    rows = (CutRow(1, "1.1", tuple(f"value {k}" for k in range(12))), CutRow(2, "1.2", tuple(f"other {k}" for k in range(12))))
    page = render(Settings(title="Wide", groups=(), steps=(Steps("pass 1", "ring", columns, rows),))).decode()
    assert max(len(line) for line in page.splitlines()) <= WIDTH
    for k in range(12):
        header = next(line for line in page.splitlines() if f"setting number {k} " in f"{line} ")
        row = next(line for line in page.splitlines() if f"value {k} " in f"{line} ")
        assert row.index(f"value {k}") == header.index(f"setting number {k}")


@pytest.mark.parametrize("title", ["", "  ", "x" * 300, "two\nlines", "\N{SNOWMAN}"])
def test_any_title_fits(page, lid, piece, cutter, title):
    cuts = [lid[0].cut]
    page = render(replace(settings("", cuts[0].lathe, piece, cutter, cuts), title=title)).decode()
    assert max(len(line) for line in page.splitlines()) <= WIDTH
