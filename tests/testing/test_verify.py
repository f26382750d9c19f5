"""``lobework verify``: what it prints, what it answers to, and with which exit code."""

from __future__ import annotations

import re

import pytest

from lobework.errors import UnknownNameError
from lobework.plugins.registry import installed
from lobework.testing import promise_tests_of, promises_of, verified, verify

KEPT = """\
plugin 'plate' (lobework-plate 1.0), contract 2
loaded from HERE/lobework_plate.py
chuck plate: Plate(step=3.0, index=Phase(turns=Fraction(0, 1), lobes=Fraction(0, 1)))
  keeps its settings: 10 cases
  keeps its settings in a job file: 3 cases
  refuses nan and infinity: 3 cases
  gives a motion for each angle: 6 cases
  moves continuously: 2 cases within 0.0001 mm
  stays rigid: 241 cases within 1e-09
  treats each angle independently: 1205 cases within 1e-9 mm
  does not change its input: 4 cases
  gives the same result again: 4 cases
  moves only if dynamic: 241 cases
  repeats after its period: 1 case within 1e-07 mm
  turns its index counterclockwise: 1205 cases within 1e-9
  keeps its slides in their travel: 1 case
  lists the fittings that it needs: 1 case
  gives the same trace in compiled code: 3 cases within 1e-9 mm
  marks its settings with their units: 2 cases
  keeps its promises at other settings: 65 cases
  depends on its own settings alone: 16 cases
  prints nothing: 1 case
  gives the known answers: 1 case within the tolerance of each
  note: run time SO LONG an angle, 20000 at once
20 of 20 promises kept in 3015 cases
"""


def plain(bench, said):
    """What was said, without what hangs on the machine: the folder, and how long an angle takes."""
    return re.sub(r"run time [\d.e+]+ (ns|microseconds|ms)", "run time SO LONG", said.replace(str(bench.folder), "HERE"))


def test_every_check_is_printed_with_its_cases_and_a_total(bench):
    bench.plate("plate")
    done = bench.lobework("verify", "plate")
    assert (done.stderr, done.returncode) == ("", 0)
    assert plain(bench, done.stdout) == KEPT


def test_a_package_is_found_by_any_spelling_of_its_name(bench):
    bench.plate("plate")
    names = "plate", "lobework-plate", "Lobework_Plate"
    done = bench.run(
        "-c", f"from lobework.testing import promise_tests_of; [print(*promise_tests_of(name), sep=', ') for name in {names}]"
    )
    plugin, *packages = done.stdout.splitlines()
    assert plugin.startswith("chuck plate: keeps its settings, chuck plate: keeps its settings in a job file, ")
    assert packages == [plugin, plugin]


def test_a_broken_promise_is_named_and_exits_with_1(bench):
    bench.plate("plate", way=-1)
    done = bench.lobework("verify", "plate")
    assert (done.stderr, done.returncode) == ("", 1)
    broken = [line for line in done.stdout.splitlines() if "BROKEN" in line]
    message = (
        "rotation by an index 1/8 of a turn larger: worst error 1.57 rad at spindle 0 deg (sample 0): "
        "-0.785398163 instead of 0.785398163"
    )
    assert broken == [f"  turns its index counterclockwise: BROKEN: {message}"]
    assert done.stdout.endswith("19 of 20 promises kept in 1797 cases, 1 broken\n")


def test_a_part_without_a_sample_is_a_broken_promise(bench):
    bench.plate("plate", sampled=False)
    done = bench.lobework("verify", "plate")
    assert (done.stderr, done.returncode) == ("", 1)
    message = "  has a sample: BROKEN: the plugin has no sample of chuck 'plate'; return a sample from lobework_samples"
    assert done.stdout.splitlines()[2:] == ["chuck plate", message, "0 of 1 promises kept in 0 cases, 1 broken"]


def test_an_unknown_name_is_reported_with_a_suggestion_and_exits_with_2(bench):
    bench.plate("plate")
    done = bench.lobework("verify", "palte")
    message = "lobework: no plugin or package is called 'palte'; did you mean 'plate'?; installed: built-in, plate\n"
    assert (done.stdout, done.stderr, done.returncode) == ("", message, 2)


def test_a_plugin_that_is_left_out_is_reported_with_its_cause(bench):
    bench.package("old", "lobework_contract = 0\n")
    done = bench.lobework("verify", "old")
    cause = "the plugin was written for contract 0, but this version of lobework supports contract 2; update the plugin's package"
    assert done.returncode == 1
    assert done.stdout.splitlines() == [
        "plugin 'old' (lobework-old 1.0) is not loaded",
        f"loaded from {bench.folder / 'lobework_old.py'}",
        "plugin old",
        f"  is loaded: BROKEN: {cause}",
        "0 of 1 promises kept in 0 cases, 1 broken",
    ]


@pytest.mark.parametrize(
    ("hook", "message"),
    [
        ("return None", "its hook lobework_samples returned None; it must return a list"),
        ("return ['plate']", "its hook lobework_samples returned 'plate', which is not a lobework.testing.Sample"),
        ("return 1 / 0", "its hook lobework_samples failed: ZeroDivisionError: division by zero"),
        ("from lobework.testing import Sample; return [Sample('plate')]", "must be a part with its settings"),
    ],
    ids=["nothing", "a word", "a fault", "a sample of a word"],
)
def test_unreadable_samples_are_reported_and_loaded_only_on_demand(bench, hook, message):
    head = "from lobework.plugins import hookimpl\nlobework_contract = 2\n"
    bench.package("odd", f"{head}@hookimpl\ndef lobework_samples():\n    {hook}\n")
    done = bench.lobework("verify", "odd")
    assert done.stdout == ""
    assert done.stderr.startswith("lobework: plugin 'odd' (lobework-odd 1.0): ")
    assert message in done.stderr
    assert done.stderr.count("\n") == 1
    assert "plugin" in bench.lobework("list").stdout


def test_a_sample_of_a_part_that_its_plugin_does_not_offer_is_reported(bench):
    head = "from lobework.plugins import hookimpl\nlobework_contract = 2\n"
    body = "    from lobework import Oval\n    from lobework.testing import Sample\n    return [Sample(Oval(throw=1.0))]\n"
    bench.package("odd", f"{head}@hookimpl\ndef lobework_samples():\n{body}")
    done = bench.lobework("verify", "odd")
    assert done.returncode == 2
    assert (
        done.stderr
        == "lobework: plugin 'odd' (lobework-odd 1.0) returns a sample of chuck 'oval', but does not offer that item\n"
    )


def test_every_built_in_part_has_a_sample_and_a_known_answer():
    inside = installed().loaded[0]
    samples = installed().samples("built-in")
    for kind, name in inside.offers:
        own = [each for each in samples if (each.kind, each.name) == (kind, name)]
        assert any(each.known for each in own), f"{kind} {name}"


INSIDE = promise_tests_of("built-in")
JUDGED = (
    "carves like the reference",
    "carves deep passes like the reference",
    "treats each carving independently",
    "carves passes of any length",
)
"""Promises of a backend that hold it to the plain way."""
TRIED = [asked for asked in INSIDE if asked.name != "plain" or asked.promise.name not in JUDGED]
"""All but those that would hold the plain way to itself."""


def test_only_the_reference_is_not_compared_with_itself():
    left_out = {str(asked) for asked in INSIDE} - {str(asked) for asked in TRIED}
    assert left_out == {f"backend plain: {name}" for name in JUDGED}


@pytest.mark.usefixtures("small_pictures")
@pytest.mark.parametrize("asked", TRIED, ids=str)
def test_built_in_parts_keep_every_promise(asked):
    from lobework.testing import Unjudged

    try:
        assert asked.hold() or asked.promise.name == "refuses nan and infinity"
    except Unjudged as lacking:
        no_size = {"png", "relief", "page"} if "reads" in str(lacking) else {"text"}
        assert asked.promise.name == "is true to size"
        assert asked.name in no_size


def test_progress_reaches_1(monkeypatch):
    monkeypatch.setattr(verified, "promise_tests_of", lambda name: INSIDE[:4])
    parts = []
    assert len(verify("built-in", parts.append).verdicts) == 4
    assert parts == [0.25, 0.5, 0.75, 1.0]


def test_an_unknown_plugin_reports_no_progress():
    parts = []
    with pytest.raises(UnknownNameError):
        verify("no such plugin", parts.append)
    assert parts == []


def test_built_in_items_are_tested_for_every_kind():
    assert {asked.kind for asked in INSIDE} == {"chuck", "cam", "follower", "cutter", "piece", "backend", "target", "check"}
    for asked in INSIDE:
        assert re.fullmatch(rf"{asked.kind} {re.escape(asked.name)}( \d+)?: {re.escape(asked.promise.name)}", str(asked))
        assert asked.promise in promises_of(asked.kind) or asked.promise.name == "gives the known answers"


def test_neither_pytest_nor_hypothesis_is_needed_to_verify(bench):
    bench.plate("plate")
    without = "import sys; sys.modules['pytest'] = sys.modules['hypothesis'] = None"
    done = bench.run("-c", f"{without}; from lobework.testing import verify; print(verify('plate'))")
    assert (plain(bench, done.stdout), done.stderr) == (KEPT, "")


def test_samples_of_an_unknown_plugin_give_an_error_with_a_suggestion():
    with pytest.raises(UnknownNameError, match="no plugin is called 'biult-in'; did you mean 'built-in'"):
        installed().samples("biult-in")
