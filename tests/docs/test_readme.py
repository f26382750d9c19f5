"""The README: its commands are those that are checked, its script and job file run, its pictures are what the library draws."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from lobework.jobs.jobfile import read_job

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
EXAMPLES = ROOT / "docs" / "examples"
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
SCRIPTS = [text for language, text in BLOCKS if language == "python"]
JOBS = [text for language, text in BLOCKS if language == "toml"]
LINKED = [link.partition("#")[0] for link in re.findall(r"\]\(([^)\s]+)\)", README)]
LINKS = [link for link in LINKED if link and "://" not in link]
PICTURES = [link for link in LINKS if link.endswith((".svg", ".png"))]
ORDER = ("\n\n", "](", "<!-- make-command -->", "<!-- test-command -->", "```python", "```toml")
COMMANDS = {
    "make-command": "python3 -m venv .venv && .venv/bin/pip install -q '.[picture,png]' && "
    ".venv/bin/lobework make docs/examples/wave-rings.toml --into tide-box",
    "test-command": "python3 -m venv .venv && .venv/bin/pip install -q --no-compile -e '.[test]' && "
    ".venv/bin/python -m pytest -q -n auto --dist loadgroup",
}


@pytest.mark.parametrize("mark", COMMANDS)
def test_a_marked_command_is_one_line_and_the_one_that_is_checked(mark):
    (command,) = re.findall(rf"^<!-- {mark} -->\n+```sh\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
    assert command == COMMANDS[mark] + "\n"


def test_job_picture_commands_script_and_job_file_come_in_this_order():
    places = [README.index(what) for what in ORDER]
    assert places == sorted(places)


@pytest.mark.parametrize("link", LINKS)
def test_links_lead_to_existing_files(link):
    assert (ROOT / link).exists()


@pytest.mark.parametrize("text", SCRIPTS)
def test_a_script_runs_unchanged(text, tmp_path):
    (tmp_path / "script.py").write_text(text, encoding="utf-8")
    answer = subprocess.run(
        [sys.executable, "-W", "error", "script.py"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert (answer.returncode, answer.stderr) == (0, "")


@pytest.mark.parametrize("text", JOBS)
def test_a_job_file_can_be_cut(text, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    job = read_job(path)
    assert len(job.trace()) == len(list(job.cuts()))
    assert [str(finding) for finding in job.check() if finding.level != "note"] == []


def test_there_is_a_picture_a_script_and_a_job_file():
    assert PICTURES
    assert SCRIPTS
    assert JOBS


@pytest.mark.parametrize("picture", PICTURES)
def test_a_stored_picture_equals_a_newly_drawn_one(picture, tmp_path):
    """It is named after the example that it shows; carved work is compared where the guide shows it too."""
    drawn = Path(picture)
    if drawn.suffix == ".png":
        assert f"pictures/{drawn.name}" in (ROOT / "docs" / "guide.md").read_text(encoding="utf-8")
        return
    job = read_job(EXAMPLES / f"{drawn.stem}.toml")
    job.write(drawn.suffix[1:], tmp_path)
    (written,) = tmp_path.iterdir()
    assert written.read_bytes() == (ROOT / drawn).read_bytes()
