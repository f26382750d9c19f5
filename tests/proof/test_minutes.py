"""How long a program takes: counted by its writer from its steps, and by its proof from its text, each by its own arithmetic."""

from __future__ import annotations

import re

import pytest

from lobework.errors import InputError
from lobework.targets.rs274 import render
from tests.drawn_programs import drawn
from tests.search import examples, seed


def counted():
    """Yield each program of some drawn jobs, and its proof."""
    for _, job in drawn(range(examples(30)), seed=seed(6556)):
        try:
            made = job.program()
            text = render(made)
        except InputError:
            continue
        yield made, text, job.prove(text)


@pytest.mark.drawn
def test_writer_and_proof_agree_on_cutting_and_total_time():
    """Under cut: all moves at a feed, plunges among them. In all: waits and rapids too. Alike but for eleven-figure feeds."""
    found = list(counted())
    assert len(found) > examples(20)
    assert any(made.whole > made.cutting for made, _, _ in found)
    for made, _, proof in found:
        assert made.cutting == pytest.approx(proof.cutting, rel=1e-9)
        assert made.whole == pytest.approx(proof.whole, rel=1e-9)


@pytest.mark.drawn
def test_head_and_proof_use_the_same_names_for_the_times():
    names = r"([0-9.]+) minutes of cutting time.*?, ([0-9.]+) minutes in all"
    spoken = 0
    for _, text, proof in counted():
        head = text.decode("ascii").partition("G2")[0].replace("\n; - ", " ").replace(")\n(-", "")
        if (said := re.search(names, head)) is None:
            continue
        spoken += 1
        (told,) = (line for line in proof.lines() if " moves, " in line and line.startswith(f"{proof.blocks:,} "))
        shown = re.search(names, told)
        for each, other in zip(said.groups(), shown.groups(), strict=True):
            assert float(each) == pytest.approx(float(other), abs=0.011)
    assert spoken > examples(15)
