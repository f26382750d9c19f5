"""A folder whose tests run as these do."""

from __future__ import annotations

import shutil
from pathlib import Path

__all__ = ["lay_out"]


def lay_out(folder: Path) -> Path:
    """Copy into a folder what every test shares; return the folder inside it for tests."""
    tests = folder / "tests"
    tests.mkdir(exist_ok=True)
    for name in ("conftest.py", "compile_kernels.py", "search.py"):
        shutil.copy(Path(__file__).with_name(name), tests / name)
    (folder / "pytest.ini").write_text("[pytest]\naddopts = --import-mode=importlib\npythonpath = .\n", encoding="utf-8")
    return tests
