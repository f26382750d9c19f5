"""Save a result in a file of any name; the ending of the name determines the format."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from lobework.errors import InputError, SettingError, is_whole, require
from lobework.files.outputs import refuse_existing, write_files
from lobework.pictures.formats import Format, format_of, kind_of, require_package, shown_as
from lobework.quantities.units import length, plain_number

if TYPE_CHECKING:
    from lobework.carve.carving import Carving
    from lobework.jobs.job import Job, Traces
    from lobework.program.steps import Program
    from lobework.proof import Proof
    from lobework.render.drawing import Drawing
    from lobework.sheets.settings import Settings

__all__ = ["save"]


def save(
    result: Drawing | Carving | Settings | Program | Proof | Traces | Job,
    path: Path | str,
    *,
    size: float | str | None = None,
    legend: bool = True,
    overwrite: bool = False,
) -> Path:
    """Save a result in one file, and return the file's path.

    Parameters
    ----------
    result : Drawing, Carving, Settings, Program, Proof, Traces or Job
        The result. Traces and a job are saved as their drawing, or as the positions of the axes (.csv).
    path : path of a file
        The ending determines the format. A drawing has .svg, .pdf, .dxf, .png and .webp; a carving .png, .webp, .stl and .3mf;
        settings .txt and .html; a program .ngc; a proof .txt. Targets of plugins add their own endings.
    size : number or str, optional
        The long side of the picture: a number of dots for .png and .webp; mm, or a length such as "4 in", for .svg and .pdf.
        Default: the true size of the work, and for pictures made of dots ten dots a millimetre, or 1600 dots for a carving.
    legend : bool
        Whether a drawing has its title, its notes and a scale bar, and the picture of a carving a scale bar.
    overwrite : bool
        Whether an existing file may be replaced.

    Raises
    ------
    InputError
        If the result has no format with this ending, a package that the format needs is not installed, or the file cannot be
        written.
    SettingError
        If the size is out of range, or the format has a fixed size or no legend.
    OutputExistsError
        If the file exists and ``overwrite`` is not set.

    Examples
    --------
    >>> import tempfile
    >>> from lobework import At, Disc, Job, Pass, Vee, read_lathe
    >>> ring = Pass(name="ring", at=At(x=20.0, depth=0.5))
    >>> disc, vee = Disc(diameter=60.0, thickness=5.0), Vee(angle_deg=90.0, width=3.0)
    >>> job = Job(lathe=read_lathe("plain-bench"), piece=disc, cutter=vee, passes=[ring])
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save(job.drawing(), f"{folder}/ring.png", size=400, legend=False).read_bytes()[16:24].hex()
    '0000019000000190'
    """
    file = Path(path)
    ending = file.suffix.lower()
    kind = kind_of(result, ending)
    chosen = format_of(kind, file)
    given = _size(size, chosen, ending)
    if not (legend or chosen.has_legend):
        raise SettingError(f"a file {ending} has no legend that can be left out", name="legend", given=repr(legend))
    refuse_existing([file], overwrite=overwrite)
    require_package(chosen, ending)
    write_files({file: chosen.render(shown_as(kind, result), given, legend)}, overwrite=overwrite)
    return file


def _size(size: float | str | None, chosen: Format, ending: str) -> float | None:
    """Return the size in the unit of a format; None for the default."""
    if size is None:
        return None
    if not chosen.unit:
        raise SettingError(f"a file {ending} has a fixed size", name="size", given=repr(size), remedy="leave size out")
    least, most = chosen.sizes
    if chosen.unit == "dots":
        dots = plain_number(size)
        require(is_whole(dots, int(least), int(most)), "size", repr(size), f"a whole number of dots from {least:g} to {most:,g}")
        return float(dots)
    try:
        mm = length(size, "mm")
    except InputError as error:
        raise SettingError(error.problem, name="size", given=repr(size), remedy=error.remedy) from None
    require(least <= mm <= most, "size", repr(size), f"from {least:g} to {most:,g} mm")
    return mm
