"""The stops for a person are a part of what is proved: that they are there, where they are, and what they say."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from lobework.proof.stops import comment_text
from lobework.text.cautions import READY
from tests.proof.kinds_of_jobs import JOBS, by_phase, fed_by_hand, indexed, lathe, written
from tests.proof.test_programs_of_others import proof_of


def found(made, text):
    """Return what the proof of a program finds wrong, after its exit code."""
    proof = made.prove(text.encode())
    assert proof.code == 1
    return [str(each) for each in (*proof.problems, *proof.warnings)]


def without(text, pattern, count=1):
    """Return a program without the first lines that a pattern finds."""
    kept, left = [], count
    for line in text.splitlines():
        gone = left and re.search(pattern, line)
        left -= bool(gone)
        kept += [] if gone else [line]
    return "\n".join(kept) + "\n"


def stops(text):
    return [k for k, line in enumerate(text.splitlines(), 1) if re.search(r"\bM0\b", line) and line[:1] not in "(;"]


@pytest.mark.parametrize("name", JOBS)
def test_programs_of_every_kind_are_proved_as_written(name):
    made = JOBS[name]()
    proof = made.prove(written(made).encode())
    assert proof.proved, str(proof)
    assert not proof.findings, str(proof)


@pytest.mark.parametrize("name", JOBS)
def test_a_program_without_its_opening_stop_is_not_proved(name):
    made = JOBS[name]()
    text = written(made)
    lines = text.splitlines()
    first = stops(text)[0] - 1
    bare = "\n".join([*lines[:first], *lines[first + 1 :]]) + "\n"
    lost = [each for each in found(made, bare) if "(stop)" in each]
    assert lost


def test_a_missing_opening_stop_is_reported_with_its_message():
    made = JOBS["face"]()
    text = without(written(made), r"^M0")
    line = text.splitlines().index("G0 Z5") + 1
    (said,) = found(made, text)
    assert said.startswith(
        f"problem (stop): line {line}: moves before the opening stop; write M0 before this line, with the message: "
    )
    assert "; ".join(READY) in said


@pytest.mark.parametrize("thing", READY)
def test_every_item_of_the_opening_stop_is_required(thing):
    made = JOBS["face"]()
    (said,) = found(made, written(made).replace(thing, "all is well"))
    assert said.endswith(f"the message of the opening stop lacks: {thing}")


def test_comments_that_are_not_shown_do_not_count_as_messages():
    made = JOBS["face"]()
    (said,) = found(made, written(made).replace("(MSG, set up", "(set up"))
    assert "the message of the opening stop lacks" in said


def test_a_later_message_replaces_an_earlier_one():
    made = JOBS["face"]()
    assert found(made, written(made).replace("\nM0\n", "\n(MSG, ready)\nM0\n", 1))


@pytest.mark.parametrize(("make", "words"), [(by_phase, "1/4 lobe = 18 deg"), (indexed, "1/4 turn = 90 deg")])
def test_a_wrong_message_of_a_stop_is_found(make, words):
    made = make()
    text = written(made)
    assert text.count(words) == 1
    (said,) = found(made, text.replace(words, words[:-5] + "1" + words[-5:]))
    assert "the message of the stop before cut 2" in said
    assert words in said


def test_swapped_messages_of_two_stops_are_found():
    made = indexed()
    one, two = "1/4 turn = 90 deg", "1/2 turn = 180 deg"
    text = written(made).replace(one, "@").replace(two, one).replace("@", two)
    assert sum("the message of the stop before cut" in each for each in found(made, text)) == 2


@pytest.mark.parametrize("make", [by_phase, indexed])
def test_a_stop_with_its_instructions_in_the_wrong_order_is_found(make):
    """The cutter would be set before it has stopped."""
    made = make()
    lines = written(made).splitlines()
    at = stops(written(made))[1] - 1
    instructions = lines[at - 1].removeprefix("(MSG, ").removesuffix(")").split("; ")
    assert len(instructions) >= 3
    turned = "\n".join([*lines[: at - 1], f"(MSG, {'; '.join(instructions[::-1])})", *lines[at:]]) + "\n"
    assert any("are in the wrong order; write: " in each for each in found(made, turned)), found(made, turned)


def test_a_stop_in_the_middle_of_a_cut_is_found():
    made = JOBS["led"]()
    lines = written(made).splitlines()
    cutting = [k for k, line in enumerate(lines) if re.match(r"(G1 )?C", line)]
    text = "\n".join([*lines[: cutting[3]], "M0", *lines[cutting[3] :]]) + "\n"
    assert any("stops for the operator while the tip is in the work" in each for each in found(made, text))


def test_a_stop_before_the_tip_is_withdrawn_is_found():
    made = indexed()
    lines = written(made).splitlines()
    at = stops("\n".join(lines))[1] - 1
    stop, kept = lines[at - 1 : at + 1], [*lines[: at - 1], *lines[at + 1 :]]
    away = max(k for k, line in enumerate(kept[: at - 1]) if line == "G0 Z5")
    text = "\n".join([*kept[:away], *stop, *kept[away:]]) + "\n"
    assert any("stops for the operator while the tip is in the work" in each for each in found(made, text))


def test_an_unneeded_stop_is_noted_and_a_misleading_one_is_found():
    made = JOBS["flutes"]()
    text = written(made)
    more = text.replace("\n\n(cut 2", "\nM0\n\n(cut 2")
    proof = made.prove(more.encode())
    assert proof.code == 0
    assert any("but the job needs no setting here" in str(each) for each in proof.findings)
    index = indexed()
    lines = written(index).splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("G1 Z"))
    misled = [*lines[: at - 1], "(MSG, set eccentric index to 1/3 turn = 120 deg)", "M0", *lines[at - 1 :]]
    assert any("the message of this stop contradicts cut 1" in each for each in found(index, "\n".join(misled) + "\n"))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("to z -0.3 mm)", "to z -0.4 mm)", "cut 1"),
        ("(MSG, withdraw the cutter by hand, 5 mm clear of the face)\nM0\nM2", "M2", "ends with the tip in the work"),
        ("(MSG, withdraw the cutter by hand, 5 mm clear of the face)\nM0\n\n", "\n", "withdraw the cutter by hand"),
    ],
)
def test_feeding_by_hand_requires_messages_to_feed_in_and_to_withdraw(old, new, message):
    made = fed_by_hand()
    text = re.sub(r"\n\nM2", "\nM2", written(made))
    assert old in text
    head, _, tail = text.rpartition(old) if "M2" in old else text.partition(old)
    assert any(message in each for each in found(made, head + new + tail)), found(made, head + new + tail)


def test_fast_moves_while_the_cutter_is_fed_in_by_hand_are_found():
    made = fed_by_hand()
    lines = written(made).splitlines()
    at = [k for k, line in enumerate(lines) if line.startswith("(MSG, withdraw")][1]
    text = "\n".join([*lines[:at], "G0 C0", *lines[at:]]) + "\n"
    assert any("a rapid move with the cutter fed in by hand" in each for each in found(made, text))


def test_without_comments_only_the_number_of_stops_is_checked():
    made = replace(indexed(), lathe=lathe(comments="none").mount(indexed().lathe.chucks[0].chuck))
    text = written(made)
    assert made.prove(text.encode()).proved
    assert any("does not stop before cut 2" in each for each in found(made, re.sub(r"(?s)(M0.*?)M0\n", r"\1", text, count=1)))


def test_a_declared_style_of_comments_gives_no_finding():
    made = by_phase(comments="semicolon")
    assert not made.prove(written(made).encode()).findings
    other = by_phase()
    proof = proof_of(other, written(made).replace("; ", "(MSG, ", 0))
    assert sum("a comment after ; is not in the standard" in str(each) for each in proof.findings) == 1


def test_messages_are_compared_in_the_characters_of_a_program():
    assert comment_text("Régler l'anneau (haut) à 5 µm") == "reglerl'anneau[haut]a5?m"
