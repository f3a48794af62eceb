"""One supplied bar sawn into blanks for one job: against every split there is, and against equal blanks; and which length to buy."""

import math
from fractions import Fraction
from functools import cache
from itertools import count

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.functions.sawing import MOST_EQUAL

EIGHTH = Fraction(1, 8)


@st.composite
def jobs(draw, most=160):
    """A bar, in eighths of an inch so that sums are exact; the shortest and the longest blank often lie close together."""
    longest = draw(st.integers(1, most // 2))
    part = draw(st.integers(1, 24))
    job = {"supplied_length": draw(st.integers(1, most)), "longest_blank": longest, "kerf": draw(st.integers(0, 3)),
           "bar_per_part": part, "min_remnant": draw(st.integers(0, 30)), "end_trim": draw(st.integers(0, 4)),
           "shortest_blank": draw(st.one_of(st.just(0), st.integers(0, longest), st.integers(max(0, longest - part), longest))),
           "trim": draw(st.one_of(st.just(0), st.integers(0, 4)))}
    job["trim"] = min(job["trim"], job["supplied_length"] // 2)
    return {name: float(value * EIGHTH) for name, value in job.items()}


def blank(parts, job):
    return max(job["shortest_blank"], parts * job["bar_per_part"] + job["min_remnant"] + job["end_trim"])


def every_split(job):
    """Most parts and the fewest blanks for them, over all blanks of whole parts, one blank after the other."""
    longest = Fraction(job["longest_blank"])
    usable = int((Fraction(job["supplied_length"]) - 2 * Fraction(job["trim"])) / EIGHTH)
    kerf = int(Fraction(job["kerf"]) / EIGHTH)
    sizes = []
    for parts in count(1):
        length = Fraction(blank(parts, job))
        if length > longest:
            break
        sizes.append((parts, int(length / EIGHTH)))

    @cache
    def best(room):
        """(parts, -blanks); `room` has a kerf more than the bar, and each blank takes one."""
        return max(((found[0] + parts, found[1] - 1) for parts, length in sizes if length + kerf <= room
                    for found in (best(room - length - kerf),)), default=(0, 0))

    parts, blanks = best(usable + kerf) if usable >= 0 else (0, 0)
    return parts, -blanks


def every_equal_split(job):
    """The same with blanks of one length, however many."""
    usable, kerf = Fraction(job["supplied_length"]) - 2 * Fraction(job["trim"]), Fraction(job["kerf"])
    found = (0, 0)
    for parts in count(1):
        length = Fraction(blank(parts, job))
        if length > Fraction(job["longest_blank"]):
            return found[0], -found[1]
        blanks = math.floor((usable + kerf) / (length + kerf))
        found = max(found, (parts * blanks, -blanks))


PADDED = {"supplied_length": 60.0, "longest_blank": 20.0, "kerf": 0.0, "bar_per_part": 7.0, "min_remnant": 3.0, "end_trim": 0.0,
          "shortest_blank": 15.0, "trim": 0.0}
"""A blank of 10 with one part is made up to 15: four of them hold 4 parts, three of 17 hold 6."""


@settings(max_examples=300, deadline=None)
@given(jobs(most=80))
@example(PADDED)
def test_no_split_gives_more_parts_or_as_many_in_fewer_blanks(job):
    agrees_with_every_split(job)


@pytest.mark.slow
@settings(max_examples=4000, deadline=None)
@given(jobs())
def test_no_split_of_thousands_of_bars_gives_more(job):
    agrees_with_every_split(job)


def agrees_with_every_split(job):
    parts, blanks = every_split(job)
    assert bf.parts_per_supplied_bar(**job) == parts
    if not parts:
        with pytest.raises(bf.InputError, match=r"^blank_parts: supplied_length: no whole part comes from this bar in blanks that"):
            bf.blank_parts(**job)
        return
    each = bf.blank_parts(**job)
    assert (sum(each), len(each)) == (parts, blanks)


@pytest.mark.slow
@settings(max_examples=1500, deadline=None)
@given(jobs(most=80))
def test_equal_blanks_are_the_best_equal_ones(job):
    parts, blanks = every_equal_split(job)
    found = bf.parts_per_supplied_bar(**job, equal_blanks="yes")
    assert found <= parts
    if blanks > MOST_EQUAL:
        return
    assert found == parts
    if parts:
        each = bf.blank_parts(**job, equal_blanks="yes")
        assert (sum(each), len(each), len(set(each))) == (parts, blanks, 1)


@pytest.mark.slow
@settings(max_examples=1500, deadline=None)
@given(jobs(), st.sampled_from(("no", "yes")))
def test_the_blanks_fit_the_bar_and_the_feeder(job, equal):
    if not (parts := bf.parts_per_supplied_bar(**job, equal_blanks=equal)):
        return
    each, lengths = bf.blank_parts(**job, equal_blanks=equal), bf.blank_lengths(**job, equal_blanks=equal)
    assert sum(each) == parts
    assert max(each) - min(each) <= (equal == "no")
    assert each == sorted(each, reverse=True)
    assert min(each) >= 1
    for n, length in zip(each, lengths, strict=True):
        assert job["shortest_blank"] <= length <= job["longest_blank"]
        assert bf.parts_per_bar(length, job["bar_per_part"], 0, job["min_remnant"], 0, job["end_trim"]) == n or length == job["shortest_blank"]
    used = sum(lengths) + job["kerf"] * (len(lengths) - 1) + 2 * job["trim"]
    assert used <= job["supplied_length"]


@settings(max_examples=1500, deadline=None)
@given(jobs(), st.integers(1, 80))
def test_unequal_blanks_are_never_worse_than_equal_ones(job, eighths):
    length = eighths / 8
    unequal, equal = bf.parts_per_supplied_bar(**job), bf.parts_per_supplied_bar(**job, equal_blanks="yes")
    assert unequal >= equal
    usable = job["supplied_length"] - 2 * job["trim"]
    if job["shortest_blank"] <= length <= job["longest_blank"] and usable > 0:
        blanks = bf.blanks_per_supplied_bar(usable, length, job["kerf"])
        by_hand = blanks * bf.parts_per_bar(length, job["bar_per_part"], 0, job["min_remnant"], 0, job["end_trim"])
        assert unequal >= by_hand
        if blanks <= MOST_EQUAL or length == job["longest_blank"]:
            assert equal >= by_hand


@pytest.mark.slow
@settings(max_examples=800, deadline=None)
@given(jobs(), st.sampled_from(("longest_blank", "supplied_length", "kerf", "bar_per_part", "min_remnant", "end_trim", "shortest_blank", "trim")))
def test_more_room_never_gives_fewer_parts(job, name):
    more = job | {name: job[name] + 0.375}
    if name == "shortest_blank":
        more[name] = min(more[name], more["longest_blank"])
    if name == "trim":
        more[name] = min(more[name], more["supplied_length"] / 2)
    before, after = bf.parts_per_supplied_bar(**job), bf.parts_per_supplied_bar(**more)
    assert after >= before if name in ("longest_blank", "supplied_length") else after <= before


def test_a_bar_worked_out_by_hand():
    """12 ft, feeder up to 47.5 in: 18 parts are 45.75 in; three such blanks strand 6.5 in. Four blanks: 144 - 3 * 0.125 - 4 * 3 =
    131.625 in, 55 parts of 2.375 in. Equal blanks: 35.90625 in each, 13 parts; so three of 18."""
    bar = (144, 47.5, 0.125, 2.375, 3)
    assert bf.parts_per_supplied_bar(*bar) == 55
    assert bf.parts_per_supplied_bar(*bar, equal_blanks="yes") == 3 * bf.parts_per_bar(47.5, 2.25, 0.125, 3) == 54
    assert bf.blank_parts(*bar) == [14, 14, 14, 13]
    assert bf.blank_lengths(*bar) == [36.25, 36.25, 36.25, 33.875]
    assert bf.blank_lengths(*bar, equal_blanks="yes") == [45.75] * 3
    assert bf.parts_per_supplied_bar("12 ft", "47.5 in", "1/8 in", "2-3/8", 3, units="in") == 55
    # Where both ends are trimmed by 1 in: 142 - 2 * 0.125 - 3 * 3 = 132.75 in would be 55 parts, but no blank takes more than 18.
    assert bf.parts_per_supplied_bar(*bar, trim=1) == 54


def test_blanks_are_made_up_to_the_shortest_that_the_feeder_takes():
    assert bf.parts_per_supplied_bar(**PADDED) == 6
    assert bf.blank_lengths(**(PADDED | {"longest_blank": 16.0, "supplied_length": 45.0})) == [15, 15, 15]
    assert bf.blank_parts(**(PADDED | {"longest_blank": 16.0, "supplied_length": 45.0})) == [1, 1, 1]


def test_lengths_come_as_given():
    import pint

    inch = pint.UnitRegistry().inch
    shown = bf.blank_lengths(12 * 12 * inch, 47.5, 0.125, 2.375, 3, units="in")
    assert [round(float(x), 3) for x in shown.magnitude] == [36.25, 36.25, 36.25, 33.875]
    assert bf.blank_lengths("12 ft", "47.5 in", "0.125 in", "2.375 in", "3 in", units="mm")[0] == pytest.approx(36.25 * 25.4)


@pytest.mark.parametrize(("changes", "message"), [
    ({"longest_blank": 0}, r"longest_blank: 0 given; allowed is a number more than 0"),
    ({"shortest_blank": 48}, r"shortest_blank: the shortest blank must not be longer than the longest"),
    ({"trim": 73}, r"trim: the trims of both ends must not be longer than the bar"),
    ({"kerf": -0.1}, r"kerf: -0\.1 given; allowed is a number 0 or more"),
    ({"equal_blanks": "maybe"}, r"equal_blanks: 'maybe' given; allowed is one of no, yes"),
    ({"bar_per_part": None}, r"bar_per_part: is missing"),
    ({"supplied_length": "long", "kerf": "thin"}, r"supplied_length: .*; kerf: "),
])
@pytest.mark.parametrize("name", ["parts_per_supplied_bar", "blank_parts", "blank_lengths"])
def test_bad_input_is_refused_by_name(name, changes, message):
    good = {"supplied_length": 144, "longest_blank": 47.5, "kerf": 0.125, "bar_per_part": 2.375, "min_remnant": 3}
    with pytest.raises(bf.InputError, match=f"^{name}: {message}"):
        getattr(bf, name)(**(good | changes))


def test_a_column_is_not_endless():
    with pytest.raises(bf.InputError, match=r"^blank_parts: longest_blank: 100,000 blanks come from one bar; a column has at most 1,000$"):
        bf.blank_parts(100_000, 1, 0, 1, 0)
    assert bf.parts_per_supplied_bar(100_000, 1, 0, 1, 0) == bf.parts_per_supplied_bar(100_000, 1, 0, 1, 0, equal_blanks="yes") == 100_000


# --- which length to buy ---------------------------------------------------------------------------------------------

JOB = {"quantity": 160, "price_per": "lb", "longest_blank": 47.5, "kerf": 0.125, "bar_per_part": 2.375, "min_remnant": 3,
       "weight_per_length": 4}
HEAD = ("length", "parts", "blanks", "bars", "cuts", "left", "last_left", "cost", "each", "mark", "note")


def choice(offers, **changes):
    return [dict(zip(HEAD, row, strict=True)) for row in bf.stock_choice(offers, **(JOB | changes))]


def test_a_choice_worked_out_by_hand():
    short, long = choice("144: 2.40; 240: 2.45")
    # 144 in give 55 parts in 4 blanks, 142.625 in with 3 kerfs; behind the last one 1.0 in less a kerf is left.
    assert (short["parts"], short["blanks"], short["bars"], short["left"]) == (55, 4, 3, 0.875)
    # The last of three bars has to give 50 parts: three blanks of 17, 17 and 16, 3 cuts.
    assert short["cuts"] == 4 + 4 + 3
    assert short["last_left"] == pytest.approx(144 - (2 * 43.375 + 41) - 3 * 0.125)
    assert short["cost"] == pytest.approx(3 * 48 * 2.40)
    assert short["each"] == pytest.approx(3 * 48 * 2.40 / 160)
    assert (long["bars"], long["cost"]) == (2, pytest.approx(2 * 80 * 2.45))
    assert (short["mark"], long["mark"]) == ("cheapest", "")


def test_more_is_bought_where_it_costs_less_and_the_note_says_so():
    row, = choice("144: 2.40; 144 from 180: 1.75")
    assert (row["bars"], row["note"]) == (4, "buy 1 bar (48 lb) more than needed and pay 9.60 less")
    assert row["cost"] == pytest.approx(4 * 48 * 1.75)
    row, = choice("144: 2.40; 144 from 180: 1.81")  # 347.52 is more than 345.60
    assert (row["bars"], row["note"]) == (3, "")
    row, = choice("144: 60; 144 from 5: 30", price_per="bar")
    assert (row["bars"], row["note"]) == (5, "buy 2 bars more than needed and pay 30.00 less")
    row, = choice("144 from 5: 30", price_per="bar")
    assert (row["bars"], row["note"]) == (5, "buy 2 bars more than needed: sold from 5 bars on")
    row, = choice("144 from 200: 2.10")
    assert (row["bars"], row["note"]) == (5, "buy 2 bars (96 lb) more than needed: sold from 200 lb on")
    row, = choice("144: 210; 144 from 200: 180", price_per="100 lb", quantity=210)  # counted in lb, priced per 100
    assert (row["bars"], row["cost"]) == (4, pytest.approx(1.92 * 210))


def test_published_brackets():
    """Prices of a worked example at nursingexpertshelp.com: 53 from 1 on, 51.5 from 50, 49.5 from 100, 48 from 200, 47 from 500."""
    offers = [[144, price, start] for start, price in ((1, 53), (50, 51.5), (100, 49.5), (200, 48), (500, 47))]
    row, = choice(offers, price_per="bar", quantity=55 * 200)
    assert (row["bars"], row["cost"], row["note"]) == (200, 200 * 48, "")
    row, = choice(offers, price_per="bar", quantity=55 * 198)
    assert (row["bars"], row["cost"], row["note"]) == (200, 200 * 48, "buy 2 bars more than needed and pay 201.00 less")
    row, = choice(offers, price_per="bar", quantity=55 * 193)  # 9,553.50 is less than 9,600
    assert (row["bars"], row["note"]) == (193, "")


def test_the_minimum_of_the_line():
    row, = choice("144: 60", price_per="bar", minimum_charge=250, certificate_fee=25)
    assert (row["bars"], row["cost"], row["note"]) == (3, 275, "the minimum of 250.00 is charged: 1 bar more cost no more")
    row, = choice("144: 60", price_per="bar", minimum_charge=200)
    assert (row["cost"], row["note"]) == (200, "the minimum of 200.00 is charged")
    row, = choice("144: 60", price_per="bar", minimum_charge=180)
    assert row["cost"] == 180


def test_a_bar_that_the_feeder_takes_whole_is_not_sawn():
    row, = choice("47.5: 20", price_per="bar")
    assert (row["parts"], row["blanks"], row["cuts"], row["left"]) == (18, 1, 0, 0)
    row, = choice("47.5: 20", price_per="bar", trim=0.25)
    assert (row["parts"], row["cuts"]) == (18, 2 * row["bars"])


@pytest.mark.slow
@settings(max_examples=600, deadline=None)
@given(jobs(most=400), st.integers(1, 500), st.sampled_from(("no", "yes")), st.lists(st.tuples(st.integers(0, 30), st.integers(1, 90)),
       min_size=1, max_size=4, unique_by=lambda p: p[0]), st.integers(0, 400), st.integers(0, 9))
def test_the_cost_is_the_least_of_every_number_of_bars(job, quantity, equal, prices, minimum, cut_charge):
    length = job.pop("supplied_length")
    if not (parts := bf.parts_per_supplied_bar(length, **job, equal_blanks=equal)):
        with pytest.raises(bf.InputError, match=r"^stock_choice: offers: row 1, length: no whole part comes from"):
            bf.stock_choice([[length, 1]], quantity, "bar", **job)
        return
    offers = [[length, price, start] for start, price in prices]
    row = dict(zip(HEAD, bf.stock_choice(offers, quantity, "bar", **job, equal_blanks=equal, minimum_charge=minimum, cut_charge=cut_charge)[0],
                   strict=True))
    needed = math.ceil(quantity / parts)

    def cost(bars):
        holds = [price for start, price in sorted(prices) if start <= bars]
        return max(minimum, bars * holds[-1] + row["cuts"] * cut_charge) if holds else math.inf

    assert row["cost"] == pytest.approx(min(map(cost, range(needed, needed + 61))))
    assert row["cost"] == pytest.approx(cost(row["bars"]))
    assert row["each"] == row["cost"] / quantity
    assert ("more than needed" in row["note"]) == (row["bars"] > needed)
    assert ("is charged" in row["note"]) == (minimum > 0 and row["cost"] <= minimum)


@pytest.mark.slow
@settings(max_examples=600, deadline=None)
@given(jobs(most=400), st.integers(1, 300))
def test_the_length_of_a_bar_closes(job, quantity):
    """Blanks, kerfs, trim and what is left make up the bar; cuts are those of equal blanks where all are equal."""
    length = job.pop("supplied_length")
    if not bf.parts_per_supplied_bar(length, **job):
        return
    each = bf.blank_lengths(length, **job)
    row = dict(zip(HEAD, bf.stock_choice([[length, 1]], quantity * len(each) * 50, "bar", **job)[0], strict=True))
    if len(each) == 1 and length - 2 * job["trim"] <= job["longest_blank"]:
        assert row["left"] == 0
        return
    assert row["left"] == pytest.approx(max(0, length - 2 * job["trim"] - sum(each) - job["kerf"] * len(each)), abs=1e-9)
    if len(set(each)) == 1 and not job["trim"]:
        full, last = divmod(quantity * len(each) * 50, row["parts"])
        if not last:
            assert row["cuts"] == full * bf.cuts_per_supplied_bar(length, each[0], job["kerf"])


def test_offers_are_read_as_rows_text_or_mappings():
    text = bf.stock_choice("12 ft: $2.40; 12 ft from 180: 1.75; 240: 2.45", **JOB)
    rows = [["12 ft", 2.40, None], [144, 1.75, 180], [240, "2.45", None]]
    assert text == bf.stock_choice(rows, **JOB) == bf.stock_choice([["length", "price", "from quantity"], *rows], **JOB)
    assert text == bf.stock_choice([{"length": 144, "price": 2.4}, {"length": 144, "price": 1.75, "from_quantity": 180},
                                    {"length": 240, "price": 2.45}], **JOB)
    metric = bf.stock_choice("3657.6: 2.40", **(JOB | {"longest_blank": 47.5 * 25.4, "kerf": 0.125 * 25.4, "bar_per_part": 2.375 * 25.4,
                                                        "min_remnant": 3 * 25.4, "weight_per_length": 5.95248}), units="mm")
    assert metric[0][7] == pytest.approx(text[0][7] * 345.6 / 336, rel=1e-4)


@pytest.mark.parametrize(("offers", "changes", "message"), [
    ("12 ft", {}, r"offers: row 1: '12 ft' can't be read as an offer; write for example 12 ft from 200: 2\.10"),
    ("144: 2.4; 144: 2.5", {}, r"offers: row 2: two prices for 144 from 0 on"),
    ([[144, 2.4], [2, 2.4], [1, 2.4]], {}, r"offers: row 2, length: no whole part comes from 2 in blanks that the feeder takes; offers: row 3"),
    ([[240, 2.4], [144, 2.4]], {"trim": 100}, r"offers: row 2, length: no whole part comes from 144 in blanks that the feeder takes$"),
    ([[144, None]], {}, r"offers: row 1, price: is missing"),
    ([[144, 2.4, -1]], {}, r"offers: row 1, from_quantity: -1 given"),
    ("144 from 1e8: 2.4", {"price_per": "bar"}, r"offers: row 1: no price holds for up to 10,000,000 bars of 144"),
    ("144 from 1e8: 2.4", {"weight_per_length": 5e-324}, r"offers: row 1: no price holds for up to 10,000,000 bars of 144"),
    ("144: 2.4", {"weight_per_length": 0}, r"weight_per_length: a price by weight needs the weight of the bar per length"),
    ("144: 2.4", {"price_per": "blank"}, r"price_per: bars are bought as supplied: give their price per bar"),
    ("144: 2.4", {"shortest_blank": 50}, r"shortest_blank: the shortest blank must not be longer than the longest"),
    ("144: 2.4", {"quantity": 0}, r"quantity: 0 given"),
    ("144: 2.4", {"price_per": "ft", "weight_per_length": None, "material_surcharge": 0.1}, r"material_surcharge: a surcharge by weight needs"),
])
def test_a_choice_refuses_by_name(offers, changes, message):
    with pytest.raises(bf.InputError, match=f"^stock_choice: {message}"):
        bf.stock_choice(offers, **(JOB | changes))
