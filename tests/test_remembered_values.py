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
