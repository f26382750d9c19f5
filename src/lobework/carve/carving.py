"""What is left in the wood: depths along every ray, and what can be read off them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.kinds import Piece

__all__ = ["Carving"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Carving:
    """A piece once its cuts are carved.

    Parameters
    ----------
    title : str
        Of the job.
    piece : Piece
        What was carved.
    stock : Stock
        The rays.
    depth : (rows, columns) float32, mm
        How deep the work is cut along each ray; zero where it is not, and where there is no work.
    sweeps : sequence of Sweep
        What carved it, in the order of the job's cuts.
    """

    title: str
    piece: Piece
    stock: Stock
    depth: Depth
    sweeps: Sequence[Sweep]
