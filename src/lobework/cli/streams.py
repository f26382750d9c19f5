"""Standard output and standard error, where they are closed, full, or nobody reads them any more."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Any, TextIO

from lobework.text.printable import printable

__all__ = ["GuardedOutput", "PrintError", "leave", "nowhere"]


class PrintError(Exception):
    """Standard output that takes nothing more; its message is the cause."""


class GuardedOutput:
    """Standard output that no name can command a terminal by, and whose failure cannot be taken for that of another file.

    Parameters
    ----------
    stream : TextIO
        What is printed goes there.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """Write text, each line of it as `lobework.text.printable` has it.

        Raises
        ------
        PrintError
            Where it cannot be written.
        BrokenPipeError
            Where nobody reads it any more.
        """
        with _failing():
            return self._stream.write("\n".join(map(printable, text.split("\n"))))

    def flush(self) -> None:
        """Have all that is written passed on; raises as `write` does."""
        with _failing():
            self._stream.flush()


@contextlib.contextmanager
def _failing() -> Any:
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        raise PrintError(error.strerror or str(error)) from None


def leave(stream: TextIO) -> None:
    """Let whatever is still unwritten go nowhere, so that nothing complains of it as the process ends."""
    with contextlib.suppress(OSError, ValueError):
        descriptor = os.open(os.devnull, os.O_WRONLY)
        os.dup2(descriptor, stream.fileno())
        os.close(descriptor)


def nowhere() -> TextIO:
    """Return a stream in place of one that is closed."""
    return Path(os.devnull).open("w", encoding="utf-8")
