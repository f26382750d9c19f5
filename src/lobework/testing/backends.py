"""The promises of every carving backend."""

from __future__ import annotations

import contextlib
import functools
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve import stock_of
from lobework.carve.backend import EVERYTHING, accuracy_of, refuse
from lobework.carve.plain import PlainBackend
from lobework.errors import PluginError
from lobework.geometry.surface import Face
from lobework.parts.cutter import Vee
from lobework.parts.piece import Barrel, Disc
from lobework.quantities.tolerances import CARVED_MM, COARSEST_MM
from lobework.testing.carvings import (
    about,
    assert_same,
    carved,
    carvings_for,
    deep_carvings_for,
    on_face,
    on_round,
    wide_carvings_for,
)
from lobework.testing.compare import Broken, assert_close
from lobework.testing.promise import promised
from lobework.testing.refusal import refused

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from lobework.carve import Backend, Stock, Sweep
    from lobework.carve.stock import Depth
    from lobework.plugins.sample import Sample

    _Sweeps = tuple[Sweep, ...]
    _Change = Callable[[_Sweeps], _Sweeps]

__all__: list[str] = []

_SAME: Final = 1e-6
"""Tolerance, mm, for comparing carvings whose passes are repeated or cut in another order."""
_REFERENCE: Final = PlainBackend()


class _Stop(Exception):  # noqa: N818  (the exception stops the carving; it is not an error)
    """Raised by a progress callback to stop the carving."""


def _one_per_surface(backend: Backend) -> Iterator[tuple[str, Stock, tuple[Sweep, ...]]]:
    """Yield one carving for each surface that the backend can carve; for promises that do not depend on the holder."""
    seen = set()
    for name, stock, sweeps in carvings_for(backend.can):
        if (form := name.partition(",")[0]) not in seen:
            seen.add(form)
            yield name, stock, sweeps


def _carves(backend: Backend, stock: Stock, sweeps: tuple[Sweep, ...]) -> Callable[[tuple[float, float]], Depth]:
    return lambda shift: carved(backend, stock, *sweeps, shift=shift)


@functools.cache
def _by_reference(name: str, shift: tuple[float, float], change: str = "") -> Depth:
    """Return the depths that the reference backend carves; the passes of the carving ``name`` are first changed by ``change``."""
    stock, sweeps = next((stock, sweeps) for each, stock, sweeps in carvings_for(EVERYTHING) if each == name)
    return carved(_REFERENCE, stock, *_CHANGES[change](sweeps), shift=shift)


@contextlib.contextmanager
def _named(name: str) -> Iterator[None]:
    """Put the name of the carving before the message of a `Broken` that is raised in the context."""
    try:
        yield
    except Broken as broken:
        raise Broken(f"{name}: {broken}") from None


_GROOVES_MM: Final = (0.004, 0.8, 2.6, 6.5)
"""Depths of the grooves, from a scratch to a depth greater than the thickness of the disc."""
_BESIDE_MM: Final = 0.0013
"""Distance from a ray to the middle of a groove; it is less than the width of the shallowest groove."""


@promised(
    "backend",
    "states its accuracy",
    "The attribute within gives the accuracy in mm, which must be too small to be visible in the carved work.",
    f"{COARSEST_MM:g} mm",
)
def _accuracy(sample: Sample) -> int:
    try:
        accuracy_of(sample.part)
    except PluginError as error:
        raise Broken(str(error)) from None
    return 1


@promised(
    "backend",
    "carves like the reference",
    "The backend carves everything that it claims to carve, and carves it like the plain backend.",
    f"{CARVED_MM:g} mm, or the within of the backend",
)
def _like_reference(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in carvings_for(backend.can):
        with _named(name):
            assert_same(_carves(backend, stock, sweeps), functools.partial(_by_reference, name), accuracy_of(backend))
        rays += stock.rows * stock.columns
    if not rays:
        raise Broken(f"can lists {', '.join(sorted(backend.can))}; it must include at least one surface and one holder")
    return rays


@promised(
    "backend",
    "carves deep passes like the reference",
    "The backend carves a pass several mm deep like the plain backend, on every surface and with every holder.",
    f"{CARVED_MM:g} mm, or the within of the backend",
)
def _deep(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in deep_carvings_for(backend.can):
        with _named(name):
            assert_same(_carves(backend, stock, sweeps), functools.partial(_deep_by_reference, name), accuracy_of(backend))
        rays += stock.rows * stock.columns
    return rays


@functools.cache
def _deep_by_reference(name: str, shift: tuple[float, float]) -> Depth:
    stock, sweeps = next((stock, sweeps) for each, stock, sweeps in deep_carvings_for(EVERYTHING) if each == name)
    return carved(_REFERENCE, stock, *sweeps, shift=shift)


@promised(
    "backend",
    "treats each carving independently",
    "No carving depends on earlier ones, not even on passes with the same length and ends or on work of the same size.",
    f"{CARVED_MM:g} mm, or the within of the backend",
)
def _independent(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        carved(backend, stock, *sweeps)
        rays += sum(_assert_changed(backend, name, stock, sweeps, change) for change in _OTHER_PASSES)
    return rays


@promised(
    "backend",
    "carves passes of any length",
    "Passes of one position, of many positions and with repeated positions, and many passes, are carved like the plain backend.",
    f"{CARVED_MM:g} mm, or the within of the backend",
)
def _any_length(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        rays += sum(_assert_changed(backend, name, stock, sweeps, change) for change in _LENGTHS)
    return rays


def _assert_changed(backend: Backend, name: str, stock: Stock, sweeps: _Sweeps, change: str) -> int:
    """Compare how a backend and the reference backend carve the changed passes; return the number of rays."""
    with _named(f"{name}, {change}"):
        changed = _CHANGES[change](sweeps)
        assert_same(_carves(backend, stock, changed), functools.partial(_by_reference, name, change=change), accuracy_of(backend))
    return stock.rows * stock.columns


def _straight(sweep: Sweep, parts: object) -> Sweep:
    """Return a straight pass from the first to the last position of a sweep, with points at the fractions ``parts``."""
    part = np.asarray(parts, dtype=np.float64)[:, None]
    arrays = (sweep.tip, sweep.outward, sweep.level)
    tip, out, level = (each[:1] + part * (each[-1:] - each[:1]) if len(each) > 1 else each.copy() for each in arrays)
    out, level = about(out, level)
    return replace(sweep, tip=tip, outward=out, level=level)


def _bent(sweeps: tuple[Sweep, ...]) -> tuple[Sweep, ...]:
    """Return passes with the same first and last positions, and with all other positions moved slightly."""
    bent = []
    for sweep in sweeps:
        tip = sweep.tip.copy()
        tip[1:-1] *= (0.9, 0.9, 1.0)
        bent.append(replace(sweep, tip=tip))
    return tuple(bent)


_OTHER_PASSES: Final[dict[str, _Change]] = {
    "moved inwards": _bent,
    "the last pass alone": lambda sweeps: sweeps[-1:],
    "the first alone": lambda sweeps: sweeps[:1],
}
_LENGTHS: Final[dict[str, _Change]] = {
    "one place": lambda sweeps: (_straight(sweeps[-1], [0.0]),),
    "many places": lambda sweeps: (_straight(sweeps[-1], np.linspace(0.0, 1.0, 1201)),),
    "repeated places": lambda sweeps: (_straight(sweeps[-1], [0.0, 0.0, 0.0, 1.0, 1.0]),),
    "many passes": lambda sweeps: tuple(_straight(sweeps[-1], [part]) for part in np.linspace(0.0, 1.0, 40)),
}
_CHANGES: Final[dict[str, _Change]] = {"": lambda sweeps: sweeps, **_OTHER_PASSES, **_LENGTHS}


@promised(
    "backend",
    "is not given work that it cannot carve",
    "Work that the backend does not claim to carve is refused, with a message of one line, before anything is cut.",
)
def _refused_the_rest(sample: Sample) -> int:
    backend, cases = sample.part, 0
    if unknown := sorted(map(str, backend.can - EVERYTHING)):
        raise Broken(f"can contains {unknown[0]!r}; the abilities are {', '.join(sorted(EVERYTHING))}")
    for name, stock, sweeps in carvings_for(backend.can, lacking=True):
        with _named(name):
            refused(
                functools.partial(refuse, backend, stock, sweeps),
                "the backend does not claim to carve this, but the carving is not refused",
            )
        cases += 1
    return cases + 1


@promised(
    "backend",
    "cuts a groove of the right width",
    "On a face and on a barrel, a vee cutter of 90 degrees at a depth d cuts a groove 2 d wide with straight flanks.",
    f"{CARVED_MM:g} mm, or the within of the backend",
)
def _groove(sample: Sample) -> int:
    backend, cases = sample.part, 0
    for deep in _GROOVES_MM:
        vee = Vee(angle_deg=90.0, width=3.0 * max(deep, 1.0))
        if {"face", "drilling spindle"} <= backend.can:
            stock = stock_of(Disc(diameter=16.0, thickness=5.0), 0.37)
            middle = float(stock.row_positions[stock.rows // 2]) + _BESIDE_MM
            depth = carved(backend, stock, on_face(vee, [[-29.0, middle, -deep], [29.0, middle, -deep]]))
            expected = np.maximum(deep - np.abs(stock.row_positions[:, None] - middle), 0.0) * stock.inside
            assert_close(depth, expected, accuracy_of(backend), what=f"a straight groove on a face, {deep:g} mm deep")
            cases += depth.size
        if {"round", "drilling spindle"} <= backend.can:
            barrel = Barrel(diameter=20.0, length=9.0)
            stock, turn = stock_of(barrel, 0.67), np.linspace(0.0, 2 * np.pi, 25)
            middle = float(stock.row_positions[stock.rows // 2]) + _BESIDE_MM
            depth = carved(backend, stock, on_round(vee, barrel.surface, turn, 0 * turn + middle, 0 * turn + deep))
            expected = np.maximum(deep - np.abs(stock.row_positions[:, None] - middle), 0.0) + np.zeros(stock.shape)
            assert_close(depth, expected, accuracy_of(backend), what=f"a groove round a barrel, {deep:g} mm deep")
            cases += depth.size
    return cases


def _carved_before(stock: Stock) -> Depth:
    """Return the depths of an earlier carving; some are greater and some are less than the depths of the cuts in the test."""
    rows, columns = np.indices(stock.shape)
    return np.where(stock.inside, 0.05 * ((rows + 2 * columns) % 9), 0.0).astype(np.float32)


@promised(
    "backend",
    "never decreases a depth",
    "No depth decreases: each depth is the greater of the depth before the carving and the depth of the new cuts.",
    "1e-6 mm",
)
def _nothing_back(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        before = _carved_before(stock)
        after, alone = carved(backend, stock, *sweeps, onto=before), carved(backend, stock, *sweeps)
        with _named(name):
            assert_close(np.minimum(after - before, 0.0), np.zeros(stock.shape), 0.0, what="a depth decreases")
            assert_close(after, np.maximum(before, alone), _SAME, what="carved into work that was carved before")
        rays += before.size
    return rays


@promised(
    "backend", "changes no depth when passes are repeated", "If the same passes are cut again, no depth changes.", "1e-6 mm"
)
def _twice(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        once = carved(backend, stock, *sweeps)
        with _named(name):
            assert_close(carved(backend, stock, *sweeps, onto=once), once, _SAME, what="cut again")
            assert_close(carved(backend, stock, *sweeps), once, 0.0, what="the same passes, cut into uncut work")
        rays += once.size
    return rays


@promised("backend", "does not depend on the order of passes", "The depths do not depend on the order of the passes.", "1e-6 mm")
def _any_order(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        crossing = _crossing(stock, sweeps)
        ahead, back = carved(backend, stock, *crossing), carved(backend, stock, *crossing[::-1])
        with _named(name):
            assert_close(back, ahead, _SAME, what="the last pass first")
        rays += ahead.size
    return rays


def _crossing(stock: Stock, sweeps: tuple[Sweep, ...]) -> tuple[Sweep, ...]:
    """Return the passes and one more pass, which crosses them."""
    if isinstance(stock.surface, Face):
        return *sweeps, replace(sweeps[1], tip=np.array([[-0.5, -7.0, -0.25], [0.3, 7.0, -0.3]]), title="across")
    turned = sweeps[1].tip * np.array([-1.0, -1.0, 1.0])
    axes = (np.broadcast_to(each, turned.shape) * np.array([-1.0, -1.0, 1.0]) for each in (sweeps[1].outward, sweeps[1].level))
    return *sweeps, replace(sweeps[1], tip=turned, outward=next(axes), level=next(axes), title="across")


@promised("backend", "carves every pass", "Each of several passes is carved, including the first and the last.", "1e-6 mm")
def _drops_none(sample: Sample) -> int:
    backend, cases = sample.part, 0
    for name, stock, sweeps in carvings_for(backend.can, coarser=1.6):
        all_passes = carved(backend, stock, *sweeps)
        for number, sweep in enumerate(sweeps, 1):
            alone = carved(backend, stock, sweep)
            if not alone.any():
                raise Broken(f"{name}: pass {number} of {len(sweeps)}, cut by itself, is not carved")
            missing = alone - all_passes
            if not missing.max() <= _SAME:
                row, column = (int(each) for each in np.unravel_index(int(missing.argmax()), missing.shape))
                got = f"{all_passes[row, column]:.6g} instead of {alone[row, column]:.6g} mm at row {row}, column {column}"
                raise Broken(
                    f"{name}: pass {number} of {len(sweeps)} is carved less deep together with the other passes than alone: {got}"
                )
            cases += 1
    return cases


@promised(
    "backend",
    "carves no deeper than the deepest pass",
    "On a grid of many rays, several passes together leave the greatest depth that any one of the passes leaves alone.",
    "1e-6 mm",
)
def _adds_nothing(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in wide_carvings_for(backend.can):
        alone = np.maximum.reduce([carved(backend, stock, sweep) for sweep in sweeps])
        with _named(name):
            assert_close(
                carved(backend, stock, *sweeps), alone, _SAME, what="all passes together, compared with the deepest of each alone"
            )
        rays += alone.size
    return rays


@promised(
    "backend", "does not change its input", "The backend writes only to the array of depths, not to the passes or the stock."
)
def _leaves_alone(sample: Sample) -> int:
    backend, cases = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        arrays = [array for sweep in sweeps for array in (sweep.tip, sweep.outward, sweep.level)]
        arrays += [stock.row_positions, stock.column_positions]
        kept = [array.copy() for array in arrays]
        for array in arrays:
            array.flags.writeable = True
        given = list(sweeps)
        backend.carve(stock, given, stock.uncut())
        if given != list(sweeps):
            raise Broken(f"{name}: the backend changes the list of passes: {len(given)} instead of {len(sweeps)} passes")
        for array, before in zip(arrays, kept, strict=True):
            if not np.array_equal(array, before):
                raise Broken(
                    f"{name}: the backend changes an array of its input: "
                    f"{array.ravel()[:3].tolist()} instead of {before.ravel()[:3].tolist()}"
                )
            cases += 1
    return cases


@promised(
    "backend",
    "reports its progress",
    "The callback receives values from 0 to 1, the last of them 1; an error that it raises stops the carving unchanged.",
)
def _progress(sample: Sample) -> int:
    backend, cases = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        parts: list[float] = []
        with_it, without = stock.uncut(), carved(backend, stock, *sweeps)
        backend.carve(stock, sweeps, with_it, parts.append)
        if not parts or not all(0 <= each <= 1 for each in parts) or abs(parts[-1] - 1) > 1e-9:
            raise Broken(
                f"{name}: progress receives {parts[-3:] or 'nothing'}; the values must be from 0 to 1, and the last must be 1"
            )
        assert_close(with_it, without, 0.0, what=f"{name}: with progress, compared with the depths without progress")
        before = _carved_before(stock)
        onto = before.copy()
        backend.carve(stock, sweeps, onto, parts.append)
        assert_close(onto, np.maximum(before, without), _SAME, what=f"{name}: with progress, into work that was carved before")
        _stopped(backend, name, stock, sweeps)
        cases += len(parts)
    return cases


def _stopped(backend: Backend, name: str, stock: Stock, sweeps: tuple[Sweep, ...]) -> None:
    def stop(part: float) -> None:  # noqa: ARG001  (the value is not used)
        raise _Stop

    try:
        backend.carve(stock, sweeps, stock.uncut(), stop)
    except _Stop:
        return
    except Exception as error:
        raise Broken(f"{name}: an error raised by progress is replaced by {type(error).__name__}") from error
    raise Broken(f"{name}: an error raised by progress does not stop the carving")


@promised(
    "backend",
    "leaves the stock unchanged without a cut",
    "Without passes, or with passes above the surface, no depth changes; rays outside the work are never cut.",
)
def _uncut(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        before = _carved_before(stock)
        assert_close(carved(backend, stock, onto=before), before, 0.0, what=f"{name}: without a pass")
        above = [_lifted(stock, sweep) for sweep in sweeps]
        assert_close(carved(backend, stock, *above), stock.uncut(), 0.0, what=f"{name}: passes in the air")
        rays += 2 * before.size
    return rays


def _lifted(stock: Stock, sweep: Sweep) -> Sweep:
    """Return a pass moved outwards so far that no holder lets the cutter touch the work."""
    if isinstance(stock.surface, Face):
        return replace(sweep, tip=sweep.tip + np.array([0.0, 0.0, 5.0]))
    out = np.hypot(sweep.tip[:, 0], sweep.tip[:, 1])[:, None]
    return replace(sweep, tip=sweep.tip + np.concatenate([sweep.tip[:, :2] / out, 0 * out], axis=1) * 5.0)
