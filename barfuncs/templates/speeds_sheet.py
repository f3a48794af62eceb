"""The sheet of starting values for surface speed and feed, and what it suggests for an operation."""

from collections.abc import Sequence
from typing import Annotated

from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.catalogue.kinds import Kind
from barfuncs.catalogue.units import M_PER_FT, MM_PER_INCH
from barfuncs.tables import speeds_feeds
from barfuncs.tables.speeds_feeds import SpeedFeed, SpeedsFeeds
from barfuncs.templates import layout
from barfuncs.templates.cell_text import HAIR
from barfuncs.templates.model import Answer

Tool = Annotated[str, Kind("tool", "choice", choices=speeds_feeds.TOOLS)]
TITLE = "Speeds"
_OWN = 15
_FIRST = 6

MATERIAL_GROUP = Answer("material_group", "group of the material, for the ideas", "text",
                        formula='IF(material_row>0,INDEX(material_groups,material_row),"")')
_HEADS = (("B", "Material group", ""), ("C", "Operation", ""), ("D", "Tool", ""), ("E", "Surface speed", "ft/min"),
          ("F", "Feed", "in/rev"), ("G", "Feed of a drill", "of its dia."), ("H", "Source", ""), ("I", "Note", ""))


def row_of(operation: str) -> str:
    """Cell expression: the uppermost row of the sheet that holds for an operation in this job, 0 for none."""
    # No group, operation or tool of ours holds a wildcard, for which MATCH would take `*` and `?`.
    return f'IF({operation}="",0,IF(material_group="",0,IFERROR(MATCH(material_group&"/"&{operation}&"/"&tool,speeds_keys,0),0)))'


def suggested_speed(row: str) -> str:
    """Cell expression: the surface speed of a row of the sheet in the job's units; an empty text where there is none."""
    speed = f"INDEX(speeds_speed,{row})"
    return _shown(row, speed, f'ROUND({speed}*IF(units="mm",{M_PER_FT!r},1){HAIR},0)')


def suggested_feed(row: str, operation: str, diameter: str) -> str:
    """Cell expression: the feed of a row of the sheet, for a drill and a reamer that of its diameter."""
    feed, share, inch = f"INDEX(speeds_feed,{row})", f"INDEX(speeds_drill_feed,{row})", f'IF(units="mm",{MM_PER_INCH!r},1)'
    digits = 'IF(units="mm",3,4)'
    widest = f"{speeds_feeds.WIDEST_DRILL:g}*{inch}"
    drilled = f"ROUND({share}*IF({diameter}>{widest},{widest},{diameter}){HAIR},{digits})"
    by_diameter = _one_of(operation, speeds_feeds.BY_DIAMETER)
    return _shown(row, f"IF({by_diameter},{share}*{diameter},{feed})", f"IF({by_diameter},{drilled},ROUND({feed}*{inch}{HAIR},{digits}))")


def _one_of(operation: str, names: Sequence[str]) -> str:
    """Cell expression: TRUE where an operation is one of these."""
    tests = ",".join(f'{operation}="{name}"' for name in names)
    return f"OR({tests})"


def _shown(row: str, cell: str, value: str) -> str:
    return f'IF({row}=0,"",IFERROR(IF({cell}>0,{value},""),""))'


def speeds_sheet(book: Workbook, table: SpeedsFeeds | None) -> None:
    """Rows for the shop's own values, then the table, all open to change; beside each whether it holds for this job."""
    widths = {"A": 1.5, "B": 24, "C": 12, "D": 17, "E": 13, "F": 9, "G": 13, "H": 27, "I": 42, "J": 30, "L": 40}
    sheet = layout.add_sheet(book, TITLE, widths, landscape=True)
    sheet.page_setup.fitToHeight = 0
    sheet.print_title_rows = "4:5"
    layout.put(sheet, "B1", "Speeds and feeds", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", f"Where to start, by material group. Your own rows go into the {_OWN} blank ones at the top: they count before the "
                            "table, the upper one first. Every row is yours to change.", size=9, color=layout.SOFT)
    layout.put(sheet, "B3", "In ft/min and in/rev; the operation list shows them in the job's units. A drill's and a reamer's feed is a share of its "
                            "diameter (one over 1 in is fed like one of 1 in); a thread's and a tap's is its pitch.", size=9, color=layout.SOFT)
    for column, head, unit in _HEADS:
        right = "right" if unit else "left"
        layout.put(sheet, f"{column}4", head, bold=True, color=layout.ACCENT, align=right, indent=int(column == "H"))
        layout.put(sheet, f"{column}5", unit or None, size=9, color=layout.SOFT, align=right)
    rows = (*[None] * _OWN, *(table or speeds_feeds.builtin()).rows)
    last = _FIRST + len(rows) - 1
    own_last = _FIRST + _OWN - 1
    for line, row in enumerate(rows, start=_FIRST):
        _row(sheet, line, row)
        key = f'IF(IF(ISNUMBER($E{line}),$E{line}>0,FALSE),$B{line}&"/"&$C{line}&"/"&$D{line},"")'
        layout.put(sheet, f"L{line}", f"={key}", size=9, color=layout.SOFT)
        if line <= own_last:
            layout.put(sheet, f"J{line}", "=" + _mark(line), size=9, bold=True, color=layout.ACCENT, indent=1)
    for column, head, kind in (("C", "Operation", Kind("operation", "choice", choices=speeds_feeds.CUTS)),
                               ("D", "Tool", Kind("tool", "choice", choices=speeds_feeds.TOOLS)),
                               ("E", "Surface speed", speeds_feeds.KINDS["surface_speed"]),
                               ("F", "Feed", speeds_feeds.KINDS["feed_rate"]),
                               ("G", "Feed of a drill", speeds_feeds.KINDS["drill_feed"])):
        layout.validate(sheet, f"{column}{_FIRST}:{column}{last}", kind, head, f"{head.lower()} to start with")
    layout.put(sheet, "L5", "Looked up by", size=9, color=layout.SOFT)
    for name, column in (("keys", "L"), ("speed", "E"), ("feed", "F"), ("drill_feed", "G")):
        layout.name_cell(book, f"speeds_{name}", sheet, f"{column}{_FIRST}:{column}{last}")
    for name, column in (("group", "B"), ("operation", "C"), ("tool", "D")):
        layout.name_cell(book, f"own_speeds_{name}", sheet, f"{column}{_FIRST}:{column}{own_last}")
    sheet.freeze_panes = "A6"
    sheet.print_area = f"A1:J{last}"


def _row(sheet: Worksheet, line: int, row: SpeedFeed | None) -> None:
    values = (row.group, row.operation, row.tool, row.surface_speed, row.feed_rate, row.drill_feed, row.source,
              row.note or None) if row else [None] * len(_HEADS)
    for (column, _, unit), value in zip(_HEADS, values, strict=True):
        cell = sheet[f"{column}{line}"]
        layout.style_input(sheet, cell.coordinate, "percent" if column == "G" else "general" if unit else "text")
        if column == "H":
            cell.alignment = Alignment(horizontal="left", vertical="center", indent=1)
        cell.value = value
        if isinstance(value, str):
            cell.data_type = "s"


def _complete(line: int) -> str:
    """Cell expression: TRUE where a row has what its operation needs."""
    operation = f"$C{line}"
    feed = (f"IF({_one_of(operation, speeds_feeds.BY_PITCH)},TRUE,IF({_one_of(operation, speeds_feeds.BY_DIAMETER)},"
            f"ISNUMBER($G{line}),ISNUMBER($F{line})))")
    return f"AND(ISTEXT($B{line}),ISNUMBER($E{line}),{feed})"


def _mark(line: int) -> str:
    """Cell expression: what is wrong with a row of the shop's own, or whether it counts for this job."""
    alike = f"SUMPRODUCT((own_speeds_group=$B{line})*(own_speeds_operation=$C{line})*(own_speeds_tool=$D{line}))"
    tools = ",".join(f'$D{line}="{tool}"' for tool in speeds_feeds.TOOLS)
    cuts = ",".join(f'$C{line}="{cut}"' for cut in speeds_feeds.CUTS)
    return (f'IF(COUNTA($B{line}:$G{line})=0,"",IF(NOT(AND(OR({cuts}),OR({tools}))),"\u2715 pick an operation and a tool",'
            f'IF(NOT({_complete(line)}),"\u2715 group, speed or feed is missing",'
            f'IF({alike}>1,"! stands twice among your rows: the upper one counts",'
            f'IF(SUMPRODUCT(--(material_groups=$B{line}))=0,"! no material of the table is of this group",'
            f'"counts before the table")))))')
