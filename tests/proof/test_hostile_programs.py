"""Whatever bytes are given as a program, the answer is a proof, a finding or a refusal, in lines that people can read."""

from __future__ import annotations

import itertools
import os
import tracemalloc
from random import Random

import pytest

from lobework.cli import main
from lobework.proof import read
from tests.hostile.programs import SOUND, programs

DRAWN = int(os.environ.get("LOBEWORK_HOSTILE", "60"))

FOUND = {
    "stops by the thousand": b"M0\n" * 5000 + SOUND,
    "a thousand turns in one place": b"G21 G61 G90\n" + b"G91 G1 C360 F1\n" * 100 + b"M2\n",
    "remarks that hide what is wrong": b"; x\n" * 300 + b"G1 X1 X2 F3\nM2\n",
    "notes that hide what is wrong": b"G98\n" * 300 + b"G28\nM2\n",
    "a dot for a depth by hand": b"(MSG, feed the cutter in by hand to z . mm)\nM0\nG21 G61 G90 G0 X1\nG1 X2 F3\nM2\n",
    "nothing but stops": b"M0\nM0\nM2\n",
    "nothing but an end": b"M2",
    "nothing": b"",
    "a byte of zero": b"\0",
    "two percents": b"%\n%",
    "sound but for another job": SOUND,
    "sound but cut short": SOUND[:-3],
    "a percent after remarks": b"(all)\n%\nM2\n",
    "numbers in other scripts": "G21 G61 G90\nG0 X\u0661\u0662\nM2\n".encode(),
    "two bytes to a letter": "G21\nG0 X1\nM2\n".encode("utf-16"),
    "lines that end in CR alone": SOUND.replace(b"\n", b"\r"),
}


@pytest.fixture(scope="module")
def lid(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile")
    assert main(["new", str(folder / "lid.toml")]) == 0
    return folder


def answered(data, folder, capsys):
    """Return the exit code of a proof, once its lines are seen to be lines for people."""
    (folder / "program.ngc").write_bytes(data)
    code = main(["prove", str(folder / "program.ngc"), "--job", str(folder / "lid.toml")])
    out, err = capsys.readouterr()
    assert code in (1, 2), data[:200]
    assert (out.strip() == "") != (err.strip() == ""), data[:200]
    assert err.count("\n") <= 1
    assert all(letter.isprintable() or letter == "\n" for letter in out + err), data[:200]
    assert "Traceback" not in out + err
    return code


@pytest.mark.parametrize("data", FOUND.values(), ids=FOUND)
def test_previously_failing_programs_are_handled(data, lid, capsys):
    answered(data, lid, capsys)


def test_random_programs_are_handled(lid, capsys):
    codes = [answered(data, lid, capsys) for data in itertools.islice(programs(Random(53)), DRAWN)]
    assert set(codes) == {1, 2}


def test_errors_are_reported_despite_many_notes():
    for name in ("remarks that hide what is wrong", "notes that hide what is wrong"):
        assert [each.line for each in read(FOUND[name]).wrong] == [301]


def test_memory_is_bounded_by_the_size_of_the_program():
    read(SOUND)
    for data in (b"G1 X1 F1\n" * 20_000, b"%\n" * 60_000, b"(" * 200_000, b"N1\n" * 40_000):
        tracemalloc.start()
        read(data)
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert peak < 800 * len(data)
