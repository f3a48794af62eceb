"""A shop file's machines, prices and rates in the templates: what a blank takes, units, which price counts, what is refused."""

import dataclasses
import io
import random

import openpyxl
import pytest
from job_generator import good_quote

import barfuncs as bf
from barfuncs.catalogue.kinds import LAST_BAR_RESTS
from barfuncs.filling.filler import Filled, fill
from barfuncs.tables import speeds_feeds
from barfuncs.templates import quote
from barfuncs.templates.model import LOOK, OK, STOP
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import (
    LETTERHEAD,
    MACHINES,
    PRICES,
    RATES,
    Machine,
    Rates,
    Shop,
    StockPrice,
    build,
    read_shop,
)
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

RATES_GIVEN = Rates(currency="CHF", markup=0.35, rounding="up to next 0.05", minimum_charge=40.0, cut_charge=2.5, certificate_fee=22.0, material_freight=35.5, kerf=0.1,
                    last_bar_rest=LAST_BAR_RESTS[1], chip_price=0.12, remnant_price=0.15, tooling=60.0, other_per_order=18.0,
                    other_per_part=0.02, scrap_rate=0.03, confidence=0.9, efficiency=0.9)
LATHES = (
    Machine("Lathe 1", 144.0, 1.25, 2.5, 0.2, 35.0, 5000.0, 18, 82.0, 70.0),
    Machine("Lathe 2", 150.0, 2.0, 3.25, 0.25, 45.0, 4000.0, 10, 88.0, None, chip_bin=55.0, mean_time_between_stops=9.0),
    Machine("Old lathe", machine_rate=50.0),
)
STOCK = (
    StockPrice("Stainless 303", 3.0, "lb"),
    StockPrice("Stainless 303", 3.1, "lb", "round"),
    StockPrice("Stainless 303", 3.2, "kg", None, 1.0),
    StockPrice("Stainless 303", 3.3, "ft", "round", 1.0, 300.0, 0.35, 0.4, material_surcharge=0.45),
    StockPrice("Steel 1215", 120.0, "100 kg", "hexagon", None, None, None, 0.2),
)
INCH = Shop("in", RATES_GIVEN, LATHES, STOCK, speeds_feeds.builtin())
METRIC = INCH.in_units("mm")

JOB = {"units": "in", "material": "303", "shape": "round", "size": 1, "part_length": 2, "cutoff_width": 0.125, "bar_length": 144,
       "machine": "Lathe 1", "cycle_time": 45}
ORDER = {"job_plan": {"quantity": 500}, "quote": {"quantity_1": 500, "quantity_2": 60, "setup_hours": 2}}
METRIC_JOB = JOB | {"units": "mm", "size": 25.4, "part_length": 50.8, "cutoff_width": 3.175, "bar_length": 3657.6}


def filled_with(template: str, shop: Shop, job: dict) -> Filled:
    return fill(template, job | ORDER[template], shop=shop)


def taken(filled: Filled) -> dict:
    """What each input counts as, by name."""
    book = Workbook(filled.data, direct=True)
    book.calculate()
    form = TEMPLATES[filled.template].form
    return {name: book.value(item.used) for name, item in form.inputs.items() if item.from_shop and item.used in book.names}


def expected(shop: Shop, job: dict) -> dict:
    """What the shop gives for a job that leaves everything blank, by the shop file's own functions in Python."""
    shop = shop.in_units(job["units"])
    machine, rates = shop.machine(job["machine"]), shop.rates
    found = {c.name: getattr(machine, c.name) for c in MACHINES if c.name not in ("name", "largest_size")}
    found |= {c.name: getattr(rates, c.name) for c in RATES if c.name != "currency"}
    price = shop.price(job["material"], job["shape"], job["size"])
    if price:
        found |= {name: getattr(price, name) for name in ("material_price", "price_per", "chip_price", "remnant_price", "material_surcharge")}
    return {name: value for name, value in found.items() if value is not None}


def differing(found: dict, wanted: dict) -> dict:
    """What is not the same, numbers to 12 digits."""
    return {n: (found[n], want) for n, want in wanted.items()
            if found[n] != (want if isinstance(want, str) else pytest.approx(want, rel=1e-12))}


@pytest.mark.slow
@pytest.mark.parametrize("shop", [INCH, METRIC], ids=["inch shop", "metric shop"])
@pytest.mark.parametrize("job", [JOB, METRIC_JOB, JOB | {"machine": "Lathe 2", "shape": "square"}, JOB | {"size": 1.2},
                                 JOB | {"material": "Steel 1215", "shape": "hexagon"}, METRIC_JOB | {"size": 20}],
                         ids=["inch", "mm", "square", "other size", "other material", "mm other size"])
@pytest.mark.parametrize("template", TEMPLATES)
def test_a_blank_takes_the_shops_value_in_the_jobs_units(template, job, shop):
    counted, wanted = taken(filled_with(template, shop, job)), expected(shop, job)
    both = {name: value for name, value in wanted.items() if name in counted}
    assert len(both) >= (11 if template == "job_plan" else 19)
    assert differing(counted, both) == {}
    assert differing(counted, both | {"efficiency": 0.91}) == {"efficiency": (0.9, 0.91)}


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_value_that_is_filled_in_stays(template):
    own = {"grip_length": 3, "face_to_cutoff": 0.4, "feeder_longest_bar": 145, "bar_change_time": 10, "efficiency": 0.8, "machine_rate": 77,
           "material_price": 2.5, "price_per": "lb", "cut_charge": 1, "minimum_charge": 5, "chip_price": 0.01, "remnant_price": 0.02,
           "scrap_rate": 0.05, "supplied_length": 144, "certificate_fee": 3, "material_freight": 4, "kerf": 0.2, "last_bar_rest": LAST_BAR_RESTS[0], "confidence": 0.8,
           "top_speed": 3000, "machine_type": "fixed head"}
    own |= {"feeder_bars": 3, "setup_rate": 33} if template == "job_plan" else {
        "setup_rate": 33, "max_feed": 150, "other_per_part": 0.3, "other_per_order": 4, "tooling": 5, "markup": 0.5, "rounding": "none"}
    counted = taken(filled_with(template, INCH, JOB | own))
    assert {name: counted[name] for name in own} == own
    with_shop = filled_with(template, INCH, JOB | own).answers
    without = fill(template, {**JOB, **own, **ORDER[template], "machine": None}).answers
    about_the_shop = {"machine_row", "largest_size", "machines_that_fit", "status", "currency_shown"}
    assert {a: v for a, v in with_shop.items() if a not in about_the_shop} == {a: v for a, v in without.items() if a not in about_the_shop}


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_surcharge_goes_with_the_shops_price(template):
    assert taken(filled_with(template, INCH, JOB))["material_surcharge"] == 0.45
    assert taken(filled_with(template, INCH, METRIC_JOB))["material_surcharge"] == pytest.approx(0.45 / 0.45359237)
    assert taken(filled_with(template, INCH, JOB | {"material_price": 3.0, "price_per": "lb"}))["material_surcharge"] == 0
    assert taken(filled_with(template, INCH, JOB | {"material_price": 3.0, "price_per": "lb", "material_surcharge": 0.2}))["material_surcharge"] == 0.2
    assert taken(filled_with(template, INCH, JOB | {"size": 1.25}))["material_surcharge"] == 0  # its row has none


def test_a_zero_that_is_filled_in_stays():
    counted = taken(filled_with("quote", INCH, JOB | {"scrap_rate": 0, "other_per_order": 0, "tooling": 0, "cut_charge": 0, "markup": 0,
                                                      "chip_price": 0, "bar_change_time": 0}))
    assert counted["scrap_rate"] == counted["tooling"] == counted["markup"] == counted["chip_price"] == counted["bar_change_time"] == 0


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_shop_in_other_units_gives_the_same_money(template):
    runs = [filled_with(template, shop, job).answers for shop in (INCH, METRIC) for job in (JOB, METRIC_JOB)]
    money = ["material_cost", "scrap_credit", "machine_cost", "net_material"] if template == "job_plan" else [
        f"{line}_{n}" for line in ("material_cost", "scrap_credit", "machine_cost", "cost_each", "price", "total") for n in (1, 2)]
    for answers in runs[1:]:
        assert [answers[m] for m in money] == pytest.approx([runs[0][m] for m in money], rel=1e-9)
        assert answers["parts_per_bar"] == runs[0]["parts_per_bar"]
    assert all(runs[0][m] > 0 for m in money)


def outcome(job: dict, shop: Shop | None = None) -> tuple[dict, set[str]]:
    """The answers of a quote, or which inputs are refused."""
    try:
        return dict(fill("quote", job, shop=shop).answers), set()
    except bf.InputError as error:
        return {}, {name for name, _ in error.problems}


@pytest.mark.slow
def test_generated_quotes_with_a_shop_are_quotes_with_its_values_filled_in():
    """What Python finds in the shop file, typed into the cells, gives the answers that blanks give."""
    rng, compared = random.Random(4), 0
    while compared < 60:
        job = good_quote(rng) | {"machine": rng.choice(["Lathe 1", "Lathe 2"])}
        job["material"] = rng.choice(["303", "Steel 1215", "Brass C36000"])
        job = {n: v for n, v in job.items() if n in ("material", "cycle_time") or n.startswith(("op_", "proc_", "section_", "box_", "quantity")) or rng.random() < 0.5 or
               (quote.TEMPLATE.inputs[n].needed and not quote.TEMPLATE.inputs[n].from_shop) or n in ("thickness", "machine")}
        job.pop("part_weight", None)
        shop = rng.choice([INCH, METRIC])
        given = expected(shop, job)
        profit = {"margin", "markup"} & set(job)
        typed = {n: v for n, v in given.items() if job.get(n) is None and n in quote.TEMPLATE.inputs and not (profit and n in ("margin", "markup"))
                 and not (n == "material_surcharge" and "material_price" in job)}
        if ("material_price" in job) != ("price_per" in job) or ("material_price" in job and "chip_price" not in job):
            continue  # the next tests; and a price of the job's own with the shop's return
        with_shop, refused = outcome(job, shop)
        by_hand, refused_too = outcome(job | typed | {"machine": None})
        # What is missing is said before what only the sheet can say, such as a process without its basis; with a shop the sheet says both.
        assert bool(refused) == bool(refused_too)
        may_differ = {n for n, item in quote.TEMPLATE.inputs.items() if item.from_shop or n.startswith("box_")} | {f"{row}_{n}" for n in range(1, 7) for row in ("proc", "bracket")}
        if refused_too & {n for n, item in quote.TEMPLATE.inputs.items() if item.from_shop}:
            may_differ |= {"size", *(f"op_{n}" for n in range(1, 13))}  # a part larger than the bar, a row of the list
        assert refused ^ refused_too <= may_differ
        if refused:
            continue
        numbers = {a: v for a, v in by_hand.items() if isinstance(v, float)}
        assert {a: with_shop[a] for a in numbers if a != "largest_size"} == pytest.approx(
            {a: v for a, v in numbers.items() if a != "largest_size"} | {"machine_row": with_shop["machine_row"]}, rel=1e-9, abs=1e-9)
        compared += 1


@pytest.mark.slow
@pytest.mark.parametrize(("change", "row"), [
    ({}, 3), ({"shape": "hexagon"}, 2), ({"size": 1.25}, 1), ({"size": 1.25, "shape": "hexagon"}, 0), ({"material": "Stainless 303"}, 3),
    ({"material": "1.4305"}, 3), ({"material": "s30300"}, 3), ({"material": "Stainless 303", "size": 1 + 5e-7}, 3), ({"size": 1 + 1e-5}, 1),
])
@pytest.mark.parametrize("template", TEMPLATES)
def test_the_price_that_says_most_about_the_bar_counts(template, change, row):
    counted = taken(filled_with(template, INCH, JOB | change))
    assert (counted["material_price"], counted["price_per"]) == (STOCK[row].material_price, STOCK[row].price_per)
    assert counted["material_price"] == INCH.price(**{n: (JOB | change)[n] for n in ("material", "shape", "size")}).material_price
    assert counted["chip_price"] == (0.35 if row == 3 else 0.12)


@pytest.mark.slow
def test_the_rows_may_stand_in_any_order():
    for rows in (STOCK[::-1], (*STOCK[2:], *STOCK[:2])):
        assert taken(filled_with("quote", dataclasses.replace(INCH, prices=rows), JOB))["material_price"] == 3.3


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_material_without_a_row_has_no_price(template):
    job = JOB | {"material": "Steel 1215"}
    if template == "quote":
        with pytest.raises(bf.InputError, match=r"^quote: material_price: is missing; price_per: is missing$"):
            filled_with(template, INCH, job)
        return
    answers = filled_with(template, INCH, job).answers
    assert isinstance(answers["material_cost"], CellError)
    assert answers["bars"] > 0


@pytest.mark.slow
def test_a_typed_price_does_not_take_the_shops_basis_and_a_typed_basis_not_another_price():
    with pytest.raises(bf.InputError, match=r"^quote: price_per: is missing$"):
        filled_with("quote", INCH, JOB | {"material_price": 2})
    with pytest.raises(bf.InputError, match=r"^quote: material_price: is missing$"):
        filled_with("quote", INCH, JOB | {"price_per": "kg"})
    assert taken(filled_with("quote", INCH, JOB | {"price_per": "ft"}))["material_price"] == 3.3  # the same basis
    plan = filled_with("job_plan", INCH, JOB | {"material_price": 2}).answers
    assert isinstance(plan["material_cost"], CellError)


@pytest.mark.parametrize("template", TEMPLATES)
def test_an_unknown_machine_is_refused(template):
    with pytest.raises(bf.InputError, match=r"machine: is not allowed here \(not on the sheet Shop\)"):
        filled_with(template, INCH, JOB | {"machine": "Lathe 9", "grip_length": 2, "face_to_cutoff": 0.2, "machine_rate": 80})
    assert filled_with(template, INCH, JOB | {"machine": "lathe 2"}).answers["machine_row"] == 2


@pytest.mark.parametrize("template", TEMPLATES)
def test_what_the_machine_leaves_open_is_missing(template):
    with pytest.raises(bf.InputError, match="face_to_cutoff: is missing; grip_length: is missing"):
        filled_with(template, INCH, JOB | {"machine": "Old lathe"})


@pytest.mark.slow
@pytest.mark.parametrize(("own", "shops", "price"), [
    ({"margin": 0.2}, {"markup": 0.35}, lambda cost: cost / 0.8), ({"markup": 0.5}, {"margin": 0.1, "markup": None}, lambda cost: cost * 1.5),
    ({}, {"margin": 0.1, "markup": None}, lambda cost: cost / 0.9), ({}, {}, lambda cost: cost * 1.35), ({"margin": 0}, {}, lambda cost: cost),
])
def test_the_jobs_own_margin_or_markup_comes_before_the_shops(own, shops, price):
    shop = dataclasses.replace(INCH, rates=dataclasses.replace(RATES_GIVEN, **shops))
    a = filled_with("quote", shop, JOB | own | {"rounding": "none"}).answers
    assert a["price_1"] == pytest.approx(price(a["cost_each_1"]), rel=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize("shop", [INCH, METRIC], ids=["inch shop", "metric shop"])
@pytest.mark.parametrize(("size", "shape", "too_wide"), [(1.25, "round", False), (1.26, "round", True), (1.2, "hexagon", True),
                                                        (0.9, "square", True), (1.0, "hexagon", False), (1.0, "square", True)])
def test_a_bar_too_wide_for_the_spindle_stops_the_quote(size, shape, too_wide, shop):
    for job in (JOB | {"size": size}, METRIC_JOB | {"size": size * 25.4}):
        filled = filled_with("quote", shop, job | {"shape": shape, "material_price": 3, "price_per": "lb"})
        corners = filled.answers["across_corners"]
        assert (corners > filled.answers["largest_size"] * (1 + 1e-9)) == too_wide
        assert filled.answers["status"].startswith(STOP) == too_wide
        page = openpyxl.load_workbook(io.BytesIO(filled.data), data_only=True)["Quotation"]
        numbers = [c.value for row in page["A1:E40"] for c in row if isinstance(c.value, (int, float))]
        assert bool(numbers) != too_wide


def test_a_bar_too_wide_for_the_spindle_stops_the_plan():
    assert filled_with("job_plan", INCH, JOB | {"size": 1.26}).answers["status"].startswith(STOP)
    assert filled_with("job_plan", INCH, JOB).answers["status"].startswith((OK, LOOK))


def test_an_operation_takes_the_machines_top_speed():
    cut = {f"op_1_{name}": value for name, value in {"operation": "cut-off", "start_diameter": 1, "end_diameter": 0, "surface_speed": 300,
                                                    "feed_rate": 0.002}.items()}
    job = {n: v for n, v in JOB.items() if n != "cycle_time"} | cut
    answers = filled_with("quote", INCH, job).answers
    assert answers["op_1_time"] == pytest.approx(bf.operation_time("cut-off", 1, 0, None, 300, 0.002, 5000), rel=1e-12)
    assert answers["cycle"] == answers["op_1_time"]
    with pytest.raises(bf.InputError):
        filled_with("quote", INCH, job | {"machine": "Old lathe", "face_to_cutoff": 0.2, "grip_length": 2})


def test_the_currency_is_the_shops_unless_the_job_has_its_own():
    assert filled_with("quote", INCH, JOB).answers["currency_shown"] == "CHF"
    assert filled_with("quote", INCH, JOB | {"currency": "\u20ac"}).answers["currency_shown"] == "\u20ac"
    assert fill("quote", JOB | ORDER["quote"] | {"machine": None, "grip_length": 2, "face_to_cutoff": 0.2, "machine_rate": 80, "material_price": 3,
                                                 "price_per": "lb", "markup": 0.2}).answers["currency_shown"] == ""


@pytest.mark.slow
@pytest.mark.parametrize("template", TEMPLATES)
def test_the_example_shop_file_serves_every_template(tmp_path, template):
    (tmp_path / "shop.xlsx").write_bytes(build())
    shop = read_shop(tmp_path / "shop.xlsx")
    counted = taken(filled_with(template, shop, JOB))
    wanted = expected(shop, JOB)
    assert differing(counted, {n: v for n, v in wanted.items() if n in counted}) == {}


@pytest.mark.slow
def test_a_bad_value_on_the_shops_sheet_is_named_and_gives_no_price():
    book = Workbook(filled_with("quote", INCH, JOB).data, direct=True)
    for name, value, label in (("rates_markup", -1.0, "markup"), ("rates_scrap_rate", "x", "scrap rate"), ("rates_rounding", "to the cent", "rounding")):
        good = book.value(name)
        book.set(name, value)
        book.calculate()
        assert label in str(book.value("quote_problems"))
        assert isinstance(book.value("quote_price_1"), CellError)
        book.set(name, good)
    book.calculate()
    assert book.value("quote_problems") == ""


def test_every_column_of_the_shop_file_reaches_the_templates():
    names = {i.name for t in TEMPLATES.values() for i in t.inputs.values() if i.from_shop}
    columns = {c.name for c in (*MACHINES, *PRICES, *RATES, *LETTERHEAD)} - {"logo", "name", "largest_size", "material", "shape", "size", "note"}
    assert names == columns


def column_of(book: Workbook, name: str, row: int) -> tuple[int, int, int]:
    sheet, first, column = book.first_cell(name)
    return sheet, first + row, column


@pytest.mark.slow
@pytest.mark.parametrize(("cell", "row", "value", "mark"), [
    ("machines_name", 0, None, "machine is missing"), ("machines_name", 0, 7.0, "machine: a name, as text"),
    ("machines_name", 1, "Lathe 1", "stands twice"), ("machines_grip_length", 0, True, "grip length is not allowed here"),
    ("machines_grip_length", 0, "2 in", "grip length is not allowed here"), ("machines_face_to_cutoff", 0, -1.0, "face to cut-off is not allowed here"),
    ("machines_largest_size", 0, "1/2 in", "largest size is not allowed here"), ("machines_largest_size", 0, -0.5, "largest size is not allowed here"),
    ("machines_feeder_bars", 0, 2.5, "bars in the feeder is not allowed here"),
    ("prices_material", 0, None, "material is missing"), ("prices_material", 0, 303.0, "material: a name, as text"),
    ("prices_material", 0, "unobtainium", "material not in the table"), ("prices_shape", 1, "rond", "shape is not allowed here"),
    ("prices_size", 2, "1 in", "size is not allowed here"), ("prices_material_price", 0, None, "material price is missing"), ("prices_material_price", 0, True, "material price is not allowed here"),
    ("prices_price_per", 0, None, "material price is per is missing"), ("prices_chip_price", 0, "x", "credit for chips is not allowed here"),
    ("prices_shape", 1, None, "stands twice"),
])
def test_a_row_of_the_shop_that_cannot_be_used_is_marked_and_stops_the_plan(cell, row, value, mark):
    book = Workbook(filled_with("job_plan", INCH, JOB).data, direct=True)
    book.set_at(column_of(book, cell, row), value)
    book.calculate()
    table = cell.split("_")[0]
    assert str(book.value_at(column_of(book, f"{table}_marks", row))) == f"\u2715 {mark}"
    assert str(book.value("plan_status")).startswith(STOP)
    assert "sheet Shop" in str(book.value("plan_problems"))


def test_no_number_comes_from_a_marked_row():
    book = Workbook(filled_with("job_plan", INCH, JOB).data, direct=True)
    book.set_at(column_of(book, "machines_grip_length", 0), True)
    book.calculate()
    assert isinstance(book.value("plan_parts_per_bar"), CellError)
    assert isinstance(book.value("use_machine_rate"), CellError)


@pytest.mark.parametrize("units", [None, "cm", 1.0])
def test_the_shops_sheet_must_say_its_units(units):
    book = Workbook(filled_with("job_plan", INCH, JOB).data, direct=True)
    book.set("shop_units", units)
    book.calculate()
    assert "sheet Shop (its units" in str(book.value("plan_problems"))
    assert isinstance(book.value("plan_parts_per_bar"), CellError)


def test_two_machines_of_one_name_are_no_machine():
    book = Workbook(filled_with("job_plan", INCH, JOB).data, direct=True)
    book.set_at(column_of(book, "machines_name", 1), "Lathe 1")
    book.calculate()
    assert isinstance(book.value("plan_min_remnant"), CellError)
    assert "machine (not on the sheet Shop)" in str(book.value("plan_problems"))


def test_a_designation_among_the_prices_on_the_sheet_is_found():
    book = Workbook(filled_with("job_plan", INCH, JOB | {"size": 1.5, "shape": "square"}).data, direct=True)
    assert book.value("shop_price_row") == 1
    book.set_at(column_of(book, "prices_material", 0), "303")
    book.calculate()
    assert book.value("shop_price_row") == 1
    assert book.value("use_material_price") == 3.0


def test_a_machine_cell_with_an_empty_text_is_blank():
    book = Workbook(filled_with("job_plan", INCH, JOB | {"face_to_cutoff": 0.2, "grip_length": 2}).data, direct=True)
    book.set("machine", "")
    book.calculate()
    assert book.value("plan_machine_row") == 0
    assert book.value("plan_problems") == ""
