"""Every reader reads or refuses whatever it is given, in one line; and the runner notices where one does not."""

from __future__ import annotations

import subprocess
import sys
import warnings
from pathlib import Path

import pytest

from tests.hostile.broken import WAYS
from tests.hostile.readers import READERS, Reader, installed
from tests.hostile.run import kept

ROOT = Path(__file__).parents[2]
CASES = Path(__file__).parent / "cases"
COUNT = 10
"""Drawn inputs for each reader; python -m tests.hostile reads as many as are asked for."""
SAID = {
    "refused": "",
    "exception": "KeyError: 'lost' | ",
    "warning": "RuntimeWarning: overflow encountered | ",
    "lines": "a refusal that is no plain line: ",
    "shouts": "a refusal with object at 0x in it",
    "memory": "took more than 300 MB",
    "leak": "took 4",
    "slow": "took 0.",
    "hangs": "took more than ",
    "ends": "its process ended with 9",
    "read": "",
}


@pytest.mark.parametrize("name", list(installed()))
def test_stored_and_generated_inputs_are_read_or_refused_correctly(name):
    command = [sys.executable, "-m", "tests.hostile", "--untimed", "--count", str(COUNT), "--seed", "1", "--reader", name]
    done = subprocess.run(command, check=False, capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stdout + done.stderr
    assert f"{name}: {len(list(CASES.glob(f'{name}-*')))} cases and {COUNT} inputs of seed 1, 0 failures" in done.stdout


def test_every_stored_case_has_a_reader():
    assert {each.name.partition("-")[0] for each in CASES.iterdir()} <= {each.name for each in READERS}


def test_an_input_is_determined_by_its_number():
    for reader in installed().values():
        inputs = [reader.input(3, number) for number in (0, 1, 2, 0)]
        assert inputs[0] == inputs[3]
        assert len(set(inputs)) == 3


def test_the_runner_finds_every_kind_of_reader_error(tmp_path):
    cases = [tmp_path / way for way in WAYS]
    for case in cases:
        case.write_bytes(case.name.encode())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = {each.name: each.message for each in kept(Reader("broken", 0.15, 300), cases)}
    assert set(found) == {way for way, message in SAID.items() if message}
    assert {way: message for way, message in found.items() if not message.startswith(SAID[way])} == {}


def test_the_command_exits_with_1_and_names_an_input_that_is_read_wrongly(tmp_path):
    spoiled = (
        "import sys; from tests.hostile import __main__ as run; from lobework.geometry.outline import outline;"
        "outline.read_bytes = lambda *_, **__: 1 / 0;"
        "sys.argv = ['', '--count', '2', '--reader', 'svg', '--keep', sys.argv[1]]; sys.exit(run.main())"
    )
    command = [sys.executable, "-c", spoiled, str(tmp_path)]
    done = subprocess.run(command, check=False, capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 1, done.stderr
    assert "svg 0:0: ZeroDivisionError: division by zero | File " in done.stdout
    assert sorted(each.name for each in tmp_path.iterdir()) == ["svg-0-0", "svg-0-1"]
