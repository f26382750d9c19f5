"""Faulty plugins: the skeletons of every kind, changed at random, and what they are used for."""

from __future__ import annotations

import ast
import contextlib
import functools
import hashlib
import io
import random as chance
import sys
import tempfile
import warnings
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path
from typing import Final

import pytest

from lobework.cli import main
from lobework.plugins import registry
from lobework.plugins.skeleton import KINDS, lay_out

__all__ = ["START", "plugins", "read"]

NAME: Final = "hostile"
ALLOWED: Final = (0, 1, 2, 70)
"""Done, found something, wrong input, a fault in a plugin."""

_JOB: Final = """
title = "hostile"
resolution = 0.5
chord = 0.01
{lathe}
[piece]
{piece}
[cutter]
{cutter}
[[pass]]
at = {{ x = 8, depth = 0.2 }}
[[pass.cam]]
{cam}
follower = {follower}
"""
_USUAL: Final = {
    "lathe": 'lathe = "plain-bench"',
    "piece": 'form = "disc"\ndiameter = 24\nthickness = 6',
    "cutter": 'kind = "vee"\nangle = 90\nwidth = 2',
    "cam": 'shape = "wave"\nlobes = 5\nbase_radius = 40\nrise = 1',
    "follower": '{ kind = "roller", radius = 2 }',
}
_OF_KIND: Final = {
    "chuck": {"lathe": 'lathe = "plain-bench"\n[[chuck]]\nkind = "hostile"\narc = 20\n'},
    "cam": {"cam": 'shape = "hostile"\nlobes = 5\nbase_radius = 40\nrise = 1'},
    "follower": {"follower": '{ kind = "hostile", radius = 5, width = 4 }'},
    "cutter": {"cutter": 'kind = "hostile"\nflat = 0.5\nangle = 90\nwidth = 2'},
    "piece": {"piece": 'form = "hostile"\nacross = 24'},
}
_USE: Final = {
    "target": ("draw", "job.toml", "--as", "hostile", "--into", "out"),
    "backend": ("carve", "job.toml", "--backend", "hostile", "--into", "out"),
}

_VALUES: Final = (
    "None", "[]", "()", "''", "{}", "True", "float('nan')", "float('inf')", "-1", "0", "10**400", "1e308", "object()",
    "b'\\x00'", "(lambda *a: a)",
    "'\\x1b[2J\\n'", "np.zeros(3)", "np.full(7, np.nan)", "np.zeros((2, 2, 2))", "np.array(['a'])", "np.zeros(0)",
    "range(3)", "type", "Exception('given')", "np.datetime64('now')", "1j", "iter(())", "'x' * 100_000",
)  # fmt: skip
_RAISED: Final = (
    "ValueError('a\\nb\\x1b[0m')", "SystemExit(0)", "SystemExit('leaving')", "BaseException('base')", "GeneratorExit()",
    "MemoryError()", "RecursionError()", "StopIteration()", "OSError(28, 'No space left')",
    "UnicodeDecodeError('utf-8', b'', 0, 1, '')",
    "type('Mute', (Exception,), {'__str__': lambda self: 1 / 0})()", "AssertionError()", "KeyError('k' * 5_000)",
    "BaseExceptionGroup('g', [Exception()])",
    "ImportError('no')", "Warning('w')", "BrokenPipeError()",
)  # fmt: skip
_NUMBERS: Final = (0, -1, 1, 2, 10**30, -(10**30), 1e-300, 1e300, 0.5, 3, 97)
_NAMES: Final = (
    "kind",
    "varies",
    "motions",
    "edge",
    "carve",
    "render",
    "can",
    "name",
    "form",
    "rest",
    "period_turns",
    "slides",
    "__slots__",
)


def _expression(text: str) -> ast.expr:
    return ast.parse(text, mode="eval").body


class _Change(ast.NodeTransformer):
    """One change of one node: the one that stands ``at`` among those that the change fits."""

    def __init__(self, random: chance.Random, how: str, at: int) -> None:
        self.random, self.how, self.left = random, how, at

    def _here(self) -> bool:
        self.left -= 1
        return self.left == -1

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        if self.how == "number" and isinstance(node.value, int | float) and self._here():
            return ast.Constant(self.random.choice(_NUMBERS))
        if self.how == "text" and isinstance(node.value, str) and self._here():
            return ast.Constant(
                self.random.choice(
                    ("", "\n", "\x1b[31m", "a" * 5000, "\u202e", "ho stile", "=1+1", "vee", "wave", "plain", "svg")
                )
            )
        return node

    def visit_Return(self, node: ast.Return) -> ast.AST:
        if self.how == "return" and self._here():
            return ast.Return(_expression(self.random.choice(_VALUES)))
        return self.generic_visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST | None:
        if self.how == "raise" and self._here():
            node.body = [ast.Raise(_expression(self.random.choice(_RAISED)), None)]
            return node
        if self.how == "decorator" and node.decorator_list and self._here():
            node.decorator_list = self.random.choice(([], [*node.decorator_list, ast.Name("property", ast.Load())]))
            return node
        if self.how == "rename" and self._here():
            node.name = self.random.choice(_NAMES)
            return node
        if self.how == "arguments" and self._here():
            node.args = ast.parse("def f(*, asked): pass").body[0].args  # type: ignore[attr-defined]
            return node
        if self.how == "print" and self._here():
            node.body.insert(0, ast.parse("print('printed by a plugin')").body[0])
            return node
        if self.how == "drop" and self._here():
            return None
        return self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST | None:
        if self.how == "type" and self._here():
            marks = (
                "int",
                "str",
                "float",
                "Angle",
                "Length",
                "'Nowhere'",
                "list",
                "dict[str, float]",
                "object",
                "None",
                "ClassVar[int]",
            )
            node.annotation = _expression(self.random.choice(marks))
            return node
        if self.how == "field" and self._here():
            return None
        if self.how == "value" and node.value is not None and self._here():
            node.value = _expression(self.random.choice(_VALUES))
            return node
        return self.generic_visit(node)


def _start() -> None:
    """Load what every command needs."""
    _sources()
    for kind in KINDS:
        read(f"# kind: {kind}\n{_sources()[kind]}".encode())


START: Final = _start

_HOWS: Final = (
    "number",
    "text",
    "return",
    "raise",
    "decorator",
    "rename",
    "arguments",
    "print",
    "drop",
    "type",
    "field",
    "value",
)
_AT_THE_TOP: Final = (
    "print('at import')",
    "raise SystemExit(0)",
    "raise BaseException('base')",
    "1 / 0",
    "import nothing_of_this_name",
    "lobework_contract = 3",
)


@functools.cache
def _sources() -> dict[str, str]:
    found = {}
    for kind in KINDS:
        files = lay_out(NAME, kind)
        (found[kind],) = (text.decode() for path, text in files.items() if path.suffix == ".py" and len(path.parts) == 1)
    return found


def plugins(random: chance.Random) -> Iterator[bytes]:
    """Yield the sources of plugins, each a skeleton with one to four changes, without end; the first line says the kind."""
    sources = _sources()
    while True:
        kind = random.choice(KINDS)
        tree = ast.parse(sources[kind].replace("import numpy as np\n", ""))
        tree.body.insert(1, ast.parse("import numpy as np").body[0])
        for _ in range(random.randint(1, 4)):
            tree = _Change(random, random.choice(_HOWS), random.randint(0, 12)).visit(tree)
            for node in ast.walk(tree):
                if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.body:
                    node.body = [ast.Pass()]
        if random.random() < 0.05:
            tree.body.insert(random.randrange(1, len(tree.body) + 1), ast.parse(random.choice(_AT_THE_TOP)).body[0])
        yield f"# kind: {kind}\n{ast.unparse(ast.fix_missing_locations(tree))}\n".encode()


def read(source: bytes) -> None:
    """List a plugin, check a job and use what the plugin offers.

    Raises
    ------
    AssertionError
        If a command ends otherwise than with an exit code of `ALLOWED`, prints a traceback, or blames the library itself.
    """
    kind = source.decode().partition("\n")[0].removeprefix("# kind: ")
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings(), contextlib.chdir(folder):
        warnings.simplefilter("ignore")
        module = f"hostile_{hashlib.sha256(source).hexdigest()[:16]}"
        Path(f"{module}.py").write_bytes(source)
        Path("job.toml").write_text(_JOB.format(**_USUAL | _OF_KIND.get(kind, {})), encoding="utf-8")
        with _offered(metadata.EntryPoint(name=NAME, value=module, group=registry.GROUP), folder):
            for arguments in (("list",), ("check", "job.toml"), _USE.get(kind, ("draw", "job.toml", "--into", "out"))):
                registry.installed.cache_clear()
                _run(arguments)
        sys.modules.pop(module, None)


@contextlib.contextmanager
def _offered(entry: metadata.EntryPoint, folder: str) -> Iterator[None]:
    """Let one plugin alone be found, in a folder."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(registry, "_all_entries", lambda: ([entry], []))
        patch.syspath_prepend(folder)
        yield
    registry.installed.cache_clear()


def _run(arguments: tuple[str, ...]) -> None:
    printed, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(said):
        code = main(list(arguments))
    both = printed.getvalue() + said.getvalue()
    assert code in ALLOWED, f"{arguments[0]}: exit code {code}"
    for slip in ("Traceback", "lobework itself", "\x1b["):
        assert slip not in both, f"{arguments[0]}: {slip!r} is printed: {both.splitlines()[-1]:.300}"
