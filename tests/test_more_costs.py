"""The sheet More costs of a quote: a quote by hand, marks of its rows, its check, what the customer sees; the shop's machine-hour rate."""

import io

import openpyxl
import pytest
from job_generator import GOOD_INPUTS
from template_forms import in_the_sheet
from test_quote import check, page_of

import barfuncs as bf
from barfuncs.filling.filler import fill
from barfuncs.templates import shop
from barfuncs.templates.model import LOOK, NOTE, OK, STOP
from barfuncs.templates.quote.inputs import MORE_COSTS
from barfuncs.xlsx.engine import Workbook

_NEW = {i.name for items in MORE_COSTS.values() for i in items} | {"first_parts_scrapped"}
BARE = {name: value for name, value in GOOD_INPUTS["quote"].items() if name not in _NEW and not name.startswith("proc_")}
"""A quote that gives none of what the sheet asks for."""
PLATED = {"proc_1_rate": 0.85, "proc_1_rate_per": "lb", "proc_1_minimum": 95.0, "proc_1_freight": 30.0}


def test_a_quote_by_hand():
    job = BARE | PLATED | {
        "quantity_1": 1000.0, "quantity_2": None, "part_weight": 0.16, "setup_parts": 0.0, "scrap_rate": 0.0, "tooling": 150.0,
        "proc_2_rate": 38.0, "proc_2_rate_per": "hour", "proc_2_time_each": 12.0, "proc_3_rate": 60.0, "proc_3_rate_per": "lot",
        "proc_4_rate": 0.9, "proc_4_rate_per": "ft2", "surface_area": 7.5,
        "first_off": 2.0, "every": 50.0, "aql": 1.0, "inspection_time": 90.0, "inspection_rate": 60.0, "box_weight": 35.0, "box_cost": 4.2}
    bare, a = fill("quote", {n: v for n, v in job.items() if n in BARE or n == "tooling"}).answers, fill("quote", job).answers
    # Plating: 1,000 x 0.16 lb x 0.85 = 136, above the minimum of 95, and 30 freight: 166. Deburring: 1,000 x 12 s = 3.3333 h at 38 =
    # 126.67. A lot charge of 60. By area: 7,500 in2 = 52.0833 ft2 at 0.90 = 46.875.
    assert a["process_cost_1"] == pytest.approx(166 + 126.666667 + 60 + 46.875)
    # Inspected: 2 first parts, 998 // 50 = 19 more, and a sample of 80 (ISO 2859-1: letter J, AQL 1.0): 101 x 1.5 min at 60 an hour.
    assert (a["sample_1"], a["accepted_1"], a["inspected_1"]) == (80, 2, 101)
    assert a["inspection_cost_1"] == pytest.approx(151.5)
    # Packed: 35 / 0.16 = 218 in a box, 5 boxes at 4.20.
    assert (a["parts_in_box"], a["boxes_1"], a["packing_cost_1"]) == (218, 5, pytest.approx(21))
    more = 399.541667 + 151.5 + 21
    assert a["order_cost_1"] - bare["order_cost_1"] == pytest.approx(more, abs=1e-5)
    assert a["cost_each_1"] - bare["cost_each_1"] == pytest.approx(more / 1000, abs=1e-8)


def test_nothing_given_is_a_quote_as_before():
    job = BARE | {"tooling": 150.0}
    a = fill("quote", job).answers
    for n in range(1, 7):
        assert [a[f"{line}_{n}"] for line in ("process_cost", "inspection_cost", "packing_cost", "inspected", "sample", "boxes")] == [0] * 6
        assert a[f"beside_lathe_{n}"] - a[f"tool_cost_{n}"] == pytest.approx(a[f"other_cost_{n}"]) == 150
        assert a[f"price_{n}"] == a[f"shown_{n}"] == bf.quoted_price(a[f"order_cost_{n}"] / job[f"quantity_{n}"], margin=0.2)
        assert a[f"value_{n}"] == a[f"total_{n}"]
        assert a[f"offer_{n}"] in ("", None)
    assert a["value_said"] in ("", None)


def test_the_minimum_holds_at_each_quantity_anew_and_in_the_what_ifs():
    a = fill("quote", BARE | PLATED).answers
    bare = fill("quote", BARE).answers
    weight = a["each_weight"]
    for n in range(1, 7):
        cost = max(95, 0.85 * weight * BARE[f"quantity_{n}"]) + 30
        assert a[f"process_cost_{n}"] == pytest.approx(cost)
        whole = max(95, 0.85 * weight * a[f"whole_{n}"]) + 30
        assert a[f"order_cost_whole_{n}"] - bare[f"order_cost_whole_{n}"] == pytest.approx(whole)
    assert a["order_cost_if_now"] - bare["order_cost_if_now"] == pytest.approx(max(95, 0.85 * weight * 250) + 30)


@pytest.mark.parametrize(("row", "mark"), [
    ({"proc_1_rate": 2.0}, "✕ rate is for is missing"), ({"proc_1_rate_per": "lb"}, "✕ rate is missing"),
    ({"proc_1_rate": 2.0, "proc_1_rate_per": "pound each"}, "✕ rate is for is not allowed here"),
    ({"proc_1_rate": 2.0, "proc_1_rate_per": "ft2"}, "✕ surface of a part is missing"),
    ({"proc_1_rate": 2.0, "proc_1_rate_per": "hour"}, "✕ time for a part is missing"),
    ({"proc_1_rate": 2.0, "proc_1_rate_per": "lb", "proc_1_time_each": 5.0}, "! the time counts only where the rate is for an hour"),
    ({"proc_1_rate": 0.0, "proc_1_rate_per": "lb"}, "! costs nothing"),
    ({"proc_1_rate": 0.001, "proc_1_rate_per": "part", "proc_1_minimum": 50.0}, "i the minimum counts at quantity 1"),
    ({"proc_1_rate": 2.0, "proc_1_rate_per": "part"}, ""),
])
def test_a_row_says_what_is_wrong_with_it(row, mark):
    book = in_the_sheet("quote", BARE | row)
    assert (book.value("proc_marks[1]") or "") == mark
    status = str(book.value("quote_status"))
    assert status.startswith(f"{STOP}  Fill in or correct: outside and second operations") == mark.startswith("✕")
    assert (page_of(book)[1] == []) == mark.startswith("✕")


@pytest.mark.parametrize(("given", "word", "words"), [
    ({}, NOTE, "Not counted: outside and second operations, inspection, packing."),
    (PLATED, OK, "In every price: outside and second operations with their minimum and freight, at each quantity anew."),
    ({"proc_1_rate": 0.0, "proc_1_rate_per": "lb"}, LOOK, "see the mark beside it"),
    ({"first_off": 3.0}, LOOK, "the time for one is not filled in"), ({"inspection_time": 60.0, "inspection_rate": 50.0}, LOOK, "no part is inspected"),
    ({"box_parts": 50.0}, LOOK, "The boxes cost nothing."), ({"box_cost": 3.0}, LOOK, "what goes into one is not filled in"),
    ({"minimum_order": 1e6}, NOTE, "which is charged instead: 6 quantities."),
])
def test_the_check(given, word, words):
    told = check(fill("quote", BARE | given).data, "More costs")
    assert told[0] == word
    assert words in told[1]


@pytest.mark.parametrize(("given", "named"), [
    ({"inspection_time": 60.0, "first_off": 1.0}, "rate for inspection"),
    ({"box_weight": 0.1, "box_cost": 2.0}, "parts in a box weigh at most (one part weighs more)"),
])
def test_what_is_missing_is_named(given, named):
    book = in_the_sheet("quote", BARE | given)
    assert str(book.value("quote_status")) == f"{STOP}  Fill in or correct: {named}."
    with pytest.raises(bf.InputError):
        fill("quote", BARE | given)


def test_set_up_and_tooling_as_lines_of_their_own():
    job = BARE | {"tooling": 150.0, "setup_hours": 1.5, "setup_rate": 60.0}
    inside, apart = fill("quote", job), fill("quote", job | {"setup_priced": "lines of their own"})
    # Set-up 90 and tooling 150 at a margin of 20 %: 112.50 and 187.50, and the parts cost 240 less.
    a = apart.answers
    assert (a["setup_line"], a["tooling_line"]) == (112.5, 187.5)
    for n in range(1, 7):
        cost = (inside.answers[f"order_cost_{n}"] - 240) / job[f"quantity_{n}"]
        assert a[f"price_{n}"] == bf.quoted_price(cost, margin=0.2)
        assert a[f"value_{n}"] == pytest.approx(a[f"total_{n}"] + 300)
    page = openpyxl.load_workbook(io.BytesIO(apart.data), data_only=True)["Quotation"]
    rows = {page.cell(r, 2).value: page.cell(r, 4).value for r in range(1, 45)}
    assert (rows["Set-up, once"], rows["Tooling, once"]) == (112.5, 187.5)
    words = [c.value for row in page.iter_rows() for c in row if str(c.value).startswith("The order total is")]
    assert words == ["The order total is parts, set-up and tooling. "]


def test_a_price_for_1000_is_rounded_where_it_is_shown():
    each, thousand = (fill("quote", BARE | {"priced_per": per, "currency": "$"}) for per in ("part", "1000 parts"))
    for n in range(1, 7):
        cost = each.answers[f"cost_each_{n}"]
        assert each.answers[f"shown_{n}"] == bf.price_for(cost, margin=0.2)
        assert thousand.answers[f"shown_{n}"] == pytest.approx(bf.price_for(cost, "1000 parts", margin=0.2), rel=1e-14)
    page = openpyxl.load_workbook(io.BytesIO(thousand.data), data_only=True)["Quotation"]
    assert "Price for 1000 parts, $" in [c.value for row in page.iter_rows() for c in row]


def test_the_offer_is_what_the_same_bars_give():
    a = fill("quote", BARE | {"offer_whole_bars": "yes"}).answers
    assert a["whole_1"] > BARE["quantity_1"]
    assert a["offer_1"] == f"{a['whole_1']:,.0f} at {a['price_whole_1']:.2f}"


def test_the_minimum_order_value_is_charged_where_the_total_is_less():
    a = fill("quote", BARE | {"minimum_order": 800.0}).answers
    assert {n for n in range(1, 7) if a[f"total_{n}"] < 800} == {n for n in range(1, 7) if a[f"value_{n}"] == 800}
    assert a["below_minimum"] == sum(a[f"total_{n}"] < 800 for n in range(1, 7)) > 0


# --- the shop file ---------------------------------------------------------------------------------------------------


def test_the_shop_gives_the_rate_and_how_prices_are_shown(tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    for row in book[shop.RATES_SHEET].iter_rows(min_col=2, max_col=2):
        values = {"Rate for inspection": 55, "Price is for": "100 parts", "Minimum order value": 250}
        if row[0].value in values:
            book[shop.RATES_SHEET].cell(row[0].row, 3).value = values[row[0].value]
    book.save(tmp_path / "shop.xlsx")
    rates = shop.read_shop(tmp_path / "shop.xlsx").rates
    assert (rates.inspection_rate, rates.priced_per, rates.minimum_order) == (55, "100 parts", 250)
    found = openpyxl.load_workbook(tmp_path / "shop.xlsx")  # a file of an earlier version has none of these lines
    sheet = found[shop.RATES_SHEET]
    rows = [row[0].row for row in sheet.iter_rows(min_col=2, max_col=2) if row[0].value in ("Rate for inspection", "Price is for", "Minimum order value")]
    sheet.delete_rows(min(rows), len(rows))
    found.save(tmp_path / "before.xlsx")
    assert shop.read_shop(tmp_path / "before.xlsx").rates.inspection_rate is None


def test_the_machine_hour_rate_is_worked_out_in_the_shop_file():
    book = Workbook(shop.build())
    book.calculate()
    at = book.sheets.index(shop.RATE_SHEET)
    rows = {book.value_at((at, row, 2)): [book.value_at((at, row, column)) for column in range(3, 9)] for row in range(4, 32)}
    given = {name: rows[label] for name, label, _, _ in (*shop._RATE_LINES, *shop._MINDING_LINES)}
    for n in range(3):
        rate = bf.machine_hour_rate(**{name: given[name][n] for name, *_ in shop._RATE_LINES})
        assert rows["Machine-hour rate"][n] == pytest.approx(rate, rel=1e-12)
        shared = given["lathes_shared"][n]
        assert rows["Rate with the person"][n] == pytest.approx(
            bf.lathe_rate(rate, given["wage_rate"][n], given["attended_share"][n], shared), rel=1e-12)
        times = (int(shared), given["run_time"][n], given["service_time"][n])
        assert rows["Lathe does not wait for the person"][n] == pytest.approx(bf.minding_efficiency(*times), rel=1e-12)
        assert rows["Person busy with these lathes"][n] == pytest.approx(bf.lathes_running(*times) * times[2] / times[1], rel=1e-12)
    assert [rows["Machine-hour rate"][n] for n in range(3, 6)] == [""] * 3
