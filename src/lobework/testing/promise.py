"""A promise that every thing of one kind keeps, and how it is tried."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lobework.errors import InputError, PluginError
from lobework.files.standard_output import to_stderr
from lobework.plugins.validation import one_line
from lobework.testing.compare import Broken

if TYPE_CHECKING:
    from lobework.plugins.sample import Sample

    Tries = Callable[[Sample], int]

__all__ = ["Promise", "Unjudged", "made", "promised"]


class Unjudged(Exception):  # noqa: N818  (it is nobody's error)
    """A promise that cannot be judged of this sample; the message says what is missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """What every thing of a kind promises, and the check of it.

    Parameters
    ----------
    kind : str
        Of what: "chuck", "cam", "follower", "cutter", "piece", "backend", "target" or "check".
    name : str
        What it is called in reports and tests.
    description : str
        What is promised, in plain English.
    within : str
        How exactly, such as "1e-9 mm"; empty where it holds to the letter.
    tries : callable
        From a sample to how many cases of it were tried; it raises where one is broken.

    Examples
    --------
    >>> from lobework.parts.chuck import Oval
    >>> from lobework.plugins.sample import Sample
    >>> from lobework.testing import promises_of
    >>> rigid = next(each for each in promises_of("chuck") if each.name == "stays rigid")
    >>> str(rigid), rigid.hold(Sample(Oval(throw=5.0))) > 100
    ('chuck: stays rigid', True)
    """

    kind: str
    name: str
    description: str
    tries: Tries
    within: str = ""

    def __str__(self) -> str:
        return f"{self.kind}: {self.name}"

    def hold(self, sample: Sample) -> int:
        """Return how many cases were tried, all of them kept.

        Raises
        ------
        Broken
            Where one is not kept; the message says by how much, and where.
        Unjudged
            Where this sample does not let it be judged; the message says what it lacks.
        """
        try:
            with to_stderr():
                return self.tries(sample)
        except (Broken, Unjudged, KeyboardInterrupt):
            raise
        except (InputError, PluginError) as error:
            raise Broken(f"it refuses: {error}") from error
        except BaseException as error:  # sys.exit(0) in a plugin must not end the run as if all were kept
            raise Broken(f"it fails: {one_line(error)}") from error


_PROMISES: Final[dict[str, list[Promise]]] = {}


def promised(kind: str, name: str, description: str, within: str = "") -> Callable[[Tries], Tries]:
    """Return what makes a function from a sample to cases the check of a promise."""

    def keep(tries: Tries) -> Tries:
        _PROMISES.setdefault(kind, []).append(Promise(kind=kind, name=name, description=description, tries=tries, within=within))
        return tries

    return keep


def made(kind: str) -> tuple[Promise, ...]:
    """Return the promises of a kind whose checks have been loaded, in the order in which they stand."""
    return tuple(_PROMISES.get(kind, ()))
