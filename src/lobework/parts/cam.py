"""Cams (called rosettes in the trade): discs with a waved edge or a waved face that move the headstock."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, ClassVar, Final, Literal

import numpy as np

from lobework.errors import require, together
from lobework.kernels.cam.motion_laws import BREAKS, LAWS, law_at
from lobework.parts.protocols import smooth_slope
from lobework.quantities.fields import Length, require_numbers
from lobework.quantities.tolerances import LARGEST_CAM_MM, SMALLEST_CAM_MM
from lobework.quantities.units import Written, ratio

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["CamShape", "EccentricCam", "LawName", "MotionLaw", "Scallop", "Wave", "require_size"]

LawName = Literal["harmonic", "cycloidal", "3-4-5", "4-5-6-7", "modified sine", "modified trapezoid"]


_AT_MOST: Final = f"at most {LARGEST_CAM_MM:g} mm"
_UNITS: Final = "no lathe has such a cam: check the units"


def require_size(name: str, given: float) -> None:
    """Refuse a radius of a cam that is too small or too large for an accurate computation of the contact.

    >>> require_size("base_radius", 1e6)
    Traceback (most recent call last):
    lobework.errors.SettingError: base_radius=1e+06: must be at most 1000 mm; no lathe has such a cam: check the units
    """
    require(given > 0, name, given, "above zero")
    require(given >= SMALLEST_CAM_MM, name, given, f"at least {SMALLEST_CAM_MM:g} mm", _UNITS)
    require(given <= LARGEST_CAM_MM, name, given, _AT_MOST, _UNITS)


@dataclass(frozen=True, slots=True, kw_only=True)
class CamShape:
    """Base class of cams with equal lobes, also for cams that users write themselves.

    A subclass must define `rise_at`. By default `slope_at` is computed from `rise_at` by finite differences; a subclass
    may define an exact `slope_at`. If the slope or curvature jumps, the subclass must return the angles of the jumps in one lobe
    as `corners`.

    Parameters
    ----------
    lobes : int
        Number of equal lobes, one or more; the top of one lobe is at angle zero.
    base_radius : float, mm
        Edge cam: radius at the lowest point. Face cam: radius of the follower's track. From 0.01 to 1000.
    rise : float, mm
        Height of the highest point above the lowest point, from zero to 1000.
    on : "edge" or "face"
        Surface on which the wave is cut. An edge cam moves the headstock sideways, a face cam endways.
    """

    kind: ClassVar[str]
    lobes: int
    base_radius: Length
    rise: Length
    on: Literal["edge", "face"] = "edge"

    def __post_init__(self) -> None:
        with together():
            self._require_settings()

    def _require_settings(self) -> None:
        """Refuse settings outside their allowed values."""
        require_numbers(self)
        require(isinstance(self.lobes, int) and 1 <= self.lobes <= 1000, "lobes", self.lobes, "a whole number from 1 to 1000")
        require_size("base_radius", self.base_radius)
        require(self.rise >= 0, "rise", self.rise, "zero or more", "to invert the wave, put the follower on the back")
        require(self.rise <= LARGEST_CAM_MM, "rise", self.rise, _AT_MOST, _UNITS)
        require(self.on in ("edge", "face"), "on", self.on, "'edge' or 'face'")

    @property
    def corners(self) -> Sequence[float]:
        """Angles within one lobe at which the slope or curvature jumps, rad. Default: none."""
        return ()

    def rise_at(self, psi: Array) -> Array:
        """Return the height above the base, mm, at (n,) angles ``psi`` round the cam, rad."""
        raise TypeError(f"{type(self).__name__} has no shape: define its method rise_at(psi)")

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad, at (n,) angles ``psi``, rad."""
        return smooth_slope(self.rise_at, psi, 1e-3 / self.lobes)

    def _within_lobe(self, psi: Array) -> Array:
        """Return the angles ``psi`` measured from the top of the nearest lobe, rad."""
        pitch = 2 * math.pi / self.lobes
        away: Array = psi - pitch * np.round(psi / pitch)
        return away


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave(CamShape):
    """A cam with harmonic lobes: the height is a cosine of the angle.

    >>> Wave(lobes=4, base_radius=60.0, rise=5.0).rise_at(np.array([0.0, np.pi / 4]))
    array([5., 0.])
    """

    kind: ClassVar[str] = "wave"

    def rise_at(self, psi: Array) -> Array:
        """Return ``rise * (1 + cos(lobes * psi)) / 2``."""
        height: Array = self.rise / 2 * (1 + np.cos(self.lobes * psi))
        return height

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad."""
        slope: Array = -self.rise / 2 * self.lobes * np.sin(self.lobes * psi)
        return slope


@dataclass(frozen=True, slots=True, kw_only=True)
class Scallop(CamShape):
    """A cam with round lobes that meet in sharp hollows: each lobe is an arc of a circle.

    The distance of the arc's centre from the cam's centre is ``d = (T^2 - R^2) / (2 (T - R cos(pi/lobes)))``, where R is the
    base radius and T = R + rise. With this distance the arc passes through the top of the lobe and the two hollows beside it.

    >>> Scallop(lobes=6, base_radius=50.0, rise=4.0).rise_at(np.array([0.0, np.pi / 6])).round(12)
    array([4., 0.])
    """

    kind: ClassVar[str] = "scallop"

    def _require_settings(self) -> None:
        super(Scallop, self)._require_settings()
        if self.on == "edge" and self.lobes > 2 and self.base_radius > 0:
            half = math.pi / self.lobes
            most = self.base_radius * ((1 + math.sin(half)) / math.cos(half) - 1)
            require(
                self.rise <= most,
                "rise",
                self.rise,
                f"at most {most:.6g} for {self.lobes} round lobes",
                "a higher lobe would overhang",
            )

    def _arc(self) -> tuple[float, float]:
        base, top = self.base_radius, self.base_radius + self.rise
        centre = (top**2 - base**2) / (2 * (top - base * math.cos(math.pi / self.lobes)))
        return centre, top - centre

    @property
    def corners(self) -> Sequence[float]:
        """The angle of the hollow half-way between two lobes."""
        return (math.pi / self.lobes,) if self.lobes > 1 else ()

    def rise_at(self, psi: Array) -> Array:
        """Return the height of the arcs above the base radius, mm."""
        centre, radius = self._arc()
        away = self._within_lobe(psi)
        height: Array = (
            centre * np.cos(away) + np.sqrt(np.maximum(radius**2 - (centre * np.sin(away)) ** 2, 0.0)) - self.base_radius
        )
        return height

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad."""
        centre, radius = self._arc()
        away = self._within_lobe(psi)
        sine, cosine = np.sin(away), np.cos(away)
        slope: Array = -centre * sine * (1 + centre * cosine / np.sqrt(np.maximum(radius**2 - (centre * sine) ** 2, 1e-300)))
        return slope


@dataclass(frozen=True, slots=True, kw_only=True)
class EccentricCam:
    """A circular disc that is mounted eccentrically.

    Parameters
    ----------
    radius : float, mm
        Radius of the disc, from 0.01 to 1000.
    offset : float, mm
        Distance of the disc's centre from the spindle axis, smaller than the radius by at least 0.01.

    Examples
    --------
    >>> EccentricCam(radius=30.0, offset=10.0).rise_at(np.array([0.0, np.pi]))
    array([20.,  0.])
    """

    kind: ClassVar[str] = "eccentric"
    lobes: ClassVar[int] = 1
    on: ClassVar[Literal["edge"]] = "edge"
    corners: ClassVar[Sequence[float]] = ()
    radius: Length
    offset: Length

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require_size("radius", self.radius)
            within = 0 <= self.offset < self.radius or self.radius <= 0
            require(within, "offset", self.offset, f"from 0 to less than the radius, {self.radius:g}")
            most = self.radius - SMALLEST_CAM_MM
            near = f"at most {most:.12g}: the edge must be at least {SMALLEST_CAM_MM:g} mm from the spindle's axis"
            require(self.offset <= most or self.radius <= 0, "offset", self.offset, near)

    @property
    def base_radius(self) -> float:
        """Smallest distance of the edge from the spindle axis, mm."""
        return self.radius - self.offset

    def rise_at(self, psi: Array) -> Array:
        """Return the height above the lowest point of the edge, mm."""
        height: Array = self.offset * np.cos(psi) + np.sqrt(self.radius**2 - (self.offset * np.sin(psi)) ** 2) - self.base_radius
        return height

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad."""
        sine, cosine = np.sin(psi), np.cos(psi)
        slope: Array = -self.offset * sine * (1 + self.offset * cosine / np.sqrt(self.radius**2 - (self.offset * sine) ** 2))
        return slope


@dataclass(frozen=True, slots=True, kw_only=True)
class MotionLaw(CamShape):
    """A cam whose lobes rise, dwell at the top, fall, and dwell at the base, according to a named motion law.

    Counterclockwise round the cam, each lobe rises over ``rise_part``, dwells at the top over ``dwell_part``, falls over
    ``fall_part``, and dwells at the base over the remainder. The middle of the dwell at the top is at angle zero.

    Parameters
    ----------
    law : str
        "harmonic", "cycloidal", "3-4-5", "4-5-6-7", "modified sine" or "modified trapezoid".
    rise_part, dwell_part, fall_part : Fraction, or what `lobework.quantities.units.ratio` reads
        Fractions of a lobe; their sum is at most one, and rise and fall are above zero.

    Examples
    --------
    >>> cam = MotionLaw(law="harmonic", lobes=3, base_radius=40.0, rise=6.0, rise_part="1/4", fall_part="1/4")
    >>> cam.rise_at(np.array([0.0, np.pi / 12, np.pi / 4])).round(12)
    array([6., 3., 0.])
    """

    kind: ClassVar[str] = "law"
    law: LawName
    rise_part: Fraction = Fraction(1, 2)
    dwell_part: Fraction = Fraction(0)
    fall_part: Fraction = Fraction(1, 2)

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            lobes: int,
            base_radius: float,
            rise: float,
            on: Literal["edge", "face"] = ...,
            law: LawName,
            rise_part: Written = ...,
            dwell_part: Written = ...,
            fall_part: Written = ...,
        ) -> None: ...

    def _require_settings(self) -> None:
        super(MotionLaw, self)._require_settings()
        require(self.law in LAWS, "law", self.law, ", ".join(map(repr, LAWS)))
        for name in ("rise_part", "dwell_part", "fall_part"):
            object.__setattr__(self, name, ratio(getattr(self, name)))
        require(0 < self.rise_part < 1, "rise_part", self.rise_part, "between 0 and 1")
        require(0 < self.fall_part < 1, "fall_part", self.fall_part, "between 0 and 1")
        low = 1 - self.rise_part - self.fall_part
        require(
            0 <= self.dwell_part <= low or not (0 < self.rise_part < 1 and 0 < self.fall_part < 1),
            "dwell_part",
            self.dwell_part,
            f"from 0 to {low}, the fraction of the lobe that remains beside rise and fall",
        )

    def _edges(self) -> tuple[float, float, float, float]:
        """Return the beginning and end of the rise and of the fall, as fractions of a lobe from angle zero."""
        half = float(self.dwell_part) / 2
        return -half - float(self.rise_part), -half, half, half + float(self.fall_part)

    @property
    def corners(self) -> Sequence[float]:
        """The angles at which the pieces of the motion meet."""
        rise_from, rise_to, fall_from, fall_to = self._edges()
        meets = {rise_from, rise_to, fall_from, fall_to}
        for at in BREAKS.get(self.law, ()):
            meets |= {rise_from + at * (rise_to - rise_from), fall_from + at * (fall_to - fall_from)}
        return sorted((meet % 1.0) * 2 * math.pi / self.lobes for meet in meets)

    def _pieces(self, psi: Array, order: int) -> Array:
        rise_from, rise_to, fall_from, fall_to = self._edges()
        part = rise_from + np.mod(psi * self.lobes / (2 * math.pi) - rise_from, 1.0)
        rising = np.clip((part - rise_from) / (rise_to - rise_from), 0, 1)
        falling = np.clip((fall_to - part) / (fall_to - fall_from), 0, 1)
        up, down = law_at(self.law, rising, order), law_at(self.law, falling, order)
        if order == 0:
            return self.rise * np.where(part < fall_from, up, down)
        per_lobe = self.lobes / (2 * math.pi)
        up = up * (per_lobe / (rise_to - rise_from)) ** order
        down = down * (-per_lobe / (fall_to - fall_from)) ** order
        moving = [part < rise_to, (part >= fall_from) & (part < fall_to)]
        return self.rise * np.select(moving, [up, down], 0.0)

    def rise_at(self, psi: Array) -> Array:
        """Return the height above the base, mm."""
        return self._pieces(psi, 0)

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad."""
        return self._pieces(psi, 1)

    def derivative_at(self, psi: Array, order: int) -> Array:
        """Return the derivative of `rise_at` of order 1 to 3, mm/rad**order, at (n,) angles ``psi``, rad."""
        return self._pieces(psi, order)
