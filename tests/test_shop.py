"""The shop file: the example that is built, what is read from it, units, and everything that is refused by cell."""

import io
import re
from dataclasses import MISSING, fields, replace

import openpyxl
import pytest
from libreoffice import convert
from openpyxl.utils import get_column_letter
from reference_speeds import suggested, values

import barfuncs as bf
from barfuncs.catalogue.kinds import ROUNDINGS
from barfuncs.catalogue.units import KG_PER_LB
from barfuncs.errors import InputError, WorkbookError
from barfuncs.tables import speeds_feeds
from barfuncs.templates import job_plan, shop
from barfuncs.templates.shop import PRICES, RATES, Machine, Rates, StockPrice, read_shop

MACHINE_SHEET, PRICE_SHEET, SPEED_SHEET, STOCK_SHEET, SUPPLIED_SHEET = shop.TABLES
BEHIND = get_column_letter(2 + len(shop.TABLES[MACHINE_SHEET]))
"""The column of the sheet behind the machines' last."""


def changed(tmp_path, *cells, drop=None):
    """The example with some cells changed: (sheet, cell, value)."""
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    for sheet, ref, value in cells:
        book[sheet][ref] = value
    if drop:
        del book[drop]
    path = tmp_path / "mine.xlsx"
    book.save(path)
    return path


@pytest.fixture
def example(tmp_path):
    return read_shop(changed(tmp_path))


# --- the example ---------------------------------------------------------------------------------------------------


def test_the_example_reads_back_as_it_was_written(example):
    assert example.units == "in"
    assert [tuple(getattr(m, c.name) for c in shop.TABLES[MACHINE_SHEET]) for m in example.machines] == list(shop._EXAMPLES[MACHINE_SHEET])
    assert {c.name: getattr(example.rates, c.name) for c in RATES} == shop._EXAMPLE_RATES | {"margin": None}
    assert [p.material_price for p in example.prices] == [row[3] for row in shop._EXAMPLES[PRICE_SHEET]]
    assert example.speeds == speeds_feeds.builtin()
    names = {"12L14": "Steel 12L14", "303": "Stainless 303"}
    assert [tuple(getattr(b, c.name) for c in shop.SUPPLIED) for b in example.supplied] == [
        (names.get(row[0], row[0]), *row[1:]) for row in shop._EXAMPLES[SUPPLIED_SHEET]]
    assert {c.name: getattr(example.buying, c.name) for c in shop.BUYING} == shop._EXAMPLE_BUYING


def test_columns_and_records_are_the_same():
    for columns, record in ((shop.TABLES[MACHINE_SHEET], Machine), (PRICES, StockPrice), (RATES, Rates), (shop.SUPPLIED, shop.SuppliedBar),
                            (shop.BUYING, shop.BuyingRates)):
        assert {c.name for c in columns} == {f.name for f in fields(record)} - {"row"}
        needed = {f.name for f in fields(record) if f.default is MISSING and f.name != "row"}
        assert {c.name for c in columns if c.needed} == needed


def test_the_example_can_price_an_order(example):
    machine, price = example.machine("LATHE  1"), example.price("C36000", "hexagon", 0.75)
    weight = bf.bar_weight("Brass C36000", "hexagon", 0.75, machine.feeder_longest_bar)
    bar_cost = bf.material_cost(1, price.material_price, price.price_per, 144, weight)
    rows = bf.price_breaks([100, 1000], 59, bar_cost, 45, machine.bar_change_time, 1.5, machine.machine_rate,
                           setup_rate=machine.setup_rate, markup=example.rates.markup, rounding=example.rates.rounding)
    assert rows[0][7] > rows[1][7] > 0


def test_every_input_cell_is_open_framed_and_prompts():
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    for sheet in book.worksheets:
        assert sheet.protection.sheet
        assert sheet.print_area
        cells = [c for row in sheet.iter_rows() for c in row if not c.protection.locked]
        assert cells
        checks = sheet.data_validations.dataValidation
        covered = {c.coordinate for c in cells if any(c.coordinate in v.sqref for v in checks)}
        assert covered == {c.coordinate for c in cells}
        assert all(v.showInputMessage and v.prompt for v in checks)
        # A text with a unit must not be turned away, a choice that there is none must.
        assert {v.showErrorMessage for v in checks if v.type != "list"} <= {False}
        assert {v.showErrorMessage for v in checks if v.type == "list"} <= {True}
    assert not [c for s in book.worksheets for row in s.iter_rows() for c in row if c.comment]


def test_rounding_choices_fit_a_list_of_a_cell():
    assert len(",".join(ROUNDINGS)) + 2 <= 255


@pytest.mark.slow
@pytest.mark.libreoffice
def test_a_file_saved_by_libreoffice_reads_the_same(tmp_path):
    path = changed(tmp_path, (MACHINE_SHEET, "C6", "=12*12"))
    (tmp_path / "out").mkdir()
    saved, = convert(path, tmp_path / "out")
    assert read_shop(saved).without_file() == read_shop(changed(tmp_path)).without_file()


# --- units ---------------------------------------------------------------------------------------------------------


def test_texts_carry_their_own_units(tmp_path):
    path = changed(tmp_path, (MACHINE_SHEET, "C6", "12 ft"), (MACHINE_SHEET, "D6", "32 mm"), (MACHINE_SHEET, "E6", "2 1/2"),
                   (MACHINE_SHEET, "G6", "0.5 min"), (PRICE_SHEET, "D7", "19 mm"), (shop.RATES_SHEET, "C9", None),
                   (shop.RATES_SHEET, "C10", "35%"), (SPEED_SHEET, "E6", "180 m/min"), (SPEED_SHEET, "G6", "0.2 mm/rev"))
    read = read_shop(path)
    machine = read.machines[0]
    assert machine.feeder_longest_bar == 144
    assert machine.largest_size == pytest.approx(32 / 25.4)
    assert (machine.grip_length, machine.bar_change_time) == (2.5, 30)
    assert read.prices[1].size == pytest.approx(19 / 25.4)
    assert read.rates.markup == 0.35
    assert values(suggested("free-machining steel", "turning", table=read.speeds), "mm") == (pytest.approx(180), pytest.approx(0.2))


def test_a_metric_file(tmp_path):
    path = changed(tmp_path, (shop.RATES_SHEET, "C5", "mm"), (MACHINE_SHEET, "C6", 3660), (MACHINE_SHEET, "D6", "1 1/4 in"),
                   (SPEED_SHEET, "E6", None), (SPEED_SHEET, "F6", 180), (SPEED_SHEET, "G6", None), (SPEED_SHEET, "H6", 0.2))
    read = read_shop(path)
    assert read.units == "mm"
    assert read.machines[0].feeder_longest_bar == 3660
    assert read.machines[0].largest_size == pytest.approx(31.75)
    assert suggested("free-machining steel", "turning", table=read.speeds).surface_speed == pytest.approx(180 / 0.3048)


def test_a_shop_in_other_units_is_the_same_shop(example):
    metric = example.in_units("mm")
    assert metric.machine("Lathe 2").grip_length == pytest.approx(82.55)
    assert metric.machine("Lathe 2").top_speed == 5000
    assert metric.machine("Lathe 2").max_feed == pytest.approx(5080)
    assert metric.price("303", "round", 25.4).chip_price == pytest.approx(0.35 / KG_PER_LB)
    assert metric.price("303", "round", 25.4).material_price == 3.2  # the price says itself what it is per
    assert metric.rates.remnant_price == pytest.approx(0.15 / KG_PER_LB)
    back = metric.in_units("in")
    assert back.machines[0].grip_length == pytest.approx(example.machines[0].grip_length, rel=1e-15)
    assert example.in_units("in") is example


def test_bars_that_can_be_bought_in_other_units(example):
    metric = example.in_units("mm")
    bar, rates = metric.supplied[3], metric.buying
    assert (bar.material, bar.row, bar.price, bar.price_per) == ("Stainless 303", 9, 3.2, "lb")
    assert (bar.size, bar.length) == (pytest.approx(25.4), pytest.approx(3657.6))
    assert bar.material_surcharge == pytest.approx(0.35 / KG_PER_LB)
    assert metric.supplied[1].from_weight == pytest.approx(250 * KG_PER_LB)
    assert (rates.bar_trim, rates.least_left, rates.left_share) == (pytest.approx(6.35), pytest.approx(304.8), 0.5)
    assert metric.machines[0].shortest_blank == pytest.approx(304.8)


def test_what_buying_alone_goes_by_makes_no_other_template(example):
    assert job_plan.TEMPLATE.build(example) == job_plan.TEMPLATE.build(replace(example, supplied=(), buying=shop.BuyingRates()))
    bare = replace(example, supplied=(), buying=shop.BuyingRates(), machines=tuple(replace(m, shortest_blank=None) for m in example.machines))
    assert bare == example
    assert hash(bare) == hash(example)


def test_a_file_without_anything_for_buying(tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    del book[SUPPLIED_SHEET]
    sheet = book[shop.RATES_SHEET]
    first = next(row for row in range(1, 60) if sheet[f"B{row}"].value == "Buying")
    sheet.delete_rows(first, 10)
    book[MACHINE_SHEET].delete_cols(1 + len(shop.TABLES[MACHINE_SHEET]))
    path = tmp_path / "older.xlsx"
    book.save(path)
    read = read_shop(path)
    assert (read.supplied, read.buying) == ((), shop.BuyingRates())
    assert read.machines == read_shop(changed(tmp_path)).machines
    assert {m.shortest_blank for m in read.machines} == {None}


def test_a_certificate_may_be_a_number(tmp_path):
    read = read_shop(changed(tmp_path, (SUPPLIED_SHEET, "M6", 3.1), (SUPPLIED_SHEET, "M8", 2.2)))
    assert [bar.certificate for bar in read.supplied[:3]] == ["3.1", "3.1", "2.2"]


# --- look-up -------------------------------------------------------------------------------------------------------


def test_the_price_that_says_most_about_a_bar_comes_first(example):
    def price(*bar):
        found = example.price(*bar)
        return found and found.material_price

    assert price("Brass C36000", "round", 0.5) == 4.6
    assert price("brass c36000", "hexagon", 0.75) == 5.1
    assert price("C36000", "hexagon", 0.5) == 4.6
    assert price("1.4305", "round", 1) == 3.2
    assert price("303", "round", 1.25) == price("303", "round") == 3.4
    assert price("303", "hexagon", 1) is None
    assert price("4140", "round", 1) is None


def test_a_return_left_blank_is_that_of_the_rates(example):
    assert example.price("12L14", "round").chip_price == 0.12
    assert example.price("303", "round").chip_price == 0.35


@pytest.mark.parametrize(("name", "message"), [
    ("Lathe 9", "machine: 'Lathe 9' is not a machine of the shop file; there are Lathe 1, Lathe 2, Sliding head 3"),
    (None, "machine: None is not a machine"),
])
def test_an_unknown_machine_is_said(example, name, message):
    with pytest.raises(InputError, match=f"^shop: {message}"):
        example.machine(name)


def test_an_unknown_material_is_said(example):
    with pytest.raises(InputError, match=r"^shop: material: 'Brass C3600' is not a known material: look its name up on the sheet Materials"):
        example.price("Brass C3600")


# --- what is refused -----------------------------------------------------------------------------------------------

REFUSED = [
    ((MACHINE_SHEET, "C6", -1), "Machines, C6 (Longest bar): -1 given; allowed is a number more than 0 and at most 1,000,000 (in)"),
    ((MACHINE_SHEET, "C6", 0), "Machines, C6 (Longest bar): 0 given; allowed is a number more than 0"),
    ((MACHINE_SHEET, "C6", "long"), "Machines, C6 (Longest bar): 'long' can't be read as a length"),
    ((MACHINE_SHEET, "C6", "12 kg"), "Machines, C6 (Longest bar): '12 kg' can't be read as a length"),
    ((MACHINE_SHEET, "C6", True), "Machines, C6 (Longest bar): True given"),
    ((MACHINE_SHEET, "C6", "#N/A"), "Machines, C6 (Longest bar): the cell shows the error #N/A"),
    ((MACHINE_SHEET, "C6", "=100+44"), "Machines, C6 (Longest bar): has a formula without a value; open the file in a spreadsheet"),
    ((MACHINE_SHEET, "B6", "=\"Lathe\""), "Machines, B6 (Machine): has a formula without a value"),
    ((MACHINE_SHEET, "B6", None), "Machines, B6 (Machine): is blank"),
    ((MACHINE_SHEET, "B6", "#REF!"), "Machines, B6 (Machine): the cell shows the error #REF!"),
    ((MACHINE_SHEET, "B6", "x" * 121), "Machines, B6 (Machine): has 121 characters; allowed is at most 120"),
    ((MACHINE_SHEET, "B7", "lathe 1"), "Machines, row 7: says the same as row 6; one of them must go"),
    ((MACHINE_SHEET, "I6", 5), "Machines, I6 (Max. feed): 5 given; allowed is a number 40 or more and at most 100,000 (in/min)"),
    ((MACHINE_SHEET, "J6", 2.5), "Machines, J6 (Bars in the feeder): 2.5 given; allowed is a whole number"),
    ((MACHINE_SHEET, f"{BEHIND}6", 7), f"Machines, {BEHIND}6: stands outside the columns of the table"),
    ((MACHINE_SHEET, "D5", "Bore"), "Machines, D5: 'Bore' is not a column; known are Machine, Longest bar"),
    ((MACHINE_SHEET, "D5", "Longest bar"), "Machines, D5: 'Longest bar' stands twice in the head"),
    ((MACHINE_SHEET, "B5", "Name"), "Machines: no head: none of the first 30 rows has a cell 'Machine'"),
    ((PRICE_SHEET, "B6", "unobtainium"), "Materials and prices, B6 (Material): 'unobtainium' is not a known material"),
    ((SUPPLIED_SHEET, "B6", "unobtainium"), "Supplied bars, B6 (Material): 'unobtainium' is not a known material"),
    ((SUPPLIED_SHEET, "I6", None), "Supplied bars, I6 (Price): is blank"),
    ((SUPPLIED_SHEET, "J6", "blank"), "Supplied bars, J6 (Price is per): 'blank' given; a bar is priced here as it is supplied"),
    ((SUPPLIED_SHEET, "E6", 0.1), "Supplied bars, E6 (Thickness): a solid round, hexagon, square or octagon has no thickness: leave it out"),
    ((SUPPLIED_SHEET, "C6", "tube"), "Supplied bars, E6 (Thickness): a flat, a tube and a hexagon tube need a thickness above 0"),
    ((SUPPLIED_SHEET, "M6", 3.3), "Supplied bars, M6 (Certificate): 3.3 given; allowed is one of none, 2.1, 2.2, 3.1, 3.2"),
    ((SUPPLIED_SHEET, "O6", 0), "Supplied bars, O6 (Bars in a bundle): 0 given; allowed is a whole number 1 or more"),
    ((PRICE_SHEET, "C6", "rhombus"), "Materials and prices, C6 (Shape): 'rhombus' given; allowed is one of round"),
    ((PRICE_SHEET, "E6", None), "Materials and prices, E6 (Material price): is blank"),
    ((PRICE_SHEET, "F6", None), "Materials and prices, F6 (Material price is per): is blank"),
    ((PRICE_SHEET, "F6", "ton"), "Materials and prices, F6 (Material price is per): 'ton' given; allowed is one of lb, kg"),
    ((PRICE_SHEET, "B9", "Brass C36000"), None),
    ((PRICE_SHEET, "B12", "loose note"), "Materials and prices, E12 (Material price): is blank"),
    ((PRICE_SHEET, "D10", None), "Materials and prices, row 10: says the same as row 9"),
    ((shop.RATES_SHEET, "C5", "cm"), "Rates and charges, C5 (Units): 'cm' given; allowed is one of in, mm"),
    ((shop.RATES_SHEET, "C5", None), "Rates and charges, C5 (Units): is blank"),
    ((shop.RATES_SHEET, "C9", 0.2), "Rates and charges, C10 (Markup): fill in the margin or the markup, not both"),
    ((shop.RATES_SHEET, "C9", 1), "Rates and charges, C9 (Margin): 1 given; allowed is a number 0 or more and below 1"),
    ((shop.RATES_SHEET, "C11", "to the cent"), "Rates and charges, C11 (Price each is rounded): 'to the cent' given"),
    ((shop.RATES_SHEET, "B10", "Profit"), "Rates and charges: the line 'Markup' is missing"),
    ((shop.RATES_SHEET, "B10", "Margin"), "Rates and charges, C10 (Margin): stands twice on this sheet"),
    ((SPEED_SHEET, "C6", "milling"), "Speeds and feeds, C6 (Operation): 'milling' given; allowed is one of turning"),
    ((SPEED_SHEET, "E6", None), "Speeds and feeds, E6 (Speed): is blank"),
    ((SPEED_SHEET, "F6", 100), "Speeds and feeds, F6 (Speed, metric): is given in both units; leave one blank"),
    ((SPEED_SHEET, "E6", "=2*300"), "Speeds and feeds, E6 (Speed): has a formula without a value"),
    ((SPEED_SHEET, "E6", -5), "Speeds and feeds, E6 (Speed): -5 given"),
    ((SPEED_SHEET, "G10", 0.05), "Speeds and feeds, G10 (Feed): must be blank: a thread's feed is its pitch"),
    ((SPEED_SHEET, "I9", None), "Speeds and feeds, I9 (Feed of a drill): is blank: give the feed as a share of the drill's diameter"),
    ((SPEED_SHEET, "G9", 0.005), "Speeds and feeds, G9 (Feed): must be blank: a drill's feed is a share of its diameter"),
    ((SPEED_SHEET, "I6", 0.015), "Speeds and feeds, I6 (Feed of a drill): must be blank: it is for drilling and reaming only"),
    ((SPEED_SHEET, "I9", 1.5), "Speeds and feeds, I9 (Feed of a drill): 1.5 given; allowed is a number more than 0 and at most 0.1"),
    ((SPEED_SHEET, "C7", "turning"), "Speeds and feeds, row 7: says the same as row 6"),
]


@pytest.mark.slow
@pytest.mark.parametrize(("cell", "message"), REFUSED, ids=[f"{c[0]}-{c[1]}-{n}" for n, (c, _) in enumerate(REFUSED)])
def test_a_bad_cell_is_named_with_its_sheet(tmp_path, cell, message):
    path = changed(tmp_path, cell)
    if message is None:
        assert read_shop(path).prices[3].material == "Brass C36000"
        return
    with pytest.raises(InputError, match=f"^mine.xlsx: .*{re.escape(message)}"):
        read_shop(path)


def test_all_bad_cells_are_named_at_once(tmp_path):
    path = changed(tmp_path, (MACHINE_SHEET, "C6", -1), (PRICE_SHEET, "F6", "ton"), (SPEED_SHEET, "C6", "milling"))
    with pytest.raises(InputError) as caught:
        read_shop(path)
    assert [place.split(" (")[0] for place, _ in caught.value.problems] == [
        "Machines, C6", "Materials and prices, F6", "Speeds and feeds, C6"]


def test_a_missing_sheet_or_column_is_named(tmp_path):
    with pytest.raises(InputError, match=r"^mine.xlsx: Machines: this sheet is missing; the file has Rates and charges"):
        read_shop(changed(tmp_path, drop=MACHINE_SHEET))
    with pytest.raises(InputError, match="Materials and prices, row 5: the column 'Material price' is missing"):
        read_shop(changed(tmp_path, (PRICE_SHEET, "E5", None), *((PRICE_SHEET, f"E{n}", None) for n in range(6, 12))))


def test_rows_and_columns_may_be_moved(tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    book[MACHINE_SHEET].insert_rows(3, 4)
    book[MACHINE_SHEET].delete_cols(4)  # largest size
    book.save(tmp_path / "moved.xlsx")
    read = read_shop(tmp_path / "moved.xlsx")
    assert [m.name for m in read.machines] == ["Lathe 1", "Lathe 2", "Sliding head 3"]
    assert {m.largest_size for m in read.machines} == {None}
    assert read.machines[0].grip_length == 2.5


def test_a_formula_as_text_stays_a_text(tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    cell = book[MACHINE_SHEET]["B6"]
    cell.value, cell.data_type = "=1+1", "s"
    book.save(tmp_path / "text.xlsx")
    assert read_shop(tmp_path / "text.xlsx").machines[0].name == "=1+1"


def test_limits_of_a_file(tmp_path):
    path = tmp_path / "mine.xlsx"
    path.write_text("no workbook", encoding="utf-8")
    with pytest.raises(WorkbookError, match=r"^mine\.xlsx is not an xlsx workbook, or is damaged"):
        read_shop(path)
    with pytest.raises(WorkbookError, match=r"^none\.xlsx: there is no such file"):
        read_shop(tmp_path / "none.xlsx")
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    book[PRICE_SHEET].cell(shop.MOST_ROWS + 40, 2, "303")
    book.save(path)
    with pytest.raises(WorkbookError, match=r"^mine\.xlsx, Materials and prices: more than 2,000 rows$"):
        read_shop(path)
