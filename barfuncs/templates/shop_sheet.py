"""The sheet of a template that holds the shop's own data, and the cells that pick from it what a job leaves blank."""

from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.catalogue.kinds import Kind
from barfuncs.catalogue.units import KG_PER_LB, MM_PER_INCH
from barfuncs.functions.stock import material_row
from barfuncs.templates import layout
from barfuncs.templates.model import Answer, Form
from barfuncs.templates.shop import MACHINES, PRICES, RATES, Column, Shop, number_format, unit_formula, validate

TITLE = "Shop"
_ROWS = {"machines": 10, "prices": 20}
_PICKED_FROM_MACHINE = tuple(c.name for c in MACHINES if c.name not in ("name", "largest_size"))
_PICKED_FROM_PRICES = ("material_price", "price_per", "supplied_length", "chip_price", "remnant_price")

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
                       formula='SUMPRODUCT(--(machines_marks<>""))+SUMPRODUCT(--(prices_marks<>""))'
                               f"+IF({_UNITS_ARE_GOOD},0,1)")
PROBLEMS = (('AND(machine<>"",machine_row=0)', "machine (not on the sheet Shop)"),
            ("shop_problems>0", "sheet Shop (its units or a row with a mark)"))
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
        cell = f"INDEX(machines_{name},{machine_row})"
        bad = f'INDEX(machines_marks,{machine_row})<>""'
        return f'IF({machine_row}=0,"",IF({bad},NA(),IF({cell}="","",{cell}{factor})))'
    cell = f"INDEX(prices_{name},shop_price_row)"
    if name == "material_price":  # not without its own basis: a price per lb is none per kg
        return f'IF(shop_price_row=0,"",IF(OR(ISBLANK(price_per),price_per=INDEX(prices_price_per,shop_price_row)),{cell},""))'
    if name == "price_per":
        return f'IF(OR(shop_price_row=0,NOT(ISBLANK(material_price))),"",{cell})'
    if name == "supplied_length":
        return f'IF(shop_price_row=0,"",IF({cell}="","",{cell}*shop_length_factor))'
    rate = f"rates_{name}"
    condition = form.inputs[name].kind.cell_condition(rate)
    good = f"IF({condition if condition.startswith('OR(') else f'AND({condition})'},{rate},NA())"
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


def shop_sheet(book: Workbook, form: Form, shop: Shop | None) -> None:
    """Rates, machines and prices in framed cells, filled with those of `shop`, and what this job takes of them."""
    letters = [get_column_letter(n) for n in range(2, 2 + len(MACHINES))]
    sheet = layout.add_sheet(book, TITLE, {"A": 1.5, **dict.fromkeys(letters, 13.5), "B": 30, letters[-1]: MACHINES[-1].width}, landscape=True)
    sheet.page_setup.fitToHeight = 2
    layout.put(sheet, "B1", "Shop", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "What holds for every job: a cell that a job leaves blank takes its value from here. "
                            "It can be filled from your shop file.", size=9, color=layout.SOFT)
    row = 4
    layout.heading(sheet, "B", "D", row, "Rates and charges")
    row += 1
    layout.put(sheet, f"B{row}", "Units of this sheet")
    layout.style_input(sheet, f"C{row}", "text")
    sheet[f"C{row}"].value = shop.units if shop else "in"
    layout.validate(sheet, f"C{row}", form.inputs["units"].kind, "Units of this sheet", "what lengths and prices by weight are in")
    layout.name_cell(book, "shop_units", sheet, f"C{row}")
    for column in (c for c in RATES if c.name in form.inputs):
        row += 1
        layout.put(sheet, f"B{row}", column.label)
        _framed(book, sheet, column, f"C{row}", getattr(shop.rates, column.name) if shop else None)
        layout.put(sheet, f"D{row}", unit_formula(column), size=9, color=layout.SOFT, indent=1)
        layout.name_cell(book, f"rates_{column.name}", sheet, f"C{row}")
    row = _table(book, sheet, row + 2, "Machines", "machines", MACHINES, shop.machines if shop else ())
    row += 1
    first = row + 3
    row = _table(book, sheet, row, "Materials and prices", "prices", PRICES, shop.prices if shop else ())
    row = _prices_fit(book, sheet, form, first, row)
    row += 1
    layout.heading(sheet, "B", "D", row, "What this job takes from here where it leaves a cell blank")
    form.follow_on = {
        **dict.fromkeys(_PICKED_FROM_MACHINE, "IFERROR(machine_wrong>0,FALSE)"),
        **dict.fromkeys(("material_price", "price_per"), "AND(ISERROR(density),COUNTA(prices_material)>0)"),
    }
    steps = [("shop_length_factor", "conversion of lengths", _same_units(MM_PER_INCH)),
             ("shop_weight_factor", "conversion of prices by weight", _same_units(1 / KG_PER_LB)),
             ("shop_price_row", "price row used, 0 for none",
              "IF(MAX(prices_fit)=0,0,IF(SUMPRODUCT(--(prices_fit=MAX(prices_fit)))=1,"
              "MATCH(MAX(prices_fit),prices_fit,0),NA()))")]
    steps += [(item.shop, item.label.lower(), _picked(form, item.name)) for item in form.inputs.values() if item.from_shop]
    for name, label, formula in steps:
        row += 1
        layout.put(sheet, f"B{row}", label, size=9, color=layout.SOFT)
        layout.style_answer(sheet, f"C{row}", "general")
        sheet[f"C{row}"].value = f"={formula}"
        layout.name_cell(book, name, sheet, f"C{row}")
    sheet.print_area = f"A1:{letters[-1]}{row}"


def _framed(book: Workbook, sheet: Worksheet, column: Column, ref: str, value: Any) -> None:
    layout.style_input(sheet, ref, number_format(column))
    cell = sheet[ref]
    if number_format(column) == "text":
        cell.alignment = Alignment(horizontal="left", vertical="center", indent=1)
    cell.value = value
    if isinstance(value, str):
        cell.data_type = "s"  # a text stays a text, whatever it begins with


def _table(book: Workbook, sheet: Worksheet, row: int, title: str, name: str, columns: Sequence[Column],
           records: Sequence[Any]) -> int:
    """A table with spare rows; the row after it."""
    letters = [get_column_letter(n) for n in range(2, 2 + len(columns))]
    layout.heading(sheet, "B", letters[-1], row, title)
    count = max(_ROWS[name], len(records) + 4)
    first, last = row + 3, row + 2 + count
    sheet.row_dimensions[row + 2].height = 27
    for letter, column in zip(letters, columns, strict=True):
        right = "left" if number_format(column) == "text" else "right"
        layout.put(sheet, f"{letter}{row + 1}", unit_formula(column), size=9, color=layout.SOFT, align=right)
        layout.put(sheet, f"{letter}{row + 2}", column.label, bold=True, color=layout.ACCENT, align=right, wrap=True,
                   indent=int(right == "left"))
        for line, record in zip(range(first, last + 1), (*records, *[None] * (count - len(records))), strict=True):
            _framed(book, sheet, column, f"{letter}{line}", getattr(record, column.name) if record else None)
        if column.name == "material":
            layout.validate(sheet, f"{letter}{first}:{letter}{last}", Kind("material", "material"), column.label, column.help,
                            "material_names")
        else:
            validate(sheet, f"{letter}{first}:{letter}{last}", column)
        layout.name_cell(book, f"{name}_{column.name}", sheet, f"{letter}{first}:{letter}{last}")
    for line in range(first, last + 1):
        layout.put(sheet, f"A{line}", line - first + 1, size=1, color="FFFFFF")
        marks = get_column_letter(2 + len(columns))
        layout.put(sheet, f"{marks}{line}", "=" + _mark(columns, letters, line, name), size=9, bold=True, color=layout.ACCENT,
                   indent=1)
    layout.name_cell(book, f"{name}_rows", sheet, f"A{first}:A{last}")
    layout.name_cell(book, f"{name}_marks", sheet, f"{marks}{first}:{marks}{last}")
    return last + 1


def _mark(columns: Sequence[Column], letters: Sequence[str], row: int, name: str) -> str:
    """Cell expression: what is wrong with a row of a table, or an empty text."""
    cells = {c.name: f"${letter}{row}" for c, letter in zip(columns, letters, strict=True)}
    key, *others = ("name",) if name == "machines" else ("material", "shape", "size")
    alike = "*".join(f"({name}_{k}={cells[k]})" for k in (key, *others))
    tests = [(f"ISTEXT({cells[key]})", f"{columns[0].label.lower()}: a name, as text")]
    if key == "material":
        known = f"OR(ISNUMBER({material_row(cells[key])}),SUMPRODUCT(--(own_material_names={cells[key]}))>0)"
        tests.append((known, "material not in the table"))
    for column in columns[1:]:
        cell = cells[column.name]
        if column.kind.reader == "text":
            continue
        condition = column.kind.cell_condition(cell)
        condition = condition if condition.startswith("OR(") else f"AND({condition})"
        tests.append((condition if column.required else f'OR({cell}="",{condition})', column.label.lower()))
    tests.append((f"SUMPRODUCT(--({alike}))=1", "stands twice"))
    formula = '""'
    for condition, text in reversed(tests):
        formula = f'IF({condition},{formula},"\u2715 {text}")'
    return f'IF(COUNTA(${letters[0]}{row}:${letters[-1]}{row})=0,"",{formula})'


def _prices_fit(book: Workbook, sheet: Worksheet, form: Form, first: int, end: int) -> int:
    """How well each price fits the job's bar, beside the table: 0 not at all, more the more it says about the bar."""
    letters = {c.name: get_column_letter(n) for n, c in enumerate(PRICES, start=2)}
    marks, fit = get_column_letter(2 + len(PRICES)), get_column_letter(3 + len(PRICES))
    layout.put(sheet, f"{fit}{first - 1}", "Fits this job", size=9, color=layout.SOFT, align="right")
    name, line = f"{form.prefix}material_name", f"{form.prefix}material_row"
    for row in range(first, end):
        material, shape, size = (f"${letters[n]}{row}" for n in ("material", "shape", "size"))
        # Another spelling of the job's material is as good as its name.
        named = f"OR({material}={name},IF({line}>0,IFERROR({material_row(material)}={line},FALSE),FALSE))"
        fits = (f'AND({marks}{row}="",{named},OR({shape}="",{shape}=use_shape),'
                f'IF({size}="",TRUE,ABS({size}*shop_length_factor-use_size)<=0.000001*use_size))')
        sheet[f"{fit}{row}"].value = f'=IF({material}="",0,IFERROR(IF({fits},1+({shape}<>"")+2*({size}<>""),0),0))'
        sheet[f"{fit}{row}"].number_format = "0;0;"
        sheet[f"{fit}{row}"].font = layout.font(9, color=layout.SOFT)
    layout.name_cell(book, "prices_fit", sheet, f"{fit}{first}:{fit}{end - 1}")
    return end
