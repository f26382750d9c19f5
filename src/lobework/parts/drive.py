"""A cam in a pass, with its drive and its follower."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from lobework.errors import require, together
from lobework.parts.protocols import Cam, Follower, require_rests
from lobework.parts.twist import Twist
from lobework.quantities.fields import Turning, require_numbers, require_part
from lobework.quantities.units import Phase, Written, ratio

__all__ = ["Drive", "Moves", "Side"]

Moves = Literal["sideways", "endways"]
Side = Literal["front", "back"]
_MOST_TURNS = 1_000_000


@dataclass(frozen=True, slots=True)
class Drive:
    """A cam with its drive and its follower.

    Parameters
    ----------
    cam : Cam
        The cam. An edge cam moves the headstock sideways, a face cam endways.
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        Cam turns per spindle turn; a negative ratio turns the cam backwards, zero holds it still.
    follower : Follower
        The follower that bears on the cam.
    phase : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the drive advances the cam relative to the spindle.
    index : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the cam's index notches advance it relative to the spindle; it is added to ``phase``.
    side : "front" or "back"
        Side of the cam on which the follower bears; "front" is the side of the cutter. A follower on the back inverts
        the wave.
    gain : float
        Travel of the headstock per mm of lift of the follower, above zero.
    twist : Twist, optional
        Change of the phase with the position along the work, or from turn to turn.
    name : str
        Name of the cam in the steps of a series and in the settings. Default: "cam 1", "cam 2" and so on.

    Examples
    --------
    >>> from lobework.parts.cam import Wave
    >>> from lobework.parts.follower import Roller
    >>> Drive(Wave(lobes=5, base_radius=60.0, rise=5.0), ratio="60 %", follower=Roller(3.0)).ratio
    Fraction(3, 5)
    """

    cam: Cam
    _: KW_ONLY
    follower: Follower
    ratio: Fraction = Fraction(1)
    phase: Turning = Phase()
    index: Turning = Phase()
    side: Side = "front"
    gain: float = 1.0
    twist: Twist | None = None
    name: str = ""

    if TYPE_CHECKING:

        def __init__(
            self,
            cam: Cam,
            *,
            follower: Follower,
            ratio: Written = ...,
            phase: Phase | Written = ...,
            index: Phase | Written = ...,
            side: Side = ...,
            gain: float = ...,
            twist: Twist | None = ...,
            name: str = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            require_part(self.cam, "rise_at", "cam", "a cam such as Wave(lobes=12, base_radius=62, rise=2.2)")
            require_part(self.follower, "nose_at", "follower", "a follower such as Knife() or Roller(3)")
            require_numbers(self)
            object.__setattr__(self, "ratio", ratio(self.ratio))
            object.__setattr__(self, "phase", Phase.of(self.phase))
            object.__setattr__(self, "index", Phase.of(self.index))
            for name in ("phase", "index"):
                turned = getattr(self, name).in_turns(self.cam.lobes)
                require(abs(turned) <= _MOST_TURNS, name, float(turned), f"at most {_MOST_TURNS} turns of the cam")
            require(self.side in ("front", "back"), "side", self.side, "'front' or 'back'")
            require(0 < self.gain < 1000, "gain", self.gain, "above zero", "to invert the wave, put the follower on the back")
            must_be = "a Twist, such as Twist(angle='60 deg', over=50)"
            require(self.twist is None or isinstance(self.twist, Twist), "twist", repr(self.twist), must_be)
            require_rests(self.cam, self.follower)

    @property
    def moves(self) -> Moves:
        """Direction in which the cam moves the headstock: "sideways" for an edge cam, "endways" for a face cam."""
        return "sideways" if self.cam.on == "edge" else "endways"

    @property
    def total_phase_rad(self) -> float:
        """Sum of phase and index, rad of the cam."""
        return (self.phase + self.index).in_radians(self.cam.lobes)
