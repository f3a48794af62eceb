"""Money: rounding against exact decimals, the cost of an order line by line, price breaks against the single functions."""

import io
import math
import random
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from fractions import Fraction

import openpyxl
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.catalogue.entry import CATALOGUE, find
from barfuncs.catalogue.formula import cell_formula
from barfuncs.catalogue.kinds import ROUNDINGS
from barfuncs.functions.cost import PRICE_BREAK_COLUMNS
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

PROFILE = settings(deadline=None, max_examples=200, derandomize=True)
STEPPED = {name: rule for name, rule in ROUNDINGS.items() if rule[0]}
CENTS = st.integers(0, 10_000_000).map(lambda n: n / 100)


def exact(price: str, rounding: str) -> float:
    """The rounding rule on decimals, where nothing is lost."""
    steps, up = ROUNDINGS[rounding]
    count = (Decimal(price) * steps).to_integral_value(ROUND_CEILING if up else ROUND_HALF_UP)
    return float(count / steps)


def in_cells(name: str, rows: list[dict]) -> list:
    """The function's cell formula, once for each row of arguments."""
    book = openpyxl.Workbook()
    entry = CATALOGUE[name]
    for row, values in enumerate(rows, start=1):
        refs = {}
        for column, argument in enumerate(entry.arguments, start=2):
            cell = book.active.cell(row, column, values.get(argument.name))
            refs[argument.name] = cell.coordinate
        book.active.cell(row, 1, "=" + cell_formula(entry, refs))
    buffer = io.BytesIO()
    book.save(buffer)
    calc = Workbook(buffer.getvalue())
    calc.calculate()
    return [calc.value_at((0, row, 1)) for row in range(1, len(rows) + 1)]


# --- rounding ------------------------------------------------------------------------------------------------------

# Where a plain ROUND, CEILING or INT goes wrong: halves that are a hair below in floating point, sums and quotients that
# are a hair above a whole step.
HARD = [
    (2.675, "nearest 0.01", 2.68), (1.005, "nearest 0.01", 1.01), (0.285, "nearest 0.01", 0.29),
    (1.255, "nearest 0.01", 1.26), (8.345, "nearest 0.01", 8.35), (2.674999, "nearest 0.01", 2.67),
    (0.00015, "nearest 0.0001", 0.0002), (1.0005, "nearest 0.001", 1.001),
    (3.63, "up to next 0.01", 3.63), (2.904 / 0.8, "up to next 0.01", 3.63), (0.1 + 0.2, "up to next 0.1", 0.3),
    (0.07 * 100 / 100, "up to next 0.01", 0.07), (1.1 * 3, "up to next 0.1", 3.3), (4.35, "up to next 0.05", 4.35),
    (1.15, "up to next 0.05", 1.15), (19.99, "up to next 0.01", 19.99), (3.6300001, "up to next 0.01", 3.64),
    (1.01, "up to next 0.05", 1.05), (1.01, "up to next 0.1", 1.1), (1.01, "up to next 0.25", 1.25),
    (1.01, "up to next 1", 2.0), (7.0, "up to next 1", 7.0), (0.0, "up to next 1", 0.0), (0.0, "nearest 0.01", 0.0),
    (2.675, "none", 2.675),
]


@pytest.mark.parametrize(("price", "rounding", "wanted"), HARD)
def test_rounding_never_falls_into_noise(price, rounding, wanted):
    assert bf.rounded_price(price, rounding) == wanted


def test_rounding_in_a_cell_never_falls_into_noise():
    rows = [{"price": price, "rounding": rounding} for price, rounding, _ in HARD]
    assert in_cells("rounded_price", rows) == [wanted for _, _, wanted in HARD]


@PROFILE
@given(st.integers(0, 1_000_000_000), st.integers(0, 6), st.sampled_from(list(STEPPED)))
def test_rounding_is_that_of_decimals(digits, places, rounding):
    text = str(Decimal(digits).scaleb(-places))
    assert bf.rounded_price(float(text), rounding) == exact(text, rounding)


@pytest.mark.slow
def test_rounding_in_a_cell_is_that_of_decimals():
    rng = random.Random(11)
    texts = [str(Decimal(rng.randrange(10 ** rng.randint(1, 9))).scaleb(-rng.randint(0, 6))) for _ in range(1500)]
    texts += [f"{n}.{m:02d}5" for n in range(0, 60, 7) for m in range(100)]  # every half cent
    rules = [rng.choice(list(STEPPED)) for _ in texts[:1500]] + ["nearest 0.01"] * (len(texts) - 1500)
    got = in_cells("rounded_price", [{"price": float(t), "rounding": r} for t, r in zip(texts, rules, strict=True)])
    assert [(t, r, g) for t, r, g in zip(texts, rules, got, strict=True) if g != exact(t, r)] == []


@PROFILE
@given(st.floats(0, 1e6), st.sampled_from(list(STEPPED)))
def test_rounding_stays_within_a_step_and_is_done_once(price, rounding):
    steps, up = STEPPED[rounding]
    rounded = bf.rounded_price(price, rounding)
    assert bf.rounded_price(rounded, rounding) == rounded
    low, high = (-1e-7, 1) if up else (-0.5 - 1e-7, 0.5 + 1e-7)
    assert low <= (rounded - price) * steps <= high


def test_rounding_rules_go_by_their_names():
    for name, (steps, up) in STEPPED.items():
        assert float(name.split()[-1]) == pytest.approx(1 / steps, rel=1e-15)
        assert name.startswith("up to next " if up else "nearest ")


# --- price ---------------------------------------------------------------------------------------------------------


@PROFILE
@given(CENTS, st.integers(0, 950).map(lambda n: n / 1000), st.sampled_from(list(ROUNDINGS)))
def test_quoted_price_is_price_then_rounding(cost, share, rounding):
    assert bf.quoted_price(cost, margin=share, rounding=rounding) == bf.rounded_price(bf.price_at_margin(cost, share), rounding)
    assert bf.quoted_price(cost, markup=share, rounding=rounding) == bf.rounded_price(bf.price_at_markup(cost, share), rounding)
    assert bf.quoted_price(cost, rounding=rounding) == bf.rounded_price(cost, rounding)


@PROFILE
@given(st.integers(1, 10_000_000).map(lambda n: n / 100), st.integers(0, 990).map(lambda n: n / 1000))
def test_margin_of_an_unrounded_quote_is_the_margin(cost, margin):
    assert bf.margin_of(bf.quoted_price(cost, margin, rounding="none"), cost) == pytest.approx(margin, abs=1e-12)
    assert bf.margin_of(bf.quoted_price(cost, margin, rounding="up to next 0.05"), cost) >= margin - 1e-9


def test_margin_and_markup_together_are_refused():
    with pytest.raises(bf.InputError, match=r"^quoted_price: markup: give a margin or a markup, not both$"):
        bf.quoted_price(75, 0.25, 0.3)
    with pytest.raises(bf.InputError, match=r"^price_breaks: markup: give a margin or a markup, not both$"):
        bf.price_breaks([100], 59, 34.8, 45, 30, 1.5, 80, margin=0.2, markup=0.2)
    assert bf.quoted_price(75, 0, 0.2) == bf.quoted_price(75, None, 0.2) == 90
    both, one, zero = in_cells("quoted_price", [{"cost": 75, "margin": 0.25, "markup": 0.3}, {"cost": 75, "margin": 0.25},
                                                {"cost": 75, "margin": 0, "markup": 0.2}])
    assert isinstance(both, CellError)
    assert (one, zero) == (100, 90)


def test_published_markup_and_margin():
    # instudier.com: cost 100, price 125 is a markup of 25 % on cost.
    assert bf.quoted_price(100, markup=0.25) == 125
    # Centennial College, business math guide: margin = markup / (1 + markup).
    assert bf.quoted_price(100, margin=0.25 / 1.25) == 125


# --- cost of an order ----------------------------------------------------------------------------------------------

BASE = {"parts_per_bar": 59, "bar_cost": 34.8, "cycle_time": 45, "bar_change_time": 30, "setup_hours": 1.5, "machine_rate": 80}
FULL = BASE | {"scrap_rate": 0.03, "setup_parts": 5, "setup_rate": 65, "other_per_part": 0.11, "other_per_order": 25,
               "minimum_charge": 150, "markup": 0.3, "rounding": "up to next 0.05", "efficiency": 0.9, "cuts_per_bar": 1,
               "cut_charge": 2.5, "tooling": 120, "chip_price": 0.3, "remnant_price": 0.45, "bar_weight": 14.5,
               "gross_weight": 0.239, "part_weight": 0.16, "trim_weight": 0.02}


def test_an_order_worked_out_by_hand():
    (row,) = bf.price_breaks([1000], **FULL)
    # 1000 / 0.97 = 1030.9, so 1031 and 5 set-up pieces are started; 1036 / 59 = 17.6, so 18 bars.
    material = 18 * 34.8 + 18 * 2.5
    parts, fed, bars = 1036 * 0.16, 1036 * 0.239, 18 * 14.5
    remnants = bars - 18 * 0.02 - fed
    back = (bars - parts - remnants) * 0.3 + remnants * 0.45
    machine = (1036 * 45 / 0.9 + 17 * 30) / 3600 * 80
    other = 1000 * 0.11 + 25 + 120
    cost = material - back + machine + 1.5 * 65 + other
    assert row[:2] == (1000, 18)
    assert row[2:7] == pytest.approx((material - back, machine, 97.5, other, cost / 1000), rel=1e-12)
    assert row[7] == math.ceil(cost / 1000 * 1.3 * 20) / 20 == 2.85
    assert row[8] == 2850
    # 18 bars give 1062 parts, less 5 set-up pieces, of which 97 % are good.
    assert row[9] == 1025


def exact_row(quantity: int, v: dict) -> dict:
    """The same order in fractions, on its own way: no function of the package."""
    f = {k: Fraction(x) if isinstance(x, (int, float)) else x for k, x in v.items()}
    to_make = math.ceil(quantity / (1 - f["scrap_rate"])) + v["setup_parts"]
    bars = -(-to_make // v["parts_per_bar"])
    material = max(f["minimum_charge"], bars * (f["bar_cost"] + f["cuts_per_bar"] * f["cut_charge"]))
    chips = to_make * (f["gross_weight"] - f["part_weight"]) + bars * f["trim_weight"]
    remnants = bars * f["bar_weight"] - to_make * f["gross_weight"] - bars * f["trim_weight"]
    material -= chips * f["chip_price"] + remnants * f["remnant_price"]
    hours = (to_make * f["cycle_time"] / f["efficiency"] + (bars - 1) * f["bar_change_time"]) / 3600
    setup = f["setup_hours"] * (f["machine_rate"] if v["setup_rate"] is None else f["setup_rate"])
    other = quantity * f["other_per_part"] + f["other_per_order"] + f["tooling"]
    machine = hours * f["machine_rate"]
    return {"bars": bars, "material": material, "machine": machine, "setup": setup, "other": other,
            "cost_each": (material + machine + setup + other) / quantity, "parts_to_make": to_make}


@st.composite
def orders(draw):
    bar_weight = draw(st.integers(1, 300))
    parts = draw(st.integers(1, 400))
    gross_weight = bar_weight / parts * draw(st.sampled_from([1.0, 0.75, 0.5]))
    share = draw(st.sampled_from(["margin", "markup"]))
    money = st.integers(0, 20_000).map(lambda n: n / 100)
    return {
        "parts_per_bar": parts, "bar_cost": draw(money), "cycle_time": draw(st.integers(1, 600)),
        "bar_change_time": draw(st.integers(0, 120)), "setup_hours": draw(st.integers(0, 24)) / 4,
        "machine_rate": draw(money), "scrap_rate": draw(st.integers(0, 8)) / 16, "setup_parts": draw(st.integers(0, 20)),
        "setup_rate": draw(st.one_of(st.none(), money)), "other_per_part": draw(money) / 100, "other_per_order": draw(money),
        "minimum_charge": draw(st.sampled_from([0, 50, 500])), share: draw(st.integers(0, 90)) / 100,
        "rounding": draw(st.sampled_from(list(ROUNDINGS))), "efficiency": draw(st.sampled_from([1, 0.9, 0.75])),
        "cuts_per_bar": draw(st.integers(0, 2)), "cut_charge": draw(money) / 100, "tooling": draw(money) * 5,
        "chip_price": draw(st.sampled_from([0, 0.3])), "remnant_price": draw(st.sampled_from([0, 0.45])),
        "bar_weight": bar_weight, "gross_weight": gross_weight, "part_weight": gross_weight * 0.625, "trim_weight": 0,
    }


def breaks(quantities: list[int], order: dict) -> list[dict]:
    """The table's rows by column; an order whose return is more than its cost is not drawn."""
    try:
        rows = bf.price_breaks(quantities, **order)
    except bf.InputError as error:
        assume("the credit would be more than everything else costs" not in str(error))
        raise
    return [dict(zip(PRICE_BREAK_COLUMNS, row, strict=True)) for row in rows]


QUANTITIES = st.lists(st.integers(1, 20_000), min_size=1, max_size=4)


@PROFILE
@given(orders(), QUANTITIES)
def test_price_breaks_are_those_of_an_exact_reckoning(order, quantities):
    for row in breaks(quantities, order):
        want = exact_row(row["quantity"], order)
        scale = float(order["bar_cost"] + order["bar_weight"]) * want["bars"] + order["minimum_charge"]
        assert row["bars"] == want["bars"]
        for line in ("material", "machine", "setup", "other"):
            assert row[line] == pytest.approx(float(want[line]), rel=1e-9, abs=1e-12 * scale), line
        assert row["cost_each"] == pytest.approx(float(want["cost_each"]), rel=1e-9, abs=1e-12 * scale)


@PROFILE
@given(orders(), QUANTITIES)
def test_the_lines_add_up_and_the_total_is_the_price_times_the_quantity(order, quantities):
    for row in breaks(quantities, order):
        cost = row["material"] + row["machine"] + row["setup"] + row["other"]
        assert cost == pytest.approx(row["cost_each"] * row["quantity"], rel=1e-9, abs=1e-6)
        assert row["price_each"] == bf.quoted_price(row["cost_each"], order.get("margin"), order.get("markup"),
                                                    order["rounding"])
        assert row["order_total"] == bf.order_total(row["quantity"], row["price_each"])
        assert abs(Decimal(repr(row["order_total"])) - Decimal(repr(row["price_each"])) * row["quantity"]) <= Decimal("0.00501")


@PROFILE
@given(orders(), QUANTITIES)
def test_the_whole_bar_quantity_takes_the_same_bars_at_its_own_price(order, quantities):
    for row in breaks(quantities, order):
        whole = row["whole_bar_quantity"]
        assert whole >= row["quantity"]
        same, more = breaks([whole, whole + 1], order)
        assert same["bars"] == row["bars"] < more["bars"]
        assert same["price_each"] == row["whole_bar_price"]
        assert same["whole_bar_quantity"] == whole


@pytest.mark.slow
@PROFILE
@given(orders(), st.integers(1, 20_000), st.integers(1, 20_000))
def test_more_parts_never_cost_more_each_but_for_whole_bars_and_whole_scrap(order, one, other):
    few, many = sorted((one, other))
    first, second = breaks([few, many], order)
    a, b = exact_row(few, order), exact_row(many, order)
    # What comes in whole steps, per good part: parts to make, bars, changes between bars. The price of a bar is worth its return.
    stepped_up = (b["parts_to_make"] * few > a["parts_to_make"] * many or b["bars"] * few > a["bars"] * many
                  or (b["bars"] - 1) * few > (a["bars"] - 1) * many)
    assume(order["bar_cost"] >= order["bar_weight"] * 0.45)
    if not stepped_up:
        assert second["cost_each"] <= first["cost_each"] * (1 + 1e-12)
        assert second["price_each"] <= first["price_each"]


def test_one_more_part_costs_more_each_where_it_takes_another_bar():
    first, second = (row[6] for row in bf.price_breaks([59, 60], 59, 34.8, 45, 30, 0, 80))
    assert second > first


@PROFILE
@given(orders(), QUANTITIES, st.sampled_from(["bar_cost", "cycle_time", "setup_hours", "machine_rate", "other_per_part",
                                              "other_per_order", "minimum_charge", "tooling", "cut_charge", "setup_parts"]))
def test_no_cost_that_rises_makes_an_order_cheaper(order, quantities, name):
    for row, costs_more in zip(breaks(quantities, order | {"chip_price": 0, "remnant_price": 0}),
                           breaks(quantities, order | {"chip_price": 0, "remnant_price": 0, name: order[name] + 3}), strict=True):
        assert costs_more["cost_each"] >= row["cost_each"] * (1 - 1e-12)
        assert costs_more["price_each"] >= row["price_each"]


# --- the table against the cell formulas of the single functions ----------------------------------------------------

# One row of a price table: each line is the cell formula of one function, over the inputs and the cells before it.
LINES = {
    "parts_to_make": ("parts_to_make", {"confidence": "0"}),
    "bars": ("bars_for_quantity", {}),
    "cuts": ("=bars*cuts_per_bar", {}),
    "gross": ("material_cost", {"price": "bar_cost", "price_per": '"bar"', "bar_length": "0", "bar_weight": "0"}),
    "back": ("order_credit", {"rack_weight": "0"}),
    "machine": ("machine_cost", {}),
    "setup": ("setup_cost", {"setup_rate": "rate"}),
    "other": ("other_cost", {}),
    "cost": ("order_cost", {"material_cost": "gross", "machine_cost": "machine", "setup_cost": "setup",
                            "other_cost": "other", "scrap_credit": "back"}),
    "material": ("=gross-back", {}),
    "cost_each": ("=cost/quantity", {}),
    "price_each": ("quoted_price", {"cost": "cost_each"}),
    "order_total": ("order_total", {"price": "price_each"}),
    "whole_bar_quantity": ("whole_bar_quantity", {}),
}


def sheet_row(quantity: int, order: dict) -> dict:
    """The row of a sheet that has the inputs in named cells and one formula for each line."""
    book = openpyxl.Workbook()
    sheet = book.active
    values = order | {"quantity": quantity, "rate": order["machine_rate"] if order.get("setup_rate") is None
                      else order["setup_rate"]}
    names = [a.name for a in CATALOGUE["price_breaks"].arguments[1:]] + ["quantity", "rate"]
    cells = {name: f"$B${row}" for row, name in enumerate(names, start=1)}
    for name, cell in cells.items():
        sheet[cell.replace("$", "")] = values.get(name)
    for row, (line, (formula, refs)) in enumerate(LINES.items(), start=len(names) + 1):
        if formula[0] == "=":
            text = formula
            for name in sorted(cells, key=len, reverse=True):
                text = text.replace(name, cells[name])
        else:
            entry = find(formula)
            text = "=" + cell_formula(entry, {a.name: cells.get(refs.get(a.name, a.name), refs.get(a.name, '"mm"'))
                                             for a in entry.arguments})
        cells[line] = f"$B${row}"
        sheet[f"B{row}"] = text
    buffer = io.BytesIO()
    book.save(buffer)
    calc = Workbook(buffer.getvalue())
    calc.calculate()
    return {line: calc.value_at((0, int(cells[line][3:]), 2)) for line in LINES}


@settings(deadline=None, max_examples=60, derandomize=True)
@given(orders(), st.integers(1, 20_000))
def test_the_table_equals_a_row_of_single_cell_formulas(order, quantity):
    (row,) = breaks([quantity], order)
    cells = sheet_row(quantity, order)
    for column in PRICE_BREAK_COLUMNS[1:-1]:
        scale = max(abs(row[column]), cells["gross"] if column in ("material", "cost_each") else 0)
        assert abs(cells[column] - row[column]) <= 1e-12 * scale, column


def test_the_full_order_equals_a_row_of_single_cell_formulas():
    (row,) = bf.price_breaks([1000], **FULL)
    cells = sheet_row(1000, FULL)
    assert [cells[c] for c in PRICE_BREAK_COLUMNS[1:-1]] == pytest.approx(row[1:-1], rel=1e-12)
    assert sheet_row(cells["whole_bar_quantity"], FULL)["price_each"] == row[-1]


# --- what is refused -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("changes", "message"), [
    ({"bar_weight": 0}, "bar_weight: a credit needs the weights of a bar, of what one part uses of it, and of a part"),
    ({"part_weight": 0}, "part_weight: a credit needs the weights of a bar, of what one part uses of it, and of a part"),
    ({"part_weight": 0.25}, "part_weight: a part must not weigh more than the bar it is made of, cut-off and facing included"),
    ({"gross_weight": 0.3}, "gross_weight: the parts of one bar and its end trim must not weigh more than the bar"),
    ({"rounding": "to the cent"}, "rounding: 'to the cent' given; allowed is one of none, nearest 0.0001"),
    ({"chip_price": 400}, "quantities: 100: the credit would be more than everything else costs"),
])
def test_price_breaks_refuse(changes, message):
    with pytest.raises(bf.InputError, match=f"^price_breaks: .*{message}"):
        bf.price_breaks([100], **(FULL | changes))
    assert message in bf.why("PRICE_BREAKS", [100], **(FULL | changes))


def test_weights_are_not_needed_without_a_return():
    plain = {k: v for k, v in FULL.items() if not k.endswith("weight") and k not in ("chip_price", "remnant_price")}
    assert bf.price_breaks([100], **plain)[0][2] == 150 == bf.material_cost(2, 34.8, "bar", 0, 0, 2, 2.5, 150)


def test_return_of_an_order_is_that_of_the_weights_of_a_plan():
    back = bf.order_credit(1036, 18, 14.5, 0.239, 0.16, 0.02, 0.3, 0.45)
    remnants = 18 * (14.5 - 0.02) - 1036 * 0.239
    assert back == bf.scrap_credit(18, 14.5, 1036 * 0.16, remnants, 0.3, 0.45)
    with pytest.raises(bf.InputError, match=r"^order_credit: gross_weight: the parts, the end trim and what goes back on the rack must not weigh"):
        bf.order_credit(1036, 17, 14.5, 0.239, 0.16)
