"""Draw the pictures of README.md and the guide from the examples, and write them beside this file.

The README's drawing equals that of the example. The guide's drawings have a coarser chord, and the carved work fewer pixels,
to keep the pages small.
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
"""Function that returns the bytes of each picture, by the name of the picture."""

if __name__ == "__main__":
    for file, picture in PICTURES.items():
        (HERE / file).write_bytes(picture())
