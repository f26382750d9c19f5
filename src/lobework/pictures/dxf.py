"""DXF, in true millimetres, by ezdxf: a layer for each pass of the job, for the outline of the work and for the paths in air."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lobework.render.drawing import Drawing

__all__ = ["render"]


def render(drawing: Drawing) -> bytes:
    """Return the cuts and the outline of a drawing as DXF R2010; each stroke is a polyline with the width of the cut.

    Text, centre mark and scale bar are left out.

    References
    ----------
    Autodesk, *DXF Reference*, AutoCAD 2010: LWPOLYLINE (constant width, group code 43), $INSUNITS (4: millimetres).
    """
    from ezdxf import units
    from ezdxf._options import options
    from ezdxf.filemanagement import new

    kept = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no time and no random number: equal drawings are equal files
    try:
        document = new("R2010", units=units.MM)
        space = document.modelspace()
        air = "air"
        layers = {layer.name: [stroke for figure in layer.figures for stroke in figure.strokes] for layer in drawing.layers}
        layers["outline"] = [stroke for stroke in drawing.lines if stroke.ink == "outline"]
        for name, strokes in layers.items():
            document.layers.add(name)
            for stroke in strokes:
                if stroke.ink == "air" and air not in document.layers:
                    document.layers.add(air)
                attributes = {"layer": air if stroke.ink == "air" else name, "const_width": round(stroke.width, 4)}
                space.add_lwpolyline(stroke.points.round(4).tolist(), close=stroke.closed, dxfattribs=attributes)
        text = io.StringIO()
        document.write(text)
    finally:
        options.write_fixed_meta_data_for_testing = kept
    return text.getvalue().encode(document.output_encoding, errors="dxfreplace")
