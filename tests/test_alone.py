"""Running alone: what stops the lathe first, by hand, by law and by what is printed of loose chips."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_properties import CHANGES, CYCLES, PER_BAR, PROFILE

import barfuncs as bf

# --- by hand -------------------------------------------------------------------------------------------------------


def test_a_night_by_hand():
    # 12 bars of 59 parts are 708. The edge makes 400 and has made 150: 250 are left. 250 parts are 4 bars of 59 and 14 of a
    # fifth: 250 * 45 s + 4 bar changes of 30 s = 11,370 s.
    night = (12, 59, 1036, 400, 150, 900, 800)
    assert bf.edge_parts_left(400, 150) == 250
    assert bf.parts_until_stop(*night) == 250
    assert bf.hours_until_stop(12, 59, 45, 30, *night[2:]) == pytest.approx(11_370 / 3600, rel=1e-15)
    assert bf.first_stop(*night) == "tool edge"


@pytest.mark.parametrize(("given", "parts", "stop"), [
    ((12, 59), 708, "bars used up"),
    ((12, 59, 1036), 708, "bars used up"),
    ((12, 59, 700), 700, "order done"),
    ((12, 59, 708), 708, "order done, bars used up"),
    ((12, 59, 1036, 400), 400, "tool edge"),
    ((12, 59, 1036, 400, 400), 0, "tool edge"),
    ((12, 59, 1036, 400, 900), 0, "tool edge"),  # it is past its life: nothing is left, not less than nothing
    ((0, 59, 1036), 0, "bars used up"),
    ((12, 59, None, None, 0, 120), 120, "parts bin full"),
    ((12, 59, None, None, 0, None, 90), 90, "chip bin full"),
    ((12, 59, 90, 90, 0, 90, 90), 90, "order done, tool edge, parts bin full, chip bin full"),
    ((1, 90, 90, 90, 0, 90, 90), 90, "order done, bars used up, tool edge, parts bin full, chip bin full"),
])
def test_what_comes_first(given, parts, stop):
    assert bf.parts_until_stop(*given) == parts
    assert bf.first_stop(*given) == stop


def test_a_stop_at_a_bar_s_end_has_no_bar_change_after_it():
    assert bf.hours_until_stop(12, 60, 60, 120, parts_bin=120) == pytest.approx((120 * 60 + 1 * 120) / 3600)
    assert bf.hours_until_stop(12, 60, 60, 120, parts_bin=121) == pytest.approx((121 * 60 + 2 * 120) / 3600)
    assert bf.hours_until_stop(0, 60, 60, 120) == 0


def test_bins_by_hand():
    # 40 lb / 0.42 lb is 95.2
    assert bf.parts_bin_by_weight(40, 0.42) == 95
    assert bf.parts_bin_by_weight("20 kg", "200 g", units="mm") == 100
    # 5 gal are 1,155 in3, half of them metal: 577.5 / 0.9 is 641.7
    assert bf.parts_bin_by_volume(5, 0.9, 0.5) == 641
    # 20 L are 2E7 mm3, 40% metal: 8E6 / 16,000 is 500
    assert bf.parts_bin_by_volume(20, 16_000, "40%", units="mm") == 500
    # 55 gal are 12,705 in3; 1.4 in3 of metal are 12.6 in3 of loose chips: 1,008.3
    assert bf.chip_bin_parts(55, 1.4, 9) == 1008
    assert bf.chip_bin_parts("200 l", 20_000, 10, units="mm") == 1000


def test_a_gallon_is_231_cubic_inch():
    # exact by definition; 231 * 16.387064 mL
    assert pytest.approx(231 * 25.4**3 / 1e6, rel=1e-15) == 3.785411784
    assert bf.chip_bin_parts(1, 1, 1) == 231
    assert bf.chip_bin_parts("1 cu ft", 1, 1) == 1728
    assert bf.chip_bin_parts("1 yd3", 1, 1) == 46_656
    assert bf.chip_bin_parts("3.785411784 l", 1, 1, units="in") == 231
    assert bf.parts_bin_by_volume("1 gal", 16.387064, 1, units="mm") == 231_000


# A maker of chip conveyors, guide to chip types, CGUIDE 1-02 (seen as an excerpt): lb/ft3 of steel 490, of brass 558, of
# aluminum 169 as solid stock; lightest and heaviest loose chips.
@pytest.mark.parametrize(("solid", "lightest", "heaviest", "factors"), [
    (490, 55, 75, (6.5, 8.9)),  # steel, broken chips
    (490, 10, 25, (19.6, 49)),  # steel, light turnings
    (558, 65, 100, (5.58, 8.6)),  # brass, broken chips
    (169, 20, 25, (6.76, 8.45)),  # aluminum, broken chips
])
def test_a_cubic_foot_holds_the_printed_weight_of_chips(solid, lightest, heaviest, factors):
    for printed, factor in zip((heaviest, lightest), factors, strict=True):
        assert solid / printed == pytest.approx(factor, abs=0.05)
        one_pound = 1728 / solid  # in3 of metal
        assert bf.chip_bin_parts("1 ft3", one_pound, solid / printed) == printed


# --- chances -------------------------------------------------------------------------------------------------------


def test_chances_by_hand():
    assert bf.chance_to_run(0, 20) == 1
    assert bf.expected_hours(0, 20) == 0
    assert bf.chance_to_run(20, 20) == pytest.approx(0.36787944117144233, rel=1e-15)  # 1 / e
    assert bf.chance_to_run(20 * math.log(2), 20) == pytest.approx(0.5, rel=1e-14)  # the median is mean * ln 2
    # 20 * (1 - exp(-0.4)); exp(-0.4) is 0.67032 in any table
    assert bf.expected_hours(8, 20) == pytest.approx(20 * (1 - 0.67032), abs=2e-4)


def test_expected_hours_are_the_integral_of_the_chance():
    steps, hours, mean = 20_000, 16, 9.5
    width = hours / steps
    area = math.fsum(bf.chance_to_run((n + 0.5) * width, mean) for n in range(steps)) * width
    assert bf.expected_hours(hours, mean) == pytest.approx(area, rel=1e-8)


@PROFILE
@given(st.integers(0, 1_000_000).map(lambda n: n / 100), st.floats(1e-3, 1e5), st.integers(0, 100_000).map(lambda n: n / 100))
def test_more_hours_are_less_likely_and_no_more_are_expected_than_asked_for(hours, mean, more):
    assert 0 <= bf.chance_to_run(hours + more, mean) <= bf.chance_to_run(hours, mean) <= 1
    assert bf.chance_to_run(hours, mean) * bf.chance_to_run(more, mean) == pytest.approx(bf.chance_to_run(hours + more, mean), rel=1e-6, abs=1e-300)
    expected = bf.expected_hours(hours, mean)
    assert expected <= min(hours, mean) * (1 + 1e-12)
    assert expected <= bf.expected_hours(hours + more, mean) <= expected + more + 1e-9 * (hours + more)


# --- laws ----------------------------------------------------------------------------------------------------------

COUNT = st.integers(1, 20_000)
MAYBE = st.one_of(st.none(), COUNT)
STOPS = st.tuples(st.integers(0, 60), PER_BAR, MAYBE, MAYBE, st.integers(0, 5_000), MAYBE, MAYBE).map(
    lambda s: s if s[3] else (*s[:4], 0, *s[5:]))


def limits(bars, per_bar, order, edge, made, parts_bin, chips):
    found = {"order done": order, "bars used up": bars * per_bar, "tool edge": None if edge is None else max(edge - made, 0),
             "parts bin full": parts_bin, "chip bin full": chips}
    return {name: limit for name, limit in found.items() if limit is not None}


@PROFILE
@given(STOPS)
def test_never_more_than_any_limit_and_it_names_the_ones_that_are_reached(stops):
    parts, named = bf.parts_until_stop(*stops), bf.first_stop(*stops).split(", ")
    assert type(parts) is int
    for name, limit in limits(*stops).items():
        assert parts <= limit
        assert (name in named) == (parts == limit)
    assert set(named) <= set(limits(*stops))


@PROFILE
@given(STOPS, CYCLES, CHANGES)
def test_hours_are_those_of_the_parts_and_of_the_bars_that_were_begun(stops, cycle, change):
    hours, parts = bf.hours_until_stop(*stops[:2], cycle, change, *stops[2:]), bf.parts_until_stop(*stops)
    begun = math.ceil(Fraction(parts, stops[1]))
    assert hours * 3600 == pytest.approx(parts * cycle + max(0, begun - 1) * change, rel=1e-12)
    assert hours <= bf.unattended_hours(stops[0], stops[1], cycle, change) * (1 + 1e-12)
    assert hours == pytest.approx(bf.run_hours(parts, cycle, stops[1], change) if parts else 0)


@PROFILE
@given(st.integers(0, 60), PER_BAR, CYCLES, CHANGES)
def test_with_bars_alone_it_is_what_it_always_was(bars, per_bar, cycle, change):
    assert bf.hours_until_stop(bars, per_bar, cycle, change) == bf.unattended_hours(bars, per_bar, cycle, change)


@PROFILE
@given(STOPS, st.sampled_from([0, 2, 3, 5, 6]), st.integers(0, 1_000))
def test_a_later_limit_never_brings_an_earlier_stop(stops, which, more):
    later = list(stops)
    if later[which] is not None:
        later[which] += more
    assert bf.parts_until_stop(*later) >= bf.parts_until_stop(*stops)


@PROFILE
@given(STOPS, st.sampled_from([2, 3, 5, 6]))
def test_what_is_not_known_never_stops_it(stops, which):
    unknown = list(stops)
    unknown[which] = None
    if which == 3:
        unknown[4] = 0
    assert bf.parts_until_stop(*unknown) >= bf.parts_until_stop(*stops)


def test_several_tools_are_columns():
    edges, made = [400, 1200, 250], [150, 0, 20]
    assert bf.parts_until_stop(12, 59, 1036, edges, made) == [250, 708, 230]
    assert bf.first_stop(12, 59, 1036, edges, made) == ["tool edge", "bars used up", "tool edge"]
    assert min(bf.edge_parts_left(edges, made)) == 230


# --- bad inputs ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("call", "words"), [
    (lambda: bf.parts_until_stop(12, 59, parts_on_edge=10), "parts_per_edge: parts made on the edge say nothing without the parts"),
    (lambda: bf.first_stop(12, 0), "parts_per_bar: 0 given"),
    (lambda: bf.first_stop(12, 59, 0), "parts_to_make: 0 given"),
    (lambda: bf.parts_until_stop(12.5, 59), "bars_loaded: 12.5 given"),
    (lambda: bf.hours_until_stop(12, 59, 0), "cycle_time: 0 given"),
    (lambda: bf.chip_bin_parts(55, 0, 9), "chip_volume: 0 given"),
    (lambda: bf.chip_bin_parts(55, 1.4, 0.9), "bulk_factor: 0.9 given"),
    (lambda: bf.chip_bin_parts("55 kg", 1.4, 9), "chip_bin: '55 kg' can't be read as a volume: the unit 'kg' is unknown; known are gal, ft3, yd3, L, m3"),
    (lambda: bf.chip_bin_parts("200 l", 1.4, 9), "chip_volume: has no unit next to values in metric units"),
    (lambda: bf.parts_bin_by_volume(5, 0.9, 0), "fill_share: 0 given"),
    (lambda: bf.chance_to_run(8, 0), "mean_time_between_stops: 0 given"),
    (lambda: bf.chance_to_run(-8, 20), "hours: -8 given"),
])
def test_a_bad_input_is_named(call, words):
    with pytest.raises(bf.InputError) as caught:
        call()
    assert words in str(caught.value)


def test_the_limits_themselves():
    assert bf.chip_bin_parts(0, 1.4, 9) == 0
    assert bf.parts_bin_by_weight(0, 1) == 0
    assert bf.chip_bin_parts(55, 1.4, 1) == 9075
    assert bf.chance_to_run(1_000_000, 0.001) == 0
    assert bf.parts_until_stop(10_000_000, 10_000_000) == 10**14
