"""The cases of a seed: the same in every process."""

from __future__ import annotations

import subprocess
import sys

DRAWN = """
import sys
from hypothesis import Phase, given, seed, settings, strategies as st
from tests.search import fix_constants

fix_constants()
{before}
drawn = []

@seed(7)
@settings(max_examples=200, database=None, phases=[Phase.generate])
@given(st.floats(), st.integers(), st.text())
def draw(a, b, c):
    drawn.append((a, b, c))

draw()
print(drawn)
"""
OTHER = """
sys.path.insert(0, sys.argv[1])
import lobework.cli, lobework.kernels.rs274.interpret, other
"""


def test_loaded_modules_do_not_change_drawn_cases(tmp_path):
    (tmp_path / "other.py").write_text("NUMBERS = 0.12345, 54321, 'quite another word'\n", encoding="utf-8")
    first, second = (
        subprocess.run(
            [sys.executable, "-c", DRAWN.format(before=each), str(tmp_path)], capture_output=True, text=True, check=True
        ).stdout
        for each in ("", OTHER)
    )
    assert first == second
    assert len(first) > 1000
