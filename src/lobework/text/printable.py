"""Text that is safe to print: it contains no line breaks and no control sequences for a terminal."""

from __future__ import annotations

__all__ = ["cell", "one_line", "printable"]

_CALCULATED = "=+-@\N{FULLWIDTH EQUALS SIGN}\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH HYPHEN-MINUS}\N{FULLWIDTH COMMERCIAL AT}"
"""Characters with which a spreadsheet formula begins."""
_KEPT = "\u200c\u200d\u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000"
"""Zero-width non-joiner and joiner (Unicode 15, 23.2), and spaces of every width.

None of these characters changes the rest of a line.
"""


def printable(text: str) -> str:
    r"""Return text with each non-printable character replaced by a space.

    Non-printable characters are line ends, control characters (including ESC and the C1 controls), marks that change the
    direction of writing, unpaired surrogates and unassigned characters: all characters that ``str.isprintable`` rejects, except
    spaces and the zero-width joiner and non-joiner.

    >>> printable("rings\n\x1b[2J\u202etxt")
    'rings  [2J txt'
    """
    if text.isprintable():
        return text
    return "".join(each if each.isprintable() or each in _KEPT else " " for each in text)


def one_line(text: str) -> str:
    r"""Return text as one printable line, with one space between words.

    >>> one_line(" wave\trings\r\n\x9b31m2 ")
    'wave rings 31m2'
    """
    return " ".join(printable(text).split())


def cell(text: str) -> str:
    """Return text for a table cell; an apostrophe is put in front of text that a spreadsheet would read as a formula.

    >>> cell("wave rings"), cell("=HYPERLINK(0)"), cell(" -1")
    ('wave rings', "'=HYPERLINK(0)", "'-1")
    """
    line = one_line(text)
    return f"'{line}" if line.startswith(tuple(_CALCULATED)) else line
