"""Templates for a small, complete package with a new plugin, for each kind of item."""

from __future__ import annotations

import importlib.util
import keyword
import re
from pathlib import Path, PurePosixPath
from string import Template
from typing import Final

from lobework.errors import InputError, UnknownNameError
from lobework.plugins.registry import installed

__all__ = ["KINDS", "lay_out"]

KINDS: Final = ("chuck", "cam", "follower", "cutter", "piece", "backend", "target", "check")
"""The kinds of items for which there is a template."""

_HERE: Final = Path(__file__).parent
_NAME: Final = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_LONGEST: Final = 40


def lay_out(name: str, kind: str = "chuck") -> dict[PurePosixPath, bytes]:
    """Return the contents of the files of a package with one plugin; the keys are the paths in the folder of the package.

    Parameters
    ----------
    name : str
        Name of the plugin and of its item: lower-case letters, digits and dashes, such as "sway".
    kind : str
        Kind of the item, one of `KINDS`.

    Raises
    ------
    UnknownNameError
        If there is no such kind.
    InputError
        If the name is not valid, or is the name of an installed item or plugin.

    Examples
    --------
    >>> [str(path) for path in lay_out("sway")]
    ['pyproject.toml', 'README.md', 'lobework_sway.py', 'tests/test_sway.py']
    """
    if kind not in KINDS:
        raise UnknownNameError("kind of plugin", kind, KINDS)
    if not _NAME.fullmatch(name) or len(name) > _LONGEST or keyword.iskeyword(name):
        must_be = "a word in lower-case letters, digits and dashes, such as sway or tide-box"
        raise InputError(where="NAME", given=repr(name), must_be=must_be)
    plain = name.replace("-", "_")
    module, source = f"lobework_{plain}", _template(f"{kind}.py")
    part = f"{plain}_findings" if kind == "check" else _class_name(name, kind, source)
    offers = part if kind == "check" else name
    _refuse_taken(name, kind, offers, module)
    words = {"name": name, "kind": kind, "part": part, "offers": offers, "module": module, "package": f"lobework-{name}"}
    words["description"] = Template(source.partition("\n")[0].strip('"')).substitute(words)
    made = {
        "pyproject.toml": _template("pyproject.toml"),
        "README.md": _template("README.md"),
        f"{module}.py": source,
        f"tests/test_{plain}.py": _template("tests.py"),
    }
    return {PurePosixPath(path): Template(text).substitute(words).encode() for path, text in made.items()}


def _template(file: str) -> str:
    return (_HERE / f"{file}.txt").read_text(encoding="utf-8")


def _class_name(name: str, kind: str, source: str) -> str:
    """Return a class name that does not occur elsewhere in the source of the module."""
    part = "".join(word.capitalize() for word in name.split("-"))
    return part + kind.capitalize() if re.search(rf"\b{part}\b", source) else part


def _refuse_taken(name: str, kind: str, offers: str, module: str) -> None:
    """Raise an error if an installed item or plugin has the name already."""
    shelf = installed()
    if offers in shelf.parts[kind]:
        problem = f"is already used: a {kind} of this name is installed"
        raise InputError(problem, "NAME", given=repr(name), remedy="choose another name")
    if any(record.name == name for record in (*shelf.loaded, *shelf.refused)) or importlib.util.find_spec(module):
        problem = "is already used: a plugin of this name is installed"
        raise InputError(problem, "NAME", given=repr(name), remedy="choose another name")
