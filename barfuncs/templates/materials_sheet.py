"""The sheet with the materials table, which every template that looks a material up brings along."""

from openpyxl import Workbook

from barfuncs.catalogue import materials
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.kinds import HEAVIEST, LIGHTEST
from barfuncs.functions.stock import IS_DENSITY, density_formula, material_row, own_density
from barfuncs.templates import layout

ROW_FORMULA = (f"IF(ISBLANK(material),NA(),IF(OR({IS_DENSITY},ISLOGICAL(material)),0,"
               f"IFERROR({material_row('material')},0)))")
"""Cell expression: the row of the input `material` in the table, 0 for none. Below it is called `material_row`."""
CAUTION_FORMULA = 'IF(material_row>0,INDEX(material_cautions,material_row)&"","")'
# A row of the shop's own counts by the text that is typed and by the name in the table, whatever its spelling.
_TABLE_DENSITY = ("IF(material_row>0," + own_density("material_name", "INDEX(material_densities,material_row)") + ",NA())")
DENSITY_FORMULA = f"IFERROR(IF(OR(ISBLANK(material),ISLOGICAL(material)),NA(),{density_formula(_TABLE_DENSITY)}),NA())"

_MARK = (
    'IF(AND({name}="",{density}=""),"",IF(NOT(ISTEXT({name})),"\u2715 give a name, as text",'
    f'IF(NOT(AND(ISNUMBER({{density}}),{{density}}>={LIGHTEST:g},{{density}}<={HEAVIEST:g})),'
    f'"\u2715 the density must be from {LIGHTEST:g} to {HEAVIEST:g} g/cm3",'
    'IF(SUMPRODUCT(--(own_material_names={name}))>1,"\u2715 this name stands twice",""))))'
)


def materials_sheet(book: Workbook) -> None:
    """The materials table with framed rows for the shop's own, and a mark beside a row that can't be used."""
    widths = {"A": 1.5, "B": 27, "C": 18, "D": 10, "E": 12, "F": 9, "G": 8, "H": 8, "I": 44, "J": 44}
    sheet = layout.add_sheet(book, "Materials", widths, landscape=True)
    sheet.page_setup.fitToHeight = 0
    sheet.print_title_rows = "4:4"
    layout.put(sheet, "B1", "Materials", size=18, bold=True, color=layout.ACCENT)
    layout.put(sheet, "B2", "Your own materials go into the framed rows; they count before the table below. "
                            "Density in g/cm3. Check a value against the supplier's data sheet before it matters.",
               color=layout.SOFT, size=9)
    heads = ("Name", "Group", "Designations", None, None, None, "g/cm3", "Source of the density", "Caution")
    for column, head in zip("BCDEFGHIJ", heads, strict=True):
        layout.put(sheet, f"{column}4", head, bold=True, color=layout.ACCENT)
    row = 5
    for own in range(row, row + materials.OWN_ROWS):
        for column, number in (("B", "text"), ("H", "general")):
            layout.style_input(sheet, f"{column}{own}", number)
        mark = _MARK.format(name=f"$B{own}", density=f"$H{own}")
        layout.put(sheet, f"I{own}", f"={mark}", size=9, bold=True, color=layout.ACCENT, indent=1)
    density_kind = CATALOGUE["material_density"].result
    layout.validate(sheet, f"H{row}:H{row + materials.OWN_ROWS - 1}", density_kind, "Density", "density in g/cm3")
    own_last = row + materials.OWN_ROWS - 1
    layout.name_cell(book, "own_material_names", sheet, f"B{row}:B{own_last}")
    layout.name_cell(book, "own_material_densities", sheet, f"H{row}:H{own_last}")
    layout.name_cell(book, "own_material_marks", sheet, f"I{row}:I{own_last}")
    first = own_last + 1
    table = materials.builtin().rows
    for line, item in enumerate(table, start=first):
        codes = (*item.designations, *[None] * 4)[:4]
        lines = max(-(-len(text) // 46) for text in (item.density_source, item.caution, "-"))
        sheet.row_dimensions[line].height = 3 + 12 * lines
        values = (item.name, item.group, *codes, item.density, item.density_source, item.caution or None)
        for column, value in zip("BCDEFGHIJ", values, strict=True):
            layout.put(sheet, f"{column}{line}", value, size=9, align="right" if column == "H" else "left",
                       wrap=column in "IJ", number="density" if column == "H" else "general",
                       indent=1 if column == "I" else 0)
    last = first + len(table) - 1
    for name, column in (("material_names", "B"), ("material_densities", "H"), ("material_groups", "C"), ("material_cautions", "J")):
        layout.name_cell(book, name, sheet, f"{column}{first}:{column}{last}")
    sheet.freeze_panes = "A5"
    _spellings_sheet(book)


def _spellings_sheet(book: Workbook) -> None:
    """What people write for a material, each with its row of the table, on a sheet that nobody needs to see."""
    sheet = layout.add_sheet(book, "Spellings", {"A": 30, "B": 8})
    sheet.sheet_state = "hidden"
    rows = materials.builtin().spelling_rows()
    for line, (key, row) in enumerate(rows, start=1):
        sheet.cell(line, 1, key)
        sheet.cell(line, 2, row)
    layout.name_cell(book, "material_spellings", sheet, f"A1:A{len(rows)}")
    layout.name_cell(book, "material_spelling_rows", sheet, f"B1:B{len(rows)}")
