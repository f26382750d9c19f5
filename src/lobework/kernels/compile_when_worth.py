"""Compiling only what is large enough to pay for it: a plain function runs as it is until then."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, update_wrapper
from types import FunctionType
from typing import Any, TypeVar, cast

__all__ = ["compile_when_worth", "compiled"]

_plainly = [0]
"""How much work was given out in all."""
_Does = TypeVar("_Does", bound=Callable[..., Any])


@cache
def _compiled(plain: Callable[..., Any]) -> Callable[..., Any]:
    from lobework.kernels.jit import kernel

    helpers = {name: plain.__globals__.get(name) for name in plain.__code__.co_names}
    own = {name: each for name, each in helpers.items() if getattr(each, "__module__", None) == plain.__module__}
    twins = {name: _compiled(each) for name, each in own.items() if isinstance(each, FunctionType)}
    if twins:
        plain = update_wrapper(FunctionType(plain.__code__, {**plain.__globals__, **twins}), plain)
    return kernel()(plain)


def compiled(plain: _Does) -> _Does:
    """Return a kernel's compiled twin, from the cache on disk where it is there.

    It calls the compiled twins of the functions of its own module that the kernel calls.
    """
    return cast("_Does", _compiled(plain))


def compile_when_worth(plain: _Does, work: int, enough: int) -> _Does:
    """Return a kernel itself until, in all, there was ``enough`` work to pay for the compiler's start; then its twin."""
    _plainly[0] += work
    return compiled(plain) if _plainly[0] >= enough else plain
