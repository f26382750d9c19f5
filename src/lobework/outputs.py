"""Files that appear whole or not at all, and never over what is there unless told."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from lobework.errors import InputError, OutputExistsError

__all__ = ["refuse_existing", "write_files"]


def refuse_existing(paths: Iterable[Path], *, overwrite: bool = False) -> None:
    """Raise `OutputExistsError` for the first path that would be overwritten, `InputError` for one that cannot be."""
    for path in paths:
        if path.is_dir():
            raise InputError("is a folder, so no file can be written there; move it, or name another folder", str(path))
        if os.path.lexists(path) and not overwrite:
            raise OutputExistsError(path)


def write_files(contents: Mapping[Path, bytes], *, overwrite: bool = False) -> None:
    """Write every file, or none: folders are made as needed, and taken away again where that fails.

    Parameters
    ----------
    contents : mapping from path to bytes
        Whole files.
    overwrite : bool
        Whether files that exist may be replaced.

    Raises
    ------
    OutputExistsError
        Where a file exists and ``overwrite`` is not set.
    InputError
        Where a folder or file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_files({Path(folder) / "lid" / "axes.csv": b"u,x"})
    ...     (Path(folder) / "lid" / "axes.csv").read_bytes()
    b'u,x'
    """
    with _undone_on_failure() as made:
        for folder in sorted({path.parent for path in contents}):
            _make_folder(folder, made)
        refuse_existing(contents, overwrite=overwrite)
        beside = {path: _beside(path, content, made) for path, content in contents.items()}
        for path, whole in beside.items():
            _put(whole, path, made, overwrite=overwrite)


@contextlib.contextmanager
def _undone_on_failure() -> Iterator[list[Path]]:
    """Yield a list for what is made; if anything goes wrong, an interruption too, all of it is taken away, the last first."""
    made: list[Path] = []
    try:
        yield made
    except BaseException as error:
        for path in reversed(made):
            with contextlib.suppress(OSError):
                path.rmdir() if path.is_dir() else path.unlink()
        if isinstance(error, OSError) and not isinstance(error, OutputExistsError):
            raise InputError(f"cannot be written: {error.strerror or error}; name another folder", str(error.filename)) from None
        raise


def _make_folder(folder: Path, made: list[Path]) -> None:
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    for each in reversed(missing):
        each.mkdir()
        made.append(each)
    if not folder.is_dir():
        raise InputError("is a file, so nothing can be written in it; name another folder", str(folder))


def _beside(path: Path, content: bytes, made: list[Path]) -> Path:
    """Return a new file in the folder of ``path`` that holds the content."""
    whole = path.with_name(f".{path.name}.{secrets.token_hex(6)}")
    made.append(whole)
    with whole.open("xb") as file:
        file.write(content)
    return whole


def _put(whole: Path, path: Path, made: list[Path], *, overwrite: bool) -> None:
    """Give a finished file its name in one step; a file that came up meanwhile is not replaced unasked."""
    if overwrite:
        whole.replace(path)
        return
    try:
        os.link(whole, path)
    except FileExistsError:
        raise OutputExistsError(path) from None
    except OSError:
        refuse_existing([path])
        whole.replace(path)
        made.append(path)
        return
    made.append(path)
    whole.unlink()
