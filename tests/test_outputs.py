"""Files that are written: whole or not at all, never over what is there unasked, and nothing left behind."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from lobework.errors import InputError, OutputExistsError
from lobework.files.outputs import refuse_existing, write_files

LONG = "a" * 300
KILLED = """
import os, signal
from pathlib import Path
from lobework.files.outputs import write_files
os.link = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
write_files({Path("lid/drawing.svg"): b"<svg/>", Path("lid/axes.csv"): b"u"})
"""
LIMITED = """
import resource
from pathlib import Path
from lobework.files.outputs import write_files
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
write_files({Path("lid/small.csv"): b"u", Path("lid/large.svg"): bytes(2000)})
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refusal(contents: dict[Path, bytes], **how) -> str:
    with pytest.raises((InputError, OutputExistsError)) as refused:
        write_files(contents, **how)
    return str(refused.value)


def there(folder: Path) -> list[str]:
    return sorted(str(each.relative_to(folder)) for each in folder.rglob("*"))


def test_unfinished_files_of_a_killed_process_are_removed_at_the_next_write(folder):
    killed = subprocess.run([sys.executable, "-c", KILLED], check=False)
    assert killed.returncode == -signal.SIGKILL
    left = there(folder / "lid")
    assert len(left) == 2
    assert all(name.startswith(".lobework-") for name in left)
    write_files({folder / "lid" / "settings.txt": b"x = 24"})
    assert there(folder / "lid") == ["settings.txt"]


def test_unfinished_files_of_a_live_process_or_another_machine_are_kept(folder):
    subprocess.run([sys.executable, "-c", KILLED], check=False)
    ours = next((folder / "lid").iterdir()).name.split("-")
    others = [
        "-".join([ours[0], ours[1], str(os.getpid()), ours[3]]),
        "-".join([ours[0], "0" * 8, ours[2], ours[3]]),
        "-".join([*ours[:3], "mine"]),
        ".lobework",
    ]
    for name in others:
        (folder / "lid" / name).write_bytes(b"")
    write_files({folder / "lid" / "settings.txt": b"x = 24"})
    assert there(folder / "lid") == sorted([*others, "settings.txt"])


def test_a_file_that_does_not_fit_is_reported_with_path_and_cause_and_none_is_left(folder):
    done = subprocess.run([sys.executable, "-c", LIMITED], check=False, capture_output=True, text=True)
    message = f"lid/large.svg: cannot be written: {os.strerror(errno.EFBIG)}; name another folder"
    assert done.stderr.splitlines()[-1] == f"lobework.errors.InputError: {message}"
    assert there(folder) == []


def test_a_full_disk_is_reported_with_path_and_remedy(folder, monkeypatch):
    real = Path.open

    def full(path, *arguments, **settings):
        file = real(path, *arguments, **settings)
        os.close(file.fileno())
        os.open("/dev/full", os.O_WRONLY)
        return file

    monkeypatch.setattr(Path, "open", full)
    message = refusal({Path("lid/axes.csv"): b"u"})
    assert message == f"lid/axes.csv: cannot be written: {os.strerror(errno.ENOSPC)}; free disk space, or name another folder"
    assert there(folder) == []


@pytest.mark.parametrize("path", [f"{LONG}/axes.csv", f"lid/{LONG}", f"lid/{LONG}/axes.csv", "lid/a\0b"])
def test_an_invalid_file_name_is_refused_before_anything_is_written(path, folder):
    with pytest.raises(InputError, match=r"cannot be written: .*; name another folder$"):
        refuse_existing([Path(path)])
    assert "cannot be written" in refusal({Path("lid/one"): b"1", Path(path): b"2"})
    assert there(folder) == []


def test_an_unwritable_folder_is_refused_before_the_work(folder, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path).name != "kept")
    (folder / "kept").mkdir()
    for path in ("kept/axes.csv", "kept/deeper/axes.csv"):
        with pytest.raises(InputError, match=r"^kept: cannot be written: no file can be created in it; change its permissions"):
            refuse_existing([Path(path)])


@pytest.mark.parametrize("path", ["lid/axes.csv", "lid/deeper/axes.csv", "gone/axes.csv"])
def test_a_file_or_a_dangling_link_given_as_folder_is_refused_before_the_work(path, folder):
    (folder / "lid").write_bytes(b"mine")
    (folder / "gone").symlink_to("nowhere")
    with pytest.raises(InputError, match=r"^(lid|gone): is a file, so nothing can be written in it; name another folder$"):
        refuse_existing([Path(path)])
    assert "is a file, so nothing can be written in it" in refusal({Path(path): b"u"}, overwrite=True)
    assert (folder / "lid").read_bytes() == b"mine"
    assert there(folder) == ["gone", "lid"]


def test_a_link_is_never_written_through(folder):
    (folder / "mine").write_bytes(b"mine")
    (folder / "axes.csv").symlink_to("mine")
    (folder / "new.csv").symlink_to("gone")
    for path in ("axes.csv", "new.csv"):
        assert refusal({Path(path): b"u"}) == f"{path}: exists already; name another folder or file, or add --overwrite"
    write_files({Path("axes.csv"): b"u"}, overwrite=True)
    assert (folder / "mine").read_bytes() == b"mine"
    assert (folder / "axes.csv").read_bytes() == b"u"
    assert not (folder / "axes.csv").is_symlink()


def test_a_link_to_a_folder_is_followed(folder):
    (folder / "kept").mkdir()
    (folder / "lid").symlink_to("kept")
    write_files({Path("lid/axes.csv"): b"u"})
    assert (folder / "kept" / "axes.csv").read_bytes() == b"u"


def test_a_file_name_of_the_greatest_length_is_written(folder):
    longest = os.pathconf(folder, "PC_NAME_MAX")
    write_files({Path("a" * longest): b"u"})
    assert there(folder) == ["a" * longest]
