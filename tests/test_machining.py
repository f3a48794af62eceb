"""Machining times: published examples, the closed form against integration, units, refusals, cell formulas."""

import io
import math
import random
import re
from itertools import pairwise

import openpyxl
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

import barfuncs as bf
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula
from barfuncs.xlsx.engine import Workbook, column_letters
from barfuncs.xlsx.sheetxml import CellError

FUNCTIONS = ("spindle_speed", "turning_time", "facing_time", "cutoff_time", "drilling_time", "threading_time")
FAST = 40_000  # a surface speed that leaves the top speed in force at every diameter


# --- published values, each read in its source or a copy: tolerance is half the last printed digit -----------------------------------------------------

# M. P. Groover, Fundamentals of Modern Manufacturing, 4th ed., problem 22.1 with solution (coursehero 6086141)
GROOVER_22_1 = "Groover 22.1"
# Groover 22.3, feed rate 1.44 in/min
GROOVER_22_3 = "Groover 22.3"
# Kalpakjian-type problem, turning a titanium rod (qammunity 12040095)
TITANIUM_ROD = "titanium rod"
# Mitsubishi Materials, formulas for turning
FORMULA_PAGE = "formula page"
# Turning tutorial, scribd 546471836
TUTORIAL = "tutorial"
# Ewen, Nelson, Elementary Technical Mathematics, section 1.8, exercise 53 (gradesaver.com): 8 2/3 min
TECHNICAL_MATHEMATICS = "Elementary Technical Mathematics 1.8.53"
# Worked example of drilling, 25 mm without an approach (studyclix.ie)
DRILLING = "drilling example"

MINUTES = [
    (GROOVER_22_1, "turning_time", (700, 200, 2.3 * 60, 0.32), "mm", 9.96, 0.005),
    (GROOVER_22_3, "facing_time", (6, 0, FAST, 0.008, 180), "in", 2.083, 0.0005),
    (TITANIUM_ROD, "turning_time", (200, 75, 94.25, 0.5), "mm", 1.0, 0.05),
    (FORMULA_PAGE, "turning_time", (100, 50, FAST, 0.2, 1000), "mm", 0.5, 0.05),
    (TUTORIAL, "facing_time", (170, 120, FAST, 0.3, 440), "mm", 0.189, 0.0005),
    (TUTORIAL, "turning_time", (200, 165, FAST, 0.127, 200), "mm", 7.874, 0.0005),
    (TECHNICAL_MATHEMATICS, "turning_time", ("9 9/64 in", 3, FAST, "3/128 in", 45), "in", 26 / 3, 1e-12),
    (DRILLING, "drilling_time", (25, 20, 20, 0.25, 180), "mm", 0.314, 0.0005),
]


@pytest.mark.parametrize(("source", "name", "args", "units", "minutes", "tolerance"), MINUTES)
def test_published_times(source, name, args, units, minutes, tolerance):
    assert getattr(bf, name)(*args, units=units) / 60 == pytest.approx(minutes, rel=0, abs=tolerance)


@pytest.mark.parametrize(("surface_speed", "diameter", "units", "speed", "tolerance"), [
    (2.3 * 60, 200, "mm", 3.66 * 60, 0.005 * 60),  # Groover 22.1: 3.66 rev/s
    (94.25, 75, "mm", 400, 0.5),  # titanium rod: 94.25 m/min at 400 rpm
    (60, 5, "in", 46, 0.5),  # F. D. Jones, Turning and Boring (public domain)
    (20, 20, "mm", 318.31, 0.005),  # drilling example
])
def test_published_spindle_speeds(surface_speed, diameter, units, speed, tolerance):
    assert bf.spindle_speed(surface_speed, diameter, units=units) == pytest.approx(speed, rel=0, abs=tolerance)


@pytest.mark.parametrize(("lowest", "highest", "diameter", "speed"), [
    (109.5, 110.5, 50, 700),  # Mitsubishi Materials, formulas for turning: 110 m/min, rounded, with pi = 3.14
    (117, 118, 150, 250),  # Tungaloy, formulas for turning: 117 m/min, cut off from 117.8
])
def test_published_surface_speeds(lowest, highest, diameter, speed):
    assert bf.spindle_speed(lowest, diameter, units="mm") <= speed < bf.spindle_speed(highest, diameter, units="mm")


def test_formulas_of_technical_guides():
    # Kyocera, technical information p. 1069, seconds: turning 60 pi D L/(1000 f Vc); facing and cut-off
    # 60 pi (D1+D2)(D1-D2)/(4000 f Vc) at constant surface speed, 60 (D1-D2)/(2 f n) at constant speed.
    assert bf.turning_time(80, 40, 180, 0.2, units="mm") == pytest.approx(60 * math.pi * 40 * 80 / (1000 * 0.2 * 180))
    for function in (bf.facing_time, bf.cutoff_time):
        constant_surface_speed = 60 * math.pi * (60 + 30) * (60 - 30) / (4000 * 0.2 * 180)
        assert function(60, 30, 180, 0.2, 9000, units="mm") == pytest.approx(constant_surface_speed, rel=1e-14)
        assert function(60, 30, 180, 0.2, 500, units="mm") == pytest.approx(60 * (60 - 30) / (2 * 0.2 * 500), rel=1e-14)


def test_threading_formula_of_a_technical_guide():
    # Kyocera Precision Tools, turning technical information 2016, p. R27, seconds: 60 * LOC * passes / (ipr * rpm) with
    # ipr = 1 / tpi.
    assert bf.threading_time(1.5, "12 tpi", 10, 600, 0) == pytest.approx(60 * 1.5 * 10 / (1 / 12 * 600))
    assert bf.threading_time(1.2, 0.1, 10, 600, 0.3) == pytest.approx(60 * 1.5 * 10 / (0.1 * 600))


def test_thread_with_several_starts_takes_its_pitch():
    starts, pitch, passes = 3, 2.0, 8
    one_start_after_the_other = starts * bf.threading_time(30, starts * pitch, passes, 500, 6, units="mm")
    assert one_start_after_the_other == pytest.approx(bf.threading_time(30, pitch, passes, 500, 6, units="mm"))


# --- the closed form -----------------------------------------------------------------------------------------------

CUTS = st.tuples(st.floats(0.1, 20), st.one_of(st.just(0.0), st.floats(0, 0.99)), st.floats(20, 3000),
                 st.floats(0.0005, 0.05), st.floats(20, 20_000), st.sampled_from(["in", "mm"]))


def _cut(case):
    outer, share, surface_speed, feed_rate, top_speed, units = case
    lengths, speeds = (25.4, 0.3048) if units == "mm" else (1, 1)
    return outer * lengths, outer * lengths * share, surface_speed * speeds, feed_rate * lengths, top_speed, units


def _integrated(outer, inner, surface_speed, feed_rate, top_speed, units):
    """Time by integrating over the radius."""
    scale = 1000 if units == "mm" else 12

    def minutes_per_length(radius):
        circumference = 2 * math.pi * radius / scale
        return 1 / (feed_rate * (min(top_speed, surface_speed / circumference) if circumference else top_speed))

    # The bend at the top speed is a limit of integration, so that it can't hide between sample points; where it lies
    # has no other influence.
    bend = scale * surface_speed / top_speed / (2 * math.pi)
    radii = sorted({inner / 2, outer / 2} | ({bend} if inner / 2 < bend < outer / 2 else set()))
    return 60 * math.fsum(quad(minutes_per_length, a, b, epsabs=0, epsrel=1e-12)[0] for a, b in pairwise(radii))


@given(CUTS)
@settings(max_examples=500, deadline=None)
def test_facing_is_the_integral(case):
    cut = _cut(case)
    expected = pytest.approx(_integrated(*cut), rel=1e-10)
    assert bf.facing_time(*cut) == expected
    assert bf.cutoff_time(*cut) == expected


def test_the_integral_covers_all_three_cases():
    switch = 12 * 400 / (math.pi * 3000)
    for outer, inner in ((2, 1.5), (2, 0.5), (2, 0), (0.9, 0.3), (2, 1), (1, 0)):
        cut = (outer * switch, inner * switch, 400, 0.004, 3000, "in")
        assert bf.facing_time(*cut) == pytest.approx(_integrated(*cut), rel=1e-9)


@given(CUTS, st.floats(0.01, 0.99))
@settings(max_examples=300, deadline=None)
def test_two_cuts_make_one(case, where):
    outer, inner, surface_speed, feed_rate, top_speed, units = _cut(case)
    between = inner + (outer - inner) * where
    rest = (surface_speed, feed_rate, top_speed, units)
    whole = bf.facing_time.core(outer, inner, *rest)
    parts = bf.facing_time.core(outer, between, *rest) + bf.facing_time.core(between, inner, *rest)
    assert parts == pytest.approx(whole, rel=1e-9)


@pytest.mark.parametrize("step", [1e-6, 1e-9, 1e-12])
def test_continuous_at_the_switching_diameter(step):
    for units, scale in (("in", 12), ("mm", 1000)):
        switch = scale * 120 / (math.pi * 3000)
        rest = (120, 0.002, 3000, units)
        slope = 60 / (2 * 0.002 * 3000)  # seconds for each unit of diameter, on both sides of the switch
        for outer, inner in ((None, 0), (None, switch / 2), (2 * switch, None)):
            edges = [switch * (1 + s) for s in (-step, step)]
            below, above = (bf.facing_time(outer or edge, edge if inner is None else inner, *rest) for edge in edges)
            sign = -1 if inner is None else 1
            # Half the bit noise of a time of seconds, and the second order of the step.
            assert sign * (above - below) == pytest.approx(slope * switch * 2 * step, rel=2 * step, abs=1e-14 * above)


@given(CUTS)
@settings(max_examples=200, deadline=None)
def test_a_higher_top_speed_never_takes_longer(case):
    outer, inner, surface_speed, feed_rate, top_speed, units = _cut(case)
    times = [bf.facing_time(outer, inner, surface_speed, feed_rate, top_speed * n, units) for n in (1, 1.1, 2, 10)]
    assert all(b <= a * (1 + 1e-14) for a, b in pairwise(times))
    assert times[0] >= 60 * (outer - inner) / (2 * feed_rate * top_speed) * (1 - 1e-14)


def test_top_speed():
    assert bf.spindle_speed(400, 0.75, 2000) == 2000
    assert bf.spindle_speed(400, 0.75, 3000) == bf.spindle_speed(400, 0.75) == pytest.approx(2037.18, abs=0.005)
    assert bf.spindle_speed(400, 0.75, None) == bf.spindle_speed(400, 0.75)
    assert bf.turning_time(2, 0.75, 400, 0.005, 1000) == 24
    assert bf.turning_time(2, 0.75, 400, 0.005, 1000, 3) == 72
    assert bf.turning_time(2, 0.75, 400, 0.005, passes=2) == 2 * bf.turning_time(2, 0.75, 400, 0.005)


@given(st.floats(0.1, 3), st.floats(0.02, 1), st.floats(20, 800), st.floats(60, 180), st.floats(100, 12_000))
@settings(max_examples=200, deadline=None)
def test_a_drill_turns_no_faster_than_the_spindle(depth, diameter, surface_speed, angle, top):
    feed, free = diameter / 60, bf.spindle_speed(surface_speed, diameter)
    way = depth + diameter / 2 * math.tan(math.radians(90 - angle / 2))
    limited = bf.drilling_time(depth, diameter, surface_speed, feed, angle, top)
    assert limited == pytest.approx(60 * way / (feed * min(free, top)), rel=1e-12)
    assert bf.drilling_time(depth, diameter, surface_speed, feed, angle) == pytest.approx(60 * way / (feed * free), rel=1e-12)


def test_a_thin_drill_at_the_speed_that_its_surface_speed_asks_for():
    # 1/16 in at 450 ft/min would be 27,502 rpm.
    assert bf.spindle_speed(450, 1 / 16) == pytest.approx(27_502, abs=0.5)
    assert bf.drilling_time(0.5, 1 / 16, 450, 0.001, 180, 6000) == pytest.approx(60 * 0.5 / (0.001 * 6000))
    assert bf.operation_time("drilling", 1 / 16, length=0.5, surface_speed=450, feed_rate=0.001, top_speed=6000) == bf.drilling_time(
        0.5, 1 / 16, 450, 0.001, top_speed=6000)


# --- units ---------------------------------------------------------------------------------------------------------

MM, M = 25.4, 0.3048
PAIRS = st.tuples(st.floats(0.05, 20), st.floats(0.1, 10), st.floats(10, 3000), st.floats(0.0005, 0.05),
                  st.floats(20, 20_000), st.floats(60, 180))


@given(PAIRS)
@settings(max_examples=300, deadline=None)
def test_inch_and_metric_agree(pair):
    length, diameter, speed, feed, top, angle = pair
    for inch, metric in (
        (bf.spindle_speed(speed, diameter, top), bf.spindle_speed(speed * M, diameter * MM, top, "mm")),
        (bf.turning_time(length, diameter, speed, feed, top, 3),
         bf.turning_time(length * MM, diameter * MM, speed * M, feed * MM, top, 3, "mm")),
        (bf.facing_time(diameter, diameter / 3, speed, feed, top),
         bf.facing_time(diameter * MM, diameter * MM / 3, speed * M, feed * MM, top, "mm")),
        (bf.cutoff_time(diameter, 0, speed, feed, top),
         bf.cutoff_time(diameter * MM, 0, speed * M, feed * MM, top, "mm")),
        (bf.drilling_time(length, diameter, speed, feed, angle, top),
         bf.drilling_time(length * MM, diameter * MM, speed * M, feed * MM, angle, top, "mm")),
        (bf.threading_time(length, length / 12, 6, top, 0.2),
         bf.threading_time(length * MM, length * MM / 12, 6, top, 0.2 * MM, "mm")),
    ):
        assert inch == pytest.approx(metric, rel=1e-12)


def test_texts_carry_their_units():
    expected = bf.turning_time(50, 19, 120, 0.12, 1800, units="mm")
    texts = ("50 mm", "19 mm", "120 m/min", "0.12 mm/rev", "1800 rpm")
    for units in ({}, {"units": "in"}, {"units": "mm"}):
        assert bf.turning_time(*texts, **units) == pytest.approx(expected)
    assert bf.turning_time(2, "3/4 in", "400 sfm", "0.005 ipr") == bf.turning_time(2, 0.75, 400, 0.005)
    assert bf.turning_time(2, 0.75, 400, "5 thou") == bf.turning_time(2, 0.75, 400, 0.005)
    assert bf.spindle_speed("120 m/min", "3/4 in") == pytest.approx(bf.spindle_speed(120, 19.05, units="mm"))
    assert bf.drilling_time("1 in", "1/4 in", 80, 0.004, "135°") == bf.drilling_time(1, 0.25, 80, 0.004, 135)
    assert bf.threading_time(0.75, "20 tpi", "6", "800 rpm", 0) == bf.threading_time(0.75, 0.05, 6, 800, 0)


@pytest.mark.parametrize(("call", "words"), [
    (lambda: bf.spindle_speed("120 m/min", 19), "diameter: has no unit next to values in metric units"),
    (lambda: bf.spindle_speed(120, "19 mm"), "surface_speed: has no unit next to values in metric units"),
    (lambda: bf.turning_time("50 mm", "19 mm", "120 m/min", 0.1), "feed_rate: has no unit next to values in metric"),
    (lambda: bf.turning_time(2, 0.75, 400, "0.1 mm"), "length: has .*; diameter: has .*; surface_speed: has no unit"),
    (lambda: bf.threading_time(20, "1.5 mm", 8, 1000, 0), "length: has no unit next to values in metric units"),
])
def test_bare_numbers_next_to_metric_texts_are_refused(call, words):
    _refused(call, words)


def test_stated_units_settle_bare_numbers():
    assert bf.spindle_speed("120 m/min", 19, units="mm") == bf.spindle_speed(120, 19, units="mm")
    assert bf.spindle_speed("120 m/min", 0.75, units="in") == pytest.approx(bf.spindle_speed(120, 19.05, units="mm"))
    assert bf.turning_time("50 mm", "19 mm", "120 m/min", "0.1 mm", 1800) > 0  # a spindle speed has one unit only


def test_quantities():
    ureg = pint.get_application_registry()
    speed = bf.spindle_speed(ureg.Quantity(120, "m/min"), ureg.Quantity(19, "mm"))
    assert speed.to("1/minute").magnitude == pytest.approx(bf.spindle_speed(120, 19, units="mm"))
    seconds = bf.turning_time(ureg.Quantity(50, "mm"), ureg.Quantity(19, "mm"), ureg.Quantity(2, "m/s"),
                              ureg.Quantity(0.12, "mm/revolution"), ureg.Quantity(1800, "rpm"))
    assert seconds.to("second").magnitude == pytest.approx(bf.turning_time(50, 19, 120, 0.12, 1800, units="mm"))
    drilled = bf.drilling_time(ureg.Quantity(1, "inch"), 0.25, 80, 0.004, ureg.Quantity(135, "degree"))
    assert drilled.magnitude == pytest.approx(bf.drilling_time(1, 0.25, 80, 0.004, 135))
    _refused(lambda: bf.spindle_speed(ureg.Quantity(400, "rpm"), 0.75), "surface_speed: a value in .*expected")


# --- limits and rules ----------------------------------------------------------------------------------------------


def _refused(call, words):
    with pytest.raises(bf.InputError, match=words) as caught:
        call()
    assert caught.type is bf.InputError


GOOD = {
    "spindle_speed": (400, 0.75, 3000, "in"),
    "turning_time": (2, 0.75, 400, 0.005, 3000, 2, "in"),
    "facing_time": (0.75, 0.25, 400, 0.004, 4000, "in"),
    "cutoff_time": (0.75, 0.25, 300, 0.002, 3000, "in"),
    "drilling_time": (1, 0.25, 80, 0.004, 118, 1000, "in"),
    "threading_time": (0.75, 0.05, 6, 800, 0.2, "in"),
}
LIMITS = {  # just inside and just outside; None where the bound doesn't matter here
    "surface_speed": ((0.001, 0.0009), (50000, 50000.1)),
    "feed_rate": ((0.0001, 0.00009), (25, 25.1)),
    "top_speed": ((0.001, 0.0009), (1e6, 1e6 + 1)),
    "spindle_speed": ((0.001, 0.0009), (1e6, 1e6 + 1)),
    "diameter": ((0.001, 0.0009), (1e6, 1e6 + 1)),
    "outer_diameter": ((1e-9, 0), (1e6, 1e6 + 1)),
    "inner_diameter": ((0, -1e-9), None),
    "length": ((1e-9, 0), (1e6, 1e6 + 1)),
    "depth": ((1e-9, 0), (1e6, 1e6 + 1)),
    "clearance": ((0, -1e-9), (1e6, 1e6 + 1)),
    "pitch": ((0.001, 0.0009), (100, 100.1)),
    "passes": ((1, 0), (10_000_000, 10_000_001)),
    "point_angle": ((30, 29.9), (180, 180.1)),
}
BROAD = {"diameter": 100, "outer_diameter": 100, "inner_diameter": 0, "length": 1000}  # so that no rule gets in the way


@pytest.mark.parametrize("name", FUNCTIONS)
def test_limits(name):
    function, entry = getattr(bf, name), CATALOGUE[name]
    arguments = [a.name for a in entry.arguments]
    for argument in arguments[:-1]:
        for inside, outside in filter(None, LIMITS[argument]):
            values = dict(zip(arguments, GOOD[name], strict=True))
            values |= {k: v for k, v in BROAD.items() if k in values} | {argument: inside}
            if argument in ("diameter", "outer_diameter", "length") and inside < 1:
                values |= {k: v for k, v in (("feed_rate", 0.0001), ("pitch", 0.001)) if k in values}
            if inside != 1e-9:
                assert 0 < function(**values) < math.inf
            bad = values | {argument: outside}
            _refused(lambda bad=bad: function(**bad), f"{name}: .*{argument}: .*{outside!r} given; allowed is")


@pytest.mark.parametrize("name", FUNCTIONS)
@pytest.mark.parametrize("bad", [-1, math.nan, math.inf, "fast", "", True, {1}, 1e300])
def test_every_argument_refuses(name, bad):
    arguments = [a.name for a in CATALOGUE[name].arguments]
    for argument in arguments:
        values = dict(zip(arguments, GOOD[name], strict=True)) | {argument: bad}
        _refused(lambda v=values: getattr(bf, name)(**v), f"{name}: {argument}: ")


@pytest.mark.parametrize("name", FUNCTIONS)
def test_missing_arguments_are_named(name):
    needed = [a.name for a in CATALOGUE[name].arguments if a.required]
    _refused(lambda: getattr(bf, name)(), ".*".join(f"{argument}: is missing" for argument in needed))


@pytest.mark.parametrize(("call", "words"), [
    (lambda: bf.facing_time(0.75, 0.75, 400, 0.004, 4000), "inner_diameter: the inner diameter must be less than"),
    (lambda: bf.facing_time(0.75, 1, 400, 0.004, 4000), "inner_diameter: the inner diameter must be less than"),
    (lambda: bf.cutoff_time(0.75, 0.75, 400, 0.004, 4000), "inner_diameter: the bore must be less than the outer"),
    (lambda: bf.cutoff_time("3/4 in", "20 mm", 400, 0.004, 4000, "in"), "inner_diameter: the bore must be less"),
    (lambda: bf.turning_time(2, 0.75, 400, 6), "feed_rate: the feed per revolution must be less than the diameter"),
    (lambda: bf.turning_time(2, 0.75, 400, 0.75), "feed_rate: .* a feed per minute is not meant"),
    (lambda: bf.drilling_time(1, 0.25, 80, 0.25), "feed_rate: the feed per revolution must be less than the diameter"),
    (lambda: bf.facing_time(0.75, 0, 400, 2, 4000), "feed_rate: the feed per revolution must be less than"),
    (lambda: bf.turning_time(50, 19, 120, 150, units="mm"), r"feed_rate: 150 given; .* at most 25 \(mm/rev\)"),
    (lambda: bf.turning_time("50 mm", "19 mm", "120 m/min", "150 mm/min"), "feed_rate: .*known are in/rev"),
    (lambda: bf.threading_time(0.75, 20, 6, 800, 0.2), "pitch: .*for threads per inch give 1 / threads per inch"),
    (lambda: bf.threading_time(0.75, 0.05, 6.5, 800, 0.2), "passes: 6.5 given; allowed is a whole number 1 or more"),
    (lambda: bf.facing_time(0.75, 0, 400, 0.004, None), "top_speed: is missing"),
    (lambda: bf.spindle_speed(-400, 0, units="mm"), r"surface_speed: -400 .*\(m/min\); diameter: 0 .*\(mm\)"),
    (lambda: bf.spindle_speed(400, 0.75, units="cm"), "units: 'cm' given; allowed is one of in, mm"),
])
def test_impossible_together(call, words):
    _refused(call, words)


def test_a_pitch_as_long_as_the_thread_is_allowed():
    assert bf.threading_time(0.05, 0.05, 1, 60, 0) == 1


def test_results_stay_finite_at_the_limits():
    longest = bf.turning_time(1e6, 1e6, 0.001, 0.0001, 0.001, 10_000_000)
    assert longest < math.inf
    assert bf.threading_time(1e6, 0.001, 10_000_000, 0.001, 1e6) < math.inf
    assert bf.facing_time(1e6, 0, 0.001, 0.0001, 0.001) < math.inf
    assert 0 < bf.spindle_speed(50000, 0.001, units="mm") < math.inf


# --- cell formulas -------------------------------------------------------------------------------------------------

NATIVE = {"IF", "AND", "OR", "ISNUMBER", "ISBLANK", "NA", "INT", "MIN", "MAX", "PI", "TAN", "NOT", "ISLOGICAL", "IFERROR"}


@pytest.mark.parametrize("name", FUNCTIONS)
def test_cell_formula_is_native_and_short(name):
    formula = cell_formula(CATALOGUE[name])
    assert set(re.findall(r"([A-Z_.]+)\(", formula)) <= NATIVE
    assert len(formula) < 8192
    depth = deepest = 0
    for character in formula:
        depth += (character == "(") - (character == ")")
        deepest = max(deepest, depth)
    assert deepest <= 64


def _in_cells(name, rows):
    """Results of the cell formula for rows of arguments, each in cells of its own."""
    entry = CATALOGUE[name]
    book = openpyxl.Workbook()
    sheet = book.active
    for r, row in enumerate(rows, 1):
        for c, value in enumerate(row, 1):
            sheet.cell(r, c, value)
        refs = {a.name: f"${column_letters(c)}{r}" for c, a in enumerate(entry.arguments, 1)}
        sheet[f"J{r}"] = "=" + cell_formula(entry, refs)
    buffer = io.BytesIO()
    book.save(buffer)
    made = Workbook(buffer.getvalue())
    made.calculate()
    made.check_supported()
    return [made.value(f"J{r}") for r in range(1, len(rows) + 1)]


def _in_python(name, row):
    try:
        return getattr(bf, name)(*row)
    except bf.InputError:
        return None


def _same(name, rows):
    for row, cell in zip(rows, _in_cells(name, rows), strict=True):
        expected = _in_python(name, row)
        if expected is None:
            assert isinstance(cell, CellError), (name, row, cell)
        else:
            assert not isinstance(cell, CellError), (name, row, expected)
            assert cell == pytest.approx(expected, rel=1e-12, abs=0), (name, row)


def _random_row(name, rng):
    units = rng.choice(["in", "mm", None])
    length, speed = (25.4, 0.3048) if units == "mm" else (1, 1)
    diameter = rng.uniform(0.05, 6) * length
    values = {
        "surface_speed": rng.uniform(20, 2000) * speed, "feed_rate": rng.uniform(0.0005, 0.03) * length,
        "top_speed": rng.uniform(50, 12_000), "spindle_speed": rng.uniform(50, 5000), "diameter": diameter,
        "outer_diameter": diameter, "inner_diameter": rng.choice([0, rng.uniform(0, 1.1) * diameter]),
        "length": rng.uniform(0.05, 12) * length, "depth": rng.uniform(0.05, 12) * length,
        "clearance": rng.choice([0, rng.uniform(0, 1) * length]), "pitch": rng.uniform(0.01, 0.2) * length,
        "passes": rng.randint(1, 20), "point_angle": rng.uniform(60, 180), "units": units,
    }
    arguments = CATALOGUE[name].arguments
    return [None if a.name != "units" and not a.required and rng.random() < 0.3 else values[a.name] for a in arguments]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_cells_agree_with_python(name):
    rng = random.Random(name)
    rows = [_random_row(name, rng) for _ in range(300)]
    assert sum(_in_python(name, row) is not None for row in rows) > 200
    _same(name, rows)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_cells_refuse_what_python_refuses(name):
    arguments = [a.name for a in CATALOGUE[name].arguments]
    rows = [list(GOOD[name])]
    for place, argument in enumerate(arguments):
        bad = [None, -1, 0, 1e9, 1e300, "fast", True, "in", 0.5, 1]
        for pair in LIMITS.get(argument, ()):
            bad += pair or ()
        for value in bad:
            rows.append([*GOOD[name][:place], value, *GOOD[name][place + 1 :]])
    assert sum(_in_python(name, row) is None for row in rows) > 20
    _same(name, rows)


def test_cells_at_the_switching_diameter():
    switch = 12 * 400 / (math.pi * 3000)
    steps = (0.5, 1 - 1e-12, 1, 1 + 1e-12, 2)
    rows = [[switch * a, switch * b, 400, 0.004, 3000, "in"] for a in steps for b in (0, *steps)]
    for name in ("facing_time", "cutoff_time"):
        for row, cell in zip(rows, _in_cells(name, rows), strict=True):
            expected = _in_python(name, row)
            if expected is None:
                assert isinstance(cell, CellError)
            else:  # a ring of 1e-12 has only a few good digits
                assert cell == pytest.approx(expected, rel=1e-12, abs=1e-14)
