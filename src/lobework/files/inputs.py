"""Files that are read: whole, of a limited size, and never anything that would be waited for without end."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Final

from lobework.errors import InputError, TooLargeError

__all__ = ["read_bytes"]

_PIPES: Final = ("/dev/stdin", "/dev/fd/", "/proc/self/fd/")
"""Names under which a shell hands over what another command writes."""


def read_bytes(path: Path | str, most: int, *, absent: str, too_long: str, where: str | None = None) -> bytes:
    """Return what a file holds.

    Parameters
    ----------
    path : path
        Of a regular file; a pipe is read where the shell has made it, as of ``/dev/stdin``.
    most : int
        How many bytes are read.
    absent : str
        What to do if there is no such file.
    too_long : str
        The limit in words, and what to do if the file is longer.
    where : str, optional
        What errors call the file, otherwise its path.

    Raises
    ------
    InputError
        Where it is missing, a folder, a device or a pipe with a name of its own, or cannot be read.
    TooLargeError
        Where it is longer than ``most``.
    """
    name = str(path) if where is None else where
    try:
        data = _read(path, most + 1, name)
    except InputError:
        raise
    except FileNotFoundError:
        raise InputError(f"there is no such file; {absent}", name) from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}; check its name and permissions", name) from None
    except ValueError as error:
        raise InputError(f"cannot be a file's name: {error}; check the name", repr(name)) from None
    if len(data) > most:
        raise TooLargeError(f"is longer than {too_long}", name)
    return data


def _read(path: Path | str, most: int, name: str) -> bytes:
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        kind = os.fstat(descriptor).st_mode
        if stat.S_ISDIR(kind):
            raise InputError("is a folder, not a file; name a file in it", name)
        if stat.S_ISFIFO(kind) and str(path).startswith(_PIPES):
            os.set_blocking(descriptor, True)
        elif not stat.S_ISREG(kind):
            raise InputError("is a device or a pipe, not a file that has an end; name a regular file", name)
        with open(descriptor, "rb", closefd=False) as file:
            return file.read(most)
    finally:
        os.close(descriptor)
