"""What an output target is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["Shows", "Target"]

Shows = Literal["drawing", "axes", "program", "settings", "carving"]
"""What a target shows of a job."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A file that can be written for a job.

    Parameters
    ----------
    name : str
        What people call it, such as "svg".
    file : str
        The name of the file it is written to.
    shows : "drawing", "axes", "program", "settings" or "carving"
        What ``render`` takes: a `Drawing`, a sequence of `Trace`, a `Program`, a `Settings` or a `Carving`.
    description : str
        One line on what it is for.
    render : callable
        From that to the bytes of the whole file.
    needs : (str, str), optional
        A module that it cannot do without and lobework does not bring, and what installs it.

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
