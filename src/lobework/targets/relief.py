"""The relief as a PNG picture, its resolution stated so that it prints in true size."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

from lobework.errors import InputError
from lobework.targets.target import Target
from lobework.text.printable import one_line

if TYPE_CHECKING:
    from lobework.carve.carving import Carving
    from lobework.render.relief import Relief

__all__ = ["TARGET", "encode", "render", "require_encoder"]

_COMPRESSION: Final = 6


def require_encoder(what: str) -> None:
    """Raise `InputError` where Pillow is not installed, before the work of a picture is done."""
    try:
        import PIL.PngImagePlugin  # noqa: F401 - whether it is there is all that is asked
    except ImportError:
        raise InputError(f"{what} needs Pillow, which is not installed; run: pip install 'lobework[picture]'") from None


def encode(shown: Relief) -> bytes:
    """Return a picture as PNG, with its title, and its resolution (pHYs; W3C PNG specification, 2nd ed., 11.3.5.3)."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    about = PngInfo()
    about.add_itxt("Title", one_line(shown.title))
    about.add_itxt("Description", one_line(shown.description))
    file = io.BytesIO()
    dpi = 25.4 / shown.mm_per_dot
    Image.fromarray(shown.dots).save(file, "png", dpi=(dpi, dpi), pnginfo=about, compress_level=_COMPRESSION)
    return file.getvalue()


def render(carving: Carving, dots: int | None = None) -> bytes:
    """Return the carved work as a PNG picture in raking light.

    Parameters
    ----------
    carving : Carving
        What to show.
    dots : int
        On the long side; as `lobework.render.relief.DOTS` says, unless asked otherwise.

    Returns
    -------
    bytes
        The whole file, its resolution stated.

    Raises
    ------
    InputError
        Where Pillow is not installed; the message says how to install it.
    SettingError
        Where ``dots`` is out of range.

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
