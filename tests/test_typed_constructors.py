"""A constructor that is written out for type checkers takes what the real one takes."""

from __future__ import annotations

import ast
import importlib
import inspect
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src"


def written_out():
    """Each class with an ``__init__`` for type checkers alone: (its class, that function)."""
    for path in sorted((SOURCE / "lobework").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        for kind in ast.walk(ast.parse(text)) if "    if TYPE_CHECKING:" in text else ():
            for branch in kind.body if isinstance(kind, ast.ClassDef) else ():
                if isinstance(branch, ast.If) and ast.unparse(branch.test) == "TYPE_CHECKING":
                    module = importlib.import_module(".".join(path.relative_to(SOURCE).with_suffix("").parts))
                    yield getattr(module, kind.name), branch.body[0]


FOUND = list(written_out())


def test_typed_constructors_are_found():
    assert len(FOUND) > 10


@pytest.mark.parametrize(("kind", "function"), FOUND, ids=lambda each: getattr(each, "__name__", ""))
def test_a_typed_constructor_has_the_real_signature(kind, function):
    given, real = function.args, list(inspect.signature(kind).parameters.values())
    optional = [None] * (len(given.args) - len(given.defaults)) + given.defaults
    plain = [(each.arg, default is None, False) for each, default in zip(given.args, optional, strict=True)][1:]
    named = [(each.arg, default is None, True) for each, default in zip(given.kwonlyargs, given.kw_defaults, strict=True)]
    assert plain + named == [(each.name, each.default is each.empty, each.kind is each.KEYWORD_ONLY) for each in real]
