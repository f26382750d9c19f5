"""The sweep of a cutter over the work in one cut: the edge, and the position and direction of the cutter along its path."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, TypeGuard

import numpy as np

from lobework.errors import SettingError
from lobework.geometry.cutter_edge import Edge
from lobework.geometry.rigid import Array
from lobework.geometry.surface import Face, Round
from lobework.parts.abilities import CarvingCutter
from lobework.parts.holder import HOLDERS, CuttingFrame, FixedTool, Holder
from lobework.parts.protocols import Cutter
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.geometry.surface import Surface
    from lobework.kinematics.trace import Trace

__all__ = ["Edged", "Sweep", "has_edge", "sweep_of"]

_UPRIGHT: float = 1e-12


class Edged(Cutter, Protocol):
    """A cutter that can carve, because it has an edge and a holder."""

    @property
    def edge(self) -> Edge:
        """The outline of the cutter."""

    @property
    def holder(self) -> Holder:
        """The holder of the cutter."""


def has_edge(cutter: object) -> TypeGuard[Edged]:
    """Return whether a cutter can carve; a pen cannot.

    >>> from lobework.parts.cutter import Ball, Pen
    >>> has_edge(Ball(radius=1.5)), has_edge(Pen())
    (True, False)
    """
    return isinstance(cutter, CarvingCutter) and isinstance(cutter.edge, Edge) and isinstance(cutter.holder, HOLDERS)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Sweep(Brief):
    """The path of a cutter over the work; between two points the path is straight, and the cutter turns uniformly.

    On a face, "straight" is a straight line in space. On a round surface, the angle about Z, z, and the distance from Z are
    interpolated linearly.

    Parameters
    ----------
    edge : Edge
        Edge of the cutter.
    holder : Holder
        Holder of the cutter.
    tip : (n, 3) float64, mm
        Path of the cutter's tip on the work, one point or more; for an eccentric frame, path of the centre of the circle that the
        tip describes.
    outward : (n or 1, 3) float64, unit
        Direction from the tip out of the work: along the cutter or, in a cutting frame, towards the axis of the frame.
    level : (n or 1, 3) float64, unit
        Direction normal to ``outward`` in the bench's plane of X and Z: that of the width of a fixed blade, and that in which a
        cutting frame at angle zero swings the cutter.
    title : str
        Title of the cut.
    """

    edge: Edge
    holder: Holder
    tip: Array
    outward: Array
    level: Array
    title: str = ""

    @property
    def upright(self) -> bool:
        """Whether ``outward`` is always Z, as on a face that no chuck tilts."""
        return bool((self.outward[:, 2] >= 1.0 - _UPRIGHT).all())


def sweep_of(trace: Trace, cutter: Cutter, surface: Surface) -> Sweep:
    """Return the sweep of one cut over a surface.

    On a face the cutter points along the spindle. On a round surface the cutter is set normal to the surface at the start of the
    pass, in the bench's plane of X and Z, and keeps that direction on the bench. If the slides follow a template, the cutter
    points at right angles to the spindle. If the cutter swings along an arc, the cutter points along the radius of the arc.

    Raises
    ------
    SettingError
        If the cutter has no edge to carve with, such as a pen, or the path is not finite.
    """
    if not has_edge(cutter):
        lacks = "holder" if isinstance(getattr(cutter, "edge", None), Edge) else "edge"
        raise SettingError(
            f"has no {lacks}, so it carves nothing",
            name="cutter.kind",
            given=repr(cutter.kind),
            remedy="use a vee or another cutter",
        )
    tip = np.stack([trace.x, trace.y, trace.z], axis=-1)
    if not np.isfinite(tip).all():
        raise SettingError(
            "the path has a position that is not a finite number",
            name="cut",
            given=repr(trace.cut.title),
            remedy="check the part that moves the cutter",
        )
    swings = trace.motion.swings is not None
    upright = isinstance(surface, Face) and not swings and trace.motion.still is not None
    if upright and not isinstance(cutter.holder, FixedTool | CuttingFrame):
        outward, level = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    else:
        bench = trace.pose.rotation
        if swings or isinstance(surface, Face):
            out, along = 0.0, 1.0
        elif trace.cut.passed.template is not None:
            out, along = 1.0, 0.0
        else:
            out, along = _normal_direction(surface, tip[0], bench[0])
        outward = out * bench[:, :, 0] + along * bench[:, :, 2]
        level = along * bench[:, :, 0] - out * bench[:, :, 2]
    return Sweep(cutter.edge, cutter.holder, tip, outward, level, trace.cut.title)


def _normal_direction(surface: Round, tip: Array, bench: Array) -> tuple[float, float]:
    """Return the components, along the bench's X and Z, of the surface normal at the point nearest to ``tip``.

    ``tip`` is a point, (3,) mm, on the work. ``bench`` is the rotation from the bench to the work, (3, 3). If no chuck tilts the
    work, X is assumed to cross the axis of the work.
    """
    s = np.linspace(0.0, surface.length, 2049)
    profile = surface.profile(s)
    far = np.hypot(tip[0], tip[1])
    out, along = profile[np.hypot(profile[:, 0] - far, profile[:, 1] - tip[2]).argmin(), 2:]
    if bench[2, 2] < 1.0 - _UPRIGHT:
        x, _, z = np.array([*(out * tip[:2] / (far or 1.0)), along]) @ bench
        out, along = np.array([x, z]) / (np.hypot(x, z) or 1.0)
    return float(out), float(along)
