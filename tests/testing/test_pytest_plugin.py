"""The pytest plugin: one test for each promise and sample, with a name that can be read."""

from __future__ import annotations

import pytest

TEST = """
import pytest

@pytest.mark.lobework({name})
def test_it_keeps_its_promises(promise):
    assert promise.hold() > 0
"""


def tried(bench, name, *options):
    (bench.folder / "test_plate.py").write_text(TEST.format(name=name), encoding="utf-8")
    return bench.run("-m", "pytest", "-p", "no:cacheprovider", "--strict-markers", "-rA", "-q", *options, "test_plate.py")


def test_each_promise_is_a_test_with_a_readable_name(bench):
    bench.plate("plate")
    done = tried(bench, "'plate'")
    assert done.returncode == 0, done.stdout + done.stderr
    passed = [line.partition(" ")[2] for line in done.stdout.splitlines() if line.startswith("PASSED")]
    assert "test_plate.py::test_it_keeps_its_promises[chuck plate: stays rigid]" in passed
    assert len(passed) == 20


def test_a_broken_promise_fails_only_its_own_test_and_reports_the_worst_error(bench):
    bench.plate("plate", way=-1)
    done = tried(bench, "'lobework-plate'")
    assert done.returncode == 1
    failed = [line for line in done.stdout.splitlines() if line.startswith("FAILED")]
    assert len(failed) == 1
    assert "[chuck plate: turns its index counterclockwise]" in failed[0]
    assert "worst error 1.57 rad at spindle 0 deg (sample 0): -0.785398163 instead of 0.785398163" in done.stdout


def test_a_part_without_a_sample_fails(bench):
    bench.plate("plate", sampled=False)
    done = tried(bench, "'plate'")
    assert done.returncode == 1
    assert "[chuck plate: has a sample]" in done.stdout
    assert "the plugin has no sample of chuck 'plate'; return a sample from lobework_samples" in done.stdout


def test_a_promise_that_cannot_be_tested_is_skipped_with_its_reason(bench):
    bench.package(
        "title",
        "from lobework.plugins import hookimpl\nfrom lobework.targets import Target\nlobework_contract = 2\n"
        "T = Target(name='title', file='title.txt', shows='drawing', description='x', render=lambda s: repr(s.layers).encode())\n"
        "@hookimpl\ndef lobework_targets():\n    return [T]\n"
        "@hookimpl\ndef lobework_samples():\n    from lobework.testing import Sample\n    return [Sample(T)]\n",
    )
    done = tried(bench, "'title'")
    skipped = [line for line in done.stdout.splitlines() if line.startswith("SKIPPED")]
    assert any("target title: is true to size: its sample has no function reads" in line for line in skipped)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("'palte'", "no plugin or package is called 'palte'; did you mean 'plate'?; installed: built-in, plate"),
        ("", 'write the mark with one name: @pytest.mark.lobework("name of the plugin or package")'),
        ("'plate', 'other'", "write the mark with one name"),
    ],
)
def test_an_invalid_mark_is_reported_in_one_line(bench, name, message):
    bench.plate("plate")
    done = tried(bench, name)
    assert done.returncode != 0
    assert message in done.stdout
    assert "Traceback" not in done.stdout


LIGHT = """
import sys

def test_other():
    heavy = {"numpy", "numba", "pydantic", "hypothesis", "lobework.testing.verified"}
    assert "lobework.testing.pytest_plugin" in sys.modules
    assert not heavy & set(sys.modules)
"""


def test_nothing_heavy_is_imported_if_the_mark_is_not_used(bench):
    (bench.folder / "test_other.py").write_text(LIGHT, encoding="utf-8")
    done = bench.run("-m", "pytest", "-p", "no:cacheprovider", "-p", "no:hypothesispytest", "-q", "test_other.py")
    assert done.returncode == 0, done.stdout + done.stderr
