"""Plugins that misbehave: each is named in one line, and neither ends a command as if all were well nor spoils its output."""

from __future__ import annotations

import json

import pytest

HEAD = "from lobework.plugins import hookimpl\nlobework_contract = 2\n"
STRANGE = "class Strange(BaseException):\n    pass\n"
JOB = """
lathe = "rocking-bench"
[piece]
form = "disc"
diameter = 70
thickness = 8
[cutter]
kind = "pen"
[[pass]]
at = { x = 20 }
"""
PLATE = '''
from dataclasses import dataclass
from typing import ClassVar
from lobework.geometry.rigid import Rigid

@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A plate."""
    kind: ClassVar[str] = "{name}"
    is_dynamic: ClassVar[bool] = False
    def motions(self, theta):
        {body}
        return Rigid.move(x=1.0)

@hookimpl
def lobework_chucks():
    return [Plate]

@hookimpl
def lobework_samples():
    from lobework.testing import Sample
    return [Sample(Plate())]
'''


def plate(bench, name, body, head=""):
    bench.package(name, f"{HEAD}{head}{PLATE.format(name=name, body=body)}")


def only_line(text):
    (line,) = text.splitlines()
    return line


@pytest.mark.parametrize(
    ("source", "cause"),
    [
        (f"{STRANGE}raise Strange('no')\n", "it cannot be imported: lobework_odd.Strange: no; repair or remove lobework-odd"),
        ("raise GeneratorExit\n", "it cannot be imported: GeneratorExit; repair or remove lobework-odd"),
        ("import sys\nsys.exit(0)\n", "it cannot be imported: SystemExit: 0; repair or remove lobework-odd"),
        (
            f"{HEAD}{STRANGE}@hookimpl\ndef lobework_chucks():\n    raise Strange('no')\n",
            "its hook lobework_chucks failed: lobework_odd.Strange: no",
        ),
    ],
    ids=["an error of its own kind", "GeneratorExit", "sys.exit(0)", "in a hook"],
)
def test_a_plugin_that_raises_anything_while_it_loads_is_left_out_with_its_cause(bench, source, cause):
    bench.package("odd", source)
    listed = bench.lobework("list")
    assert listed.returncode == 0
    assert listed.stdout.splitlines()[-2:] == ["plugins not loaded", f"  odd            lobework-odd 1.0: {cause}"]
    verified = bench.lobework("verify", "odd")
    assert verified.returncode == 1
    assert f"  is loaded: BROKEN: {cause}" in verified.stdout.splitlines()
    assert "Traceback" not in listed.stderr + verified.stderr


def test_ctrl_c_while_a_plugin_loads_still_stops_the_command(bench):
    bench.package("odd", "raise KeyboardInterrupt\n")
    done = bench.lobework("list")
    assert (done.stdout, done.returncode) == ("", 130)
    assert only_line(done.stderr) == "lobework: stopped; nothing more was written"


def test_text_printed_by_a_loading_plugin_goes_to_standard_error_and_is_noted(bench):
    noisy = "import os, sys\nprint('hello')\nos.write(1, b'from below\\n')\nsys.stdout.reconfigure(encoding='utf-8')\n"
    bench.package("noisy", f"{noisy}{HEAD}@hookimpl\ndef lobework_chucks():\n    return []\n")
    done = bench.lobework("schema")
    assert done.returncode == 0
    assert json.loads(done.stdout)["type"] == "object"
    assert "from below" in done.stderr
    note = (
        "lobework: note: plugin 'noisy' (lobework-noisy 1.0) prints to standard output while it loads: 'hello'; "
        "standard output is for results, so a plugin must print nothing"
    )
    assert done.stderr.splitlines()[-1] == note


def test_a_plugin_that_loads_slowly_is_named_with_its_package(bench):
    """The limit is set to zero, so that loading anything is slow and no clock decides the test."""
    bench.package(
        "slow",
        f"from lobework.plugins import registry\nregistry.SLOW_S = 0.0\n{HEAD}@hookimpl\ndef lobework_cams(): return []\n",
    )
    done = bench.lobework("list")
    assert done.returncode == 0
    start, end = (
        "lobework: note: plugin 'slow' (lobework-slow 1.0) took ",
        " s to load; import large libraries only in",
    )
    assert only_line(done.stderr).startswith(start)
    assert end in done.stderr


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("import sys; sys.exit(0)", "it fails: SystemExit: 0"),
        ("raise Strange('no')", "it fails: lobework_odd.Strange: no"),
        ("return Rigid.move(x=1.0) if theta.size < 5000 else theta.nothing", "it fails: AttributeError"),
    ],
    ids=["sys.exit(0)", "an error of its own kind", "a slip"],
)
def test_any_exception_of_a_part_breaks_the_promise_without_a_traceback(bench, body, message):
    plate(bench, "odd", body, STRANGE)
    done = bench.lobework("verify", "odd")
    assert done.returncode == 1
    assert f"BROKEN: {message}" in done.stdout
    assert "Traceback" not in done.stdout + done.stderr


def test_a_sample_that_cannot_be_shown_is_still_verified(bench):
    plate(bench, "odd", "pass")
    source = (bench.folder / "lobework_odd.py").read_text(encoding="utf-8")
    shown = source.replace("    def motions", "    def __repr__(self):\n        raise SystemExit(0)\n    def motions")
    (bench.folder / "lobework_odd.py").write_text(shown, encoding="utf-8")
    done = bench.lobework("verify", "odd")
    assert done.returncode == 1
    assert "  keeps its settings: BROKEN: it fails: SystemExit: 0" in done.stdout.splitlines()
    assert "chuck odd: a Plate that cannot be printed: SystemExit: 0" in done.stdout.splitlines()


def test_sys_exit_in_a_part_never_ends_a_command_with_success(bench):
    plate(bench, "odd", "import sys; sys.exit(0)")
    (bench.folder / "job.toml").write_text(f'{JOB}[[chuck]]\nkind = "odd"\n', encoding="utf-8")
    done = bench.lobework("draw", "job.toml")
    assert (done.stdout, done.returncode) == ("", 70)
    assert only_line(done.stderr).startswith("lobework: a fault in plugin 'odd' (lobework-odd 1.0): SystemExit: 0")


def test_sys_exit_in_a_target_or_a_check_is_attributed_to_its_plugin(bench):
    body = "def careful(cuts, traces):\n    sys.exit(0)\n@hookimpl\ndef lobework_checks():\n    return [careful]\n"
    bench.package("odd", f"{HEAD}import sys\n{body}")
    (bench.folder / "job.toml").write_text(JOB, encoding="utf-8")
    done = bench.lobework("check", "job.toml")
    assert done.returncode == 70
    assert only_line(done.stderr).startswith("lobework: check 'careful' of plugin 'odd' (lobework-odd 1.0) failed: SystemExit: 0")


def test_text_printed_by_a_part_under_verification_is_not_in_the_report(bench):
    plate(bench, "odd", "print('loud')")
    done = bench.lobework("verify", "odd")
    assert not [line for line in done.stdout.splitlines() if line.strip() == "loud"]
    assert "loud" in done.stderr


def test_a_plugin_that_is_left_out_fails_its_own_tests(bench):
    bench.package("old", "lobework_contract = 0\n")
    test = "import pytest\n@pytest.mark.lobework('old')\ndef test_it(promise):\n    promise.hold()\n"
    (bench.folder / "test_old.py").write_text(test, encoding="utf-8")
    done = bench.run("-W", "ignore", "-m", "pytest", "-p", "no:cacheprovider", "-q", "test_old.py")
    assert done.returncode == 1
    assert "the plugin was written for contract 0" in done.stdout


def test_a_plugin_that_offers_nothing_is_reported_as_untested(bench):
    bench.package("bare", f"{HEAD}@hookimpl\ndef lobework_chucks():\n    return []\n")
    done = bench.lobework("verify", "bare")
    assert (done.stderr, done.returncode) == ("", 0)
    assert "  is loaded: not judged: the plugin offers nothing on this machine" in done.stdout.splitlines()


def test_verify_names_the_file_that_the_plugin_was_loaded_from(bench):
    bench.plate("plate")
    done = bench.lobework("verify", "plate")
    assert done.stdout.splitlines()[1] == f"loaded from {bench.folder / 'lobework_plate.py'}"
