"""Draw the pictures of the reference: a cam with its follower, and a ring cut with each chuck.

Lines have the colour of the surrounding text, so that a picture suits light and dark pages.
"""

import math
from dataclasses import dataclass, fields, replace
from fractions import Fraction

import numpy as np

import lobework as lw
from lobework.kinematics.contact import lift_of
from lobework.kinematics.trace import trace
from lobework.lathe.passes import Cut
from lobework.parts.chuck import Dome, StraightLine
from lobework.parts.protocols import Chuck
from lobework.targets.svg import path_data

ROUND = np.linspace(0.0, 2.0 * math.pi, 1441)
WIDTH_PX = 290
MOST_TURNS = 60
BENCH = lw.Lathe(name="bench", headstock=lw.Headstock(sideways="slides"))
ROLLER = lw.Roller(5.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureSettings:
    """A chuck, and the ring of its picture: the number of lobes (0: a circle), the number of cuts, and the steps between them."""

    chuck: Chuck
    lobes: int = 12
    rise: float = 2.4
    x: float = 20.0
    turns: int = 1
    count: int = 1
    index_step: Fraction = Fraction(1, 12)
    step: float = 0.0


CAMS = {
    "wave": lw.Wave(lobes=8, base_radius=40.0, rise=6.0),
    "scallop": lw.Scallop(lobes=8, base_radius=40.0, rise=6.0),
    "eccentric": lw.EccentricCam(radius=42.0, offset=9.0),
    "law": lw.MotionLaw(law="cycloidal", lobes=4, base_radius=39.0, rise=8.0, rise_part="1/4", dwell_part="1/4", fall_part="1/4"),
}
"""Settings for the pictures of cams; a cam that is not listed is drawn with the settings of its sample."""

CHUCKS = {
    "plain": (PictureSettings(chuck=lw.PlainChuck(), lobes=4, rise=8.0, count=12, index_step=Fraction(1, 48)),),
    "eccentric": (PictureSettings(chuck=lw.EccentricChuck(shift=12.0), lobes=0, x=16.0, count=24, index_step=Fraction(1, 24)),),
    "oval": (
        PictureSettings(chuck=lw.Oval(throw=9.0), x=26.0, lobes=24, count=4, index_step=Fraction(0), step=-4.0),
        PictureSettings(chuck=lw.Oval(throw=7.0, swing=5.0, swings=2), x=24.0, lobes=0, count=6, index_step=Fraction(1, 12)),
    ),
    "straight-line": (
        PictureSettings(
            chuck=StraightLine(per_turn=44.0, travel=40.0, start=-22.0),
            lobes=12,
            rise=4.0,
            x=18.0,
            count=7,
            step=-6.0,
            index_step=Fraction(0),
        ),
    ),
    "dome": (PictureSettings(chuck=Dome(tilt_deg=50.0, behind=20.0), lobes=0, x=9.0, count=12),),
}
"""Settings for the pictures of chucks."""


def _svg(low, high, body, title, message):
    """Return the picture of the area between two corners, mm, with a scale bar below."""
    margin, bar = 3.0, 20 if high[0] - low[0] > 50 else 10
    left, top = low[0] - margin, high[1] + margin
    width, height = high[0] - low[0] + 2 * margin, high[1] - low[1] + 2 * margin + 6
    y = -low[1] + margin + 3.4
    x, letters = left + (width - bar) / 2, 11 * width / WIDTH_PX
    ticks = "".join(f"M{x + at:.2f} {y - up:.2f}V{y:.2f}" for at, up in ((0, 1.4), (bar / 2, 0.8), (bar, 1.4)))
    return (
        f'<svg class="part" xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{title}: {message}" '
        f'width="{WIDTH_PX}" height="{WIDTH_PX * height / width:.0f}" viewBox="{left:.2f} {-top:.2f} {width:.2f} {height:.2f}">'
        f"<title>{title}: {message}</title>{body}"
        f'<path class="rule" d="M{x:.2f} {y:.2f}h{bar}{ticks}"/>'
        f'<text x="{x + bar + letters / 2:.2f}" y="{y:.2f}" font-size="{letters:.2f}">{bar} mm</text></svg>'
    )


def _path(kind, points, *, closed=False):
    return f'<path class="{kind}" d="{path_data(_thinned(points), closed=closed)}"/>'


def _thinned(points, within=0.015):
    """Return a subset of the points of a line that makes a polyline with an error of at most ``within`` mm."""
    kept, stack = {0, len(points) - 1}, [(0, len(points) - 1)]
    while stack:
        a, b = stack.pop()
        if b - a < 2:
            continue
        along, off = points[b] - points[a], points[a + 1 : b] - points[a]
        length = math.hypot(*along)
        apart = np.abs(off @ [-along[1], along[0]]) / length if length > 1e-9 else np.hypot(*off.T)
        worst = int(apart.argmax())
        if apart[worst] > within:
            kept.add(a + 1 + worst)
            stack += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return points[sorted(kept)]


def _polar(radius, angle):
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)


def _cross(size=1.6):
    return f'<path class="rule" d="M{-size} 0H{size}M0 {-size}V{size}"/>'


def cam(part):
    """Return the picture of a cam: its outline, or the development of its face, and a roller on it."""
    reach = lift_of(part, ROLLER)
    middles = reach.rest + reach.curve.at(ROUND)
    title = f"cam {part.kind}"
    if part.on == "face":
        return _face(part, middles, title)
    outline, path = _polar(part.base_radius + part.rise_at(ROUND), ROUND), _polar(middles, ROUND)
    x = float(middles[0])
    body = (
        _path("fill", outline, closed=True)
        + _path("faint", _polar(part.base_radius + 0 * ROUND, ROUND), closed=True)
        + _path("dots", path, closed=True)
        + _path("line", outline, closed=True)
        + _cross()
        + f'<circle class="accent" cx="{x:.3f}" cy="0" r="{ROLLER.radius}"/>'
        + f'<circle class="dot" cx="{x:.3f}" cy="0" r="0.5"/>'
    )
    low, high = path.min(axis=0) - ROLLER.radius, path.max(axis=0) + ROLLER.radius
    return _svg(low, high, body, title, "its outline, the base circle, and a roller with the path of its centre")


def _face(part, middles, title):
    """Return the development of a face cam along its track, up to three lobes."""
    lobes = min(part.lobes, 3)
    count = math.ceil(ROUND.size * lobes / part.lobes)
    along = part.base_radius * ROUND[:count]
    top = np.stack([along, part.rise_at(ROUND[:count])], axis=-1)
    path = np.stack([along, middles[:count]], axis=-1)
    foot = np.array([[along[-1], -6.0], [0.0, -6.0]])
    body = (
        _path("fill", np.concatenate([top, foot]), closed=True)
        + _path("faint", top * [1.0, 0.0])
        + _path("dots", path)
        + _path("line", top)
        + f'<circle class="accent" cx="0" cy="{-float(middles[0]):.3f}" r="{ROLLER.radius}"/>'
    )
    low, high = np.array([-ROLLER.radius, -6.0]), path.max(axis=0) + ROLLER.radius
    return _svg(low, high, body, title, "its face rolled out at the follower's track, and a roller with the path of its centre")


def _ring(picture, number, chuck=None):
    """Return a ring on the work, (n, 3) mm, with or without a chuck."""
    lathe = BENCH if chuck is None else BENCH.mount(chuck)
    cams = (
        [lw.Drive(lw.Wave(lobes=picture.lobes, base_radius=60.0, rise=picture.rise), follower=lw.Knife())]
        if picture.lobes
        else []
    )
    passed = lw.Pass(at=lw.At(x=picture.x + number * picture.step), turns=1 if chuck is None else picture.turns, cams=cams)
    path = trace(Cut(number=1, passed=passed, lathe=lathe), chord=0.01)
    return np.stack([path.x, path.y, path.z], axis=-1)


def _indexed(part):
    """Return whether a wheel of the chuck turns the work."""
    return any(each.name == "index" for each in fields(part))


def _sampled(part):
    """Return the picture settings of a chuck that is not listed: an indexed wave, or a circle over several turns."""
    turns = min(getattr(part, "period_turns", 1) or 1, MOST_TURNS)
    still = _indexed(part) and not part.is_dynamic
    return PictureSettings(chuck=part, count=12 if still else 1, turns=turns, lobes=12 if turns == 1 else 0)


def chuck(picture):
    """Return the picture of a chuck: a ring cut with it, and a dashed line for the ring cut without it."""
    part = picture.chuck
    places = [
        replace(part, index=lw.Phase(turns=picture.index_step * k)) if _indexed(part) else part for k in range(picture.count)
    ]
    lines = [_ring(picture, 0), *(_ring(picture, k, each) for k, each in enumerate(places))]
    leans = max(float(np.ptp(each[:, 2])) for each in lines) > 0.5
    flat = [_leaning(each) if leans else each[:, :2] for each in lines]
    body = "".join(_path("line", each) for each in flat[1:]) + _path("dashes accent", flat[0], closed=True) + _cross()
    corners = np.concatenate(flat)
    what = f"a wave of {picture.lobes} lobes" if picture.lobes else "a circle"
    message = f"{what} cut with it" + (f" {picture.count} times" if picture.count > 1 else "")
    message += "; dashed, the ring without it" + (", seen obliquely" if leans else "")
    return _svg(corners.min(axis=0), corners.max(axis=0), body, f"chuck {part.kind}", message)


def _leaning(points):
    """Return the projection, (n, 2), of points seen obliquely from the front and above."""
    tip = math.radians(60.0)
    return np.stack([points[:, 0], points[:, 1] * math.sin(tip) + points[:, 2] * math.cos(tip)], axis=-1)


def picture(kind, name, sample):
    """Return the picture of a cam or a chuck, with the settings listed here or those of its sample."""
    if sample is None and name not in {**CAMS, **CHUCKS}:
        raise LookupError(f"{kind} {name!r} cannot be drawn: its settings are unknown; give a Sample of it in lobework_samples")
    if kind == "cam":
        return cam(CAMS.get(name, sample))
    return "".join(chuck(each) for each in CHUCKS.get(name) or (_sampled(sample),))
