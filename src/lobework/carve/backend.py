"""The interface of carving backends, which set the depth of each ray to the greatest that a swept cutter reaches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final, Literal, Protocol, runtime_checkable

import numpy as np

from lobework.errors import PluginError, SettingError
from lobework.geometry.surface import Face
from lobework.quantities.tolerances import CARVED_MM, COARSEST_MM

if TYPE_CHECKING:
    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep

__all__ = ["EVERYTHING", "Ability", "Backend", "Progress", "accuracy_of", "needs", "refuse"]

Ability = Literal["face", "round", "leaning", "drilling spindle", "fixed", "cutting frame", "eccentric frame"]
"""An ability of a backend: to carve a kind of surface, to carve a face with an inclined cutter, or to use a kind of holder."""

EVERYTHING: Final[frozenset[Ability]] = frozenset(
    ["face", "round", "leaning", "drilling spindle", "fixed", "cutting frame", "eccentric frame"]
)

Progress = Callable[[float], None]
"""A function that is called repeatedly with the fraction done, 0 to 1; an exception raised in a call stops the carving."""


@runtime_checkable
class Backend(Protocol):
    """An implementation of carving.

    A backend may state its accuracy in an attribute ``within``, a float in mm: the largest difference between its depths and
    those of the plain backend. The default accuracy is 2e-4 mm, and the coarsest allowed is 0.01 mm. `lobework.testing` verifies
    the stated accuracy.
    """

    @property
    def name(self) -> str:
        """The name by which users choose the backend."""

    @property
    def description(self) -> str:
        """Description of the backend and its purpose, in one line."""

    @property
    def can(self) -> frozenset[Ability]:
        """The abilities of the backend; a job that needs any other ability is refused before carving."""

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Increase the depths in ``depth`` in place where a sweep cuts deeper; never decrease a depth.

        ``depth`` is a float32 array of the shape ``stock.shape``: the depth along each ray, mm. A depth is that of the swept
        solid and may exceed the thickness of the work. On a round surface no depth extends beyond the axis of the work (see
        ``stock.to_axis``). The depth of a ray without work under it (see ``stock.inside``) stays zero.
        """


def accuracy_of(backend: Backend) -> float:
    """Return a backend's stated accuracy, mm: the largest difference from the plain backend.

    Raises
    ------
    PluginError
        If the accuracy is not a positive number, or is greater than `lobework.quantities.tolerances.COARSEST_MM`.

    Examples
    --------
    >>> from lobework.carve.plain import PlainBackend
    >>> accuracy_of(PlainBackend())
    0.0002
    """
    within = getattr(backend, "within", CARVED_MM)
    numbers = isinstance(within, float | int | np.floating) and within is not True
    if not numbers or not 0 < within <= COARSEST_MM:
        must_be = f"a number of mm, above zero and at most {COARSEST_MM:g}"
        raise PluginError(f"backend {backend.name!r}: its accuracy 'within' is {within!r}; it must be {must_be}")
    return float(within)


def needs(stock: Stock, sweeps: Sequence[Sweep]) -> set[Ability]:
    """Return the abilities that a backend needs to carve these sweeps."""
    face = isinstance(stock.surface, Face)
    required: set[Ability] = {"face" if face else "round"}
    for sweep in sweeps:
        required.add(sweep.holder.kind)  # type: ignore[arg-type]
        if face and not sweep.upright:
            required.add("leaning")
    return required


def refuse(backend: Backend, stock: Stock, sweeps: Sequence[Sweep]) -> None:
    """Raise `SettingError` if a backend lacks a required ability."""
    if lacking := sorted(needs(stock, sweeps) - backend.can):
        raise SettingError(
            f"does not support: {', '.join(lacking)}; it supports: {', '.join(sorted(backend.can))}",
            name="backend",
            given=repr(backend.name),
            remedy="use another backend, such as 'plain'",
        )
