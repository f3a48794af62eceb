"""Parts to make and bars of random length with a confidence: against other ways to the same chances."""

import functools
import io
import itertools
import math
import os
import random
import shutil
import subprocess
from collections import Counter
from fractions import Fraction

import mpmath
import numpy as np
import openpyxl
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from libreoffice import convert
from scipy import stats

import barfuncs as bf
from barfuncs.catalogue.counting import count_down
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula
from barfuncs.functions import chances as chances_module
from barfuncs.functions.chances import PartsOfABar, Supply, chance_of_more_scrap, parts_of_a_bar
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

PROFILE = settings(deadline=None, max_examples=60, derandomize=True)
CONFIDENCES = (0.5, 0.75, 0.9, 0.95, 0.99, 0.999, 0.9999)


# --- parts to make -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("quantity", "scrap_rate", "confidence", "parts"), [
    # binomial distribution, worked out by hand from its definition (test_small_orders_by_the_definition does it for more)
    (1, 0.5, 0.5, 1), (1, 0.5, 0.75, 2), (1, 0.1, 0.99, 2), (1, 0.1, 0.9999, 4), (2, 0.5, 0.5, 3), (2, 0.5, 0.6, 4),
    # scipy.stats.binom
    (1000, 0.03, 0.95, 1040), (5000, 0.02, 0.95, 5119), (100, 0.03, 0.95, 106), (50, 0.05, 0.95, 56),
])
def test_parts_to_make_with_a_confidence(quantity, scrap_rate, confidence, parts):
    assert bf.parts_to_make(quantity, scrap_rate, confidence=confidence) == parts
    assert bf.parts_to_make(quantity, scrap_rate, 7, confidence) == parts + 7


@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_no_scrap_and_no_order_need_no_chance(confidence):
    assert bf.parts_to_make(1000, 0, 3, confidence) == 1003
    assert bf.parts_to_make(0, 0.5, 3, confidence) == 3


def test_left_out_it_is_the_average():
    assert bf.parts_to_make(1000, 0.03) == bf.parts_to_make(1000, 0.03, 0, None) == 1031
    # which falls short of the order in nearly half of all cases
    assert stats.binom.sf(999, 1031, 0.97) == pytest.approx(0.553, abs=0.001)


def enough_good(parts, quantity, scrap_rate):
    """Chance, as an exact fraction, that at least the quantity is good."""
    if parts < quantity:
        return Fraction(0)
    good = 1 - scrap_rate
    return sum((math.comb(parts, n) * good**n * scrap_rate ** (parts - n) for n in range(quantity, parts + 1)), Fraction(0))


@pytest.mark.parametrize("scrap_rate", ["0.001", "0.02", "0.05", "0.1", "0.25", "0.5", "0.8", "0.95"])
def test_small_orders_by_the_definition(scrap_rate):
    for quantity, confidence in itertools.product((1, 2, 3, 5, 9), ("0.5", "0.75", "0.9", "0.95", "0.99", "0.999", "0.9999")):
        found = bf.parts_to_make(quantity, float(scrap_rate), confidence=float(confidence))
        rate = Fraction(scrap_rate)
        if found < 120:
            assert enough_good(found, quantity, rate) >= Fraction(confidence), (quantity, confidence)
            assert enough_good(found - 1, quantity, rate) < Fraction(confidence), (quantity, confidence)


@pytest.mark.parametrize("quantity", [1, 2, 3, 10, 499, 999, 1000, 1001, 20_000, 1_000_000, 9_999_999, 10_000_000])
def test_a_chance_that_is_just_the_confidence_is_enough(quantity):
    # Of 2n - 1 parts, each good or bad alike, at least n are good with a chance of exactly one half.
    assert bf.parts_to_make(quantity, 0.5, confidence=0.5) == 2 * quantity - 1


def cases(count, seed, most=10_000_000, scrap=0.95):
    """Quantities, scrap rates and confidences: the limits, round figures, and anything between."""
    chooser = random.Random(seed)
    found = list(itertools.product((1, 2, 10, 999, 1000, 50_000, most), (1e-6, 0.001, 0.02, 0.1, 0.5, scrap), CONFIDENCES))
    while len(found) < count:
        quantity = max(1, round(math.exp(chooser.uniform(0, math.log(most)))))
        rate = chooser.choice((round(chooser.uniform(0, 0.1), 3), chooser.uniform(0, scrap), math.exp(chooser.uniform(-14, -0.7)),
                               min(scrap, chooser.uniform(0, 1000) / quantity)))
        found.append((quantity, rate, chooser.choice((*CONFIDENCES, round(chooser.uniform(0.5, 0.9999), 4)))))
    return found


def test_parts_against_the_binomial_distribution():
    tried = cases(10_000, 1)
    quantity, scrap_rate, confidence = (np.array(column) for column in zip(*tried, strict=True))
    parts = np.array([bf.parts_to_make(q, s, confidence=c) for q, s, c in tried])
    # 1e-11, since scipy takes the rounded 1 - scrap rate; the chances themselves are compared to 1e-12 below.
    assert np.all(stats.binom.sf(quantity - 1, parts, 1 - scrap_rate) >= confidence - 1e-11)
    one_less = np.where(parts > quantity, stats.binom.sf(quantity - 1, parts - 1, 1 - scrap_rate), 0)
    assert np.all(one_less < confidence + 1e-11)


def test_chances_of_scrap_to_the_twelfth_digit():
    """Against the sum of its terms in 40 digits."""
    worst = 0.0
    for quantity, rate, confidence in random.Random(2).sample(cases(3_000, 3), 60):
        scrapped = bf.parts_to_make(quantity, rate, confidence=confidence) - quantity
        if scrapped and scrapped < 2_000_000:
            with mpmath.workdps(40):
                parts, p = quantity + scrapped, mpmath.mpf(rate)
                term = mpmath.exp(mpmath.loggamma(parts + 1) - mpmath.loggamma(scrapped + 1) - mpmath.loggamma(quantity + 1)
                                  + scrapped * mpmath.log(p) + quantity * mpmath.log(1 - p))
                more = mpmath.mpf(0)
                for n in range(scrapped, parts):
                    term *= (parts - n) * p / (1 - p) / (n + 1)
                    more += term
                    if term < more * mpmath.mpf(10) ** -25:
                        break
                worst = max(worst, float(abs(more - chance_of_more_scrap(quantity, scrapped, rate)[0])))
    assert worst < 1e-12


@pytest.mark.parametrize("guess", [-40, -3, -1, 1, 2, 30])
@pytest.mark.parametrize(("quantity", "scrap_rate", "confidence"), [(1, 0.5, 0.9999), (3, 0.9, 0.99), (40, 0.03, 0.9), (5000, 0.02, 0.95)])
def test_the_first_guess_makes_no_difference(monkeypatch, quantity, scrap_rate, confidence, guess):
    parts = bf.parts_to_make(quantity, scrap_rate, confidence=confidence)
    monkeypatch.setattr(chances_module, "_likely_scrap", lambda *_: max(0, parts - quantity + guess))
    assert bf.parts_to_make(quantity, scrap_rate, confidence=confidence) == parts


@PROFILE
@given(st.integers(0, 200_000), st.floats(0, 0.9), st.integers(0, 50), st.floats(0.5, 0.99), st.integers(0, 500),
       st.floats(0, 0.05), st.floats(0, 0.0099))
def test_parts_to_make_never_fall_where_an_argument_rises(quantity, scrap_rate, setup, confidence, more, more_scrap, surer):
    parts = bf.parts_to_make(quantity, scrap_rate, setup, confidence)
    assert parts <= bf.parts_to_make(quantity + more, scrap_rate, setup, confidence)
    assert parts <= bf.parts_to_make(quantity, scrap_rate + more_scrap, setup, confidence)
    assert parts <= bf.parts_to_make(quantity, scrap_rate, setup, confidence + surer)
    assert parts + more == bf.parts_to_make(quantity, scrap_rate, setup + more, confidence)


# --- the cell formula ----------------------------------------------------------------------------------------------


def book_of(tried):
    """The cell formula for each case in column A, without values."""
    book = openpyxl.Workbook()
    sheet, entry = book.active, CATALOGUE["parts_to_make"]
    for row, values in enumerate(tried, start=1):
        for column, value in zip("BCDE", values, strict=True):
            sheet[f"{column}{row}"] = value
        sheet[f"A{row}"] = "=" + cell_formula(entry, {a.name: f"{c}{row}" for a, c in zip(entry.arguments, "BCDE", strict=True)})
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def in_cells():
    """The edges and some hundreds between: quantity, scrap rate, set-up pieces, confidence."""
    edges = itertools.product((0, 1, 2, 100, 1000, 1_000_000, 10_000_000), (0, 1e-6, 0.001, 0.05, 0.5, 0.95), (0,),
                              (None, 0.5, 0.95, 0.9999))
    return [*edges, *((q, s, 4, c) for q, s, c in cases(900, 5)), *((q, s, None, c) for q, s, c in cases(800, 6, 1_000_000, 0.5)),
            *close_calls()]


def close_calls():
    """A confidence just below and just above the chance of a number of parts, so that a chance off by 2e-8 tells, and where the
    formula takes its expansion, one off by 2e-9."""
    chooser, found = random.Random(7), []
    while len(found) < 800:
        quantity, scrap_rate = round(math.exp(chooser.uniform(0, math.log(1_000_000)))), round(chooser.uniform(0.001, 0.5), 4)
        if len(found) > 500:  # just above the border, where the expansion's last term counts most
            quantity = math.ceil(chooser.uniform(500, 550) / scrap_rate)
        parts = bf.parts_to_make(quantity, scrap_rate, confidence=chooser.uniform(0.5, 0.9999))
        chance = 1 - chance_of_more_scrap(quantity, parts - quantity, scrap_rate)[0]
        by = 2e-9 if quantity * scrap_rate >= 500 else 2e-8
        found += [(quantity, scrap_rate, None, c) for c in (chance - by, chance + by) if 0.5 <= c <= 0.9999]
    return found


def wrong_in(shown, tried):
    return [(case, value) for case, value in zip(tried, shown, strict=True) if value != bf.parts_to_make(*case)]


def column_a(path):
    sheet = openpyxl.load_workbook(path, data_only=True).worksheets[0]
    return [sheet.cell(row, 1).value for row in range(1, sheet.max_row + 1)]


@pytest.mark.slow
def test_the_cell_formula_gives_what_python_gives():
    tried = in_cells()
    book = Workbook(book_of(tried))
    book.calculate()
    assert wrong_in([book.value_at((0, row, 1)) for row in range(1, len(tried) + 1)], tried) == []


@pytest.mark.slow
@pytest.mark.libreoffice
def test_the_cell_formula_in_libreoffice(tmp_path):
    tried = in_cells()
    (tmp_path / "parts.xlsx").write_bytes(book_of(tried))
    (tmp_path / "out").mkdir()
    converted, = convert(tmp_path / "parts.xlsx", tmp_path / "out")
    assert wrong_in(column_a(converted), tried) == []


@pytest.mark.slow
@pytest.mark.gnumeric
@pytest.mark.filterwarnings("ignore:Workbook contains no default style")
def test_the_cell_formula_in_gnumeric(tmp_path):
    program = shutil.which("ssconvert")
    assert program, "Gnumeric (ssconvert) is not on the PATH; the tests marked gnumeric need it"
    tried = in_cells()
    (tmp_path / "parts.xlsx").write_bytes(book_of(tried))
    subprocess.run([program, "--recalc", tmp_path / "parts.xlsx", tmp_path / "out.xlsx"], capture_output=True, check=True,
                   timeout=120, env={**os.environ, "HOME": str(tmp_path), "LC_ALL": "C.UTF-8"})
    assert wrong_in(column_a(tmp_path / "out.xlsx"), tried) == []


def test_the_two_ways_of_the_cell_formula_are_both_tried():
    scrapped = [q * s for q, s, _, c in in_cells() if c]
    assert sum(0 < v < 500 for v in scrapped) > 300
    assert sum(v >= 500 for v in scrapped) > 300


@pytest.mark.parametrize("confidence", [0.499, 0.99991, 1, 95, "95%", True])
def test_a_confidence_out_of_its_limits_is_an_error_in_the_cell(confidence):
    book = Workbook(book_of([(1000, 0.03, 0, confidence)]))
    book.calculate()
    assert isinstance(book.value_at((0, 1, 1)), CellError)


# --- bars of random length -----------------------------------------------------------------------------------------


def parts_chances(shortest, longest, feed, lost):
    """Exact chance of each number of parts from one bar whose length is equally likely between the two."""
    shortest, longest, feed, lost = (Fraction(x) for x in (shortest, longest, feed, lost))
    if shortest == longest:
        return {max(0, math.floor((longest - lost) / feed)): Fraction(1)}
    chances = Counter()
    edges = {shortest, longest}
    first, last = math.floor((shortest - lost) / feed), math.floor((longest - lost) / feed)
    edges |= {lost + k * feed for k in range(first, last + 1) if shortest < lost + k * feed < longest}
    for start, end in itertools.pairwise(sorted(edges)):
        parts = max(0, math.floor(((start + end) / 2 - lost) / feed))
        chances[parts] += (end - start) / (longest - shortest)
    return dict(chances)


def bars_give(bars, chances):
    """Exact chance of each number of parts from so many bars: every combination where there are few, else bar after bar."""
    totals = Counter()
    if len(chances) ** bars <= 20_000:
        for combination in itertools.product(chances, repeat=bars):
            totals[sum(combination)] += math.prod(chances[k] for k in combination)
        return totals
    totals = {0: Fraction(1)}
    for _ in range(bars):
        after = Counter()
        for (total, p), (k, q) in itertools.product(totals.items(), chances.items()):
            after[total + k] += p * q
        totals = after
    return totals


def exact_chance(bars, chances, quantity, scrap_rate, setup=0):
    """Chance that so many bars fill the order: lengths and scrap together, every case of either."""
    enough = functools.cache(lambda parts: enough_good(parts, quantity, scrap_rate))
    return sum((p * enough(max(parts - setup, 0)) for parts, p in bars_give(bars, chances).items() if parts >= setup), Fraction(0))


def supply(quantity, shortest, longest, feed, remnant, trim=0.0, scrap_rate=0.0, setup=0):
    low, high = (max(0, count_down((bar - trim - remnant) / feed)) for bar in (shortest, longest))
    lost = Fraction(remnant) + Fraction(trim)
    return Supply(parts_of_a_bar(low, high, shortest, longest, feed, lost), quantity, scrap_rate, setup)


TINY = [
    # quantity, shortest, longest, bar per part, minimum remnant, end trim, scrap rate, set-up pieces
    (1, 10, 20, 8, 2, 0, 0, 0), (3, 10, 20, 4, 2, 0, 0, 0), (7, 20, 24, 5, 2, 1, 0, 2), (9, 20, 26, 5, 2, 1, 0, 0),
    (10, 11, 24, 5, 2, 1, 0.125, 0), (5, 0, 30, 9, 2, 1, 0, 0), (4, 12, 13, 9, 2, 0.5, 0, 3), (12, 10, 40, 11, 3, 0, 0.25, 1),
    (6, 2, 9, 5, 2, 0, 0, 0), (8, 30, 30.5, 9.25, 2, 0.25, 0.0625, 0), (4, 6, 13, 6, 1, 0, 0.5, 0), (2, 4, 44, 39, 1, 0, 0, 0),
    (3, 4, 19, 2, 1, 0, 0.875, 0), (1, 3, 60, 1.5, 2, 0, 0.9375, 1), (0, 4, 9, 2, 1, 0, 0.5, 5), (10, 0, 12, 3, 2, 0, 0.03125, 0),
]


@pytest.mark.slow
@pytest.mark.parametrize("confidence", [0.5, 0.75, 0.9, 0.95, 0.99, 0.999])
@pytest.mark.parametrize("case", TINY)
def test_bars_against_every_combination(case, confidence):
    quantity, shortest, longest, feed, remnant, trim, scrap, setup = case
    chances = parts_chances(shortest, longest, feed, Fraction(remnant) + Fraction(trim))
    assert sum(chances.values()) == 1
    bars = bf.bars_for_confidence(*case[:6], scrap_rate=scrap, confidence=confidence, **({"setup_parts": setup} if setup else {}))
    assert exact_chance(bars, chances, quantity, Fraction(scrap), setup) >= Fraction(str(confidence)) - Fraction(1, 10**11)
    assert exact_chance(bars - 1, chances, quantity, Fraction(scrap), setup) < Fraction(str(confidence))


@pytest.mark.slow
@pytest.mark.parametrize("case", TINY)
def test_chances_of_bars_to_the_twelfth_digit(case):
    quantity, shortest, longest, feed, remnant, trim, scrap, setup = case
    chances = parts_chances(shortest, longest, feed, Fraction(remnant) + Fraction(trim))
    if len(chances) > 1:
        order = supply(*case)
        for bars in range(1, 9):
            assert order.chance(bars) == pytest.approx(float(exact_chance(bars, chances, quantity, Fraction(scrap), setup)), abs=1e-12)


def test_a_chance_of_bars_that_is_just_the_confidence_is_enough():
    # Half of the bars give one part, the others none.
    assert [bf.bars_for_confidence(1, 0, 16, 8, 0, confidence=1 - 0.5**n) for n in range(1, 13)] == list(range(1, 13))
    for quantity in range(1, 60):
        assert bf.bars_for_confidence(quantity, 0, 16, 8, 0, confidence=0.5) == 2 * quantity - 1


@pytest.mark.parametrize(("quantity", "scrap_rate", "confidence"), [(1030, 0.03, 0.9999), (1030, 0.03, 0.95), (500, 0.5, 0.99)])
def test_scrap_is_a_chance_and_no_exact_share(quantity, scrap_rate, confidence):
    bars = bf.bars_for_confidence(quantity, 144, 144, 2.375, 2.75, 0, scrap_rate, confidence=confidence)
    assert stats.binom.sf(quantity - 1, bars * 59, 1 - scrap_rate) >= confidence
    assert stats.binom.sf(quantity - 1, (bars - 1) * 59, 1 - scrap_rate) < confidence


ORDERS = [
    # quantity, shortest, longest, bar per part, minimum remnant, end trim, scrap rate, confidence
    # with the scrap taken as exactly its rate, the first six come out wrong
    (1020, 130, 144, 2.375, 2.75, 0, 0.03, 0.95), (43, 36, 50, 11, 2, 0, 0.04, 0.8), (49, 36, 50, 11, 2, 0, 0.04, 0.8),
    (20, 5, 60, 9, 2, 0.5, 0.5, 0.95), (300, 130, 144, 12, 2, 0, 0.05, 0.95), (1030, 144, 144, 2.375, 2.75, 0, 0.03, 0.9999),
    (60, 20, 144, 7.3, 3, 0.1, 0.2, 0.99), (200, 96, 144, 3.1, 2.5, 0.25, 0.03, 0.9), (40, 120, 144, 30, 2, 0, 0, 0.95),
    (900, 100, 900, 1.25, 2, 0, 0.02, 0.75), (1500, 0, 1000, 0.5, 400, 0, 0.01, 0.9),
]


@pytest.mark.parametrize("case", ORDERS, ids=str)
def test_bars_against_100_000_orders(case):
    quantity, shortest, longest, feed, remnant, trim, scrap, confidence = case
    found = bf.bars_for_confidence(*case[:6], scrap_rate=scrap, confidence=confidence)
    chooser, orders = np.random.default_rng(20240607), 100_000

    def share(bars):
        made = np.zeros(orders, dtype=np.int64)
        for _ in range(bars):
            lengths = chooser.uniform(shortest, longest, orders)
            made += np.maximum(0, np.floor((lengths - trim - remnant) / feed + 1e-9)).astype(np.int64)
        return np.mean(chooser.binomial(made, 1 - scrap) >= quantity)

    def noise(chance):
        return 3 * math.sqrt(max(chance * (1 - chance), 1 / orders) / orders)

    assert share(found) >= confidence - noise(confidence)
    assert share(found - 1) <= confidence + noise(confidence)
    if shortest < longest:
        for bars in (found - 1, found):
            chance = supply(*case[:7]).chance(bars)
            assert share(bars) == pytest.approx(chance, abs=noise(chance))


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.99])
@pytest.mark.parametrize("longest", [10.5, 10.1, 10.01])
def test_one_part_from_rare_long_bars(longest, confidence):
    # A bar gives one part with chance p, else none, so n bars give none with chance (1 - p)^n.
    p = (longest - 10) / longest
    assert bf.bars_for_confidence(1, 0, longest, 8, 2, confidence=confidence) == math.ceil(
        math.log(1 - confidence) / math.log(1 - p))


def test_a_good_part_from_rare_long_bars():
    # Now the part must be good too: a bar gives a good one with chance p * 0.75.
    p = Fraction(1, 16)
    assert bf.bars_for_confidence(1, 0, 32, 28, 2, scrap_rate=0.25, confidence=0.95) == math.ceil(
        math.log(0.05) / math.log(1 - p * 3 / 4))


@PROFILE
@given(st.integers(1, 3_000), st.integers(20_000, 150_000), st.integers(300, 15_000), st.integers(0, 4_000), st.floats(0, 0.9),
       st.integers(0, 30), st.sampled_from([0.5, 0.9, 0.95, 0.9999]))
def test_bars_of_one_length_are_those_for_the_parts_to_make(quantity, bar, feed, remnant, scrap, setup, confidence):
    bar, feed, remnant = bar / 1000, feed / 1000, remnant / 1000
    per_bar = bf.parts_per_bar(bar, feed, 0, remnant)
    assume(per_bar > 0)
    bars = bf.bars_for_confidence(quantity, bar, bar, feed, remnant, scrap_rate=scrap, setup_parts=setup, confidence=confidence)
    assert bars == math.ceil(bf.parts_to_make(quantity, scrap, setup, confidence) / per_bar)
    # Nearly one length is no other case, though the chances come another way: each bar gives one part more or less.
    if per_bar > 1 and feed < 10:
        nearly = bf.bars_for_confidence(quantity, bar - 1e-7, bar, feed, remnant, scrap_rate=scrap, setup_parts=setup,
                                        confidence=confidence)
        assert bars <= nearly <= math.ceil(bf.parts_to_make(quantity, scrap, setup, confidence) / (per_bar - 1))


@PROFILE
@given(st.integers(0, 600), st.integers(20, 100), st.integers(0, 60), st.integers(2, 15), st.floats(0.5, 0.999), st.floats(0, 0.6))
def test_bars_lie_between_those_for_the_longest_and_the_shortest(quantity, shortest, span, feed, confidence, scrap):
    longest = shortest + span
    bars = bf.bars_for_confidence(quantity, shortest, longest, feed, 2, scrap_rate=scrap, confidence=confidence)
    needed = bf.parts_to_make(quantity, scrap, confidence=confidence)
    best, worst = bf.parts_per_bar(longest, feed, 0, 2), bf.parts_per_bar(shortest, feed, 0, 2)
    assert math.ceil(needed / best) <= bars <= math.ceil(needed / worst)


@PROFILE
@given(quantity=st.integers(0, 3_000), shortest=st.floats(20, 100), span=st.floats(0, 60), feed=st.floats(0.5, 15),
       remnant=st.floats(0, 4), trim=st.floats(0, 1), scrap=st.floats(0, 0.5), setup=st.integers(0, 20), sure=st.floats(0.5, 0.99),
       step=st.floats(0.001, 1))
def test_bars_never_fall_where_they_must_not(quantity, shortest, span, feed, remnant, trim, scrap, setup, sure, step):
    good = {"quantity": quantity, "shortest_bar": shortest, "longest_bar": shortest + span, "bar_per_part": feed, "min_remnant": remnant,
            "end_trim": trim, "scrap_rate": scrap, "setup_parts": setup, "confidence": sure}
    bars = bf.bars_for_confidence(**good)
    harder = {"quantity": quantity + math.ceil(step * 20), "shortest_bar": max(0, shortest - step), "bar_per_part": feed + step,
              "min_remnant": remnant + step, "end_trim": trim + step, "scrap_rate": scrap + step * 0.4,
              "setup_parts": setup + math.ceil(step * 10), "confidence": sure + step * 0.0099}
    for name, value in harder.items():
        assert bf.bars_for_confidence(**good | {name: value}) >= bars, name
    assert bf.bars_for_confidence(**good | {"longest_bar": shortest + span + step}) <= bars


WIDE = [
    # quantity, shortest, longest, bar per part, minimum remnant, end trim, scrap rate, set-up pieces: hundreds of counts from one bar
    (900, 100, 900, 1.25, 2, 0, 0.02, 0), (1500, 0, 1000, 0.5, 400, 0, 0.01, 3), (3000, 0, 1000, 0.5, 700, 0, 0, 0),
    (800, 50, 1000, 1, 3, 0, 0.001, 5), (40, 100, 600, 1, 3, 0, 0.9, 5), (0, 100, 600, 1, 3, 0, 0.9, 700), (2500, 100, 600, 1, 3, 0, 0.0, 0),
]


@pytest.mark.parametrize("case", WIDE, ids=str)
def test_the_ways_to_a_chance_agree(case):
    order = supply(*case)
    bars = order.likely_bars(1)
    for tried in {1, 2, 3, 4, bars - 1, bars, bars + 1, bars + 2} - {0}:
        assert order.chance(tried) == pytest.approx(order._chance_by_the_sum(tried), abs=1e-12), tried
    ways = {order._chance_of_a_few(3) if order.scrap_variance < 400 else None, order._chance_by_the_sum(3)} - {None}
    assert max(ways) - min(ways) < 1e-12


def power_in_digits(parts: PartsOfABar, bars: int):
    """Chances of the parts from so many bars beyond the fewest, in 50 digits: the recurrence for a power of a polynomial."""
    def exact(x):
        return mpmath.mpf(x.numerator) / x.denominator

    inner = [exact(parts.between / parts.inner)] * parts.inner if parts.inner else []
    of_one = [exact(parts.at_low), *inner, exact(parts.at_high)]
    found = [of_one[0] ** bars]
    for total in range(1, bars * (len(of_one) - 1) + 1):
        found.append(mpmath.fsum((k * (bars + 1) - total) * of_one[k] * found[total - k]
                                 for k in range(1, min(len(of_one) - 1, total) + 1)) / (total * of_one[0]))
    return found


@pytest.mark.slow
@pytest.mark.parametrize("case", [
    (90, 0, 60.335313887593635, 38.554460903217375, 18.10059416627809, 0, 0.95, 5), (37035, 120, 135, 7.3, 2.75, 0, 0.03, 5),
    (20_000, 20, 30, 11, 2, 0, 0.02, 0), (60_000, 99, 100.1, 1.1, 2, 0, 0, 0),
], ids=str)
def test_chances_of_many_bars_to_the_twelfth_digit(case):
    quantity, *_, scrap, setup = case
    order = supply(*case)
    for z in (-0.3, 1.6):
        bars = order.likely_bars(z)
        with mpmath.workdps(50):
            totals = power_in_digits(order.parts, bars)
            assert abs(mpmath.fsum(totals) - 1) < 1e-30
            at_least = [mpmath.mpf(0)]
            for chance in reversed(totals):
                at_least.append(at_least[-1] + chance)
            at_least.reverse()
            p, found, scrapped = mpmath.mpf(scrap), mpmath.mpf(0), 0
            just = (1 - p) ** quantity  # chance that the order is filled with just so many scrapped
            while scrapped * (1 - p) <= quantity * p or just > 1e-25:
                place = quantity + scrapped + setup - bars * order.parts.low
                found += just * at_least[min(max(place, 0), len(at_least) - 1)]
                scrapped += 1
                just *= (quantity + scrapped - 1) * p / scrapped
            assert order.chance(bars) == pytest.approx(float(found), abs=1e-12)


def test_the_work_does_not_grow_with_the_bars():
    rows = {}
    for quantity in (1_000, 20_000, 1_000_000, 10_000_000):
        order = supply(quantity, 120, 144, 2.375, 2.75, 0, 0.02, 0)
        order.chance(order.likely_bars(1.6))
        rows[quantity] = len(order.rows)
    assert max(rows.values()) < 40


@pytest.mark.parametrize(("shortest", "longest", "feed", "remnant"), [(5, 10, 8, 2), (0, 3, 2, 1), (1, 12, 10, 2)])
def test_bars_that_never_give_a_part_are_refused(shortest, longest, feed, remnant):
    # Only a bar of exactly the longest length would give a part, and the chance of that is nil.
    with pytest.raises(bf.InputError, match="longest_bar"):
        bf.bars_for_confidence(10, shortest, longest, feed, remnant)


def test_more_parts_a_bar_than_any_bar_gives_are_refused():
    assert bf.bars_for_confidence(10_000, 99, 100, 0.01, 0) == 2
    with pytest.raises(bf.InputError, match=r"bar_per_part: 0\.0099 given; a bar would give more than 10,000 parts"):
        bf.bars_for_confidence(10_000, 99, 100, 0.0099, 0)


def test_rounding_noise_does_not_refuse_the_longest_bar():
    # 3.3 - 1.1 - 1.1 is a little less than 1.1 in floating point, yet one part fits.
    assert bf.parts_per_bar(3.3, 1.1, 0, 1.1, 0, 1.1) == 1
    assert bf.bars_for_confidence(10, 3.3, 3.3, 1.1, 1.1, 1.1) == 10
