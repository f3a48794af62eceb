"""The bar for a part: tolerances and defects of bar as data, what a bar leaves, and the smallest one that will do."""

import itertools
import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue import kinds
from barfuncs.tables import tolerances
from barfuncs.text.csv_text import read_csv
from barfuncs.text.datafile import builtin_data

FILES = ("size_tolerances.csv", "defect_depths.csv", "straightness.csv", "stock_steps.csv")


def rows_of(name):
    head, *rows = read_csv(builtin_data(tolerances.__file__, name))
    return [dict(zip(head, row, strict=False)) for row in rows]


# --- the data ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FILES)
def test_every_row_has_a_source(name):
    for row in rows_of(name):
        assert len(row["source"].split()) >= 2, row
        assert "from memory" in row["source"] or re.search(r"\.com|by definition", row["source"]), row


def test_the_quick_reading_of_the_tables_is_that_of_a_csv_reader():
    assert [(r.tolerance_class, r.shape, r.unit, r.over, r.up_to, r.open_end, r.minus, r.plus) for r in tolerances.size_tolerances()] == [
        (r["class"], r["shape"], r["unit"], float(r["over"]), float(r["up_to"]), r["upper"] == "excluded", float(r["minus"]), float(r["plus"]))
        for r in rows_of("size_tolerances.csv")]
    assert [(r.least_mm, r.share, r.most_mm) for r in tolerances.defect_depths().values()] == [
        (float(r["least_mm"]), float(r["share"]), float(r["most_mm"]) if r["most_mm"] else None) for r in rows_of("defect_depths.csv")]
    assert [r.mm_per_m for r in tolerances.straightness()] == [float(r["mm_per_m"]) for r in rows_of("straightness.csv")]


def test_choices_are_the_classes_of_the_tables():
    assert {"standard", "none", *(r.tolerance_class for r in tolerances.size_tolerances())} == set(kinds.TOLERANCE_CLASSES)
    assert tuple(tolerances.defect_depths()) == kinds.DEFECT_CLASSES
    assert {r.steel for r in tolerances.straightness()} == set(kinds.STEELS)


def test_bands_follow_each_other_and_tolerances_never_get_smaller():
    groups = {}
    for row in tolerances.size_tolerances():
        groups.setdefault((row.tolerance_class, row.shape), []).append(row)
    for rows in groups.values():
        for one, after in itertools.pairwise(rows):
            assert one.up_to == after.over
            assert one.minus <= after.minus


# --- published values: group C and group K of the check values -----------------------------------------------------

AGREED = "ISO 286 and EN 10278, tables at azom.com, precisemetal.in, ausasteel.com, evgroupchina.com (all agree)"
ISO_286 = [  # class, over, up to and including, micrometres; AGREED
    ("h8", 50, 80, 46), ("h8", 30, 50, 39), ("h8", 6, 10, 22), ("h8", 1, 3, 14), ("h8", 3, 6, 18),
    ("h9", 6, 10, 36), ("h9", 10, 18, 43), ("h9", 80, 120, 87), ("h9", 50, 80, 74), ("h9", 18, 30, 52),
    ("h10", 50, 80, 120), ("h10", 18, 30, 84), ("h10", 6, 10, 58), ("h10", 10, 18, 70), ("h10", 30, 50, 100),
    ("h11", 30, 50, 160), ("h11", 1, 3, 60), ("h11", 6, 10, 90), ("h11", 3, 6, 75), ("h11", 80, 120, 220),
    ("h12", 18, 30, 210), ("h12", 3, 6, 120), ("h12", 6, 10, 150), ("h12", 80, 120, 350), ("h12", 30, 50, 250),
]


@pytest.mark.parametrize(("name", "over", "up_to", "micrometres"), ISO_286)
def test_published_h_tolerances(name, over, up_to, micrometres):
    for size in (over + 1e-6, (over + up_to) / 2, up_to):
        assert bf.size_tolerance(size, name, units="mm") * 1000 == pytest.approx(micrometres, abs=1e-9)
        assert bf.size_tolerance(size / 25.4, name) * 25400 == pytest.approx(micrometres, abs=1e-9)
    assert bf.size_tolerance(up_to + 1e-5, name, units="mm") * 1000 > micrometres


def test_published_smallest_diameter():
    # evgroupchina.com, footnote of its table of EN 10278
    assert 20 - bf.size_tolerance(20, "h9", units="mm") == pytest.approx(19.948, abs=1e-12)


@pytest.mark.parametrize(("shape", "size", "name"), [("round", 20, "h10"), ("hexagon", 80, "h11"), ("square", 80, "h11"),
                                                      ("hexagon", 80.5, "h12"), ("square", 85, "h12")])
def test_published_class_where_none_was_agreed(shape, size, name):
    # EN 10278:1999, 6.1.2, as rendered at longtonsteel.com and mert-celik.com.tr
    assert bf.size_tolerance(size, "standard", shape, "mm") == bf.size_tolerance(size, name, shape, "mm")


@pytest.mark.parametrize(("steel", "shape", "mm"), [
    ("carbon from 0.25% or alloy", "round", 1.5), ("carbon from 0.25% or alloy", "hexagon", 2.0),
    ("carbon from 0.25% or alloy", "square", 2.0), ("carbon below 0.25%", "hexagon", 1.0), ("stainless or tool or bearing", "round", 1.0)])
def test_published_straightness(steel, shape, mm):
    # EN 10278 as reproduced at stalma.com.pl and lucefin.com; mm for each metre
    assert bf.bar_straightness(20, 1000, steel, shape, "mm") == mm
    assert bf.bar_straightness(20 / 25.4, 144, steel, shape) == pytest.approx(mm * 0.144, rel=1e-12)


def test_published_hot_rolled_rounds():
    # EN 10060:2003 table 1 as reproduced at uyarcelik.com
    for sizes, tolerance in (((16, 25), 0.5), ((26, 36), 0.6), ((40, 50), 0.8), ((52, 80), 1.0), ((85, 100), 1.3), ((105, 125), 1.5), ((130,), 2.0)):
        for size in sizes:
            assert bf.size_tolerance(size, "EN 10060", units="mm") == tolerance


def test_published_cold_drawn_and_cold_finished_inch_bars():
    # ASTM A108 as reproduced at lucefin.com (0 to 1-1/2, to 2-1/2, to 4); ASTM A484 as reproduced at chicagotube.com
    for size, tolerance in ((0.5, 0.002), (1.5, 0.002), (1.5625, 0.003), (2.5, 0.003), (4, 0.004)):
        assert bf.size_tolerance(size, "A108 to 0.28% C") == tolerance
    for size, tolerance in ((0.5, 0.002), (0.9375, 0.002), (1, 0.0025), (1.4375, 0.0025)):
        assert bf.size_tolerance(size, "A484") == pytest.approx(tolerance, rel=1e-12)
        assert bf.size_tolerance(size * 25.4, "A484", units="mm") == pytest.approx(tolerance * 25.4, rel=1e-12)


def test_published_defect_depths():
    # EN 10277-1 as reproduced at stalma.com.pl; the 30 mm worked out
    for name in ("class 1", "class 2"):
        assert bf.defect_depth(15, name, "mm") == 0.3
        assert bf.defect_depth(30, name, "mm") == pytest.approx(0.6)
    assert bf.defect_depth(20, "class 3", "mm") == 0.2
    assert bf.defect_depth(75, "class 3", "mm") == pytest.approx(0.75) == bf.defect_depth(90, "class 3", "mm")
    assert bf.defect_depth(15 / 25.4, "class 1") == pytest.approx(0.3 / 25.4)


def test_published_bar_for_six_inches():
    # usalloys.com: finished size / 0.968; 6.198, and the page buys 6.25
    assert bf.smallest_bar(6, 0, "1.6% a side") == pytest.approx(6.198, abs=0.0006)
    assert bf.bar_size_for(6, tolerance_class="none", defect_class="1.6% a side") == 6.25


def test_bar_for_25_mm_turned():
    # EN 10278 h10 and EN 10277-1, worked out: 26 leaves 24.876, 27 leaves 25.836
    whole = list(range(20, 40))
    assert bf.bar_size_for(25, whole, tolerance_class="h10", units="mm") == 27 == bf.bar_size_for(25, tolerance_class="h10", units="mm")
    assert bf.size_left(26, "h10", units="mm") == pytest.approx(24.876, abs=1e-9)
    assert bf.size_left(27, "h10", units="mm") == pytest.approx(25.836, abs=1e-9)
    assert bf.bar_size_reason(25, whole, tolerance_class="h10", units="mm") == (
        "27 mm leaves 25.836; 26 mm leaves 24.876, less than 25 (h10, defects class 1)")


# --- the pick ------------------------------------------------------------------------------------------------------

CLASSES = st.sampled_from(kinds.TOLERANCE_CLASSES)
DEFECTS = st.sampled_from(kinds.DEFECT_CLASSES)
SHAPES = st.sampled_from(kinds.BAR_SHAPES)


@settings(deadline=None, max_examples=400)
@given(st.floats(0.05, 100), CLASSES, DEFECTS, st.floats(0, 3), SHAPES, st.sampled_from(["in", "mm"]),
       st.one_of(st.none(), st.lists(st.floats(0.05, 120), min_size=1, max_size=12)))
def test_the_size_leaves_the_finished_size_and_the_next_smaller_does_not(finished, tolerance, defects, clean_up, shape, units, sizes):
    of = (tolerance, defects, clean_up, shape, units)
    among = sorted(set(sizes)) if sizes else list(tolerances.stock_steps(units, shape))

    def left(size):
        try:
            return bf.size_left(size, *of)
        except bf.InputError:
            return None

    try:
        size = bf.bar_size_for(finished, sizes, "turned", tolerance, defects, clean_up, shape, shape, units)
    except bf.InputError:
        assert all((left(s) or 0) < finished for s in among)
        return
    assert size in among
    assert left(size) >= finished * (1 - 1e-9)
    assert all((left(s) or 0) < finished for s in among if s < size)
    reason = bf.bar_size_reason(finished, sizes, "turned", tolerance, defects, clean_up, shape, shape, units)
    assert " leaves " in reason
    assert ("no smaller size is in the list" in reason) == (not any(left(s) is not None for s in among if s < size))


@settings(deadline=None, max_examples=300)
@given(st.floats(0.05, 300), st.floats(0, 0.5), DEFECTS, st.floats(0, 3), st.sampled_from(["in", "mm"]))
def test_the_smallest_bar_leaves_just_the_finished_size(finished, minus, defects, clean_up, units):
    size = bf.smallest_bar(finished, minus, defects, clean_up, units)
    assert size - minus - 2 * bf.defect_depth(size, defects, units) - 2 * clean_up == pytest.approx(finished, rel=1e-12)


def test_the_smallest_bar_and_the_pick_agree_where_tolerances_step():
    for finished in np.arange(27.5, 30.5, 0.01):
        size = bf.bar_size_for(finished, list(np.arange(2700, 3300) / 100), tolerance_class="h10", defect_class="none", units="mm")
        exact = bf.smallest_bar(finished, bf.size_tolerance(size, "h10", units="mm"), "none", units="mm")
        assert exact <= size * (1 + 1e-9)
        assert size - exact < 0.0101


def test_as_drawn_is_the_size_itself_or_the_next_that_is_turned():
    assert bf.bar_size_for(25, surface="as drawn", tolerance_class="h9", units="mm") == 25
    assert bf.bar_size_reason(25, surface="as drawn", tolerance_class="h9", units="mm") == "25 mm stays as drawn: 24.948 to 25 (h9)"
    assert bf.bar_size_reason(1, surface="as drawn", tolerance_class="A484") == "1 in stays as drawn: 0.9975 to 1.0025 (A484)"
    assert bf.bar_size_for(25.4, surface="as drawn", units="mm") == 27
    assert bf.bar_size_reason(25.4, surface="as drawn", units="mm") == (
        "no 25.4 mm in the list to stay as drawn, so it is turned: 27 mm leaves 25.836; 26 mm leaves 24.876, less than 25.4 (h10, defects class 1)")


def test_ground_bar_for_a_guide_bush_is_a_matter_of_its_class():
    for name, micrometres in (("h6", 13), ("h7", 21), ("h8", 33)):
        assert bf.size_left(20, name, "none", units="mm") == pytest.approx(20 - micrometres / 1000, abs=1e-12)
    assert bf.bar_size_for(19.97, tolerance_class="h8", defect_class="none", units="mm") == 21
    assert bf.bar_size_for(19.97, tolerance_class="h7", defect_class="none", units="mm") == 20


def test_hexagon_from_round_needs_the_corners():
    assert bf.bar_size_for(17, tolerance_class="none", defect_class="none", part_shape="hexagon", units="mm") == 20
    assert 17 * 2 / math.sqrt(3) == pytest.approx(19.63, abs=0.001)
    assert bf.bar_size_for(17, tolerance_class="none", defect_class="none", part_shape="square", units="mm") == 25  # 24.04
    assert bf.bar_size_for(17, surface="as drawn", part_shape="hexagon", bar_shape="hexagon", units="mm") == 17
    # A round part from hexagon bar: the flats must leave it.
    assert bf.bar_size_for(17, tolerance_class="none", defect_class="none", bar_shape="hexagon", units="mm") == 17


@pytest.mark.parametrize(("arguments", "message"), [
    ({"part_shape": "hexagon", "bar_shape": "square"}, "bar_shape: a hexagon part is made from round or hexagon bar"),
    ({"surface": "as drawn", "bar_shape": "hexagon"}, "surface: a round part from hexagon or square bar is turned all over"),
    ({"stock_sizes": [20, 25]}, "stock_sizes: the largest that counts, 25 mm, leaves 23.916, less than 25"),
    ({"stock_sizes": []}, "stock_sizes: give at least one size"),
    ({"stock_sizes": "20; ; 30"}, "stock_sizes: '20; ; 30' has nothing between two separators"),
    ({"stock_sizes": [400], "tolerance_class": "h10"}, "tolerance_class: the table of this class has none of these sizes"),
    ({"stock_sizes": [30, "x", -1]}, "stock_sizes: 'x' can't be read as a length.*; stock_sizes: -1 given"),
    ({"bar_shape": "square", "tolerance_class": "A484", "part_shape": "square"}, "tolerance_class: the table of this class has none"),
])
def test_what_can_not_be_is_refused_in_words(arguments, message):
    for function in (bf.bar_size_for, bf.bar_size_reason):
        with pytest.raises(bf.InputError, match=message):
            function(25, units="mm", **arguments)


@pytest.mark.parametrize(("text", "units", "sizes"), [
    ("24 25 26", "mm", [24, 25, 26]), ("24,25,26", "mm", [24, 25, 26]), ("24, 25, 26", "mm", [24, 25, 26]), ("30;20", "mm", [20, 30]),
    ("1/2; 1 1/8; 3/4", "in", [0.5, 0.75, 1.125]), ("1/2;3/4 in;20 mm", "in", [0.5, 0.75, 20 / 25.4]), ("1-1/8", "in", [1.125]),
    ("27 mm", "mm", [27]), ("1 1/8 in", "in", [1.125]), ("1 in; 30 mm", "mm", [25.4, 30]), (27, "mm", [27]), ([[24, None], [25, ""]], "mm", [24, 25]),
])
def test_a_list_of_sizes(text, units, sizes):
    from barfuncs.functions.stock_size import read_stock_sizes

    assert read_stock_sizes(text, "round", units, "here") == pytest.approx(sizes)


def test_usual_steps_of_the_other_unit():
    assert bf.bar_size_for(25, "inch", units="mm") == pytest.approx(1.0625 * 25.4)
    assert bf.bar_size_for(1, "metric") == pytest.approx(27 / 25.4)
    inch = tolerances.stock_steps("in", "round")
    assert {0.5, 0.75, 1, 1.0625, 2.125, 4.25, 6.25, 8, 12} <= set(inch)
    assert {36.0, 41.0, 46.0} <= set(tolerances.stock_steps("mm", "hexagon"))


@pytest.mark.parametrize(("size", "name", "shape"), [(9.5, "standard", "round"), (4.5, "A108 to 0.55% C", "hexagon"), (1, "A484", "hexagon"),
                                                      (6, "A484", "round"), (3.5, "A108 over 0.55% C", "hexagon"), (20, "h9", "round")])
def test_a_size_that_the_table_does_not_cover_has_no_tolerance(size, name, shape):
    with pytest.raises(bf.InputError, match="tolerance_class: the table of this class has no bar of that shape and size"):
        bf.size_tolerance(size, name, shape)
