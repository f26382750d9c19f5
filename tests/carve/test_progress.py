"""How far a carving has come is told within one long pass, in every way of carving, and ends at 1."""

from __future__ import annotations

import numpy as np
import pytest

import lobework as lw
from lobework.carve import compiled_face, compiled_path, compiled_solid, compiled_tool, plain
from lobework.carve import compiled_frame as framed

BENCH = lw.read_lathe("plain-bench")
DISC, BARREL = lw.Disc(diameter=60.0, thickness=8.0), lw.Barrel(diameter=40.0, length=40.0)
SPIRAL = lw.Pass(turns=20, at=lw.At(x=25.0, depth=0.5), travel=lw.At(x=-20.0))
HELIX = lw.Pass(turns=20, at=lw.At(x=20.0, z=-5.0, depth=0.5), travel=lw.At(z=-30.0))
HELD = {
    "drilling spindle": lw.DrillingSpindle(),
    "eccentric frame": lw.EccentricFrame(radius=4.0),
    "fixed": lw.FixedTool(),
    "cutting frame": lw.CuttingFrame(radius=15.0),
}
each_way = pytest.mark.parametrize("holder", HELD.values(), ids=HELD)
each_piece = pytest.mark.parametrize(("piece", "way"), [(DISC, SPIRAL), (BARREL, HELIX)], ids=["face", "round"])


def traces(piece, way, holder, chord):
    vee = lw.Vee(angle_deg=90.0, width=3.0, holder=holder)
    return lw.Job(lathe=BENCH, piece=piece, cutter=vee, passes=[way], resolution=0.8, chord=chord).trace()


def told(traced, backend):
    parts = []
    carving = traced.carve(backend=backend, progress=parts.append)
    assert parts[-1] == 1.0
    assert (np.diff([0.0, *parts]) >= 0).all()
    return np.array(parts), carving


@each_piece
@each_way
def test_the_compiled_backend_reports_progress_within_a_long_pass_and_gives_the_same_depths(piece, way, holder, monkeypatch):
    """A coarse grid stands for a fine one: what counts as many cells is lowered instead."""
    traced = traces(piece, way, holder, 1e-3 if piece is BARREL else 1e-4)
    whole, carved = told(traced, "compiled")
    monkeypatch.setattr(compiled_face, "_CELLS", 1 << 10)
    for module in (compiled_path, compiled_solid, compiled_tool, framed):
        for name in ("FACE_CELLS", "SOLID_CELLS"):
            monkeypatch.setattr(module, name, 1 << 10, raising=False)
    parts, again = told(traced, "compiled")
    assert len(whole) < len(parts)
    assert np.diff([0.0, *parts]).max() < 0.4
    assert again.depth == pytest.approx(carved.depth, abs=1e-6)


@each_piece
@pytest.mark.parametrize("holder", [HELD["drilling spindle"], HELD["fixed"]], ids=["drilling spindle", "fixed"])
def test_the_plain_backend_reports_progress_within_one_pass(piece, way, holder, monkeypatch):
    monkeypatch.setattr(plain, "_STEPS", 1 << 5)
    short = lw.Pass(turns=2, at=way.at, travel=way.travel)
    parts, _ = told(traces(piece, short, holder, 3e-3), "plain")
    assert len(parts) > 3
    assert np.diff([0.0, *parts]).max() < 0.5
