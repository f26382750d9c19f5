"""Text that may be printed or written: what a name or a message holds can neither break a line nor command a terminal."""

from __future__ import annotations

__all__ = ["cell", "one_line", "printable"]

_CALCULATED = "=+-@\N{FULLWIDTH EQUALS SIGN}\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH HYPHEN-MINUS}\N{FULLWIDTH COMMERCIAL AT}"
"""What begins a cell that a spreadsheet calculates."""
_KEPT = "\u200c\u200d\u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000"
"""What joins or parts the letters of a word (Unicode 15, 23.2), and spaces of every width; they move nothing else on the line."""


def printable(text: str) -> str:
    r"""Return text with a space in place of each character that is not printed.

    Those are line ends, controls (ESC and the C1 controls too), marks that change the direction of writing, unpaired surrogates
    and unassigned characters: all that ``str.isprintable`` refuses but spaces.

    >>> printable("rings\n\x1b[2J\u202etxt")
    'rings  [2J txt'
    """
    if text.isprintable():
        return text
    return "".join(each if each.isprintable() or each in _KEPT else " " for each in text)


def one_line(text: str) -> str:
    r"""Return text as one line: printable, with one space between words.

    >>> one_line(" wave\trings\r\n\x9b31m2 ")
    'wave rings 31m2'
    """
    return " ".join(printable(text).split())


def cell(text: str) -> str:
    """Return text as a cell of a table that a spreadsheet shows and does not calculate: where need be, an apostrophe comes first.

    >>> cell("wave rings"), cell("=HYPERLINK(0)"), cell(" -1")
    ('wave rings', "'=HYPERLINK(0)", "'-1")
    """
    line = one_line(text)
    return f"'{line}" if line.startswith(tuple(_CALCULATED)) else line
