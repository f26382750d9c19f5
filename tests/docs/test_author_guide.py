"""The author's guide: every line on its pages is typed as it stands, and says what the page says."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sysconfig
from itertools import pairwise
from pathlib import Path
from textwrap import indent

import numpy as np
import pytest

from lobework.files.outputs import write_files
from lobework.plugins.hookspecs import CONTRACT
from lobework.plugins.skeleton import KINDS, lay_out
from tests.workshop import Shop

DOCS = Path(__file__).parents[2] / "docs"
PAGES = ("plugins.md", "plugin-kinds.md")
BLOCK = re.compile(
    r"(?:^<!-- (?P<how>file|in|causes)(?:: (?P<file>\S+))? -->\n+)?^```(?P<kind>\w*)\n(?P<text>.*?)^```$",
    re.DOTALL | re.MULTILINE,
)
HERE = {
    "PATH": f"{sysconfig.get_path('scripts')}{os.pathsep}{os.environ['PATH']}",
    "PIP_NO_DEPS": "1",
    "PIP_NO_INDEX": "1",
    "PIP_NO_BUILD_ISOLATION": "0",  # pip reads it so: no isolation
    "PIP_QUIET": "1",
    "PIP_DISABLE_PIP_VERSION_CHECK": "1",
}


def blocks(page):
    return [match.groupdict() for match in BLOCK.finditer((DOCS / page).read_text(encoding="utf-8"))]


def typed(text, folder, shop):
    """Type the lines of a block in a folder, and return what they print; each must end well."""
    said = ""
    for line in text.splitlines():
        assert line.startswith("$ ")
        around = shop.surroundings() | HERE | {"PIP_TARGET": str(shop.site)}
        done = subprocess.run(["bash", "-c", line[2:]], cwd=folder, env=around, capture_output=True, text=True, check=False)
        assert done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"
        said += done.stdout
    return said


def as_pattern(text):
    """Return what matches a page's output, in which three dots stand for what is left out."""
    lines = re.escape(text).replace(r"\.\.\.", "...").split("\\\n")
    return "".join(r"(?:.*\n)*" if line == "..." else line.replace("...", ".*") + r"\n" for line in lines if line)


def followed(page, folder, shop):
    """Do all that a page says, in order, in an empty folder."""
    folder.mkdir()
    last = ""
    for block in blocks(page):
        if block["how"] == "causes":
            continue
        if block["kind"] == "console":
            last = typed(block["text"], folder, shop)
        elif block["kind"] == "text":
            assert re.fullmatch(as_pattern(block["text"]), last), last
        elif block["how"] == "in":
            source = (folder / block["file"]).read_text(encoding="utf-8")
            assert any(indent(block["text"], by) in source for by in ("", " " * 4, " " * 8)), block["text"]
        elif (path := folder / block["file"]).exists():
            assert block["text"] == path.read_text(encoding="utf-8")
        else:
            path.write_text(block["text"], encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    shop = Shop(tmp_path_factory.mktemp("guide") / "site")
    shop.site.mkdir()
    as_a_site = f"import site\nsite.addsitedir({str(shop.site)!r})\n"
    (shop.site / "sitecustomize.py").write_text(as_a_site, encoding="utf-8")  # as what is installed with -e needs it
    return shop


@pytest.fixture(scope="module")
def folder(shop):
    """The folder of somebody who has followed the guide to its end."""
    return followed("plugins.md", shop.site.parent / "plugins", shop)


def test_every_command_of_the_guide_prints_the_shown_output(folder):
    assert {path.name for path in folder.iterdir()} >= {"lobework-sway", "swayed.toml", "swayed", "try_sway.py"}
    assert "swayed wave" in (folder / "swayed" / "drawing.svg").read_text(encoding="utf-8")


def test_every_command_of_the_page_on_other_kinds_prints_the_shown_output(shop, folder):
    followed("plugin-kinds.md", shop.site.parent / "kinds", shop)


@pytest.mark.parametrize("page", PAGES)
def test_every_code_block_is_tested(page):
    text = (DOCS / page).read_text(encoding="utf-8")
    assert text.count("\n```") == 2 * len(blocks(page))
    for before, block in pairwise([{"kind": ""}, *blocks(page)]):
        assert block["kind"] in ("console", "text", "toml", "python")
        assert block["how"] in ("file", "in") or block["kind"] in ("console", "text")
        assert block["how"] == "causes" or block["kind"] != "text" or before["kind"] == "console"


def test_every_kind_of_plugin_is_created_on_one_of_the_pages():
    laid = [line for page in PAGES for block in blocks(page) for line in re.findall(r"new plugin .*", block["text"])]
    assert sorted(re.search(r"--kind (\w+)|$", line)[1] or "chuck" for line in laid) == sorted(KINDS)


def test_a_plugin_with_another_or_no_contract_is_left_out_with_the_message_on_the_page(tmp_path):
    """And the sound one beside them comes in."""
    shop, message = Shop(tmp_path / "site"), "lobework_contract = 2\n"
    contracts = {"older": "lobework_contract = 0\n", "newer": "lobework_contract = 3\n", "silent": "", "sound": message}
    for name, contract in contracts.items():
        files = {
            tmp_path / name / path: content.replace(message.encode(), contract.encode())
            for path, content in lay_out(name).items()
        }
        write_files(files)
    shop.install(*(tmp_path / name for name in contracts))
    report = shop.report()
    (page,) = (block["text"].splitlines() for block in blocks("plugins.md") if block["how"] == "causes")
    left_out = {each["name"]: each["cause"] for each in report["refused"]}
    assert [left_out.pop(name) for name in ("older", "newer", "silent")] == page
    assert left_out == {}
    assert [each["name"] for each in report["loaded"]] == ["built-in", "sound"]


def test_the_table_of_contracts_ends_with_the_current_one():
    numbers = re.findall(r"^\| (\d+) \| ", (DOCS / "plugins.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert [int(each) for each in numbers] == list(range(1, CONTRACT + 1))


def test_the_sway_chuck_rotates_the_wave_by_minus_the_sway(shop, folder):
    """From the definition of the motion: seen from work that the chuck has turned on by s, everything is turned back by s.
    No source. The chord is so fine that reading between samples costs less than 1e-4 mm."""
    script = f"""
import json
from dataclasses import replace
import numpy as np
from lobework.jobs.jobfile import read_job
swayed = replace(read_job({str(folder / "swayed.toml")!r}), chord=1e-5)
true = replace(swayed, lathe=replace(swayed.lathe, chucks=()))
(path,), (plain,) = swayed.trace(), true.trace()
print(json.dumps([each.tolist() for each in (path.u, path.x, path.y, plain.u, plain.x, plain.y)]))
"""
    u, x, y, plain_u, plain_x, plain_y = map(np.array, json.loads(*shop.message(script, plugins="sway")))
    seen_true = np.interp(u, plain_u, plain_x) + 1j * np.interp(u, plain_u, plain_y)
    back = np.exp(-1j * np.radians(20.0) * np.sin(2 * np.pi * u))
    np.testing.assert_allclose(x + 1j * y, seen_true * back, rtol=0, atol=1e-4)
    assert np.ptp(np.abs(seen_true)) > 3.0


@pytest.mark.parametrize(
    "link", re.findall(r"\]\(([^)\s#]+)[^)]*\)", "".join((DOCS / page).read_text(encoding="utf-8") for page in PAGES))
)
def test_links_lead_to_existing_files(link):
    assert (DOCS / link).exists()
