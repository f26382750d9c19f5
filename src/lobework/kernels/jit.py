"""The decorator of all compiled kernels: compilation, the cache of machine code on disk, and calls from several threads.

numba stores machine code on disk, in the first of these folders that is writable: the folder that the environment variable
NUMBA_CACHE_DIR names, the package's own folder, the user's cache folder. If none is writable, kernels are compiled in memory.
Each cache file begins with a digest of its contents; if the file is damaged, the kernel is compiled and written again. A kernel
is compiled again when its source file, or a file of the library that the source file imports directly or indirectly, has
changed.
"""

from __future__ import annotations

import hashlib
import importlib
import os
import pickle
import re
import threading
import warnings
from collections.abc import Callable
from functools import cache, wraps
from pathlib import Path
from typing import Any, ClassVar, Final, TypeVar, cast

import numba
import numpy as np
from numba import njit, types
from numba.core.caching import (
    CompileResultCacheImpl,
    FunctionCache,
    IndexDataCacheFile,
    InTreeCacheLocator,
    UserProvidedCacheLocator,
    UserWideCacheLocator,
)

from lobework.errors import LobeworkError

__all__ = ["COMPILED", "CacheWarning", "kernel"]

COMPILED: Final = not numba.config.DISABLE_JIT
"""Whether kernels are compiled; if the variable NUMBA_DISABLE_JIT is set, they run as plain Python, for debugging or coverage."""

_Does = TypeVar("_Does", bound=Callable[..., Any])
_DIGEST: Final = hashlib.sha256().digest_size
_IMPORTED: Final = re.compile(r"^\s*(?:from|import) lobework(?:\.([\w.]+))?(?: import (\([^)]*\)|.*))?", re.MULTILINE)
_LIBRARY: Final = Path(__file__).parents[1]
_REMEDY: Final = "set the variable NUMBA_CACHE_DIR to another folder"
_warned: Final[set[str]] = set()


class CacheWarning(UserWarning):
    """Compiled kernels cannot be stored on disk, or a stored file is damaged; the message gives the folder and the remedy."""


def kernel(parallel: Any = False, **options: Any) -> Callable[[_Does], _Does]:
    """Return a decorator that compiles a function for floats and arrays at its first call.

    Parameters
    ----------
    parallel : bool or dict
        As in numba. A parallel kernel may be called only from Python. If numba's threading layer is not thread-safe, calls
        from several threads run one after another. If numba uses GNU's OpenMP, and a process is forked after its first call of
        a parallel kernel, such calls in the forked process raise an error.
    **options : Any
        Further options of ``numba.njit``, such as ``fastmath`` or ``inline``.

    Examples
    --------
    >>> @kernel()
    ... def doubled(x):
    ...     return 2 * x
    >>> doubled(1.5)
    3.0
    """

    def compiled(plain: _Does) -> _Does:
        if not COMPILED:
            return np.errstate(all="ignore")(plain)
        dispatcher = njit(error_model="numpy", nogil=True, parallel=parallel, **options)(plain)
        dispatcher._cache = _kept(plain)
        dispatcher.get_call_template = _without_literals(dispatcher.get_call_template)
        return cast("_Does", _one_at_a_time(dispatcher) if parallel else dispatcher)

    return compiled


def _without_literals(resolve: Callable[..., Any]) -> Callable[..., Any]:
    """Wrap the function that selects the code for a call, so that no version is compiled for the value of a constant argument."""
    plain = types.unliteral
    return lambda args, kws: resolve(tuple(map(plain, args)), {name: plain(kind) for name, kind in kws.items()})


def _kept(plain: Callable[..., Any]) -> Any:
    """Return the cache of a kernel's machine code; the cache stores nothing if no folder is writable."""
    if not Path(plain.__code__.co_filename).is_file():
        return njit(plain)._cache  # a kernel typed at a prompt has no source file, which the cache needs
    try:
        return _Kept(plain)
    except (OSError, RuntimeError):
        neither = "neither the package's folder nor the user's cache folder can be written"
        _warn(f"compiled code cannot be stored: {neither}, so every run compiles it again; {_REMEDY}")
        return njit(plain)._cache


def _warn(message: str) -> None:
    """Warn of each kind of problem once per process."""
    kind = message.partition(":")[0]
    if kind not in _warned:
        _warned.add(kind)
        warnings.warn(message, CacheWarning, stacklevel=2)


class _HomeLocator(UserWideCacheLocator):
    """The user's cache folder; a user without a home folder has no cache folder."""

    @classmethod
    def from_function(cls, py_func: Any, py_file: str) -> Any:
        if not Path(cls(py_func, py_file).get_cache_path()).is_absolute():
            return None
        return super().from_function(py_func, py_file)


class _Impl(CompileResultCacheImpl):
    _locator_classes: ClassVar[list[Any]] = [UserProvidedCacheLocator, InTreeCacheLocator, _HomeLocator]


class _Kept(FunctionCache):
    """The cache of one kernel's machine code, in files with a digest."""

    _impl_class = _Impl

    def __init__(self, py_func: Callable[..., Any]) -> None:
        super().__init__(py_func)
        base, stamp = f"{self._impl.filename_base}.sealed", _stamp(Path(py_func.__code__.co_filename))
        self._cache_file = _DigestedFiles(cache_path=self._cache_path, filename_base=base, source_stamp=stamp)

    def save_overload(self, sig: Any, data: Any) -> None:
        """Store compiled code; if it cannot be written, warn and continue without the cache."""
        try:
            super().save_overload(sig, data)
        except OSError as error:
            _warn(f"compiled code cannot be stored: {self._cache_path}: {error.strerror or error}; {_REMEDY}")
            self.disable()


class _DigestedFiles(IndexDataCacheFile):
    """Files of numba's cache, with a digest at the start of each; a damaged file is treated as absent."""

    def _load_index(self) -> dict[Any, str]:
        try:
            version, stamp, overloads = self._verified(Path(self._index_path))
        except (OSError, _DamagedError):
            return {}
        fresh = version == self._version and stamp == self._source_stamp
        return cast("dict[Any, str]", overloads) if fresh else {}

    def _save_index(self, overloads: dict[Any, str]) -> None:
        with self._open_for_write(self._index_path) as file:
            file.write(self._dump((self._version, self._source_stamp, overloads)))

    def _load_data(self, name: str) -> Any:
        try:
            return self._verified(Path(self._data_path(name)))
        except _DamagedError as error:
            raise OSError(str(error)) from None  # numba treats the file as absent and compiles again

    def _dump(self, obj: Any) -> bytes:
        data: bytes = super()._dump(obj)
        return hashlib.sha256(data).digest() + data

    def _verified(self, path: Path) -> Any:
        sealed = path.read_bytes()
        digest, data = sealed[:_DIGEST], sealed[_DIGEST:]
        if hashlib.sha256(data).digest() != digest:
            _warn(f"compiled code is damaged: {path}; the kernel is compiled and written again; {_REMEDY}")
            raise _DamagedError(str(path))
        return pickle.loads(data)


class _DamagedError(Exception):
    """A cache file that does not match its digest."""


@cache
def _stamp(path: Path) -> str:
    """Return a digest of a file of the library and of all files of the library that this file imports, directly or indirectly."""
    found: dict[Path, bytes] = {}
    _gather(path, found)
    return hashlib.sha256(b"".join(found[each] for each in sorted(found))).hexdigest()


def _gather(path: Path, found: dict[Path, bytes]) -> None:
    found[path] = path.read_bytes()
    for module, names in _IMPORTED.findall(found[path].decode()):
        folder = _LIBRARY.joinpath(*module.split("."))
        for file in (folder.with_suffix(".py"), *(folder / f"{name}.py" for name in re.findall(r"\w+", names))):
            if file not in found and file.is_file():
                _gather(file, found)


class _ParallelState:
    """The lock for parallel kernels, and whether this process may run them."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.forked = False
        self.layer = ""

    def begin(self) -> None:
        """Start numba's threads if they are not running, and store the name of their threading layer."""
        try:
            numba.get_num_threads()
        except ValueError:
            asked = os.environ.get("NUMBA_THREADING_LAYER", "default")
            must_be = "an installed threading layer: 'omp', 'tbb' or 'workqueue' ('workqueue' is always installed)"
            raise LobeworkError(f"NUMBA_THREADING_LAYER={asked}: must be {must_be}") from None
        self.layer = _layer()

    def fork(self) -> None:
        """Reset the state in a forked process, in which neither the thread that owns the lock nor OpenMP's threads exist."""
        self.lock = threading.Lock()
        self.forked = _layer() == "omp" and _gnu_openmp()


def _layer() -> str:
    """Return the name of numba's threading layer; empty if no threads have been started."""
    try:
        return str(numba.threading_layer())
    except ValueError:
        return ""


def _gnu_openmp() -> bool:
    """Return whether OpenMP is the GNU implementation.

    The GNU implementation terminates a forked process that uses OpenMP if the parent process has used OpenMP before.
    """
    return bool(importlib.import_module("numba.np.ufunc.omppool").openmp_vendor == "GNU")


_parallel_state: Final = _ParallelState()
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_parallel_state.fork)


def _one_at_a_time(dispatcher: Callable[..., Any]) -> Callable[..., Any]:
    """Return a parallel kernel that is limited to one calling thread at a time if numba's threading layer is 'workqueue'."""

    @wraps(dispatcher)
    def run(*arguments: Any) -> Any:
        if _parallel_state.forked:
            raise LobeworkError(
                "this process was forked after its parent had traced or carved, and OpenMP's threads do not exist in a forked "
                "process; "
                "start processes with the method 'spawn' or 'forkserver', such as multiprocessing.get_context('spawn')"
            )
        with _parallel_state.lock:
            if not _parallel_state.layer:
                _parallel_state.begin()
            if _parallel_state.layer == "workqueue":
                return dispatcher(*arguments)
        return dispatcher(*arguments)

    return run
