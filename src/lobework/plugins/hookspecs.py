"""The hooks through which every cam, follower, chuck, cutter, piece, backend, target and check comes in, shipped or not.

A plugin is a module with ``lobework_contract = 1`` and at least one of these functions, marked `hookimpl`.
"""
# mypy: disable-error-code="empty-body"

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Protocol

import pluggy

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lobework.carve import Backend
    from lobework.checks.check import Finding
    from lobework.kinematics.trace import Trace
    from lobework.lathe.passes import Cut
    from lobework.parts.protocols import Cam, Chuck, Cutter, Follower, Piece
    from lobework.plugins.sample import Sample
    from lobework.targets import Target

__all__ = ["CONTRACT", "Check", "hookimpl"]

CONTRACT: Final = 1
"""What plugins and lobework have agreed on; it grows only when a plugin written for the old one would break."""

hookimpl = pluggy.HookimplMarker("lobework")
"""Marks a plugin's function as one of the hooks below."""

_hookspec = pluggy.HookspecMarker("lobework")


class Check(Protocol):
    """A function that looks at what will be cut and says what is wrong with it; it is known by its ``__name__``."""

    __name__: str

    def __call__(self, cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterable[Finding]:
        """Return what was found in cuts and their traces, which stand in the same order."""


@_hookspec
def lobework_cams() -> list[type[Cam]]:
    """Return cam shapes: frozen dataclasses that keep the promises of `lobework.plugins.Cam`."""


@_hookspec
def lobework_followers() -> list[type[Follower]]:
    """Return followers: frozen dataclasses that keep the promises of `lobework.plugins.Follower`."""


@_hookspec
def lobework_chucks() -> list[type[Chuck]]:
    """Return chucks: frozen dataclasses that keep the promises of `lobework.plugins.Chuck`."""


@_hookspec
def lobework_cutters() -> list[type[Cutter]]:
    """Return cutters: frozen dataclasses that keep the promises of `lobework.plugins.Cutter`."""


@_hookspec
def lobework_pieces() -> list[type[Piece]]:
    """Return forms of work: frozen dataclasses that keep the promises of `lobework.plugins.Piece`."""


@_hookspec
def lobework_backends() -> list[Backend]:
    """Return ways of carving: each keeps the promises of `lobework.carve.Backend`."""


@_hookspec
def lobework_targets() -> list[Target]:
    """Return targets: each turns a drawing, traces, a program or settings into one whole file."""


@_hookspec
def lobework_checks() -> list[Check]:
    """Return checks: functions of ``(cuts, traces)`` that return what they found."""


@_hookspec
def lobework_samples() -> list[Sample]:
    """Return what the kit `lobework.testing` tries these things with: at least one sample of each."""
