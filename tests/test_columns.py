"""Columns in Python: each row is a call of its own, whatever the column is made of."""

import math
import random
import re

import numpy as np
import pint
import pytest
from formula_cases import OWN_FILE, TEXTS, Case, good_cases
from hypothesis import given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.quick import is_column
from barfuncs.functions.bar_yield import parts_per_bar
from barfuncs.surfaces import cells

try:
    import pandas as pd
except ImportError:  # the package does without it
    pd = None
NEEDS_PANDAS = pytest.mark.skipif(pd is None, reason="pandas is not installed")

ENTRIES = [e for e in CATALOGUE.values() if e.result.reader != "table" and not any(a.kind.columns for a in e.arguments)]


@pytest.fixture(scope="module", autouse=True)
def own_materials(tmp_path_factory):
    path = tmp_path_factory.mktemp("own") / "own.csv"
    path.write_text(OWN_FILE, "utf-8")
    bf.use_materials(path)
    yield
    bf.use_materials(None)


class Refused(str):
    """The problem of a row, in words; a text alone may be a result."""


def of_one_table(entry, rows):
    """The rows with the first one's table, since a table belongs to the whole call."""
    tables = [n for n, a in enumerate(entry.arguments) if a.kind.reader == "table"]
    return [tuple(rows[0][n] if n in tables else value for n, value in enumerate(row)) for row in rows]


def one_by_one(function, rows, units=None):
    """The results of single calls, or the problem of each row."""
    found = []
    for row in rows:
        row = list(row)
        while row and row[-1] is None:
            row.pop()
        try:
            found.append(function(*row, **({"units": units} if units else {})))
        except bf.InputError as error:
            found.append(Refused("; ".join(f"{name}: {reason}" for name, reason in error.problems)))
    return found


def agree(function, rows, units=None):
    """Whether columns of these rows give the same results as single calls, or name the same rows with the same words."""
    wanted = one_by_one(function, rows, units)
    bad = [(f"row {n}", words) for n, words in enumerate(wanted, start=1) if isinstance(words, Refused)]
    columns = [list(column) if a.kind.reader != "table" else column[0]
               for a, column in zip(function.entry.arguments, zip(*rows, strict=True), strict=True)]
    keywords = {"units": units} if units else {}
    if not bad:
        assert function(*columns, **keywords) == wanted
        assert function(*(tuple(c) if isinstance(c, list) else c for c in columns), **keywords) == wanted
        return
    with pytest.raises(bf.InputError) as caught:
        function(*columns, **keywords)
    assert list(caught.value.problems[:10]) == bad[:10]
    assert caught.value.problems[10:] == (((f"{len(bad) - 10} more row" + "s" * (len(bad) > 11), "also refused"),) if len(bad) > 10 else ())


@pytest.mark.parametrize("entry", ENTRIES, ids=[e.name for e in ENTRIES])
def test_good_rows_and_rows_with_texts(entry):
    rng = random.Random(f"columns {entry.name}")
    function = getattr(bf, entry.name)
    cases = [c for c in good_cases(entry, rng, 30) if all(v is None or not isinstance(v, int) or v <= 2000 for v in c.values)]
    agree(function, of_one_table(entry, [c.values for c in cases]))
    readable = [n for n, a in enumerate(entry.arguments) if a.kind.reader in TEXTS]
    mixed = [list(row) for row in of_one_table(entry, [c.values for c in cases])]
    for row in mixed:
        for n in rng.sample(readable, min(2, len(readable))):
            row[n] = rng.choice(TEXTS[entry.arguments[n].kind.reader])
    agree(function, mixed)
    if entry.takes_units and not entry.has_units:
        agree(function, mixed, "mm")
    agree(function, of_one_table(entry, [*(c.values for c in cases[:3]), *mixed[:20], *([None] * len(entry.arguments),) * 2]))


@pytest.mark.parametrize("entry", ENTRIES, ids=[e.name for e in ENTRIES])
def test_one_value_goes_with_every_row(entry):
    rng = random.Random(f"broadcast {entry.name}")
    function = getattr(bf, entry.name)
    cases = [c for c in good_cases(entry, rng, 12) if all(v is None or not isinstance(v, int) or v <= 2000 for v in c.values)]
    first = cases[0].values
    for n in (n for n, a in enumerate(entry.arguments) if a.kind.reader != "table"):
        rows = [(*first[:n], c.values[n], *first[n + 1:]) for c in cases]
        wanted = one_by_one(function, rows)
        given = [*first[:n], [c.values[n] for c in cases], *first[n + 1:]]
        if any(isinstance(w, Refused) for w in wanted):
            with pytest.raises(bf.InputError, match=rf"^{entry.name}: row {1 + next(i for i, w in enumerate(wanted) if isinstance(w, Refused))}: "):
                function(*given)
        else:
            assert function(*given) == wanted


LENGTHS = st.one_of(st.floats(-1, 1e7), st.integers(-2, 2000), st.just(math.nan), st.none(), st.booleans(),
                    st.sampled_from(["12 ft", "2 1/4 in", "19 mm", "3 m", "x", "", "0.5"]))


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(*[LENGTHS] * 6), min_size=1, max_size=14), st.sampled_from([None, "in", "mm"]))
def test_a_column_is_its_rows(rows, units):
    agree(bf.parts_per_bar, rows, units)
    agree(bf.remnant_length, rows, units)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["303", "Brass C36000", "c36000", "1.4305", "unobtainium", "7.85 g/cm3", 0.3, 7.9, 303, None]),
                          st.sampled_from(["round", "hex", "Hexagon", "tube", "triangle"]), st.sampled_from([1, 0.75, "19 mm", "1 in", -1]),
                          st.sampled_from([144, 3000.0, "12 ft", "3 m"]), st.sampled_from([None, 0.1, 2]),
                          st.sampled_from([None, "in", "mm", "metric", "cm"])), min_size=1, max_size=12))
def test_materials_shapes_and_units_in_columns(rows):
    agree(bf.bar_weight, rows)


# --- what goes in and comes out ------------------------------------------------------------------------------------


def test_lists_and_tuples_give_lists():
    assert bf.parts_per_bar(144, [2.25, "3 in", 4], 0.125, 3) == [59, 45, 34]
    assert bf.parts_per_bar(bar_length=144, part_length=(2.25, 3.0), cutoff_width=[0.125, 0.2], min_remnant=3) == [59, 44]
    assert bf.bar_weight(["303", "brass c36000"], ["round", "hex"], 1, 144) == [
        bf.bar_weight("303", "round", 1, 144), bf.bar_weight("brass c36000", "hex", 1, 144)]
    assert bf.length_in(["12 ft", "19 mm"], "in") == [144, 19 / 25.4]
    assert bf.parts_per_bar(144, [], 0.125, 3) == []
    assert bf.parts_per_bar(144, [2.25], 0.125, 3) == [59]


def test_none_counts_as_left_out():
    assert bf.bar_per_part(2, 0.125, [0.5, None]) == [2.625, 2.125]
    assert bf.section_area(["round", "tube"], 2, [None, 0.5]) == [math.pi, math.pi * 0.5 * 1.5]
    with pytest.raises(bf.InputError, match=r"^bar_per_part: row 2: part_length: is missing; allowed is a number more than 0"):
        bf.bar_per_part([2, None], 0.125)


def test_arrays_give_arrays():
    counts = bf.parts_per_bar(144, np.array([2.25, 3]), 0.125, 3)
    assert isinstance(counts, np.ndarray)
    assert counts.dtype.kind == "i"
    assert counts.tolist() == [59, 45]
    assert bf.bar_per_part(np.array([2, 3]), [0.125, 0.25]).tolist() == [2.125, 3.25]
    assert bf.parts_to_make(np.array([1000.0, 500.0]), 0.03).tolist() == bf.parts_to_make([1000, 500], 0.03)
    assert bf.bar_weight(np.array(["303", "6061"]), "round", 1, 144).tolist() == bf.bar_weight(["303", "6061"], "round", 1, 144)
    empty = bf.parts_per_bar(144, np.array([]), 0.125, 3)
    assert isinstance(empty, np.ndarray)
    assert empty.size == 0
    assert bf.parts_per_bar(144, np.float64(2.25), np.float32(0.125), 3) == 59  # no column: one value each
    with pytest.raises(bf.InputError, match=r"^parts_per_bar: part_length: 2 dimensions given; allowed is one column$"):
        bf.parts_per_bar(144, np.ones((2, 2)), 0.125, 3)
    with pytest.raises(bf.InputError, match=r"^parts_per_bar: row 2: part_length: nan given; allowed is"):
        bf.parts_per_bar(144, np.array([1, math.nan]), 0.125, 3)


@NEEDS_PANDAS
def test_series_give_series_with_the_same_index():
    frame = pd.DataFrame({"length": [2.25, 3.0, None], "facing": [0.0, None, 0.1], "material": ["303", "6061", "12L14"]}, index=["a", "b", "c"])
    result = bf.bar_per_part(frame["length"].fillna(1), 0.125, frame["facing"])
    assert isinstance(result, pd.Series)
    assert result.to_dict() == {"a": 2.375, "b": 3.125, "c": 1.225}
    assert bf.bar_weight(frame["material"], "round", [1, 2, 3], 144).index.tolist() == ["a", "b", "c"]
    assert bf.bar_per_part(frame["length"].fillna(1), np.array([1.0, 2, 3])).index.tolist() == ["a", "b", "c"]
    assert str(bf.parts_per_bar(144, frame["length"].fillna(1), 0.125, 3).dtype) == "int64"
    with pytest.raises(bf.InputError, match=r"^bar_per_part: row 3: part_length: is missing"):
        bf.bar_per_part(frame["length"], 0.125)
    with pytest.raises(bf.InputError, match=r"^bar_per_part: cutoff_width: its index is not that of part_length$"):
        bf.bar_per_part(frame["length"], frame["facing"].iloc[::-1])


def test_quantities_in_a_column_stay_quantities():
    q = pint.UnitRegistry().Quantity
    results = bf.bar_per_part([q(57, "mm"), q(2, "inch")], [q(3, "mm"), q(0.5, "inch")])
    assert [(r.magnitude, str(r.units)) for r in results] == [(60, "millimeter"), (2.5, "inch")]
    stated = bf.bar_per_part([q(2, "inch"), 57], 3, units="mm")
    assert (stated[0].magnitude, str(stated[0].units), stated[1]) == (pytest.approx(53.8), "millimeter", 60)
    array = bf.bar_per_part(np.array([1.0, 2.0]), q(0.5, "inch"))
    assert array.dtype == object
    assert [r.magnitude for r in array] == [1.5, 2.5]


def test_units_hold_for_the_whole_column():
    assert bf.bar_per_part([57, "2 in"], "3 mm", units="mm") == pytest.approx([60, 53.8])
    assert bf.bar_weight("303", "round", [19, "1 in"], "3 m", units="mm") == pytest.approx(
        [bf.bar_weight("303", "round", 19, 3000, units="mm"), bf.bar_weight("303", "round", 25.4, 3000, units="mm")])
    assert bf.bar_weight("303", "round", [1, 25.4], [144, 3657.6], None, ["in", "mm"]) == pytest.approx(
        [bf.bar_weight("303", "round", 1, 144), bf.bar_weight("303", "round", 1, 144) * 0.45359237])
    assert bf.bar_weight("303", "round", "1 in", [144, 3657.6], None, ["in", "mm"]) == pytest.approx(
        [bf.bar_weight("303", "round", 1, 144), bf.bar_weight("303", "round", 1, 144) * 0.45359237])
    with pytest.raises(bf.InputError, match=r"^bar_per_part: row 2: units: is missing: '57 mm' is metric"):
        bf.bar_per_part(["2 in", "57 mm"], "1/8 in")
    with pytest.raises(bf.InputError, match=r"^bar_per_part: units: 'cm' given; allowed is one of in, mm$"):
        bf.bar_per_part([1, 2], 3, units="cm")


# --- what is refused -----------------------------------------------------------------------------------------------


def test_columns_of_different_length_are_refused():
    with pytest.raises(bf.InputError, match=r"^parts_per_bar: part_length: 2 rows given next to 3 rows of bar_length; columns must have the "
                                            r"same length; min_remnant: 1 row given next to 3 rows of bar_length"):
        bf.parts_per_bar([1, 2, 3], [1, 2], 0.1, (3,))


def test_the_first_bad_rows_are_named_and_the_others_counted():
    with pytest.raises(bf.InputError) as caught:
        bf.parts_per_bar(144, [1, *[-1] * 14, "x"], 0.1, 3)
    assert [name for name, _ in caught.value.problems] == [*(f"row {n}" for n in range(2, 12)), "5 more rows"]
    assert bf.why("parts_per_bar", 144, [1, -2], 0.1, 3) == (
        "row 2: part_length: -2 given; allowed is a number more than 0 and at most 1,000,000 (in)")
    with pytest.raises(bf.InputError, match=r"at least 990 more rows: also refused$"):
        bf.parts_per_bar(144, [-1] * 100_000, 0.1, 3)


def test_a_table_takes_no_columns_but_its_own():
    assert bf.price_breaks([100, 250], 59, 34.8, 45, 30, 1.5, 80)[1] == bf.price_breaks(250, 59, 34.8, 45, 30, 1.5, 80)[0]
    with pytest.raises(bf.InputError, match=r"^price_breaks: bar_cost: a column given; allowed is one value$"):
        bf.price_breaks([100], 59, [34.8, 35], 45, 30, 1.5, 80)


def test_a_refusal_of_the_function_itself_names_the_row():
    with pytest.raises(bf.InputError, match=r"^bars_for_confidence: row 2: bar_per_part: 0\.001 given; a bar would give more than 10,000"):
        bf.bars_for_confidence(100, 144, 144, [2.375, 0.001], 2)


def test_a_text_is_no_column():
    assert not is_column("12 ft")
    assert not is_column(np.float64(2))
    assert not is_column(pint.UnitRegistry().Quantity(2, "inch"))
    assert is_column(np.array([2]))
    several = pint.UnitRegistry().Quantity(np.array([1.0, 2.0]), "inch")
    assert not is_column(several)
    with pytest.raises(bf.InputError, match="part_length: one number in inch expected, a quantity of ndarray given"):
        bf.bar_per_part(several, 0.125)


# --- speed and agreement with cells --------------------------------------------------------------------------------


@pytest.mark.parametrize("make", [list, np.array], ids=["list", "array"])
def test_plain_rows_are_not_read_one_by_one(make, monkeypatch):
    """A million rows take a fraction of a second only if no row goes through the careful path."""
    monkeypatch.setattr("barfuncs.catalogue.columns.Columns._one_by_one", lambda *_: pytest.fail("read row by row"))
    assert len(bf.parts_per_bar(144, make([2.25, 3.0] * 50), 0.125, 3)) == 100
    assert len(bf.remnant_length("12 ft", make([2.25, 3.0] * 50), 0.125, 3)) == 100
    assert len(bf.parts_to_make(make([100.0, 250] * 50), 0.03)) == 100
    assert len(bf.bar_per_part(make([100.0, 250] * 50), "3 mm", units="mm")) == 100


def test_cells_give_the_same_as_columns():
    entry = CATALOGUE["parts_per_bar"]
    column = ["2 1/4 in", 3.0, "57.15 mm", 4]
    in_cells = cells.CellCall(entry, cells.EXCEL)("12 ft", tuple((v,) for v in column), "1/8 in", "3 in")
    assert [row[0] for row in in_cells] == bf.parts_per_bar("12 ft", column, "1/8 in", "3 in")


def test_single_calls_stay_as_they_are():
    case = Case(CATALOGUE["parts_per_bar"], (144, 2.25, 0.125, 3))
    assert case.expected() == parts_per_bar(*case.values) == 59
    assert re.search("allowed is a number", bf.why("parts_per_bar", 144, object(), 1, 1))
