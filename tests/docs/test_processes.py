"""The page on threads, processes and clusters: its script runs as it stands, and prints what the page says."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "processes.md").read_text(encoding="utf-8")
(SCRIPT,) = re.findall(r"^```python\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
PRINTS = re.search(r"^\$ python sweep.py\n```\n+```text\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)[1]
PAGES = ("README.md", "docs/index.md")


def test_the_script_prints_the_output_on_the_page(tmp_path):
    (tmp_path / "sweep.py").write_text(SCRIPT, encoding="utf-8")
    line = [sys.executable, "-W", "error", "sweep.py"]
    done = subprocess.run(line, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, PRINTS, "")


def test_every_code_block_is_tested():
    assert PAGE.count("\n```") == 2 * 4


@pytest.mark.parametrize("page", PAGES)
def test_the_page_is_linked(page):
    assert re.search(r"docs/processes\.md|^processes$", (DOCS.parent / page).read_text(encoding="utf-8"), re.MULTILINE)
