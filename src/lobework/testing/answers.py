"""The numerical results of the methods of a part, for comparing two parts of one kind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from lobework.testing.angles import TURNING

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Answer", "answers"]

_ANGLES: Final = TURNING[:90]
_DEPTHS_MM: Final = (0.0, 0.05, 0.3, 1.0, 4.0)
_ACROSS: Final = np.linspace(-0.9, 0.9, 37)
_WIDE_MM: Final = 50.0


class Answer(NamedTuple):
    """Numbers that a method of a part returns, and whether these numbers are lengths; lengths scale with the size of the part."""

    numbers: Array
    is_length: bool


def answers(kind: str, part: Any, size: float = 1.0, turned: float = 0.0) -> dict[str, Answer]:
    """Return the results of the methods of a part for fixed arguments; the keys are the names of the methods.

    Parameters
    ----------
    kind : str
        "chuck", "cam", "follower", "cutter" or "piece".
    part : part
        A part of the kind ``kind``.
    size : float
        Factor applied to all arguments that are lengths.
    turned : float, rad
        Angle added to all arguments that are angles. For a follower, the positions across its nose are multiplied by
        ``1 + turned``.
    """
    angles = _ANGLES + turned
    if kind == "chuck":
        given = part.motions(angles)
        return {
            "rotation": Answer(np.array(np.broadcast_to(given.rotation, (angles.size, 3, 3))), False),
            "shift": Answer(np.array(np.broadcast_to(given.shift, (angles.size, 3))), True),
        }
    if kind == "cam":
        return {
            "base_radius": Answer(np.array([float(part.base_radius)]), True),
            "rise_at": Answer(np.array(part.rise_at(angles)), True),
            "slope_at": Answer(np.array(part.slope_at(angles)), True),
        }
    if kind == "follower":
        half = part.half_width
        across = _ACROSS * min(half, _WIDE_MM * size) * (1 + turned) if half > 0 else np.zeros(1)
        return {
            "half_width": Answer(np.array([float(half)]), True),
            "rest": Answer(np.array([float(part.rest)]), True),
            "nose_at": Answer(np.array(part.nose_at(across)), True),
        }
    if kind == "cutter":
        return {"width_at": Answer(np.array([float(part.width_at(size * depth)) for depth in _DEPTHS_MM]), True)}
    return {"outline": Answer(np.array(part.outline, dtype=np.float64), True)}
