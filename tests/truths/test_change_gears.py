"""Trains of change wheels against published ones, and against trying everything."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import combinations, combinations_with_replacement, product
from unittest import mock

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.errors import LobeworkError
from lobework.gearing import change_wheels
from lobework.gearing.change_wheels import NoTrainError, Train, train_for, train_to_cut, trains_for
from tests.search import examples

FEW = settings(max_examples=examples(30))
MILLING = (24, 24, 28, 32, 40, 44, 48, 56, 64, 72, 86, 100)
"""The change gears of a universal milling machine; from memory."""


def lead(train: Train, machine: Fraction = Fraction(10)) -> Fraction:
    """Return the lead, inches, of a milling machine with a lead of ``machine``: driven by drivers times that.

    Brown & Sharpe, *Practical Treatise on Milling and Milling Machines*, p. 62.
    """
    return machine / train.ratio


def test_drivers_100_and_32_and_driven_24_and_48_give_a_lead_of_three_sixty():
    """Brown & Sharpe, p. 62: 3.60 in, in each of four arrangements."""
    train = Train((100, 32), (24, 48))
    assert lead(train) == Fraction("3.60")
    assert {each.ratio for each in train.arrangements()} == {train.ratio}
    assert len(set(train.arrangements())) == 4
    assert {(tuple(sorted(each.drivers)), tuple(sorted(each.driven))) for each in train.arrangements()} == {((32, 100), (24, 48))}


def test_wheels_that_change_sides_change_the_lead():
    """The same: a driver may not change places with a driven wheel."""
    assert lead(Train((24, 32), (100, 48))) != Fraction("3.60")


def test_driven_48_and_72_with_drivers_32_and_40_give_twenty_seven():
    """Brown & Sharpe, p. 62; the answer is worked out: 10 * 48 * 72 / (32 * 40)."""
    assert lead(Train((32, 40), (48, 72))) == 27


def test_driven_56_and_44_with_drivers_40_and_100_give_six_sixteen():
    """Brown & Sharpe, p. 63: 6.160 in; on the spindle instead of the worm, a fortieth of it, 0.154 in."""
    assert lead(Train((40, 100), (56, 44))) == Fraction("6.160")
    assert lead(Train((40, 100), (56, 44)), machine=Fraction(10, 40)) == Fraction("0.154")


def test_the_milling_machines_wheels_make_its_leads():
    """Brown & Sharpe, pp. 62-63: 3.60 and 6.160 in and 27 in are made exactly, by two pairs."""
    for wanted in ("3.60", "6.160", "27"):
        train = train_for(10 / Fraction(wanted), MILLING)
        assert lead(train) == Fraction(wanted)
        assert train.pairs == 2


def test_nine_divisions_at_a_lead_near_a_quarter_inch():
    """Brown & Sharpe, p. 63: for 0.261 in on the spindle, 10.440 is wanted, and the nearest in the table is 10.467, or 0.2617
    in: an error of 0.0007. A search that weighs every train of the wheels cannot do worse."""
    wanted = Fraction("0.261") * 40
    assert wanted == Fraction("10.440")
    printed = Fraction("10.467") / 40
    assert round(float(printed), 4) == 0.2617
    assert round(float(printed) - 0.261, 4) == 0.0007
    ours = lead(train_for(10 / wanted, MILLING), machine=Fraction(10, 40))
    assert abs(ours - Fraction("0.261")) <= abs(printed - Fraction("0.261"))
    assert Fraction(72, 9) == 8


LONG_TRAINS = {
    "224.7007992": Train((293, 152, 149), (12, 107, 23)),
    "87.96925718": Train((293, 152, 358, 101, 61), (12, 107, 295, 67, 44)),
}
"""R. W. Gosper, on the math-fun list: trains of wheels with 12 to 400 teeth."""


@pytest.mark.parametrize("wanted", LONG_TRAINS)
def test_a_published_train_of_many_wheels_is_equalled_with_no_more_pairs(wanted):
    published = LONG_TRAINS[wanted]
    ratio = Fraction(wanted)
    assert abs(float(published.ratio) - float(wanted)) < 1e-7
    ours = train_to_cut(ratio, within=abs(published.relative_error(ratio)), pairs=published.pairs)
    assert abs(ours.relative_error(ratio)) <= abs(published.relative_error(ratio))
    assert ours.pairs <= published.pairs
    assert all(12 <= wheel <= 400 for wheel in ours.drivers + ours.driven)


def test_the_published_trains_give_the_printed_values():
    """The same: 224.700799133144 and 87.9692571945795."""
    assert float(LONG_TRAINS["224.7007992"].ratio) == pytest.approx(224.700799133144, abs=1e-12)
    assert float(LONG_TRAINS["87.96925718"].ratio) == pytest.approx(87.9692571945795, abs=1e-13)


def every_train(wheels, pairs):
    """Every train there is, by trying all: for the judge."""
    places = range(len(wheels))
    for each in range(1, pairs + 1):
        for drivers in combinations(places, each):
            for driven in combinations([place for place in places if place not in drivers], each):
                yield Train(tuple(wheels[place] for place in drivers), tuple(wheels[place] for place in driven))


few_wheels = st.lists(st.integers(12, 60), min_size=2, max_size=6)
ratios = st.fractions(Fraction(1, 20), 20, max_denominator=200)


@FEW
@given(wheels=few_wheels, ratio=ratios, pairs=st.integers(1, 3), within=st.fractions(0, Fraction(1, 4), max_denominator=999))
def test_the_cheapest_train_within_the_error_is_found_otherwise_the_most_accurate(wheels, ratio, pairs, within):
    ours = train_for(ratio, wheels, pairs, within)
    every = list(every_train(wheels, pairs))
    near = [
        (each.pairs, each.teeth, abs(each.relative_error(ratio))) for each in every if abs(each.relative_error(ratio)) <= within
    ]
    if near:
        assert (ours.pairs, ours.teeth, abs(ours.relative_error(ratio))) == min(near)
    else:
        assert abs(ours.relative_error(ratio)) == min(abs(each.relative_error(ratio)) for each in every)
    assert Counter(ours.drivers + ours.driven) <= Counter(wheels)


@FEW
@given(wheels=few_wheels, ratio=ratios, pairs=st.integers(1, 3))
def test_a_train_with_more_pairs_is_listed_only_if_it_is_more_accurate(wheels, ratio, pairs):
    found = trains_for(ratio, wheels, pairs)
    for train in found:
        assert abs(train.relative_error(ratio)) == min(
            abs(each.relative_error(ratio)) for each in every_train(wheels, pairs) if each.pairs == train.pairs
        )
    offs = [abs(train.relative_error(ratio)) for train in found]
    assert offs == sorted(set(offs), reverse=True)
    assert offs[-1] == abs(train_for(ratio, wheels, pairs).relative_error(ratio))


@FEW
@given(drivers=st.lists(st.integers(12, 100), min_size=1, max_size=2), data=st.data())
def test_a_search_finds_a_ratio_that_a_train_makes_exactly(drivers, data):
    driven = data.draw(st.lists(st.integers(12, 100), min_size=len(drivers), max_size=len(drivers)))
    train = Train(tuple(drivers), tuple(driven))
    ours = train_for(train.ratio, drivers + driven, pairs=len(drivers))
    assert ours.ratio == train.ratio
    assert ours.teeth <= train.teeth


def every_train_of(least, most, pairs):
    """Every train of wheels in a range, a size used as often as need be."""
    for each in range(1, pairs + 1):
        sides = list(combinations_with_replacement(range(least, most + 1), each))
        yield from (Train(*both) for both in product(sides, sides))


small = {each: list(every_train_of(12, 17, each)) for each in (1, 2)}
fewest: dict[Fraction, int] = {}
for each_train in every_train_of(12, 17, 3):
    fewest.setdefault(each_train.ratio, each_train.pairs)


@FEW
@given(
    ratio=st.fractions(Fraction(1, 2), 2, max_denominator=999), pairs=st.integers(1, 2), within=st.fractions(0, Fraction(1, 50))
)
def test_a_train_to_cut_is_the_cheapest_there_is(ratio, pairs, within):
    near = [(each.pairs, each.teeth) for each in small[pairs] if abs(each.relative_error(ratio)) <= within]
    if near:
        ours = train_to_cut(ratio, within, pairs, least=12, most=17)
        assert (ours.pairs, ours.teeth) == min(near)
        assert abs(ours.relative_error(ratio)) <= within
    else:
        with pytest.raises(NoTrainError, match="no train of"):
            train_to_cut(ratio, within, pairs, least=12, most=17)


@settings(max_examples=examples(15))
@given(ratio=st.fractions(Fraction(1, 2), 2, max_denominator=999), within=st.fractions(0, Fraction(1, 50)))
def test_the_search_by_mediants_finds_as_few_pairs_as_an_exhaustive_search(ratio, within):
    near = [pairs for each, pairs in fewest.items() if abs(each / ratio - 1) <= within]
    with mock.patch.object(change_wheels, "_MOST_SIDES", 0):
        if near:
            ours = train_to_cut(ratio, within, 3, least=12, most=17)
            assert ours.pairs == min(near)
            assert abs(ours.relative_error(ratio)) <= within
            assert all(12 <= wheel <= 17 for wheel in ours.drivers + ours.driven)
        else:
            with pytest.raises(NoTrainError, match="no train of"):
                train_to_cut(ratio, within, 3, least=12, most=17)


def test_a_ratio_is_accepted_in_the_usual_notations():
    assert train_for("2/3", [20, 30, 45]) == train_for(Fraction(2, 3), [20, 30, 45]) == Train((20,), (30,))
    assert train_for(-1.5, [20, 30, 45], within="1 %") == Train((30,), (20,))


def test_one_size_owned_twice_makes_one_to_one():
    assert train_for(Fraction(1), [24, 24, 36]) == Train((24,), (24,))
    assert train_for(Fraction(1), [24, 36], pairs=1) != Train((24,), (24,))


BAD = {
    "one wheel": (lambda: train_for(Fraction(1), [24]), r"wheels=\[24\]: must be two or more; list every wheel that you own"),
    "half a tooth": (lambda: train_for(Fraction(1), [24, 36.5]), "wheels=36.5: must be whole numbers of teeth, 2 to 10000"),
    "one tooth": (lambda: train_for(Fraction(1), [24, 1]), "wheels=1: must be whole numbers of teeth, 2 to 10000"),
    "a still cam": (lambda: train_for(Fraction(0), [24, 36]), "ratio=0: must be other than zero; .* needs no wheels"),
    "no pairs": (lambda: train_for(Fraction(1), [24, 36], pairs=0), "pairs=0: must be a whole number, 1 to 6"),
    "an error of all": (lambda: train_for(Fraction(1), [24, 36], within=Fraction(1)), "within=1: must be zero or more, .*"),
    "odd wheels": (lambda: Train((24, 36), (48,)), r"driven=\(48,\): must be as many wheels as there are drivers, 2"),
    "too many": (lambda: train_for(Fraction(1, 9973), range(20, 100), pairs=4), "80 wheels make 1581580 sets of 4; .*"),
    "too far": (lambda: train_to_cut(Fraction(5000), Fraction(1, 100), pairs=2), "ratio=5000: no train of 2 pairs .*"),
    "no range": (
        lambda: train_to_cut(Fraction(1), Fraction(0), least=40, most=12),
        "most=12: must be a whole number of teeth, 40 to 1000",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_an_invalid_train_is_refused_in_one_line(case):
    make, message = BAD[case]
    with pytest.raises(LobeworkError, match=message) as told:
        make()
    assert "\n" not in str(told.value)
