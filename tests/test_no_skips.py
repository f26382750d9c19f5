"""Where everything must run, a skip fails and says why; elsewhere it stays a skip."""

from __future__ import annotations

import os
import subprocess
import sys

from tests.own_conftest import lay_out

SKIPS = {
    "called": "import pytest\ndef test_it():\n    pytest.skip('no called')\n",
    "marked": "import pytest\n@pytest.mark.skip(reason='no marked')\ndef test_it():\n    pass\n",
    "module": "import pytest\npytest.skip('no module', allow_module_level=True)\n",
    "fixture": "import pytest\n@pytest.fixture\ndef part():\n    pytest.skip('no fixture')\ndef test_it(part):\n    pass\n",
}


def run(folder, ci):
    tests = lay_out(folder)
    for name, text in SKIPS.items():
        (tests / f"test_{name}.py").write_text(text, encoding="utf-8")
    environment = {**os.environ, "CI": ci, "PYTEST_ADDOPTS": "", "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    command = [sys.executable, "-m", "pytest", "-q", "-rs", "-p", "no:cacheprovider", "--continue-on-collection-errors"]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)


def test_a_skip_is_a_failure_if_everything_must_run(tmp_path):
    answer = run(tmp_path, ci="true")
    assert answer.returncode == 1
    assert "skipped" not in answer.stdout.splitlines()[-1]
    for name in SKIPS:
        assert any("nothing may be skipped here" in line and f"no {name}" in line for line in answer.stdout.splitlines()), name


def test_a_skip_is_otherwise_not_a_failure(tmp_path):
    answer = run(tmp_path, ci="")
    assert answer.returncode == 0
    assert "4 skipped" in answer.stdout
