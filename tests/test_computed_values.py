"""Values that were worked out for these tests, by another way than the functions': definitions, integration, facts of the trade.

No source prints them; those that one prints are in `test_published_values` and `test_machining`.
"""

import math

import pytest

import barfuncs as bf
from barfuncs.catalogue.units import LB_IN3_PER_G_CM3

FAST = 40_000  # a surface speed that leaves the top speed in force at every diameter


def test_hexagon_and_round_of_equal_size():
    # 2 sqrt(3) / pi
    assert bf.section_area("hexagon", 7) / bf.section_area("round", 7) == pytest.approx(1.1026577908435842, rel=1e-14)


def test_parts_to_make_by_definition():
    # good / (1 - scrap) is 105.26
    assert bf.parts_to_make(100, 0.05) == 106


def test_parts_to_make_are_not_quantity_plus_scrap():
    # A common error: 100 * (1 + 0.05) = 105.
    assert bf.parts_to_make(100, 0.05) != 105


def test_density_factor():
    # Exact: 25.4^3 / (453.59237 * 1000), worked out.
    assert pytest.approx(0.03612729200008776, rel=1e-15) == LB_IN3_PER_G_CM3
    assert bf.material_density("1 g/cm3", "in") == pytest.approx(0.03612729200008776, rel=1e-14)


@pytest.mark.parametrize(("name", "args", "units", "minutes", "tolerance"), [
    # Groover 5th ed. 21.7, El-Hofy 5.1, Groover's taper at constant surface speed: the questions were seen, not the answers
    ("facing_time", (35, 20, FAST, 0.015, 40), "in", 12.5, 0.05),
    ("facing_time", (450, 150, FAST, 0.3, 50), "mm", 10.0, 0.05),
    ("turning_time", (900, 225, 200, 0.25), "mm", 12.723450247038661, 1e-12),
])
def test_answers_to_textbook_questions(name, args, units, minutes, tolerance):
    assert getattr(bf, name)(*args, units=units) / 60 == pytest.approx(minutes, rel=0, abs=tolerance)


# Closed form against a 200,000-step integration, made for the project's list of check values; 8 digits are given.
@pytest.mark.parametrize(("radius", "surface_speed", "feed_rate", "top_speed", "minutes", "tolerance"), [
    (25, 200, 0.1, 3000, 0.11585865, 0.5e-8), (25, 200, 0.1, 500, 0.5, 0.5e-8), (25, 200, 0.1, 1e9, 0.09817477, 0.5e-8),
    (6, 60, 0.05, 4000, 0.043667422, 0.5e-9),
])
def test_facing_to_the_centre(radius, surface_speed, feed_rate, top_speed, minutes, tolerance):
    # `core`, since a top speed of 1e9 is above the limit.
    seconds = bf.facing_time.core(2 * radius, 0, surface_speed, feed_rate, top_speed, "mm")
    assert seconds / 60 == pytest.approx(minutes, rel=0, abs=tolerance)


def test_drill_point_allowance():
    # Groover's allowance 0.5 D tan(90 - angle/2): the formula was seen, the numbers were computed; tan 22.5 degrees is
    # sqrt(2) - 1, tan 45 degrees 1.
    for angle, allowance in ((118, 0.3004303095137802), (135, (math.sqrt(2) - 1) / 2), (90, 0.5)):
        point = bf.drilling_time(2, 1, 100, 0.01, angle) / bf.drilling_time(2, 1, 100, 0.01, 180) * 2 - 2
        assert point == pytest.approx(allowance, rel=0, abs=1e-12)
    assert bf.drilling_time(2, 1, 100, 0.01) == bf.drilling_time(2, 1, 100, 0.01, 118)


# --- facts of the trade (common practice, no source) ---------------------------------------------------------------


@pytest.mark.parametrize("face_to_cutoff", [0, 0.125, 0.25, 0.55])
def test_a_36_inch_bar_gives_40_parts(face_to_cutoff):
    # A 36 in bar fed 0.825 in a part, sticking out 1 3/8 in before the first part, at least 2 in left in the workholding.
    # First stick-out = face_to_cutoff + feed + end trim, so face_to_cutoff and end trim are 0.55 together.
    end_trim = bf.length_in("1 3/8", "in") - 0.825 - face_to_cutoff
    assert end_trim + face_to_cutoff == pytest.approx(0.55)
    end_trim = max(0.0, end_trim)
    part, cutoff = 0.7, 0.125
    assert bf.bar_per_part(part, cutoff) == pytest.approx(0.825)
    assert bf.first_stickout(part, cutoff, face_to_cutoff, end_trim=end_trim) == pytest.approx(1.375)
    assert bf.parts_per_bar(36, part, cutoff, bf.min_remnant(2, face_to_cutoff), end_trim=end_trim) == 40


@pytest.mark.parametrize(("bar", "feed", "parts"), [(12, 0.1, 120), (3.6, 0.05, 72), (12.6, 0.1, 126)])
def test_rounding_noise_costs_no_part(bar, feed, parts):
    assert bf.parts_per_bar(bar, feed, 0, 0) == parts
    assert bf.parts_per_bar(bar, feed * 0.9, feed * 0.1, 0) == parts
    assert bf.parts_left(bar, feed, 0) == parts
    assert bf.parts_per_bar(bar + 3, feed, 0, 2, end_trim=1) == parts
    # a thousandth short of the last part is one part less
    assert bf.parts_per_bar(bar - 0.001, feed, 0, 0) == parts - 1


@pytest.mark.parametrize(("bar", "feed", "parts"), [(12, 0.1, 120), (3.6, 0.05, 72), (12.6, 0.1, 126), (144, 2.4, 60),
                                                    (36.3, 1.1, 33)])
def test_a_length_through_mm_and_back_counts_the_same(bar, feed, parts):
    assert bf.parts_per_bar(bar * 25.4 / 25.4, feed * 25.4 / 25.4, 0, 0) == parts
    assert bf.parts_per_bar(bar * 25.4, feed * 25.4, 0, 0, units="mm") == parts
    assert bf.parts_per_bar(f"{bar * 25.4} mm", f"{feed * 25.4} mm", 0, 0, units="in") == parts
    assert bf.parts_per_bar(f"{bar} in", f"{feed} in", 0, 0, units="mm") == parts
    assert bf.parts_per_bar(bar, f"{feed * 25.4} mm", 0, 0, units="in") == parts


def test_tool_life_for_least_cost_and_for_most_output():
    # Groover, cost-optimum cutting speed: the inputs and the formula were seen, the numbers were worked out. C 80 m/min, n 0.13,
    # change 3 min, edge 3.33, machine and operator 0.667 a minute: (1/0.13 - 1) (3 + 3.33/0.667) = 6.6923 * 7.9925
    life = bf.life_for_least_cost(0.13, 3 * 60, 3.33, 0.667 * 60)
    assert life == pytest.approx(53.49, rel=0, abs=0.02)
    assert bf.speed_for_life(life, 80, 0.13, units="mm") == pytest.approx(47.69, rel=0, abs=0.005)
    life = bf.life_for_most_parts(0.13, 3 * 60)
    assert life == pytest.approx(20.08, rel=0, abs=0.005)
    assert bf.speed_for_life(life, 80, 0.13, units="mm") == pytest.approx(54.17, rel=0, abs=0.005)
