"""function_tour.xlsx: every function live, with meaning, arguments and a worked example; and how a total is guarded.

The functions come along as names, so the live cells work with nothing installed where the program knows LAMBDA, and
with an add-in elsewhere. A function that can't be a name says in words that it needs an add-in.
"""

import functools
from typing import Any

from openpyxl.styles import Alignment
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.catalogue.entry import CATALOGUE, Entry
from barfuncs.surfaces import names
from barfuncs.surfaces.cells import EXCEL, CellCall
from barfuncs.surfaces.examples import allowed_words, default_words, entries_by_group, example, result_words
from barfuncs.templates import layout
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.package import pack

NEEDS_ADD_IN = "needs an add-in"

_HOW = (
    "Each function with its meaning, its arguments and a worked example: the call as it is typed, what it gives here and "
    "now, and what it should give.",
    "The live cells use the names that come along in this workbook (Excel 2024 or Microsoft 365), or the LibreOffice "
    "add-in; LibreOffice without it shows Err:509.",
    f'Functions that can\'t be a name need xlwings or the LibreOffice add-in; without one they say "{NEEDS_ADD_IN}".',
    "An argument with a value under Left out may be left out. In an example -0 is a real 0, which LibreOffice otherwise "
    "can't tell from a blank cell.",
)

_GUARD_HOW = (
    "Excel gets an error from xlwings as a text that begins with #. SUM skips a text, so a plain total is too small and "
    "doesn't say so.",
    "A guarded total counts the numbers: where a row is no number, it shows #N/A. Overtype the size in row 10 with 1.5 and "
    "both totals agree.",
)


@functools.cache
def build() -> bytes:
    """The workbook as the bytes of an xlsx file, with the calculated values in it."""
    book = layout.new_workbook("Function tour")
    sheet = layout.add_sheet(book, "Tour", {"A": 1.5, "B": 25, "C": 58, "D": 56, "E": 16, "F": 15, "G": 14, "H": 16},
                             landscape=True)
    sheet.page_setup.fitToHeight = 0
    sheet.print_title_rows = "1:7"
    last = _tour(sheet)
    sheet.freeze_panes = "A8"
    sheet.print_area = f"A1:H{last}"
    _totals(layout.add_sheet(book, "Totals", {"A": 1.5, "B": 24, "C": 14, "D": 14, "E": 52}))
    engine = Workbook(pack(names.add_names(layout.parts_of(book))))
    engine.calculate()
    return engine.to_bytes()


def _tour(sheet: Worksheet) -> int:
    layout.put(sheet, "B1", "Every function, live", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    for row, text in enumerate(_HOW, start=2):
        layout.put(sheet, f"B{row}", text, size=9, color=layout.SOFT)
    top = len(_HOW) + 2
    rows: list[int] = []
    for column, text in zip("BCDEFGH", ("Function or argument", "Meaning", "Allowed, or the call as it is typed", "Left out",
                                        "Live", "Should give", "Check"), strict=True):
        layout.put(sheet, f"{column}{top + 1}", text, bold=True, align="right" if column in "FG" else "left",
                   indent=int(column == "H"))
    row = top + 1
    for group, entries in entries_by_group().items():
        row += 2
        layout.heading(sheet, "B", "H", row, group)
        for entry in entries:
            row += 1
            rows.append(row)
            row = _function(sheet, row, entry)
    checks = f"H{rows[0]}:H{rows[-1]}"
    layout.put(sheet, f"B{top}", f'=COUNTIF({checks},"* right")&" of {len(rows)} examples are right, "&COUNTIF({checks},'
                                 f'"{NEEDS_ADD_IN}")&" need an add-in, "&COUNTIF({checks},"* differs")&" differ"', bold=True)
    return row


def _function(sheet: Worksheet, row: int, entry: Entry) -> int:
    """A function's rows; gives the last one."""
    shown = example(entry)
    wide = f"{entry.summary} Gives: {result_words(entry)}. Source: {entry.source}."
    layout.put(sheet, f"B{row}", entry.cell_name, bold=True, color=layout.ACCENT, wrap=True)
    layout.put(sheet, f"C{row}", wide, wrap=True)
    layout.put(sheet, f"D{row}", shown.call, wrap=True)
    live = f'IFERROR({shown.call},"{NEEDS_ADD_IN}")' if entry.formula is None else shown.call
    for column, value in (("F", f"={live}"), ("G", shown.result)):
        layout.put(sheet, f"{column}{row}", value, align="right", wrap=True,
                   number="count" if entry.result.whole else "figure")
    if isinstance(shown.result, str):
        # With nothing joined to it LibreOffice finds no text of an add-in equal to another.
        told = f'IF(F{row}&""="{NEEDS_ADD_IN}",F{row},IF(F{row}&""=G{row},"✓ right","✗ differs"))'
    else:
        told = f'IF(NOT(ISNUMBER(F{row})),F{row},IF(ABS(F{row}-G{row})<=1E-12*ABS(G{row}),"✓ right","✗ differs"))'
    layout.put(sheet, f"H{row}", f'=IF(ISERROR(F{row}),"✗ not calculated",{told})', wrap=True, indent=1)
    sheet.row_dimensions[row].height = 4 + 13 * max(-(-len(wide) // 66), -(-len(shown.call) // 60))
    for a in entry.arguments:
        row += 1
        layout.put(sheet, f"B{row}", a.name, size=9, indent=1, wrap=True)
        layout.put(sheet, f"C{row}", a.help, size=9, wrap=True, color=layout.SOFT)
        layout.put(sheet, f"D{row}", allowed_words(a), size=9, wrap=True, color=layout.SOFT)
        layout.put(sheet, f"E{row}", default_words(a), size=9, wrap=True, color=layout.SOFT)
        sheet.row_dimensions[row].height = 3 + 12 * max(-(-len(a.help) // 78), -(-len(allowed_words(a)) // 76))
    for rule in entry.rules:
        row += 1
        layout.put(sheet, f"B{row}", "rule", size=9, indent=1, wrap=True, italic=True)
        layout.put(sheet, f"C{row}", rule.message, size=9, wrap=True, color=layout.SOFT)
        sheet.row_dimensions[row].height = 3 + 12 * -(-len(rule.message) // 78)
    return row


def _totals(sheet: Worksheet) -> None:
    """A total that silently skips an error text, beside one that doesn't."""
    call = CellCall(CATALOGUE["bar_weight"], EXCEL)
    layout.put(sheet, "B1", "A total that tells", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    for row, text in enumerate(_GUARD_HOW, start=2):
        layout.put(sheet, f"B{row}", text, size=9, color=layout.SOFT)
    layout.heading(sheet, "B", "E", 5, "Weight of bars, as the xlwings way hands it back")
    for column, text, align in (("B", "Material", "left"), ("C", "Size in", "right"), ("D", "Length in", "right"),
                                ("E", "Weight lb", "right")):
        layout.put(sheet, f"{column}6", text, bold=True, align=align)
    bars: list[tuple[str, float, float]] = [("1.4305", 1.0, 144.0), ("C36000", 0.75, 144.0), ("303", 1.25, 120.0),
                                            ("1.4305", -1.5, 144.0), ("C36000", 0.5, 144.0)]
    for row, (material, size, length) in enumerate(bars, start=7):
        value: Any = call(material, "round", size, length)
        layout.put(sheet, f"B{row}", material)
        layout.style_input(sheet, f"C{row}", "length")
        layout.put(sheet, f"D{row}", length, align="right")
        sheet[f"C{row}"].value = size
        layout.style_answer(sheet, f"E{row}", "weight")
        if isinstance(value, str):
            # The text stands in for what Excel would be handed, so that it shows in any program.
            value = f'=IF(C{row}>0,BAR_WEIGHT(B{row},"round",C{row},D{row}),"{value}")'
        else:
            value = f'=BAR_WEIGHT(B{row},"round",C{row},D{row})'
        sheet[f"E{row}"].value = value
        sheet[f"E{row}"].alignment = Alignment(horizontal="right", wrap_text=True, vertical="center")
    sheet.row_dimensions[10].height = 40
    first, last = 7, 6 + len(bars)
    cells = f"E{first}:E{last}"
    for row, label, formula in ((last + 2, "Plain total", f"=SUM({cells})"),
                                (last + 3, "Guarded total", f"=IF(COUNT({cells})=ROWS({cells}),SUM({cells}),NA())"),
                                (last + 4, "In words", f'=IF(COUNT({cells})=ROWS({cells}),"✓ all rows are numbers","✗ "&ROWS({cells})'
                                                       f'-COUNT({cells})&" of "&ROWS({cells})&" rows are no number: look above")')):
        layout.put(sheet, f"B{row}", label, bold=True)
        sheet[f"E{row}"].value = formula
        layout.style_answer(sheet, f"E{row}", "text" if label == "In words" else "weight", bold=True)
        sheet[f"E{row}"].alignment = Alignment(horizontal="right")
    layout.put(sheet, f"B{last + 6}", f"The guard as it is typed: =IF(COUNT({cells})=ROWS({cells}),SUM({cells}),NA())", size=9,
               color=layout.SOFT)
