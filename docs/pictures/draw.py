"""Draw the pictures of README.md and the guide from the examples, and write them beside this file.

The README's drawing is the example to the last digit. The guide's are drawn with a coarser chord, and carved work with fewer dots
than it is written with, to keep the page light.
"""

from dataclasses import replace
from pathlib import Path

import lobework as lw
from lobework.targets import relief, svg

HERE = Path(__file__).parent
EXAMPLES = HERE.parent / "examples"
CHORDS = {
    "wave-rings": None,
    "four-lobes-three-quarters": 0.02,
    "barleycorn": 0.02,
    "oval-medallion": 0.02,
    "ninety-six-circles": 0.02,
}
CARVED = {"shell-medallion": 900, "basket-weave": 700}


def pictures():
    """Yield each picture's file name and bytes."""
    for name, chord in CHORDS.items():
        job = lw.read_job(EXAMPLES / f"{name}.toml")
        yield f"{name}.svg", svg.render((job if chord is None else replace(job, chord=chord)).drawing())
    for name, dots in CARVED.items():
        yield f"{name}.png", relief.render(lw.read_job(EXAMPLES / f"{name}.toml").carve(), dots)


if __name__ == "__main__":
    for file, picture in pictures():
        (HERE / file).write_bytes(picture)
