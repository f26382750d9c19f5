"""Everything public is documented, and what a docstring says of arguments and fields is so."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src" / "lobework"
FUNCTION = ast.FunctionDef | ast.AsyncFunctionDef
ENTRY = re.compile(r"(?P<names>\*{0,2}\w+(, \*{0,2}\w+)*) : \S.*")


def public(node: ast.Module | ast.ClassDef, within: str) -> Iterator[tuple[str, ast.ClassDef | FUNCTION]]:
    """Yield the public classes and functions with their dotted names, and those inside the classes."""
    for each in node.body:
        if isinstance(each, ast.ClassDef | FUNCTION) and not each.name.startswith("_"):
            yield f"{within}.{each.name}", each
            if isinstance(each, ast.ClassDef):
                yield from public(each, f"{within}.{each.name}")


def named(path: Path) -> str:
    return ".".join(path.relative_to(SOURCE.parent).with_suffix("").parts).removesuffix(".__init__")


def everything(name: str) -> dict[str, ast.Module | ast.ClassDef | FUNCTION]:
    """Return a module and all that is public in it, by name."""
    module = ast.parse(MODULES[name].read_text(encoding="utf-8"))
    return {name: module, **dict(public(module, name))}


MODULES = {named(path): path for path in sorted(SOURCE.rglob("*.py"))}
each_module = pytest.mark.parametrize("module", MODULES)


def entries(docstring: str) -> list[str]:
    """Return the unindented lines of a docstring's Parameters section."""
    found = re.search(r"^Parameters\n-{3,}\n(?P<body>.*?)(?=^\S[^\n]*\n-{3,}$|\Z)", docstring, re.DOTALL | re.MULTILINE)
    return [line for line in found["body"].splitlines() if line and not line.startswith(" ")] if found else []


def said(docstring: str) -> list[str]:
    """Return the names that a Parameters section lists."""
    return [name.lstrip("*") for entry in entries(docstring) for name in entry.partition(" : ")[0].split(", ")]


def arguments(function: FUNCTION) -> list[str]:
    given = function.args
    every = [*given.posonlyargs, *given.args, given.vararg, *given.kwonlyargs, given.kwarg]
    return [argument.arg for argument in every if argument is not None and argument.arg not in ("self", "cls")]


def settings(part: ast.ClassDef) -> list[str]:
    """Return what a class is made from: the arguments of its own ``__init__``, or its annotated fields."""
    for each in part.body:
        if isinstance(each, ast.FunctionDef) and each.name == "__init__":
            return arguments(each)
    fields = [each for each in part.body if isinstance(each, ast.AnnAssign) and isinstance(each.target, ast.Name)]
    own = [each.target.id for each in fields if not ast.unparse(each.annotation).startswith(("ClassVar", "KW_ONLY"))]
    return [name for name in own if not name.startswith("_")]


@each_module
def test_everything_public_is_documented(module):
    for name, node in everything(module).items():
        text = ast.get_docstring(node)
        assert text is not None, f"{name} has no docstring"
        assert text.splitlines()[0].rstrip().endswith((".", ":")), f"{name}: the first line is one sentence"


@each_module
def test_the_parameters_that_a_docstring_lists_are_those_that_exist(module):
    for name, node in everything(module).items():
        text = ast.get_docstring(node) or ""
        for entry in entries(text):
            assert not isinstance(node, ast.Module), f"{name}: a module has no parameters"
            assert ENTRY.fullmatch(entry), f"{name}: {entry!r} is not 'name : type, unit'"
        if entries(text):
            made_from = settings(node) if isinstance(node, ast.ClassDef) else arguments(node)
            assert sorted(said(text)) == sorted(made_from), name


def test_more_than_200_docstrings_have_a_list_of_parameters():
    """The functions that have a list of parameters are found: a search that found none would keep every rule."""
    assert sum(bool(entries(ast.get_docstring(node) or "")) for name in MODULES for node in everything(name).values()) > 200


def test_a_docstring_with_an_unknown_parameter_is_found():
    part = ast.parse(
        'class Ring:\n    """A ring.\n\n    Parameters\n    ----------\n    radius, width : float, mm\n        Of it.\n\n'
        '    Examples\n    --------\n    >>> Ring : int\n    """\n\n    kind: ClassVar[str]\n    radius: float\n    depth: int\n'
    ).body[0]
    assert isinstance(part, ast.ClassDef)
    assert said(ast.get_docstring(part)) == ["radius", "width"]
    assert settings(part) == ["radius", "depth"]
