"""Promises: properties that every item of a kind must have, each with the function that tests it."""

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

__all__ = ["Promise", "Unjudged", "promised", "registered_promises"]


class Unjudged(Exception):  # noqa: N818  (the exception is not an error)
    """A promise cannot be judged for a sample; the message states what the sample or the installation lacks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """A property that every item of a kind must have, with the function that tests the property.

    Parameters
    ----------
    kind : str
        Kind of the items: "chuck", "cam", "follower", "cutter", "piece", "backend", "target" or "check".
    name : str
        Name of the promise in reports and tests.
    description : str
        The promise, as a sentence.
    within : str
        Tolerance, such as "1e-9 mm"; empty if the promise holds exactly.
    tries : callable
        Function that tests a sample and returns the number of cases; the function raises `Broken` if a case fails.

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
        """Test a sample and return the number of cases, all of which passed.

        Raises
        ------
        Broken
            If a case fails; the message gives the error and the position of the error.
        Unjudged
            If the promise cannot be judged for this sample; the message states what is missing.
        """
        try:
            with to_stderr():
                return self.tries(sample)
        except (Broken, Unjudged, KeyboardInterrupt):
            raise
        except (InputError, PluginError) as error:
            raise Broken(f"an error is raised: {error}") from error
        except BaseException as error:  # sys.exit(0) in a plugin must not end the run as a success
            raise Broken(f"it fails: {one_line(error)}") from error


_PROMISES: Final[dict[str, list[Promise]]] = {}


def promised(kind: str, name: str, description: str, within: str = "") -> Callable[[Tries], Tries]:
    """Return a decorator that registers a function as the test of a promise."""

    def register(tries: Tries) -> Tries:
        _PROMISES.setdefault(kind, []).append(Promise(kind=kind, name=name, description=description, tries=tries, within=within))
        return tries

    return register


def registered_promises(kind: str) -> tuple[Promise, ...]:
    """Return the promises of a kind registered so far, in the order of registration."""
    return tuple(_PROMISES.get(kind, ()))
