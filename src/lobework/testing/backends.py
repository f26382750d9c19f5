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
"""Tolerance, mm, for passes that are repeated or cut in another order."""
_REFERENCE: Final = PlainBackend()


class _Stop(Exception):  # noqa: N818  (it stops the carving; it is not an error)
    """Raised by a progress callback to stop the carving."""


def _one_per_surface(backend: Backend) -> Iterator[tuple[str, Stock, tuple[Sweep, ...]]]:
    """Yield one carving of each surface that the backend can carve, for promises that do not depend on the holder."""
    seen = set()
    for name, stock, sweeps in carvings_for(backend.can):
        if (form := name.partition(",")[0]) not in seen:
            seen.add(form)
            yield name, stock, sweeps


def _carves(backend: Backend, stock: Stock, sweeps: tuple[Sweep, ...]) -> Callable[[tuple[float, float]], Depth]:
    return lambda shift: carved(backend, stock, *sweeps, shift=shift)


@functools.cache
def _by_reference(name: str, shift: tuple[float, float], change: str = "") -> Depth:
    """Return the depths of the reference backend for the carving called ``name``, with its passes changed by ``change``."""
    stock, sweeps = next((stock, sweeps) for each, stock, sweeps in carvings_for(EVERYTHING) if each == name)
    return carved(_REFERENCE, stock, *_CHANGES[change](sweeps), shift=shift)


@contextlib.contextmanager
def _named(name: str) -> Iterator[None]:
    """Add the name of the carving to `Broken` raised inside."""
    try:
        yield
    except Broken as broken:
        raise Broken(f"{name}: {broken}") from None


_GROOVES_MM: Final = (0.004, 0.8, 2.6, 6.5)
"""Depths of grooves, from a scratch to more than the thickness of the work."""
_BESIDE_MM: Final = 0.0013
"""Distance from a ray to the middle of a groove, less than the width of the scratch."""


@promised(
    "backend",
    "states its accuracy",
    "Its within is a number of mm, too small to be visible in the carved work.",
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
    "It carves everything that it claims to carve like the plain backend.",
    f"{CARVED_MM:g} mm, or its own within",
)
def _like_reference(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in carvings_for(backend.can):
        with _named(name):
            assert_same(_carves(backend, stock, sweeps), functools.partial(_by_reference, name), accuracy_of(backend))
        rays += stock.rows * stock.columns
    if not rays:
        raise Broken(f"it can carve {', '.join(sorted(backend.can))}: no surface, or no holder, is among them")
    return rays


@promised(
    "backend",
    "carves deep like the reference",
    "It carves a pass several mm deep like the plain backend, on every surface and with every holder.",
    f"{CARVED_MM:g} mm, or its own within",
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
    "Passes of equal length with the same ends are carved separately, and so are passes on other work of the same size.",
    f"{CARVED_MM:g} mm, or its own within",
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
    "It carves a pass of one place, of many places or with repeated places, and many passes, like the plain backend.",
    f"{CARVED_MM:g} mm, or its own within",
)
def _any_length(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        rays += sum(_assert_changed(backend, name, stock, sweeps, change) for change in _LENGTHS)
    return rays


def _assert_changed(backend: Backend, name: str, stock: Stock, sweeps: _Sweeps, change: str) -> int:
    """Compare the carving of changed passes with the carving by the reference backend; return the number of rays."""
    with _named(f"{name}, {change}"):
        changed = _CHANGES[change](sweeps)
        assert_same(_carves(backend, stock, changed), functools.partial(_by_reference, name, change=change), accuracy_of(backend))
    return stock.rows * stock.columns


def _straight(sweep: Sweep, parts: object) -> Sweep:
    """Return a straight pass from the first place of a sweep to its last, with places at these fractions of its length."""
    part = np.asarray(parts, dtype=np.float64)[:, None]
    arrays = (sweep.tip, sweep.outward, sweep.level)
    tip, out, level = (each[:1] + part * (each[-1:] - each[:1]) if len(each) > 1 else each.copy() for each in arrays)
    out, level = about(out, level)
    return replace(sweep, tip=tip, outward=out, level=level)


def _bent(sweeps: tuple[Sweep, ...]) -> tuple[Sweep, ...]:
    """Return passes with the same ends, and with their other places moved slightly."""
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
    "Work that it does not claim to carve is refused in one line before anything is cut.",
)
def _refused_the_rest(sample: Sample) -> int:
    backend, cases = sample.part, 0
    if unknown := sorted(map(str, backend.can - EVERYTHING)):
        raise Broken(f"can holds {unknown[0]!r}; it may hold {', '.join(sorted(EVERYTHING))}")
    for name, stock, sweeps in carvings_for(backend.can, lacking=True):
        with _named(name):
            refused(
                functools.partial(refuse, backend, stock, sweeps),
                "it does not claim to carve this, and the carving is not refused",
            )
        cases += 1
    return cases + 1


@promised(
    "backend",
    "cuts a groove of the right width",
    "A right-angled vee at depth d leaves a groove 2 d wide with straight flanks, on a face and a barrel, at any depth.",
    f"{CARVED_MM:g} mm, or its own within",
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
    """Return depths of an earlier carving, some deeper and some shallower than the cuts of the test."""
    rows, columns = np.indices(stock.shape)
    return np.where(stock.inside, 0.05 * ((rows + 2 * columns) % 9), 0.0).astype(np.float32)


@promised(
    "backend",
    "never decreases a depth",
    "No depth decreases, and each is the greatest of the depths carved before and now.",
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


@promised("backend", "changes nothing when repeated", "The same passes, cut again, change nothing.", "1e-6 mm")
def _twice(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        once = carved(backend, stock, *sweeps)
        with _named(name):
            assert_close(carved(backend, stock, *sweeps, onto=once), once, _SAME, what="cut again")
            assert_close(carved(backend, stock, *sweeps), once, 0.0, what="the same passes, cut into uncut work")
        rays += once.size
    return rays


@promised("backend", "cuts in any order", "The order of the passes does not matter.", "1e-6 mm")
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
    """Return the passes, and one more that crosses them."""
    if isinstance(stock.surface, Face):
        return *sweeps, replace(sweeps[1], tip=np.array([[-0.5, -7.0, -0.25], [0.3, 7.0, -0.3]]), title="across")
    turned = sweeps[1].tip * np.array([-1.0, -1.0, 1.0])
    axes = (np.broadcast_to(each, turned.shape) * np.array([-1.0, -1.0, 1.0]) for each in (sweeps[1].outward, sweeps[1].level))
    return *sweeps, replace(sweeps[1], tip=turned, outward=next(axes), level=next(axes), title="across")


@promised("backend", "carves every pass", "Each of several passes is carved, also the first and the last.", "1e-6 mm")
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
                raise Broken(f"{name}: pass {number} of {len(sweeps)} is carved less deep together with the others: {got}")
            cases += 1
    return cases


@promised(
    "backend",
    "adds nothing to the passes",
    "Passes of several depths, on a grid of many rays, leave the greatest depth that any of them leaves alone.",
    "1e-6 mm",
)
def _adds_nothing(sample: Sample) -> int:
    backend, rays = sample.part, 0
    for name, stock, sweeps in wide_carvings_for(backend.can):
        alone = np.maximum.reduce([carved(backend, stock, sweep) for sweep in sweeps])
        with _named(name):
            assert_close(carved(backend, stock, *sweeps), alone, _SAME, what="all passes together, against each alone")
        rays += alone.size
    return rays


@promised("backend", "leaves its input alone", "It writes only to the depths, not to the passes or the stock.")
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
            raise Broken(f"{name}: it changes what it is given: {len(given)} passes are left of {len(sweeps)}")
        for array, before in zip(arrays, kept, strict=True):
            if not np.array_equal(array, before):
                raise Broken(
                    f"{name}: it changes what it is given: {array.ravel()[:3].tolist()} instead of {before.ravel()[:3].tolist()}"
                )
            cases += 1
    return cases


@promised(
    "backend",
    "reports its progress",
    "Progress goes from 0 to 1 and ends at 1; an error that the callback raises stops the carving and passes through unchanged.",
)
def _progress(sample: Sample) -> int:
    backend, cases = sample.part, 0
    for name, stock, sweeps in _one_per_surface(backend):
        parts: list[float] = []
        with_it, without = stock.uncut(), carved(backend, stock, *sweeps)
        backend.carve(stock, sweeps, with_it, parts.append)
        if not parts or not all(0 <= each <= 1 for each in parts) or abs(parts[-1] - 1) > 1e-9:
            raise Broken(f"{name}: progress receives {parts[-3:] or 'nothing'}; it must be from 0 to 1, and 1 at the end")
        assert_close(with_it, without, 0.0, what=f"{name}: with progress, against without")
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
    "Without a pass, or with a pass in the air, nothing is cut; and nothing is cut where there is no work.",
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
    """Return a pass moved out of the work, for any holder."""
    if isinstance(stock.surface, Face):
        return replace(sweep, tip=sweep.tip + np.array([0.0, 0.0, 5.0]))
    out = np.hypot(sweep.tip[:, 0], sweep.tip[:, 1])[:, None]
    return replace(sweep, tip=sweep.tip + np.concatenate([sweep.tip[:, :2] / out, 0 * out], axis=1) * 5.0)
