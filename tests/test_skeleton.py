"""The skeleton of a plugin: for every kind it installs, keeps every promise, passes its own tests, and is whole."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lobework.cli import main
from lobework.errors import InputError, UnknownNameError
from lobework.files.outputs import write_files
from lobework.plugins.registry import installed
from lobework.plugins.skeleton import KINDS, lay_out
from tests.workshop import Shop


def laid_out(folder, name, *options):
    """Lay a plugin out by the command, and return its folder."""
    assert main(["new", "plugin", name, "--into", str(folder / name), *options]) == 0
    return folder / name


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Install a skeleton of every kind, as it is laid out."""
    place = tmp_path_factory.mktemp("skeletons")
    shop = Shop(place / "site")
    shop.install(*(laid_out(place, f"first-{kind}", "--kind", kind) for kind in KINDS))
    return shop


@pytest.fixture(scope="module")
def everything(shop):
    return shop.report()


@pytest.mark.parametrize("kind", KINDS)
def test_a_skeleton_plugin_loads_and_offers_one_item_of_its_kind(everything, kind):
    (record,) = (each for each in everything["loaded"] if each["name"] == f"first-{kind}")
    assert record["offers"] == [[kind, "first_check_findings" if kind == "check" else f"first-{kind}"]]
    assert everything["refused"] == everything["said"] == []


@pytest.mark.parametrize("kind", KINDS)
def test_the_tests_of_a_skeleton_pass_and_none_is_skipped(shop, kind):
    folder = shop.site.parent / f"first-{kind}"
    done = shop.run("-m", "pytest", "-q", "-p", "no:cacheprovider", cwd=folder, plugins=f"first-{kind}")
    assert re.search(r"^\d{1,3} passed in ", done.stdout, re.MULTILINE), done.stdout


@pytest.mark.parametrize("kind", KINDS)
def test_a_skeleton_has_four_files_without_placeholders(kind):
    files = lay_out("tide-box", kind)
    assert [str(path) for path in files] == ["pyproject.toml", "README.md", "lobework_tide_box.py", "tests/test_tide_box.py"]
    for path, content in files.items():
        text = content.decode("utf-8")
        assert "$" not in text.replace("\n$ ", "\n"), path
        assert "tide-box" in text or "tide_box" in text, path
        assert max(map(len, text.splitlines())) <= 130, path


def test_every_kind_of_plugin_part_has_a_skeleton():
    assert set(KINDS) == set(installed().parts)


@pytest.mark.parametrize(
    ("name", "part"), [("sway", "Sway"), ("tide-box", "TideBox"), ("sample", "SampleChuck"), ("rigid", "RigidChuck")]
)
def test_the_name_of_the_class_is_unique_in_the_module(name, part):
    source = lay_out(name)[next(path for path in lay_out(name) if path.name.startswith("lobework_"))].decode()
    assert f"\nclass {part}:\n" in source
    assert not re.search(rf"^from .* import .*\b{part}\b", source, re.MULTILINE)


@pytest.mark.parametrize(
    "name", ["", "Sway", "2sway", "sway!", "sway chuck", "-sway", "sway-", "a--b", "swäy", "class", "../sway", "s" * 41]
)
def test_an_invalid_name_is_refused_in_one_line(name):
    with pytest.raises(InputError, match="must be a word in lower-case letters, digits and dashes"):
        lay_out(name)


@pytest.mark.parametrize(
    ("name", "kind"), [("oval", "chuck"), ("wave", "cam"), ("svg", "target"), ("plain", "backend"), ("pen", "cutter")]
)
def test_a_name_that_is_taken_is_refused(name, kind):
    with pytest.raises(
        InputError, match=f"^NAME: '{name}' is already used: a {kind} of this name is installed; choose another name$"
    ):
        lay_out(name, kind)


def test_the_name_of_a_plugin_that_is_installed_is_refused_for_any_kind(shop):
    script = """
from lobework.errors import InputError
from lobework.plugins.skeleton import lay_out
for kind in ("chuck", "cam"):
    try:
        lay_out("first-chuck", kind)
    except InputError as error:
        print(error)
"""
    taken = "NAME: 'first-chuck' is already used: a {} of this name is installed; choose another name"
    assert shop.message(script) == [taken.format("chuck"), taken.format("plugin")]


def test_an_unknown_kind_is_refused_with_a_suggestion():
    with pytest.raises(UnknownNameError, match="no kind of plugin is called 'chick'; did you mean 'chuck'"):
        lay_out("sway", "chick")


def test_the_command_lists_the_written_files_and_the_next_commands(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "plugin", "sway"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "wrote pyproject.toml, README.md, lobework_sway.py, tests/test_sway.py in lobework-sway",
        "next: python -m pip install -e ./lobework-sway && lobework verify sway",
    ]
    written = {path.relative_to("lobework-sway").as_posix() for path in Path("lobework-sway").rglob("*") if path.is_file()}
    assert written == {str(path) for path in lay_out("sway")}


def test_an_existing_folder_is_unchanged_unless_requested(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("lobework-sway").mkdir()
    Path("lobework-sway/README.md").write_text("mine")
    assert main(["new", "plugin", "sway"]) == 2
    assert capsys.readouterr().err == (
        "lobework: lobework-sway: exists already; name another folder or file, or add --overwrite\n"
    )
    assert [path.name for path in Path("lobework-sway").iterdir()] == ["README.md"]
    assert main(["new", "plugin", "sway", "--overwrite"]) == 0
    assert Path("lobework-sway/README.md").read_text() != "mine"


def test_if_one_file_cannot_be_written_none_is(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("taken").write_text("a file")
    assert main(["new", "plugin", "sway", "--into", "taken/sway"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
    (tmp_path / "half" / "tests" / "test_sway.py").mkdir(parents=True)
    assert main(["new", "plugin", "sway", "--into", "half", "--overwrite"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert [path.name for path in Path("half").iterdir()] == ["tests"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["new", "plugin"], "a plugin needs a name: lobework new plugin sway"),
        (["new", "plugin", "sway", "--kind", "chick"], "no kind of plugin is called 'chick'; did you mean 'chuck'?"),
        (["new", "plugin", "Sway"], "NAME: 'Sway' must be a word in lower-case letters"),
        (["new", "lid.toml", "sway"], "'sway' is only for lobework new plugin NAME"),
        (["new", "lid.toml", "--kind", "cam"], "'--kind' is only for lobework new plugin NAME"),
        (["new", "lid.toml", "--into", "here"], "'--into' is only for lobework new plugin NAME"),
    ],
)
def test_a_command_line_error_is_one_line_and_nothing_is_written(arguments, message, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(f"lobework: {message}")
    assert list(tmp_path.iterdir()) == []


def test_new_can_write_a_job_file_named_plugin(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "./plugin"]) == 0
    assert Path("plugin").is_file()


def test_a_layout_can_be_written_with_write_files(tmp_path):
    write_files({tmp_path / "sway" / path: content for path, content in lay_out("sway").items()})
    assert (tmp_path / "sway" / "tests" / "test_sway.py").read_bytes() == lay_out("sway")[next(reversed(lay_out("sway")))]
