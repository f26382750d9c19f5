"""What a program cuts on the work, beside what the job asks for."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.errors import SettingError
from lobework.geometry.continuity import all_finite
from lobework.proof.line import laid
from lobework.proof.reader import LETTERS
from lobework.quantities.tolerances import JOIN_MM
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.motion import Motion
    from lobework.proof.replay import Moves
    from lobework.proof.sampling import Samples
    from lobework.proof.setups import SetUp

    Ints = NDArray[np.int64]

__all__ = ["SHARE", "Astray", "Compared", "Model", "compared", "pieces_of", "placed"]

SHARE: Final = 0.05
"""Of the tolerance: how far a path may stray between two places that are looked at."""

_A_TURN: Final = 16
_A_LOBE: Final = 8
_LOOKED_CLOSER: Final = 16_384
_ENDLESS: Final = 1e12
_GONE: Final = 50
"""How many times the tolerance away a cut is another one."""
_FAR: Final = 1.01 * _GONE
"""How many times the tolerance away it need not be known what is nearest."""
_BEYOND: Final = 1.05
"""Times the tolerance, from an edge of what is cut: a place of the job's path that is cut too, unless a piece is left out."""
_GOLDEN: Final = (math.sqrt(5) - 1) / 2
_HALVINGS: Final = 40


Model = Callable[["Array"], "Array"]
"""Where the axes stand, (n, 6), to where the tip is on the work, (n, 3) mm."""


class Astray(NamedTuple):
    """How far two paths are apart somewhere, mm: at ``line`` of the program and ``u`` of a cut (its place in the set-up)."""

    mm: float
    line: int
    cut: int
    u: float
    place: tuple[float, float, float]


def placed(motion: Motion, columns: Sequence[int], names: Sequence[str]) -> Callable[[Array], Array]:
    """Return the lathe's model as a function of (n, 6) axes: of those that the program leads.

    It raises `SettingError` where a place on the work is not finite.
    """

    def place(axes: Array) -> Array:
        points = motion.place_of({name: axes[:, column] for name, column in zip(names, columns, strict=True)})
        if not all_finite(points):
            lost = axes[~np.isfinite(points).all(axis=1)][0]
            stands = ", ".join(
                f"{name} {format_number(float(lost[column]), 3)}" for name, column in zip(names, columns, strict=True)
            )
            raise SettingError(f"the lathe's model gives a place that is not finite, with {stands}", f"pass[{motion.cut.group}]")
        return points

    return place


def pieces_of(motion: Motion, start: Array, end: Array, letters: Mapping[str, str]) -> Ints:
    """Return in how many pieces to look at (n, 6) moves at first: by turns, and by lobes that go past."""
    a_turn = np.zeros(len(LETTERS))
    for letter, moves in letters.items():
        if moves not in ("x", "y", "z"):
            a_turn[LETTERS.index(letter)] = _A_TURN
    by_name = {moves: LETTERS.index(letter) for letter, moves in letters.items()}
    for number, drive in enumerate(motion.cut.passed.cams, 1):
        own = by_name.get(f"cam {number}")
        column, ratio = (own, 1.0) if own is not None else (by_name.get("spindle"), abs(float(drive.ratio)))
        if column is not None:
            a_turn[column] = max(a_turn[column], _A_LOBE * drive.cam.lobes * ratio)
    pieces: Ints = np.clip(np.ceil((np.abs(end - start) * (a_turn / 360)).max(axis=1)), 1, _ENDLESS).astype(np.int64)
    return pieces


class Compared(NamedTuple):
    """What came of a set-up: the worst of what is cut; and of each cut the worst that is owed, and how much of it is missing."""

    cut: Astray | None
    owed: list[Astray]
    missing: list[float]


def compared(
    setup: SetUp,
    moves: Moves,
    counts: NDArray[np.bool_],
    samples: Samples,
    tolerance: float,
    model: Model,
    touches: Callable[[Array], NDArray[np.bool_]],
) -> Compared:
    """Return how far the program's path in one set-up and the job's are apart.

    Parameters
    ----------
    setup : SetUp
        The cuts, traced to `SHARE` of the tolerance.
    moves : Moves
        At a feed, in this set-up.
    counts : (k,) bool
        Which of the samples are beside the job's path only where the program is wrong: not those on the way in or out.
    samples : Samples
        Of these moves.
    tolerance : float, mm
        What is allowed.
    model : callable
        The lathe's model of (n, 6) axes.
    touches : callable
        Whether (n, 3) places are on the work or in it: what goes by in the air cuts nothing.
    """
    cut = _worst_cut(setup, moves, counts, samples, tolerance, touches)
    if not len(samples.points):
        none = [Astray(math.inf, 0, k, 0.0, _xyz(setup.path[end - 1])) for k, end in enumerate(setup.ends)]
        return Compared(cut, none, [1.0] * len(none))
    onward = np.append(~_begins(moves)[samples.move[1:]] | (np.diff(samples.move) == 0), False)
    done = laid(samples.points, onward)
    path, u, ends = _with_edges(setup, samples.points[_edges(samples.points, onward)], tolerance)
    far, segment, _ = done.nearest(path, tolerance, _FAR * tolerance)
    far = _closer_to_moves(path, far, segment, moves, samples, model, tolerance)
    owed, missing = [], []
    for k, (first, end) in enumerate(zip(np.concatenate([[0], ends[:-1]]), ends, strict=True)):
        worst = first + int(far[first:end].argmax())
        move = int(samples.move[segment[worst]])
        owed.append(Astray(float(far[worst]), int(moves.line[move]), k, float(u[worst]), _xyz(path[worst])))
        missing.append(float((~(far[first:end] <= _GONE * tolerance)).mean()))
    return Compared(cut, owed, missing)


def _edges(points: Array, onward: NDArray[np.bool_]) -> Ints:
    """Return which of (n, 3) points along a path are where it begins, ends or turns back."""
    goes = np.diff(points, axis=0)
    moved = np.flatnonzero((np.linalg.norm(goes, axis=1) > JOIN_MM) & onward[:-1])
    back = np.einsum("ij,ij->i", goes[moved[1:]], goes[moved[:-1]]) <= 0
    ends = np.flatnonzero(~onward)
    found: Ints = np.unique(np.concatenate([[0], ends, ends[:-1] + 1, moved[1:][back]]))
    return found


def _with_edges(setup: SetUp, edges: Array, tolerance: float) -> tuple[Array, Array, Ints]:
    """Return the job's path, its places by ``u``, and where its cuts end, with places just beyond each edge of what is cut.

    Where a piece of the path is left out, what is cut has an edge at either end of it, though no point of the path need lie
    between them; halfway between two edges is looked at too, to say how much is left out.
    """
    u = np.concatenate([each.u for each in setup.traces])
    begins = np.concatenate([[0], setup.ends[:-1]])
    lengths = np.linalg.norm(np.diff(setup.path, axis=0), axis=1)
    lengths[setup.ends[:-1] - 1] = 1.0
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    far, segment, part = setup.asked.nearest(edges, 0.0)
    which = np.searchsorted(setup.ends, segment, side="right")
    at = along[segment] + part * np.append(lengths, 0.0)[segment]
    low, high, near = along[begins[which]], along[setup.ends[which] - 1], far <= 2 * tolerance
    sides = [to[near & (low < to) & (to < high)] for to in (at - _BEYOND * tolerance, at + _BEYOND * tolerance)]
    edge = np.unique(np.concatenate([at[near], low[near], high[near]]))
    beyond = np.unique(np.concatenate([*sides, 0.5 * (edge[1:] + edge[:-1])]))
    place = np.searchsorted(along, beyond)
    between = np.isin(place, setup.ends)
    place, there = place[~between], np.interp(beyond[~between], along, u)
    cut = np.searchsorted(setup.ends, place, side="right")
    points = [setup.traces[k].motion.place(there[cut == k]) for k in np.unique(cut)]
    path = np.insert(setup.path, place, np.concatenate(points), axis=0) if points else setup.path
    ends: Ints = setup.ends + np.searchsorted(place, setup.ends)
    return path, np.insert(u, place, there), ends


def _begins(moves: Moves) -> NDArray[np.bool_]:
    """Return which moves do not begin where the one before ends: others have gone between."""
    begins: NDArray[np.bool_] = np.ones(len(moves.start), bool)
    if len(moves.start):
        begins[1:] = (moves.start[1:] != moves.end[:-1]).any(axis=1)
    return begins


def _worst_cut(
    setup: SetUp,
    moves: Moves,
    counts: NDArray[np.bool_],
    samples: Samples,
    tolerance: float,
    touches: Callable[[Array], NDArray[np.bool_]],
) -> Astray | None:
    points = samples.points[counts]
    if not len(points):
        return None
    far, segment, along = setup.asked.nearest(points, tolerance, _FAR * tolerance)
    beside = np.flatnonzero(~(far <= tolerance))
    far[beside[~touches(points[beside])]] = 0.0
    which = np.searchsorted(setup.ends, segment, side="right")
    begins = np.concatenate([[0], setup.ends[:-1]])
    for k in np.unique(which[far > tolerance * (1 - SHARE)]):
        near = np.flatnonzero((which == k) & (far > tolerance * (1 - SHARE)) & (far < 10 * tolerance))[:_LOOKED_CLOSER]
        u, at = setup.traces[k].u, segment[near] - begins[k]
        low, high = u[np.maximum(at - 1, 0)], u[np.minimum(at + 2, u.size - 1)]
        far[near] = _closest(setup.traces[k].motion.place, points[near], low, high, far[near])
    worst = int(far.argmax())
    k = int(which[worst])
    u, at = setup.traces[k].u, int(segment[worst] - begins[k])
    there = float(u[at] + along[worst] * (u[min(at + 1, u.size - 1)] - u[at]))
    line = int(moves.line[samples.move[np.flatnonzero(counts)[worst]]])
    return Astray(float(far[worst]), line, k, there, _xyz(points[worst]))


def _closer_to_moves(
    path: Array, far: Array, segment: Ints, moves: Moves, samples: Samples, model: Model, tolerance: float
) -> Array:
    """Return distances to samples of moves, those about the tolerance made exact."""
    near = np.flatnonzero((far > tolerance * (1 - SHARE)) & (far < 10 * tolerance))[:_LOOKED_CLOSER]
    if not near.size:
        return far
    move = samples.move[segment[near]]
    at = segment[near]
    before, after = np.maximum(at - 1, 0), np.minimum(at + 2, samples.move.size - 1)
    low = np.where(samples.move[before] == move, samples.part[before], 0.0)
    high = np.where(samples.move[after] == move, samples.part[after], 1.0)

    def along(part: Array) -> Array:
        return model(moves.start[move] + part[:, None] * (moves.end[move] - moves.start[move]))

    far[near] = _closest(along, path[near], low, high, far[near])
    return far


def _closest(curve: Callable[[Array], Array], points: Array, low: Array, high: Array, known: Array) -> Array:
    """Return how near a curve comes to (n, 3) points between (n,) places on it, no further than is ``known``; golden section."""

    def off(at: Array) -> Array:
        distance: Array = np.linalg.norm(curve(at) - points, axis=1)
        return distance

    one, two = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    at_one, at_two = off(one), off(two)
    for _ in range(_HALVINGS):
        nearer = at_one < at_two
        low, high = np.where(nearer, low, one), np.where(nearer, two, high)
        one, two = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        at_one, at_two = off(one), off(two)
    closest: Array = np.minimum(known, np.minimum(at_one, at_two))
    return closest


def _xyz(point: Array) -> tuple[float, float, float]:
    x, y, z = point.tolist()
    return x, y, z
