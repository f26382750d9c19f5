"""What goes wrong, said in one line.

::

    LobeworkError
    ├── InputError (ValueError)         something that was written cannot be done
    │   ├── SettingError                a setting outside what it may be
    │   │   └── PartError               a part that is not finite, or not continuous
    │   └── TooLargeError               a job that would need more than this machine should give
    ├── UnknownNameError (LookupError)  a cam, chuck, target or lathe that is not installed
    ├── PluginError                     a plugin that breaks its promise
    └── OutputExistsError (FileExistsError)  a file that would be overwritten
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

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
]

_LONGEST: Final = 600
"""Of what an error says, in characters; what it leaves out stands before its last words, which say what to do."""
_LONGEST_GIVEN: Final = 300
_LONGEST_GUESSED: Final = 60
"""Of a name that is compared with known ones: nobody mistypes a longer one, and the comparison takes its time."""


class LobeworkError(Exception):
    """The root of every error that a user can cause.

    Its message and its fields pass from one process to another, whatever its constructor takes.
    """

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuilt, (type(self), self.args, self.__dict__)


class InputError(LobeworkError, ValueError):
    """Something that was written cannot be done.

    Parameters
    ----------
    says : str
        One line: what was given, what is allowed, what to do.
    where : str
        File and key path, outermost first; empty while nobody knows it yet.

    Attributes
    ----------
    others : tuple of InputError
        What else was found wrong in the same file; each is a line of its own.
    """

    def __init__(self, says: str, where: str = "") -> None:
        self.says = _short(printable(says))
        self.where = printable(where)
        self.others: tuple[InputError, ...] = ()
        super().__init__(f"{self.where}: {self.says}" if where else self.says)

    def at(self, where: str) -> InputError:
        """Return the same error, placed one level further out (``where`` comes first)."""
        return self.each(lambda one: type(one)(one.says, f"{where}: {one.where}" if one.where else where))

    def each(self, change: Callable[[InputError], InputError]) -> InputError:
        """Return the error as ``change`` makes it, and the others as it makes them."""
        changed = change(self)
        changed.others = tuple(change(one) for one in self.others)
        return changed

    @classmethod
    def together(cls, errors: Sequence[InputError]) -> InputError:
        """Return the first of some errors, with all the rest as its others.

        >>> InputError.together([InputError("is missing", "rise"), InputError("is missing", "lobes")]).others
        (InputError('lobes: is missing'),)
        """
        first, *rest = errors
        first.others = (*first.others, *(one for error in rest for one in (error, *error.others)))
        return first


class SettingError(InputError):
    """A setting outside what it may be."""


class PartError(SettingError):
    """A part that is not finite, or not continuous, at its settings; ``part`` is its class."""

    part: type | None = None

    def at(self, where: str) -> PartError:
        """Return the same error, placed one level further out."""
        error = type(self)(self.says, f"{where}: {self.where}" if self.where else where)
        error.part = self.part
        return error


class TooLargeError(InputError):
    """A job that would need more memory or samples than this machine should give."""


class UnknownNameError(LobeworkError, LookupError):
    """A name that nothing installed answers to."""

    def __init__(self, kind: str, name: str, known: Iterable[str]) -> None:
        known = sorted(known)
        self.kind, self.name, self.known = kind, name, tuple(known)
        self.says = printable(f"no {kind} is called {name!r}{nearest(name, known)}; installed: {', '.join(known) or 'none'}")
        super().__init__(self.says)


class PluginError(LobeworkError):
    """A plugin that breaks its promise; ``part`` is the class at fault, where it is a part's."""

    part: type | None = None


class OutputExistsError(LobeworkError, FileExistsError):
    """A file that would be overwritten."""

    def __init__(self, path: object) -> None:
        super().__init__(f"{printable(str(path))}: exists already; name another folder or file, or add --overwrite")


def _short(text: str, longest: int = _LONGEST) -> str:
    return text if len(text) <= longest else f"{text[: longest - 203]}...{text[-200:]}"


def _rebuilt(kind: type[LobeworkError], args: tuple[Any, ...], fields: dict[str, Any]) -> LobeworkError:
    """Return an error as it was, without its constructor, which may take something else than the message."""
    error = kind.__new__(kind, *args)
    error.args = args
    error.__dict__.update(fields)
    return error


def nearest(name: str, known: Iterable[str]) -> str:
    """Return ``"; did you mean 'x'?"`` for the known name most like ``name``, or nothing.

    >>> nearest("rdaius", ["radius", "rise"])
    "; did you mean 'radius'?"
    """
    if len(name) > _LONGEST_GUESSED:
        return ""
    close = difflib.get_close_matches(name, list(known), n=1)
    return f"; did you mean {close[0]!r}?" if close else ""


def require(allowed: object, name: str, given: object, must_be: str, remedy: str = "") -> None:
    """Raise `SettingError` unless ``allowed``: ``name=given`` must be ``must_be``; ``remedy`` says what to do.

    >>> require(False, "radius", -3.0, "zero or more", "leave it out for a knife")
    Traceback (most recent call last):
    lobework.errors.SettingError: radius=-3: must be zero or more; leave it out for a knife
    """
    if not allowed:
        try:
            shown = _short(f"{given:g}" if isinstance(given, float) else f"{given}", _LONGEST_GIVEN)
        except ValueError:
            shown = "a number of thousands of digits"
        raise SettingError(f"{name}={shown}: must be {must_be}" + (f"; {remedy}" if remedy else ""))


def is_whole(given: object, least: int, most: int) -> bool:
    """Return whether it is a whole number, ``least`` to ``most``, and not true or false.

    >>> is_whole(3, 1, 4), is_whole(3.0, 1, 4), is_whole(True, 1, 4)
    (True, False, False)
    """
    return isinstance(given, int) and not isinstance(given, bool) and least <= given <= most
