"""What a supplier's line costs with all that comes on top, prices by quantity, and the order that costs least."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.kinds import PRICE_BASES
from barfuncs.catalogue.units import KG_PER_LB

SHOES = "1: 4.40; 800: 4.00; 1200: 3.60"
SLIDES = {"demand": 800, "ordering_cost": 60, "holding_share": 0.3, "price_brackets": "1: 53; 50: 51.5; 100: 49.5; 200: 48; 500: 47"}


def test_a_price_for_each_weight_is_that_of_its_pounds_or_kilograms():
    pounds = {"lb": 1, "100 lb": 100, "112 lb": 112, "2000 lb": 2000, "kg": 1 / KG_PER_LB, "100 kg": 100 / KG_PER_LB, "tonne": 1000 / KG_PER_LB}
    assert set(PRICE_BASES) == {*pounds, "ft", "m", "bar", "blank"}
    for basis, weight in pounds.items():
        assert bf.material_cost(10, 3 * weight, basis, 0, 7.5) == pytest.approx(225, rel=1e-12)
        assert bf.material_cost(10, 3 * weight, basis, 0, 7.5 * KG_PER_LB, units="mm") == pytest.approx(225, rel=1e-12)
    assert bf.material_cost(1, 112, "112 lb", 0, 1) == 1 != bf.material_cost(1, 112, "100 lb", 0, 1)


@pytest.mark.parametrize(("text", "basis"), [("per 112 lbs", "112 lb"), ("Tonne", "tonne"), ("metric ton", "tonne"), ("1000 kg", "tonne"),
                                             ("short ton", "2000 lb"), ("$/2,000 lb", "2000 lb"), ("per 100 lb", "100 lb")])
def test_weights_in_other_words(text, basis):
    assert bf.material_cost(1, 5, text, 0, 20) == bf.material_cost(1, 5, basis, 0, 20)


@pytest.mark.parametrize("text", ["cwt", "hundredweight", "ton", "tons", "t", "long ton"])
def test_a_weight_that_is_two_is_none(text):
    with pytest.raises(bf.InputError, match="price_per: "):
        bf.material_cost(1, 5, text, 0, 20)


# --- a line --------------------------------------------------------------------------------------------------------

MONEY = st.floats(0, 5000)


@settings(deadline=None)
@given(st.integers(0, 400), MONEY, st.sampled_from(PRICE_BASES), st.floats(1, 6000), st.floats(0.01, 900), st.integers(0, 300), MONEY, MONEY,
       MONEY, MONEY, MONEY, st.sampled_from(["in", "mm"]))
def test_a_line_is_bars_surcharge_and_cuts_at_least_the_minimum_and_then_certificate_and_freight(
        bars, price, basis, length, weight, cuts, cut, minimum, surcharge, fee, freight, units):
    line = bf.material_line_cost(bars, price, basis, length, weight, cuts, cut, minimum, surcharge, fee, freight, units)
    if not bars:
        assert line == 0
        return
    bare = bf.material_cost(bars, price, basis, length, weight, units=units)
    assert line == pytest.approx(max(minimum, bare + bars * weight * surcharge + cuts * cut) + fee + freight, rel=1e-12)
    assert bf.material_line_cost(bars, price, basis, length, weight, cuts, cut, minimum, units=units) == pytest.approx(
        bf.material_cost(bars, price, basis, length, weight, cuts, cut, minimum, units), rel=1e-15)


def test_a_line_by_hand():
    # 10 bars of 12 kg at 310 per 100 kg: 372; surcharge 0.45 on 120 kg: 54; 20 cuts at 1.50: 30; certificate 18; freight 65
    assert bf.material_line_cost(10, 310, "100 kg", 3000, 12, 20, 1.5, 100, 0.45, 18, 65, units="mm") == pytest.approx(539)
    # the same with a minimum of 500: it takes the place of 456
    assert bf.material_line_cost(10, 310, "100 kg", 3000, 12, 20, 1.5, 500, 0.45, 18, 65, units="mm") == pytest.approx(583)


def test_a_surcharge_needs_a_weight():
    with pytest.raises(bf.InputError, match="material_surcharge: a surcharge by weight needs the weight of a bar"):
        bf.material_line_cost(10, 3, "ft", 144, 0, material_surcharge=0.2)


# --- brackets: group P of the check values --------------------------------------------------------------------------


def test_published_price_brackets():
    # Worked example at nursingexpertshelp.com: 200 at 40,080; 79 at 42,417.9; 500 at 41,221
    assert bf.cheapest_order_quantity(**SLIDES) == 200
    assert bf.yearly_order_cost(200, **SLIDES) == pytest.approx(40080, abs=0.5)
    assert bf.yearly_order_cost(79, **SLIDES) == pytest.approx(42417.9, abs=0.1)
    assert bf.yearly_order_cost(500, **SLIDES) == pytest.approx(41221, abs=0.5)


def test_worked_out_price_brackets():
    # The question at brainmass.com 582102, worked out: 1200 at 90,574; 1000, the quantity of 4.00, costs 100,600
    shoes = {"demand": 25000, "ordering_cost": 12, "holding_share": 0.15, "price_brackets": SHOES}
    assert bf.cheapest_order_quantity(**shoes) == 1200
    assert bf.yearly_order_cost(1200, **shoes) == pytest.approx(90574, abs=0.005)
    assert bf.yearly_order_cost(1000, **shoes) == pytest.approx(100600, abs=0.005)


@settings(deadline=None, max_examples=150)
@given(st.integers(1, 400), st.floats(0, 200), st.floats(0, 1), st.lists(st.tuples(st.integers(1, 300), st.floats(0, 50)), min_size=1, max_size=5, unique_by=lambda b: b[0]))
def test_no_other_quantity_costs_less(demand, ordering_cost, holding_share, brackets):
    best = bf.cheapest_order_quantity(demand, ordering_cost, holding_share, brackets)
    least = bf.yearly_order_cost(best, demand, ordering_cost, holding_share, brackets)
    first = min(start for start, _ in brackets)
    most = max(demand, max(start for start, _ in brackets))
    every = (bf.yearly_order_cost.core(q, demand, ordering_cost, holding_share, brackets) for q in range(first, most + 1))
    assert least <= min(every) * (1 + 1e-12) + 1e-9


def test_a_price_holds_from_its_quantity_on():
    brackets = [[100, 49.5], [1, 53], [50, 51.5]]
    prices = {1: 53, 49: 53, 50: 51.5, 99: 51.5, 100: 49.5, 10**6: 49.5}
    assert {q: bf.price_from_brackets(q, brackets) for q in prices} == prices
    assert bf.price_from_brackets(60, [1, 53, 50, 51.5]) == bf.price_from_brackets(60, ((1, 53), (50, 51.5))) == 51.5
    assert bf.price_from_brackets([1, 60, 100], brackets) == [53, 51.5, 49.5]


@pytest.mark.parametrize(("brackets", "message"), [
    ("1 53", "'1 53' is no quantity and price; write for example 1: 53; 50: 51.5"), ([1, 53, 50], "3 values given; give quantity and price in turn"),
    ([], "0 values given"), ([[0, 53]], "0 given; allowed is a whole number 1 or more"), ([[1, -5]], "-5 given"),
    ([[1, 53], [1, 50]], "two prices from 1 on"), ("1: dear", "'dear'"), (None, "is missing"),
])
def test_brackets_that_are_none(brackets, message):
    with pytest.raises(bf.InputError, match=f"price_brackets: .*{message}"):
        bf.price_from_brackets(10, brackets)


def test_a_quantity_below_the_first_price():
    with pytest.raises(bf.InputError, match="quantity: 20 given; the first price holds from 50 on"):
        bf.price_from_brackets(20, "50: 3; 100: 2")


def test_the_cheapest_quantity_needs_no_holding_cost_to_be_found():
    assert bf.cheapest_order_quantity(400, 10, 0, "1: 3; 50: 2") == 400
    assert bf.cheapest_order_quantity(400, 0, 0.2, "1: 3; 50: 2") == 50
    assert bf.cheapest_order_quantity(4, 10, 0, "1: 3; 50: 2") in range(1, 51)
    assert math.isfinite(bf.cheapest_order_quantity(10**7, 1e9, 1e-9, "1: 3"))


def test_every_basis_is_told_apart():
    costs = {basis: bf.material_cost(1, 100, basis, 144, 31) for basis in PRICE_BASES}
    assert all(one[1] != other[1] for one, other in itertools.combinations(costs.items(), 2) if {one[0], other[0]} != {"bar", "blank"})
