"""The formats in which each kind of result can be saved, by the ending of the file's name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path, PurePath
from typing import Any, Final, Literal

from lobework.carve.carving import Carving
from lobework.errors import InputError, nearest
from lobework.jobs.job import Job, Traces
from lobework.pictures import dxf, pdf
from lobework.pictures.pages import settings_page
from lobework.pictures.webp import as_webp
from lobework.plugins import registry
from lobework.program.steps import Program
from lobework.proof import Proof
from lobework.render.drawing import Drawing
from lobework.render.relief import FEWEST, MOST, picture
from lobework.sheets.settings import Settings
from lobework.targets import png, relief, svg

__all__ = ["Format", "format_of", "formats_of", "kind_of", "require_package", "shown_as"]

_INCH_MM: Final = 25.4
_DOTS: Final = (16, 10_000)
_MM: Final = (1.0, 10_000.0)
_PICTURE: Final = ("PIL", "lobework[picture]")
_PNG: Final = ("resvg_py", "lobework[png]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Format:
    """One format of a kind of result.

    Parameters
    ----------
    render : callable
        Function of the result, the size (None for the default) and whether there is a legend; it returns the bytes of the file.
    unit : "dots", "mm" or ""
        Unit of the size; empty if the size is fixed.
    sizes : (float, float)
        Least and greatest size in this unit.
    has_legend : bool
        Whether there is a legend, which can be left out.
    needs : tuple of (module, requirement)
        Modules that the format needs but that lobework does not install, each with the pip requirement that installs it.
    """

    render: Callable[[Any, float | None, bool], bytes]
    unit: Literal["dots", "mm", ""] = ""
    sizes: tuple[float, float] = (0.0, 0.0)
    has_legend: bool = False
    needs: tuple[tuple[str, str], ...] = ()


def _long_side(drawing: Drawing) -> float:
    return max(drawing.width, drawing.height)


def _sheet(drawing: Drawing, legend: bool) -> Drawing:
    return drawing if legend else drawing.without_legend()


def _svg(drawing: Drawing, size: float | None, legend: bool) -> bytes:
    sheet = _sheet(drawing, legend)
    scale = 1.0 if size is None else size / _long_side(sheet)
    return svg.sized(sheet, *(f"{scale * each:.4f}mm" for each in (sheet.width, sheet.height))).encode()


def _png(drawing: Drawing, size: float | None, legend: bool) -> bytes:
    sheet = _sheet(drawing, legend)
    return png.render(sheet) if size is None else png.render(sheet, _INCH_MM * size / _long_side(sheet))


def _webp(drawing: Drawing, size: float | None, legend: bool) -> bytes:
    return as_webp(_png(drawing, size, legend))


def _pdf(drawing: Drawing, size: float | None, legend: bool) -> bytes:
    sheet = _sheet(drawing, legend)
    return pdf.render(sheet, 1.0 if size is None else size / _long_side(sheet))


def _relief(carving: Carving, size: float | None, legend: bool) -> bytes:
    return relief.encode(picture(carving, *(() if size is None else (int(size),)), bar=legend))


def _relief_webp(carving: Carving, size: float | None, legend: bool) -> bytes:
    return as_webp(_relief(carving, size, legend))


_OWN: Final[dict[str, dict[str, Format]]] = {
    "drawing": {
        ".svg": Format(render=_svg, unit="mm", sizes=_MM, has_legend=True),
        ".pdf": Format(render=_pdf, unit="mm", sizes=_MM, has_legend=True, needs=(("reportlab", "lobework[pdf]"),)),
        ".dxf": Format(render=lambda drawing, *_: dxf.render(drawing), needs=(("ezdxf", "lobework[outline]"),)),
        ".png": Format(render=_png, unit="dots", sizes=_DOTS, has_legend=True, needs=(_PNG,)),
        ".webp": Format(render=_webp, unit="dots", sizes=_DOTS, has_legend=True, needs=(_PNG, _PICTURE)),
    },
    "carving": {
        ".png": Format(render=_relief, unit="dots", sizes=(FEWEST, MOST), has_legend=True, needs=(_PICTURE,)),
        ".webp": Format(render=_relief_webp, unit="dots", sizes=(FEWEST, MOST), has_legend=True, needs=(_PICTURE,)),
    },
    "settings": {".html": Format(render=lambda settings, *_: settings_page(settings))},
    "proof": {".txt": Format(render=lambda proof, *_: f"{proof}\n".encode(errors="replace"))},
}
_KINDS: Final[dict[type, str]] = {
    Drawing: "drawing",
    Carving: "carving",
    Settings: "settings",
    Program: "program",
    Proof: "proof",
}


def kind_of(result: Any, ending: str) -> str:
    """Return the kind as which a result is saved; traces and a job are saved as a drawing, or as axes for the ending ".csv".

    Raises
    ------
    InputError
        If the value is no result.
    """
    if isinstance(result, Job | Traces):
        return "axes" if ending == ".csv" else "drawing"
    if type(result) not in _KINDS:
        names = ", ".join(each.__name__ for each in (*_KINDS, Traces, Job))
        raise InputError(name="result", given=type(result).__name__, must_be=f"a result: {names}")
    return _KINDS[type(result)]


def shown_as(kind: str, result: Any) -> Any:
    """Return what is saved of a result: for traces and a job, their drawing or the traces."""
    if isinstance(result, Job):
        result = result.trace()
    return result.drawing() if isinstance(result, Traces) and kind == "drawing" else result


def formats_of(kind: str) -> dict[str, Format]:
    """Return the formats of a kind of result by their endings: those of the installed targets, and those of this package.

    >>> sorted(formats_of("drawing"))
    ['.dxf', '.pdf', '.png', '.svg', '.webp']
    """
    targets = [each for each in registry.installed().targets().values() if each.shows == kind]
    found: dict[str, Format] = {}
    for target in targets:
        ending = PurePath(target.file).suffix
        needs = () if target.needs is None else (target.needs,)
        found.setdefault(ending, Format(render=lambda result, *_, render=target.render: render(result), needs=needs))
    return found | _OWN.get(kind, {})


def require_package(chosen: Format, ending: str) -> None:
    """Raise `InputError` if a package that a format needs is not installed."""
    for module, requirement in chosen.needs:
        if find_spec(module) is None:
            problem = f"a file {ending} needs the package {module}, which is not installed"
            raise InputError(problem, remedy=f"run: pip install '{requirement}'")


def format_of(kind: str, path: Path) -> Format:
    """Return the format of a kind of result that the ending of a file's name determines.

    Raises
    ------
    InputError
        If the kind of result has no such format.
    """
    formats, ending = formats_of(kind), path.suffix.lower()
    if ending not in formats:
        problem = f"the {kind} cannot be saved as {ending!r}{nearest(ending, formats)}" if ending else "the name has no ending"
        raise InputError(problem, str(path), remedy=f"the formats are {', '.join(sorted(formats))}")
    return formats[ending]
