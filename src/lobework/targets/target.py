"""The definition of an output target."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["Shows", "Target"]

Shows = Literal["drawing", "axes", "program", "settings", "carving"]
"""The result of a job that a target shows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A kind of file that can be written for a job.

    Parameters
    ----------
    name : str
        Name of the target on the command line, such as "svg".
    file : str
        Name of the file that the target writes.
    shows : "drawing", "axes", "program", "settings" or "carving"
        The result that the file shows. The argument of ``render`` is a `Drawing`, a sequence of `Trace`, a `Program`, a
        `Settings` or a `Carving`.
    description : str
        The purpose of the file, in one line.
    render : callable
        Function that converts the result to the bytes of the file.
    needs : (str, str), optional
        A module that the target needs but that lobework does not install, and the pip requirement that installs this module.

    Examples
    --------
    >>> render = lambda sheet: sheet.title.encode()
    >>> Target(name="title", file="title.txt", shows="drawing", description="the title", render=render).file
    'title.txt'
    """

    name: str
    file: str
    shows: Shows
    description: str
    render: Callable[[Any], bytes]
    needs: tuple[str, str] | None = None
