"""A long program is compared part by part: what comes of it is what comes of the whole, in less memory."""

from __future__ import annotations

import re
import tracemalloc
from dataclasses import replace
from importlib import import_module

import pytest

from tests.proof.kinds_of_jobs import JOBS, RING, job, lathe, written

parts = import_module("lobework.proof.partition")


@pytest.fixture
def small(monkeypatch):
    """Parts of one cut each, and nothing so small that it is looked at all together."""
    monkeypatch.setattr(parts, "_POINTS", 1)
    monkeypatch.setattr(parts, "_MOST_POINTS", 1)


@pytest.mark.parametrize("name", JOBS)
def test_a_proof_in_parts_equals_the_whole_proof(name, monkeypatch):
    made = JOBS[name]()
    text = written(made).encode()
    whole = made.prove(text)
    monkeypatch.setattr(parts, "_POINTS", 1)
    apart = made.prove(text)
    assert apart.proved
    assert apart.deviation.mm == pytest.approx(whole.deviation.mm, abs=1e-9)


def test_a_missing_cut_is_found_in_a_proof_in_parts(small):
    made = job(lathe(), RING.series(6, x=-3.0))
    lines = written(made).splitlines()
    begins = [k for k, line in enumerate(lines) if re.match(r"\(cut \d", line)]
    for lost in range(1, 5):
        text = "\n".join([*lines[: begins[lost]], *lines[begins[lost + 1] :]]) + "\n"
        found = [str(each) for each in made.prove(text.encode()).problems]
        assert found == [f"problem (path): cut {lost + 1} (ring {lost + 1}): is missing: the program does not cut there"]


def test_a_deviating_cut_is_found_in_a_proof_in_parts(small):
    made = job(lathe(), RING.series(6, x=-3.0))
    found = [str(each) for each in made.prove(written(made).replace("X18", "X18.02").encode()).problems]
    assert len(found) == 2
    assert all("cut 3 (ring 3)" in each and "0.02 mm" in each for each in found)


def test_swapped_cuts_are_found_in_a_proof_in_parts(small):
    made = job(lathe(), RING.series(4, x=-3.0))
    lines = written(made).splitlines()
    begins = [k for k, line in enumerate(lines) if re.match(r"\(cut \d", line)]
    a, b, c = begins[1:4]
    text = "\n".join([*lines[:a], *lines[b:c], *lines[a:b], *lines[c:]]) + "\n"
    assert made.prove(text.encode()).code == 1


def test_a_proof_in_parts_takes_less_memory(monkeypatch):
    made = replace(JOBS["led"](), passes=(JOBS["led"]().passes[0].of.series(30, x=-0.5),))
    text = written(made).encode()
    peaks = []
    for points in (10**9, 1):
        monkeypatch.setattr(parts, "_POINTS", points)
        made.prove(text)
        tracemalloc.start()
        made.prove(text)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 0.75 * peaks[0]
