"""functions.xlsx: a blank workbook that has the functions as names already, and a sheet that lists them."""

import functools

from barfuncs.catalogue.entry import CATALOGUE, GROUPS
from barfuncs.catalogue.materials import OWN_ROWS
from barfuncs.surfaces import names
from barfuncs.templates import layout
from barfuncs.xlsx.package import pack

_HOW = (
    "Type a function into any cell, for example =PARTS_PER_BAR(144,2.25,0.125,3). Nothing needs to be installed.",
    "The names need an Excel of 2024 or Microsoft 365, on Windows, Mac or the web. Elsewhere the cells keep their last "
    "values and show an error when they are calculated anew.",
    "Arguments in [ ] may be left out. Lengths of one call are all in inch or all in mm; the last argument units is "
    '"in" or "mm" where a result depends on it.',
    'A wrong argument gives #N/A; =WHY("PARTS_PER_BAR",144,0,0.125,3) says in words what is wrong.',
    "Materials are on the sheet barfuncs materials; "
    f"rows 2 to {OWN_ROWS + 1} are for your own.",
)


@functools.cache
def build() -> bytes:
    """The workbook as the bytes of an xlsx file."""
    book = layout.new_workbook("Functions")
    sheet = book.create_sheet("Work")
    sheet.column_dimensions["A"].width = 24
    listing = layout.add_sheet(book, "Functions", {"A": 1.5, "B": 24, "C": 62, "D": 70}, landscape=True)
    listing.page_setup.fitToHeight = 0
    layout.put(listing, "B1", "Functions in this workbook", size=18, bold=True, color=layout.ACCENT)
    listing.row_dimensions[1].height = 26
    row = 2
    for text in _HOW:
        layout.put(listing, f"B{row}", text, size=9, color=layout.SOFT)
        row += 1
    for group in GROUPS:
        entries = [e for e in CATALOGUE.values() if e.group == group]
        if not entries:
            continue
        row += 1
        layout.heading(listing, "B", "D", row, group)
        for entry in entries:
            row += 1
            shown = ", ".join(a.name if a.required else f"[{a.name}]" for a in entry.arguments)
            there = entry.formula is not None
            layout.put(listing, f"B{row}", entry.cell_name, bold=there, wrap=True,
                       color=layout.INK if there else layout.SOFT)
            layout.put(listing, f"C{row}", shown, size=9, wrap=True)
            meaning = entry.summary if there else f"Not in this workbook: {entry.no_formula}. {entry.summary}"
            layout.put(listing, f"D{row}", meaning, size=9, wrap=True)
            listing.row_dimensions[row].height = 3 + 12 * max(-(-len(shown) // 66), -(-len(meaning) // 76))
    listing.print_area = f"A1:D{row}"
    return pack(names.add_names(layout.parts_of(book)))
