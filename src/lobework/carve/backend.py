"""What a carving backend is: it lowers each ray to the deepest point that a swept cutter reaches."""

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
"""What a backend may be able to carve: a surface, a cutter that leans on a face, a way of holding the cutter."""

EVERYTHING: Final[frozenset[Ability]] = frozenset(
    ["face", "round", "leaning", "drilling spindle", "fixed", "cutting frame", "eccentric frame"]
)

Progress = Callable[[float], None]
"""Called now and then with the part done, 0 to 1; what it raises stops the carving."""


@runtime_checkable
class Backend(Protocol):
    """A way of carving.

    A backend may have ``within: float``, mm: its accuracy, the largest difference from the plain one; 2e-4 mm if unspecified,
    0.01 mm at most. `lobework.testing` holds it to that.
    """

    @property
    def name(self) -> str:
        """What people call it."""

    @property
    def description(self) -> str:
        """One line on what it is for."""

    @property
    def can(self) -> frozenset[Ability]:
        """What it can carve; anything else is refused before cutting."""

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Deepen ``depth`` in place, stock.shape float32 mm along each ray, wherever a sweep goes deeper; never the reverse.

        Depths are those of the swept solid, whether or not there is work so deep; rays with no work under them
        (``stock.inside``) stay at zero.
        """


def accuracy_of(backend: Backend) -> float:
    """Return a backend's stated accuracy, mm: the largest difference from the plain one.

    Raises
    ------
    PluginError
        If it states what no accuracy is, or one coarser than `lobework.quantities.tolerances.COARSEST_MM`.

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
    """Return the abilities that carving these sweeps takes."""
    face = isinstance(stock.surface, Face)
    asked: set[Ability] = {"face" if face else "round"}
    for sweep in sweeps:
        asked.add(sweep.holder.kind)  # type: ignore[arg-type]
        if face and not sweep.upright:
            asked.add("leaning")
    return asked


def refuse(backend: Backend, stock: Stock, sweeps: Sequence[Sweep]) -> None:
    """Raise `SettingError` where a backend lacks an ability that is needed."""
    if lacking := sorted(needs(stock, sweeps) - backend.can):
        raise SettingError(
            f"backend={backend.name!r}: cannot carve {', '.join(lacking)}; it can carve {', '.join(sorted(backend.can))}; "
            "use another backend, such as 'plain'"
        )
