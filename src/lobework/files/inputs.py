"""Reading of whole files of limited size; devices and named pipes are refused, because reading them could block for ever."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Final

from lobework.errors import InputError, TooLargeError

__all__ = ["read_bytes"]

_PIPES: Final = ("/dev/stdin", "/dev/fd/", "/proc/self/fd/")
"""Paths by which a shell passes the output of another command."""


def read_bytes(path: Path | str, most: int, *, absent: str, too_long: str, where: str | None = None) -> bytes:
    """Return the contents of a file.

    Parameters
    ----------
    path : path
        Path of a regular file, or of a pipe that the shell has made, such as ``/dev/stdin``.
    most : int
        Maximum size of the file, bytes.
    absent : str
        Remedy in the error message if the file does not exist.
    too_long : str
        Text for the error message if the file is too long: the limit in words, then "; ", then the remedy.
    where : str, optional
        Name of the file in error messages. Default: its path.

    Raises
    ------
    InputError
        If the file does not exist or cannot be read, or if the path is that of a folder, a device or a named pipe.
    TooLargeError
        If the file is longer than ``most``.
    """
    name = str(path) if where is None else where
    try:
        data = _read(path, most + 1, name)
    except InputError:
        raise
    except FileNotFoundError:
        raise InputError("there is no such file", name, remedy=absent) from None
    except OSError as error:
        problem = f"cannot be read: {error.strerror or error}"
        raise InputError(problem, name, remedy="check its name and permissions") from None
    except ValueError as error:
        raise InputError(f"is not a valid file name: {error}", repr(name), remedy="check the name") from None
    if len(data) > most:
        limit, _, remedy = too_long.partition("; ")
        raise TooLargeError(f"is longer than {limit}", name, remedy=remedy)
    return data


def _read(path: Path | str, most: int, name: str) -> bytes:
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        kind = os.fstat(descriptor).st_mode
        if stat.S_ISDIR(kind):
            raise InputError("is a folder, not a file", name, remedy="name a file in it")
        if stat.S_ISFIFO(kind) and str(path).startswith(_PIPES):
            os.set_blocking(descriptor, True)
        elif not stat.S_ISREG(kind):
            raise InputError("is a device or a pipe, not a file that has an end", name, remedy="name a regular file")
        with open(descriptor, "rb", closefd=False) as file:
            return file.read(most)
    finally:
        os.close(descriptor)
