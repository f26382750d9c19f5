"""Batches of rigid motions: where one frame stands in another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lobework.text.brief import Brief

__all__ = ["Array", "Rigid"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Rigid(Brief):
    """A batch of rigid motions, one a row; a batch of one stands for all rows.

    A point ``p`` of the inner frame stands at ``rotation @ p + shift`` in the outer one.

    Parameters
    ----------
    rotation : (n or 1, 3, 3) float64
        Rotation matrices, right-handed.
    shift : (n or 1, 3) float64, mm
        Where the inner frame's origin stands in the outer frame.

    Examples
    --------
    >>> quarter = Rigid.turn(np.array([np.pi / 2]))
    >>> (Rigid.move(x=2.0) @ quarter).apply(np.array([[1.0, 0.0, 0.0]])).round(12)
    array([[2., 1., 0.]])
    """

    rotation: Array
    shift: Array

    @classmethod
    def still(cls) -> Rigid:
        """Return the motion that moves nothing."""
        return cls(np.eye(3)[None], np.zeros((1, 3)))

    @classmethod
    def move(cls, x: Array | float = 0.0, y: Array | float = 0.0, z: Array | float = 0.0) -> Rigid:
        """Return shifts by ``x``, ``y``, ``z``: floats or (n,) mm."""
        if isinstance(x, float) and isinstance(y, float) and isinstance(z, float):
            return cls(np.eye(3)[None], np.array([[x, y, z]]))  # the most frequent case, four times as quick
        columns = np.broadcast_arrays(*(np.atleast_1d(np.asarray(c, dtype=np.float64)) for c in (x, y, z)))
        return cls(np.eye(3)[None], np.stack(columns, axis=-1))

    @classmethod
    def turn(cls, angle: Array | float) -> Rigid:
        """Return turns about Z, counterclockwise seen from +Z: float or (n,) rad."""
        angle = np.atleast_1d(np.asarray(angle, dtype=np.float64))
        rotation = np.zeros((angle.size, 3, 3))
        rotation[:, 0, 0] = rotation[:, 1, 1] = np.cos(angle)
        rotation[:, 1, 0] = np.sin(angle)
        rotation[:, 0, 1] = -rotation[:, 1, 0]
        rotation[:, 2, 2] = 1.0
        return cls(rotation, np.zeros((1, 3)))

    @classmethod
    def tilt(cls, angle: Array | float) -> Rigid:
        """Return turns about Y that lean +Z towards +X: float or (n,) rad.

        >>> Rigid.tilt(np.pi / 2).apply(np.array([[0.0, 0.0, 1.0]])).round(12)
        array([[1., 0., 0.]])
        """
        about_z = cls.turn(angle)
        return cls(about_z.rotation[:, [[1], [2], [0]], [1, 2, 0]], about_z.shift)

    def __matmul__(self, inner: Rigid) -> Rigid:
        """Return the motion of ``inner``'s inner frame in ``self``'s outer frame."""
        if np.array_equal(self.rotation, _UNTURNED):
            return Rigid(inner.rotation, self.shift + inner.shift)
        rotation = self.rotation if np.array_equal(inner.rotation, _UNTURNED) else self.rotation @ inner.rotation
        return Rigid(rotation, self.apply(inner.shift))

    def inverse(self) -> Rigid:
        """Return the motions that undo these."""
        return Rigid(self.rotation.transpose(0, 2, 1), self.undo(np.zeros((1, 3))))

    def apply(self, points: Array) -> Array:
        """Return (n, 3) mm points of the inner frame as they stand in the outer one."""
        return _turned(self.rotation, points) + self.shift

    def undo(self, points: Array) -> Array:
        """Return (n, 3) mm points of the outer frame as they stand in the inner one: what `inverse` applies."""
        return _turned(self.rotation.transpose(0, 2, 1), points - self.shift)


_UNTURNED: Final = np.eye(3)[None]


def _turned(rotation: Array, points: Array) -> Array:
    """Return (n, 3) points turned by (n or 1, 3, 3) rotations, column by column: quicker than row by row."""
    if np.array_equal(rotation, _UNTURNED):
        return points
    x, y, z = points.T
    return np.stack([row[:, 0] * x + row[:, 1] * y + row[:, 2] * z for row in rotation.transpose(1, 0, 2)], axis=-1)
