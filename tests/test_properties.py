"""What must hold for any input: counts, balances, units, money, chances, and no number from a bad input."""

import functools
import math
from fractions import Fraction

import numpy as np
import pytest
from formula_cases import is_counts
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.kinds import PRICE_BASES, looks_like_designation
from barfuncs.catalogue.units import KG_PER_LB, registry

settings.register_profile("barfuncs", deadline=None, max_examples=200, derandomize=True)
PROFILE = settings.get_profile("barfuncs")

Q = registry().Quantity


def thousandths(low, high):
    """Lengths as people work with them: whole thousandths, exact as a fraction, nearly so as a float."""
    return st.integers(low, high).map(lambda n: Fraction(n, 1000))


# Lengths in inch, as exact fractions.
BARS = thousandths(0, 300_000)
PARTS = thousandths(10, 12_000)
CUTOFFS = thousandths(0, 250)
REMNANTS = thousandths(0, 10_000)
FACINGS = thousandths(0, 100)
TRIMS = thousandths(0, 1_000)
YIELD = (BARS, PARTS, CUTOFFS, REMNANTS, FACINGS, TRIMS)
LENGTHS = st.tuples(*YIELD)

QUANTITIES = st.integers(0, 200_000)
PER_BAR = st.integers(1, 2_000)
SCRAP = st.one_of(st.integers(0, 950).map(lambda n: Fraction(n, 1000)),
                  st.fractions(min_value=0, max_value=Fraction(95, 100), max_denominator=30))
SETUP = st.integers(0, 50)
ORDER = (QUANTITIES, PER_BAR, SCRAP, SETUP)


def floats(*values):
    return [float(v) for v in values]


def exact_parts(bar, part, cutoff, remnant, facing, trim):
    return max(0, math.floor((bar - trim - remnant) / (part + cutoff + facing)))


# --- yield ---------------------------------------------------------------------------------------------------------


@PROFILE
@given(LENGTHS)
def test_parts_fit_and_one_more_does_not(lengths):
    bar, part, cutoff, remnant, facing, trim = lengths
    feed, usable = part + cutoff + facing, bar - trim - remnant
    parts = bf.parts_per_bar(*floats(*lengths))
    assert type(parts) is int
    assert parts == exact_parts(*lengths)
    assert parts == 0 or parts * feed <= usable + feed * Fraction(1, 10**9)
    assert usable < (parts + 1) * feed


@PROFILE
@given(st.floats(0, 1e4), st.floats(1e-3, 1e3), st.floats(0, 10), st.floats(0, 1e3), st.floats(0, 10), st.floats(0, 10))
def test_parts_fit_for_any_floats(bar, part, cutoff, remnant, facing, trim):
    parts = bf.parts_per_bar(bar, part, cutoff, remnant, facing, trim)
    feed = Fraction(part) + Fraction(cutoff) + Fraction(facing)
    ratio = (Fraction(bar) - Fraction(trim) - Fraction(remnant)) / feed
    noise = Fraction(1, 10**9) + max(0, ratio) * Fraction(1, 10**14)
    assert parts == 0 or parts <= ratio + noise
    assert parts + 1 > ratio


@PROFILE
@given(st.integers(1, 5_000), st.integers(1, 5_000), st.integers(0, 10_000), st.integers(0, 1_000))
def test_a_bar_of_whole_feeds_gives_them_all(parts, feed, remnant, trim):
    thousandth = Fraction(1, 1000)
    bar = float((parts * feed + remnant + trim) * thousandth)
    feed, remnant, trim = (float(n * thousandth) for n in (feed, remnant, trim))
    assert bf.parts_per_bar(bar, feed, 0, remnant, 0, trim) == parts
    assert bf.parts_per_bar(*(x * 25.4 for x in (bar, feed, 0, remnant, 0, trim)), units="mm") == parts
    assert bf.parts_per_bar(*(x * 25.4 / 25.4 for x in (bar, feed, 0, remnant, 0, trim))) == parts
    assert bf.parts_left(bar - trim, feed, remnant) == parts


@PROFILE
@given(LENGTHS)
def test_length_balance(lengths):
    bar, part, cutoff, remnant, facing, trim = floats(*lengths)
    assume(trim <= bar)
    args = (bar, part, cutoff, remnant, facing, trim)
    parts, left = bf.parts_per_bar(*args), bf.remnant_length(*args)
    assert parts * (part + cutoff + facing) + trim + left == pytest.approx(bar, abs=1e-9)
    assert parts * bf.bar_per_part(part, cutoff, facing) + trim + left == pytest.approx(bar, abs=1e-9)
    assert bf.bar_use(*args) * bar == pytest.approx(parts * part, abs=1e-9)
    assert 0 <= bf.bar_use(*args) <= 1 + 1e-12
    assert left >= -1e-9
    if parts:
        assert remnant - 1e-9 <= left < remnant + part + cutoff + facing


@PROFILE
@given(*YIELD, thousandths(0, 2_000))
def test_yield_in_inch_and_mm(bar, part, cutoff, remnant, facing, trim, face_to_cutoff):
    assume(trim <= bar)
    inch = floats(bar, part, cutoff, remnant, facing, trim)
    mm = [x * 25.4 for x in inch]
    face_to_cutoff = float(face_to_cutoff)
    assert bf.parts_per_bar(*inch) == bf.parts_per_bar(*mm) == bf.parts_per_bar(*mm, units="mm")
    assert bf.remnant_length(*inch) * 25.4 == pytest.approx(bf.remnant_length(*mm, units="mm"), abs=1e-7)
    assert bf.bar_use(*inch) == pytest.approx(bf.bar_use(*mm), abs=1e-12)
    _, part, cutoff, remnant, facing, trim = inch
    mm_part, mm_cutoff, mm_remnant, mm_facing, mm_trim = mm[1:]
    assert bf.bar_per_part(part, cutoff, facing) * 25.4 == pytest.approx(
        bf.bar_per_part(mm_part, mm_cutoff, mm_facing, units="mm"))
    assert bf.min_remnant(remnant, face_to_cutoff) * 25.4 == pytest.approx(
        bf.min_remnant(mm_remnant, face_to_cutoff * 25.4, units="mm"))
    assert bf.first_stickout(part, cutoff, face_to_cutoff, facing, trim) * 25.4 == pytest.approx(
        bf.first_stickout(mm_part, mm_cutoff, face_to_cutoff * 25.4, mm_facing, mm_trim, units="mm"))
    feed = bf.bar_per_part(part, cutoff, facing)
    assert bf.parts_left(inch[0], feed, remnant) == bf.parts_left(mm[0], feed * 25.4, mm_remnant, units="mm")


@PROFILE
@given(LENGTHS)
def test_text_with_units_reads_as_the_plain_number(lengths):
    inch = floats(*lengths)
    plain = bf.parts_per_bar(*inch)
    assert bf.parts_per_bar(*(f"{x!r} in" for x in inch)) == plain
    assert bf.parts_per_bar(*(f"{x * 25.4!r} mm" for x in inch)) == plain
    assert bf.parts_per_bar(*(f"{x * 25.4!r} mm" for x in inch), units="in") == plain


@PROFILE
@given(*YIELD, thousandths(0, 20_000))
def test_a_longer_bar_never_gives_fewer_parts(bar, part, cutoff, remnant, facing, trim, more):
    rest = floats(part, cutoff, remnant, facing, trim)
    fewer = bf.parts_per_bar(float(bar), *rest)
    assert fewer <= bf.parts_per_bar(float(bar + more), *rest)
    assert bf.parts_per_bar(float(bar), float(part + more), *rest[1:]) <= fewer
    assert bf.parts_per_bar(float(bar), rest[0], rest[1], float(remnant + more), *rest[3:]) <= fewer


# --- weights -------------------------------------------------------------------------------------------------------

SHAPES = st.sampled_from(["round", "hexagon", "square", "octagon", "flat", "tube", "hexagon tube"])
SIZES = st.floats(0.01, 20)
WALLS = st.floats(0.01, 0.49)
DENSITY = st.floats(0.5, 24).filter(lambda x: not looks_like_designation(x, "mm"))


def thickness_for(shape, size, share):
    return size * share if shape in ("flat", "tube", "hexagon tube") else None


@PROFILE
@given(SHAPES, SIZES, WALLS, DENSITY, st.floats(0, 300))
def test_weights_in_inch_and_mm(shape, size, share, density, length):
    wall = thickness_for(shape, size, share)
    mm_wall = None if wall is None else wall * 25.4
    text = f"{density!r} g/cm3"
    inch = bf.bar_weight(text, shape, size, length, wall, "in")
    metric = bf.bar_weight(text, shape, size * 25.4, length * 25.4, mm_wall, units="mm")
    assert inch * KG_PER_LB == pytest.approx(metric, rel=1e-12)
    assert inch == pytest.approx(bf.bar_weight(bf.material_density(text, "in"), shape, size, length, wall), rel=1e-12)
    assert metric == pytest.approx(
        bf.bar_weight(density, shape, size * 25.4, length * 25.4, mm_wall, units="mm"), rel=1e-12)
    assert bf.section_area(shape, size, wall) * 645.16 == pytest.approx(
        bf.section_area(shape, size * 25.4, mm_wall, units="mm"), rel=1e-12)
    assert bf.weight_per_length(text, shape, size, wall, "in") * KG_PER_LB / 0.3048 == pytest.approx(
        bf.weight_per_length(text, shape, size * 25.4, mm_wall, units="mm"), rel=1e-12)
    assert bf.across_corners(shape, size, wall) * 25.4 == pytest.approx(
        bf.across_corners(shape, size * 25.4, mm_wall, units="mm"), rel=1e-12)


@PROFILE
@given(SIZES, WALLS)
def test_a_tube_is_a_bar_less_its_bore(size, share):
    wall = size * share
    bore = bf.section_area("round", size - 2 * wall)
    assert bf.section_area("tube", size, wall) == pytest.approx(bf.section_area("round", size) - bore, rel=1e-9)
    assert bf.section_area("hexagon tube", size, wall) == pytest.approx(bf.section_area("hexagon", size) - bore, rel=1e-9)


@PROFILE
@given(SIZES)
def test_sections_lie_between_inner_and_outer_circle(size):
    circle, square = bf.section_area("round", size), bf.section_area("square", size)
    assert circle < bf.section_area("octagon", size) < bf.section_area("hexagon", size) < square
    for shape in ("hexagon", "square", "octagon"):
        corners = bf.across_corners(shape, size)
        assert bf.section_area(shape, size) < bf.section_area("round", corners)
        assert corners > size


@PROFILE
@given(REMNANTS, thousandths(0, 2_000), REMNANTS)
def test_a_remnant_is_long_enough_for_either_hold(grip, gap, rear):
    found = bf.min_remnant(float(grip), float(gap), float(rear))
    assert found == pytest.approx(float(max(grip + gap, rear)), abs=1e-12)
    assert bf.min_remnant(float(grip), float(gap)) == bf.min_remnant(float(grip), float(gap), 0) <= found
    assert bf.min_remnant(float(grip) * 25.4, float(gap) * 25.4, float(rear) * 25.4, units="mm") == pytest.approx(found * 25.4)


# --- quantity ------------------------------------------------------------------------------------------------------


@PROFILE
@given(QUANTITIES, SCRAP, SETUP)
def test_parts_to_make_are_enough_and_not_one_too_many(quantity, scrap, setup):
    to_make = bf.parts_to_make(quantity, float(scrap), setup)
    assert type(to_make) is int
    assert to_make == math.ceil(quantity / (1 - scrap)) + setup
    assert math.floor((to_make - setup) * (1 - scrap)) >= quantity
    assert quantity == 0 or math.floor((to_make - setup - 1) * (1 - scrap)) < quantity


@PROFILE
@given(QUANTITIES, SCRAP, SETUP, st.integers(0, 1_000), st.integers(0, 20))
def test_parts_to_make_are_monotone(quantity, scrap, setup, more, more_setup):
    to_make = bf.parts_to_make(quantity, float(scrap), setup)
    assert to_make <= bf.parts_to_make(quantity + more, float(scrap), setup)
    assert bf.parts_to_make(quantity, float(scrap / 2), setup) <= to_make
    assert bf.parts_to_make(quantity, float(scrap), setup + more_setup) == to_make + more_setup


@PROFILE
@given(*ORDER)
def test_bars_and_the_last_bar(quantity, per_bar, scrap, setup):
    args = (quantity, per_bar, float(scrap), setup)
    to_make, bars, last = bf.parts_to_make(quantity, float(scrap), setup), bf.bars_for_quantity(*args), \
        bf.last_bar_parts(*args)
    assert bars * per_bar >= to_make
    if to_make:
        assert (bars - 1) * per_bar < to_make
        assert 1 <= last <= per_bar
        assert (bars - 1) * per_bar + last == to_make
    else:
        assert bars == last == 0
    assert bf.bars_for_quantity(quantity, per_bar + 1, float(scrap), setup) <= bars


@PROFILE
@given(*ORDER)
def test_whole_bars(quantity, per_bar, scrap, setup):
    rest = (per_bar, float(scrap), setup)
    whole, bars = bf.whole_bar_quantity(quantity, *rest), bf.bars_for_quantity(quantity, *rest)
    assert whole >= quantity
    assert bf.bars_for_quantity(whole, *rest) == bars
    assert bf.bars_for_quantity(whole + 1, *rest) > bars
    assert bf.whole_bar_quantity(whole, *rest) == whole


# --- time ----------------------------------------------------------------------------------------------------------

CYCLES = st.integers(1, 36_000).map(lambda n: n / 10)
CHANGES = st.integers(0, 6_000).map(lambda n: n / 10)


@PROFILE
@given(st.integers(1, 20_000).map(lambda n: n / 100), PER_BAR, CYCLES, CHANGES)
def test_bars_for_hours_are_enough_and_not_one_too_many(hours, per_bar, cycle, change):
    bars = bf.bars_for_hours(hours, per_bar, cycle, change)
    assert bf.unattended_hours(bars, per_bar, cycle, change) >= hours * (1 - 1e-9)
    assert bf.unattended_hours(bars - 1, per_bar, cycle, change) < hours


@PROFILE
@given(st.integers(0, 500), PER_BAR, CYCLES, CHANGES)
def test_hours_of_whole_bars_need_those_bars(bars, per_bar, cycle, change):
    hours = bf.unattended_hours(bars, per_bar, cycle, change)
    assert bf.bars_for_hours(hours, per_bar, cycle, change) == bars
    assert bf.run_hours(bars * per_bar, cycle, per_bar, change) == pytest.approx(hours)


@PROFILE
@given(QUANTITIES, CYCLES, PER_BAR, CHANGES, st.floats(0.1, 1), st.integers(0, 500))
def test_run_hours(to_make, cycle, per_bar, change, efficiency, more):
    hours = bf.run_hours(to_make, cycle, per_bar, change, efficiency)
    changes = max(0, math.ceil(Fraction(to_make, per_bar)) - 1)
    assert hours * 3600 == pytest.approx(to_make * cycle / efficiency + changes * change)
    assert hours <= bf.run_hours(to_make + more, cycle, per_bar, change, efficiency)
    assert bf.run_hours(to_make, cycle, per_bar, change) <= hours * (1 + 1e-12)


# --- cost ----------------------------------------------------------------------------------------------------------

MONEY = st.integers(0, 10_000_000).map(lambda n: n / 100)
COSTS = st.integers(1, 10_000_000).map(lambda n: n / 100)


@PROFILE
@given(COSTS, st.integers(0, 990).map(lambda n: n / 1000))
def test_margin_and_price_are_inverses(cost, margin):
    price = bf.price_at_margin(cost, margin)
    assert price >= cost
    assert bf.margin_of(price, cost) == pytest.approx(margin, abs=1e-12)
    assert bf.price_at_margin(cost, bf.margin_of(price, cost)) == pytest.approx(price)
    # a margin of m is a markup of m / (1 - m)
    if margin <= 0.9:  # a larger markup than 1000 % is refused
        assert bf.price_at_markup(cost, margin / (1 - margin)) == pytest.approx(price)


@PROFILE
@given(st.integers(0, 500), MONEY, st.sampled_from(list(PRICE_BASES)),
       st.floats(1, 300), st.floats(0.1, 500), st.integers(0, 50), MONEY, MONEY, st.integers(1, 9),
       st.sampled_from(["in", "mm"]))
def test_material_cost_is_monotone(bars, price, per, length, weight, cuts, cut_charge, minimum, more, units):
    def cost(bars=bars, price=price, length=length, weight=weight, cuts=cuts, cut_charge=cut_charge, minimum=minimum):
        return bf.material_cost(bars, price, per, length, weight, cuts, cut_charge, minimum, units)

    base = cost()
    assert base >= (minimum if bars else 0)
    for bigger in (cost(bars=bars + more), cost(price=price + more), cost(length=length + more),
                   cost(weight=weight + more), cost(cuts=cuts + more), cost(cut_charge=cut_charge + more),
                   cost(minimum=minimum + more)):
        assert bigger >= base * (1 - 1e-12)


@PROFILE
@given(st.integers(0, 500), COSTS, st.floats(1, 300), st.floats(0.1, 500))
def test_price_bases_agree(bars, price, length, weight):
    mm, kg = length * 25.4, weight * KG_PER_LB
    by_weight = [
        bf.material_cost(bars, price, "lb", length, weight),
        bf.material_cost(bars, price / KG_PER_LB, "kg", length, weight),
        bf.material_cost(bars, price * 100, "100 lb", length, weight),
        bf.material_cost(bars, price * 100 / KG_PER_LB, "100 kg", length, weight),
        bf.material_cost(bars, price, "lb", mm, kg, units="mm"),
        bf.material_cost(bars, price / KG_PER_LB, "kg", mm, kg, units="mm"),
        bf.material_cost(bars, price * 100, "100 lb", mm, kg, units="mm"),
        bf.material_cost(bars, price, "lb", f"{mm!r} mm", f"{kg!r} kg", units="in"),
        bars * price * weight,
    ]
    assert by_weight == pytest.approx([by_weight[0]] * len(by_weight), rel=1e-9)
    by_length = [
        bf.material_cost(bars, price, "ft", length, 0),
        bf.material_cost(bars, price / 0.3048, "m", length, 0),
        bf.material_cost(bars, price, "ft", mm, 0, units="mm"),
        bf.material_cost(bars, price / 0.3048, "m", mm, 0, units="mm"),
        bf.material_cost(bars, price * length / 12, "bar", 0, 0),
        bf.material_cost(bars, price * length / 12, "blank", 0, 0, units="mm"),
    ]
    assert by_length == pytest.approx([by_length[0]] * len(by_length), rel=1e-9)


@PROFILE
@given(st.integers(1, 100), st.floats(0.1, 100), st.floats(0, 1), st.floats(0, 1), MONEY, MONEY)
def test_scrap_credit_balances_weight(bars, weight, parts_share, remnant_share, chips, remnants):
    total = bars * weight
    parts = total * parts_share
    left = (total - parts) * remnant_share
    paid = bf.scrap_credit(bars, weight, parts, left, chips, remnants)
    assert paid == pytest.approx((total - parts - left) * chips + left * remnants, rel=1e-9, abs=1e-6)
    # at one price for both it makes no difference what is chip and what is remnant
    assert bf.scrap_credit(bars, weight, parts, left, 1, 1) == pytest.approx(total - parts, abs=1e-9 * total)


@PROFILE
@given(st.lists(st.integers(1, 5_000), min_size=1, max_size=4), st.integers(1, 300), MONEY, CYCLES, CHANGES,
       st.floats(0, 10), MONEY, SCRAP, SETUP, st.integers(0, 900).map(lambda n: n / 1000))
def test_price_breaks_close(quantities, per_bar, bar_cost, cycle, change, setup_hours, rate, scrap, setup, margin):
    rows = bf.price_breaks(quantities, per_bar, bar_cost, cycle, change, setup_hours, rate, float(scrap), setup,
                           margin=margin)
    assert [row[0] for row in rows] == quantities
    for quantity, bars, material, machine, setup_cost, other, cost_each, price_each, total, *_ in rows:
        assert bars == bf.bars_for_quantity(quantity, per_bar, float(scrap), setup)
        assert material == pytest.approx(bars * bar_cost)
        to_make = bf.parts_to_make(quantity, float(scrap), setup)
        assert machine == pytest.approx(bf.run_hours(to_make, cycle, per_bar, change) * rate)
        assert material + machine + setup_cost + other == pytest.approx(cost_each * quantity)
        assert price_each == pytest.approx(bf.price_at_margin(cost_each, margin), abs=0.00501)
        assert total == pytest.approx(price_each * quantity, abs=0.00501)


# --- bad input gives no number -------------------------------------------------------------------------------------

_FACE = {"outer_diameter": 1, "inner_diameter": 0.2, "surface_speed": 400, "feed_rate": 0.006, "top_speed": 4000,
         "units": "in"}
_YIELD = {"bar_length": 144, "part_length": 2.25, "cutoff_width": 0.125, "min_remnant": 3, "facing": 0.01, "end_trim": 0.1}
_BAR = {"finished_size": 25, "stock_sizes": [25, 27, 30, 32], "surface": "as drawn", "tolerance_class": "h9", "defect_class": "class 2",
        "clean_up": 0.2, "part_shape": "hexagon", "bar_shape": "round", "units": "mm"}
_BLANKS = {"supplied_length": 144, "longest_blank": 47.5, "kerf": 0.125, "bar_per_part": 2.375, "min_remnant": 3, "end_trim": 0.1,
           "shortest_blank": 20, "trim": 0.5, "equal_blanks": "no"}
_ORDER = {"quantity": 1000, "parts_per_bar": 59, "scrap_rate": 0.03, "setup_parts": 5}
_SAMPLE = {"lot_size": 1000, "aql": 1.5, "inspection_level": "III"}
_MINDING = {"lathes": 7, "run_time": 600, "service_time": 45, "people": 2}
# Good arguments, every one of them given.
_STOPS = {"bars_loaded": 12, "parts_per_bar": 59, "parts_to_make": 1036, "parts_per_edge": 400, "parts_on_edge": 150,
          "parts_bin": 900, "chip_bin_parts": 700}
GOOD = {
    "section_area": {"shape": "tube", "size": 1, "thickness": 0.125, "units": "in"},
    "across_corners": {"shape": "flat", "size": 2, "thickness": 0.5},
    "material_density": {"material": "1.4305", "units": "mm"},
    "weight_per_length": {"material": "12L14", "shape": "tube", "size": 1, "thickness": 0.125, "units": "in"},
    "bar_weight": {"material": "12L14", "shape": "tube", "size": 1, "length": 144, "thickness": 0.125, "units": "in"},
    "length_in": {"text": "12' 6-1/2\"", "units": "in"},
    "bar_per_part": {"part_length": 2.25, "cutoff_width": 0.125, "facing": 0.01},
    "min_remnant": {"grip_length": 2.5, "face_to_cutoff": 0.25, "rear_hold": 3},
    "parts_per_bar": _YIELD,
    "remnant_length": _YIELD,
    "bar_use": _YIELD,
    "first_stickout": {"part_length": 2.25, "cutoff_width": 0.125, "face_to_cutoff": 0.25, "facing": 0.01, "end_trim": 0.1, "parts_per_feed": 1},
    "parts_left": {"length_left": 40, "bar_per_part": 2.375, "min_remnant": 2.75},
    "parts_to_make": {"quantity": 1000, "scrap_rate": 0.03, "setup_parts": 5, "confidence": 0.95},
    "bars_for_quantity": _ORDER,
    "last_bar_parts": _ORDER,
    "whole_bar_quantity": _ORDER,
    "bars_for_confidence": {"quantity": 100, "shortest_bar": 120, "longest_bar": 144, "bar_per_part": 2.375, "min_remnant": 2.75,
                            "end_trim": 0.1, "scrap_rate": 0.03, "setup_parts": 5, "confidence": 0.9},
    "run_hours": {"parts_to_make": 1036, "cycle_time": 45, "parts_per_bar": 59, "bar_change_time": 30, "efficiency": 0.9},
    "unattended_hours": {"bars_loaded": 12, "parts_per_bar": 59, "cycle_time": 45, "bar_change_time": 30},
    "bars_for_hours": {"hours": 8, "parts_per_bar": 59, "cycle_time": 45, "bar_change_time": 30},
    "material_cost": {"bars": 18, "price": 2.4, "price_per": "lb", "bar_length": 144, "bar_weight": 14.5, "cuts": 2,
                      "cut_charge": 3, "minimum_charge": 150, "units": "in"},
    "blanks_per_supplied_bar": {"supplied_length": 144, "blank_length": 47.9, "kerf": 0.1},
    "cuts_per_supplied_bar": {"supplied_length": 144, "blank_length": 47.9, "kerf": 0.1},
    "parts_per_supplied_bar": _BLANKS,
    "blank_parts": _BLANKS,
    "blank_lengths": _BLANKS,
    "stock_choice": {"offers": "144: 2.4; 144 from 180: 1.75; 240: 2.4", "quantity": 160, "price_per": "lb", "longest_blank": 47.5, "kerf": 0.125,
                     "bar_per_part": 2.375, "min_remnant": 3, "end_trim": 0.1, "shortest_blank": 20, "trim": 0.5, "equal_blanks": "no",
                     "weight_per_length": 4, "scrap_rate": 0.03, "setup_parts": 5, "cut_charge": 2, "minimum_charge": 50,
                     "material_surcharge": 0.1, "certificate_fee": 25, "material_freight": 60, "units": "in"},
    "scrap_credit": {"bars": 18, "bar_weight": 14.5, "parts_weight": 170, "remnant_weight": 12, "chip_price": 0.3,
                     "remnant_price": 0.45, "rack_weight": 2},
    "price_at_margin": {"cost": 75, "margin": 0.25},
    "price_at_markup": {"cost": 100, "markup": 0.25},
    "margin_of": {"price": 100, "cost": 75},
    "rounded_price": {"price": 2.675, "rounding": "up to next 0.05"},
    "quoted_price": {"cost": 75, "margin": 0.25, "markup": None, "rounding": "up to next 0.05"},
    "order_total": {"quantity": 100, "price": 3.63},
    "machine_cost": {"parts_to_make": 1036, "cycle_time": 45, "parts_per_bar": 59, "machine_rate": 80, "bar_change_time": 30,
                     "efficiency": 0.9},
    "setup_cost": {"setup_hours": 1.5, "setup_rate": 70},
    "other_cost": {"quantity": 100, "other_per_part": 0.1, "other_per_order": 20, "tooling": 150},
    "order_credit": {"parts_to_make": 1036, "bars": 18, "bar_weight": 14.5, "gross_weight": 0.239, "part_weight": 0.16,
                     "trim_weight": 0.01, "chip_price": 0.3, "remnant_price": 0.45, "rack_weight": 2},
    "order_cost": {"material_cost": 626.4, "machine_cost": 1047.33, "setup_cost": 105, "other_cost": 30, "scrap_credit": 30.58},
    "section_volume": {"section_shape": "round", "section_size": 1, "section_length": 2, "end_size": 0.75, "bore": 0.5, "bore_end": 0.25},
    "outside_area": {"section_shape": "round", "section_size": 1, "section_length": 2, "end_size": 0.75},
    "bore_area": {"bore": 0.5, "section_length": 2, "bore_end": 0.25},
    "common_area": {"outline": "round", "section_size": 1, "next_shape": "hexagon", "next_size": 0.9},
    "step_area": {"outline": "round", "section_size": 1, "bore": 0.25, "next_shape": "hexagon", "next_size": 0.9, "next_bore": 0.5},
    "section_width": {"section_shape": "round", "section_size": 1, "end_size": 0.75},
    "part_volume": {"sections": [["round", 0.5, 0.75, None, 0.25], ["hexagon", 0.75, 0.375]], "units": "in"},
    "finished_weight": {"sections": "round 1/2 x 3/4 bore 1/4; hex 3/4 x 3/8", "material": "303", "units": "in"},
    "part_area": {"sections": [{"size": 0.5, "length": 0.75}], "units": "in"},
    "finished_length": {"sections": "1/2 x 3/4", "units": "in"},
    "part_width": {"sections": ["1/2 x 3/4", "hex 3/4 x 3/8"], "units": "in"},
    "chips_per_part": {"sections": "1/2 x 3/4", "material": "303", "shape": "tube", "size": 1, "bar_per_part": 1, "thickness": 0.4, "units": "in"},
    "price_breaks": {"quantities": [100, 1000], "parts_per_bar": 59, "bar_cost": 34.8, "cycle_time": 45,
                     "bar_change_time": 30, "setup_hours": 1.5, "machine_rate": 80, "scrap_rate": 0.03, "setup_parts": 5,
                     "setup_rate": 70, "other_per_part": 0.1, "other_per_order": 20, "minimum_charge": 50, "margin": 0.2,
                     "markup": None, "rounding": "up to next 0.05", "efficiency": 0.9, "cuts_per_bar": 1, "cut_charge": 2,
                     "tooling": 60, "chip_price": 0.3, "remnant_price": 0.45, "bar_weight": 14.5, "gross_weight": 0.239,
                     "part_weight": 0.16, "trim_weight": 0.01},
    "process_cost": {"parts": 1000, "rate": 0.85, "rate_per": "ft2", "part_weight": 0.16, "part_area": 7.5, "time_each": 20, "minimum": 95,
                     "freight": 30, "units": "in"},
    "parts_per_box": {"part_weight": 0.16, "box_weight": 35, "box_parts": 200},
    "boxes_needed": {"parts": 1000, "parts_per_box": 218},
    "packing_cost": {"parts": 1000, "parts_per_box": 218, "box_cost": 4.2},
    "price_for": {"cost": 0.75, "priced_per": "100 parts", "margin": 0.25, "markup": None, "rounding": "up to next 0.05"},
    "order_value": {"order_total": 84.5, "minimum_order": 150},
    "sample_code": {"lot_size": 1000, "inspection_level": "III"},
    "sample_size": _SAMPLE,
    "acceptance_number": _SAMPLE,
    "rejection_number": _SAMPLE,
    "acceptance_chance": {"sample_size": 80, "acceptance_number": 2, "bad_share": 0.02, "lot_size": 1000},
    "parts_inspected": {"parts": 1036, "first_off": 2, "every": 50, "sample": 80},
    "inspection_hours": {"parts_inspected": 102, "inspection_time": 90},
    "inspection_cost": {"parts_inspected": 102, "inspection_time": 90, "inspection_rate": 60},
    "lathes_running": _MINDING,
    "lathes_waiting": _MINDING,
    "minding_efficiency": _MINDING,
    "waiting_time": _MINDING,
    "waiting_chance": _MINDING,
    "lathes_minded": {"run_time": 600, "service_time": 20, "most_waiting": 0.02, "people": 2},
    "machine_hour_rate": {"replacement_value": 240000, "life_years": 8, "hours_a_year": 3000, "interest_rate": 0.06, "floor_area": 20,
                          "floor_cost": 110, "power": 9, "energy_price": 0.22, "yearly_maintenance": 7200, "yearly_other": 1500},
    "lathe_rate": {"hour_rate": 17.5, "wage_rate": 42, "attended_share": 0.6, "lathes_shared": 3},
    "operation_time": {"operation": "facing", "start_diameter": 0.75, "end_diameter": 0.25, "length": 2, "surface_speed": 400,
                       "feed_rate": 0.006, "top_speed": 5000, "passes": 2, "extra_time": 1.5, "units": "in"},
    "cycle_time_of": {"cutting_time": 31.5, "tool_changes": 5, "tool_change_time": 1.5, "rapid_time": 4, "bar_feed_time": 2},
    "feed_strokes": {"bar_per_part": 2.375, "longest_push": 4, "parts_per_feed": 3},
    "feed_time_per_part": {"time_per_stroke": 2.5, "feed_strokes": 2, "parts_per_feed": 3},
    "parts_in_full_feeds": {"parts_per_bar": 59, "parts_per_feed": 3},
    "good_parts_per_bar": {"parts_per_bar": 59, "first_parts_scrapped": 1},
    "parts_with_first_scrapped": {"parts_to_make": 1036, "parts_per_bar": 59, "first_parts_scrapped": 1},
    "two_spindle_cycle": {"main_time": 32, "second_time": 18, "handover_time": 3},
    "taper_time": {"length": 2, "start_diameter": 0.75, "end_diameter": 0.5, "surface_speed": 400, "feed_rate": 0.006, "top_speed": 5000,
                   "units": "in"},
    "thread_passes": {"pitch": 1.5, "units": "mm"},
    "taylor_exponent": {"tool": "carbide", "work": "mild steel"},
    "taylor_constant": {"tool": "carbide", "work": "mild steel", "units": "mm"},
    "tool_life": {"surface_speed": 200, "taylor_constant": 300, "taylor_exponent": 0.25, "units": "in"},
    "speed_for_life": {"edge_life": 53.49, "taylor_constant": 80, "taylor_exponent": 0.13, "units": "mm"},
    "life_for_most_parts": {"taylor_exponent": 0.13, "edge_change_time": 180},
    "life_for_least_cost": {"taylor_exponent": 0.13, "edge_change_time": 180, "edge_cost": 3.33, "machine_rate": 40},
    "parts_per_edge": {"parts_counted": 400, "edge_life": 15, "cut_time": 12},
    "edge_cost": {"tool_price": 14, "edges": 4, "regrinds": 2, "regrind_cost": 6},
    "tool_cost": {"edge_cost": 3.5, "parts_per_edge": 400, "edge_change_time": 120, "machine_rate": 60},
    "edge_change_per_part": {"edge_change_time": 120, "parts_per_edge": 400},
    "material_line_cost": {"bars": 18, "price": 2.4, "price_per": "112 lb", "bar_length": 144, "bar_weight": 14.5, "cuts": 2, "cut_charge": 3,
                           "minimum_charge": 150, "material_surcharge": 0.2, "certificate_fee": 20, "material_freight": 45, "units": "in"},
    "price_from_brackets": {"quantity": 120, "price_brackets": [[1, 53], [50, 51.5]]},
    "yearly_order_cost": {"quantity": 200, "demand": 800, "ordering_cost": 60, "holding_share": 0.3, "price_brackets": [[1, 53], [50, 51.5]]},
    "cheapest_order_quantity": {"demand": 800, "ordering_cost": 60, "holding_share": 0.3, "price_brackets": [[1, 53], [50, 51.5]]},
    "size_tolerance": {"size": 25, "tolerance_class": "h10", "bar_shape": "round", "units": "mm"},
    "defect_depth": {"size": 25, "defect_class": "class 3", "units": "mm"},
    "size_left": {"size": 25, "tolerance_class": "h10", "defect_class": "class 3", "clean_up": 0.5, "bar_shape": "hexagon", "units": "mm"},
    "smallest_bar": {"finished_size": 25, "minus_tolerance": 0.1, "defect_class": "class 3", "clean_up": 0.5, "units": "mm"},
    "bar_straightness": {"size": 25, "length": 3000, "steel": "stainless or tool or bearing", "bar_shape": "square", "units": "mm"},
    "bar_size_for": _BAR,
    "bar_size_reason": _BAR,
    "stickout_ratio": {"stickout": 2.625, "size": 0.75},
    "spindle_speed": {"surface_speed": 400, "diameter": 0.75, "top_speed": 5000, "units": "in"},
    "turning_time": {"length": 2, "diameter": 0.75, "surface_speed": 400, "feed_rate": 0.006, "top_speed": 5000, "passes": 2,
                     "units": "in"},
    "facing_time": _FACE,
    "cutoff_time": _FACE,
    "drilling_time": {"depth": 1, "diameter": 0.25, "surface_speed": 200, "feed_rate": 0.004, "point_angle": 118, "top_speed": 1500,
                      "units": "in"},
    "edge_parts_left": {"parts_per_edge": 400, "parts_on_edge": 150},
    "parts_bin_by_weight": {"bin_load": 40, "part_weight": 0.42},
    "parts_bin_by_volume": {"bin_volume": 5, "part_volume": 0.9, "fill_share": 0.5, "units": "in"},
    "chip_bin_parts": {"chip_bin": 55, "chip_volume": 1.4, "bulk_factor": 9, "units": "in"},
    "parts_until_stop": _STOPS,
    "hours_until_stop": {"bars_loaded": 12, "parts_per_bar": 59, "cycle_time": 45, "bar_change_time": 30, "parts_to_make": 1036,
                         "parts_per_edge": 400, "parts_on_edge": 150, "parts_bin": 900, "chip_bin_parts": 700},
    "first_stop": _STOPS,
    "chance_to_run": {"hours": 8, "mean_time_between_stops": 20},
    "expected_hours": {"hours": 8, "mean_time_between_stops": 20},
    "threading_time": {"length": 0.75, "pitch": 0.0625, "passes": 8, "spindle_speed": 900, "clearance": 0.2, "units": "in"},
}


def bad_values(argument):
    """Values that this argument must refuse, with a label."""
    kind = argument.kind
    is_length = kind.dimension in ("length", "feed_rate") or argument.name == "stock_sizes"
    yield "blank text", ""
    yield "spaces", "  "
    yield "word", "abc"
    yield "nan", math.nan
    yield "nan text", "nan"
    yield "infinity", math.inf
    yield "minus infinity", -math.inf
    yield "minus one", -1
    yield "minus one text", "-1"
    yield "true", True
    yield "numpy nan", np.float64("nan")
    yield "complex", 1 + 1j
    yield "dictionary", {}
    yield "object", object()
    yield "quantity of another dimension", Q(5, "second" if is_length else "mm")
    yield "unit of another dimension", "5 kg" if is_length else "5 mm" if kind.reader != "text" else "5 kg"
    if argument.required:
        yield "none", None
    if kind.reader != "table":
        yield "set", {1, 2}
        yield "array of two dimensions", np.array([[1.0, 2.0]])
    else:
        yield "empty list", []
        yield "list with a bad one", [100, -1]
        if is_counts(kind):
            yield "list with part of one", [100, 1.5]
        yield "list of nothing", [None, ""]
    if kind.is_number:
        if math.isfinite(kind.high):
            yield "at the open end" if kind.open_high else "too much", kind.high if kind.open_high else kind.high * 1.0001 + 1
            yield "far too much", 1e300
            yield "far too much, whole", 10**400
        yield "too little", kind.low if kind.open_low else kind.low - 0.001
        if kind.whole:
            yield "part of one", 2.5
    if kind.dimension == "length":
        yield "quantity below 0", Q(-1, "mm")
        yield "quantity nan", Q(math.nan, "inch")
        yield "quantity infinite", Q(math.inf, "inch")
        yield "quantity of several", Q(np.array([1.0, 2.0]), "inch")
    if kind.choices or kind.reader in ("material", "text"):
        yield "zero", 0
    if kind.reader == "material":
        yield "density of the other unit", 7850.0
        yield "impossible density", "78.5 g/cm3"


BAD = [(name, argument, list(bad_values(argument))) for name, entry in bf.CATALOGUE.items() for argument in entry.arguments]
BAD_IDS = [f"{name}-{argument.name}" for name, argument, _ in BAD]


def test_good_arguments_cover_the_catalogue():
    assert set(GOOD) == set(bf.CATALOGUE)
    for name, entry in bf.CATALOGUE.items():
        assert list(GOOD[name]) == [a.name for a in entry.arguments], name
    count = sum(len(bad) for _, _, bad in BAD)
    print(count, "bad inputs")
    assert count >= 2_500


@pytest.mark.parametrize("name", list(GOOD))
def test_good_arguments_are_good(name):
    function, good = getattr(bf, name), GOOD[name]
    result = function(**good)
    assert result == function(*good.values())
    if not any(a.kind.columns for a in function.entry.arguments):  # whose core takes rows as they were read
        assert result == function.core(*good.values())
    if not isinstance(result, (list, str)):
        assert math.isfinite(result)
    assert bf.why(name, **good) == bf.why(name.upper(), *good.values()) == "ok"


def refusal_problem(call, where, argument):
    """What is wrong with the way a bad argument is refused, or None."""
    try:
        result = call()
    except Exception as error:
        if type(error) is not bf.InputError:
            return f"{type(error).__name__}: {error}"
        if error.where != where or argument not in [p[0] for p in error.problems] or f"{argument}: " not in str(error):
            return f"does not name the argument: {error}"
        return None
    return f"gives {result!r}"


@pytest.mark.parametrize(("name", "argument", "bad"), BAD, ids=BAD_IDS)
def test_a_bad_argument_gives_no_number(name, argument, bad):
    function, problems = getattr(bf, name), {}
    for label, value in bad:
        arguments = {**GOOD[name], argument.name: value}
        by_name = refusal_problem(lambda a=arguments: function(**a), name, argument.name)
        by_place = refusal_problem(lambda a=arguments: function(*a.values()), name, argument.name)
        if by_name or by_place:
            problems[label] = by_name or by_place
    assert problems == {}


@pytest.mark.parametrize("value", [np.True_, np.False_, b"12", bytearray(b"12"), np.complex128(1 + 1j), np.bytes_(b"12")],
                         ids=repr)
def test_what_python_would_turn_into_a_number_is_refused(value):
    problems = {}
    for name, argument, _ in BAD:
        call = functools.partial(getattr(bf, name), **{**GOOD[name], argument.name: value})
        problem = refusal_problem(call, name, argument.name)
        if problem:
            problems[f"{name}, {argument.name}"] = problem
    assert problems == {}


@pytest.mark.parametrize(("name", "argument", "bad"), BAD, ids=BAD_IDS)
def test_why_names_the_bad_argument(name, argument, bad):
    problems = {}
    for label, value in bad:
        reason = bf.why(name, **{**GOOD[name], argument.name: value})
        if f"{argument.name}: " not in reason:
            problems[label] = reason
    assert problems == {}


@pytest.mark.parametrize("name", [n for n, e in bf.CATALOGUE.items() if sum(a.kind.is_number for a in e.arguments) > 1])
def test_several_bad_arguments_are_all_named(name):
    numbers = [a.name for a in bf.CATALOGUE[name].arguments if a.kind.is_number]
    with pytest.raises(bf.InputError) as caught:
        getattr(bf, name)(**{**GOOD[name], **dict.fromkeys(numbers, "abc")})
    assert [p[0] for p in caught.value.problems] == numbers


@pytest.mark.parametrize("name", list(GOOD))
def test_a_missing_argument_is_named(name):
    for argument in bf.CATALOGUE[name].arguments:
        rest = {k: v for k, v in GOOD[name].items() if k != argument.name}
        if argument.required:
            with pytest.raises(bf.InputError, match=f"{argument.name}: "):
                getattr(bf, name)(**rest)
            assert f"{argument.name}: " in bf.why(name, **rest)


@pytest.mark.parametrize("name", list(GOOD))
def test_an_unknown_or_surplus_argument_is_a_type_error(name):
    function, good = getattr(bf, name), GOOD[name]
    with pytest.raises(TypeError, match="no argument 'colour'"):
        function(**good, colour=1)
    with pytest.raises(TypeError, match="arguments"):
        function(*good.values(), 1)
    first = next(iter(good))
    with pytest.raises(TypeError, match=f"{first!r} twice"):
        function(*good.values(), **{first: good[first]})
    assert "colour" in bf.why(name, **good, colour=1)


@pytest.mark.parametrize(("name", "changes", "argument"), [
    ("section_area", {"thickness": 0.5}, "thickness"), ("section_area", {"thickness": None}, "thickness"),
    ("section_area", {"shape": "round"}, "thickness"), ("across_corners", {"thickness": None}, "thickness"),
    ("weight_per_length", {"shape": "hexagon"}, "thickness"), ("bar_weight", {"thickness": 0.6}, "thickness"),
    ("remnant_length", {"end_trim": 145}, "end_trim"), ("bars_for_confidence", {"longest_bar": 119}, "longest_bar"),
    ("bars_for_confidence", {"bar_per_part": 142}, "longest_bar"), ("material_cost", {"bar_weight": 0}, "bar_weight"),
    ("material_cost", {"bar_length": 0, "price_per": "m"}, "bar_length"), ("scrap_credit", {"parts_weight": 250}, "parts_weight"),
])
def test_arguments_that_contradict_each_other(name, changes, argument):
    arguments = {**GOOD[name], **changes}
    function = getattr(bf, name)
    for call in (lambda: function(**arguments), lambda: function(*arguments.values())):
        with pytest.raises(bf.InputError, match=f"{argument}: ") as caught:
            call()
        assert type(caught.value) is bf.InputError
    assert f"{argument}: " in bf.why(name, **arguments)


NUMBERS = st.one_of(st.floats(), st.integers(), st.booleans(), st.none(), st.text(max_size=8), st.lists(st.integers(), max_size=2))


@settings(PROFILE, max_examples=400)
@given(st.sampled_from(sorted(GOOD)), st.data())
def test_any_junk_gives_a_finite_result_or_a_named_argument(name, data):
    entry = bf.CATALOGUE[name]
    argument = data.draw(st.sampled_from(entry.arguments))
    value = data.draw(NUMBERS)
    call = functools.partial(getattr(bf, name), **{**GOOD[name], argument.name: value})
    try:
        result = call()
    except bf.InputError as error:
        blamed = {p[0] for p in error.problems}
    else:
        flat = [x for row in result for x in (row if isinstance(row, tuple) else (row,))] if isinstance(result, list) else [result]
        assert all(x is None or isinstance(x, str) or math.isfinite(x) for x in flat)  # a cell of a table may be blank
        return
    assert blamed
    rows = {f"row {n}" for n in range(1, len(value) + 1)} if isinstance(value, list) else set()
    assert blamed <= {a.name for a in entry.arguments} or blamed <= rows


# --- quantities and other numbers ----------------------------------------------------------------------------------


@PROFILE
@given(LENGTHS)
def test_quantities_count_as_plain_numbers_do(lengths):
    inch = floats(*lengths)
    plain = bf.parts_per_bar(*inch)
    for parts in (bf.parts_per_bar(*(Q(x, "inch") for x in inch)), bf.parts_per_bar(*(Q(x * 25.4, "mm") for x in inch)),
                  bf.parts_per_bar(Q(inch[0] / 12, "foot"), *inch[1:], units="in"),
                  bf.parts_per_bar(Q(inch[0] * 0.0254, "meter"), *(Q(x, "inch") for x in inch[1:]))):
        assert type(parts) is int
        assert parts == plain


def test_a_quantity_comes_back_as_one():
    inch = bf.first_stickout(Q(2.25, "inch"), Q(0.125, "inch"), Q(0.25, "inch"))
    assert str(inch.units) == "inch"
    assert inch.magnitude == pytest.approx(2.625, rel=1e-15)
    mm = bf.first_stickout(Q(57.15, "mm"), Q(3.175, "mm"), Q(6.35, "mm"))
    assert str(mm.units) == "millimeter"
    assert mm.magnitude == pytest.approx(66.675, rel=1e-14)
    mixed = bf.first_stickout(Q(57.15, "mm"), 3.175, 6.35, units="mm")
    assert mixed.to("inch").magnitude == pytest.approx(2.625, rel=1e-14)
    assert bf.first_stickout(2.25, 0.125, 0.25) == 2.625
    assert isinstance(bf.first_stickout("2.25 in", "1/8 in", "1/4 in"), float)


def test_quantities_of_other_kinds():
    weight = bf.bar_weight("12L14", "round", Q(1, "inch"), Q(12, "foot"))
    assert str(weight.units) == "pound"
    assert weight.magnitude == pytest.approx(bf.bar_weight("12L14", "round", 1, 144))
    per_metre = bf.weight_per_length(Q(7850, "kg/m**3"), "round", Q(50, "mm"), units="mm")
    assert per_metre.to("kg/m").magnitude == pytest.approx(15.41, abs=0.005)
    area = bf.section_area("square", Q(2, "cm"), units="mm")
    assert area.to("cm**2").magnitude == pytest.approx(4)
    hours = bf.unattended_hours(12, 59, Q(0.75, "minute"), Q(30, "second"))
    assert hours.to("hour").magnitude == pytest.approx(bf.unattended_hours(12, 59, 45, 30))
    assert bf.bars_for_hours(Q(480, "minute"), 59, 45, 30) == 11
    assert bf.bars_for_hours("8 h", 59, "45 s", "0.5 min") == 11


@pytest.mark.parametrize("kind", [np.float64, np.float32, np.int64, np.int32, np.uint8, Fraction])
def test_numbers_of_other_types(kind):
    assert bf.parts_per_bar(kind(144), kind(2), kind(0), kind(3)) == 70
    assert bf.bars_for_quantity(kind(100), kind(59)) == 2
    assert bf.price_at_margin(kind(75), 0.25) == 100


def test_numpy_results_are_plain():
    assert type(bf.parts_per_bar(np.float64(144), np.float64(2.25), np.float64(0.125), np.float64(3))) is int
    assert type(bf.bar_per_part(np.float64(2.25), np.float64(0.125))) is float
    assert bf.parts_per_bar(np.float64(144), np.float64(2.25), np.float64(0.125), np.float64(3)) == 59
    assert [row[0] for row in bf.price_breaks(np.array([100, 1000]), 59, 34.8, 45, 30, 1.5, 80)] == [100, 1000]
