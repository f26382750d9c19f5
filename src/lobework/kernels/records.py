"""Records with named fields for kernels: classes whose annotated fields are those of a structured numpy array.

The class serves readers and type checkers; `layout` returns the corresponding data type for numpy and the compiler. A field is a
``float`` (float64), an ``int`` (int64), a ``bool``, or another such class. A record taken from an array is a view: a kernel that
sets a field of the record changes the array. A record does not keep its array alive: a kernel that allocates an array must not
take records from this array, but must pass the array to another function that takes them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, Protocol, TypeVar, get_type_hints, overload

import numpy as np

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Box", "Records", "Vector", "layout", "of_vectors", "zeros"]

_Kind = TypeVar("_Kind")
_NUMBERS: Final[dict[type, type]] = {float: np.float64, int: np.int64, bool: np.bool_}


class Records(Protocol[_Kind]):
    """A one-dimensional numpy array of records of one kind."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of records, as (n,)."""

    @overload
    def __getitem__(self, where: int) -> _Kind: ...
    @overload
    def __getitem__(self, where: slice) -> Records[_Kind]: ...
    @overload
    def __getitem__(self, where: str) -> Any: ...
    def __getitem__(self, where: Any) -> Any:
        """Return one record, a slice of the records, or one field of all records."""

    def __setitem__(self, field: str, values: Any) -> None:
        """Set one field of all records."""

    def tolist(self) -> list[Any]:
        """Return the records as tuples."""


class Vector:
    """Three coordinates."""

    x: float
    y: float
    z: float


class Box:
    """A bounding box, given by its least and its greatest coordinates."""

    low: Vector
    high: Vector


def layout(kind: type) -> np.dtype[Any]:
    """Return the numpy data type of the annotated fields of a class.

    >>> layout(Vector).names
    ('x', 'y', 'z')
    """
    fields = [(name, _NUMBERS.get(each) or layout(each)) for name, each in get_type_hints(kind).items()]
    return np.dtype((np.record, np.dtype(fields, align=True)))


def zeros(kind: type[_Kind], count: int) -> Records[_Kind]:
    """Return an array of ``count`` records of a kind; all fields are zero.

    >>> zeros(Vector, 2).tolist()
    [(0.0, 0.0, 0.0), (0.0, 0.0, 0.0)]
    """
    records: Any = np.zeros(count, layout(kind))
    return records  # type: ignore[no-any-return]


def of_vectors(coordinates: Array) -> Any:
    """Convert coordinates, (n, 3), to values, (n,), of a field of vectors.

    >>> boxes = zeros(Box, 2)
    >>> boxes["high"] = of_vectors(np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]))
    >>> boxes["high"]["y"].tolist()
    [2.0, 5.0]
    """
    return np.ascontiguousarray(coordinates, dtype=np.float64).view(layout(Vector))[:, 0]
