"""Programs with one thing changed by chance: what a machine would do otherwise is found, and what it would not is proved.

What a machine does is said by an interpreter that is not ours; its folder is named by the environment variable LOBEWORK_RS274,
and how many changes are drawn for each job by LOBEWORK_MUTATIONS.
"""

from __future__ import annotations

import os
from random import Random

import pytest

from lobework.errors import TooLargeError
from tests.proof.kinds_of_jobs import JOBS, written
from tests.proof.machine import differs, run_of, same
from tests.proof.mutations import MUTATIONS, mutated
from tests.targets import test_rs274 as on_a_face

interpreter = on_a_face.interpreter
DRAWN = int(os.environ.get("LOBEWORK_MUTATIONS", "6"))
CASES = [
    *[
        ("face", 4),
        ("face", 22),
        ("barrel", 16),
        ("flutes", 77),
        ("helix", 12),
        ("indexed", 18),
        ("by phase", 2),
        ("by phase", 5),
    ],
    *[("fed by hand", 93), ("fed by hand", 100), ("line numbers", 138), ("narrow lines", 113), ("semicolons", 15)],
]
"""Changes that were once judged wrongly, or nearly."""

ASKED_FOR = (
    "neither G20 nor G21",
    "a switch on the controller",
    "(longest_line)",
    "(inverse_time = false)",
    "a motion without a place",
)
NOT_READ = ("could move an axis or change the meaning of words", "two codes of one modal group")


RAN = {}
"""What the interpreter told of each program: the unchanged one of a job is asked for with each of its changes."""


def ran(text, interpreter, folder):
    if text not in RAN:
        RAN[text] = on_a_face.accepted(interpreter, text.encode(), folder)
    return RAN[text]


def judged(name, seed, interpreter, folder):
    """Return what is wrong with the judgement of one changed program; empty if nothing is."""
    made = JOBS[name]()
    text = written(made)
    change, new = mutated(Random(f"{name}{seed}"), text)
    if new == text:
        return ""
    first, second = (ran(each, interpreter, folder) for each in (text, new))
    try:
        proof = made.prove(new.encode())
    except TooLargeError:
        return ""
    said = [str(each) for each in (*proof.wrong, *proof.problems, *proof.warnings)]
    if second.returncode:
        return "refused by the interpreter, but proved" if proof.proved else ""
    one, other = run_of(first.stdout), run_of(second.stdout)
    if same(one, other):
        unheard = ("the words of the",) if name == "semicolons" else ()
        known = (*ASKED_FOR, *NOT_READ, *unheard)
        strict = all(any(one in each for one in known) for each in said) or change == "block_delete"
        return "" if proof.proved or strict else f"the same to a machine, but {said}"
    what = differs(one, other)
    return f"{what} differs, but proved" if what and proof.proved and change != "block_delete" else ""


@pytest.mark.parametrize(("name", "seed"), CASES)
def test_previously_misjudged_mutations_are_judged_correctly(name, seed, interpreter, tmp_path):
    assert not judged(name, seed, interpreter, tmp_path)


@pytest.mark.parametrize("name", JOBS)
def test_a_mutation_is_found_if_and_only_if_it_changes_the_motion(name, interpreter, tmp_path):
    wrong = {seed: said for seed in range(10_000, 10_000 + DRAWN) if (said := judged(name, seed, interpreter, tmp_path))}
    assert not wrong


@pytest.mark.parametrize("change", sorted({each.__name__ for each in MUTATIONS}))
def test_a_mutation_never_crashes_the_proof(change):
    """Each kind of change, on each kind of job: an answer, and one line for each thing that is said."""
    make = next(each for each in MUTATIONS if each.__name__ == change)
    for name in ("led", "indexed", "fed by hand", "semicolons", "no comments"):
        made = JOBS[name]()
        lines = written(made).rstrip("\n").split("\n")
        for seed in range(3):
            changed = "\n".join(make(Random(seed), lines)) + "\n"
            try:
                proof = made.prove(changed.encode())
            except TooLargeError:
                continue
            assert proof.code in (0, 1, 2)
            assert all("\n" not in line for line in proof.lines())
