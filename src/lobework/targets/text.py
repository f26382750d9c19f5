"""Plain text: the settings sheet, with tick boxes for use at the lathe."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

from lobework.lathe.hand_settings import wrapped
from lobework.sheets.settings import SET_BY
from lobework.targets.target import Target
from lobework.text.cautions import CAUTIONS
from lobework.text.printable import one_line

if TYPE_CHECKING:
    from lobework.sheets.settings import Group, Settings, Steps

__all__ = ["TARGET", "WIDTH", "render", "render_groups"]

WIDTH: Final = 100
"""Greatest number of columns."""

_NAMES: Final = 22
_GAP: Final = "   "
_TICK: Final = "[ ]"


def _heading(text: str, rule: str) -> Iterator[str]:
    lines = wrapped(text, WIDTH, subsequent_indent="  ") or ["untitled"]
    yield from lines
    yield rule * max(len(line) for line in lines)


def _group(group: Group, before: str = f"{_TICK} ") -> Iterator[str]:
    yield ""
    yield from wrapped(group.name, WIDTH, initial_indent=before, subsequent_indent=" " * len(before))
    for entry in group.entries:
        label = f"  {one_line(entry.name)} ".ljust(_NAMES + 2, ".") + " "
        yield from wrapped(entry.value or "-", WIDTH, initial_indent=label, subsequent_indent=" " * len(label))


def _columns_by_line(widths: Sequence[int], room: int) -> list[list[int]]:
    """Return the columns on each line of a row; a line holds as many columns as fit into its width."""
    lines: list[list[int]] = [[]]
    used = 0
    for column, width in enumerate(widths):
        if lines[-1] and used + len(_GAP) + width > room:
            lines.append([])
            used = 0
        used += width + (len(_GAP) if lines[-1] else 0)
        lines[-1].append(column)
    return lines


def _table(steps: Steps) -> Iterator[str]:
    """Yield the table of steps: for each cut, in one or more lines, a tick box, its numbers and the settings that change."""
    heads = [one_line(column.name) for column in steps.columns]
    set_by = [f"({SET_BY[column.by].upper() if column.by == 'hand' else SET_BY[column.by]})" for column in steps.columns]
    cells = [[one_line(value) for value in row.values] for row in steps.rows]
    columns = list(zip(heads, set_by, *cells, strict=True))
    widths = [max(len(cell) for cell in column) for column in columns]
    numbers = max(3, *(len(str(row.number)) for row in steps.rows))
    heading, named = one_line(steps.step_heading), [one_line(row.step_numbers) for row in steps.rows]
    places = max(map(len, [heading, *named]))
    margin = len(_TICK) + 2 * len(_GAP) + numbers + (len(_GAP) + places if places else 0)
    packed = _columns_by_line(widths, WIDTH - margin)

    def lines(first: str, cells: Sequence[str]) -> Iterator[str]:
        for number, columns_of_line in enumerate(packed):
            row = _GAP.join(cells[k].ljust(widths[k]) for k in columns_of_line)
            yield ((first if number == 0 else "").ljust(margin) + row).rstrip()

    def lead(tick: str, number: str, place: str) -> str:
        return _GAP.join([tick, number.rjust(numbers), *([place.ljust(places)] if places else []), ""])

    yield from lines(lead("   ", "cut", heading), heads)
    if heads:
        yield from lines(lead("   ", "", ""), set_by)
    outer = ""
    for row, place, values in zip(steps.rows, named, cells, strict=True):
        now = place.rpartition(".")[0]
        if now != outer and outer:
            yield ""
        outer = now
        yield from lines(lead(_TICK, str(row.number), place), values)


def _lines(settings: Settings) -> Iterator[str]:
    yield from _heading(settings.title, "=")
    yield ""
    yield from _heading("Before you start", "-")
    for caution in CAUTIONS:
        yield from wrapped(caution, WIDTH, initial_indent="- ", subsequent_indent="  ")
    yield ""
    yield ""
    yield from _heading("Set up: tick each group when it is set", "-")
    for group in settings.groups:
        yield from _group(group)
    yield ""
    yield ""
    yield from _heading("Steps, in order: tick each cut when it is done", "-")
    work = "Everything is set by hand." if settings.by_hand else "The program moves the axes; the rest is set by hand."
    yield from wrapped(f"Degrees after a number of lobes are degrees of rotation of that cam. {work}", WIDTH)
    for steps in settings.steps:
        yield ""
        yield from wrapped(steps.name, WIDTH, subsequent_indent="  ")
        yield from _table(steps)


def render_groups(title: str, groups: Sequence[Group]) -> str:
    """Return groups of settings under a heading, without tick boxes, at most `WIDTH` columns wide.

    >>> from lobework.sheets.settings import Entry, Group
    >>> print(render_groups("bench", [Group("headstock", (Entry("sideways", "slides"),))]))
    bench
    =====
    <BLANKLINE>
    headstock
      sideways ............. slides
    """
    return "\n".join([*_heading(title, "="), *(line for group in groups for line in _group(group, before=""))])


def render(settings: Settings) -> bytes:
    """Return the settings as plain text, at most `WIDTH` columns wide.

    Parameters
    ----------
    settings : Settings
        The settings sheet.

    Returns
    -------
    bytes
        UTF-8.

    Examples
    --------
    >>> from lobework.sheets.settings import Settings
    >>> print(render(Settings(title="Lid", groups=(), steps=())).decode().splitlines()[:2])
    ['Lid', '===']
    """
    return ("\n".join(_lines(settings)) + "\n").encode(errors="replace")


TARGET: Final = Target(
    name="text",
    file="settings.txt",
    shows="settings",
    description="every value to set and every cut, with tick boxes",
    render=render,
)
