"""Chucks that stand between spindle and work, and shift, slide or turn it again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from lobework.errors import require
from lobework.kinds import Angle, Length, Turning, require_numbers
from lobework.rigid import Rigid
from lobework.units import Phase

if TYPE_CHECKING:
    from lobework.rigid import Array

__all__ = ["EccentricChuck", "Oval", "Plain"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """A chuck that holds the work true, and may be indexed.

    Parameters
    ----------
    index : Phase, or what `lobework.units.phase` reads
        How far the work is turned on by the index wheel, counterclockwise seen from the cutter.

    Examples
    --------
    >>> Plain().motions(np.zeros(1)).shift
    array([[0., 0., 0.]])
    """

    kind: ClassVar[str] = "plain"
    varies: ClassVar[bool] = False
    index: Turning = Phase()

    def __post_init__(self) -> None:
        object.__setattr__(self, "index", Phase.of(self.index))

    def motions(self, theta: Array) -> Rigid:
        """Return the indexing turn, the same at every spindle angle: one rigid motion for (n,) rad."""
        return Rigid.turn(self.index.in_radians())


@dataclass(frozen=True, slots=True, kw_only=True)
class EccentricChuck:
    """A slide that carries the work off the axis, and on it a wheel that turns the work.

    Parameters
    ----------
    shift : float, mm
        How far the slide is wound out.
    index : Phase, or what `lobework.units.phase` reads
        How far the wheel on the slide is turned on.

    References
    ----------
    J. H. Ibbetson, *Specimens in Eccentric Circular Turning*, Specimen X, pp. 168-169: two of these, one on
    the other, lay 96 circles on a limacon.

    Examples
    --------
    >>> EccentricChuck(shift=16.0).motions(np.zeros(1)).shift
    array([[16.,  0.,  0.]])
    """

    kind: ClassVar[str] = "eccentric"
    varies: ClassVar[bool] = False
    shift: Length
    index: Turning = Phase()

    def __post_init__(self) -> None:
        require_numbers(self)
        object.__setattr__(self, "index", Phase.of(self.index))
        require(math.isfinite(self.shift), "shift", self.shift, "a finite length")

    def motions(self, theta: Array) -> Rigid:
        """Return shift, then index, the same at every spindle angle: one rigid motion for (n,) rad."""
        return Rigid.move(x=self.shift) @ Rigid.turn(self.index.in_radians())


@dataclass(frozen=True, slots=True, kw_only=True)
class Oval:
    """The oval chuck: the work slides to and fro as the spindle turns, so a fixed point cuts an ellipse.

    Parameters
    ----------
    throw : float, mm
        How far the ring's centre stands off the axis. The half axes of every ellipse differ by it; for a cutter
        within the circle that has the throw as its diameter, they add up to it.
    ring_angle_deg : float, degrees
        Direction in which the ring is set off, from +X towards +Y.
    index : Phase, or what `lobework.units.phase` reads
        How far the wheel on the slide is turned on.

    References
    ----------
    A. Cayley, "On the mechanical description of certain quartic curves by a modified oval chuck",
    Proc. London Math. Soc. 4 (1872), 186-190.

    Examples
    --------
    >>> Oval(throw=5.0).motions(np.array([0.0, np.pi])).shift.round(12)
    array([[ 5.,  0.,  0.],
           [-5.,  0.,  0.]])
    """

    kind: ClassVar[str] = "oval"
    varies: ClassVar[bool] = True
    throw: Length
    ring_angle_deg: Angle = 0.0
    index: Turning = Phase()

    def __post_init__(self) -> None:
        require_numbers(self)
        object.__setattr__(self, "index", Phase.of(self.index))
        require(math.isfinite(self.ring_angle_deg), "ring_angle", self.ring_angle_deg, "a finite angle")
        require(
            0 <= self.throw < math.inf, "throw", self.throw, "zero or more", "set the ring to the other side with ring_angle 180"
        )

    def motions(self, theta: Array) -> Rigid:
        """Return where the work stands on the spindle: (n,) rad in, n rigid motions out."""
        slide = Rigid.move(x=self.throw * np.cos(theta - math.radians(self.ring_angle_deg)))
        return slide @ Rigid.turn(self.index.in_radians())
