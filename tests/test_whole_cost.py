"""Processes, inspection, packing, the machine-hour rate and lathes that one person minds: against published figures, scipy, and
each step written out."""

import itertools
import math
import random
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats
from test_money import in_cells

import barfuncs as bf
from barfuncs.catalogue.kinds import INSPECTION_LEVELS, PROCESS_BASES
from barfuncs.functions import chances
from barfuncs.tables import sampling

# --- sampling: published ---------------------------------------------------------------------------------------------

# nibs.org, table 1-A: general level II, single normal sampling, after tables I and II-A of MIL-STD-105E, which ISO 2859-1 took over.
# Read in an excerpt. Smallest and largest lot, code letter, sample, and for AQL 0.65 to 6.5 the rejection number, v or ^ for an arrow.
LEVEL_II = """
2 8 A 2 v v v v v 1 | 9 15 B 3 v v v v 1 ^ | 16 25 C 5 v v v 1 ^ v | 26 50 D 8 v v 1 ^ v 2 | 51 90 E 13 v 1 ^ v 2 3
91 150 F 20 1 ^ v 2 3 4 | 151 280 G 32 ^ v 2 3 4 6 | 281 500 H 50 v 2 3 4 6 8 | 501 1200 J 80 2 3 4 6 8 11
1201 3200 K 125 3 4 6 8 11 15 | 3201 10000 L 200 4 6 8 11 15 22 | 10001 35000 M 315 6 8 11 15 22 ^
35001 150000 N 500 8 11 15 22 ^ ^ | 150001 500000 P 800 11 15 22 ^ ^ ^ | 500001 10000000 Q 1250 15 22 ^ ^ ^ ^
"""
# Table I of MIL-STD-105E as reproduced at pdfcoffee.com (aql-sampling-chart), read in an excerpt: smallest lot, S-1 to S-4, I to III.
CODES = """
2 AAAAAAB | 9 AAAAABC | 16 AABBBCD | 26 ABBCCDE | 51 BBCCCEF | 91 BBCDDFG | 151 BCDEEGH | 281 BCDEFHJ | 501 CCEFGJK | 1201 CDEGHKL
3201 CDFGJLM | 10001 CDFHKMN | 35001 DEGJLNP | 150001 DEGJMPQ | 500001 DEHKNQR
"""
CODE_ROWS = [row.split() for line in CODES.strip().splitlines() for row in line.split("|")]
ROWS = [row.split() for line in LEVEL_II.strip().splitlines() for row in line.split("|")]
AQLS = (0.65, 1.0, 1.5, 2.5, 4.0, 6.5)


@pytest.mark.parametrize("row", ROWS, ids=[row[2] for row in ROWS])
def test_published_table_of_level_ii(row):
    first, last, code, sample, *cells = row
    for lot, (aql, cell) in itertools.product((int(first), int(last)), zip(AQLS, cells, strict=True)):
        assert bf.sample_code(lot) == code
        if cell.isdigit():
            assert bf.sample_size(lot, aql) == min(int(sample), lot)
            assert bf.rejection_number(lot, aql) == bf.acceptance_number(lot, aql) + 1 == int(cell)


def test_published_code_letters_of_every_level_in_python_and_in_a_cell():
    levels = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
    ends = [int(row[0]) for row in CODE_ROWS[1:]] + [10_000_001]
    cases = [(lot, level, letter) for (first, letters), after in zip(CODE_ROWS, ends, strict=True)
             for level, letter in zip(levels, letters, strict=True) for lot in (int(first), after - 1)]
    assert [bf.sample_code(lot, level) for lot, level, _ in cases] == [letter for *_, letter in cases]
    assert in_cells("sample_code", [{"lot_size": lot, "inspection_level": level} for lot, level, _ in cases]) == [letter for *_, letter in cases]


@pytest.mark.parametrize("level", INSPECTION_LEVELS)
def test_the_plans_of_a_cell_are_those_of_the_table(level):
    cases = [(int(row[0]) + more, aql) for row in CODE_ROWS for more in (0, 3) for aql in (0.065, 0.1, 0.15, 0.25, 0.4, *AQLS)]
    rows = [{"lot_size": lot, "aql": aql, "inspection_level": level} for lot, aql in cases]
    for name in ("sample_size", "acceptance_number"):
        assert in_cells(name, rows) == [getattr(bf, name)(**row) for row in rows]


@pytest.mark.parametrize(("row", "aql", "plan"), [
    ("A", 0.65, (20, 0)), ("A", 4.0, (3, 0)), ("C", 4.0, (3, 0)), ("C", 6.5, (8, 1)), ("G", 0.65, (20, 0)), ("G", 1.0, (50, 1)),
    ("F", 1.0, (13, 0)), ("M", 6.5, (200, 21)), ("Q", 6.5, (200, 21)), ("P", 2.5, (500, 21)),
])
def test_an_arrow_leads_to_the_next_plan_with_its_own_sample(row, aql, plan):
    # the same table; the arrows followed by hand
    lot = next(int(r[1]) for r in ROWS if r[2] == row)
    assert (bf.sample_size(lot, aql), bf.acceptance_number(lot, aql)) == (min(plan[0], lot), plan[1])


def test_every_row_of_the_tables_names_its_source():
    assert {p.code for p in sampling.plans()} == set("ABCDEFGHJKLMNPQR")
    assert all("ISO 2859-1" in source for source in (*(p.source for p in sampling.plans()), *(row[2] for row in sampling.code_rows())))
    # What was not seen says so: AQLs below 0.65, the last row.
    assert all("from memory" in p.source for p in sampling.plans())
    assert not any("from memory" in row[2] for row in sampling.code_rows())


def test_tables_are_whole_and_grow():
    lots = [row[0] for row in sampling.code_rows()]
    assert lots == sorted(set(lots))
    letters = [p.code for p in sampling.plans()]
    for level in INSPECTION_LEVELS:
        steps = [letters.index(row[1][level]) for row in sampling.code_rows()]
        assert steps == sorted(steps)
    for lot, by_level, _ in sampling.code_rows():
        s1, s2, s3, s4, one, two, three = (letters.index(by_level[level]) for level in ("S-1", "S-2", "S-3", "S-4", "I", "II", "III"))
        assert s1 <= s2 <= s3 <= s4 <= one <= two < three, lot
    for column in range(len(sampling.AQLS)):
        numbers = [int(p.cells[column]) for p in sampling.plans() if p.cells[column].isdigit()]
        assert numbers == sorted(set(numbers))


def test_an_aql_between_two_of_the_standard_is_the_stricter_one():
    assert bf.sample_size(1000, 1.2) == bf.sample_size(1000, 1.0) == 80
    assert bf.acceptance_number(1000, 1.49) == bf.acceptance_number(1000, 1.0) == 2
    assert bf.acceptance_number(1000, 1.5) == 3


# --- sampling: chances against scipy ---------------------------------------------------------------------------------


def test_acceptance_chance_of_every_plan_against_scipy():
    for plan, (column, aql) in itertools.product(sampling.plans(), enumerate(sampling.AQLS)):
        if not plan.cells[column].isdigit():
            continue
        for times in (0.2, 1, 3, 8):
            share = float(aql) / 100 * times
            want = stats.binom.cdf(int(plan.cells[column]), plan.sample_size, share)
            assert bf.acceptance_chance(plan.sample_size, int(plan.cells[column]), share) == pytest.approx(want, rel=1e-11)


def test_acceptance_chance_of_random_plans_against_scipy():
    rng = random.Random(2859)
    for _ in range(400):
        n = round(10 ** rng.uniform(0, 4))
        most, share = rng.randint(0, n), rng.choice((rng.random(), 10 ** rng.uniform(-5, 0)))
        assert bf.acceptance_chance(n, most, share) == pytest.approx(stats.binom.cdf(most, n, share), rel=1e-10, abs=1e-14)
        lot = n + round(10 ** rng.uniform(0, 4))
        bad = math.floor(share * lot + 0.5)
        assert bf.acceptance_chance(n, most, share, lot) == pytest.approx(stats.hypergeom.cdf(most, lot, bad, n), rel=1e-9, abs=1e-14)


def test_chances_of_all_small_lots_are_exact():
    for lot in range(1, 9):
        for sample, bad in itertools.product(range(1, lot + 1), range(lot + 1)):
            drawn = [sum(picked) for picked in itertools.combinations([1] * bad + [0] * (lot - bad), sample)]
            for most in range(sample + 1):
                want = np.mean([found <= most for found in drawn])
                assert chances.hypergeometric_up_to(most, sample, bad, lot) == pytest.approx(want, abs=1e-13)


def test_a_lot_without_bad_parts_is_always_accepted_and_one_of_bad_parts_never():
    assert bf.acceptance_chance(80, 2, 0) == bf.acceptance_chance(80, 2, 0, 1000) == 1
    assert bf.acceptance_chance(80, 2, 1) == bf.acceptance_chance(80, 2, 1, 1000) == 0
    assert bf.acceptance_chance(2, 2, 1) == bf.acceptance_chance(2, 5, 1, 10) == 1


# --- inspection ----------------------------------------------------------------------------------------------------


def test_parts_inspected_counted_one_by_one():
    for parts, first, every, sample in itertools.product((0, 1, 7, 50, 151), (0, 1, 3), (0, 1, 7, 50), (0, 5, 200)):
        looked_at = sum(1 for n in range(1, parts + 1) if n <= first or (every and (n - first) % every == 0))
        assert bf.parts_inspected(parts, first, every, sample) == min(parts, looked_at + sample)


def test_inspection_by_hand():
    # 1,000 good parts, 2 at the start, 1 in 50, and a sample for AQL 1.0 (80 of them), 1.5 min each at 60 an hour
    parts = 2 + (1000 - 2) // 50 + 80
    assert bf.parts_inspected(1000, 2, 50, bf.sample_size(1000, 1.0)) == parts == 101
    assert bf.inspection_cost(parts, "1.5 min", 60) == pytest.approx(101 * 1.5)


# --- outside work, packing, prices -----------------------------------------------------------------------------------


def test_every_basis_by_hand():
    # 1,000 parts of 0.16 lb with 7.5 in2 each, 20 s each: 160 lb = 72.5747792 kg; 7,500 in2 = 52.0833 ft2 = 4.83870 m2; 5.5556 h
    basis = {"part": 1000, "100 parts": 10, "1000 parts": 1, "hour": 20000 / 3600, "lb": 160, "kg": 160 * 0.45359237, "100 lb": 1.6,
             "100 kg": 0.725747792, "in2": 7500, "ft2": 7500 / 144, "dm2": 7500 * 6.4516 / 100, "m2": 7500 * 6.4516e-4, "lot": 1}
    assert set(basis) == set(PROCESS_BASES)
    for per, units in basis.items():
        given = {"part_weight": 0.16, "part_area": 7.5, "time_each": 20}
        assert bf.process_cost(1000, 3.5, per, **given, freight=12) == pytest.approx(3.5 * units + 12, rel=1e-12), per
        metric = {"part_weight": 0.16 * 0.45359237, "part_area": 7.5 * 645.16, "time_each": 20}
        assert bf.process_cost(1000, 3.5, per, **metric, freight=12, units="mm") == pytest.approx(3.5 * units + 12, rel=1e-12), per


def test_the_lot_minimum_rules_small_lots_and_freight_comes_on_top():
    # plating at 0.85 a lb with a lot minimum of 95: 0.16 lb each, so 95 / (0.85 * 0.16) = 698.5 parts pay the minimum
    for parts, cost in ((1, 95), (698, 95), (699, 699 * 0.16 * 0.85), (5000, 680)):
        assert bf.process_cost(parts, 0.85, "lb", 0.16, minimum=95) == pytest.approx(cost)
        assert bf.process_cost(parts, 0.85, "lb", 0.16, minimum=95, freight=30) == pytest.approx(cost + 30)
    assert bf.process_cost(0, 0.85, "lb", 0.16, minimum=95, freight=30) == 0


@pytest.mark.parametrize(("per", "words"), [("kg", "weight of a part"), ("ft2", "surface of a part"), ("hour", "time for one part")])
def test_a_basis_that_nothing_is_known_of_is_refused(per, words):
    with pytest.raises(bf.InputError, match=words):
        bf.process_cost(100, 2, per)


def test_boxes_by_hand():
    # 35 lb a box, 0.16 lb a part: 218.75, so 218; 1,000 parts need 4.59 boxes, so 5, at 4.20 each
    assert bf.parts_per_box(0.16, 35) == 218
    assert bf.boxes_needed(1000, 218) == 5
    assert bf.packing_cost(1000, 218, 4.2) == 21
    assert bf.parts_per_box("0.1 lb", "0.3 lb") == 3  # no rounding noise takes one away
    with pytest.raises(bf.InputError, match="must take one part"):
        bf.parts_per_box(36, 35)
    with pytest.raises(bf.InputError, match="give the most that a box may weigh"):
        bf.parts_per_box(0.16)


def test_a_price_for_100_is_rounded_where_it_is_shown():
    cost = Decimal("0.01372")
    for per, count in (("part", 1), ("100 parts", 100), ("1000 parts", 1000)):
        exact = cost * count / Decimal("0.8")
        assert bf.price_for(float(cost), per, margin=0.2) == float(exact.quantize(Decimal("0.01")))
        assert bf.price_for(float(cost), per, margin=0.2) == bf.quoted_price(float(cost) * count, margin=0.2)


# --- machine-hour rate -----------------------------------------------------------------------------------------------


def test_published_machine_hour_rate():
    # worked example at abwl-camp.de (scheme also at haufe.de), read in an excerpt: 29.17 + 16.67 + 2.50 + 4.90 + 0.04 + 17.53 =
    # 70.81 an hour at 3,600 hours. The two first follow from 1,050,000 over 10 years and 60,000 interest a year.
    depreciation, interest, space, energy, base_fee, maintenance = 29.17, 16.67, 2.50, 4.90, 0.04, 17.53
    value, rate = 10 * 3600 * depreciation, 2 * 3600 * interest / (10 * 3600 * depreciation)
    got = bf.machine_hour_rate(value, 10, 3600, rate, 90, space * 3600 / 90, 1, energy, maintenance * 3600, base_fee * 3600)
    assert got == pytest.approx(70.81, abs=0.006)
    assert bf.machine_hour_rate(1_050_000, 10, 3600) == pytest.approx(depreciation, abs=0.005)
    assert bf.machine_hour_rate(1_050_000, 100, 3600, 60_000 / 525_000) - 1_050_000 / 100 / 3600 == pytest.approx(interest, abs=0.005)


def test_each_share_of_the_rate_by_hand():
    # 240,000 over 8 years 30,000; 6 % on 120,000 7,200; 20 m2 at 110 2,200; maintenance 7,200: 46,600 over 3,000 h; 9 kW at 0.22
    assert bf.machine_hour_rate(240_000, 8, 3000, 0.06, 20, 110, 9, 0.22, 7200) == pytest.approx(46_600 / 3000 + 1.98)
    assert bf.machine_hour_rate(240_000, 8, 3000) == 10
    # a person at 42 an hour who minds 3 lathes 60 % of the time
    assert bf.lathe_rate(17.5, 42, 0.6, 3) == pytest.approx(17.5 + 8.4)
    assert bf.lathe_rate(17.5, 42, 0) == 17.5


# --- lathes that one person minds --------------------------------------------------------------------------------------


def test_published_finite_source():
    # Stevenson, Operations Management, finite-source example, read in an excerpt: N = 5, T = 10, U = 70; F = .920, so L = 0.40,
    # J = 4.025. W = 6.957 follows from F as printed: half a digit of F is 0.05 of W.
    assert bf.minding_efficiency(5, 70, 10) == pytest.approx(0.920, abs=0.0005)
    assert bf.lathes_waiting(5, 70, 10) == pytest.approx(0.40, abs=0.004)
    assert bf.lathes_running(5, 70, 10) == pytest.approx(4.025, abs=0.004)
    assert 5 * (1 - 0.9205) * 80 / (5 * 0.9205) < bf.waiting_time(5, 70, 10) < 5 * (1 - 0.9195) * 80 / (5 * 0.9195)


def test_misprints_of_the_finite_source():
    # The same example prints D = .575 for the chance to wait, which is the share of the time in which the person is busy.
    busy = bf.lathes_running(5, 70, 10) * 10 / 70
    assert busy == pytest.approx(0.575, abs=0.0005)
    assert bf.waiting_chance(5, 70, 10) == pytest.approx(0.473, abs=0.0005)
    # csr.engine.ac.nz prints F = .936 for N = 4, T = 5, U = 30; exact is .928.
    assert bf.minding_efficiency(4, 30, 5) == pytest.approx(0.928, abs=0.0005)


def _balance(lathes, load, people):
    """The chances of the states from their balance equations, solved as a linear system."""
    rates = np.zeros((lathes + 1, lathes + 1))
    for n in range(lathes):
        rates[n, n + 1] = (lathes - n) * load
        rates[n + 1, n] = min(n + 1, people)
    system = (rates - np.diag(rates.sum(axis=1))).T
    system[-1] = 1
    return np.linalg.solve(system, np.eye(lathes + 1)[-1])


@pytest.mark.parametrize("people", [1, 2, 3, 5])
@pytest.mark.parametrize("lathes", [1, 2, 3, 7, 12])
def test_queue_against_its_balance_equations(lathes, people):
    for run, service in ((600, 12), (70, 10), (50, 50), (10, 40)):
        p, n = _balance(lathes, service / run, people), np.arange(lathes + 1)
        waiting = float(p @ np.maximum(0, n - people))
        assert bf.lathes_running(lathes, run, service, people) == pytest.approx(float(p @ (lathes - n)), rel=1e-9)
        assert bf.lathes_waiting(lathes, run, service, people) == pytest.approx(waiting, abs=1e-9)
        assert bf.minding_efficiency(lathes, run, service, people) == pytest.approx(1 - waiting / lathes, rel=1e-9)
        calls = float(p @ (lathes - n)) / run
        assert bf.waiting_time(lathes, run, service, people) == pytest.approx(waiting / calls, abs=1e-6)
        # who calls finds the others as they would be without him: weigh the states by the calls that come in them
        finds_busy = float((p * (lathes - n))[people:].sum() / (p * (lathes - n)).sum())
        assert bf.waiting_chance(lathes, run, service, people) == pytest.approx(finds_busy, abs=1e-9)


def test_most_lathes_that_one_person_minds():
    for run, service, share, people in ((70, 10, 0.08, 1), (600, 20, 0.02, 1), (600, 20, 0.02, 2), (10, 10, 0, 1), (10, 0, 0, 1)):
        most = bf.lathes_minded(run, service, share, people)
        assert 1 - bf.minding_efficiency(most, run, service, people) <= share + 1e-9 or most == 1
        assert most == 20 or 1 - bf.minding_efficiency(most + 1, run, service, people) > share
