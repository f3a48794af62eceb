"""Price brackets of the material in a quote: by hand, where a bracket begins, when more costs less, marks, lists; small weights."""

import itertools
import math
import random

import openpyxl
import pytest
from job_generator import GOOD_INPUTS, good_quote
from template_forms import in_the_sheet
from test_quote import check, whole_part_fits

import barfuncs as bf
from barfuncs.filling.filler import fill, filler, read_inputs
from barfuncs.filling.lists import plan_jobs, read_jobs
from barfuncs.functions.cost import price_units_per_bar
from barfuncs.templates.model import LOOK, OK, STOP
from barfuncs.templates.quote.brackets import BRACKETS

# A bar of 1 in round, 144 in long, at 0.25 lb/in3 weighs pi/4 x 144 x 0.25 = 28.2743 lb. 59 parts a bar.
BARE = {"units": "in", "material": 0.25, "size": 1.0, "part_length": 2.25, "cutoff_width": 0.125, "face_to_cutoff": 0.2, "grip_length": 2.0,
        "bar_length": 144.0, "material_price": 4.6, "price_per": "lb", "machine_rate": 80.0, "cycle_time": 45.0, "margin": 0.2, "quantity_1": 59.0}
ROWS = [(100, 4.2), (200, 3.95), (1000, 3.0)]


def with_rows(*rows: tuple, **more) -> dict:
    return BARE | {f"bracket_{n}_{name}": value for n, row in enumerate(rows, 1) for name, value in zip(("from", "price"), row, strict=True)} | more


def test_a_quote_by_hand():
    bar = 3.141592653589793 / 4 * 144 * 0.25
    a = fill("quote", with_rows(*ROWS, quantity_1=59 * 3, quantity_2=59 * 4, quantity_3=59 * 7, quantity_4=59 * 40)).answers
    assert a["bar_weight"] == pytest.approx(bar)
    # 3 bars are 84.8 lb, below the first bracket; 4 are 113.1 lb, from 100 on; 7 are 197.9 lb, still there; 40 are 1,131 lb
    for n, bars, price in ((1, 3, 4.6), (2, 4, 4.2), (3, 7, 4.2), (4, 40, 3.0)):
        assert (a[f"bought_{n}"], a[f"material_at_{n}"]) == (bars, price)
        assert a[f"buys_{n}"] == pytest.approx(bars * bar)
        assert a[f"material_cost_{n}"] == a[f"bars_cost_{n}"] == pytest.approx(bars * bar * price)
    # 3 bars cost 390.19 and 4 bars 475.01; 7 bars cost 831.27, 8 bars from 200 lb on 893.47; 36 bars 3,053.63. Nowhere costs more less.
    assert [a[f"cheaper_{n}"] for n in range(1, 7)] == [0] * 6
    # The what-ifs are of quantity 1: one bar more is the fourth, at 4.20 all of them; 10 % more is of the price that holds.
    assert (a["material_at_if_now"], a["material_at_if_bar"], a["material_at_if_price"]) == (4.6, 4.2, pytest.approx(5.06))
    b = fill("quote", with_rows(*ROWS, what_if_quantity=59 * 4)).answers
    assert (b["material_at_if_now"], b["material_at_if_price"]) == (4.2, pytest.approx(4.62))
    assert b["material_cost_if_price"] == pytest.approx(4 * bar * 4.62)


def test_no_brackets_are_the_one_price():
    a = fill("quote", BARE | {"quantity_2": 5000.0}).answers
    assert [a[f"material_at_{tag}"] for tag in ("1", "2", "if_now", "whole_2")] == [4.6] * 4
    assert a["material_at_if_price"] == pytest.approx(5.06)
    assert a["cheaper_said"] in ("", None)


@pytest.mark.parametrize(("per", "price", "start"), [
    ("bar", 100, 4), ("blank", 100, 4), ("ft", 9, 48), ("lb", 4, 4 * 28.2743338823), ("100 lb", 400, 4 * 28.2743338823), ("112 lb", 400, 4 * 28.2743338823),
    ("2000 lb", 8000, 4 * 28.2743338823), ("kg", 9, 4 * 28.2743338823 * 0.45359237), ("100 kg", 900, 4 * 28.2743338823 * 0.45359237),
    ("tonne", 9000, 4 * 28.2743338823 * 0.45359237), ("m", 30, 4 * 3.6576)])
def test_a_bracket_begins_at_its_own_quantity_in_what_is_bought(per, price, start):
    """The fourth bar reaches a bracket from just there; one that begins a hair above holds from the fifth on."""
    for edge, bars in ((1 - 1e-7, 4), (1 + 1e-7, 5)):
        job = with_rows((start * edge, price / 2), price_per=per, material_price=price, quantity_1=59 * (bars - 1), quantity_2=59 * bars)
        a = fill("quote", job).answers
        assert (a["material_at_1"], a["material_at_2"]) == (price, price / 2)
        assert a["bracket_1_bars"] == bars
        assert a["material_cost_2"] == pytest.approx(bf.material_cost(bars, price / 2, per, 144, a["bar_weight"]))


def test_the_head_of_the_brackets_says_what_they_count():
    for per, units, word in (("100 lb", "in", "lb"), ("tonne", "mm", "kg"), ("ft", "in", "ft"), ("bar", "in", "bars"), ("blank", "in", "blanks")):
        book = in_the_sheet("quote", {"units": units, "price_per": per})
        sheet, row, column = book.first_cell("bracket_from")
        assert book.value_at((sheet, row - 1, column)) == word


# --- more that costs less ------------------------------------------------------------------------------------------------


def test_more_that_costs_less_is_said_and_only_then():
    # 3 bars at 4.60 are 390.19; from 100 lb on, 4 bars, at 3.40: 384.53. At 3.45: 390.19 for both, the same to the hair.
    word, said = check(in_the_sheet("quote", with_rows((100, 3.4), quantity_1=59 * 3)).to_bytes(), "Prices and rates")
    assert (word, said) == (LOOK, "Prices and rates: To buy more material costs less in total at quantity 177: see the price brackets on the sheet More costs.")
    for change in ({"bracket_1_price": 3.45}, {"minimum_charge": 400.0}, {"quantity_1": 59.0 * 4}, {"bracket_1_from": None, "bracket_1_price": None}):
        assert check(in_the_sheet("quote", with_rows((100, 3.4), quantity_1=59 * 3) | change).to_bytes(), "Prices and rates")[0] == OK
    both = with_rows((100, 3.4), (2000, 1.0), quantity_1=59 * 3, quantity_2=59 * 4, quantity_3=59 * 40)
    assert "at quantity 177 and 2,360: see" in check(in_the_sheet("quote", both).to_bytes(), "Prices and rates")[1]
    # A surcharge is paid on each lb: 84.82 x (4.60 + 1) = 475.01 against 113.1 x (3.40 + 1) = 497.63.
    assert fill("quote", with_rows((100, 3.4), quantity_1=59 * 3, material_surcharge=1)).answers["cheaper_1"] == 0


@pytest.mark.slow
def test_more_costs_less_where_some_larger_purchase_does():
    """Every number of bars up to where the last bracket begins, priced by `material_line_cost`."""
    rng, found = random.Random(11), {False: 0, True: 0}
    while sum(found.values()) < 200:
        inputs = read_inputs(good_quote(rng), "quote")
        inputs |= {name: None for name in inputs if name.startswith("bracket_")}
        if not whole_part_fits(inputs):
            continue
        bare = filler("quote").fill(inputs).answers
        per, length, weight, price = inputs["price_per"], bare["bought_length"], bare["bought_weight"], inputs["material_price"]
        pack = {"100 lb": 100, "112 lb": 112, "2000 lb": 2000, "100 kg": 100, "tonne": 1000}.get(per, 1)
        each = price_units_per_bar(per, length, weight, inputs["units"]) * pack
        bars, rows = int(bare["bought_1"]), []
        if bars > 2000:
            continue
        for n in range(1, rng.randint(2, 4)):  # begins a few bars further on, where all of them cost about what these do
            start = bars + rng.randint(n, 2 * n + 3)
            rows.append((start * each * rng.uniform(0.999, 1), price * bars / start * rng.uniform(0.9, 1.2) ** n))
        # Of brackets that begin within the same bar the last one holds for every whole bar.
        rows.sort()
        rows = [row for row, after in itertools.zip_longest(rows, rows[1:]) if not after or math.ceil(row[0] / each) < math.ceil(after[0] / each)]
        given = {f"bracket_{n}_{name}": value for n, row in enumerate(rows, 1) for name, value in zip(("from", "price"), row, strict=True)}
        a = filler("quote").fill(inputs | given).answers
        costs = {}
        for more in range(bars, bars + 20):
            held = [price, *(p for start, p in rows if start <= more * each * (1 + 1e-9))][-1]
            costs[more] = bf.material_line_cost(more, held, per, length, weight, int(bare["cuts_1"]), inputs["cut_charge"] or 0,
                                                inputs["minimum_charge"] or 0, inputs["material_surcharge"] or 0, units=inputs["units"])
        cheaper = min(costs.values()) < costs[bars] * (1 - 1e-9)
        assert (a["cheaper_1"] > 0) == cheaper, (inputs | given, costs)
        found[cheaper] += 1
    assert min(found.values()) > 20


# --- marks, and what is no price -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rows", "mark"), [
    (ROWS, ["", "", ""]), ([(100, 4.2), (100, 4)], ["", f"{STOP[0]} not more than the row above"]), ([(100, None)], [f"{STOP[0]} price is missing"]),
    ([(None, None), (100, 4.2)], ["", f"{STOP[0]} stands below a blank row"]), ([(100, 4.2), (200, 4.3)], ["", "! no less than the price before"]),
    ([(100, 4.6)], ["! no less than the price before"]), ([(100, 2)], ["! less than half the material price"]),
    ([(-5, 4)], [f"{STOP[0]} material price from is not allowed here"]),
])
def test_the_marks_of_the_rows(rows, mark):
    book = in_the_sheet("quote", with_rows(*rows))
    sheet, row, column = book.first_cell(BRACKETS.marks)
    assert [book.value_at((sheet, row + n, column)) or "" for n in range(len(mark))] == mark
    wrong = any(m.startswith(STOP[0]) for m in mark)
    assert str(book.value("quote_status")).startswith(STOP) == wrong
    assert isinstance(book.value("quote_price_1"), float) != wrong
    assert (check(book.to_bytes(), "More costs")[0] == LOOK) == any(m.startswith("!") for m in mark)


def test_rows_in_python_and_in_a_list(tmp_path):
    rows = [{"from": 100, "price": 4.2}, {"from": 200, "price": "$3.95"}]
    a = fill("quote", BARE | {"quantity_1": 59 * 8, "brackets": rows}).answers
    assert a["material_at_1"] == 3.95
    with pytest.raises(bf.InputError, match="bracket_2_price: is missing"):
        fill("quote", BARE | {"brackets": [{"from": 100, "price": 4.2}, {"from": 200}]})
    (tmp_path / "jobs.csv").write_text(",".join([*BARE, "bracket_1_from", "\"Bracket 1, price\""]) + "\n" + ",".join([*map(str, BARE.values()), "20", "4.2"]))
    done = plan_jobs(read_jobs(tmp_path / "jobs.csv", "quote"), tmp_path / "out", template="quote")
    assert done.problems == []
    book = openpyxl.load_workbook(next(p for p in (tmp_path / "out").glob("*.xlsx") if p.name != "results.xlsx"), data_only=True)
    (sheet, ref), = book.defined_names["quote_material_at_1"].destinations
    assert book[sheet][ref].value == 4.2


def test_the_good_inputs_of_other_tests_reach_a_bracket():
    a = fill("quote", GOOD_INPUTS["quote"]).answers
    assert {a[f"material_at_{n}"] for n in range(1, 7)} == {1.9, 1.5}
