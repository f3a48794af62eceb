"""Lists, shop files and racks as records for buying: against filled plans, by hand, in both units, and everything that is refused by cell."""

import csv
import dataclasses
import datetime
import io
import itertools
import random
import re
from fractions import Fraction

import openpyxl
import pytest
from job_generator import good_job

import barfuncs as bf
from barfuncs.buying.from_files import LEAST_LEFT, FilesError, read_files
from barfuncs.buying.job_list import CHOSEN_ANEW, INPUTS, called, demand_of, read_needs
from barfuncs.buying.records import BarStock, Blank, Terms, condition_of, finish_and_tolerance
from barfuncs.buying.stocks import Stocks
from barfuncs.catalogue.kinds import TOLERANCE_CLASSES
from barfuncs.catalogue.units import KG_PER_LB
from barfuncs.errors import InputError, WorkbookError
from barfuncs.filling import fill
from barfuncs.filling.headings import HeadingError
from barfuncs.filling.lists import read_jobs
from barfuncs.rack.bars import Bar
from barfuncs.rack.file import changing
from barfuncs.rack.workbook import filled
from barfuncs.tables import speeds_feeds
from barfuncs.templates.shop import BuyingRates, Machine, Rates, Shop, StockPrice, SuppliedBar, read_shop

DAY = datetime.date(2027, 3, 1)
ROW = {"job": "J-1", "material": "303", "shape": "round", "size": "1", "part_length": "2.25", "cutoff_width": ".125", "face_to_cutoff": ".25",
       "grip_length": "2.5", "quantity": "100"}
MATERIAL = "Stainless 303"
LATHE = Machine("Lathe 1", feeder_longest_bar=144.0, largest_size=2.0, grip_length=2.5, face_to_cutoff=0.25, rear_hold=4.0, shortest_blank=20.0)
SHOP = Shop("in", Rates(kerf=0.1, cut_charge=2.0, certificate_fee=30.0, material_freight=45.0, scrap_rate=0.02, confidence=0.9), (LATHE,),
            (StockPrice(MATERIAL, 3.4, "lb"),), speeds_feeds.builtin(),
            supplied=(SuppliedBar(MATERIAL, "round", 1.0, 144.0, 3.2, "lb", row=6),),
            buying=BuyingRates(bar_trim=0.25, least_left=10.0, left_share=0.4))


def listed(tmp_path, *rows, name="jobs.csv"):
    """A list of jobs with these rows, whose columns may differ."""
    columns = list(dict.fromkeys(column for row in rows for column in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns)
    writer.writeheader()
    writer.writerows(rows)
    path = tmp_path / name
    path.write_text(text.getvalue(), "utf-8")
    return path


def job(**changes):
    return {name: value for name, value in (ROW | changes).items() if value is not None}


def files(tmp_path, *rows, shop=SHOP, rack=None, **options):
    return read_files(listed(tmp_path, *rows), shop, rack, order_date=DAY, **options)


def refused(tmp_path, *rows, **options):
    """Row, column and reason of everything that is wrong."""
    with pytest.raises(FilesError) as caught:
        files(tmp_path, *rows, **options).plan()
    return [(p.row, p.column, p.reason) for p in caught.value.problems]


# --- a part by its sections -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("changes", "shop"), [
    ({"sections": "1/2 x 1; 3/4 x 1 1/4"}, None),
    ({"sections": "1/2 x 1; 3/4 x 1 1/4"}, SHOP),
    ({"sections": "12 x 20; 18 x 7.5", "units": "mm", "cutoff_width": "3", "face_to_cutoff": "5", "grip_length": "60"}, None),
    ({"sections": "1/2 x 1; hex 3/4 x 1/2", "shape": "hexagon"}, None),
    ({"sections": "1/2 x 1", "tolerance_class": "none", "surface": "as drawn"}, None),
    ({"sections": "1/2 x 1", "finished_size": "0.9", "clean_up": "0.05", "defect_class": "none"}, None),
    ({"section_1_size": ".5", "section_1_length": "1", "section_2_size": "0.7", "section_2_length": "1 1/2"}, None),
])
def test_sections_give_part_length_and_size_as_in_a_plan(tmp_path, changes, shop):
    given = job(part_length=None, size=None, **changes)
    plan = fill("job_plan", given | {"bar_length": 3000.0 if "units" in changes else 120.0}, units=changes.get("units", "in"), shop=shop).answers
    needs = read_needs(listed(tmp_path, given), shop=shop)
    assert (needs.problems, needs.notes) == ([], [])
    assert (needs.rows[0].values["part_length"], needs.rows[0].values["size"]) == (plan["drawn_length"], plan["bar_size_needed"])
    typed = read_needs(listed(tmp_path, given | {"part_length": "4 in", "size": "2 in"}), shop=shop)
    assert (typed.rows[0].values["part_length"], typed.rows[0].values["size"]) == tuple(n * (25.4 if "units" in changes else 1) for n in (4, 2))
    assert [(n.row, n.column, n.reason.split(";")[0]) for n in typed.notes] == [(2, "part_length", "the part length counts")]


@pytest.mark.parametrize(("changes", "expected"), [
    ({"sections": "1/2 x"}, [("sections", "row 1: '1/2 x' can't be read as a section; write for example round 1/2 to 3/8 x 3/4 bore 1/4")]),
    ({"sections": "1/2 x 1; 3/4 x 1 bore 7/8"}, [("sections", "row 2, bore: the bore must be smaller than the outside")]),
    ({"section_1_size": "1/2"}, [("section_1_length", "is missing")]),
    ({"sections": "1 x 1", "size": "3/4"}, [("sections", "the part does not fit the bar: it is wider")]),
    ({"sections": "1/2 x 1", "shape": "tube", "thickness": "1/8"}, [("size", "is missing")]),
    ({"sections": "12 mm x 30 mm; 1/2 x 1", "size": "20 mm"}, None),
    ({"sections": "", "size": "1"}, [("part_length", "is missing")]),
    ({"sections": "", "part_length": "1"}, [("size", "is missing")]),
    ({"sections": "1/2 x 1", "section_1_size": "1/2"}, [("section_1_size", "is given twice, here and in sections")]),
])
def test_bad_sections_are_named_and_nothing_else_for_them(tmp_path, changes, expected):
    problems = read_needs(listed(tmp_path, job(part_length=None, size=None) | changes)).problems
    if expected is None:
        assert {p.column for p in problems} >= {"sections"}
    else:
        assert [(p.column, p.reason) for p in problems] == expected


# --- against the plan ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(1, 6))])
def test_a_job_needs_what_its_filled_plan_says(tmp_path, seed):
    draw = random.Random(seed)
    drawn = ({name: value for name, value in good_job(draw).items() if name in INPUTS} for _ in itertools.count())
    jobs = list(itertools.islice((given for given in drawn if given.get("part_length") and given.get("size")), 40))
    needs = read_needs(listed(tmp_path, *jobs))
    assert needs.problems == []
    seen = set()
    for given, need in zip(jobs, needs.rows, strict=True):
        plan = fill("job_plan", given).answers
        demand = demand_of(need, Stocks(given["units"]))
        first, feed, bar = int(given.get("first_parts_scrapped", 0)), demand.parts_per_feed, given["bar_length"]
        assert demand.bar_per_part == pytest.approx(plan["bar_per_part"], rel=1e-12)
        assert demand.quantity == plan["order_parts"]
        assert demand.blank_extra == pytest.approx(plan["min_remnant"] + given.get("end_trim", 0) + -(-first // feed) * feed * plan["bar_per_part"])
        good = int(Fraction(bar - demand.blank_extra) / Fraction(feed * demand.bar_per_part) + Fraction(1, 10**9)) * feed
        if first % feed == 0:
            assert good == plan["good_per_bar"]
            assert demand.quantity + first * -(-demand.quantity // good) == plan["parts_to_make"]
        else:  # whole feeds of which the first parts are a part: never more good parts than there are
            assert plan["good_per_bar"] - feed < good < plan["good_per_bar"]
        seen.add((first > 0, feed > 1))
    assert seen >= {(False, False), (True, False)}


def test_first_parts_scrapped_take_bar_in_every_blank(tmp_path):
    """A bar of 144 less 2.75 gives 59 parts of 2.375, of which the first two are scrapped."""
    need, = read_needs(listed(tmp_path, job(first_parts_scrapped="2"))).rows
    demand = demand_of(need, Stocks("in"))
    assert demand.blank_extra == pytest.approx(2.75 + 2 * 2.375)
    assert (144 - demand.blank_extra) // demand.bar_per_part == bf.good_parts_per_bar(bf.parts_per_bar(144, 2.25, 0.125, 2.75), 2) == 57


def test_whole_feeds_of_which_the_first_are_scrapped(tmp_path):
    need, = read_needs(listed(tmp_path, job(first_parts_scrapped="5", parts_per_feed="4", last_feed="full feeds only"))).rows
    demand = demand_of(need, Stocks("in"))
    assert demand.parts_per_feed == 4
    assert demand.blank_extra == pytest.approx(2.75 + 8 * 2.375)
    loose, = read_needs(listed(tmp_path, job(parts_per_feed="4"))).rows
    assert demand_of(loose, Stocks("in")).parts_per_feed == 1


# --- the list ------------------------------------------------------------------------------------------------------


def test_everyday_headings_and_what_buying_asks_besides(tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text("WO #;Cust;Mat'l;Shape;Dia (mm);Part length (mm);Cut-off (mm);Grip (mm);Gap to cut-off;Qty;Cert;Mixed heats;Larger size up to (mm);"
                    "Needed by;Shortest bar (mm);Finish;Tolerance class;Units\n"
                    "A-7;Harrow;1.4305;rd;19;30;3;60;4;250;3.1;yes;22;2027-03-20;300;Drawn;h9;mm\n", "utf-8")
    needs = read_needs(path)
    assert needs.problems == []
    demand = demand_of(needs.rows[0], Stocks("mm"))
    assert demand.stock == BarStock(MATERIAL, "round", 19.0, None, "Drawn, h9")
    assert (demand.job, demand.customer, demand.certificate, demand.mixed_heats) == ("A-7", "Harrow", "3.1", True)
    assert (demand.larger_up_to, demand.need_by, demand.shortest_blank) == (22.0, datetime.date(2027, 3, 20), 300.0)
    assert (demand.bar_per_part, demand.blank_extra) == (33.0, 64.0)


def test_a_workbook_of_jobs(tmp_path):
    """A date in a date cell, a certificate that is a number."""
    book = openpyxl.Workbook()
    book.active.append([*ROW, "certificate", "need_by"])
    book.active.append([*ROW.values(), 3.1, datetime.datetime(2027, 3, 20)])
    book.save(tmp_path / "jobs.xlsx")
    needs = read_needs(tmp_path / "jobs.xlsx")
    assert needs.problems == []
    assert (needs.rows[0].values["certificate"], needs.rows[0].values["need_by"]) == ("3.1", datetime.date(2027, 3, 20))


def test_pieces_need_no_part(tmp_path):
    need, = read_needs(listed(tmp_path, {"job": "J", "material": "303", "size": "1", "piece_length": "17 1/4", "quantity": "7", "scrap_rate": "5%"})).rows
    demand = demand_of(need, Stocks("in"))
    assert (demand.piece_length, demand.quantity, demand.bar_per_part) == (17.25, 7, 0)


def test_a_machine_gives_what_a_row_leaves_blank(tmp_path):
    row = job(machine="lathe 1", grip_length=None, face_to_cutoff=None, rear_hold="5", units="in")
    need, = read_needs(listed(tmp_path, row), shop=SHOP.in_units("mm")).rows
    demand = demand_of(need, Stocks("in"))
    assert demand.blank_extra == pytest.approx(5)
    assert (demand.shortest_blank, demand.longest_blank) == (pytest.approx(20), pytest.approx(144))
    assert demand.quantity == bf.parts_to_make(100, 0.02, 0, 0.9)


def test_without_a_supplied_length_the_bar_length_is_bought_as_in_a_plan(tmp_path):
    priced = {"bar_length": "10 ft", "material_price": "4", "price_per": "blank"}
    found = files(tmp_path, job(material="Brass C36000", **priced), job(job="J-2", material="2011", supplied_length="12 ft", **(priced | {"price_per": "ft"})))
    assert [(offer.length, offer.prices) for offer in found.offers] == [(120, ((0.0, 4.0),)), (144, ((0.0, 48.0),))]
    assert [note for note in found.notes if "supplied length" in note] == [
        "Bars are bought in the bar length of the rows, since nothing says a supplied length: Brass C36000, round 1"]
    plan = fill("job_plan", job(material="Brass C36000", units="in", **(priced | {"price_per": "bar"}))).answers
    assert plan["material_cost"] == 4 * plan["bars"]
    # What the shop file says, or a row without a price, is no reason to read it.
    assert [offer.length for offer in files(tmp_path, job(bar_length="10 ft", material_price="4", price_per="bar")).offers] == [144]
    assert refused(tmp_path, job(material="Brass C36000", bar_length="ten", material_price="4", price_per="bar"))[0][:2] == (2, "bar_length")


def test_bar_lengths_of_a_plan_are_not_read(tmp_path):
    found = files(tmp_path, job(bar_length="nonsense", longest_random_bar="13 ft"))
    assert "Bar lengths in the list are those of a plan; here the blanks are chosen anew." in found.notes
    assert set(CHOSEN_ANEW) <= set(INPUTS)


def test_a_plan_leaves_the_columns_of_buying_aside(tmp_path):
    row = job(bar_length="12 ft", certificate="3.1", mixed_heats="yes", larger_size="1 1/8", need_by="2027-03-20", shortest_blank="20", piece_length="",
              finish="drawn", tolerance_class="h9")
    jobs = read_jobs(listed(tmp_path, row))
    assert set(jobs[0].values) <= {*ROW, "bar_length", "tolerance_class"}


def test_every_name_and_label_is_taken():
    for item in INPUTS.values():
        for text in (item.name, item.label):
            column = called().find(text)
            assert called().ambiguous(text) if column is None else column.name == item.name, text


@pytest.mark.parametrize(("changes", "column", "reason"), [
    ({"quantity": "0"}, "quantity", "0' given; allowed is a whole number 1 or more"),
    ({"quantity": "2.5"}, "quantity", "it is not a whole number"),
    ({"quantity": None}, "quantity", "is missing"),
    ({"size": ""}, "size", "is missing"),
    ({"material": "unobtainium"}, "material", "'unobtainium' is not a known material"),
    ({"part_length": ""}, "part_length", "is missing"),
    ({"grip_length": ""}, "grip_length", "is missing"),
    ({"part_length": "2,25"}, "part_length", "--decimal-comma reads 12,5"),
    ({"piece_length": "12"}, "piece_length", "is given beside part_length"),
    ({"certificate": "3.3"}, "certificate", "'3.3' given; allowed is one of none, 2.1, 2.2, 3.1, 3.2"),
    ({"mixed_heats": "maybe"}, "mixed_heats", "'maybe' given; allowed is one of no, yes"),
    ({"larger_size": "7/8"}, "larger_size", "0.875 given; smaller than the size of 1"),
    ({"larger_size": "2 1/4", "machine": "Lathe 1"}, "larger_size", "does not go through the spindle of Lathe 1"),
    ({"need_by": "20.3.2027"}, "need_by", "'20.3.2027' given; write a day as 2026-03-31"),
    ({"tolerance_class": "h99"}, "tolerance_class", "'h99' given; allowed is one of standard"),
    ({"machine": "Lathe 9"}, "machine", "'Lathe 9' is not a machine of the shop file; there are Lathe 1"),
    ({"size": "2.5", "machine": "Lathe 1"}, "size", "the bar is 2.5 in wide; through the spindle of Lathe 1 goes 2"),
    ({"shape": "tube"}, "thickness", "a flat, a tube and a hexagon tube need a thickness above 0"),
    ({"units": "cm"}, "units", "'cm' given; allowed is one of in, mm"),
    ({"size": "25.4 mm"}, "part_length", "has no unit next to values in metric units"),
    ({"part_length": "#REF!"}, "part_length", "the cell shows the error #REF!"),
])
def test_a_bad_cell_of_a_list_is_named(tmp_path, changes, column, reason):
    found = refused(tmp_path, job(), {**ROW, **{name: value or "" for name, value in changes.items()}})
    assert any(row == 3 and where == column and reason in why for row, where, why in found), found
    assert {row for row, *_ in found} == {3}


def test_a_machine_without_a_shop_file(tmp_path):
    found = refused(tmp_path, job(machine="Lathe 1"), shop=None, kerf="0.1")
    assert found == [(2, "machine", "no shop file says what this machine takes: give --shop")]


def test_all_bad_rows_are_named_at_once(tmp_path):
    found = refused(tmp_path, job(quantity="0"), job(), job(size="x", certificate="9"))
    assert [(row, column) for row, column, _ in found] == [(2, "quantity"), (4, "size"), (4, "certificate")]


def test_headings_that_can_mean_two_things(tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text("job,material,size,quantity,length\nJ,303,1,5,2\n", "utf-8")
    with pytest.raises(HeadingError, match="can mean two things: write part_length"):
        read_needs(path)
    with pytest.raises(WorkbookError, match=r"^no\.csv: there is no such file"):
        read_needs(tmp_path / "no.csv")


# --- units ---------------------------------------------------------------------------------------------------------


MM = {"units": "mm", "size": "19", "part_length": "50", "cutoff_width": "3", "face_to_cutoff": "5", "grip_length": "60"}


def test_rows_in_both_units_are_planned_in_one(tmp_path):
    rows = job(units="in", size="3/4"), job(job="J-2", **MM), job(job="J-3", units="mm", size="19.05", part_length="57.15", cutoff_width="3.175",
                                                                  face_to_cutoff="6.35", grip_length="63.5")
    supplied = (SuppliedBar(MATERIAL, "round", 0.75, 144.0, 3.2, "lb", row=6), SuppliedBar(MATERIAL, "round", 19 / 25.4, 144.0, 3.2, "lb", row=7))
    shop = dataclasses.replace(SHOP, supplied=supplied)
    found = files(tmp_path, *rows, shop=shop)
    first, second, third = found.demands
    assert first.stock == third.stock != second.stock
    assert (first.stock.size, third.bar_per_part) == (0.75, pytest.approx(2.375, rel=1e-15))
    assert second.bar_per_part == 53 / 25.4
    assert "All is planned in inch; 2 of 3 rows are in mm and were converted exactly (1 in is 25.4 mm). 19 mm and 3/4 in are two sizes." in found.notes
    metric = files(tmp_path, *rows, shop=shop, units="mm")
    assert metric.terms.units == "mm"
    assert [demand.bar_per_part for demand in metric.demands] == [pytest.approx(60.325), 53.0, pytest.approx(60.325, rel=1e-15)]
    assert [offer.length for offer in metric.offers] == [pytest.approx(3657.6)] * 2
    assert metric.terms.trim == pytest.approx(6.35)
    alone = read_files(listed(tmp_path, job(supplied_length="3 m", material_price="9", price_per="kg", **MM)), kerf="2.5", order_date=DAY)
    assert (alone.terms.units, alone.offers[0].length) == ("mm", 3000.0)


@pytest.mark.slow
def test_both_units_give_the_same_plan(tmp_path):
    rows = job(units="in", quantity="60"), job(job="J-2", units="mm", size="25.4", part_length="57.15", cutoff_width="3.175", face_to_cutoff="6.35",
                                               grip_length="63.5", quantity="60")
    plans = [files(tmp_path, *rows, units=units, seconds=1).plan() for units in ("in", "mm")]
    for one, other in (plans, plans[::-1]):  # lengths are rounded up to 0.001 in or 0.01 mm
        assert one.bound <= other.cost * (1 + 1e-3)
    assert plans[0].lines[0].weight / plans[0].lines[0].bars == pytest.approx(plans[1].lines[0].weight / plans[1].lines[0].bars / KG_PER_LB, rel=1e-4)


def test_a_bare_number_beside_metric_rows(tmp_path):
    found = refused(tmp_path, job(job="J-2", **MM), job(units=None))
    assert found == [(3, "units", "nothing says whether the numbers are inch or mm, and row 2 is in mm: fill in the column units, or give --units")]
    assert "Bare numbers were read as inch; --units mm reads them as mm." in files(tmp_path, job()).notes
    assert not files(tmp_path, job(units="in")).needs.taken_as_inch


@pytest.mark.parametrize("inch", [0.203125, 0.4375, 0.015625, 1 / 3, 2.0])
def test_a_size_that_went_through_a_rack_in_the_other_unit_is_the_same(inch):
    """The rack keeps 0.0001 mm and 0.000001 in."""
    for units, size, kept in (("in", inch, round(inch * 25.4, 4)), ("mm", round(inch * 25.4, 3), round(round(inch * 25.4, 3) / 25.4, 6))):
        stocks = Stocks(units)
        other = "mm" if units == "in" else "in"
        assert stocks.size(size, units) == stocks.size(kept, other) == size
    assert Stocks("in").size(19, "mm") != Stocks("in").size(0.75, "in")


@pytest.mark.parametrize("tolerance", TOLERANCE_CLASSES)
def test_finish_and_tolerance_come_apart_again(tolerance):
    for finish in ("", "drawn", "peeled, oiled", "h9 drawn"):
        assert finish_and_tolerance(condition_of(finish, tolerance)) == (finish, tolerance)


# --- what can be bought --------------------------------------------------------------------------------------------


def offers(tmp_path, *bars, row=None, rates=SHOP.rates, **options):
    shop = dataclasses.replace(SHOP, supplied=bars, rates=rates)
    return files(tmp_path, row or job(units="in"), shop=shop, **options).offers


def test_the_price_of_a_bar_by_hand(tmp_path):
    """A round of 1 in, 144 in long: 0.785398 * 144 in3 of 303 stainless."""
    weight = bf.bar_weight("303", "round", 1, 144)
    bar = SuppliedBar(MATERIAL, "round", 1.0, 144.0, 3.2, "lb")
    for per, price in (("lb", 3.2 * weight), ("100 lb", 0.032 * weight), ("kg", 3.2 * weight * KG_PER_LB), ("ft", 3.2 * 12), ("m", 3.2 * 144 * 0.0254),
                       ("bar", 3.2)):
        offer, = offers(tmp_path, dataclasses.replace(bar, price_per=per))
        assert offer.prices == ((0.0, round(price, 2)),)
        offer, = offers(tmp_path, dataclasses.replace(bar, price_per=per, material_surcharge=0.4))
        assert offer.prices == ((0.0, round(price + 0.4 * weight, 2)),)
        assert offer.weight == round(weight, 4)


def test_brackets_of_one_bar_are_one_offer(tmp_path):
    bar = SuppliedBar(MATERIAL, "round", 1.0, 144.0, 3.2, "bar", certificate="3.1", bundle=5, lead_days=4, supplier="Any", row=6)
    found = offers(tmp_path, bar, dataclasses.replace(bar, price=2.9, from_weight=500.0, bundle=None, certificate_fee=12.0, row=7),
                   dataclasses.replace(bar, length=240.0, row=8), dataclasses.replace(bar, size=1.25, row=9))
    assert [(o.length, o.prices) for o in found] == [(144.0, ((0.0, 3.2), (500.0, 2.9))), (240.0, ((0.0, 3.2),))]
    first, second = found
    assert (first.certificate_fee, second.certificate_fee) == (12.0, 30.0)
    assert (first.bundle, first.lead_days, first.certificate, first.supplier) == (5, 4, "3.1", "Any")


def test_two_suppliers_of_one_bar_are_two_offers(tmp_path):
    bar = SuppliedBar(MATERIAL, "round", 1.0, 144.0, 3.2, "bar", supplier="A", row=6)
    found = offers(tmp_path, bar, dataclasses.replace(bar, price=3.0, supplier="B", row=7), dataclasses.replace(bar, price=3.5, certificate="3.1", row=8))
    assert [(o.supplier, o.certificate, o.prices) for o in found] == [("A", "none", ((0.0, 3.2),)), ("B", "none", ((0.0, 3.0),)), ("A", "3.1", ((0.0, 3.5),))]


def test_a_larger_size_is_offered_where_a_job_may_take_it(tmp_path):
    bars = tuple(SuppliedBar(MATERIAL, "round", size, 144.0, 3.2, "lb", row=n) for n, size in enumerate((1.0, 1.125, 1.25), 6))
    assert [o.stock.size for o in offers(tmp_path, *bars, row=job(larger_size="1 1/8"))] == [1.0, 1.125]


@pytest.mark.parametrize(("changes", "row", "column", "reason"), [
    ({"row": 7}, 7, "Supplied bars, From weight", "this bar has a price from there in row 6 too: 3.2 there, 3.2 here"),
    ({"row": 7, "from_weight": 200.0, "bundle": 10}, 7, "Supplied bars, Bars in a bundle", "10 given; row 6 says 5 of the same bar"),
    ({"row": 7, "from_weight": 200.0, "price": 4.0}, 6, "Supplied bars, price", "more than"),
])
def test_brackets_that_contradict_each_other(tmp_path, changes, row, column, reason):
    bar = SuppliedBar(MATERIAL, "round", 1.0, 144.0, 3.2, "lb", bundle=5, row=6)
    found = refused(tmp_path, job(), shop=dataclasses.replace(SHOP, supplied=(bar, dataclasses.replace(bar, **changes))))
    assert any((r, c) == (row, column) and reason in why for r, c, why in found), found


def test_a_first_bracket_that_begins_too_late(tmp_path):
    bar = SuppliedBar(MATERIAL, "round", 1.0, 144.0, 3.2, "lb", from_weight=100.0, row=6)
    assert refused(tmp_path, job(), shop=dataclasses.replace(SHOP, supplied=(bar,))) == [
        (6, "Supplied bars, From weight", "no price holds below 100: leave the weight of the first bracket blank")]


def test_without_a_supplied_bar_the_price_list_and_the_row_say_it(tmp_path):
    weight = bf.bar_weight("303", "round", 1, 144)
    prices = (StockPrice(MATERIAL, 3.4, "lb", supplied_length=144.0, material_surcharge=0.5),)
    shop = dataclasses.replace(SHOP, supplied=(), prices=prices)
    found = files(tmp_path, job(), shop=shop)
    assert [(o.length, o.prices) for o in found.offers] == [(144.0, ((0.0, round(3.9 * weight, 2)),))]
    # What the row says comes first, and the surcharge of the shop goes with the shop's price.
    own = files(tmp_path, job(supplied_length="10 ft", material_price="40", price_per="bar"), shop=shop)
    assert [(o.length, o.prices, o.certificate) for o in own.offers] == [(120.0, ((0.0, 40.0),), "none")]
    wanted = files(tmp_path, job(certificate="3.1"), shop=shop)
    assert [(o.certificate, o.certificate_fee) for o in wanted.offers] == [("3.1", 30.0)]
    assert any("order the bars with 3.1" in note for note in wanted.notes)
    nothing = refused(tmp_path, job(), shop=dataclasses.replace(SHOP, supplied=()))
    assert [(row, column) for row, column, _ in nothing] == [(2, "size")]
    assert "no bar of Stainless 303, round 1 in is on offer or on the rack" in nothing[0][2]


def test_rows_that_contradict_each_other_in_the_price(tmp_path):
    shop = dataclasses.replace(SHOP, supplied=())
    price = {"supplied_length": "12 ft", "material_price": "40", "price_per": "bar"}
    found = refused(tmp_path, job(**price), job(job="J-2", **(price | {"material_price": "41"})), shop=shop)
    assert found == [(3, "material_price", "makes 41.00 for a bar of 144 in, of which row 2 makes 40.00: one bar has one price")]
    assert len(files(tmp_path, job(**price), job(job="J-2", **(price | {"supplied_length": "3657.6 mm", "units": "in"})), shop=shop).offers) == 1


def test_a_length_without_a_price(tmp_path):
    found = refused(tmp_path, job(supplied_length="12 ft"), shop=None, kerf="0.1")
    assert found == [(2, "material_price", "is missing: nothing says what a bar of Stainless 303, round 1, 144 in, costs")]
    assert refused(tmp_path, job(supplied_length="12 ft", material_price="4"), shop=None, kerf="0.1")[0][:2] == (2, "price_per")
    per = refused(tmp_path, job(supplied_length="12 ft", material_price="4", price_per="blank"), shop=None, kerf="0.1")
    assert per == [(2, "price_per", "'blank' given; bars are bought here as they are supplied, by weight, length or bar")]


# --- terms ---------------------------------------------------------------------------------------------------------


def test_terms_come_from_the_shop_file(tmp_path):
    terms = files(tmp_path, job()).terms
    assert terms == Terms("in", 0.1, 0.25, 2.0, 10.0, 0.4, True, "group", 45.0, DAY, 10)
    buying = BuyingRates(brackets_over="the whole order", rack_worth="nothing")
    other = files(tmp_path, job(), shop=dataclasses.replace(SHOP, buying=buying), kerf="3 mm", seconds=2).terms
    assert (other.brackets_over, other.rack_has_value, other.left_share, other.least_left, other.trim) == ("order", False, 0.5, LEAST_LEFT["in"], 0)
    assert (other.kerf, other.seconds) == (pytest.approx(3 / 25.4), 2)


def test_the_kerf_is_needed_and_may_stand_in_the_list(tmp_path):
    shop = dataclasses.replace(SHOP, rates=Rates())
    found = refused(tmp_path, job(), shop=shop)
    assert found == [(0, "kerf", "is missing: give --kerf, or fill in the saw kerf on the shop file's sheet Rates and charges")]
    assert files(tmp_path, job(kerf="0.125"), job(job="J-2", kerf="1/8"), shop=shop).terms.kerf == 0.125
    assert refused(tmp_path, job(kerf="0.125"), job(job="J-2", kerf="0.1"), shop=shop) == [
        (3, "kerf", "row 2 says 0.125: one saw has one kerf; give --kerf")]
    assert refused(tmp_path, job(), kerf="wide")[0][2].startswith("'wide' can't be read as a length")


# --- the rack ------------------------------------------------------------------------------------------------------


def history(tmp_path, *bars, units="in", taken=()):
    path = tmp_path / "rack.csv"
    with changing(path, lambda text: None, False) as ledger:
        ledger.book(ledger.rack.start(units, "first in, first out", DAY))
        for bar in bars:
            ledger.book(ledger.rack.receive(bar, DAY))
        for name, number in taken:
            ledger.book(ledger.rack.take(name, "J-0", number, day=DAY))
    return path


def racked(name="B1", length=144_000, **changes):
    return Bar(name, MATERIAL, "round", 1.0, length, "in", DAY, **({"bars": 3, "value": 10_000, "heat": "H1", "certificate": "3.1"} | changes))


def test_the_bars_of_a_history(tmp_path):
    path = history(tmp_path, racked(), racked("B2", 51_125, bars=1, value=777, finish="Drawn", tolerance="h9", place="A3"),
                   racked("B3", 60_000, bars=2, value=0, owner="Harrow"))
    found = files(tmp_path, job(units="in"), rack=path).rack
    assert [(bar.id, bar.length, bar.count, bar.heat, bar.certificate, bar.owner) for bar in found] == [
        ("B1", 144.0, 3, "H1", "3.1", "own"), ("B2", 51.125, 1, "H1", "3.1", "own"), ("B3", 60.0, 2, "H1", "3.1", "Harrow")]
    assert (found[1].stock.condition, found[1].place, found[2].value) == ("Drawn, h9", "A3", 0)
    metric = files(tmp_path, job(units="in"), rack=path, units="mm").rack
    assert [bar.length for bar in metric] == [pytest.approx(3657.6), pytest.approx(1298.575), pytest.approx(1524)]


def test_the_value_of_the_rack_closes_to_the_cent(tmp_path):
    """Three bars for 100.00 are 33.33... each; whatever is taken, all of them are 100.00."""
    path = history(tmp_path, racked(), racked("B2", 143_000, bars=7, value=12_345), racked("B3", bars=11, value=98_765, length=100_001), taken=[("B3", 4)])
    rack = files(tmp_path, job(units="in"), rack=path).rack
    from barfuncs.rack.file import read_ledger

    there = read_ledger(path).rack
    assert round(sum(bar.value * bar.count for bar in rack) * 100) == there.balance().left.value
    plan = files(tmp_path, job(units="in", quantity="700", mixed_heats="yes"), rack=path, shop=dataclasses.replace(SHOP, supplied=()), seconds=1).plan()
    used = {bar.id: 0 for bar in rack}
    for row in plan.sawing:
        used[rack[row.rack].id] += row.bars
    whole = sum(bar.value * used[bar.id] for bar in rack)
    assert plan.rack_money == pytest.approx(whole)
    assert round(rack[0].value * 3, 2) == round(there.present()[0].value / 100, 2)


def test_a_workbook_of_bars(tmp_path):
    path = tmp_path / "rack.xlsx"
    path.write_bytes(filled([racked(), racked("B2", 30_500)], "in"))
    found = files(tmp_path, job(units="in"), rack=path).rack
    assert [(bar.id, bar.length, bar.count, bar.value) for bar in found] == [("B1", 144.0, 3, pytest.approx(100 / 3)), ("B2", 30.5, 3, pytest.approx(100 / 3))]


BARS = "Bar id,Bars,Material,Shape,Size,Length,Heat,Certificate,Owner,Value\n"


def test_a_bad_bar_of_a_list_is_named(tmp_path):
    path = tmp_path / "bars.csv"
    path.write_text(BARS + "B1,1,303,round,1,100,H1,3.1,,10\nB1,1,303,round,1,90,H1,3.1,,10\nB2,1,12L14,round,1,90,h1,3.1,,10\n", "utf-8")
    assert refused(tmp_path, job(units="in"), rack=path) == [(3, "id", "B1 is in row 2 too"), (4, "heat", "h1 is Steel 12L14 here and Stainless 303 at B1")]
    path.write_text(BARS + "B1,0,303,round,1,100,,3.1,,10\nB2,1,303,round,1,wide,,,,\n", "utf-8")
    found = refused(tmp_path, job(units="in", quantity="0"), rack=path)
    assert [(row, re.sub(r" \(.*", "", column)) for row, column, _ in found] == [(2, "quantity"), (2, "Bars"), (3, "Length")]


def test_a_file_that_is_no_rack(tmp_path):
    path = listed(tmp_path, job(), name="other.csv")
    with pytest.raises(WorkbookError, match=r"other\.csv is no list of bars"):
        files(tmp_path, job(), rack=path)
    path = history(tmp_path, racked())
    path.write_text(path.read_text("utf-8-sig").replace("144", "145"), "utf-8")
    with pytest.raises(InputError, match=r"rack\.csv: row 3"):
        files(tmp_path, job(), rack=path)


def test_bars_of_another_finish_are_not_taken_and_it_is_said(tmp_path):
    path = history(tmp_path, racked(finish="drawn"))
    notes = files(tmp_path, job(units="in"), rack=path).notes
    assert "3 bars of Stainless 303, round 1 on the rack are not taken: their finish and tolerance class is drawn, the jobs ask for none" in notes


# --- what can't be planned -----------------------------------------------------------------------------------------


@pytest.mark.slow
def test_why_there_is_no_bar_for_a_job(tmp_path):
    def why(row, **options):
        (number, column, reason), = refused(tmp_path, row, seconds=1, **options)
        assert number == 2
        return column, reason

    piece = dict.fromkeys(("part_length", "cutoff_width", "face_to_cutoff", "grip_length"))
    assert why(job(piece_length="150", **piece)) == ("piece_length", "a piece takes 150 in; the longest bar of Stainless 303, round 1 is 144, of which "
                                                                    "0.5 are trimmed off its ends")
    assert why(job(part_length="142")) == ("part_length", "the shortest blank takes 144.875 in; the longest bar of Stainless 303, round 1 is 144, of which "
                                                          "0.5 are trimmed off its ends")
    assert why(job(certificate="3.1")) == ("certificate", "no bar of Stainless 303, round 1 with 3.1 is on offer or on the rack; the best that comes with "
                                                          "one is none")
    late = dataclasses.replace(SHOP, supplied=(dataclasses.replace(SHOP.supplied[0], lead_days=14),))
    assert why(job(need_by="2027-03-14"), shop=late) == ("need_by", "2027-03-14 is too soon: ordered on 2027-03-01, the first bars of Stainless 303, round 1 "
                                                                   "come on 2027-03-15")
    assert files(tmp_path, job(need_by="2027-03-15"), shop=late, seconds=1).plan().lines
    few = dataclasses.replace(SHOP, supplied=(dataclasses.replace(SHOP.supplied[0], available=2),))
    column, reason = why(job(quantity="500"), shop=few)
    assert column == "quantity"
    assert reason.startswith("there are not enough bars of Stainless 303, round 1 for all jobs: 2 on offer, and all parts must be of one heat")
    path = history(tmp_path, racked(owner="Harrow", value=0))
    assert why(job(customer="Tarn"), shop=dataclasses.replace(SHOP, supplied=()), rack=path) == (
        "customer", "all bars of Stainless 303, round 1 on the rack belong to Harrow, and none is on offer")
    assert why(job(feeder_longest_bar="5")) == ("feeder_longest_bar", "5 given; one part and what each blank loses take 5.125")


def test_a_list_is_planned_to_its_end(tmp_path):
    """Two jobs of one customer's own bar, a piece and a larger size: every blank within the feeder's limits."""
    path = history(tmp_path, racked(owner="Harrow", value=0, bars=1), racked("B2", 60_000, bars=1, value=2_000))
    rows = (job(customer="harrow", machine="Lathe 1", quantity="40"), job(job="J-2", machine="Lathe 1", quantity="200"),
            {"job": "J-3", "material": "303", "size": "1", "piece_length": "12", "quantity": "3"})
    found = files(tmp_path, *rows, rack=path, seconds=1)
    plan = found.plan()
    blanks: list[Blank] = [blank for row in plan.sawing for blank in row.blanks if found.demands[blank.demand].piece_length is None]
    assert all(20 <= blank.length <= 144 for blank in blanks)
    of_harrow = [row for row in plan.sawing if row.rack is not None and found.rack[row.rack].owner == "Harrow"]
    assert {blank.demand for row in of_harrow for blank in row.blanks} <= {0}


@pytest.mark.slow
def test_two_thousand_rows(tmp_path):
    """The plan keeps all rules, which is looked at as it is made; how good it is in a few seconds, it says itself."""
    rows = [job(job=f"J-{n}", quantity="3", units="in") for n in range(2000)]
    found = files(tmp_path, *rows, seconds=2)
    assert len(found.demands) == 2000
    plan = found.plan()
    assert sum(row.bars for row in plan.sawing) >= 2000 * 3 * 2.375 // 144
    assert plan.bound <= plan.cost
    assert refused(tmp_path, *rows, job(units="in")) == [(0, "rows", "2,001 given; at most 2,000")]


def test_the_example_shop_file_can_be_bought_from(tmp_path):
    shop = read_shop("workbook_templates/shop.xlsx")
    found = files(tmp_path, job(machine="Lathe 1", certificate="3.1", units="in"), shop=shop, seconds=1)
    assert [(offer.length, offer.certificate) for offer in found.offers] == [(144.0, "3.1"), (240.0, "3.1")]
    assert found.plan().lines
