"""The operation list: one row of it against the functions for single cuts, published times, cells, what is refused."""

import io
import math

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.entry import CATALOGUE, find
from barfuncs.catalogue.formula import cell_formula
from barfuncs.catalogue.kinds import OPERATIONS, TIMED_OPERATIONS
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

PROFILE = settings(deadline=None, max_examples=150, derandomize=True)
FAST = 40_000  # a surface speed that leaves the top speed in force at every diameter

# --- published values: tolerance is half the last printed digit -----------------------------------------------------


@pytest.mark.parametrize(("row", "minutes", "tolerance"), [
    # M. P. Groover, Fundamentals of Modern Manufacturing, 4th ed., problem 22.1 with solution (coursehero 6086141)
    ({"operation": "turning", "start_diameter": 200, "length": 700, "surface_speed": 2.3 * 60, "feed_rate": 0.32}, 9.96, 0.005),
    # Groover 22.3, facing to the centre
    ({"operation": "facing", "start_diameter": "6 in", "surface_speed": FAST, "feed_rate": "0.008 in", "top_speed": 180},
     2.083, 0.0005),
    # Turning tutorial, scribd 546471836
    ({"operation": "facing", "start_diameter": 170, "end_diameter": 120, "surface_speed": FAST, "feed_rate": 0.3,
      "top_speed": 440}, 0.189, 0.0005),
    # The same tutorial
    ({"operation": "turning", "start_diameter": 165, "length": 200, "surface_speed": FAST, "feed_rate": 0.127,
      "top_speed": 200}, 7.874, 0.0005),
])
def test_published_times(row, minutes, tolerance):
    assert bf.operation_time(**row, units="mm") / 60 == pytest.approx(minutes, rel=0, abs=tolerance)


def test_drilling_counts_the_point_that_a_published_time_leaves_out():
    # Worked example of drilling, 25 mm without an approach (studyclix.ie): 0.314 min to the full depth, no point.
    drilled = bf.operation_time("drilling", 20, length=25, surface_speed=20, feed_rate=0.25, units="mm")
    point = 10 * math.tan(math.radians(31))
    assert drilled * 25 / (25 + point) / 60 == pytest.approx(0.314, rel=0, abs=0.0005)


# --- the functions for single cuts ---------------------------------------------------------------------------------

DIAMETER, LENGTH = st.floats(0.1, 10), st.floats(0.2, 20)
SPEED, FEED, TOP = st.floats(20, 1500), st.floats(0.0005, 0.05), st.floats(100, 10_000)
CUT = (DIAMETER, LENGTH, SPEED, FEED, TOP, st.integers(1, 9), st.floats(0, 20))


@PROFILE
@given(*CUT, st.floats(0, 0.95), st.sampled_from(["in", "mm"]))
def test_one_row_is_the_time_of_the_single_cut(diameter, length, speed, feed, top, passes, extra, share, units):
    def row(operation, **changes):
        values = {"start_diameter": diameter, "end_diameter": diameter * share, "length": length, "surface_speed": speed,
                  "feed_rate": feed, "top_speed": top, "passes": passes, "extra_time": extra, "units": units}
        return bf.operation_time(operation, **values | changes)

    face = (diameter, diameter * share, speed, feed, top, units)
    turns = bf.spindle_speed(speed, diameter, top, units)
    wanted = {
        "turning": bf.turning_time(length, diameter, speed, feed, top, passes, units),
        "facing": passes * bf.facing_time(*face),
        "grooving": passes * bf.facing_time(*face),
        "boring": bf.turning_time(length, diameter, speed, feed, top, passes, units),
        "reaming": bf.turning_time(length, diameter, speed, feed, top, passes, units),
        "taper turning": passes * bf.taper_time(length, diameter, diameter * share, speed, feed, top, units),
        "tapping": 2 * bf.threading_time(length, max(feed, 0.001), passes, turns, 0, units),
        **dict.fromkeys(TIMED_OPERATIONS, 0),
        "cut-off": passes * bf.cutoff_time(*face),
        "drilling": passes * bf.drilling_time(length, diameter, speed, feed, 118, top, units),
        "threading": bf.threading_time(length, max(feed, 0.001), passes, turns, 0, units),
    }
    assert set(wanted) == set(OPERATIONS)
    for operation, seconds in wanted.items():
        changes = {"feed_rate": max(feed, 0.001)} if operation in ("threading", "tapping") else {}
        if operation not in TIMED_OPERATIONS or extra > 0:
            assert row(operation, **changes) == pytest.approx(seconds + passes * extra, rel=1e-9)
    assert row("turning", end_diameter=None) == row("turning")
    assert row("facing", length=None) == row("facing")


@PROFILE
@given(*CUT[:4], st.sampled_from(["turning", "drilling"]))
def test_a_top_speed_that_is_not_reached_changes_nothing(diameter, length, speed, feed, operation):
    rest = (diameter, 0, length, speed, feed)
    free = bf.operation_time(operation, *rest)
    assert bf.operation_time(operation, *rest, bf.spindle_speed(speed, diameter) * 1.01) == pytest.approx(free, rel=1e-12)
    assert bf.operation_time(operation, *rest, bf.spindle_speed(speed, diameter) / 2) == pytest.approx(2 * free, rel=1e-9)


@PROFILE
@given(*CUT[:5], st.sampled_from([o for o in OPERATIONS if o not in TIMED_OPERATIONS]))
def test_inch_and_mm_give_the_same_time(diameter, length, speed, feed, top, operation):
    inch = bf.operation_time(operation, diameter, diameter / 3, length, speed, feed, top)
    metric = bf.operation_time(operation, diameter * 25.4, diameter * 25.4 / 3, length * 25.4, speed * 0.3048, feed * 25.4, top,
                               units="mm")
    assert metric == pytest.approx(inch, rel=1e-9)


# --- a list of operations in a sheet -------------------------------------------------------------------------------

LIST = [
    ("facing", 0.75, 0, None, 400, 0.004, 4000, None, 1),
    ("turning", 0.75, 0.5, 1.5, 400, 0.006, 4000, 3, 0.8),
    ("drilling", 0.25, None, 1, 80, 0.004, None, None, 1),
    ("threading", 0.5, None, 0.9, 150, 0.05, 4000, 6, 1.2),
    ("other", None, None, None, None, None, None, None, 4),
    ("milling", None, None, None, None, None, None, None, 12),
    ("taper turning", 0.75, 0.5, 1, 400, 0.006, None, 2, 1),
    ("boring", 0.5, None, 1, 300, 0.004, 4000, None, 1),
    ("grooving", 0.75, 0.6, None, 300, 0.002, 3000, 2, None),
    ("reaming", 0.25, None, 1, 60, 0.008, None, None, None),
    ("tapping", 0.25, None, 0.6, 40, 0.05, None, None, 1),
    ("cut-off", 0.75, 0.25, None, 300, 0.002, 3000, None, None),
]


def calculated(rows, units="in"):
    """The seconds of each row and the cycle time, which is the cell formula over their SUM."""
    entry = CATALOGUE["operation_time"]
    book = openpyxl.Workbook()
    for row, values in enumerate(rows, start=1):
        for column, value in enumerate(values, start=2):
            book.active.cell(row, column, value)
        refs = {a.name: f"{chr(66 + n)}{row}" for n, a in enumerate(entry.arguments[:-1])} | {"units": "$L$1"}
        book.active.cell(row, 1, "=" + cell_formula(entry, refs))
    sheet = book.active
    sheet["L1"], sheet["M1"], sheet["M2"], sheet["M3"], sheet["M4"] = units, 5, 1.5, 4, 2
    sheet["L2"] = f"=SUM(A1:A{len(rows)})"
    total = cell_formula(find("cycle_time_of"), dict(zip(
        ("cutting_time", "tool_changes", "tool_change_time", "rapid_time", "bar_feed_time"), ("L2", "M1", "M2", "M3", "M4"),
        strict=True)))
    sheet["L3"] = "=" + total
    buffer = io.BytesIO()
    book.save(buffer)
    calc = Workbook(buffer.getvalue())
    calc.calculate()
    return [calc.value_at((0, row, 1)) for row in range(1, len(rows) + 1)], calc.value("L3")


@pytest.mark.parametrize("units", ["in", "mm"])
def test_a_list_of_operations_makes_a_cycle_time(units):
    seconds, cycle = calculated(LIST, units)
    wanted = [bf.operation_time(*row, units) for row in LIST]
    assert seconds == pytest.approx(wanted, rel=1e-12)
    assert cycle == pytest.approx(bf.cycle_time_of(sum(wanted), 5, 1.5, 4, 2), rel=1e-12)
    assert cycle == pytest.approx(sum(wanted) + 5 * 1.5 + 4 + 2, rel=1e-12)


# What is wrong with a row, and what the message says. The first six cells are operation, diameters, length, speed, feed.
WRONG = [
    (("turning", None, None, 1.5, 400, 0.006), "start_diameter: every operation but knurling, milling, cross drilling and other needs a start diameter"),
    (("turning", 0.75, None, None, 400, 0.006), "length: every operation along the bar needs a length"),
    (("turning", 0.75, None, 1.5, None, 0.006), "surface_speed: every operation but knurling, milling, cross drilling and other needs a surface speed"),
    (("turning", 0.75, None, 1.5, 400, None), "feed_rate: every operation but knurling, milling, cross drilling and other needs a feed per revolution, a thread its pitch"),
    (("turning", 0.75, None, 1.5, 400, 6), "feed_rate: the feed per revolution must be less than the diameter"),
    (("facing", 0.75, 0.75, None, 400, 0.006, 4000), "end_diameter: facing, grooving, cut-off and tapers end at a smaller diameter"),
    (("cut-off", 0.75, 0.25, None, 400, 0.006, None), "top_speed: facing, grooving and cut-off need a top speed"),
    (("threading", 0.5, None, 0.04, 150, 0.05), "feed_rate: the pitch can't be more than the length of the thread"),
    (("drilling", 0.25, None, None, 80, 0.004), "length: every operation along the bar needs a length"),
    (("other", 0.25, None, 1, 80, 0.004), "extra_time: knurling, milling, cross drilling and other need the time that they take"),
    (("milling", 0.25, None, 1, 80, 0.004), "extra_time: knurling, milling"),
    (("taper turning", 0.5, 0.5, 1, 80, 0.004), "end_diameter: facing, grooving, cut-off and tapers end"),
    (("taper turning", 0.5, 0.25, None, 80, 0.004), "length: every operation along the bar needs a length"),
    (("tapping", 0.25, None, 0.04, 40, 0.05), "feed_rate: the pitch can't be more than the length of the thread"),
    (("broaching", 0.25, None, 1, 80, 0.004), "operation: 'broaching' given; allowed is one of turning, taper turning, facing"),
    (("turning", 0.75, -0.1, 1.5, 400, 0.006), "end_diameter: -0.1 given"),
    (("turning", 0.75, None, 1.5, 400, 0.006, 4000, 1.5), "passes: 1.5 given"),
    ((None, 0.75, None, 1.5, 400, 0.006), "operation: is missing"),
]


@pytest.mark.parametrize(("row", "message"), WRONG, ids=[m.split(":")[0] + f"-{n}" for n, (_, m) in enumerate(WRONG)])
def test_a_wrong_row_gives_no_time_and_no_cycle_time(row, message):
    with pytest.raises(bf.InputError, match=f"^operation_time: {message}") as caught:
        bf.operation_time(*row)
    assert len(caught.value.problems) == 1
    padded = (*row, *[None] * (9 - len(row)))
    seconds, cycle = calculated([LIST[0], padded, LIST[-1]])
    assert isinstance(seconds[0], float)
    assert isinstance(seconds[1], CellError)
    assert isinstance(cycle, CellError)


def test_mixed_units_in_a_row_are_refused_or_read():
    with pytest.raises(bf.InputError, match="length: has no unit next to values in metric units"):
        bf.operation_time("turning", "19 mm", None, 1.5, "120 m/min", "0.15 mm/rev")
    assert bf.operation_time("turning", "19 mm", None, "1.5 in", "120 m/min", "0.15 mm/rev", units="mm") == pytest.approx(
        bf.turning_time(38.1, 19, 120, 0.15, units="mm"))
