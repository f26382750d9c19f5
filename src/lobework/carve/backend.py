"""The interface of carving backends, which set each ray to the greatest depth that a swept cutter reaches."""

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
"""A capability of a backend: a kind of surface, a cutter that is inclined to a face, or a kind of holder."""

EVERYTHING: Final[frozenset[Ability]] = frozenset(
    ["face", "round", "leaning", "drilling spindle", "fixed", "cutting frame", "eccentric frame"]
)

Progress = Callable[[float], None]
"""A function that is called repeatedly with the fraction done, 0 to 1; an exception that it raises stops the carving."""


@runtime_checkable
class Backend(Protocol):
    """An implementation of carving.

    A backend may have an attribute ``within``, a float in mm: its accuracy, the largest difference from the plain backend. It is
    2e-4 mm by default and 0.01 mm at most. `lobework.testing` verifies it.
    """

    @property
    def name(self) -> str:
        """The name by which users choose the backend."""

    @property
    def description(self) -> str:
        """One line on the use of the backend."""

    @property
    def can(self) -> frozenset[Ability]:
        """The abilities of the backend; a job that needs others is refused before carving."""

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Increase ``depth`` in place, stock.shape float32 mm along each ray, where a sweep goes deeper; never decrease it.

        Depths are those of the swept solid, even beyond the thickness of the work, but no ray of a round surface goes beyond the
        axis of the work (see ``stock.to_axis``). Rays without work under them (see ``stock.inside``) stay at zero.
        """


def accuracy_of(backend: Backend) -> float:
    """Return a backend's stated accuracy, mm: the largest difference from the plain backend.

    Raises
    ------
    PluginError
        If the accuracy is not a positive number, or is coarser than `lobework.quantities.tolerances.COARSEST_MM`.

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
        raise PluginError(f"backend {backend.name!r}: within is {within!r}; it must be {must_be}")
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
            f"cannot carve {', '.join(lacking)}; it can carve {', '.join(sorted(backend.can))}",
            name="backend",
            given=repr(backend.name),
            remedy="use another backend, such as 'plain'",
        )
