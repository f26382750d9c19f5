"""Settings as HTML, for a notebook and for printing from a browser."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from typing import TYPE_CHECKING, Final

from lobework.sheets.settings import SET_BY
from lobework.text.cautions import CAUTIONS
from lobework.text.printable import one_line

if TYPE_CHECKING:
    from lobework.sheets.settings import Group, Settings, Steps

__all__ = ["settings_body", "settings_page"]

_STYLE: Final = """
body { font: 11pt/1.4 'Palatino Linotype', Palatino, 'TeX Gyre Pagella', Georgia, 'DejaVu Serif', serif; color: #16181c;
  max-width: 60em; margin: 2em auto; padding: 0 1em }
h1 { font-size: 1.6em } h2 { font-size: 1.2em; margin-top: 1.6em } h3 { font-size: 1em; margin: 1.2em 0 .2em }
table { border-collapse: collapse; break-inside: auto } tr { break-inside: avoid }
th, td { text-align: left; vertical-align: top; padding: .15em 1.2em .15em 0; border-bottom: 1px solid #d5d8db }
th { font-weight: normal; color: #4a4f57 } thead th { border-bottom-color: #16181c }
td.box::before { content: ''; display: inline-block; width: .8em; height: .8em; border: 1px solid #16181c }
.hand { color: #8a3324 }
@media print { body { margin: 0; max-width: none } }
"""


def _text(text: str) -> str:
    return escape(one_line(text))


def _group(group: Group) -> Iterator[str]:
    yield f"<h3>{_text(group.name)}</h3><table><tbody>"
    for entry in group.entries:
        yield f'<tr><th scope="row">{_text(entry.name)}</th><td>{_text(entry.value or "-")}</td></tr>'
    yield "</tbody></table>"


def _table(steps: Steps) -> Iterator[str]:
    numbered = bool(steps.step_heading)
    heads = ["done", "cut", *([steps.step_heading] if numbered else []), *(column.name for column in steps.columns)]
    lead = "<td></td>" * (3 if numbered else 2)
    set_by = "".join(f'<td class="{column.by}">{SET_BY[column.by]}</td>' for column in steps.columns)
    yield f"<h3>{_text(steps.name)}</h3><table><thead>"
    named = "".join(f'<th scope="col">{_text(each)}</th>' for each in heads)
    yield f"<tr>{named}</tr><tr>{lead}{set_by}</tr></thead><tbody>"
    for row in steps.rows:
        cells = [str(row.number), *([row.step_numbers] if numbered else []), *row.values]
        values = "".join(f"<td>{_text(cell)}</td>" for cell in cells)
        yield f'<tr><td class="box"></td>{values}</tr>'
    yield "</tbody></table>"


def _lines(settings: Settings) -> Iterator[str]:
    yield f"<h1>{_text(settings.title or 'untitled')}</h1>"
    yield f"<h2>Before you start</h2><ul>{''.join(f'<li>{_text(each)}</li>' for each in CAUTIONS)}</ul>"
    yield "<h2>Set up</h2>"
    for group in settings.groups:
        yield from _group(group)
    yield "<h2>Steps, in order</h2>"
    for steps in settings.steps:
        yield from _table(steps)


def settings_body(settings: Settings) -> str:
    """Return settings as HTML without head and style.

    >>> from lobework.sheets.settings import Settings
    >>> settings_body(Settings(title="Lid & box", groups=(), steps=())).splitlines()[0]
    '<h1>Lid &amp; box</h1>'
    """
    return "\n".join(_lines(settings))


def settings_page(settings: Settings) -> bytes:
    """Return settings as an HTML file that prints on paper."""
    title = _text(settings.title or "untitled")
    head = f'<meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>{title}</title>'
    page = f'<!DOCTYPE html>\n<html lang="en">\n<head>{head}<style>{_STYLE}</style></head>\n<body>\n<main>\n'
    return f"{page}{settings_body(settings)}\n</main>\n</body>\n</html>\n".encode(errors="replace")
