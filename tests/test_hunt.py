"""The hunt names the seeds that came back clean and the tests that failed, and the usual run draws the same cases each time."""

from __future__ import annotations

import os
import re
import subprocess
import sys

from tests.hunt import main
from tests.own_conftest import lay_out

HOLDS = """
from hypothesis import given, strategies as st

@given(st.integers())
def test_holds(number):
    assert number == number
"""

FAILS_FOR_SEED_7 = """
import pytest
from tests.search import seed

@pytest.mark.drawn
def test_of_drawn_jobs():
    assert seed(1) != 7
"""

DRAWS = """
from hypothesis import given, settings, strategies as st

@settings(max_examples=3)
@given(st.integers(0, 10**30))
def test_draws(number):
    print("drew", number)
"""


def drawn(folder, *options):
    """Return the numbers that a test by hypothesis draws in a run of its own."""
    (lay_out(folder) / "test_draws.py").write_text(DRAWS, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-s", "-p", "no:cacheprovider", *options]
    done = subprocess.run(command, cwd=folder, env={**os.environ, "CI": ""}, capture_output=True, text=True, check=True)
    return re.findall(r"drew (\d+)", done.stdout)


def test_a_run_without_a_seed_draws_the_same_cases_every_time(tmp_path):
    assert drawn(tmp_path) == drawn(tmp_path) != []


def test_a_seed_draws_other_cases_and_the_same_seed_the_same(tmp_path):
    usual, one, again = drawn(tmp_path), drawn(tmp_path, "--hypothesis-seed=5"), drawn(tmp_path, "--hypothesis-seed=5")
    assert one == again
    assert one != usual


def test_the_hunt_names_clean_seeds_and_failed_tests(tmp_path, capsys):
    (tmp_path / "test_both.py").write_text(HOLDS + FAILS_FOR_SEED_7, encoding="utf-8")
    arguments = [str(tmp_path), "--first", "6", "--seeds", "3", "--examples", "1", "--processes", "0"]
    assert main(arguments) == 1
    printed = capsys.readouterr().out
    assert "seed 6: clean (2 tests" in printed
    assert "2 of 3 seeds clean: 6, 8" in printed
    (again,) = [line for line in printed.splitlines() if line.startswith("failed: ")]
    assert "LOBEWORK_SEED=7" in again
    assert again.endswith("test_both.py::test_of_drawn_jobs' --hypothesis-seed=7")


def test_the_hunt_is_clean_if_nothing_fails(tmp_path, capsys):
    (tmp_path / "test_holds.py").write_text(HOLDS, encoding="utf-8")
    assert main([str(tmp_path), "--seeds", "1", "--processes", "0"]) == 0
    assert "1 of 1 seeds clean: 1" in capsys.readouterr().out


def test_without_time_for_a_second_seed_none_is_started(tmp_path, capsys):
    (tmp_path / "test_holds.py").write_text(HOLDS, encoding="utf-8")
    assert main([str(tmp_path), "--minutes", "1e-9", "--processes", "0"]) == 0
    assert "1 of 1 seeds clean: 1" in capsys.readouterr().out
