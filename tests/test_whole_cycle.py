"""The whole cycle in a quote, reckoned by hand: yield with its needs, both spindles, feeds, edges, first parts of every bar."""

import math
from typing import Any

import pytest

import barfuncs as bf
from barfuncs.filling.filler import fill
from barfuncs.tables import speeds_feeds
from barfuncs.templates import quote
from barfuncs.templates.shop import Machine, Rates, Shop

FACE = {"operation": "facing", "start_diameter": 0.866, "end_diameter": 0, "surface_speed": 350, "feed_rate": 0.004, "top_speed": 5000}
TURN = {"operation": "turning", "start_diameter": 0.866, "length": 0.9, "surface_speed": 350, "feed_rate": 0.006, "passes": 2}
TAP = {"operation": "tapping", "start_diameter": 0.3125, "length": 0.6, "surface_speed": 40, "feed_rate": 0.05, "spindle": "second"}
MILL = {"operation": "milling", "extra_time": 9, "spindle": "second"}
PLAIN: dict[str, Any] = {
    "units": "in", "material": "1018", "shape": "hexagon", "size": 0.75, "bar_length": 144, "part_length": 1.5, "cutoff_width": 0.098,
    "face_to_cutoff": 0.2, "grip_length": 2, "facing": 0.01, "machine_rate": 90, "material_price": 1.2, "price_per": "lb", "margin": 0,
    "quantity_1": 100, "rounding": "none", "operations": [FACE, TURN]}
WHOLE = PLAIN | {
    "rear_hold": 4, "second_spindle_stock": 0.02, "first_parts_scrapped": 1, "parts_per_feed": 2, "last_feed": "full feeds only",
    "longest_push": 2.5, "bar_feed_time": 1.5, "tool_change_time": 0.8, "rapid_time": 3, "handover_time": 2.5,
    "operations": [FACE | {"edge_cost": 2.4, "edge_change_time": 90, "parts_per_edge": 900}, TURN, TAP | {"edge_cost": 22, "parts_per_edge": 800}, MILL]}


def answers(**change: Any) -> dict[str, Any]:
    return dict(fill("quote", WHOLE | change).answers)


def test_by_hand():
    a = answers()
    # 1.5 + 0.098 + 0.01 faced + 0.02 for the second spindle
    assert a["bar_per_part"] == pytest.approx(1.628)
    # the gripper needs 4, grip and gap only 2 + 0.2
    assert a["min_remnant"] == 4
    # (144 - 4) / 1.628 = 85.995: 85, of which feeds of two make 84; the first is scrapped
    assert (a["parts_per_bar"], a["good_per_bar"]) == (84, 83)
    # 144 - 84 * 1.628
    assert a["remnant"] == pytest.approx(7.248)
    # 0.2 + 2 * 1.628
    assert a["first_stickout"] == pytest.approx(3.456)
    # 100 good parts: 100 / 83 is two bars, so two first parts more
    assert (a["bars_1"], a["parts_to_make_1"]) == (2, 102)
    # two bars give 2 * 83
    assert a["whole_1"] == 166
    # facing at 350 ft/min from 0.866 in: 5000 rpm is reached at 12 * 350 / (pi * 5000) = 0.26738 in
    switch = 12 * 350 / (math.pi * 5000)
    facing = 60 * (math.pi * (0.866**2 - switch**2) / (4 * 12 * 350 * 0.004) + switch / (2 * 0.004 * 5000))
    # turning at 12 * 350 / (pi * 0.866) = 1543.8 rpm, twice
    turning = 2 * 60 * 0.9 / (0.006 * 12 * 350 / (math.pi * 0.866))
    # tapping at 12 * 40 / (pi * 0.3125) = 488.9 rpm, in and out
    tapping = 2 * 60 * 0.6 / (0.05 * 12 * 40 / (math.pi * 0.3125))
    assert (facing, turning, tapping) == pytest.approx((2.3042, 11.6598, 2.9452), abs=5e-5)
    assert [a[f"op_{n}_time"] for n in (1, 2, 3, 4)] == pytest.approx([facing, turning, tapping, 9])
    # 2 * 1.628 = 3.256 is fed in two strokes of at most 2.5; two parts share them
    assert a["feed_each"] == pytest.approx(2 * 1.5 / 2)
    # two tools at each spindle: two changes a part at each
    assert (a["main_changes"], a["second_changes"]) == (2, 2)
    assert a["main_side"] == pytest.approx(facing + turning + 2 * 0.8 + 3 + 1.5)
    assert a["second_side"] == pytest.approx(tapping + 9 + 2 * 0.8)
    # an edge of the facing tool is changed after 900 parts, in 90 s
    assert a["edge_change_each"] == pytest.approx(90 / 900)
    assert a["cycle"] == pytest.approx(max(a["main_side"], a["second_side"]) + 2.5 + 0.1) == pytest.approx(22.6640, abs=5e-5)
    assert a["tool_each"] == pytest.approx(2.4 / 900 + 22 / 800)
    assert a["tool_cost_1"] == pytest.approx(102 * (2.4 / 900 + 22 / 800))
    # 102 parts, and one bar change of no time
    assert a["machine_cost_1"] == pytest.approx(102 * a["cycle"] / 3600 * 90)
    assert a["order_cost_1"] == pytest.approx(a["material_used_1"] + a["machine_cost_1"] + a["tool_cost_1"])
    assert a["price_1"] == pytest.approx(a["order_cost_1"] / 100)


def test_the_longer_side_counts():
    long = answers(operations=[FACE, TAP, MILL | {"extra_time": 60}])
    assert long["second_side"] > long["main_side"]
    assert long["cycle"] == pytest.approx(long["second_side"] + 2.5)
    more = answers(operations=[FACE, TURN, TAP, MILL | {"extra_time": 60}])  # while the second side is the longer one a cut at the main one is free
    assert more["cycle"] == pytest.approx(long["cycle"])


def test_what_nobody_fills_in_changes_nothing():
    before = dict(fill("quote", PLAIN).answers)
    neutral = PLAIN | {"rear_hold": 0, "second_spindle_stock": 0, "first_parts_scrapped": 0, "parts_per_feed": 1, "longest_push": 100,
                       "handover_time": 0, "operations": [row | {"spindle": "main"} for row in PLAIN["operations"]]}
    after = dict(fill("quote", neutral).answers)
    apart = {"not_counted", "order_parts_1", "op_1_mark"}
    assert {n: v for n, v in before.items() if n not in apart} == {n: v for n, v in after.items() if n not in apart}
    # as it was reckoned before there were such inputs
    per_bar = bf.parts_per_bar(144, 1.5, 0.098, 2.2, 0.01)
    assert (before["parts_per_bar"], before["bars_1"], before["parts_to_make_1"]) == (per_bar, 2, 100)
    assert before["cycle"] == pytest.approx(sum(before[f"op_{n}_time"] for n in (1, 2)))


def test_a_cycle_time_that_is_typed_holds_all_but_the_price_of_the_edges():
    typed, listed = answers(cycle_time=30), answers()
    assert typed["cycle"] == 30
    assert typed["machine_cost_1"] == pytest.approx(102 * 30 / 3600 * 90)
    assert typed["tool_cost_1"] == listed["tool_cost_1"] > 0


@pytest.mark.parametrize(("rows", "typed", "main"), [
    ([FACE], None, 0),  # one tool is not changed
    ([FACE, TURN], None, 2),
    ([FACE, TURN, {"operation": "other", "extra_time": 2}], None, 2),  # no tool
    ([FACE, TURN, {"operation": "knurling", "extra_time": 2}], None, 3),
    ([FACE, TURN], 5, 5),
    ([FACE, TURN], 0, 0),
])
def test_tool_changes_are_counted_unless_typed(rows, typed, main):
    a = answers(operations=rows, tool_changes=typed)
    assert a["main_changes"] == main
    assert a["main_side"] == pytest.approx(a["cutting_time"] + main * 0.8 + 3 + 1.5)


def test_the_shops_count_of_an_edge_comes_before_the_idea():
    # 350 ft/min, C 1500 ft/min, n 0.25: (1500 / 350)^4 = 337.4 min; turning 11.66 s a part
    a = answers(operations=[TURN | {"edge_cost": 3}])
    idea = math.floor((1500 / 350) ** 4 * 60 / a["op_1_time"])
    assert a["tool_each"] == pytest.approx(3 / idea)
    assert a["edge_ideas"] == 1
    counted = answers(operations=[TURN | {"edge_cost": 3, "parts_per_edge": 250}])
    assert (counted["tool_each"], counted["edge_ideas"]) == (pytest.approx(3 / 250), 0)


@pytest.mark.parametrize("change", [
    {"material": "303"},  # no constants for stainless steel
    {"operations": [TAP | {"edge_cost": 3}]},  # nor for a tap
    {"operations": [TURN | {"edge_cost": 3, "surface_speed": 1400}], "tool": "high-speed steel"},  # it does not last one part
])
def test_an_edge_without_count_or_idea_has_no_price(change):
    change = {"operations": [TURN | {"edge_cost": 3}]} | change
    with pytest.raises(bf.InputError, match="op_1: parts per edge are missing"):
        fill("quote", WHOLE | change)


def test_all_parts_scrapped_as_first_ones_is_no_quote():
    with pytest.raises(bf.InputError, match="first_parts_scrapped: all parts of a bar are scrapped"):
        fill("quote", WHOLE | {"first_parts_scrapped": 84})
    with pytest.raises(bf.InputError, match="first_parts_scrapped: all parts of a bar are scrapped"):
        fill("job_plan", {k: v for k, v in PLAIN.items() if k not in ("margin", "quantity_1", "rounding", "operations")}
             | {"quantity": 100, "first_parts_scrapped": 90})


def test_a_machines_times_stand_in_for_blank_cells_and_the_jobs_own_come_first():
    lathe = Machine("L", grip_length=2, face_to_cutoff=0.2, machine_rate=90, rear_hold=5, longest_push=2, tool_change_time=1.2, rapid_time=4,
                    bar_feed_time=1, handover_time=3, machine_type="guide bush + second spindle")
    shop = Shop("in", Rates(), (lathe,), (), speeds_feeds.builtin())
    blank = {k: v for k, v in WHOLE.items() if k not in ("rear_hold", "longest_push", "tool_change_time", "rapid_time", "bar_feed_time", "handover_time",
                                                         "grip_length", "face_to_cutoff", "machine_rate")}
    a = fill("quote", blank | {"machine": "L"}, shop=shop).answers
    assert a["min_remnant"] == 5
    assert a["feed_each"] == pytest.approx(2 * 1 / 2)
    assert a["main_side"] == pytest.approx(a["cutting_time"] - a["second_cutting"] + 2 * 1.2 + 4 + 1)
    assert a["cycle"] == pytest.approx(max(a["main_side"], a["second_side"]) + 3 + 0.1)
    own = fill("quote", blank | {"machine": "L", "rapid_time": 0, "rear_hold": 0}, shop=shop).answers
    assert (own["min_remnant"], own["main_side"]) == (2.2, pytest.approx(a["main_side"] - 4))
    assert own["not_counted"] == ""  # what is typed as 0 is given


def test_every_operation_has_a_place_in_the_list():
    rows = [FACE, TURN, TURN | {"operation": "taper turning", "end_diameter": 0.5}, TURN | {"operation": "boring", "start_diameter": 0.4},
            FACE | {"operation": "grooving", "end_diameter": 0.7}, {"operation": "drilling", "start_diameter": 0.25, "length": 1, "surface_speed": 200, "feed_rate": 0.004},
            {"operation": "reaming", "start_diameter": 0.25, "length": 1, "surface_speed": 60, "feed_rate": 0.008}, TAP, MILL,
            {"operation": "knurling", "extra_time": 3}, {"operation": "cross drilling", "extra_time": 5}, FACE | {"operation": "cut-off"}]
    a = answers(operations=rows)
    for n, row in enumerate(rows, start=1):
        given = {name: value for name, value in row.items() if name != "spindle"}
        assert a[f"op_{n}_time"] == pytest.approx(bf.operation_time(**given)), row["operation"]
    assert len(rows) == quote.TEMPLATE.form.tables[0].rows
