"""Benchmarks stand apart from the tests: no test run collects them, and nothing in the tests needs what they need."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_a_test_run_collects_no_benchmark():
    folders = PROJECT["tool"]["pytest"]["ini_options"]["testpaths"]
    assert not any((ROOT / "benchmarks").is_relative_to(ROOT / each) for each in folders)
    for path in (ROOT / "tests").rglob("*.py"):
        assert path == Path(__file__) or not re.search(
            r"^(?:from|import) benchmarks|pytest_benchmark", path.read_text("utf-8"), re.MULTILINE
        )


def test_the_tool_of_the_benchmarks_is_only_in_their_extra():
    extras = PROJECT["project"]["optional-dependencies"]
    holding = {name for name, needs in extras.items() if any(each.startswith("pytest-benchmark") for each in needs)}
    assert holding == {"bench"}


CLAIMS = """
from benchmarks.conftest import *


class Fixture:
    extra_info = {}


@pytest.fixture
def benchmark():
    return Fixture()


def test_kept(claims):
    claims.add_requirement("beside numpy", "40 times", "30 times", True)


def test_missed(claims):
    claims.add_result("a figure", "3 ms")
    claims.add_requirement("beside C", "0.5", "0.9", False)
    claims.add_requirement("memory", "1.1", "1.2", True)
"""


def test_each_claim_is_one_line_of_the_table_and_a_miss_fails_its_benchmark_alone(tmp_path):
    """With a stand-in for the tool's fixture, for the table is ours."""
    (tmp_path / "conftest.py").write_text(
        CLAIMS.partition("def test_kept")[0].replace("import *", "import *  # noqa"), encoding="utf-8"
    )
    (tmp_path / "test_claims.py").write_text("def test_kept" + CLAIMS.partition("def test_kept")[2], encoding="utf-8")
    line = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:cacheprovider",
        "-p",
        "no:benchmark",
        "-c",
        str(tmp_path / "none.ini"),
        str(tmp_path),
    ]
    (tmp_path / "none.ini").write_text("[pytest]\n", encoding="utf-8")
    done = subprocess.run(line, cwd=ROOT, capture_output=True, text=True, check=False)
    table = [row for row in done.stdout.splitlines() if row.startswith(("ok   ", "MISS "))]
    assert [row[:4].strip() for row in table[-4:]] == ["ok", "ok", "MISS", "ok"]
    assert "required: 0.9" in table[-2]
    assert "1 failed, 1 passed" in done.stdout
