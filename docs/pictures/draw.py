"""Draw the pictures of README.md and the guide from the examples, and write them beside this file.

The README's drawing is the example to the last digit. The guide's are drawn with a coarser chord, and carved work with fewer dots
than it is written with, to keep the page light.
"""

from dataclasses import replace
from functools import partial
from pathlib import Path

import lobework as lw
from lobework.targets import relief, svg

HERE = Path(__file__).parent
EXAMPLES = HERE.parent / "examples"
CHORDS = {
    "wave-rings": None,
    "five-from-seven": 0.03,
    "barleycorn": 0.025,
    "oval-medallion": 0.02,
    "ninety-six-circles": 0.02,
}
CARVED = {"shell-medallion": 740, "basket-weave": 580, "barrel-weave": 760}


def drawn(name):
    """Return the drawing of an example, SVG."""
    job = lw.read_job(EXAMPLES / f"{name}.toml")
    return svg.render((job if CHORDS[name] is None else replace(job, chord=CHORDS[name])).drawing())


def carved(name):
    """Return the relief of an example, PNG."""
    return relief.render(lw.read_job(EXAMPLES / f"{name}.toml").carve(), CARVED[name])


PICTURES = {f"{name}.svg": partial(drawn, name) for name in CHORDS} | {f"{name}.png": partial(carved, name) for name in CARVED}
"""By file name, what makes each picture's bytes."""

if __name__ == "__main__":
    for file, picture in PICTURES.items():
        (HERE / file).write_bytes(picture())
