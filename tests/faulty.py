"""Chucks and cams that are sound but for one place: there they give no number, or they jump."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lobework.geometry.rigid import Rigid
from lobework.parts.cam import CamShape
from lobework.quantities.fields import Length

__all__ = ["FaultyCam", "FaultyChuck", "SilentChuck"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultyChuck:
    """A chuck that shifts and swings the work, and from ``at`` on, for ``wide`` turns, does what its fault is."""

    kind: ClassVar[str] = "faulty"
    is_dynamic: ClassVar[bool] = True
    period_turns: ClassVar[int | None] = 1
    fault: str
    at: float = 0.27
    wide: float = 1e-3
    size: Length = 1.0

    def motions(self, theta):
        turns = theta / (2 * math.pi)
        part = np.mod(turns, 1.0)
        inside = (part >= self.at) & (part < self.at + self.wide)
        from_there = np.mod(theta - 2 * math.pi * self.at + math.pi, 2 * math.pi) - math.pi
        lost = {"nan": np.nan, "inf": np.inf}.get(self.fault)
        x = 3.0 * np.cos(theta) if lost is None else np.where(inside, lost, 3.0 * np.cos(theta))
        swung = 0.3 * np.sin(2 * theta)
        if self.fault == "nan turn":
            swung = np.where(inside, np.nan, swung)
        y = {
            "jump": self.size * inside,
            "whole turns": self.size * np.floor(turns),
            "one place": self.size * (np.abs(part - self.at) < 1e-12),
            "quick": self.size * np.sin(900 * theta),
            "corner": self.size * np.abs(np.sin(theta - self.at)),
            "root": self.size * np.sqrt(np.abs(np.sin(theta - self.at))),
            "steep": self.size * np.exp(-np.minimum((from_there / self.wide) ** 2, 40)),
        }.get(self.fault, 0 * theta)
        turned = {
            "turn": swung + inside * self.size / 20,
            "arctan": swung + np.arctan(np.tan(from_there)),
        }.get(self.fault, swung)
        return Rigid.move(x=x, y=y) @ Rigid.turn(turned)


class SilentChuck(FaultyChuck):
    """The same, and it does not say when it comes back."""

    kind = "silent"
    period_turns = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultyCam(CamShape):
    """A harmonic wave that, from ``at`` of each lobe on, for ``wide`` of a lobe, does what its fault is."""

    kind: ClassVar[str] = "faulty-cam"
    fault: str = ""
    at: float = 0.27
    wide: float = 0.1
    size: Length = 0.5

    def _inside(self, psi):
        part = np.mod(psi * self.lobes / (2 * math.pi), 1.0)
        return (part >= self.at) & (part < self.at + self.wide)

    @property
    def corners(self):
        pitch = 2 * math.pi / self.lobes
        return (self.at * pitch, (self.at + self.wide) * pitch) if self.fault == "named jump" else ()

    def rise_at(self, psi):
        rise, inside = self.rise * (1 + np.cos(self.lobes * psi)) / 2, self._inside(psi)
        lost = {"nan": np.nan, "inf": np.inf}.get(self.fault)
        rise = rise if lost is None else np.where(inside, lost, rise)
        return rise + self.size * inside if self.fault in ("jump", "named jump") else rise

    def slope_at(self, psi):
        slope = -self.rise * self.lobes / 2 * np.sin(self.lobes * psi)
        return np.where(self._inside(psi), np.nan, slope) if self.fault == "nan slope" else slope
