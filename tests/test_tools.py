"""Tools, feeds of the bar, two spindles and tapers against their definitions: minima, counting part by part, integration."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.kinds import TOOLS, WORKS
from barfuncs.catalogue.materials import builtin
from barfuncs.tables.taylor import TAYLOR, WORK_OF_GROUP


def _minutes_and_cost(speed, c, n, change, edge, rate):
    """Of one part that is in the cut for 100 / speed minutes: minutes, and cost, with the changes of the edge."""
    cut = 100 / speed
    changes = cut / (c / speed) ** (1 / n)
    return cut + changes * change / 60, cut * rate / 60 + changes * (change / 3600 * rate + edge)


@given(c=st.floats(20, 900), n=st.floats(0.08, 0.6), change=st.floats(5, 900), edge=st.floats(0.1, 60), rate=st.floats(20, 200))
def test_no_other_speed_costs_less_or_gives_more(c, n, change, edge, rate):
    cheapest = bf.speed_for_life.core(bf.life_for_least_cost(n, change, edge, rate), c, n)
    fastest = bf.speed_for_life.core(bf.life_for_most_parts(n, change), c, n)
    assert cheapest < fastest
    for best, which in ((fastest, 0), (cheapest, 1)):
        least = _minutes_and_cost(best, c, n, change, edge, rate)[which]
        for factor in (0.7, 0.97, 1.03, 1.4):
            assert _minutes_and_cost(best * factor, c, n, change, edge, rate)[which] > least


@given(c=st.floats(20, 900), n=st.floats(0.05, 1), life=st.floats(0.1, 500))
def test_speed_and_life_are_each_others_way_back(c, n, life):
    speed = bf.speed_for_life.core(life, c, n)
    assert bf.tool_life.core(speed, c, n) == pytest.approx(life, rel=1e-9)


def test_constants_are_there_for_every_tool_and_work_and_no_other_group():
    assert {(row.tool, row.work) for row in TAYLOR} == {(tool, work) for tool in TOOLS for work in WORKS}
    assert set(WORK_OF_GROUP) < {row.group for row in builtin().rows}
    for row in TAYLOR:  # what is rounded twice is one speed all the same
        assert row.ft_min * 0.3048 == pytest.approx(row.m_min, rel=0.15)
        assert "from memory" in row.source


def test_the_shops_own_count_comes_first():
    assert bf.parts_per_edge(400, 15, 4) == 400
    assert bf.parts_per_edge(edge_life=15, cut_time=4) == 225
    assert bf.parts_per_edge(edge_life="15 min", cut_time="4 s") == 225
    assert bf.parts_per_edge(edge_life=1, cut_time=61) == 0


@pytest.mark.parametrize("given", [{}, {"edge_life": 15}, {"cut_time": 4}])
def test_without_a_count_both_life_and_time_are_needed(given):
    with pytest.raises(bf.InputError, match="the shop's own count"):
        bf.parts_per_edge(**given)


def test_an_edge_that_lasts_no_part_has_no_cost():
    with pytest.raises(bf.InputError, match="parts_per_edge"):
        bf.tool_cost(3, bf.parts_per_edge(edge_life=1, cut_time=61))


@given(edge=st.floats(0, 100), parts=st.integers(1, 5000), change=st.floats(0, 900), rate=st.floats(0, 200))
def test_a_change_costs_the_same_in_the_cycle_as_in_the_tool(edge, parts, change, rate):
    in_cycle = bf.tool_cost(edge, parts) + bf.edge_change_per_part(change, parts) / 3600 * rate
    assert bf.tool_cost(edge, parts, change, rate) == pytest.approx(in_cycle, rel=1e-12, abs=1e-12)


@given(price=st.floats(0, 500), edges=st.integers(1, 8), regrinds=st.integers(0, 20), cost=st.floats(0, 50))
def test_all_edges_together_cost_what_the_tool_and_its_regrinds_do(price, edges, regrinds, cost):
    each = bf.edge_cost(price, edges, regrinds, cost)
    assert each * edges * (1 + regrinds) == pytest.approx(price + regrinds * cost, rel=1e-12, abs=1e-12)


@given(needed=st.integers(0, 3000), per_bar=st.integers(1, 60), first=st.integers(0, 8))
def test_parts_with_first_scrapped_counted_one_by_one(needed, per_bar, first):
    if first >= per_bar:
        with pytest.raises(bf.InputError, match="fewer than the parts of a bar"):
            bf.parts_with_first_scrapped(needed, per_bar, first)
        return
    made = good = bars = on_bar = 0
    while good < needed:
        if on_bar == 0:
            bars, on_bar = bars + 1, per_bar
        made, good = made + 1, good + (per_bar - on_bar >= first)
        on_bar -= 1
    to_make = bf.parts_with_first_scrapped(needed, per_bar, first)
    assert to_make == made
    assert math.ceil(to_make / per_bar) == bars
    assert bf.good_parts_per_bar(per_bar, first) == per_bar - first


@given(per_bar=st.integers(0, 500), group=st.integers(1, 20))
def test_full_feeds(per_bar, group):
    feeds = 0
    while (feeds + 1) * group <= per_bar:
        feeds += 1
    assert bf.parts_in_full_feeds(per_bar, group) == feeds * group


@given(tenths=st.integers(1, 400), push=st.integers(1, 300), group=st.integers(1, 12))
def test_strokes_in_whole_tenths(tenths, push, group):
    assert bf.feed_strokes(tenths / 10, push / 10, group) == -(-tenths * group // push)


def test_time_of_a_feed_is_shared():
    assert bf.feed_time_per_part(1.5, 2, 3) * 3 == pytest.approx(2 * 1.5)


@given(st.floats(0.5, 60), st.floats(0, 60), st.floats(0, 10))
def test_two_spindles_part_by_part(main, second, handover):
    # Clocks of the two spindles over 200 parts; both stand still in a hand-over.
    at_main = at_second = 0.0
    for _ in range(200):
        start = max(at_main + main, at_second)
        at_main = start + handover
        at_second = at_main + second
    assert bf.two_spindle_cycle(main, second, handover) == pytest.approx(at_main / 200, rel=0.02)


@given(start=st.floats(0.2, 4), share=st.floats(0, 0.95), length=st.floats(0.1, 8), speed=st.floats(60, 900), top=st.sampled_from((500, 2500, 6000)))
def test_a_taper_against_integration(start, share, length, speed, top):
    end, feed, steps = start * share, 0.005, 4000
    way = math.hypot(length, (start - end) / 2)
    seconds = 0.0
    for n in range(steps):
        diameter = start + (end - start) * (n + 0.5) / steps
        turns = min(top, 12 * speed / (math.pi * diameter))
        seconds += 60 * way / steps / (feed * turns)
    assert bf.taper_time(length, start, end, speed, feed, top, "in") == pytest.approx(seconds, rel=1e-5)


def test_a_slight_taper_is_turning_at_its_mean_diameter():
    assert bf.taper_time(10, 1, 0.9, 400, 0.005) == pytest.approx(bf.turning_time(10, 0.95, 400, 0.005), rel=2e-5)


def test_several_parts_stick_out():
    assert bf.first_stickout(2.25, 0.125, 0.25, parts_per_feed=3) == pytest.approx(0.25 + 3 * 2.375)
