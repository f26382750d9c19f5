"""The page on numbers: every line is typed as it stands and answers what the page says, and its script runs."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from lobework.cli import main

PAGE = (Path(__file__).parents[2] / "docs" / "numbers.md").read_text(encoding="utf-8")
TYPED = re.findall(r"^```console\n\$ lobework ([^\n]*)\n```\n\n```text\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
SCRIPTS = re.findall(r"^```python\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)


@pytest.mark.parametrize(("line", "answer"), TYPED, ids=[line for line, _ in TYPED])
def test_a_command_on_the_page_prints_the_shown_output(line, answer, capsys):
    assert main(shlex.split(line)) == 0
    assert capsys.readouterr() == (answer, "")


def test_the_script_on_the_page_runs():
    (script,) = SCRIPTS
    exec(script, {})


def test_every_code_block_is_tested():
    assert PAGE.count("\n```") == 4 * len(TYPED) + 2 * len(SCRIPTS)
