"""How a cutting frame lies along the grooves of round work: the angle to set it to, pass by pass, and the misfit along each.

Also how much deeper a round cutter goes on the slopes of a template than its tip is led.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from lobework.carve.sweep import Edged, has_edge, sweep_of
from lobework.checks.check import Finding, show_small
from lobework.geometry.surface import Round
from lobework.kinematics.motion import motion_of
from lobework.kinematics.sampling import Spans
from lobework.kinematics.trace import Trace
from lobework.lathe.hand_settings import show_length
from lobework.parts.abilities import holder_of, seen_on, surface_of
from lobework.parts.holder import CuttingFrame
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.lathe.passes import Cut
    from lobework.parts.protocols import Cutter, Piece
    from lobework.quantities.units import LengthUnit

__all__ = ["GrooveAngle", "frame_by_cut", "frame_findings", "lie_of"]

_PLACES: Final = 513
_MOST_CUTS: Final = 64
_OFF_DEG: Final = 1.0
"""Frames are set by a scale of degrees: nearer than this to the best is as good."""
_ALIKE_DEG: Final = 0.1
_DEEPER_MM: Final = 0.1
_STEP_MM: Final = 1e-4
_MOST_STEPPED: Final = Fraction(1, 4)
"""Of a lobe: rings whose waves stand further apart are staggered, not wound."""
_SAME_DEG: Final = 1e-3
_BESIDE_DEG: Final = 5.0
"""Where even the best angle is further off than this somewhere, it is worth knowing."""


_Way = tuple[Literal["groove", "pattern"], "Array", "Array"]
"""What a frame is to lie along, its angles, degrees, and where they are along the work, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GrooveAngle:
    """How grooves, or the pattern that rings make together, lie on round work; angles as in `lobework.parts.holder.CuttingFrame`.

    Parameters
    ----------
    of : "groove" or "pattern"
        What lies so.
    low_deg, high_deg : float, degrees
        The least and the greatest angle to the axis on the way.
    low_z, high_z : float, mm
        Where along the work they are.

    Examples
    --------
    >>> lie = GrooveAngle(of="groove", low_deg=30.0, high_deg=36.0, low_z=-40.0, high_z=-5.0)
    >>> lie.best_deg, lie.misfit(33.0), lie.misfit(38.5)
    (33.0, (3.0, -40.0), (8.5, -40.0))
    """

    of: Literal["groove", "pattern"]
    low_deg: float
    high_deg: float
    low_z: float
    high_z: float

    @property
    def best_deg(self) -> float:
        """The angle whose worst misfit is least: in the middle, from -90 to 90 degrees."""
        return _folded((self.low_deg + self.high_deg) / 2)

    def misfit(self, angle_deg: float) -> tuple[float, float]:
        """Return how far a frame at an angle is off at the worst, degrees, and where along the work, mm."""
        each = ((abs(_folded(angle_deg - at)), z) for at, z in ((self.low_deg, self.low_z), (self.high_deg, self.high_z)))
        return max(each, key=lambda off: off[0])

    def fits(self, set_deg: float) -> bool:
        """Return whether a frame at an angle is as good as at the best one, to what is said of an angle."""
        return abs(_folded(set_deg - self.best_deg)) < _ALIKE_DEG

    def message(self, set_deg: float, units: LengthUnit = "mm") -> str:
        """Return in words the angle that the job sets, how far it is off, and beside it the angle that would fit best.

        >>> GrooveAngle(of="groove", low_deg=30.0, high_deg=36.0, low_z=-40.0, high_z=-5.0).message(30.0)
        '30 deg, as the job sets it: at most 6 deg off the groove, at z -5 mm; 33 deg would fit best, at most 3 deg off'
        """
        message = f"{format_number(set_deg, 2)} deg, as the job sets it"
        misfits = self.misfit(set_deg)[0], self.misfit(self.best_deg)[0]
        best, off, least = (format_number(each, 1) for each in (self.best_deg, *misfits))
        if self.alike and self.fits(set_deg):
            return f"{message}: along the {self.of}"
        where = "all along" if self.alike else f"at z {show_length(round(self.misfit(set_deg)[1], 2), units)}"
        message += f": {'' if self.alike else 'at most '}{off} deg off the {self.of}, {where}"
        if self.fits(set_deg):
            return f"{message}; no other angle fits better"
        return f"{message}; {best} deg would fit {'it' if self.alike else f'best, at most {least} deg off'}"

    @property
    def alike(self) -> bool:
        """Whether it lies at one angle all along, to what is said of an angle."""
        return abs(self.high_deg - self.low_deg) < _ALIKE_DEG


def _folded(angle_deg: float) -> float:
    """Return the same line's angle above -90 and up to 90 degrees."""
    return 90 - (90 - angle_deg) % 180


def lie_of(cuts: Sequence[Cut], cutter: Cutter, piece: Piece) -> GrooveAngle | None:
    """Return how one pass with all its repetitions lies on round work; None where there is nothing for a frame to lie along.

    The groove of a pass that goes along the work lies as the tip goes, seen along the direction out of the work. Rings, and turns
    so close that they cut into each other, lie as their pattern winds where a cam twists along the work, or where its phase is
    stepped on from ring to ring by a quarter of a lobe or less.

    Parameters
    ----------
    cuts : sequence of Cut
        Of one pass, at least one.
    cutter : Cutter
        In a cutting frame.
    piece : Piece
        The work.
    """
    if not isinstance(surface_of(piece), Round) or not has_edge(cutter) or not isinstance(cutter.holder, CuttingFrame):
        return None
    some = np.unique(np.linspace(0, len(cuts) - 1, _MOST_CUTS).astype(int)).tolist()
    return _together([lies for k in some if (lies := _along(cuts[k], _beside(cuts, k), cutter, piece)) is not None])


def frame_by_cut(cuts: Sequence[Cut], cutter: Cutter, piece: Piece) -> dict[int, str]:
    """Return, by the number of each cut of one pass, which angle of the frame would fit it, and how far off the job's angle is.

    Empty where one angle fits all cuts alike, and where there is nothing for a frame to lie along. See `lie_of`.
    """
    whole = lie_of(cuts, cutter, piece)
    if whole is None or whole.alike or len(cuts) == 1 or not has_edge(cutter) or not isinstance(cutter.holder, CuttingFrame):
        return {}
    found = [_along(cut, _beside(cuts, k), cutter, piece) for k, cut in enumerate(cuts)]
    lies = [_together([each] if each is not None else []) for each in found]
    best = [lie.best_deg for lie in lies if lie is not None]
    if max(abs(_folded(each - best[0])) for each in best) < _ALIKE_DEG:
        return {}
    set_deg = cutter.holder.angle_deg
    return {cut.number: "" if lie is None else _says_of_cut(lie, set_deg) for cut, lie in zip(cuts, lies, strict=True)}


def _says_of_cut(lie: GrooveAngle, set_deg: float) -> str:
    best, off = format_number(lie.best_deg, 1), format_number(lie.misfit(set_deg)[0], 1)
    return f"{best} deg, {off} off"


def _beside(cuts: Sequence[Cut], k: int) -> Cut:
    """Return the cut after one of a pass, or that before the last."""
    return cuts[k + 1 if k + 1 < len(cuts) else k - 1]


def _together(found: Sequence[_Way]) -> GrooveAngle | None:
    """Return how several stretches of one pass lie together; None where there are none."""
    if not found:
        return None
    of = found[0][0]
    angles, z = (np.concatenate([each[column] for each in found if each[0] == of]) for column in (1, 2))
    angles = np.degrees(np.unwrap(np.radians(angles), period=math.pi))
    low, high = (int((way * angles <= (way * angles).min() + _SAME_DEG).argmax()) for way in (1, -1))
    turn = _folded(float(angles[low] + angles[high]) / 2) - float(angles[low] + angles[high]) / 2
    return GrooveAngle(
        of=of, low_deg=float(angles[low]) + turn, high_deg=float(angles[high]) + turn, low_z=float(z[low]), high_z=float(z[high])
    )


def _along(cut: Cut, beside: Cut, cutter: Edged, piece: Piece) -> _Way | None:
    """Return what a frame is to lie along in one cut, its angles, degrees, and where they are along the work, mm."""
    surface: Round = piece.surface  # type: ignore[attr-defined]
    motion = motion_of(cut)
    edges = np.unique(np.concatenate([np.linspace(0.0, cut.span, _PLACES), cut.corners]))
    steps = np.ones(max(edges.size - 1, 1), dtype=np.int64)
    spans = Spans(edges[:-1], edges[1:], steps) if cut.span else Spans(np.zeros(1), np.zeros(1), np.zeros(1, dtype=np.int64))
    path = Trace(motion, spans, *motion.place(spans.turns()).T)
    sweep = sweep_of(path, cutter, surface)
    outward, level = (np.broadcast_to(each, sweep.tip.shape) for each in (sweep.outward, sweep.level))
    goes_along = abs(cut.travel[2]) > 0 and not _runs_together(cut, cutter, seen_on(piece, sweep.tip)[:, 2])
    if goes_along:
        way, here = np.diff(_on_surface(sweep.tip, surface), axis=0), slice(0, -1)
        outward, level = outward[:-1] + outward[1:], level[:-1] + level[1:]
    elif (turned := _winds(cut, beside, path.z)) is not None:
        way, here = _wound(sweep.tip, surface, turned), slice(None)
    else:
        return None
    across = np.einsum("ki,ki->k", way, np.cross(outward, level)) / np.linalg.norm(outward, axis=1)
    along = np.einsum("ki,ki->k", way, level)
    moves = np.hypot(across, along) > 1e-9 * np.linalg.norm(level, axis=1)
    angles = np.degrees(np.arctan2(across, along)[moves])
    return ("groove" if goes_along else "pattern"), angles, path.z[here][moves]


def _runs_together(cut: Cut, cutter: Edged, depth: Array) -> bool:
    """Return whether the turns of a pass stand so close that they leave no groove of their own."""
    apart = abs(cut.travel[2]) / float(cut.passed.turns) if cut.passed.turns > 1 else math.inf
    return apart < cutter.width_at(float(np.clip(depth.max(), 0.0, cutter.edge.height or math.inf)))


def _winds(cut: Cut, beside: Cut, z: Array) -> Array | None:
    """Return how far the pattern turns on the work for each mm towards the headstock, rad: (n,); None where it does not wind.

    ``beside`` is the ring before or after this one.
    """
    apart = cut.tip[2] - beside.tip[2]
    for drive, other in zip(cut.passed.cams, beside.passed.cams, strict=True):
        if not drive.ratio:
            continue
        lobes, winds, turned = drive.cam.lobes, [], other.phase + drive.phase * -1
        if (twist := drive.twist) is not None and twist.over is not None:
            rate = np.diff([twist.part(twist.way(z - _STEP_MM * way)) for way in (-1, 1)], axis=0)[0] / (2 * _STEP_MM)
            winds.append(math.radians(twist.degrees(lobes)) * rate)
            if other.twist is not None:
                gone = float(twist.part(twist.way(np.array(beside.tip[2:])))[0])
                turned += (other.twist.angle + twist.angle * -1) * Fraction(gone)
        stepped = turned.in_turns(lobes)
        if stepped and cut.level and apart and abs(stepped * lobes) <= _MOST_STEPPED:
            winds.append(np.full_like(z, 2 * math.pi * float(stepped) / apart))
        if winds:
            pattern: Array = sum(winds) / float(drive.ratio)
            return pattern
    return None


def _on_surface(tip: Array, surface: Round) -> Array:
    """Return the places of the surface that lie straight out from (n, 3) places on the work."""
    profile = surface.profile(np.linspace(0.0, surface.length, _PLACES))
    order = profile[:, 1].argsort()
    radius, far = np.interp(tip[:, 2], profile[order, 1], profile[order, 0]), np.hypot(tip[:, 0], tip[:, 1])
    scale = np.stack([radius / np.where(far, far, 1.0)] * 2 + [np.ones_like(far)], axis=-1)
    out: Array = tip * scale
    return out


def _wound(tip: Array, surface: Round, turned: Array) -> Array:
    """Return which way the pattern goes on the surface, from places on the work towards the headstock: (n, 3)."""
    step = 1e-3
    here = _on_surface(tip, surface)
    below = here - [0.0, 0.0, step]
    round_it = np.stack([-here[:, 1], here[:, 0], np.zeros(len(here))], axis=-1) * turned[:, None]
    way: Array = round_it + (_on_surface(below, surface) - here) / step
    return way


def frame_findings(piece: Piece, cutter: Cutter, cuts: Sequence[Cut]) -> Iterable[Finding]:
    """Yield the passes along which the cutting frame is not set as it best were, or a template leads a cutter too deep."""
    holder = holder_of(cutter)
    for _, same in itertools.groupby(cuts, key=lambda cut: cut.group):
        group = list(same)
        name = group[0].passed.name or f"pass {group[0].group}"
        if isinstance(holder, CuttingFrame) and (lie := lie_of(group, cutter, piece)) is not None:
            yield from _finding(lie, holder, name, group[0].units)
        yield from _on_slopes(group[0], cutter, name)


def _on_slopes(cut: Cut, cutter: Cutter, name: str) -> Iterator[Finding]:
    """Yield where a template leads a cutter that is rounder, or less round, than the rubber on it.

    A circle whose foremost place is the tip goes its radius times one less the cosine deeper on a slope.
    """
    holder, template = holder_of(cutter), cut.passed.template
    radius = holder.radius if isinstance(holder, CuttingFrame) else getattr(cutter, "radius", 0.0)
    if template is None or not isinstance(radius, float):
        return
    tips = cut.slides(np.linspace(0.0, cut.span, _PLACES))
    along, into = (tips[:, "xyz".index(slide)] for slide in ("zx" if cut.approach.axis == "x" else "xz"))
    slope = np.diff(into) / np.diff(along)
    if isinstance(holder, CuttingFrame):
        slope *= math.cos(math.radians(holder.angle_deg))
    deeper = (radius - template.rubber) * (1 - np.cos(np.arctan(slope)))
    worst = int(np.round(np.abs(deeper), 6).argmax())
    if abs(deeper[worst]) > _DEEPER_MM:
        by = f"{show_small(abs(float(deeper[worst])), cut.units)} {'deeper' if deeper[worst] > 0 else 'less deep'}"
        where = f"{'z' if cut.approach.axis == 'x' else 'x'} {show_length(round(float(along[worst]), 2), cut.units)}"
        size = f"rubber = '{show_length(radius, cut.units)}'" if radius else ""
        remedy = f"let a rubber as large as its sweep, {size}, follow the template" if size else "leave the rubber out"
        message = f"on the slope at {where} the cutter goes {by} than at the level; {remedy}"
        yield Finding(kind="template", level="warning", where=name, message=message)


def _finding(lie: GrooveAngle, holder: CuttingFrame, name: str, units: LengthUnit) -> Iterator[Finding]:
    off, z = lie.misfit(holder.angle_deg)
    least, least_z = lie.misfit(lie.best_deg)
    best = format_number(lie.best_deg, 1)
    if off > least + _OFF_DEG:
        stands, by, where = format_number(holder.angle_deg, 2), format_number(off, 1), show_length(round(z, 2), units)
        lies = f"the frame stands at {stands} deg, {by} deg off the {lie.of} at z {where}"
        then = f", which leaves at most {format_number(least, 1)} deg" if least > _OFF_DEG else ""
        yield Finding(
            kind="frame", level="warning", where=name, message=f"{lies}; write an angle of {best} deg for it in the job{then}"
        )
    elif least > _BESIDE_DEG:
        by, where = format_number(least, 1), show_length(round(least_z, 2), units)
        message = f"the {lie.of} turns along the work: at its best angle, {best} deg, the frame is {by} deg off at z {where}"
        yield Finding(
            kind="frame", level="note", where=name, message=f"{message}; cut it in shorter passes, each with its own angle"
        )
