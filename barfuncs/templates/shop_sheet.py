"""The sheet of a template that holds the shop's own data, and the cells that pick from it what a job leaves blank."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter

from barfuncs.catalogue import materials
from barfuncs.catalogue.reading import CELLS, read_in
from barfuncs.catalogue.units import KG_PER_LB, L_PER_GAL, MM_PER_INCH
from barfuncs.errors import InputError, shown
from barfuncs.functions.stock import material_row
from barfuncs.tables import speeds_feeds
from barfuncs.templates import layout
from barfuncs.templates.form import Form
from barfuncs.templates.model import Answer, Column, Missing, Problems, RowAnswer, Table
from barfuncs.templates.page import Page, add_page
from barfuncs.templates.shop import (
    LETTERHEAD,
    MACHINES,
    PRICES,
    RATES,
    STOCK,
    Machine,
    Rates,
    Shop,
    StockPrice,
    StockSize,
    number_format,
    unit_formula,
)

TITLE = "Shop"
_PICKED_FROM_MACHINE = tuple(c.name for c in MACHINES if c.name not in ("name", "largest_size"))
_PICKED_FROM_PRICES = ("material_price", "price_per", "material_surcharge", "supplied_length", "chip_price", "remnant_price")

MACHINE_ROW = Answer("machine_row", "row of the machine on the sheet Shop, 0 for none", "count",
                     formula='IF(machine="",0,IF(SUMPRODUCT(--(machines_name=machine))=1,'
                             "SUMPRODUCT(--(machines_name=machine),machines_rows),0))")
LARGEST_SIZE = Answer("largest_size", "largest size that goes through the spindle", "length", "length",
                      formula="IF(machine_row=0,0,INDEX(machines_largest_size,machine_row)*shop_length_factor)")
_UNITS_ARE_GOOD = 'OR(shop_units="in",shop_units="mm")'
MACHINE_WRONG = Answer("machine_wrong", "1 where the machine can't be used: unknown, or its row or the units of Shop are wrong",
                       "count", formula=f'IF(machine="",0,IF(machine_row=0,1,IF(INDEX(machines_marks,machine_row)<>"",1,'
                                        f"IF({_UNITS_ARE_GOOD},0,1))))")
SHOP_PROBLEMS = Answer("shop_problems", "marks on the sheet Shop, and 1 for its units where they are neither in nor mm", "count",
                       formula='SUMPRODUCT(--(machines_marks<>""))+SUMPRODUCT(--(prices_marks<>""))+SUMPRODUCT(--(stock_marks<>""))'
                               f"+IF({_UNITS_ARE_GOOD},0,1)")
PROBLEMS = (Missing('AND(machine<>"",machine_row=0)', "machine", "not on the sheet Shop", "machine"),
            Missing("shop_problems>0", "sheet Shop", "its units or a row with a mark"))
"""What may be wrong with the shop's own data, and how it is called."""

def _same_units(metric: float) -> str:
    """Cell expression: the factor from the shop's units to the job's."""
    return f'IF({_UNITS_ARE_GOOD},IF(shop_units=use_units,1,IF(use_units="mm",{metric!r},1/{metric!r})),NA())'


def _picked(form: Form, name: str) -> str:
    """Cell expression: the shop's value for an input of this job, or an empty text."""
    machine_row = f"{form.prefix}machine_row"
    if name in _PICKED_FROM_MACHINE:
        kind = form.inputs[name].kind
        factor = "*shop_length_factor" if kind.dimension in ("length", "feed_speed") else ""
        if kind.dimension == "bin_volume":
            factor = f"*{_same_units(L_PER_GAL)}"
        cell = f"INDEX(machines_{name},{machine_row})"
        bad = f'INDEX(machines_marks,{machine_row})<>""'
        return f'IF({machine_row}=0,"",IF({bad},NA(),IF({cell}="","",{cell}{factor})))'
    cell = f"INDEX(prices_{name},shop_price_row)"
    if name == "material_price":  # not without its own basis: a price per lb is none per kg
        return f'IF(shop_price_row=0,"",IF(OR(ISBLANK(price_per),price_per=INDEX(prices_price_per,shop_price_row)),{cell},""))'
    if name == "price_per":
        return f'IF(OR(shop_price_row=0,NOT(ISBLANK(material_price))),"",{cell})'
    if name == "material_surcharge":  # it goes with the shop's price: one that is typed may have it in it
        return f'IF(OR(shop_price_row=0,NOT(ISBLANK(material_price))),"",IF({cell}="","",{cell}*shop_weight_factor))'
    if name == "supplied_length":
        return f'IF(shop_price_row=0,"",IF({cell}="","",{cell}*shop_length_factor))'
    rate = f"rates_{name}"
    good = f"IF({form.inputs[name].kind.cell_test(rate)},{rate},NA())"
    if name in _PICKED_FROM_PRICES:
        own = f'IF({rate}="","",{good}*shop_weight_factor)'
        return f'IF(shop_price_row=0,{own},IF({cell}="",{own},{cell}*shop_weight_factor))'
    if name in ("margin", "markup"):  # one of the two, and the job's own before the shop's
        other = "markup" if name == "margin" else "margin"
        return f'IF(OR({rate}="",NOT(ISBLANK({other}))),"",{good})'
    if form.inputs[name].kind.reader == "text":
        return f'IF({rate}="","",{rate})'
    factor = "*shop_length_factor" if form.inputs[name].kind.dimension == "length" else ""
    return f'IF({rate}="","",{good}{factor})'


def _alike(item: str, *names: str) -> tuple[str, str]:
    """A row is wrong where another has the same in these columns."""
    same = "*".join(f"(all_{item}_{name}={item}_{name})" for name in names)
    return f"SUMPRODUCT(--({same}))<>1", "stands twice"


# A machine of which the largest size is not said is not known to take the bar.
_TAKES = ("IF(across_corners<=machines_largest_size*shop_length_factor*(1+1E-9),"
          'IF(machines_feeder_longest_bar="",TRUE,bar_length<=machines_feeder_longest_bar*shop_length_factor*(1+1E-9)),FALSE)')
_MACHINES = Table(
    "machines", "machines", "Machines", "Machine", MACHINES, 10, counted=False, marks_width=MACHINES[-1].width,
    answers=(RowAnswer("fits", "Machines so far that take this bar", "text", "",
                       'IF(ISTEXT(above_machines_fits),above_machines_fits,"")&IF(machines_name="","",IF(machines_mark<>"","",'
                       f'IF(machines_largest_size="","",IF({_TAKES},machines_name&", ",""))))', aside=True),),
    wrong_if=(_alike("machines", "name"),))
_KNOWN = f"OR(ISNUMBER({material_row('prices_material')}),SUMPRODUCT(--(own_material_names=prices_material))>0)"


def _prices(prefix: str) -> Table:
    """The prices, and how well each fits the job's bar: 0 not at all, more the more it says about the bar."""
    name, line = f"{prefix}material_name", f"{prefix}material_row"
    # Another spelling of the job's material is as good as its name.
    named = f"OR(prices_material={name},IF({line}>0,IFERROR({material_row('prices_material')}={line},FALSE),FALSE))"
    fits = (f'AND({named},OR(prices_shape="",prices_shape=use_shape),'
            'IF(prices_size="",TRUE,ABS(prices_size*shop_length_factor-use_size)<=0.000001*use_size))')
    fit = f'IF(prices_material="",0,IF(prices_mark<>"",0,IFERROR(IF({fits},1+(prices_shape<>"")+2*(prices_size<>""),0),0)))'
    return Table("prices", "prices", "Materials and prices", "Price", PRICES, 20, counted=False,
                 answers=(RowAnswer("fit", "Fits this job", "blank_or_count", formula=fit, small=True),),
                 wrong_if=((f"NOT({_KNOWN})", "material not in the table"), _alike("prices", "material", "shape", "size")))


# A size in the job's units, where it is kept in the shape of the job's bar.
_FITTING = RowAnswer("fitting", "For this job", "blank_or_count", small=True,
                     formula='IF(stock_size="","",IF(stock_mark<>"","",IF(OR(stock_shape="",stock_shape=use_shape),'
                             'stock_size*shop_length_factor,"")))')
_STOCK = Table("stock", "stock", "Stock sizes (left blank, usual steps are taken)", "Size", STOCK, 12, counted=False,
               answers=(_FITTING,), wrong_if=(_alike("stock", "size", "shape"),))
FITTING_STOCK = "fitting_stock"
"""Name of the cells with the sizes that are kept in the shape of the job's bar, in its units."""


def worked_out_with(shop: Shop | None) -> str:
    """Which shop file the figures of a workbook come from, in words."""
    if shop is None:
        return "Worked out without a shop file."
    return f"Worked out with the shop file {shop.file}." if shop.file else "Worked out with a shop's data from a program, not from a file."


def put_worked_out_with(page: Page, shop: Shop | None, column: str = "B") -> None:
    """That, on the next row of a page."""
    page.next_row()
    page.put(column, worked_out_with(shop), size=9, color=layout.SOFT)


def shop_sheet(book: Workbook, form: Form, shop: Shop | None) -> None:
    """Rates, machines and prices in framed cells, filled with those of `shop`, and what this job takes of them."""
    letters = [get_column_letter(n) for n in range(2, 2 + len(MACHINES))]
    page = add_page(book, TITLE, {"A": 1.5, **dict.fromkeys(letters, 13.5), "B": 30, letters[-1]: MACHINES[-1].width}, landscape=True)
    sheet = page.sheet
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 2, 0
    sheet.print_title_cols = "A:B"
    page.title("Shop")
    page.remark("What holds for every job: a cell that a job leaves blank takes its value from here. "
                "It can be filled from your shop file.")
    put_worked_out_with(page, shop)
    page.name("shop_file", f"B{page.row}")
    page.skip()
    page.heading("B:D", "Rates and charges")
    page.next_row()
    page.put("B", "Units of this sheet")
    ref = page.take("C")
    layout.style_input(sheet, ref, "text")
    sheet[ref].value = shop.units if shop else "in"
    layout.validate(sheet, ref, form.inputs["units"].kind, "Units of this sheet", "what lengths and prices by weight are in")
    page.name("shop_units", ref)
    for title, columns, values in ((None, RATES, shop.rates if shop else None), ("Letterhead", LETTERHEAD, shop.letterhead if shop else None)):
        asked = [c for c in columns if c.name in form.inputs]
        if title and asked:
            page.skip()
            page.heading("B:D", title)
        for column in asked:
            page.next_row()
            page.put("B", column.label)
            ref = _framed(page, column, "C", getattr(values, column.name, None))
            page.put("D", unit_formula(column), size=9, color=layout.SOFT, indent=1)
            page.name(f"rates_{column.name}", ref)
    for table, records in ((_MACHINES, shop.machines if shop else ()), (_prices(form.prefix), shop.prices if shop else ()),
                           (_STOCK, shop.stock if shop else ())):
        page.skip()
        page.heading(f"B:{letters[-1]}", table.label)
        form.put_table(page, replace(table, rows=max(table.rows, len(records) + 4)), [vars(r) for r in records], "shop_units")
    of_stock = page.book.defined_names[f"{form.prefix}{_STOCK.item}_{_FITTING.name}"].attr_text
    page.name(FITTING_STOCK, of_stock.partition("!")[2].replace("$", ""))
    page.skip()
    page.heading("B:D", "What this job takes from here where it leaves a cell blank")
    form.follow_on |= {
        **dict.fromkeys(_PICKED_FROM_MACHINE, "IFERROR(machine_wrong>0,FALSE)"),
        **dict.fromkeys(("material_price", "price_per"), "AND(ISERROR(density),COUNTA(prices_material)>0)"),
    }
    steps = [("shop_length_factor", "conversion of lengths", _same_units(MM_PER_INCH)),
             ("shop_weight_factor", "conversion of prices by weight", _same_units(1 / KG_PER_LB)),
             ("shop_price_row", "price row used, 0 for none",
              "IF(MAX(prices_fit)=0,0,IF(SUMPRODUCT(--(prices_fit=MAX(prices_fit)))=1,"
              "MATCH(MAX(prices_fit),prices_fit,0),NA()))".replace("prices_fit", f"{form.prefix}prices_fit"))]
    steps += [(item.stand_in, item.label.lower(), _picked(form, item.name)) for item in form.inputs.values() if item.from_shop]
    first = page.row + 1
    for name, label, formula in steps:
        page.next_row()
        page.put("B", label, size=9, color=layout.SOFT)
        ref = page.take("C")
        layout.style_answer(sheet, ref, "general")
        sheet[ref].value = f"={formula}"
        page.name(name, ref)
    layout.quiet_errors(sheet, f"C{first}:C{page.row}")
    page.print_to(letters[-1])
    layout.keep_in_view(sheet, "C2")


def names_of_sheet(form: Form) -> list[str]:
    """The names of the cells that `read_sheet` reads."""
    return ["shop_units", "shop_file", *(f"rates_{name}" for name in _rates_of(form)),
            *(f"{item}_{column.name}" for item, columns in _RECORDS.items() for column in columns)]


_RECORDS = {"machines": MACHINES, "prices": PRICES, "stock": STOCK}


def _rates_of(form: Form) -> list[str]:
    return [c.name for c in RATES if c.name in form.inputs]


def cells_of(form: Form, shop: Shop, rows: Mapping[str, int]) -> dict[str, Any]:
    """By name of a cell, or the n-th of a column, what a shop puts into it; `rows` says how many of each table there are."""
    cells: dict[str, Any] = {"shop_units": shop.units, **{f"rates_{name}": getattr(shop.rates, name) for name in _rates_of(form)}}
    for (item, columns), records in zip(_RECORDS.items(), (shop.machines, shop.prices, shop.stock), strict=True):
        for n in range(1, rows[item] + 1):
            record = records[n - 1] if n <= len(records) else None
            cells |= {f"{item}_{c.name}[{n}]": getattr(record, c.name) if record else None for c in columns}
    return cells


def read_sheet(form: Form, cells: Mapping[str, Sequence[Any]], table: materials.Materials, leave_out: Collection[str] = ()) -> Shop:
    """The shop as the sheet of a workbook holds it: by name the values of its cells. What is not there is blank; prices of materials
    in `leave_out` are not read. Speeds and feeds, which give ideas and no figures, are the built-in ones.

    Raises InputError naming the cells that hold what they must not.
    """
    problems: Problems = []
    units = cells.get("shop_units", ["in"])[0]
    if units not in ("in", "mm"):
        problems.append((TITLE, f"its units are {shown(units)}; allowed is in or mm"))
        units = "in"

    def read(column: Column, value: Any, place: str) -> Any:
        if value is None or (isinstance(value, str) and not value.strip()):
            return None
        try:
            if column.kind.is_number and (isinstance(value, bool) or not isinstance(value, (int, float))):
                raise ValueError(f"{shown(value)} is no number")
            return read_in(column.kind, value, str(units), CELLS)
        except ValueError as error:
            problems.append((f"{TITLE}, {place}", str(error)))
            return None

    def records(item: str, made: Callable[..., Any]) -> tuple[Any, ...]:
        columns = _RECORDS[item]
        count = max((len(cells.get(f"{item}_{c.name}", ())) for c in columns), default=0)
        found = []
        for n in range(count):
            row = {c.name: (cells.get(f"{item}_{c.name}") or [None] * count)[n] for c in columns}
            if not all(value is None or value == "" for value in row.values()) and row.get("material") not in leave_out:
                found.append(made(**{c.name: read(c, row[c.name], f"row {n + 1} of {item}, {c.label.lower()}") for c in columns}))
        return tuple(found)

    def named(price: StockPrice) -> StockPrice:
        known = isinstance(price.material, str) and price.material in table
        return replace(price, material=table[price.material].name) if known else price

    rates = Rates(**{c.name: read(c, cells.get(f"rates_{c.name}", [None])[0], c.label.lower()) for c in RATES if c.name in form.inputs})
    shop = Shop(str(units), rates, records("machines", Machine), tuple(map(named, records("prices", StockPrice))), speeds_feeds.builtin(),
                records("stock", StockSize))
    if problems:
        raise InputError(TITLE, problems)
    return shop


def _framed(page: Page, column: Column, letter: str, value: Any) -> str:
    ref = page.take(letter)
    layout.style_input(page.sheet, ref, number_format(column))
    cell = page.sheet[ref]
    if number_format(column) == "text":
        cell.alignment = Alignment(horizontal="left", vertical="center", indent=1)
    cell.value = value
    if isinstance(value, str):
        cell.data_type = "s"  # a text stays a text, whatever it begins with
    return ref
