"""Values from memory: the source is named, but it was not seen. A disagreement here is no proof against a function."""

import math

import pytest

import barfuncs as bf


def test_parts_to_make_through_three_steps():
    # Stevenson, Operations Management
    assert bf.parts_to_make(450, 1 - math.prod(1 - rate for rate in (0.10, 0.06, 0.06))) == 566


def test_a_turning_time():
    # Groover 22.6 (5th ed. 21.2): the question was seen, the answer was not
    assert bf.turning_time(46, 4.5, 450, 0.01, units="in") / 60 == pytest.approx(12.04, rel=0, abs=0.005)


# Groover's table of representative n and C, in m/min and ft/min, as it was remembered
@pytest.mark.parametrize(("tool", "work", "n", "metric", "inch"), [
    ("high-speed steel", "brass or aluminum", 0.125, 120, 350), ("high-speed steel", "mild steel", 0.125, 70, 200),
    ("carbide", "brass or aluminum", 0.25, 900, 2700), ("carbide", "mild steel", 0.25, 500, 1500),
])
def test_taylor_constants(tool, work, n, metric, inch):
    assert bf.taylor_exponent(tool, work) == n
    assert (bf.taylor_constant(tool, work, "mm"), bf.taylor_constant(tool, work, "in")) == (metric, inch)
