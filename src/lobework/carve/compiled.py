"""The compiled backend, which chooses the kernels for each kind of surface and each kind of holder."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from lobework.carve.backend import EVERYTHING, Ability, refuse
from lobework.carve.compiled_face import carve_face
from lobework.carve.compiled_frame import carve_frame
from lobework.carve.compiled_solid import carve_solid
from lobework.carve.compiled_tool import carve_tool, refuse_pose
from lobework.geometry.surface import Face
from lobework.parts.holder import CuttingFrame, FixedTool

if TYPE_CHECKING:
    from lobework.carve.backend import Progress
    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep

    Route = Callable[[Stock, Sweep, Depth, Callable[[float], None]], None]

__all__ = ["CompiledBackend"]


def _route(stock: Stock, sweep: Sweep) -> Route | None:
    """Return the function that carves one sweep alone, or None if `carve_face` carves the sweep together with others.

    A sweep with a pose that cannot be carved is refused.
    """
    fixed = isinstance(sweep.holder, FixedTool)
    if isinstance(stock.surface, Face) and sweep.upright and not fixed:
        return carve_frame if isinstance(sweep.holder, CuttingFrame) else None
    refuse_pose(stock, sweep)
    return carve_tool if fixed else carve_solid


@dataclass(frozen=True, slots=True)
class CompiledBackend:
    """Carving by compiled kernels on all cores; the depths are identical to the last bit for any number of cores.

    The cutter sweeps the whole path, not only its points.

    Examples
    --------
    >>> import numpy as np
    >>> from lobework.carve.stock import stock_of
    >>> from lobework.carve.sweep import Sweep
    >>> from lobework.parts.cutter import Vee
    >>> from lobework.parts.piece import Disc
    >>> stock = stock_of(Disc(diameter=20.0, thickness=5.0), resolution=0.5)
    >>> up, level = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    >>> vee = Vee(angle_deg=90.0, width=3.0)
    >>> groove = Sweep(vee.edge, vee.holder, np.array([[-4.0, 0.0, -0.75], [4.0, 0.0, -0.75]]), up, level)
    >>> depth = stock.uncut()
    >>> CompiledBackend().carve(stock, [groove], depth)
    >>> depth[18:23, 20].round(6).tolist()
    [0.0, 0.25, 0.75, 0.25, 0.0]
    """

    name: str = field(default="compiled", init=False)
    description: str = field(default="compiled, on all cores: fast, and accurate between the points of a path", init=False)
    can: frozenset[Ability] = field(default=EVERYTHING, init=False)

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Increase the depths in ``depth`` in place wherever a sweep cuts deeper; see `Backend.carve`."""
        refuse(self, stock, sweeps)
        joint_sweeps: list[Sweep] = []
        single_sweeps: list[tuple[Route, Sweep]] = []
        for sweep in sweeps:
            route = _route(stock, sweep)
            if route is None:
                joint_sweeps.append(sweep)
            else:
                single_sweeps.append((route, sweep))
        sizes = [sum(len(sweep.tip) for sweep in joint_sweeps), *(len(sweep.tip) for _, sweep in single_sweeps)]
        done = list(itertools.accumulate(sizes, initial=0))

        def progress_of(index: int) -> Callable[[float], None]:
            def report(part: float) -> None:
                if progress is not None:
                    progress((done[index] + part * sizes[index]) / done[-1])

            return report

        if joint_sweeps:
            carve_face(stock, joint_sweeps, depth, progress_of(0))
        for index, (route, sweep) in enumerate(single_sweeps, 1):
            route(stock, sweep, depth, progress_of(index))
        if progress is not None:
            progress(1.0)
