"""Job files that are hostile: read, checked and set out for the bench, on a machine that gives little."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random

from lobework.errors import InputError
from lobework.jobs import job
from lobework.jobs.jobfile import job_schema, read_job, starter, with_file_and_line
from lobework.kinematics import trace
from lobework.lathe import passes
from lobework.targets import text
from lobework.text.printable import printable
from tests.hostile.toml import hostile_toml

__all__ = ["START", "jobs", "read"]

_EXAMPLES = Path(__file__).parents[2] / "docs" / "examples"
_FEW_CUTS = 30
_FEW_SAMPLES = 10_000
VASE = """<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="70mm" viewBox="0 0 50 70">
<path d="M20 0 L25 -30 L14 -61"/></svg>"""


@cache
def _samples() -> tuple[str, ...]:
    whole = [starter(), *(each.read_text(encoding="utf-8") for each in sorted(_EXAMPLES.glob("*.toml")))]
    small = [re.sub(r"^count = .*", "count = 2", each, flags=re.MULTILINE) for each in whole]
    small = [re.sub(r"^(chord|resolution) = .*", "", each, flags=re.MULTILINE) for each in small]
    small = [f"chord = 0.05\nresolution = 2\n{each}" for each in small]
    return (*whole, *small, *small, *small, *small)


@cache
def _folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="hostile-jobs-"))
    (folder / "vase.svg").write_text(VASE, encoding="utf-8")
    (folder / "bench.toml").write_text(starter("lathe"), encoding="utf-8")
    return folder


_schema = cache(job_schema)


def jobs(random: Random) -> Iterator[bytes]:
    """Yield job files without end."""
    return hostile_toml(random, _samples(), _schema())


def START() -> None:  # noqa: N802 - by this name it is called
    """Give jobs little, so that each is refused or done soon, and compile what they need."""
    job.MOST_BYTES = trace.MOST_BYTES = _FEW_SAMPLES * trace.BYTES_A_SAMPLE
    job.MOST_CUTS = passes.MOST_CUTS = _FEW_CUTS
    for sample in _samples()[:3]:
        try:
            read(sample.encode())
        except InputError:
            continue


def read(data: bytes) -> None:
    """Read a job, check it, and set it out for the bench."""
    path = _folder() / "lid.toml"
    path.write_bytes(data)
    found = read_job(path)
    try:
        for finding in found.check():
            assert str(finding) == printable(str(finding)), finding
        text.render(found.settings())
    except InputError as error:
        raise with_file_and_line(error, path) from None
