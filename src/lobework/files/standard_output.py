"""Redirection of standard output to standard error, so that output printed by plugins does not mix with results."""

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
    """A text stream that writes to standard error and stores the beginning of the text.

    All other attributes of the stream are those of standard error.
    """

    def __init__(self) -> None:
        self.first = ""

    def write(self, text: str) -> int:
        """Write a text and return its length."""
        if len(self.first) < _LONGEST:
            self.first += text[: _LONGEST - len(self.first)]
        if sys.stderr is not None:
            sys.stderr.write(text)
        return len(text)

    def writelines(self, lines: Iterable[str]) -> None:
        """Write several texts."""
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
    r"""Redirect standard output to standard error inside the block, and store the beginning of the printed text.

    Parameters
    ----------
    descriptor : bool
        Whether to redirect file descriptor 1 too, which compiled code and child processes write to.

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
    """Redirect file descriptor 1 to standard error; do nothing if either descriptor is closed."""
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
