"""STL: the carved work as a binary triangle mesh, in millimetres."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.targets.target import Target
from lobework.text.printable import one_line

if TYPE_CHECKING:
    from lobework.carve import Carving

__all__ = ["TARGET", "render"]

_HEADER_BYTES: Final = 80
_FACET: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def render(carving: Carving, within: float | None = None) -> bytes:
    """Return the carved work as a binary STL file.

    Parameters
    ----------
    carving : Carving
        The carved piece.
    within : float, mm
        Greatest distance of the surface from the rays of the carving; default: `lobework.render.solid.WITHIN_MM`.

    Returns
    -------
    bytes
        Contents of the file, little-endian. The vertices are in single precision. STL has no unit; the header states millimetres.

    Raises
    ------
    SettingError, TooLargeError
        The errors of `lobework.render.solid.solid_of`.

    References
    ----------
    M. Burns, *Automated Fabrication* (1993), section 6.5: the STL format. Readers treat a file that begins with "solid" as the
    text form, so the header does not begin with that word.

    Examples
    --------
    >>> from lobework.carve import Carving, stock_of
    >>> from lobework.parts.piece import Disc
    >>> lid = Disc(diameter=70.0, thickness=8.0)
    >>> stock = stock_of(lid, resolution=1.0)
    >>> file = render(Carving(title="Tide box, lid", piece=lid, stock=stock, depth=stock.uncut(), sweeps=()))
    >>> file[:40].decode(), len(file) == 84 + 50 * int.from_bytes(file[80:84], "little")
    ('binary STL, millimetres: Tide box, lid  ', True)
    """
    from lobework.render.solid import WITHIN_MM, solid_of

    vertices, faces = solid_of(carving, within=WITHIN_MM if within is None else within).rounded()
    facets = np.zeros(len(faces), dtype=_FACET)
    facets["corners"] = corners = vertices[faces]
    a, b, c = np.moveaxis(corners.astype(np.float64), 1, 0)
    normal = np.cross(b - a, c - a)
    facets["normal"] = normal / np.maximum(np.sqrt((normal**2).sum(axis=1, keepdims=True)), np.finfo(np.float64).tiny)
    title = one_line(f"binary STL, millimetres: {carving.title}")
    header = title.encode("ascii", errors="replace")[:_HEADER_BYTES].ljust(_HEADER_BYTES)
    return b"".join([header, len(faces).to_bytes(4, "little"), facets.tobytes()])


TARGET: Final = Target(
    name="stl",
    file="work.stl",
    shows="carving",
    description="the carved work as a solid of triangles, millimetres",
    render=render,
)
