"""Operations on the sixteen cells of a patch at once: a vector of float32 that compiled kernels add, multiply and compare.

Only for use inside compiled functions. ``+``, ``-``, ``*`` and ``/`` accept ``Lanes`` and plain float32 numbers; a product and a
sum may be fused, which rounds once instead of twice, and nothing is reordered. A plain float64 number must be converted to
float32 first. No lane may become NaN: do not take the root of a negative number or divide by zero.
"""

# numba matches arguments by position and by name: functions need all of them, and overloads must have no annotations.
# ruff: noqa: ANN001, ANN202, ARG001, ARG005
# mypy: disable-error-code="no-untyped-call, no-untyped-def"

from __future__ import annotations

import operator
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic, models, overload, register_model

from lobework.kernels.jit import COMPILED
from lobework.kernels.sweep.tiles import LANES, PATCH

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Emit = Callable[..., Any]
    Lanes = NDArray[np.float32]

__all__ = [
    "any_at_most",
    "broadcast",
    "columns",
    "lane",
    "load",
    "load_square",
    "maximum",
    "minimum",
    "rows",
    "sqrt",
    "store",
    "store_square",
    "where_at_most",
]

_compiled: Any = intrinsic
_VECTOR: Final = ir.VectorType(ir.FloatType(), LANES)
_ROW: Final = ir.VectorType(ir.FloatType(), PATCH)
_FUSED: Final = ("contract",)
_NUMBERS: Final = ("nnan", "nsz")


class _LanesType(types.Type):
    """The compiler's type for sixteen float32."""

    def __init__(self) -> None:
        super().__init__(name="Lanes")


_lanes: Final = _LanesType()


@register_model(_LanesType)
class _LanesModel(models.PrimitiveModel):
    """The machine representation of `_LanesType`: a vector register."""

    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _VECTOR)


def _of_lanes(count: int, emit: Emit) -> Any:
    """Return a compiled function from ``count`` Lanes to Lanes."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        return emit(builder, *given)

    if count == 1:
        return _compiled(lambda typing, x: (_lanes(_lanes), lower))
    if count == 2:
        return _compiled(lambda typing, x, y: (_lanes(_lanes, _lanes), lower))
    return _compiled(lambda typing, x, y, then, otherwise: (_lanes(_lanes, _lanes, _lanes, _lanes), lower))


def _instruction(name: str, count: int, flags: tuple[str, ...] = ()) -> Emit:
    """Return a function that emits one of the compiler's own vector instructions."""

    def emit(builder: Any, *given: Any) -> Any:
        kind = ir.FunctionType(_VECTOR, (_VECTOR,) * count)
        called = cgutils.get_or_insert_function(builder.module, kind, f"llvm.{name}.v{LANES}f32")
        return builder.call(called, given, fastmath=flags)

    return emit


_add = _of_lanes(2, lambda builder, x, y: builder.fadd(x, y, flags=_FUSED))
_subtract = _of_lanes(2, lambda builder, x, y: builder.fsub(x, y, flags=_FUSED))
_multiply = _of_lanes(2, lambda builder, x, y: builder.fmul(x, y, flags=_FUSED))
_divide = _of_lanes(2, lambda builder, x, y: builder.fdiv(x, y, flags=_FUSED))
minimum = _of_lanes(2, _instruction("minnum", 2, _NUMBERS))
"""The lesser of two Lanes, lane by lane."""
maximum = _of_lanes(2, _instruction("maxnum", 2, _NUMBERS))
"""The greater of two Lanes, lane by lane."""
sqrt = _of_lanes(1, _instruction("sqrt", 1))
"""The square root of Lanes; no lane may be negative."""
where_at_most = _of_lanes(
    4, lambda builder, x, y, then, otherwise: builder.select(builder.fcmp_ordered("<=", x, y), then, otherwise)
)
"""``where_at_most(x, y, then, otherwise)``: ``then`` in the lanes where x <= y, ``otherwise`` in the others."""


@_compiled
def broadcast(typing: Any, number: Any) -> Any:
    """Return Lanes with the same float32 number in every lane."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        nothing, first = ir.Constant(_VECTOR, ir.Undefined), ir.IntType(32)
        vector = builder.insert_element(nothing, given[0], ir.Constant(first, 0))
        return builder.shuffle_vector(vector, nothing, ir.Constant(ir.VectorType(first, LANES), [0] * LANES))

    return _lanes(types.float32), lower


@_compiled
def rows(typing: Any) -> Any:
    """Return the row of each lane within its patch, 0 to 3."""
    return _lanes(), lambda context, builder, signature, given: ir.Constant(_VECTOR, [float(k // PATCH) for k in range(LANES)])


@_compiled
def columns(typing: Any) -> Any:
    """Return the column of each lane within its patch, 0 to 3."""
    return _lanes(), lambda context, builder, signature, given: ir.Constant(_VECTOR, [float(k % PATCH) for k in range(LANES)])


def _patch(context: Any, builder: Any, kind: Any, tile: Any, patch: Any) -> Any:
    """Return a pointer to a patch of a tile, typed as a pointer to Lanes."""
    laid_out = context.make_array(kind)(context, builder, tile)
    where = [patch, context.get_constant(types.intp, 0)]
    cell = cgutils.get_item_pointer(context, builder, kind, laid_out, where, wraparound=False, boundscheck=False)
    return builder.bitcast(cell, _VECTOR.as_pointer())


@_compiled
def load(typing: Any, tile: Any, patch: Any) -> Any:
    """Return patch number ``patch`` of a (patches, 16) C-contiguous float32 tile as Lanes."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        taken = builder.load(_patch(context, builder, signature.args[0], *given))
        taken.align = 4
        return taken

    return _lanes(tile, types.intp), lower


@_compiled
def store(typing: Any, tile: Any, patch: Any, lanes: Any) -> Any:
    """Store Lanes as patch number ``patch`` of a (patches, 16) C-contiguous float32 tile."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        builder.store(given[2], _patch(context, builder, signature.args[0], *given[:2])).align = 4
        return context.get_dummy_value()

    return types.void(tile, types.intp, _lanes), lower


@_compiled
def any_at_most(typing: Any, x: Any, y: Any) -> Any:
    """Return whether x <= y in any lane."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        lanes = builder.bitcast(builder.fcmp_ordered("<=", *given), ir.IntType(LANES))
        return builder.icmp_unsigned("!=", lanes, ir.Constant(ir.IntType(LANES), 0))

    return types.boolean(_lanes, _lanes), lower


def _square_rows(context: Any, builder: Any, kind: Any, grid: Any, row: Any, column: Any) -> list[Any]:
    """Return pointers to the four rows of a 4 x 4 square of a grid."""
    laid_out = context.make_array(kind)(context, builder, grid)
    pointers = []
    for down in range(PATCH):
        where = [builder.add(row, context.get_constant(types.intp, down)), column]
        cell = cgutils.get_item_pointer(context, builder, kind, laid_out, where, wraparound=False, boundscheck=False)
        pointers.append(builder.bitcast(cell, _ROW.as_pointer()))
    return pointers


def _elements(builder: Any, one: Any, other: Any, first: int, count: int) -> Any:
    """Return ``count`` elements, from number ``first`` on, of two vectors placed end to end."""
    places = ir.Constant(ir.VectorType(ir.IntType(32), count), list(range(first, first + count)))
    return builder.shuffle_vector(one, other, places)


@_compiled
def load_square(typing: Any, grid: Any, row: Any, column: Any) -> Any:
    """Return, as Lanes, the square of 4 x 4 cells of a C-contiguous float32 grid that begins at the cell (row, column)."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        taken = [builder.load(pointer) for pointer in _square_rows(context, builder, signature.args[0], *given)]
        for each in taken:
            each.align = 4
        halves = [_elements(builder, taken[k], taken[k + 1], 0, 2 * PATCH) for k in (0, 2)]
        return _elements(builder, halves[0], halves[1], 0, LANES)

    return _lanes(grid, types.intp, types.intp), lower


@_compiled
def store_square(typing: Any, grid: Any, row: Any, column: Any, lanes: Any) -> Any:
    """Store Lanes as the square of 4 x 4 cells of a C-contiguous float32 grid that begins at the cell (row, column)."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        for down, pointer in enumerate(_square_rows(context, builder, signature.args[0], *given[:3])):
            builder.store(_elements(builder, given[3], given[3], down * PATCH, PATCH), pointer).align = 4
        return context.get_dummy_value()

    return types.void(grid, types.intp, types.intp, _lanes), lower


@_compiled
def lane(typing: Any, lanes: Any, number: Any) -> Any:
    """Return the number in one lane."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        return builder.extract_element(*given)

    return types.float32(_lanes, types.intp), lower


def _define_operator(sign: Any, operation: Any) -> None:
    """Define an operator for two Lanes, and for Lanes and a float32."""

    @overload(sign)
    def mixed(x, y):
        if x is _lanes and y is _lanes:
            return lambda x, y: operation(x, y)  # noqa: PLW0108
        if x is _lanes and y == types.float32:
            return lambda x, y: operation(x, broadcast(y))
        if x == types.float32 and y is _lanes:
            return lambda x, y: operation(broadcast(x), y)
        return None


for _sign, _operation in (
    (operator.add, _add),
    (operator.sub, _subtract),
    (operator.mul, _multiply),
    (operator.truediv, _divide),
):
    _define_operator(_sign, _operation)

if not COMPILED:
    from lobework.kernels.sweep.plain_lanes import (
        any_at_most,
        broadcast,
        columns,
        lane,
        load,
        load_square,
        maximum,
        minimum,
        rows,
        sqrt,
        store,
        store_square,
        where_at_most,
    )
