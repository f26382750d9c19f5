"""Public names of a package that are imported on first use, so that importing the package itself is fast."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Mapping, Sequence

__all__ = ["names_on_demand"]


def names_on_demand(
    package: str, homes: Mapping[str, Sequence[str]], more: Sequence[str] = ()
) -> tuple[Callable[[str], object], Callable[[], list[str]]]:
    """Return the functions ``__getattr__`` and ``__dir__`` for a package.

    Parameters
    ----------
    package : str
        The ``__name__`` of the package.
    homes : mapping of str to sequence of str
        Names of modules, each with the public names that are imported from this module.
    more : sequence of str
        Further names that ``dir`` lists, such as those of submodules.

    Examples
    --------
    >>> get, names = names_on_demand("lobework", {"lobework.quantities.units": ["length"]})
    >>> get("length")("1 in"), names()[0]
    (25.4, 'length')
    """
    module_of = {name: module for module, names in homes.items() for name in names}

    def get(name: str) -> object:
        if name not in module_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        found: object = getattr(importlib.import_module(module_of[name]), name)
        setattr(sys.modules[package], name, found)
        return found

    def names() -> list[str]:
        return [*module_of, *more, "__doc__", "__file__", "__path__"]

    return get, names
