"""Where tests are distributed over processes, those that share what takes long to make are given to one process."""

from __future__ import annotations

import os
import re
import subprocess
import sys

from tests.own_conftest import lay_out

GROUPS = [
    ("tests/carve/test_face.py", "tests/carve/test_solid.py", "tests/docs/test_guide.py"),
    ("tests/docs/test_types.py",),
    ("tests/test_plugins.py",),
]
ANYWHERE = ("tests/test_units.py",)
FOUR_TESTS = "import pytest\n\n\n@pytest.mark.parametrize('case', range(4))\ndef test_holds(case):\n    assert case < 4\n"


def test_one_process_runs_all_tests_of_a_group(tmp_path):
    for file in (*ANYWHERE, *(file for group in GROUPS for file in group)):
        (tmp_path / file).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / file).write_text(FOUR_TESTS, encoding="utf-8")
    lay_out(tmp_path)
    command = [sys.executable, "-m", "pytest", "-v", "-n", "2", "--dist", "loadgroup", "-p", "no:cacheprovider"]
    done = subprocess.run(command, cwd=tmp_path, env={**os.environ, "CI": ""}, capture_output=True, text=True, check=True)
    ran = re.findall(r"\[(gw\d)\].* PASSED (\S+)::test_holds", done.stdout)
    assert len(ran) == 4 * (len(ANYWHERE) + sum(map(len, GROUPS)))
    for group in GROUPS:
        assert len({process for process, file in ran if file in group}) == 1, group
    assert len({process for process, file in ran}) == 2
