"""The best angle of a cutting frame for each pass on round work, and the misfit of the angle that the job sets.

The module also computes the error of depth of a round cutter on the slopes of a template.
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

__all__ = ["GrooveAngle", "frame_by_cut", "frame_findings", "groove_angle_of"]

_POINTS: Final = 513
"""Number of points at which a pass or a profile is sampled."""
_MOST_CUTS: Final = 64
"""Greatest number of cuts of a pass that are sampled."""
_SETTING_DEG: Final = 1.0
"""Accuracy with which an operator can set a frame by its scale of degrees."""
_EQUAL_DEG: Final = 0.1
"""Accuracy to which angles are printed; angles that differ by less count as equal."""
_DEPTH_ERROR_MM: Final = 0.1
_STEP_MM: Final = 1e-4
_LARGEST_PHASE_STEP: Final = Fraction(1, 4)
"""Greatest step of the phase between rings, in lobes; with greater steps, the rings are staggered and form no winding pattern."""
_SAME_DEG: Final = 1e-3
_LARGE_MISFIT_DEG: Final = 5.0
"""Misfit at the best angle above which a note is given."""


_Course = tuple[Literal["groove", "pattern"], "Array", "Array"]
"""The kind of course, its angles, degrees, and the positions of these angles along the work, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GrooveAngle:
    """Range of angles of a groove, or of the pattern that rings form, on round work.

    Angles are measured as in `lobework.parts.holder.CuttingFrame`.

    Parameters
    ----------
    of : "groove" or "pattern"
        Whether the angles are those of a groove or of a pattern.
    low_deg, high_deg : float, degrees
        The least and the greatest angle to the axis.
    low_z, high_z : float, mm
        Positions of these angles along the work.

    Examples
    --------
    >>> groove_angle = GrooveAngle(of="groove", low_deg=30.0, high_deg=36.0, low_z=-40.0, high_z=-5.0)
    >>> groove_angle.best_deg, groove_angle.misfit(33.0), groove_angle.misfit(38.5)
    (33.0, (3.0, -40.0), (8.5, -40.0))
    """

    of: Literal["groove", "pattern"]
    low_deg: float
    high_deg: float
    low_z: float
    high_z: float

    @property
    def best_deg(self) -> float:
        """The angle whose greatest misfit is smallest: the mean of the range, as an angle from -90 to 90 degrees."""
        return _folded((self.low_deg + self.high_deg) / 2)

    def misfit(self, angle_deg: float) -> tuple[float, float]:
        """Return the greatest misfit of a frame at an angle, degrees, and the position of this misfit along the work, mm."""
        each = ((abs(_folded(angle_deg - at)), z) for at, z in ((self.low_deg, self.low_z), (self.high_deg, self.high_z)))
        return max(each, key=lambda off: off[0])

    def fits(self, set_deg: float) -> bool:
        """Return whether an angle equals the best angle, to the precision of printed angles."""
        return abs(_folded(set_deg - self.best_deg)) < _EQUAL_DEG

    def message(self, set_deg: float, units: LengthUnit = "mm") -> str:
        """Return a sentence with the angle that the job sets, its misfit, and the best angle.

        >>> GrooveAngle(of="groove", low_deg=30.0, high_deg=36.0, low_z=-40.0, high_z=-5.0).message(30.0)
        '30 deg, as set in the job: at most 6 deg off the groove, at z -5 mm; 33 deg would fit best, at most 3 deg off'
        """
        message = f"{format_number(set_deg, 2)} deg, as set in the job"
        misfits = self.misfit(set_deg)[0], self.misfit(self.best_deg)[0]
        best, off, least = (format_number(each, 1) for each in (self.best_deg, *misfits))
        if self.is_uniform and self.fits(set_deg):
            return f"{message}: along the {self.of}"
        where = "all along" if self.is_uniform else f"at z {show_length(round(self.misfit(set_deg)[1], 2), units)}"
        message += f": {'' if self.is_uniform else 'at most '}{off} deg off the {self.of}, {where}"
        if self.fits(set_deg):
            return f"{message}; no other angle fits better"
        return f"{message}; {best} deg would fit {'exactly' if self.is_uniform else f'best, at most {least} deg off'}"

    @property
    def is_uniform(self) -> bool:
        """Whether the angle is the same everywhere, to the precision of printed angles."""
        return abs(self.high_deg - self.low_deg) < _EQUAL_DEG


def _folded(angle_deg: float) -> float:
    """Return the angle of the same line, reduced to the range above -90 and up to 90 degrees."""
    return 90 - (90 - angle_deg) % 180


def groove_angle_of(cuts: Sequence[Cut], cutter: Cutter, piece: Piece) -> GrooveAngle | None:
    """Return the range of angles of the grooves or the pattern of one pass on round work; None if the pass has neither.

    If a pass travels along the work, the angle is that of the tip's path, seen along the outward normal of the work. For rings,
    and for turns so close that their grooves overlap, the angle is that of the pattern that winds round the work. Such a pattern
    exists if a cam twists along the work, or if the phase of a cam changes from ring to ring by at most a quarter of a lobe.

    Parameters
    ----------
    cuts : sequence of Cut
        The cuts of one pass, at least one.
    cutter : Cutter
        A cutter in a cutting frame.
    piece : Piece
        The work.
    """
    if not isinstance(surface_of(piece), Round) or not has_edge(cutter) or not isinstance(cutter.holder, CuttingFrame):
        return None
    some = np.unique(np.linspace(0, len(cuts) - 1, _MOST_CUTS).astype(int)).tolist()
    courses = [_course(cuts[k], _neighbour(cuts, k), cutter, piece) for k in some]
    return _merged([each for each in courses if each is not None])


def frame_by_cut(cuts: Sequence[Cut], cutter: Cutter, piece: Piece) -> dict[int, str]:
    """Return, by cut number, a text for each cut of one pass: the best angle of the frame, and the misfit of the job's angle.

    The map is empty if one angle is best for all cuts, or if there is neither a groove nor a pattern. See `groove_angle_of`.
    """
    whole = groove_angle_of(cuts, cutter, piece)
    if whole is None or whole.is_uniform or len(cuts) == 1 or not has_edge(cutter) or not isinstance(cutter.holder, CuttingFrame):
        return {}
    found = [_course(cut, _neighbour(cuts, k), cutter, piece) for k, cut in enumerate(cuts)]
    groove_angles = [_merged([each] if each is not None else []) for each in found]
    best = [each.best_deg for each in groove_angles if each is not None]
    if max(abs(_folded(each - best[0])) for each in best) < _EQUAL_DEG:
        return {}
    set_deg = cutter.holder.angle_deg
    texts = ["" if each is None else _cut_text(each, set_deg) for each in groove_angles]
    return {cut.number: text for cut, text in zip(cuts, texts, strict=True)}


def _cut_text(groove_angle: GrooveAngle, set_deg: float) -> str:
    """Return the best angle for one cut and the misfit of the angle that is set."""
    best, off = format_number(groove_angle.best_deg, 1), format_number(groove_angle.misfit(set_deg)[0], 1)
    return f"{best} deg; as set, {off} deg off"


def _neighbour(cuts: Sequence[Cut], k: int) -> Cut:
    """Return the cut after cut ``k``; for the last cut, the cut before it."""
    return cuts[k + 1 if k + 1 < len(cuts) else k - 1]


def _merged(found: Sequence[_Course]) -> GrooveAngle | None:
    """Return the range of angles of several courses; None if there is no course."""
    if not found:
        return None
    of = found[0][0]
    angles, z = (np.concatenate([each[column] for each in found if each[0] == of]) for column in (1, 2))
    angles = np.degrees(np.unwrap(np.radians(angles), period=math.pi))
    low, high = (int((sign * angles <= (sign * angles).min() + _SAME_DEG).argmax()) for sign in (1, -1))
    turn = _folded(float(angles[low] + angles[high]) / 2) - float(angles[low] + angles[high]) / 2
    return GrooveAngle(
        of=of, low_deg=float(angles[low]) + turn, high_deg=float(angles[high]) + turn, low_z=float(z[low]), high_z=float(z[high])
    )


def _course(cut: Cut, beside: Cut, cutter: Edged, piece: Piece) -> _Course | None:
    """Return the course of the groove or the pattern of one cut; None if the cut has neither."""
    surface: Round = piece.surface  # type: ignore[attr-defined]
    motion = motion_of(cut)
    edges = np.unique(np.concatenate([np.linspace(0.0, cut.span, _POINTS), cut.corners]))
    steps = np.ones(max(edges.size - 1, 1), dtype=np.int64)
    spans = Spans(edges[:-1], edges[1:], steps) if cut.span else Spans(np.zeros(1), np.zeros(1), np.zeros(1, dtype=np.int64))
    path = Trace(motion, spans, *motion.place(spans.turns()).T)
    sweep = sweep_of(path, cutter, surface)
    outward, level = (np.broadcast_to(each, sweep.tip.shape) for each in (sweep.outward, sweep.level))
    goes_along = abs(cut.travel[2]) > 0 and not _grooves_overlap(cut, cutter, seen_on(piece, sweep.tip)[:, 2])
    if goes_along:
        direction, here = np.diff(_projected(sweep.tip, surface), axis=0), slice(0, -1)
        outward, level = outward[:-1] + outward[1:], level[:-1] + level[1:]
    elif (turned := _pattern_slope(cut, beside, path.z)) is not None:
        direction, here = _pattern_direction(sweep.tip, surface, turned), slice(None)
    else:
        return None
    across = np.einsum("ki,ki->k", direction, np.cross(outward, level)) / np.linalg.norm(outward, axis=1)
    along = np.einsum("ki,ki->k", direction, level)
    moves = np.hypot(across, along) > 1e-9 * np.linalg.norm(level, axis=1)
    angles = np.degrees(np.arctan2(across, along)[moves])
    return ("groove" if goes_along else "pattern"), angles, path.z[here][moves]


def _grooves_overlap(cut: Cut, cutter: Edged, depth: Array) -> bool:
    """Return whether the turns of a pass are so close that their grooves overlap."""
    apart = abs(cut.travel[2]) / float(cut.passed.turns) if cut.passed.turns > 1 else math.inf
    return apart < cutter.width_at(float(np.clip(depth.max(), 0.0, cutter.edge.height or math.inf)))


def _pattern_slope(cut: Cut, beside: Cut, z: Array) -> Array | None:
    """Return the rotation of the pattern on the work per mm towards the headstock, rad: (n,); None if no pattern winds.

    The cut ``beside`` is the ring before or after ``cut``.
    """
    apart = cut.tip[2] - beside.tip[2]
    for drive, other in zip(cut.passed.cams, beside.passed.cams, strict=True):
        if not drive.ratio:
            continue
        lobes, winds, turned = drive.cam.lobes, [], other.phase + drive.phase * -1
        if (twist := drive.twist) is not None and twist.over is not None:
            rate = np.diff([twist.eased_share(twist.share_along(z - _STEP_MM * sign)) for sign in (-1, 1)], axis=0)[0] / (
                2 * _STEP_MM
            )
            winds.append(math.radians(twist.degrees(lobes)) * rate)
            if other.twist is not None:
                gone = float(twist.eased_share(twist.share_along(np.array(beside.tip[2:])))[0])
                turned += (other.twist.angle + twist.angle * -1) * Fraction(gone)
        stepped = turned.in_turns(lobes)
        if stepped and cut.keeps_z and apart and abs(stepped * lobes) <= _LARGEST_PHASE_STEP:
            winds.append(np.full_like(z, 2 * math.pi * float(stepped) / apart))
        if winds:
            pattern: Array = sum(winds) / float(drive.ratio)
            return pattern
    return None


def _projected(tip: Array, surface: Round) -> Array:
    """Return the radial projections of (n, 3) points onto the surface of the work."""
    profile = surface.profile(np.linspace(0.0, surface.length, _POINTS))
    order = profile[:, 1].argsort()
    radius, far = np.interp(tip[:, 2], profile[order, 1], profile[order, 0]), np.hypot(tip[:, 0], tip[:, 1])
    scale = np.stack([radius / np.where(far, far, 1.0)] * 2 + [np.ones_like(far)], axis=-1)
    out: Array = tip * scale
    return out


def _pattern_direction(tip: Array, surface: Round, turned: Array) -> Array:
    """Return the direction of the pattern along the surface, towards the headstock, at each point of the tip's path: (n, 3)."""
    step = 1e-3
    here = _projected(tip, surface)
    below = here - [0.0, 0.0, step]
    round_it = np.stack([-here[:, 1], here[:, 0], np.zeros(len(here))], axis=-1) * turned[:, None]
    direction: Array = round_it + (_projected(below, surface) - here) / step
    return direction


def frame_findings(piece: Piece, cutter: Cutter, cuts: Sequence[Cut]) -> Iterable[Finding]:
    """Yield findings on each pass whose cutting frame is not at its best angle, or whose template causes an error of depth."""
    holder = holder_of(cutter)
    for _, same in itertools.groupby(cuts, key=lambda cut: cut.group):
        group = list(same)
        name = group[0].passed.name or f"pass {group[0].group}"
        if isinstance(holder, CuttingFrame) and (groove_angle := groove_angle_of(group, cutter, piece)) is not None:
            yield from _finding(groove_angle, holder, name, group[0].units)
        yield from _slope_findings(group[0], cutter, name)


def _slope_findings(cut: Cut, cutter: Cutter, name: str) -> Iterator[Finding]:
    """Yield the finding on the error of depth if the radius of the cutter differs from that of the rubber on the template.

    On a slope, a circle whose foremost point is the tip cuts deeper by r (1 - cos a) at radius r and slope angle a.
    """
    holder, template = holder_of(cutter), cut.passed.template
    radius = holder.radius if isinstance(holder, CuttingFrame) else getattr(cutter, "radius", 0.0)
    if template is None or not isinstance(radius, float):
        return
    tips = cut.slides(np.linspace(0.0, cut.span, _POINTS))
    along, into = (tips[:, "xyz".index(slide)] for slide in ("zx" if cut.approach.axis == "x" else "xz"))
    slope = np.diff(into) / np.diff(along)
    if isinstance(holder, CuttingFrame):
        slope *= math.cos(math.radians(holder.angle_deg))
    deeper = (radius - template.rubber) * (1 - np.cos(np.arctan(slope)))
    worst = int(np.round(np.abs(deeper), 6).argmax())
    if abs(deeper[worst]) > _DEPTH_ERROR_MM:
        by = f"{show_small(abs(float(deeper[worst])), cut.units)} {'deeper' if deeper[worst] > 0 else 'less deep'}"
        where = f"{'z' if cut.approach.axis == 'x' else 'x'} {show_length(round(float(along[worst]), 2), cut.units)}"
        size = f"rubber = '{show_length(radius, cut.units)}'" if radius else ""
        remedy = f"use a rubber with the radius of the cutter's sweep: {size}" if size else "omit the rubber"
        message = f"on the slope at {where} the cutter goes {by} than where the template is level; {remedy}"
        yield Finding(kind="template", level="warning", where=name, message=message)


def _finding(groove_angle: GrooveAngle, holder: CuttingFrame, name: str, units: LengthUnit) -> Iterator[Finding]:
    """Yield the finding on the angle of the frame for one pass, if there is one."""
    off, z = groove_angle.misfit(holder.angle_deg)
    least, least_z = groove_angle.misfit(groove_angle.best_deg)
    best = format_number(groove_angle.best_deg, 1)
    if off > least + _SETTING_DEG:
        stands, by, where = format_number(holder.angle_deg, 2), format_number(off, 1), show_length(round(z, 2), units)
        error = f"the frame is set to {stands} deg, {by} deg off the {groove_angle.of} at z {where}"
        then = f"; the misfit is then at most {format_number(least, 1)} deg" if least > _SETTING_DEG else ""
        yield Finding(kind="frame", level="warning", where=name, message=f"{error}; set the frame to {best} deg in the job{then}")
    elif least > _LARGE_MISFIT_DEG:
        by, where = format_number(least, 1), show_length(round(least_z, 2), units)
        message = (
            f"the angle of the {groove_angle.of} changes along the work: even at the best angle, {best} deg, the frame "
            f"is {by} deg off"
        )
        yield Finding(
            kind="frame",
            level="note",
            where=name,
            message=f"{message} at z {where}; divide the pass into shorter ones, each with its own frame angle",
        )
