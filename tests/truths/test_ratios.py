"""Fractions near a ratio, and what a drive that only comes near it leaves on the work."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.gearing.ratios import (
    RealRatio,
    continued_fraction,
    mediants,
    nearest_fraction,
    nearest_percent,
    of_percent,
    of_step_parts,
    of_steps,
    simplest_fraction,
    turns_to_close,
)
from tests.search import examples

FEW = settings(max_examples=examples(30))
SATURN = Fraction(77708431, 2640858)


def convergents(ratio: Fraction) -> list[Fraction]:
    """Return the convergents of a ratio from the terms of its continued fraction."""
    found: list[Fraction] = []
    before, last = (0, 1), (1, 0)
    for term in continued_fraction(ratio):
        before, last = last, (term * last[0] + before[0], term * last[1] + before[1])
        found.append(Fraction(*last))
    return found


def fractions(text: str) -> list[Fraction]:
    return [Fraction(each) for each in text.split()]


def test_mediants_reproduce_brocots_published_example():
    """A. Brocot, Revue chronometrique, 1861: 3 h 11 min to 23 min, begun at 8/1, 184/23, which is 7 too small. Told by B. Hayes,
    "On the Teeth of Wheels", American Scientist, 2000; the errors that are not printed there are 23 p - 191 q."""
    found = list(mediants(Fraction(191, 23)))
    assert [each.value for each in found] == fractions("8 9 17/2 25/3 33/4 58/7 83/10 108/13 191/23")
    assert [each.error for each in found] == [-7, 16, 9, 2, -5, -3, -1, 1, 0]


def test_a_nearby_ratio_for_brocots_clock():
    """The same: 108/13 is a minute of 23 wheels too much, and 83/10 one too little."""
    assert nearest_fraction(Fraction(191, 23), 22) == Fraction(108, 13)
    assert nearest_fraction(Fraction(191, 23), 12) == Fraction(83, 10)


def test_huygens_gave_saturn_206_teeth_to_7():
    """C. Huygens, *Descriptio automati planetarii*, 1703: Saturn's year 77708431 : 2640858. The numbers are from memory."""
    assert continued_fraction(SATURN) == (29, 2, 2, 1, 5, 1, 4, 1, 1, 2, 1, 6, 1, 10, 2, 2, 3)
    assert list(convergents(SATURN)[:7]) == fractions("29 59/2 147/5 206/7 1177/40 1383/47 6709/228")
    assert nearest_fraction(SATURN, 12) == simplest_fraction(SATURN, Fraction(1, 300)) == Fraction(206, 7)
    assert float(Fraction(206, 7) / SATURN - 1) == pytest.approx(1.0613e-4, rel=1e-4)


def test_the_months_of_a_year_as_a_continued_fraction():
    """seqfan list, June 2006: 13.368267... = [13; 2, 1, 2, 1, 1, 17, ...]; the convergents are worked out from its terms."""
    months = Fraction("13.368267")
    assert continued_fraction(months)[:7] == (13, 2, 1, 2, 1, 1, 17)
    assert list(convergents(months)[:7]) == fractions("13 27/2 40/3 107/8 147/11 254/19 4465/334")


ratios = st.fractions(-50, 50, max_denominator=10_000)
above_zero = st.fractions(Fraction(1, 100), 50, max_denominator=500)


@FEW
@given(ratio=ratios)
def test_a_convergent_is_within_1_over_the_product_of_its_denominator_and_the_next(ratio):
    """Standard (from memory): |x - p/q| < 1 / (q q'), where q' is the next convergent's denominator; as much at the last but
    one."""
    found = convergents(ratio)
    assert found[-1] == ratio
    for one, after in pairwise(found):
        assert abs(ratio - one) <= Fraction(1, one.denominator * after.denominator)
        assert abs(ratio - one) < Fraction(1, one.denominator * after.denominator) or after == ratio


@FEW
@given(ratio=st.fractions(0, 9, max_denominator=400))
def test_no_fraction_with_a_smaller_denominator_is_nearer_than_a_convergent(ratio):
    """Standard (from memory). The first convergent, a whole number, may be the one on the other side."""
    for one in convergents(ratio)[1:]:
        rivals = (Fraction(round(ratio * under), under) for under in range(1, one.denominator))
        assert all(abs(ratio - one) < abs(ratio - other) for other in rivals)


@FEW
@given(ratio=ratios)
def test_mediants_have_growing_denominators_and_contain_the_convergents(ratio):
    """From the definition: each is the mediant of its neighbours, so terms only grow; the convergents are among them."""
    found = [each.value for each in mediants(ratio)]
    assert found[-1] == ratio
    assert set(convergents(ratio)) <= set(found)
    assert [each.denominator for each in found[2:]] == sorted({each.denominator for each in found[2:]})
    assert all(
        each.error == each.value.numerator * ratio.denominator - each.value.denominator * ratio.numerator
        for each in mediants(ratio)
    )


@FEW
@given(ratio=ratios, within=st.fractions(0, 1, max_denominator=5_000))
def test_the_simplest_fraction_within_an_error_has_no_simpler_one_beside_it(ratio, within):
    found = simplest_fraction(ratio, within)
    assert abs(found - ratio) <= within
    for under in range(1, min(found.denominator, 300)):
        assert abs(Fraction(round(ratio * under), under) - ratio) > within


@FEW
@given(ratio=ratios, under=st.integers(1, 200))
def test_the_nearest_fraction_is_never_beaten(ratio, under):
    off = abs(nearest_fraction(ratio, under) - ratio)
    assert off == min(abs(Fraction(round(ratio * each), each) - ratio) for each in range(1, under + 1))


@FEW
@given(ratio=ratios, places=st.integers(0, 6))
def test_a_percent_is_within_half_of_its_last_decimal(ratio, places):
    found = nearest_percent(ratio, places)
    assert (found * 100 * 10**places).denominator == 1
    assert abs(found - ratio) * 100 * 10**places <= Fraction(1, 2)


@FEW
@given(ratio=ratios.filter(bool), lobes=st.integers(1, 48), places=st.integers(3, 6))
def test_the_gap_is_the_offset_of_the_wave_when_it_should_close(ratio, lobes, places):
    """From the definition: after the turns that close it, lobes * turns * ratio is whole; what is over or missing of a lobe,
    by the lobes in a turn of the work, is the gap."""
    run = of_percent(ratio, places) if abs(ratio) > Fraction(1, 10) else of_percent(1 / ratio, places)
    turns = turns_to_close(lobes, run.target)
    over = lobes * turns * abs(run.actual) - lobes * turns * abs(run.target)
    assert (lobes * turns * run.target).denominator == 1
    assert run.gap(turns) == over / (lobes * abs(run.actual)) * 360


@FEW
@given(ratio=above_zero, radius=st.floats(1, 500), width=st.floats(1e-3, 1))
def test_the_drift_is_seen_at_its_first_turn_and_not_before(ratio, radius, width):
    run = of_percent(ratio, 1)
    turns = run.turns_until_seen(radius, width)
    if run.exact:
        assert turns is None
    else:
        assert turns is not None
        assert abs(run.gap_mm(turns, radius)) > width * (1 - 1e-9)
        assert turns == 1 or abs(run.gap_mm(turns - 1, radius)) <= width * (1 + 1e-9)


@FEW
@given(ratio=above_zero, cam=st.integers(20, 5_000), spindle=st.integers(20, 5_000), turns=st.integers(1, 50))
def test_rounding_each_position_to_a_step_does_not_accumulate(ratio, cam, spindle, turns):
    """From the definition: at any step of the spindle the cam is sent to its nearest step."""
    run = of_steps(ratio, cam=cam, spindle=spindle)
    at = turns * spindle + turns % spindle
    sent = Fraction(round(ratio * at * cam / spindle), cam)
    assert run.exact
    assert abs(sent - ratio * at / spindle) / ratio * 360 <= run.max_deviation
    assert run.gap(turns) == 0
    assert run.turns_until_seen(100.0) is None


@FEW
@given(
    ratio=above_zero,
    cam=st.integers(200, 5_000),
    spindle=st.integers(20, 200),
    parts=st.integers(1, 4_000),
    turns=st.integers(1, 9),
)
def test_rounding_each_increment_accumulates(ratio, cam, spindle, parts, turns):
    """From the definition: the amount, added up over every step of the spindle."""
    amount = Fraction(round(ratio * cam / spindle * parts), parts)
    if amount == 0:
        with pytest.raises(SettingError, match="too coarse"):
            of_step_parts(ratio, cam=cam, spindle=spindle, parts=parts)
        return
    run = of_step_parts(ratio, cam=cam, spindle=spindle, parts=parts)
    gone = sum((amount for _ in range(spindle * turns)), Fraction(0)) / cam
    assert run.actual * turns == gone
    assert run.gap(turns) == (gone - ratio * turns) / run.actual * 360


def test_two_thirds_as_sixty_six_point_six_seven_percent():
    """Worked by hand: 3 turns of 0.6667 are 2.0001 turns of the cam; 0.0001 of a turn by 0.6667 is 0.054 degrees of the work,
    and 0.0283 mm at a radius of 30 mm; 0.0094 mm a turn passes 0.05 mm at the sixth."""
    run = of_percent(Fraction(2, 3), places=2)
    assert run.actual == Fraction("0.6667")
    assert float(run.gap(3)) == pytest.approx(0.054, rel=1e-4)
    assert run.gap_mm(3, 30.0) == pytest.approx(math.radians(0.054) * 30, rel=1e-4)
    assert run.turns_until_seen(30.0) == 6


def test_a_backward_cam_drifts_as_its_forward_twin_does():
    ahead, back = (of_percent(Fraction(sign * 2, 3), places=2) for sign in (1, -1))
    assert back.actual == -ahead.actual
    assert (back.gap(3), back.relative_error) == (ahead.gap(3), ahead.relative_error)


def test_a_ratio_is_accepted_in_the_usual_notations():
    assert of_percent("2/3", 2) == of_percent(Fraction(2, 3), 2)
    assert nearest_fraction("66.67 %", 3) == nearest_fraction(0.6667, 3) == Fraction(2, 3)
    assert [each.value for each in mediants(0.5)] == fractions("0 1 1/2")


BAD = {
    "no fraction": (lambda: nearest_fraction(Fraction(1, 2), 0), "most_under=0: must be a whole number, one or more"),
    "less than nothing": (lambda: simplest_fraction(Fraction(1), Fraction(-1)), "within=-1: must be zero or more"),
    "decimals beyond sense": (
        lambda: nearest_percent(Fraction(1), 99),
        "places=99: must be a number of decimals of a percentage, 0 to 30",
    ),
    "a still cam": (
        lambda: of_percent(Fraction(0), 2),
        "target=0: must be other than zero; a cam that stands still needs no drive",
    ),
    "a still cam in steps": (lambda: of_steps(Fraction(0), 200), "ratio=0: must be other than zero; .*"),
    "too coarse": (
        lambda: of_percent(Fraction(1, 1000), 0),
        "actual=0: .*; percent, no decimals is too coarse for the ratio 1/1000",
    ),
    "no steps": (lambda: of_steps(Fraction(1), 0), "cam=0: must be one or more steps per turn"),
    "no parts": (lambda: of_step_parts(Fraction(1), 1, 1, 0), "parts=0: must be a whole number, one or more"),
    "half a decimal": (lambda: of_percent(Fraction(1), 2.5), "places=2.5: must be a number of decimals of a percentage, 0 to 30"),
    "no radius": (
        lambda: RealRatio(description="", target=Fraction(1), actual=Fraction(1)).turns_until_seen(0.0),
        "radius=0: must be above.*",
    ),
    "no width": (
        lambda: RealRatio(description="", target=Fraction(1), actual=Fraction(1)).turns_until_seen(1, 0),
        "width=0: must be above.*",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_an_invalid_ratio_is_refused_in_one_line(case):
    make, message = BAD[case]
    with pytest.raises(SettingError, match=message) as told:
        make()
    assert "\n" not in str(told.value)
