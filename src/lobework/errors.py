"""Errors that a user can cause. Each error stores its details in fields and prints them on one line.

::

    LobeworkError
    ├── InputError (ValueError)         input that cannot be used
    │   ├── SettingError                a setting outside its allowed values
    │   │   └── PartError               a part that is not finite, or not continuous
    │   └── TooLargeError               a job that needs more memory or samples than are allowed
    ├── UnknownNameError (LookupError)  a cam, chuck, target or lathe that is not installed
    ├── PluginError                     a plugin that violates its interface
    └── OutputExistsError (FileExistsError)  a file that would be overwritten
"""

from __future__ import annotations

import contextlib
import copy
import difflib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextvars import ContextVar
from typing import Any, Final, Self

from lobework.text.printable import printable

__all__ = [
    "InputError",
    "LobeworkError",
    "OutputExistsError",
    "PartError",
    "PluginError",
    "SettingError",
    "TooLargeError",
    "UnknownNameError",
    "is_whole",
    "nearest",
    "require",
    "together",
]

_LONGEST: Final = 600
"""Maximum number of characters of a message. The middle of a longer message is cut out, so that the remedy at the end remains."""
_LONGEST_GIVEN: Final = 300
_LONGEST_GUESSED: Final = 60
"""Maximum number of characters of a name that is compared with known names; a longer comparison takes too long."""


class LobeworkError(Exception):
    """The base class of all errors that a user can cause.

    An error can be pickled with its message and all its fields, even if its constructor takes other arguments.
    """

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuilt, (type(self), self.args, self.__dict__)


class InputError(LobeworkError, ValueError):
    """Input that cannot be used.

    Parameters
    ----------
    problem : str
        Description of the error; not needed if ``must_be`` is given.
    where : str
        File, line and key path, outermost first; empty if unknown.
    name : str
        The name of the setting in its part; empty if ``where`` already ends with the key of the setting.
    given : str
        The value that was given, as it is printed.
    must_be : str
        The allowed values.
    remedy : str
        What the user can do to correct the error.

    Attributes
    ----------
    further_errors : tuple of InputError
        Further errors of the same file or part; each is printed on a line of its own.

    Examples
    --------
    >>> error = InputError(name="radius", given="-3", must_be="above zero", remedy="leave it out for a knife")
    >>> print(error)
    radius=-3: must be above zero; leave it out for a knife
    >>> print(error.replaced(name="", where="lid.toml:9: cam.radius"))
    lid.toml:9: cam.radius: -3 must be above zero; leave it out for a knife
    """

    def __init__(
        self, problem: str = "", where: str = "", *, name: str = "", given: str = "", must_be: str = "", remedy: str = ""
    ) -> None:
        self.problem, self.where, self.name = printable(problem), printable(where), printable(name)
        self.given, self.must_be, self.remedy = printable(given), printable(must_be), printable(remedy)
        self.further_errors: tuple[InputError, ...] = ()
        super().__init__(self._line)

    @property
    def message(self) -> str:
        """The printed line without ``where``."""
        problem = f"must be {self.must_be}" if self.must_be else self.problem
        if self.name:
            problem = f"{self.name}={self.given}: {problem}"
        elif self.given:
            problem = f"{self.given} {problem}"
        return _short(f"{problem}; {self.remedy}" if self.remedy else problem)

    @property
    def _line(self) -> str:
        return f"{self.where}: {self.message}" if self.where else self.message

    def replaced(self, **changes: Any) -> Self:
        """Return a copy of the error with some of its fields changed."""
        changed = copy.copy(self)
        changed.__dict__.update({key: printable(value) if isinstance(value, str) else value for key, value in changes.items()})
        changed.args = (changed._line,)
        return changed

    def at(self, where: str) -> Self:
        """Return a copy of the error with a location prepended to ``where``, in its ``further_errors`` too."""
        return self.each(lambda one: one.replaced(where=f"{where}: {one.where}" if one.where else where))

    def each(self, change: Callable[[Any], Any]) -> Self:
        """Return the error after the function ``change`` has been applied to it and to each of its ``further_errors``."""
        changed: Self = change(self)
        changed.further_errors = tuple(change(one) for one in self.further_errors)
        return changed

    @classmethod
    def combine(cls, errors: Sequence[InputError]) -> InputError:
        """Return the first of several errors, with the other errors as its ``further_errors``.

        >>> InputError.combine([InputError("is missing", "rise"), InputError("is missing", "lobes")]).further_errors
        (InputError('lobes: is missing'),)
        """
        first, *rest = errors
        first.further_errors = (*first.further_errors, *(one for error in rest for one in (error, *error.further_errors)))
        return first


class SettingError(InputError):
    """A setting outside its allowed values."""


class PartError(SettingError):
    """A part that is not finite, or not continuous, at its settings; ``part`` is its class."""

    part: type | None = None


class TooLargeError(InputError):
    """A job or file that is larger than the limits on memory, samples or size allow."""


class UnknownNameError(LobeworkError, LookupError):
    """A name that no installed part, target or lathe has."""

    def __init__(self, kind: str, name: str, known: Iterable[str]) -> None:
        known = sorted(known)
        self.kind, self.name, self.known = kind, name, tuple(known)
        self.message = printable(f"no {kind} is called {name!r}{nearest(name, known)}; installed: {', '.join(known) or 'none'}")
        super().__init__(self.message)


class PluginError(LobeworkError):
    """A plugin that violates its interface; ``part`` is the class of the faulty part, or None if no part is at fault."""

    part: type | None = None


class OutputExistsError(LobeworkError, FileExistsError):
    """An output file that exists already and may not be overwritten."""

    def __init__(self, path: object) -> None:
        super().__init__(f"{printable(str(path))}: exists already; name another folder or file, or add --overwrite")


def _short(text: str, longest: int = _LONGEST) -> str:
    return text if len(text) <= longest else f"{text[: longest - 203]}...{text[-200:]}"


def _rebuilt(kind: type[LobeworkError], args: tuple[Any, ...], fields: dict[str, Any]) -> LobeworkError:
    """Return an unpickled error.

    Its constructor is not called, because the constructor may take arguments other than ``args``.
    """
    error = kind.__new__(kind, *args)
    error.args = args
    error.__dict__.update(fields)
    return error


def nearest(name: str, known: Iterable[str]) -> str:
    """Return ``"; did you mean 'x'?"`` for the known name most similar to ``name``, or an empty text if none is similar.

    >>> nearest("rdaius", ["radius", "rise"])
    "; did you mean 'radius'?"
    """
    if len(name) > _LONGEST_GUESSED:
        return ""
    close = difflib.get_close_matches(name, list(known), n=1)
    return f"; did you mean {close[0]!r}?" if close else ""


_found: ContextVar[list[InputError] | None] = ContextVar("found", default=None)


def require(allowed: object, name: str, given: object, must_be: str, remedy: str = "") -> None:
    """Raise `SettingError` unless ``allowed`` is true; the other parameters are the fields of the error.

    Inside `together` the error is not raised at once, but at the end of the block, with the other errors. If a setting has
    several errors, only the first is kept.

    >>> require(False, "radius", -3.0, "zero or more", "leave it out for a knife")
    Traceback (most recent call last):
    lobework.errors.SettingError: radius=-3: must be zero or more; leave it out for a knife
    """
    if allowed:
        return
    try:
        shown = _short(f"{given:g}" if isinstance(given, float) else f"{given}", _LONGEST_GIVEN)
    except ValueError:
        shown = "a number of thousands of digits"
    error = SettingError(name=name, given=shown, must_be=must_be, remedy=remedy)
    if (found := _found.get()) is None:
        raise error
    if all(each.name != name for each in found):
        found.append(error)


@contextlib.contextmanager
def together() -> Iterator[None]:
    """Collect the errors of `require` inside the block; at its end, raise the first, with the others as ``further_errors``.

    >>> with together():
    ...     require(False, "lobes", 0, "one or more")
    ...     require(False, "rise", -1.0, "above zero")
    Traceback (most recent call last):
    lobework.errors.SettingError: lobes=0: must be one or more

    After an error has been collected, the invalid setting may cause an exception later in the block. This exception ends the
    block, but only the collected errors are raised.
    """
    found: list[InputError] = []
    token = _found.set(found)
    try:
        yield
    except InputError as error:
        found.append(error)
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError):
        if not found:
            raise
    finally:
        _found.reset(token)
    if found:
        raise InputError.combine(found)


def is_whole(given: object, least: int, most: int) -> bool:
    """Return whether ``given`` is an integer from ``least`` to ``most``, and not a bool.

    >>> is_whole(3, 1, 4), is_whole(3.0, 1, 4), is_whole(True, 1, 4)
    (True, False, False)
    """
    return isinstance(given, int) and not isinstance(given, bool) and least <= given <= most
