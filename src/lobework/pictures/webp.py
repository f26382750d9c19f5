"""WebP, lossless, by Pillow."""

from __future__ import annotations

import io

__all__ = ["as_webp"]


def as_webp(png: bytes) -> bytes:
    """Return a PNG picture as lossless WebP."""
    from PIL import Image

    file = io.BytesIO()
    with Image.open(io.BytesIO(png)) as picture:
        picture.convert("RGB").save(file, "webp", lossless=True)
    return file.getvalue()
