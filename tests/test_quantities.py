"""Order quantities as a text, a sequence or a number."""

import re

import pytest

import barfuncs as bf
from barfuncs.functions.cost import read_quantities


@pytest.mark.parametrize(("given", "read"), [
    ("100", [100]), ("100 250  1000", [100, 250, 1000]), ("100;250;1000", [100, 250, 1000]), ("100; 250", [100, 250]),
    ("100, 250, 500", [100, 250, 500]), ("100,250,500,1000", [100, 250, 500, 1000]), ("100,1000", [100, 1000]),
    ("50,100", None), ("1,000", [1000]), ("1,000 2,000", [1000, 2000]), ("1,500; 2,500", [1500, 2500]),
    ("10,000,000", [10_000_000]), (" 100 ", [100]), ("100\t250\n500", [100, 250, 500]), ("25,50", [25, 50]),
    ("200 pcs;500 pcs", [200, 500]), (100, [100]), ([100, "1,500"], [100, 1500]), ((10.0, 20), [10, 20]),
    ([[100], [200], [None]], [100, 200]),
])
def test_quantities_are_read(given, read):
    if read is None:
        with pytest.raises(bf.InputError, match="may be one quantity or 2; write 50100, or 50;100"):
            read_quantities(given)
    else:
        assert read_quantities(given) == read


@pytest.mark.parametrize(("given", "message"), [
    ("1,500", "price_breaks: quantities: '1,500' may be one quantity or 2; write 1500, or 1;500"),
    ("100,250,500", "'100,250,500' may be one quantity or 3; write 100250500, or 100;250;500"),
    ("100 1,500", "'1,500' may be one quantity or 2"),
    ("100,,250", "'100,,250' has nothing between two separators; write for example 100 250 500"),
    ("100;", "'100;' has nothing between two separators"),
    ("1\u00a0500", "can't be read as a count"),
    ("100 -5", "can't be read as a count"),
    ("100 0", "'0' given; allowed is a whole number 1 or more"),
    ("100 abc x", "quantities: 'abc' can't be read as a count: write a plain decimal number without a unit, for example "
                  "1200 or 1,200 pcs; quantities: 'x' can't"),
    ("", "give at least one quantity"), (" ", "give at least one quantity"), ([], "give at least one quantity"),
    (b"100", "allowed is a whole number 1 or more"), ({"a": 1}, "allowed is a whole number 1 or more"),
    (True, "True given; allowed is a whole number 1 or more"), (2.5, "2.5 given; allowed is a whole number"),
])
def test_quantities_that_are_refused(given, message):
    with pytest.raises(bf.InputError, match=re.escape(message)):
        read_quantities(given)


def test_one_text_means_the_same_by_name_and_by_order():
    rest = (59, 34.8, 45, 30, 1.5, 80)
    named = dict(zip(("parts_per_bar", "bar_cost", "cycle_time", "bar_change_time", "setup_hours", "machine_rate"), rest, strict=True))
    assert bf.price_breaks("100 1000", *rest) == bf.price_breaks(quantities="100 1000", **named) == bf.price_breaks([100, 1000], *rest)
    with pytest.raises(bf.InputError, match="'100,200' may be one quantity or 2"):
        bf.price_breaks(quantities="100,200", **named)
