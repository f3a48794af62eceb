"""The sheet of starting values for surface speed and feed, and what it suggests for an operation."""

from typing import Annotated

from openpyxl import Workbook

from barfuncs import speeds_feeds
from barfuncs.kinds import Kind
from barfuncs.speeds_feeds import SpeedsFeeds
from barfuncs.units import M_PER_FT, MM_PER_INCH
from barfuncs.workbooks import layout
from barfuncs.workbooks.form import Answer

Tool = Annotated[str, Kind("tool", "choice", choices=speeds_feeds.TOOLS)]
_SPARE = 20

MATERIAL_GROUP = Answer("material_group", "group of the material, for the ideas", "text",
                        formula='IF(material_row>0,INDEX(material_groups,material_row),"")')


def suggestion(operation: str, what: str) -> str:
    """Cell expression: the table's speed or feed for an operation, in the job's units; an empty text where there is none."""
    factor, digits = (M_PER_FT, "0") if what == "speed" else (MM_PER_INCH, 'IF(units="mm",3,4)')
    found = f"SUMPRODUCT((speeds_group=material_group)*(speeds_operation={operation})*(speeds_tool=tool),speeds_{what})"
    value = f'ROUND({found}*IF(units="mm",{factor!r},1)*(1+1E-12),{digits})'
    return f'IF(ISBLANK({operation}),"",IFERROR(IF({value}>0,{value},""),""))'


def speeds_sheet(book: Workbook, table: SpeedsFeeds | None) -> None:
    """Group, operation, tool, surface speed (ft/min), feed (in/rev) and source, all open for the shop to change."""
    widths = {"A": 1.5, "B": 26, "C": 14, "D": 18, "E": 14, "F": 14, "G": 40, "H": 52}
    sheet = layout.add_sheet(book, "Speeds", widths)
    sheet.page_setup.fitToHeight = 0
    sheet.print_title_rows = "4:5"
    layout.put(sheet, "B1", "Speeds and feeds", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "Where to start, by material group; change what your shop knows better. In ft/min and in/rev; the "
                            "operation list shows them in the job's units.", size=9, color=layout.SOFT)
    heads = (("B", "Material group", None), ("C", "Operation", None), ("D", "Tool", None), ("E", "Surface speed", "ft/min"),
             ("F", "Feed", "in/rev"), ("G", "Source", None), ("H", "Note", None))
    for column, head, unit in heads:
        right = "right" if unit else "left"
        layout.put(sheet, f"{column}4", head, bold=True, color=layout.ACCENT, align=right)
        layout.put(sheet, f"{column}5", unit, size=9, color=layout.SOFT, align=right)
    rows = (table or speeds_feeds.builtin()).rows
    first, last = 6, 5 + len(rows) + _SPARE
    for line in range(first, last + 1):
        row = rows[line - first] if line - first < len(rows) else None
        values = (row.group, row.operation, row.tool, row.surface_speed, row.feed_rate, row.source, row.note or None) if row else [None] * 7
        for (column, _, unit), value in zip(heads, values, strict=True):
            layout.style_input(sheet, f"{column}{line}", "general" if unit else "text")
            sheet[f"{column}{line}"].value = value
            if isinstance(value, str):
                sheet[f"{column}{line}"].data_type = "s"
    for column, head, kind in (("C", "Operation", Kind("operation", "choice", choices=speeds_feeds.CUTS)),
                               ("D", "Tool", Kind("tool", "choice", choices=speeds_feeds.TOOLS)),
                               ("E", "Surface speed", speeds_feeds.KINDS["surface_speed"]),
                               ("F", "Feed", speeds_feeds.KINDS["feed_rate"])):
        layout.validate(sheet, f"{column}{first}:{column}{last}", kind, head, f"{head.lower()} to start with")
    for name, column in (("group", "B"), ("operation", "C"), ("tool", "D"), ("speed", "E"), ("feed", "F")):
        layout.name_cell(book, f"speeds_{name}", sheet, f"{column}{first}:{column}{last}")
    sheet.freeze_panes = "A6"
    sheet.print_area = f"A1:H{last}"
