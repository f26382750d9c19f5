"""Writing of several files, either all of them or none; an existing file is replaced only on request."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import platform
import re
import secrets
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Final

from lobework.errors import InputError, LobeworkError, OutputExistsError

__all__ = ["refuse_existing", "write_files"]

_UNFINISHED: Final = re.compile(r"\.lobework-(?P<machine>[0-9a-f]{8})-(?P<process>[1-9]\d{0,8})-[0-9a-f]{12}")
"""Name of a temporary file, which contains identifiers of the machine and the process that write the file."""
_FULL: Final = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


def refuse_existing(paths: Iterable[Path], *, overwrite: bool = False) -> None:
    """Raise `OutputExistsError` for the first file that would be overwritten, or `InputError` for an unusable path."""
    for path in paths:
        with _write_errors_named(path):
            if path.is_dir():
                remedy = "move it, or name another folder"
                raise InputError("is a folder, so no file can be written there", str(path), remedy=remedy)
            if os.path.lexists(path) and not overwrite:
                raise OutputExistsError(path)
            there = next((each for each in path.parents if os.path.lexists(each)), path.parent)
            _require_folder(there)
            for name in path.relative_to(there).parts:
                with contextlib.suppress(FileNotFoundError):
                    (there / name).lstat()


def write_files(contents: Mapping[Path, bytes], *, overwrite: bool = False) -> None:
    """Write all files, or none: create missing folders, and after a failure remove all new files and folders.

    Parameters
    ----------
    contents : mapping from path to bytes
        The contents of each file.
    overwrite : bool
        Whether files that exist may be replaced.

    Raises
    ------
    OutputExistsError
        If a file exists and ``overwrite`` is not set.
    InputError
        If a folder or file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_files({Path(folder) / "lid" / "axes.csv": b"u,x"})
    ...     (Path(folder) / "lid" / "axes.csv").read_bytes()
    b'u,x'
    """
    refuse_existing(contents, overwrite=overwrite)
    with _removed_on_failure() as made:
        for folder in sorted({path.parent for path in contents}):
            with _write_errors_named(folder):
                _make_folder(folder, made)
                _remove_stale(folder)
        temporary = {path: _temporary_file(path, content, made) for path, content in contents.items()}
        for path, finished in temporary.items():
            with _write_errors_named(path):
                _rename(finished, path, made, overwrite=overwrite)


@contextlib.contextmanager
def _write_errors_named(path: Path) -> Iterator[None]:
    """Convert system errors that are raised in the block to an `InputError` with the path, the cause and a remedy."""
    try:
        yield
    except LobeworkError:
        raise
    except (OSError, ValueError) as error:
        remedy = "free disk space, or name another folder" if getattr(error, "errno", None) in _FULL else "name another folder"
        problem = f"cannot be written: {getattr(error, 'strerror', None) or error}"
        raise InputError(problem, str(path), remedy=remedy) from None


@contextlib.contextmanager
def _removed_on_failure() -> Iterator[list[Path]]:
    """Yield a list for created paths; on any exception, including an interruption, remove these paths in reverse order."""
    made: list[Path] = []
    try:
        yield made
    except BaseException:
        for path in reversed(made):
            with contextlib.suppress(OSError):
                path.rmdir() if path.is_dir() else path.unlink()
        raise


def _require_folder(folder: Path) -> None:
    if not folder.is_dir():
        raise InputError("is a file, so nothing can be written in it", str(folder), remedy="name another folder")
    if not os.access(folder, os.W_OK | os.X_OK):
        remedy = "change its permissions, or name another folder"
        raise InputError("cannot be written: no file can be created in it", str(folder), remedy=remedy)


def _make_folder(folder: Path, made: list[Path]) -> None:
    missing = [each for each in (folder, *folder.parents) if not os.path.lexists(each)]
    for each in reversed(missing):
        each.mkdir()
        made.append(each)
    _require_folder(folder)


def _temporary_file(path: Path, content: bytes, made: list[Path]) -> Path:
    """Create a temporary file with the given content in the folder of ``path``, and return its path."""
    finished = path.with_name(f".lobework-{_machine()}-{os.getpid()}-{secrets.token_hex(6)}")
    made.append(finished)
    with _write_errors_named(path), finished.open("xb") as file:
        file.write(content)
    return finished


def _rename(finished: Path, path: Path, made: list[Path], *, overwrite: bool) -> None:
    """Rename a finished temporary file to its final name in one step; without ``overwrite`` an existing file is not replaced."""
    if overwrite:
        finished.replace(path)
        return
    try:
        os.link(finished, path)
    except FileExistsError:
        raise OutputExistsError(path) from None
    except OSError:
        refuse_existing([path])
        finished.replace(path)
        made.append(path)
        return
    made.append(path)
    finished.unlink()


@cache
def _machine() -> str:
    """Return an identifier of this machine, because other machines may write into the same folder."""
    return hashlib.sha256(platform.node().encode(errors="replace")).hexdigest()[:8]


def _remove_stale(folder: Path) -> None:
    """Remove temporary files that killed processes of this machine have left in a folder."""
    if os.name != "posix":
        return
    for path in folder.iterdir():
        found = _UNFINISHED.fullmatch(path.name)
        if found is not None and found["machine"] == _machine() and not _is_alive(int(found["process"])):
            with contextlib.suppress(OSError):
                path.unlink()


def _is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True
