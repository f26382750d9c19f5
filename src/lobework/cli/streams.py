"""Handling of standard output and standard error that are closed, full, or no longer read."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Any, TextIO

from lobework.text.printable import printable

__all__ = ["GuardedOutput", "PrintError", "discard_output", "null_stream"]


class PrintError(Exception):
    """Standard output cannot be written; the message is the cause."""


class GuardedOutput:
    """Standard output without control characters, whose write errors can be distinguished from the write errors of other files.

    Parameters
    ----------
    stream : TextIO
        The stream to write to.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """Write text, each line made printable by `lobework.text.printable`.

        Raises
        ------
        PrintError
            If the text cannot be written.
        BrokenPipeError
            If the reader has closed the pipe.
        """
        with _print_errors():
            return self._stream.write("\n".join(map(printable, text.split("\n"))))

    def flush(self) -> None:
        """Flush the stream; the errors are those of `write`."""
        with _print_errors():
            self._stream.flush()


@contextlib.contextmanager
def _print_errors() -> Any:
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        raise PrintError(error.strerror or str(error)) from None


def discard_output(stream: TextIO) -> None:
    """Discard the unwritten output of a stream, so that Python reports no error for this stream at exit."""
    with contextlib.suppress(OSError, ValueError):
        descriptor = os.open(os.devnull, os.O_WRONLY)
        os.dup2(descriptor, stream.fileno())
        os.close(descriptor)


def null_stream() -> TextIO:
    """Return a stream that discards its text, to replace a closed stream."""
    return Path(os.devnull).open("w", encoding="utf-8")
