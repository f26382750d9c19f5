"""Comparison of the program's path on the work with the job's path."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.errors import SettingError
from lobework.geometry.continuity import all_finite
from lobework.proof.order import begins_run
from lobework.proof.polyline import polyline
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

__all__ = ["SHARE", "Comparison", "Model", "WorstPlace", "compare", "initial_pieces", "model_of"]

SHARE: Final = 0.05
"""Greatest deviation of a path from the chord between two samples, as a fraction of the tolerance."""

_PIECES_A_TURN: Final = 16
_PIECES_A_LOBE: Final = 8
_MOST_REFINED: Final = 16_384
_MOST_PIECES: Final = 1e12
_MISSING: Final = 50
"""Distance of a point of a cut from the program's path, as a multiple of the tolerance, beyond which the point is missing."""
_FAR: Final = 1.01 * _MISSING
"""Distance, as a multiple of the tolerance, beyond which the nearest segment need not be found."""
_BEYOND: Final = 1.05
"""Distance of an added sample of the job's path from an edge of the program's path, as a multiple of the tolerance.

An edge is a beginning, an end or a reversal. The program's path passes near such a sample too, unless the program omits a
piece of the job's path.
"""
_GOLDEN: Final = (math.sqrt(5) - 1) / 2
_HALVINGS: Final = 40


Model = Callable[["Array"], "Array"]
"""Function from positions of the axes, (n, 6), to positions of the tip on the work, (n, 3) mm."""


class WorstPlace(NamedTuple):
    """The greatest deviation, and where it occurs.

    ``mm``: the deviation. ``line``: line of the program. ``cut``: index of the cut in its set-up. ``u``: parameter of the point
    in the cut. ``place``: position on the work, mm.
    """

    mm: float
    line: int
    cut: int
    u: float
    place: tuple[float, float, float]


def model_of(motion: Motion, columns: Sequence[int], names: Sequence[str]) -> Callable[[Array], Array]:
    """Return the lathe's model as a function of (n, 6) positions of the axes.

    ``columns`` are the columns of the axes that the program moves; ``names`` are the names of what these axes move. The function
    raises `SettingError` if a position on the work is not finite.
    """

    def place(axes: Array) -> Array:
        points = motion.place_of({name: axes[:, column] for name, column in zip(names, columns, strict=True)})
        if not all_finite(points):
            lost = axes[~np.isfinite(points).all(axis=1)][0]
            position = ", ".join(
                f"{name} {format_number(float(lost[column]), 3)}" for name, column in zip(names, columns, strict=True)
            )
            problem = f"the lathe's model gives a position that is not finite, with {position}"
            raise SettingError(problem, where=f"pass[{motion.cut.group}]")
        return points

    return place


def initial_pieces(motion: Motion, start: Array, end: Array, letters: Mapping[str, str]) -> Ints:
    """Return the number of pieces into which each move is first divided; it grows with the turns of axes and lobes of cams."""
    per_turn = np.zeros(len(LETTERS))
    for letter, moves in letters.items():
        if moves not in ("x", "y", "z"):
            per_turn[LETTERS.index(letter)] = _PIECES_A_TURN
    by_name = {moves: LETTERS.index(letter) for letter, moves in letters.items()}
    for number, drive in enumerate(motion.cut.passed.cams, 1):
        own = by_name.get(f"cam {number}")
        column, ratio = (own, 1.0) if own is not None else (by_name.get("spindle"), abs(float(drive.ratio)))
        if column is not None:
            per_turn[column] = max(per_turn[column], _PIECES_A_LOBE * drive.cam.lobes * ratio)
    pieces: Ints = np.clip(np.ceil((np.abs(end - start) * (per_turn / 360)).max(axis=1)), 1, _MOST_PIECES).astype(np.int64)
    return pieces


class Comparison(NamedTuple):
    """The result of the comparison of one set-up.

    ``program_deviation``: the greatest deviation of the program's path from the job's path. ``job_deviations``: for each cut, the
    greatest deviation of the job's path from the program's. ``missing``: for each cut, the fraction of the cut that is not
    in the program.
    """

    program_deviation: WorstPlace | None
    job_deviations: list[WorstPlace]
    missing: list[float]


def compare(
    setup: SetUp,
    moves: Moves,
    counts: NDArray[np.bool_],
    samples: Samples,
    tolerance: float,
    model: Model,
    touches: Callable[[Array], NDArray[np.bool_]],
) -> Comparison:
    """Return the deviations between the program's path and the job's path in one set-up, in both directions.

    Parameters
    ----------
    setup : SetUp
        The cuts, traced with an error of at most `SHARE` times the tolerance.
    moves : Moves
        Feed moves in this set-up.
    counts : (k,) bool
        Whether each sample must lie on the job's path. Samples of plunges and retracts need not, except the deepest of a plunge.
    samples : Samples
        Samples of these moves.
    tolerance : float, mm
        Greatest allowed deviation.
    model : callable
        The lathe's model, a function of (n, 6) positions.
    touches : callable
        Function that returns which of (n, 3) positions are on the work or in it; a tip in the air cuts nothing.
    """
    program_deviation = _worst_of_program(setup, moves, counts, samples, tolerance, touches)
    if not len(samples.points):
        none = [WorstPlace(math.inf, 0, k, 0.0, _xyz(setup.path[end - 1])) for k, end in enumerate(setup.ends)]
        return Comparison(program_deviation, none, [1.0] * len(none))
    onward = np.append(~begins_run(moves)[samples.move[1:]] | (np.diff(samples.move) == 0), False)
    done = polyline(samples.points, onward)
    path, u, ends = _with_edges(setup, samples.points[_edges(samples.points, onward)], tolerance)
    far, segment, _ = done.nearest(path, tolerance, _FAR * tolerance)
    far = _refined_on_moves(path, far, segment, moves, samples, model, tolerance)
    job_deviations, missing = [], []
    for k, (first, end) in enumerate(zip(np.concatenate([[0], ends[:-1]]), ends, strict=True)):
        worst = first + int(far[first:end].argmax())
        move = int(samples.move[segment[worst]])
        job_deviations.append(WorstPlace(float(far[worst]), int(moves.line[move]), k, float(u[worst]), _xyz(path[worst])))
        missing.append(float((~(far[first:end] <= _MISSING * tolerance)).mean()))
    return Comparison(program_deviation, job_deviations, missing)


def _edges(points: Array, onward: NDArray[np.bool_]) -> Ints:
    """Return the indices of the points of a path at which the path begins, ends or reverses."""
    goes = np.diff(points, axis=0)
    moved = np.flatnonzero((np.linalg.norm(goes, axis=1) > JOIN_MM) & onward[:-1])
    back = np.einsum("ij,ij->i", goes[moved[1:]], goes[moved[:-1]]) <= 0
    ends = np.flatnonzero(~onward)
    found: Ints = np.unique(np.concatenate([[0], ends, ends[:-1] + 1, moved[1:][back]]))
    return found


def _with_edges(setup: SetUp, edges: Array, tolerance: float) -> tuple[Array, Array, Ints]:
    """Return the job's path, ``u`` of its points, and the ends of its cuts, with points added at edges of the program's path.

    If the program omits a piece of the job's path, the program's path has an edge at each end of that piece. The job's path need
    not have a point between these edges. So points are added on both sides of each edge, and halfway between two edges to measure
    the gap.
    """
    u = np.concatenate([each.u for each in setup.traces])
    begins = np.concatenate([[0], setup.ends[:-1]])
    lengths = np.linalg.norm(np.diff(setup.path, axis=0), axis=1)
    lengths[setup.ends[:-1] - 1] = 1.0
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    far, segment, part = setup.target.nearest(edges, 0.0)
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


def _worst_of_program(
    setup: SetUp,
    moves: Moves,
    counts: NDArray[np.bool_],
    samples: Samples,
    tolerance: float,
    touches: Callable[[Array], NDArray[np.bool_]],
) -> WorstPlace | None:
    points = samples.points[counts]
    if not len(points):
        return None
    far, segment, along = setup.target.nearest(points, tolerance, _FAR * tolerance)
    beside = np.flatnonzero(~(far <= tolerance))
    far[beside[~touches(points[beside])]] = 0.0
    which = np.searchsorted(setup.ends, segment, side="right")
    begins = np.concatenate([[0], setup.ends[:-1]])
    for k in np.unique(which[far > tolerance * (1 - SHARE)]):
        near = np.flatnonzero((which == k) & (far > tolerance * (1 - SHARE)) & (far < 10 * tolerance))[:_MOST_REFINED]
        u, at = setup.traces[k].u, segment[near] - begins[k]
        low, high = u[np.maximum(at - 1, 0)], u[np.minimum(at + 2, u.size - 1)]
        far[near] = _closest(setup.traces[k].motion.place, points[near], low, high, far[near])
    worst = int(far.argmax())
    k = int(which[worst])
    u, at = setup.traces[k].u, int(segment[worst] - begins[k])
    there = float(u[at] + along[worst] * (u[min(at + 1, u.size - 1)] - u[at]))
    line = int(moves.line[samples.move[np.flatnonzero(counts)[worst]]])
    return WorstPlace(float(far[worst]), line, k, there, _xyz(points[worst]))


def _refined_on_moves(
    path: Array, far: Array, segment: Ints, moves: Moves, samples: Samples, model: Model, tolerance: float
) -> Array:
    """Return the distances of (n, 3) points from the program's path; those near the tolerance are computed more accurately."""
    near = np.flatnonzero((far > tolerance * (1 - SHARE)) & (far < 10 * tolerance))[:_MOST_REFINED]
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
    """Return the distances of (n, 3) points from a curve between (n,) parameters, at most ``known``, by golden-section search."""

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
