"""The relief as a PNG picture, with its resolution, so that the picture prints at true size."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

from lobework.errors import InputError
from lobework.targets.target import Target
from lobework.text.printable import one_line

if TYPE_CHECKING:
    from lobework.carve.carving import Carving
    from lobework.render.relief import Relief

__all__ = ["TARGET", "encode", "has_encoder", "render", "require_encoder"]

_COMPRESSION: Final = 6


def has_encoder() -> bool:
    """Return whether Pillow, which writes the pictures, is installed."""
    try:
        import PIL.PngImagePlugin  # noqa: F401 - only tests that the module is installed
    except ImportError:
        return False
    return True


def require_encoder(what: str) -> None:
    """Raise `InputError` if Pillow is not installed; call this before a picture is computed."""
    if not has_encoder():
        problem, remedy = f"{what} needs Pillow, which is not installed", "run: pip install 'lobework[picture]'"
        raise InputError(problem, remedy=remedy)


def encode(relief: Relief) -> bytes:
    """Return a picture as PNG, with its title and its resolution (pHYs; W3C PNG specification, 2nd ed., 11.3.5.3)."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    metadata = PngInfo()
    metadata.add_itxt("Title", one_line(relief.title))
    metadata.add_itxt("Description", one_line(relief.description))
    file = io.BytesIO()
    dpi = 25.4 / relief.mm_per_dot
    Image.fromarray(relief.dots).save(file, "png", dpi=(dpi, dpi), pnginfo=metadata, compress_level=_COMPRESSION)
    return file.getvalue()


def render(carving: Carving, dots: int | None = None) -> bytes:
    """Return the carved work as a PNG picture in raking light.

    Parameters
    ----------
    carving : Carving
        The carved piece.
    dots : int
        Number of dots on the long side; default: `lobework.render.relief.DOTS`.

    Returns
    -------
    bytes
        Contents of the file, which includes the resolution.

    Raises
    ------
    InputError
        If Pillow is not installed; the message gives the command to install it.
    SettingError
        If ``dots`` is out of range.

    Examples
    --------
    >>> from lobework import At, Disc, Job, Pass, Vee, read_lathe
    >>> ring = Pass(name="ring", at=At(x=20.0, depth=0.5))
    >>> disc, vee = Disc(diameter=60.0, thickness=5.0, material="holly"), Vee(angle_deg=90.0, width=3.0)
    >>> job = Job(lathe=read_lathe("plain-bench"), piece=disc, cutter=vee, passes=[ring])
    >>> int.from_bytes(render(job.carve(0.5), dots=300)[16:20], "big")
    300
    """
    from lobework.render.relief import DOTS, picture

    require_encoder("a picture")
    return encode(picture(carving, DOTS if dots is None else dots))


TARGET: Final = Target(
    name="relief",
    file="relief.png",
    shows="carving",
    description="the carved work as a picture in raking light, in true size",
    render=render,
    needs=("PIL", "lobework[picture]"),
)
