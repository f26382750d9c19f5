"""Reads many hostile inputs in processes of their own, which may break, and says what went wrong with which input."""

from __future__ import annotations

import multiprocessing
import os
import resource
import time
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path

from tests.hostile.readers import Reader

__all__ = ["Failure", "failures", "kept", "tried"]

_PATIENCE = 15.0
"""Wall seconds, times what an input may take, after which a process is ended."""


@dataclass(frozen=True, slots=True)
class Failure:
    """What went wrong with one input."""

    reader: str
    name: str
    number: int
    message: str

    def __str__(self) -> str:
        return f"{self.reader} {self.name}: {self.message}"


def failures(reader: Reader, seed: int, count: int, *, first: int = 0, timed: bool = True) -> Iterator[Failure]:
    """Yield what goes wrong with ``count`` inputs; a process that breaks or hangs is replaced by another.

    Parameters
    ----------
    reader : Reader
        What reads them.
    seed : int
        Which inputs.
    count, first : int
        How many, from which on.
    timed : bool
        Whether an input that takes longer than it may is a failure.
    """
    for number, message in _read(reader, partial(reader.input, seed), first, first + count, timed=timed):
        yield Failure(reader.name, f"{seed}:{number}", number, message)


def kept(reader: Reader, cases: Sequence[Path], *, timed: bool = True) -> Iterator[Failure]:
    """Yield what goes wrong with inputs that are kept in files."""
    for number, message in _read(reader, lambda number: cases[number].read_bytes(), 0, len(cases), timed=timed):
        yield Failure(reader.name, cases[number].name, number, message)


def _read(reader: Reader, make: Callable[[int], bytes], first: int, end: int, *, timed: bool) -> Iterator[tuple[int, str]]:
    """Yield the number of each input that goes wrong, and what does."""
    if first < end:
        reader.start()
    ahead = first
    while ahead < end:
        ours, theirs = multiprocessing.Pipe(duplex=False)
        process = multiprocessing.get_context("fork").Process(target=_work, args=(reader, make, ahead, end, timed, theirs))
        process.start()
        theirs.close()
        try:
            while ahead < end:
                if not ours.poll(reader.seconds * _PATIENCE):
                    yield ahead, f"took more than {reader.seconds * _PATIENCE:g} s, and was ended"
                    ahead += 1
                    break
                number, message = ours.recv()
                ahead = number + 1
                if message:
                    yield number, message
        except EOFError:
            process.join()
            yield ahead, f"its process ended with {process.exitcode}"
            ahead += 1
        finally:
            process.kill()
            process.join()
            ours.close()


def _work(reader: Reader, make: Callable[[int], bytes], first: int, end: int, timed: bool, said: Connection) -> None:
    """Read inputs one after the other, and say of each what went wrong."""
    warnings.simplefilter("error")
    with Path(os.devnull).open("w") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    room = _size("VmSize") + (reader.megabytes + 500) * 2**20
    resource.setrlimit(resource.RLIMIT_AS, (room, room))
    for number in range(first, end):
        said.send((number, tried(reader, make(number), timed=timed)))


def tried(reader: Reader, data: bytes, *, timed: bool = True) -> str:
    """Return what goes wrong with one input; empty where nothing does."""
    before, began = _level(), time.process_time()
    try:
        message = reader.complaint(data)
    except MemoryError:
        return f"took more than {reader.megabytes} MB"
    except Exception as error:  # noqa: BLE001 - whatever comes is what is looked for
        lines = traceback.format_exc().splitlines()
        places = [line.strip() for line in lines if line.strip().startswith("File ")]
        return f"{type(error).__name__}: {error!s:.300} | {' < '.join(reversed(places[-3:]))}"
    took, grew = time.process_time() - began, _size("VmHWM") - before
    if grew > reader.megabytes * 2**20:
        return f"took {grew / 2**20:.0f} MB | {message}"
    if timed and took > reader.seconds:
        return f"took {took:.1f} s | {message}"
    return message


def _level() -> int:
    """Forget the highest memory so far, where the system can, and return what is in use, bytes."""
    try:
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    except OSError:
        return _size("VmHWM")
    return _size("VmRSS")


def _size(of: str) -> int:
    """Return a figure of this process's memory, bytes. Source: proc(5), /proc/pid/status."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith(f"{of}:"):
            return int(line.split()[1]) * 1024
    return 0
