"""The readers that are tried with hostile inputs, and what each must keep to.

A reader's module holds a function of the reader's name, ``jobs(random) -> Iterator[bytes]``, that makes inputs without end,
and ``read(data) -> None``, which hands one to the library: it may raise what `REFUSALS` lists and nothing else. A module that is
not there is passed over. ``START``, if a module has it, is called once in each process before anything is read.
"""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from random import Random
from types import ModuleType
from typing import Final

from lobework.errors import InputError, OutputExistsError, UnknownNameError
from lobework.text.printable import printable

__all__ = ["READERS", "REFUSALS", "Reader", "installed"]

REFUSALS: Final = (InputError, UnknownNameError, OutputExistsError)
_LONGEST_REFUSAL: Final = 2_000


@dataclass(frozen=True, slots=True)
class Reader:
    """One reader of the library.

    Parameters
    ----------
    name : str
        Of its module in this folder, and of the function there that makes inputs.
    seconds : float
        How long, of the processor's time, one input may take.
    megabytes : int
        How much memory one input may take beyond what the process has already.
    """

    name: str
    seconds: float
    megabytes: int

    @property
    def module(self) -> ModuleType:
        """The module that makes its inputs and reads them."""
        return importlib.import_module(f"{__package__}.{self.name}")

    def start(self) -> None:
        """Load what the reader needs, so that no input is charged with it."""
        getattr(self.module, "START", lambda: None)()

    def input(self, seed: int, number: int) -> bytes:
        """Return one input: the same for the same seed and number."""
        make: Callable[[Random], Iterator[bytes]] = getattr(self.module, self.name)
        return next(make(Random(f"{self.name} {seed} {number}")))

    def complaint(self, data: bytes) -> str:
        """Read an input, and return what is wrong with how it was read or refused; empty where it is well."""
        try:
            self.module.read(data)
        except REFUSALS as error:
            return _unfit(str(error))
        return ""


def _unfit(message: str) -> str:
    """Return why a refusal is no line that a person can use; empty where it is one."""
    if not message.strip() or message != printable(message):
        return f"a refusal that is no plain line: {message!r:.200}"
    if len(message) > _LONGEST_REFUSAL:
        return f"a refusal of {len(message)} characters: {message!r:.200}"
    for slip in ("MemoryError", "RecursionError", " object at 0x", "numpy.", "Traceback"):
        if slip in message:
            return f"a refusal with {slip.strip()} in it: {message!r:.300}"
    return ""


READERS: Final = (
    Reader("jobs", 2.0, 1_000),
    Reader("lathes", 2.0, 1_000),
    Reader("dxf", 2.0, 200),
    Reader("svg", 2.0, 200),
    Reader("programs", 2.0, 1_000),
    Reader("plugins", 2.0, 1_000),
)


def installed() -> dict[str, Reader]:
    """Return the readers whose modules are here, by name."""
    return {each.name: each for each in READERS if importlib.util.find_spec(f"{__package__}.{each.name}") is not None}
