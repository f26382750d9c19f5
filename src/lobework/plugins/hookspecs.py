"""The hooks that register all items, built-in ones included: chucks, cams, followers, cutters, pieces, backends, targets, checks.

A plugin is a module with ``lobework_contract = 2`` and at least one of these functions, decorated with `hookimpl`.
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

CONTRACT: Final = 2
"""Version of the interface between lobework and its plugins; the version increases only when a change breaks existing plugins."""

hookimpl = pluggy.HookimplMarker("lobework")
"""Decorator that marks a function of a plugin as an implementation of one of the hooks below."""

_hookspec = pluggy.HookspecMarker("lobework")


class Check(Protocol):
    """A function that examines cuts and returns findings; the ``__name__`` of the function is the name of the check."""

    __name__: str

    def __call__(self, cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterable[Finding]:
        """Return the findings on the cuts; ``traces`` has the trace of each cut, in the order of ``cuts``."""


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
    """Return carving backends: each keeps the promises of `lobework.carve.Backend`."""


@_hookspec
def lobework_targets() -> list[Target]:
    """Return targets: each converts one kind of object (a drawing, traces, a program, settings or a carving) into one file."""


@_hookspec
def lobework_checks() -> list[Check]:
    """Return checks: functions of ``(cuts, traces)`` that return findings."""


@_hookspec
def lobework_samples() -> list[Sample]:
    """Return the samples with which the kit `lobework.testing` tests the items of the plugin: one or more for each item."""
