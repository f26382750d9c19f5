"""A place where little packages are installed for a test, beside the library and nothing else of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import lobework

SOURCE = Path(lobework.__path__[0]).parent
REPORT = """\
import json, warnings
from dataclasses import asdict

with warnings.catch_warnings(record=True) as said:
    warnings.simplefilter("always")
    from lobework.plugins.registry import Plugins

    at_import = len(said)
    shelf = Plugins.load()
    at_load = [[each.category.__name__, str(each.message)] for each in said]
    Plugins.load()
kinds = ("cam", "follower", "chuck", "cutter", "piece")
print(json.dumps({
    "said at import": at_import,
    "said": at_load,
    "said again": len(said) - len(at_load),
    "loaded": [asdict(record) for record in shelf.loaded],
    "refused": [asdict(record) for record in shelf.refused],
    "parts": {kind: {name: part.__module__ for name, part in shelf.kinds(kind).items()} for kind in kinds},
    "backends": {name: backend.description for name, backend in shelf.backends().items()},
    "targets": {name: target.file for name, target in shelf.targets().items()},
    "checks": [check.__name__ for check in shelf.checks()],
}))
"""


@dataclass(frozen=True)
class Shop:
    """The folder in which they are installed."""

    site: Path

    def install(self, *folders: Path) -> None:
        """Install packages from their folders, in one go."""
        quiet = ("--quiet", "--no-deps", "--no-build-isolation", "--no-index", "--disable-pip-version-check", "--no-compile")
        command = [sys.executable, "-m", "pip", "install", *quiet, "--target", str(self.site), *map(str, folders)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    def surroundings(self, plugins: str | None = None) -> dict[str, str]:
        """Return the environment in which they are found; ``plugins`` is LOBEWORK_PLUGINS, unset unless given."""
        given = {name: value for name, value in os.environ.items() if name != "LOBEWORK_PLUGINS"}
        path = {"PYTHONPATH": f"{self.site}{os.pathsep}{SOURCE}"}
        return given | path | ({} if plugins is None else {"LOBEWORK_PLUGINS": plugins})

    def run(self, *arguments: str, plugins: str | None = None, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
        """Run Python there."""
        given = self.surroundings(plugins)
        done = subprocess.run(
            [sys.executable, *arguments], env=given, cwd=cwd or self.site, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done

    def report(self, plugins: str | None = None) -> dict[str, Any]:
        """Return what a fresh Python finds there."""
        found: dict[str, Any] = json.loads(self.run("-c", REPORT, plugins=plugins).stdout)
        return found

    def message(self, script: str, plugins: str | None = None) -> list[str]:
        """Return the lines that a script prints there."""
        return self.run("-c", script, plugins=plugins).stdout.splitlines()
