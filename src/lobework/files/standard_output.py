"""Standard output is for results: what a plugin prints meanwhile goes to standard error."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterable, Iterator
from typing import Any, Final

__all__ = ["RedirectedOutput", "to_stderr"]

_STDOUT, _STDERR = 1, 2
_LONGEST: Final = 200


class RedirectedOutput:
    """A text stream that passes everything on to standard error and keeps the beginning of it.

    Whatever else a text stream offers is that of standard error.
    """

    def __init__(self) -> None:
        self.first = ""

    def write(self, text: str) -> int:
        """Pass a text on, and return its length."""
        if len(self.first) < _LONGEST:
            self.first += text[: _LONGEST - len(self.first)]
        if sys.stderr is not None:
            sys.stderr.write(text)
        return len(text)

    def writelines(self, lines: Iterable[str]) -> None:
        """Pass several texts on."""
        for each in lines:
            self.write(each)

    def flush(self) -> None:
        """Flush standard error."""
        if sys.stderr is not None:
            sys.stderr.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(sys.stderr, name)


@contextlib.contextmanager
def to_stderr(*, descriptor: bool = False) -> Iterator[RedirectedOutput]:
    r"""Send to standard error what is printed inside, and keep the beginning of it.

    Parameters
    ----------
    descriptor : bool
        Whether the process's own file descriptor 1 goes there too, for what compiled code and child processes print.

    Examples
    --------
    >>> with to_stderr() as printed:
    ...     print("to the other stream")
    >>> printed.first
    'to the other stream\n'
    """
    printed = RedirectedOutput()
    with contextlib.ExitStack() as undo:
        if descriptor:
            undo.enter_context(_redirected_descriptor())
        undo.enter_context(contextlib.redirect_stdout(printed))
        yield printed


@contextlib.contextmanager
def _redirected_descriptor() -> Iterator[None]:
    """Send file descriptor 1 to standard error; where the process lacks either, leave it."""
    try:
        with contextlib.suppress(AttributeError, ValueError):
            sys.stdout.flush()
        kept = os.dup(_STDOUT)
    except OSError:
        yield
        return
    try:
        with contextlib.suppress(OSError):
            os.dup2(_STDERR, _STDOUT)
        yield
    finally:
        os.dup2(kept, _STDOUT)
        os.close(kept)
