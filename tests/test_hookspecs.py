"""The hooks: one for each thing that can be added, each used by what ships inside, each on the author's page."""

from __future__ import annotations

import inspect
import re
from pathlib import Path

import pluggy
import pytest

from lobework.plugins import builtin, hookspecs

PAGE = Path(__file__).parents[1] / "docs" / "plugins.md"
HOOKS = sorted(name for name, hook in vars(hookspecs).items() if hasattr(hook, "lobework_spec"))


def test_there_is_a_hook_for_each_thing_that_can_be_added():
    things = ("backends", "cams", "checks", "chucks", "cutters", "followers", "pieces", "samples", "targets")
    assert [f"lobework_{each}" for each in things] == HOOKS


@pytest.mark.parametrize("hook", HOOKS)
def test_a_hook_has_no_arguments_and_documents_its_return_value(hook):
    signature = inspect.signature(getattr(hookspecs, hook))
    assert not signature.parameters
    assert re.fullmatch(r"list\[.+\]", signature.return_annotation)
    assert getattr(hookspecs, hook).__doc__.startswith("Return ")


@pytest.mark.parametrize("hook", HOOKS)
def test_built_in_parts_use_the_hook(hook):
    manager = pluggy.PluginManager("lobework")
    manager.add_hookspecs(hookspecs)
    manager.register(builtin)
    manager.check_pending()
    (things,) = getattr(manager.hook, hook)()
    assert things


def test_built_in_parts_declare_the_current_contract():
    assert builtin.lobework_contract == hookspecs.CONTRACT


def test_the_authors_page_lists_every_hook():
    assert sorted(re.findall(r"^\| `(lobework_\w+)` \|", PAGE.read_text(encoding="utf-8"), re.MULTILINE)) == HOOKS


def test_the_module_of_the_hooks_has_less_than_90_lines():
    assert len(Path(hookspecs.__file__).read_text(encoding="utf-8").splitlines()) < 90
