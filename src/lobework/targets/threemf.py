"""3MF: the carved work as a triangle mesh with its unit and title."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from lobework.targets.target import Target
from lobework.text.printable import one_line

if TYPE_CHECKING:
    import zipfile

    import numpy as np
    from numpy.typing import NDArray

    from lobework.carve import Carving

__all__ = ["TARGET", "render"]

_BATCH: Final = 2**16
_DATE: Final = (1980, 1, 1, 0, 0, 0)
"""The earliest date that a zip file can hold; a fixed date makes the file depend only on the work."""
_XML: Final = '<?xml version="1.0" encoding="UTF-8"?>\n'
_TYPES: Final = (
    _XML + '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
_RELATIONS: Final = (
    _XML + '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
    "</Relationships>\n"
)
_BEFORE: Final = (
    _XML + '<model unit="millimeter" xml:lang="en-US" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">\n'
    '<metadata name="Title">{title}</metadata>\n<resources><object id="1" type="model"><mesh>\n<vertices>\n'
)
_BETWEEN: Final = "</vertices>\n<triangles>\n"
_AFTER: Final = '</triangles>\n</mesh></object></resources>\n<build><item objectid="1"/></build>\n</model>\n'
_VERTEX: Final = '<vertex x="%.9g" y="%.9g" z="%.9g"/>\n'
_TRIANGLE: Final = '<triangle v1="%d" v2="%d" v3="%d"/>\n'


def render(carving: Carving, within: float | None = None) -> bytes:
    """Return the carved work as a 3MF file.

    Parameters
    ----------
    carving : Carving
        The carved piece.
    within : float, mm
        Greatest distance of the surface from the rays of the carving; default: `lobework.render.solid.WITHIN_MM`.

    Returns
    -------
    bytes
        Contents of the file. The vertices are in single precision, with enough digits to restore every bit.

    Raises
    ------
    SettingError, TooLargeError
        The errors of `lobework.render.solid.solid_of`.

    References
    ----------
    3MF Consortium, *3D Manufacturing Format: Core Specification and Reference Guide*, version 1.3, chapters 2 to 4.

    Examples
    --------
    >>> import io, zipfile
    >>> from lobework.carve import Carving, stock_of
    >>> from lobework.parts.piece import Disc
    >>> lid = Disc(diameter=70.0, thickness=8.0)
    >>> stock = stock_of(lid, resolution=1.0)
    >>> file = render(Carving(title="Tide box, lid", piece=lid, stock=stock, depth=stock.uncut(), sweeps=()))
    >>> zipfile.ZipFile(io.BytesIO(file)).namelist()
    ['[Content_Types].xml', '_rels/.rels', '3D/3dmodel.model']
    """
    import zipfile

    from lobework.render.solid import WITHIN_MM, solid_of

    vertices, faces = solid_of(carving, within=WITHIN_MM if within is None else within).rounded()
    title = one_line(carving.title)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        _write(package, "[Content_Types].xml", [_TYPES])
        _write(package, "_rels/.rels", [_RELATIONS])
        _write(package, "3D/3dmodel.model", _model(title, vertices, faces))
    return out.getvalue()


def _model(title: str, vertices: NDArray[np.float32], faces: NDArray[np.int32]) -> Iterator[str]:
    """Yield the parts of the model's XML text."""
    from xml.sax.saxutils import escape

    yield _BEFORE.format(title=escape(title))
    yield from _lines(_VERTEX, vertices)
    yield _BETWEEN
    yield from _lines(_TRIANGLE, faces)
    yield _AFTER


def _lines(pattern: str, rows: NDArray[np.float32] | NDArray[np.int32]) -> Iterator[str]:
    for first in range(0, len(rows), _BATCH):
        some = rows[first : first + _BATCH]
        yield pattern * len(some) % tuple(some.ravel().tolist())


def _write(package: zipfile.ZipFile, name: str, parts: list[str] | Iterator[str]) -> None:
    import zipfile

    entry = zipfile.ZipInfo(name, _DATE)
    entry.compress_type = zipfile.ZIP_DEFLATED
    with package.open(entry, "w") as file:
        for part in parts:
            file.write(part.encode("utf-8", errors="replace"))


TARGET: Final = Target(
    name="3mf",
    file="work.3mf",
    shows="carving",
    description="the carved work as a solid of triangles, with its unit",
    render=render,
)
