"""Solids of carved work, as closed triangle meshes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from lobework.carve.stock import MOST_BYTES
from lobework.errors import SettingError, TooLargeError, require
from lobework.geometry.profile import Meridian
from lobework.geometry.rigid import Array
from lobework.geometry.surface import Face, Round
from lobework.parts.piece import Barrel, Turned
from lobework.render.solid.face import disc_shell
from lobework.render.solid.hollow import Hollow
from lobework.render.solid.side import side_shell
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.carve import Carving
    from lobework.parts.protocols import Piece

__all__ = ["WITHIN_MM", "Solid", "solid_of"]

WITHIN_MM: Final = 0.01
"""Default greatest distance between a solid and the rays of the carving; also the tolerance of circles if ``within`` is zero."""
_FINEST_MM: Final = 0.001
_BYTES_A_RAY: Final = 64
_BYTES_A_RAY_KEPT: Final = 256
_BATCH: Final = 2**18


@dataclass(frozen=True, slots=True, eq=False, kw_only=True, repr=False)
class Solid(Brief):
    """A solid as a closed triangle mesh; each triangle is counterclockwise as seen from outside.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
        The vertices, in the coordinates of the work.
    faces : (m, 3) int32
        The indices of each triangle's vertices.
    title : str
        Title of the job.
    within : float, mm
        Greatest allowed distance of the solid from the rays of the carving.
    left_out : float, mm
        Greatest actual distance of the solid from a ray that is not a vertex.

    Examples
    --------
    >>> corners = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 6.0]])
    >>> wedge = Solid(vertices=corners, faces=np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]), title="wedge")
    >>> round(wedge.volume, 12), wedge.size.tolist()
    (1.0, [1.0, 1.0, 6.0])
    """

    vertices: Array
    faces: NDArray[np.int32]
    title: str = ""
    within: float = 0.0
    left_out: float = 0.0

    @property
    def volume(self) -> float:
        """The volume of the solid, mm3; the volume is positive if the triangles face outwards.

        Source: the divergence theorem, as the sum of the tetrahedra from the centroid of the vertices to each triangle.
        """
        middle, total = self.vertices.mean(axis=0), 0.0
        for first in range(0, len(self.faces), _BATCH):
            a, b, c = np.moveaxis(self.vertices[self.faces[first : first + _BATCH]] - middle, 1, 0)
            total += float(np.einsum("ij,ij->", a, np.cross(b, c)))
        return total / 6

    @property
    def size(self) -> Array:
        """The dimensions along X, Y and Z: (3,) mm."""
        size: Array = np.ptp(self.vertices, axis=0)
        return size

    def rounded(self) -> tuple[NDArray[np.float32], NDArray[np.int32]]:
        """Return the vertices, (n, 3) mm in single precision, and the triangles, (m, 3).

        Vertices that the rounding makes equal are merged, and triangles with two equal vertices are omitted.
        """
        single = self.vertices.astype(np.float32) + np.float32(0.0)
        faces = self.faces
        bits = np.ascontiguousarray(single).view(np.dtype((np.void, 12))).ravel()
        corners, which = np.unique(bits, return_inverse=True)
        if corners.size == len(single):
            return single, faces
        faces = which.astype(np.int32)[faces]
        a, b, c = faces.T
        return corners.view(np.float32).reshape(-1, 3), faces[(a != b) & (b != c) & (c != a)]


def solid_of(carving: Carving, *, within: float = WITHIN_MM) -> Solid:
    """Return the solid of a carved piece.

    Between rays the surface is flat. On a face, the surface passes through every ray that is more than two grid steps from the
    edge. The depth at the edge is extrapolated from these rays, and the vertices of the edge lie on its circle. The ends of round
    work are flat; material that an inclined cut undercuts at an end is omitted.

    Parameters
    ----------
    carving : Carving
        The carved piece.
    within : float, mm
        Greatest distance between the solid's surface and the surface through all rays, in both directions. Rays within this
        distance of the triangles between other rays are omitted; if ``within`` is zero, every ray is a vertex. The distance is
        reduced if the wall is thin. The edge and the inside of the work have no rays: they deviate from their curves by at most
        this distance, by at most 0.001 mm if the distance is smaller than that, and by at most 0.01 mm if it is zero.

    Returns
    -------
    Solid
        A closed mesh; its triangles face outwards.

    Raises
    ------
    SettingError
        If the work is cut through, if the shape of the inside is not known, or if ``within`` is too large for the work.
    TooLargeError
        If there are too many rays for the memory that a job may use.

    Examples
    --------
    >>> from lobework.carve import Carving, stock_of
    >>> from lobework.parts.piece import Disc
    >>> lid = Disc(diameter=70.0, thickness=8.0)
    >>> stock = stock_of(lid, resolution=1.0)
    >>> whole = solid_of(Carving(title="Tide box, lid", piece=lid, stock=stock, depth=stock.uncut(), sweeps=()))
    >>> whole.size.round(6).tolist(), abs(whole.volume / (np.pi * 35**2 * 8) - 1) < 1e-3
    ([70.0, 70.0, 8.0], True)
    """
    stock, depth, surface = carving.stock, carving.depth, carving.stock.surface
    least = (
        min(2 * surface.radius, surface.thickness)
        if isinstance(surface, Face)
        else min(2 * stock.profile[:, 0].max(), surface.length)
    )
    must_be = f"zero or more and at most {least / 20:.3g} mm, a twentieth of the work's smallest dimension"
    require(0 <= within <= least / 20, "within", float(within), must_be)
    needs = depth.size * (_BYTES_A_RAY if within > 0 else _BYTES_A_RAY_KEPT)
    if needs > MOST_BYTES:
        raise TooLargeError(
            f"a solid of {depth.size:.3g} rays would need {needs / 1e9:,.1f} GB, more than the {MOST_BYTES / 1e9:g} GB that "
            "a job may use",
            remedy="carve at a coarser resolution" + ("" if within > 0 else ", or set within above zero"),
        )
    rounding = max(float(within), _FINEST_MM) if within else WITHIN_MM
    if isinstance(surface, Face):
        shell, left_out = disc_shell(stock, surface.radius, surface.thickness, depth, within, rounding)
    else:
        shell, left_out = side_shell(
            stock, _hollow(carving.piece, surface, stock.row_positions, rounding / 2), depth, within, rounding / 2
        )
    return Solid(vertices=shell.places, faces=shell.facets, title=carving.title, within=float(within), left_out=left_out)


def _hollow(piece: Piece, surface: Round, down: Array, within: float) -> Hollow | None:
    """Return the hollow of round work, as a polyline within a distance of its curve; None if the work is not hollow."""
    ends = surface.profile(down[[0, -1]])[:, 1]
    if isinstance(piece, Barrel):
        bore = piece.bore / 2
        return Hollow(np.array([[bore, ends[0]], [bore, ends[1]]]), *ends) if bore > 0 else None
    if isinstance(piece, Turned):
        return Hollow(Meridian(np.array(piece.hollow)[:, ::-1]).polyline(within), *ends) if piece.hollow else None
    radius, _, out, _ = surface.profile(down).T
    to_axis = np.where(out > 0, radius / np.where(out > 0, out, 1.0), math.inf)
    if (surface.wall(down) < to_axis * (1 - 1e-9)).any():
        raise SettingError(
            "the shape of the inside is not known, so no solid can be made",
            name="piece.form",
            given=repr(piece.form),
            remedy="carve a turned piece",
        )
    return None
