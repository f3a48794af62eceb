"""rack.xlsx: the rack for those who keep it by hand in a spreadsheet, and what `rack list` writes the rack into.

The commands read its sheet Bars as a list; totals and marks are native formulas.
"""

import datetime
import functools
from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.catalogue import kinds
from barfuncs.catalogue.kinds import LONGEST_ON_A_FORM, SHAPES
from barfuncs.errors import BarfuncsError
from barfuncs.rack.bars import COLUMNS, OF_ONE_HEAT, OWN, STEPS, Bar
from barfuncs.rack.listing import MARK_LABEL, UNITS_LABEL
from barfuncs.templates import layout
from barfuncs.templates.cell_text import unit_text
from barfuncs.templates.model import WRONG, Column, first_wrong, make_column
from barfuncs.templates.shop import number_format, paper_for, validate
from barfuncs.xlsx import engine
from barfuncs.xlsx.engine import column_letters
from barfuncs.xlsx.package import pack

ROWS = 200
"""Rows for bars of the blank workbook."""
MOST_ROWS = 2_000
KINDS = 60
"""Rows for totals by material, size and owner."""
BARS, TOTALS, NOTES = "Bars", "Totals", "Notes"
UNITS_CELL = "C3"
_HEAD = 6
_FIRST = _HEAD + 1
_LETTERS = {c.name: column_letters(n) for n, c in enumerate(COLUMNS, start=2)}
_LAST = column_letters(len(COLUMNS) + 1)
_MARK, *_ASIDE = (column_letters(len(COLUMNS) + n) for n in range(2, 8))
_OWNER, _COUNTED, _LENGTH, _VALUE, _KIND = _ASIDE
_ASIDE_LABELS = {_OWNER: "Owner as used", _COUNTED: "Bars counted", _LENGTH: "Length counted", _VALUE: "Value counted", _KIND: "Number of its kind"}
_LONG = {"in": 480, "mm": 12_200}
"""Longer than this, 40 ft, a bar is looked at: feet typed as inches, or mm as inches, are."""
_DAY = "yyyy-mm-dd"
_UNITS = make_column("units", UNITS_LABEL, kinds.Units, "what the lengths and sizes are in: in or mm", needed=True)
_EPOCH = datetime.date(1899, 12, 30)


def _by_units(numbers: dict[str, int]) -> str:
    return f'IF(rack_units="mm",{numbers["mm"]},{numbers["in"]})'


def _any_of(cell: str, choices: Sequence[str]) -> str:
    return "OR(" + ",".join(f'{cell}="{choice}"' for choice in choices) + ")"


def _mark(row: int) -> str:
    """Cell formula: what is wrong with a row, the first that is."""
    at = {name: f"{letter}{row}" for name, letter in _LETTERS.items()}
    size, thick, length = at["size"], at["thickness"], at["length"]
    numbered = "IF(ISNUMBER({0}),{0}>0,FALSE)".format
    heat_needed = "OR(" + ",".join((*(f'{at["certificate"]}="{c}"' for c in OF_ONE_HEAT), f'IF(ISNUMBER({at["certificate"]}),{at["certificate"]}>=3,FALSE)')) + ")"
    wrong = (
        ('NOT(OR(rack_units="in",rack_units="mm"))', "say in or mm beside Units"),
        (f'{at["id"]}=""', "the bar id is missing"),
        (f'SUMPRODUCT(--(rack_id={at["id"]}))>1', "this bar id stands twice"),
        (f'NOT(IF({at["bars"]}="",TRUE,IF(ISNUMBER({at["bars"]}),IF({at["bars"]}>=1,{at["bars"]}=INT({at["bars"]}),FALSE),FALSE)))',
         "bars: a whole number, 1 or more"),
        (f'{at["material"]}=""', "the material is missing"),
        (f"NOT({_any_of(at['shape'], SHAPES)})", "shape: one of the list"),
        (f"NOT({numbered(size)})", "size: a number above 0"),
        (f'IF({_any_of(at["shape"], ("flat", "tube", "hexagon tube"))},NOT({numbered(thick)}),{thick}<>"")',
         "thickness: of a flat or tube, and of no other shape"),
        (f'IF({_any_of(at["shape"], ("tube", "hexagon tube"))},2*{thick}>={size},FALSE)', "the wall is half the size or more"),
        (f"NOT(IF(ISNUMBER({length}),IF({length}>0,{length}<{_by_units(LONGEST_ON_A_FORM)},FALSE),FALSE))",
         "length: a number above 0 and below 10,000 in or 36,000 mm"),
        (f'AND({heat_needed},{at["heat"]}="")', "a certificate 3.1 or 3.2 without a heat"),
        (f'IF({at["heat"]}="",FALSE,SUMPRODUCT((rack_heat={at["heat"]})*(rack_material<>{at["material"]})*(rack_material<>""))>0)',
         "this heat stands with another material too"),
        (f'NOT(IF({at["value"]}="",TRUE,IF(ISNUMBER({at["value"]}),{at["value"]}>=0,FALSE)))', "value: a number, 0 or more"),
        (f'IF({_OWNER}{row}="{OWN}",FALSE,IF({at["value"]}="",FALSE,{at["value"]}>0))', "a customer's bar is worth nothing to us: no value"),
    )
    formula = f'IF({length}>{_by_units(_LONG)},"! longer than 40 ft: in the right unit?","")'
    formula = first_wrong(wrong, formula)
    return f'=IF(COUNTA({_LETTERS["id"]}{row}:{_LAST}{row})=0,"",IFERROR({formula},"{WRONG} a cell of this sheet shows an error"))'


def _aside(row: int) -> dict[str, str]:
    """Formulas beside a row, by their column: what is counted of it."""
    at = {name: f"{letter}{row}" for name, letter in _LETTERS.items()}
    alike = "*".join(f"({c}${_FIRST}:{c}{row}={c}{row})" for c in (*(_LETTERS[n] for n in ("material", "shape", "size", "thickness")), _OWNER))
    return {
        _OWNER: f'=IFERROR(IF({at["owner"]}="","{OWN}",{at["owner"]}),"?")',
        _COUNTED: f'=IF(COUNTA({at["id"]}:{at["note"]})=0,0,IF(LEFT({_MARK}{row},1)="{WRONG}",0,IF({at["bars"]}="",1,{at["bars"]})))',
        _LENGTH: f'=IF({_COUNTED}{row}=0,0,{_COUNTED}{row}*{at["length"]})',
        _VALUE: f'=IF({_COUNTED}{row}=0,0,IF({at["value"]}="",0,{at["value"]}))',
        _KIND: f"=IF({_COUNTED}{row}=0,0,IFERROR(IF(SUMPRODUCT({alike}*({_COUNTED}${_FIRST}:{_COUNTED}{row}>0))=1,MAX({_KIND}${_HEAD}:{_KIND}{row - 1})+1,0),0))",
    }


def _style_cell(sheet: Worksheet, ref: str, column: Column) -> None:
    words = number_format(column) in ("text", "typed")
    layout.style_input(sheet, ref, number_format(column))
    if column.name == "received":
        sheet[ref].number_format = _DAY
    elif column.kind.reader == "text" or column.name == "certificate":
        sheet[ref].number_format = layout.FORMATS["text"]  # 3.1 picked from the list, an id 1-2 and a heat 0012 stay texts
    if words:
        sheet[ref].alignment = Alignment(horizontal="left", vertical="center", indent=1, shrink_to_fit=True)


def _bars_sheet(book: Workbook, rows: int, printed: int) -> None:
    last = _HEAD + rows
    widths = {"A": 1.5} | {_LETTERS[c.name]: c.width for c in COLUMNS} | {_MARK: 38} | dict.fromkeys(_ASIDE, 10)
    sheet = layout.add_sheet(book, BARS, widths, landscape=True)
    sheet.page_setup.fitToHeight = 0
    layout.put(sheet, "B1", "Rack", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "One row for bars that are alike in everything and have one id. Rows with a mark are counted in no total until they are right.",
               size=9, color=layout.SOFT)
    layout.put(sheet, "B3", f"{UNITS_LABEL} *")
    layout.style_input(sheet, UNITS_CELL, "text")
    sheet[UNITS_CELL].value = "in"
    layout.name_cell(book, "rack_units", sheet, UNITS_CELL)
    validate(sheet, UNITS_CELL, _UNITS)
    layout.put(sheet, "E3", f'=IF(rack_wrong>0,"{WRONG} "&rack_wrong&IF(rack_wrong=1," row has"," rows have")&" something wrong",'
                            f'IF(rack_rows=0,"no bars yet","\u2713 "&rack_rows&" rows looked at: ids once, heats of one material, lengths within limits, '
                            'each 3.1 with its heat"))', bold=True)
    layout.heading(sheet, "B", _KIND, _HEAD, "")
    for column in COLUMNS:
        letter = _LETTERS[column.name]
        right = "left" if column.kind.reader in ("text", "choice") else "right"
        layout.put(sheet, f"{letter}{_HEAD - 1}", unit_text(column.unit, "rack_units") if column.unit else None, size=9, color=layout.SOFT,
                   align=right)
        layout.put(sheet, f"{letter}{_HEAD}", column.label + (" *" if column.needed else ""), bold=True, color=layout.ACCENT, align=right,
                   indent=int(right == "left"))
        for row in range(_FIRST, last + 1):
            _style_cell(sheet, f"{letter}{row}", column)
        validate(sheet, f"{letter}{_FIRST}:{letter}{last}", column)
    layout.put(sheet, f"{_MARK}{_HEAD}", MARK_LABEL, bold=True, color=layout.ACCENT, indent=1)
    for letter, label in _ASIDE_LABELS.items():
        layout.put(sheet, f"{letter}{_HEAD}", label, size=8, color=layout.SOFT, align="right", shrink=True)
    for row in range(_FIRST, last + 1):
        layout.put(sheet, f"{_MARK}{row}", _mark(row), size=9, indent=1)
        for letter, formula in _aside(row).items():
            layout.put(sheet, f"{letter}{row}", formula, size=8, color=layout.SOFT, align="right")
    for name, letter in (("id", _LETTERS["id"]), ("material", _LETTERS["material"]), ("shape", _LETTERS["shape"]), ("size", _LETTERS["size"]),
                         ("thickness", _LETTERS["thickness"]), ("heat", _LETTERS["heat"]), ("marks", _MARK), ("owner", _OWNER),
                         ("counted", _COUNTED), ("length", _LENGTH), ("value", _VALUE), ("kind", _KIND)):
        layout.name_cell(book, f"rack_{name}", sheet, f"{letter}{_FIRST}:{letter}{last}")
    marks = f"{_MARK}{_FIRST}:{_MARK}{last}"
    sheet.conditional_formatting.add(marks, layout.rule_where(f'LEFT({_MARK}{_FIRST},1)="{WRONG}"', font=Font(bold=True)))
    layout.keep_in_view(sheet, f"C{_FIRST}")
    sheet.print_title_rows = f"{_HEAD - 1}:{_HEAD}"
    sheet.print_area = f"A1:{_MARK}{_HEAD + printed}"


_TOTAL_COLUMNS = (("Material", 24, "text"), ("Shape", 13, "text"), ("Size", 10, "length"), ("Thickness", 10, "length"), ("Owner", 20, "text"),
                  ("Bars", 9, "count"), ("Length", 13, "length"), ("Value", 13, "money"))


def _totals_sheet(book: Workbook) -> None:
    letters = [column_letters(n) for n in range(2, len(_TOTAL_COLUMNS) + 2)]
    aside = column_letters(len(_TOTAL_COLUMNS) + 2)
    sheet = layout.add_sheet(book, TOTALS, {"A": 1.5} | {x: width for x, (_, width, _) in zip(letters, _TOTAL_COLUMNS, strict=True)} | {aside: 8})
    layout.put(sheet, "B1", "Totals of the rack", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    lines = (
        ("own_bars", "Our own bars", "count", f'SUMPRODUCT((rack_owner="{OWN}")*rack_counted)', "bars"),
        ("own_length", "Their length", "length", f'SUMPRODUCT((rack_owner="{OWN}")*rack_length)', unit_text("length", "rack_units")),
        ("own_value", "Their value", "money", f'SUMPRODUCT((rack_owner="{OWN}")*rack_value)', ""),
        ("customer_bars", "Customers' bars, worth nothing to us", "count", f'SUMPRODUCT((rack_owner<>"{OWN}")*rack_counted)', "bars"),
        ("customer_length", "Their length", "length", f'SUMPRODUCT((rack_owner<>"{OWN}")*rack_length)', unit_text("length", "rack_units")),
        ("rows", "Rows with something in them", "count", 'SUMPRODUCT(--(rack_marks<>""))+SUMPRODUCT((rack_marks="")*(rack_counted>0))', ""),
        ("wrong", f"Rows with {WRONG}, counted nowhere", "count", f'COUNTIF(rack_marks,"{WRONG}*")', ""),
        ("kinds", "Different materials, sizes and owners", "count", "MAX(rack_kind)", ""),
    )
    row = 3
    for name, label, number, formula, unit in lines:
        layout.put(sheet, f"B{row}", label)
        layout.style_answer(sheet, f"F{row}", number, bold=True)
        sheet[f"F{row}"].value = f"={formula}"
        layout.put(sheet, f"G{row}", unit, size=9, color=layout.SOFT, indent=1)
        layout.name_cell(book, f"rack_{name}", sheet, f"F{row}")
        row += 1
    layout.put(sheet, f"B{row}", f'=IF(rack_kinds>{KINDS},"! only the first {KINDS} of them stand below; the figures above hold all","")', bold=True)
    row += 1
    head = row + 1
    layout.heading(sheet, "B", letters[-1], head, "")
    for letter, (label, _, number) in zip(letters, _TOTAL_COLUMNS, strict=True):
        right = "left" if number == "text" else "right"
        if label in ("Size", "Thickness", "Length"):
            layout.put(sheet, f"{letter}{head - 1}", unit_text("length", "rack_units"), size=9, color=layout.SOFT, align="right")
        layout.put(sheet, f"{letter}{head}", label, bold=True, color=layout.ACCENT, align=right, indent=int(right == "left"))
    layout.put(sheet, f"{aside}{head}", "row", size=8, color=layout.SOFT, align="right")
    for n in range(1, KINDS + 1):
        row = head + n
        at = f"${aside}{row}"
        layout.put(sheet, f"{aside}{row}", f"=IF({n}>rack_kinds,0,MATCH({n},rack_kind,0))", size=8, color=layout.SOFT, align="right")
        first, owner = letters[0], letters[4]
        alike = "*".join(f"(rack_{name}={letter}{row})" for name, letter in zip(("material", "shape", "size", "thickness", "owner"), letters, strict=False))
        formulas = (*(f'IF({at}=0,"",INDEX(rack_{name},{at}))' for name in ("material", "shape", "size")),
                    f'IF({at}=0,"",IF(INDEX(rack_thickness,{at})="","",INDEX(rack_thickness,{at})))', f'IF({at}=0,"",INDEX(rack_owner,{at}))',
                    f'IF({at}=0,"",SUMPRODUCT({alike}*rack_counted))', f'IF({at}=0,"",SUMPRODUCT({alike}*rack_length))',
                    f'IF({at}=0,"",IF({owner}{row}="{OWN}",SUMPRODUCT({alike}*rack_value),"not ours"))')
        for letter, formula, (_, _, number) in zip(letters, formulas, _TOTAL_COLUMNS, strict=True):
            layout.style_answer(sheet, f"{letter}{row}", number, bold=letter == first)
            sheet[f"{letter}{row}"].value = f"={formula}"
            if number == "text":
                sheet[f"{letter}{row}"].alignment = Alignment(horizontal="left", vertical="center", indent=1)
    sheet.print_title_rows = f"{head}:{head}"
    sheet.print_area = f"A1:{letters[-1]}{head + KINDS}"


_SAID = (
    "What each column means",
    *(f"{c.label}: {c.help}." for c in COLUMNS),
    "",
    "How it goes on",
    "barfuncs rack receive --from rack.xlsx books these bars into a history, rack.csv, as what is there at its beginning.",
    "barfuncs rack list --out FILE.xlsx writes what is there by the history into a workbook like this one.",
    "A certificate 3.1 or 3.2 of EN 10204 is of one heat; a heat is one melt of one material.",
    "Totals are by material, shape, size, thickness and owner; a blank owner is own, blank bars are 1.",
)


def _notes_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, NOTES, {"A": 1.5, "B": 118})
    layout.put(sheet, "B1", "Notes", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    for row, text in enumerate(_SAID, start=3):
        layout.put(sheet, f"B{row}", text or None, size=10, bold=":" not in text and "." not in text)
    sheet.print_area = f"A1:B{len(_SAID) + 3}"


@functools.cache
def build(rows: int = ROWS, printed: int = 50, paper: str = "letter") -> bytes:
    """The blank workbook, as the bytes of an xlsx file, with so many rows for bars, of which so many are printed."""
    book = layout.new_workbook("Rack")
    _bars_sheet(book, rows, printed)
    _totals_sheet(book)
    _notes_sheet(book)
    for sheet in book.worksheets:
        sheet.page_setup.paperSize = layout.PAPERS[paper]
    layout.select_first_inputs(book)
    return pack(layout.parts_of(book))


def filled(bars: Sequence[Bar], units: str) -> bytes:
    """The workbook with these bars and with all values calculated."""
    if len(bars) > MOST_ROWS:
        raise BarfuncsError(f"the rack has {len(bars):,} ids; a workbook takes at most {MOST_ROWS:,}")
    book = engine.Workbook(build(max(ROWS, _up_to(len(bars) + 1, 100)), _up_to(len(bars) + 1, 25), paper_for(units, None)), direct=True)
    cells: dict[str, Any] = {f"{BARS}!{UNITS_CELL}": units}
    for row, bar in enumerate(bars, start=_FIRST):
        cells |= {f"{BARS}!{letter}{row}": _in_cell(bar, name) for name, letter in _LETTERS.items()}
    for ref, value in cells.items():
        if value is not None:
            book.set(ref, value)
    book.calculate()
    return book.to_bytes(cells)


def _up_to(number: int, step: int) -> int:
    return -(-number // step) * step


def _in_cell(bar: Bar, name: str) -> Any:
    value = getattr(bar, name)
    if name == "length":
        return bar.length / STEPS[bar.units]
    if name == "value":
        return bar.value / 100 if bar.is_own else None
    if name == "received":
        return (bar.received - _EPOCH).days
    return None if value == "" else value
