"""A reader that is wrong in every way that the runner must notice, one input after the other."""

from __future__ import annotations

import os
import time
import warnings
from collections.abc import Iterator
from random import Random

from lobework.errors import InputError

__all__ = ["WAYS", "broken", "read"]

WAYS = ("refused", "exception", "warning", "lines", "shouts", "memory", "leak", "slow", "hangs", "ends", "read")


def broken(random: Random) -> Iterator[bytes]:
    """Yield the ways without end; the runner asks anew for each input, so ``random`` alone tells which is next."""
    while True:
        yield random.choice(WAYS).encode()


def read(data: bytes) -> None:
    """Be wrong in the way that is asked for."""
    way = data.decode()
    if way == "refused":
        raise InputError("is no number; write 3")
    if way == "exception":
        raise KeyError("lost")
    if way == "warning":
        warnings.warn("overflow encountered", RuntimeWarning, stacklevel=1)
    if way == "lines":
        error = InputError("fits")
        error.args = ("two\nlines",)
        raise error
    if way == "shouts":
        raise InputError("<numpy.int64 object at 0x7f>")
    if way == "memory":
        bytearray(4 * 10**9)
    if way == "leak":
        bytes(range(256)) * (400 * 4096)
    if way == "slow":
        began = time.process_time()
        while time.process_time() < began + 0.8:
            pass
    if way == "hangs":
        time.sleep(600)
    if way == "ends":
        os._exit(9)
