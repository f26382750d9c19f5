"""Compilation of functions once there is enough work to repay the compilation; until then, the plain function runs."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, update_wrapper
from types import FunctionType
from typing import Any, TypeVar, cast

__all__ = ["compile_when_worth", "compiled"]

_total_work = [0]
"""Sum of the work of all calls so far."""
_Does = TypeVar("_Does", bound=Callable[..., Any])


@cache
def _compiled(plain: Callable[..., Any], forceinline: bool = False) -> Callable[..., Any]:
    from lobework.kernels.jit import kernel

    helpers = {name: plain.__globals__.get(name) for name in plain.__code__.co_names}
    own = {name: each for name, each in helpers.items() if getattr(each, "__module__", None) == plain.__module__}
    compiled_callees = {name: _compiled(each, forceinline=True) for name, each in own.items() if isinstance(each, FunctionType)}
    if compiled_callees:
        plain = update_wrapper(FunctionType(plain.__code__, {**plain.__globals__, **compiled_callees}), plain)
    return kernel(forceinline=forceinline)(plain)


def compiled(plain: _Does) -> _Does:
    """Return the compiled version of a function, from the cache on disk if available.

    Functions of the same module that the function calls are replaced by their compiled versions.
    """
    return cast("_Does", _compiled(plain))


def compile_when_worth(plain: _Does, work: int, enough: int) -> _Does:
    """Return ``plain`` itself until the total work of all calls reaches ``enough``, then the compiled version of ``plain``."""
    _total_work[0] += work
    return compiled(plain) if _total_work[0] >= enough else plain
