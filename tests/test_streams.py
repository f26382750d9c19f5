"""Standard output and standard error that are closed, full or left: one line, the right exit code, never a fault."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from lobework.jobs.jobfile import starter

COMMAND = f'{sys.executable} -c "import sys; from lobework.cli import main; sys.exit(main())"'
VERBS = ["check lid.toml", "draw lid.toml --into out", "--help", "--version", "schema"]
FULL = "lobework: standard output cannot be written: No space left on device; free some space, or redirect it\n"
CLOSED = "lobework: standard output is closed, so nothing can be printed; open it, or redirect it to /dev/null\n"


@pytest.fixture(autouse=True)
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("lid.toml").write_text(starter(), encoding="utf-8")


def run(verb: str, then: str, *, unbuffered: bool = False) -> subprocess.CompletedProcess[str]:
    settings = {key: value for key, value in os.environ.items() if key != "PYTHONUNBUFFERED"}
    settings |= {"PYTHONUNBUFFERED": "1"} if unbuffered else {}
    return subprocess.run(["bash", "-c", f"{COMMAND} {verb} {then}"], check=False, capture_output=True, text=True, env=settings)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
@pytest.mark.parametrize("unbuffered", [False, True])
@pytest.mark.parametrize("verb", VERBS)
def test_a_full_standard_output_is_one_line(verb, unbuffered):
    done = run(verb, "> /dev/full", unbuffered=unbuffered)
    assert (done.returncode, done.stderr) == (2, FULL)


@pytest.mark.parametrize("verb", VERBS)
def test_a_closed_standard_output_is_one_line_before_any_work(verb):
    done = run(verb, ">&-")
    assert (done.returncode, done.stderr) == (2, CLOSED)
    assert [each.name for each in Path().iterdir()] == ["lid.toml"]


@pytest.mark.parametrize("verb", ["schema", "check lid.toml", "check none.toml", "--help"])
def test_a_closed_pipe_of_both_streams_is_not_an_error(verb):
    done = run(verb, "2>&1 | true; exit ${PIPESTATUS[0]}")
    assert (done.returncode, done.stderr) == (2 if "none" in verb else 0, "")


@pytest.mark.parametrize("then", ["2>&-", "2>/dev/full", "2>&- <&-"])
def test_without_a_standard_error_the_exit_code_is_the_same(then):
    assert run("check none.toml", then).returncode == 2
    assert run("check none.toml", then).stdout == ""
    done = run("check lid.toml", then)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("note")
