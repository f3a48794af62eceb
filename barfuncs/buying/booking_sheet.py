"""The sheet Book of buy_list.xlsx: what the history of the rack is to say once all is sawn, one row for each way to saw a bar."""

import itertools

from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.buying.grid import Pen, break_pages, scaled
from barfuncs.buying.order_sheets import UNITS, U
from barfuncs.buying.saw_sheets import SAW, SawPlaces
from barfuncs.rack.bars import OWN
from barfuncs.templates import layout
from barfuncs.templates.cell_text import number_text

BOOK = "Book"
_COLUMNS = {"no": (2, "Saw row"), "id": (3, "Bar"), "kind": (4, "What"), "place": (5, "Place"), "owner": (6, "Owner"), "taken": (7, "Take"), "job": (8, "Job"),
            "others": (9, "Also for"), "back": (10, "Return"), "length": (11, "Length"), "heat": (12, "Heat"), "done": (13, "Booked")}
_AT = {name: column for name, (column, _) in _COLUMNS.items()}
_WIDTHS = dict(zip("ABCDEFGHIJKLM", (1.5, 8, 15, 30, 10, 18, 8, 16, 34, 9, 11, 13, 9), strict=True))
_PLACE = 15
"""Column, beside the page, of where a way to saw stands on the sheet Saw."""
_LEFT = ("id", "kind", "place", "owner", "job", "others", "heat")
_MOST_NAMED = 12
"""Rows of blanks of a bar whose jobs are named beside the first."""
_STEPS = (
    "Book what was sawn, not what was planned: tick a row when it stands in the rack's history. Nothing of this file books itself.",
    "1  Bought bars first: barfuncs rack goods-in THIS_FILE CAME --book. It gives them ids, which stand for the order line below.",
    "2  What is taken: barfuncs rack take BAR --bars TAKE --job JOB (with --customer where the owner is one, --needs 3.1 where the job needs a certificate).",
    f'="3  What comes back: barfuncs rack return BAR --bars RETURN --job JOB --length ""LENGTH "&{UNITS}&""", with --labels FILE for its label. Other left-overs are scrap."',
    "A bar that several jobs share is charged to the first of them. Bought bars that no row saws stay whole where goods-in put them.",
)


def booking_sheet(pen: Pen, saw: SawPlaces) -> None:
    """A row for each way to saw, in the order of the sheet Saw."""
    sheet = layout.add_sheet(pen.book, BOOK, _WIDTHS, landscape=True)
    scaled(sheet, 72)
    layout.put(sheet, "B1", "Book, when it is sawn", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    for row, text in enumerate(_STEPS, 2):
        pen.put(sheet, row, 2, text, size=9)
    head = len(_STEPS) + 3
    layout.heading(sheet, "B", "M", head, "")
    pen.put(sheet, head - 1, _AT["length"], U, size=8.5, color=layout.SOFT, align="right")
    pen.put(sheet, head - 1, _AT["taken"], "bars", size=8.5, color=layout.SOFT, align="right")
    pen.put(sheet, head - 1, _AT["back"], "pieces", size=8.5, color=layout.SOFT, align="right")
    for name, (column, label) in _COLUMNS.items():
        pen.head(sheet, head, column, label, name in _LEFT)
    for n in range(1, len(saw.rows) + 1):
        _way(pen, sheet, head + n, n, [f"{SAW}!{blank['job']}" for blank in saw.blanks[n - 1]])
    last = head + len(saw.rows)
    break_pages(sheet, [(row, row) for row in range(head + 1, last + 1)], head)
    sheet.print_title_rows = f"1:{head}"
    sheet.print_area = f"A1:M{last}"
    layout.keep_in_view(sheet, f"A{head + 1}", 90)


def _way(pen: Pen, sheet: Worksheet, row: int, no: int, jobs: list[str]) -> None:
    place, taken = f"$O{row}", f"$G{row}"
    pen.put(sheet, row, _PLACE, f"=MATCH({no},buy_saw_no,0)", size=8, color=layout.SOFT, align="right")

    def saw(name: str) -> str:
        return f"INDEX(buy_saw_{name},{place})"

    def rack(name: str) -> str:
        return f'IFERROR(INDEX(buy_rack_{name},MATCH({saw("rack")},buy_rack_no,0))&"","?")'

    pen.put(sheet, row, _AT["no"], no, align="right", color=layout.SOFT)
    pen.answer(sheet, row, _AT["taken"], f'IF({saw("bars")}>0,{saw("bars")},"")', "blank_or_count", bold=True)
    comes = f'{saw("back")}=1'
    for name, formula, number in (
        ("id", f'IF({saw("line")}>0,"order line "&{number_text(saw("line"), 0)},{rack("id")})', "text"),
        ("kind", f'{saw("kind")}&""', "text"),
        ("place", f'IF({saw("rack")}>0,{rack("place")},"")', "text"),
        ("owner", f'IF({saw("rack")}>0,{saw("owner")}&"","{OWN}")', "text"),
        ("job", _job(jobs[0]), "text"),
        ("others", _others(jobs), "text"),
        ("back", f'IF({comes},{saw("bars")},"")', "blank_or_count"),
        ("length", f'IF({comes},{saw("left")},"")', "length"),
        ("heat", f'IF({saw("line")}>0,"of its bar",IF({saw("heat")}="","not known",{saw("heat")}))', "text"),
        ("done", '"\u25a1"', "text"),
    ):
        pen.answer(sheet, row, _AT[name], f'IF({taken}="","",{formula})', number)


def _job(cell: str) -> str:
    """Cell expression: the name of the job whose number stands there."""
    return f'IFERROR(INDEX(buy_job_name,MATCH({cell},buy_job_no,0))&"","")'


def _others(jobs: list[str]) -> str:
    """Cell expression: the names of the other jobs, each once."""
    named = [f'IF(COUNTIF({jobs[0]}:{above.partition("!")[2]},{cell})>0,"",IF({cell}="","",", "&{_job(cell)}))'
             for above, cell in itertools.pairwise(jobs[:_MOST_NAMED + 1])]
    more = ['", ..."'] if len(jobs) > _MOST_NAMED + 1 else []
    return f'MID({"&".join([*named, *more])},3,200)' if named or more else '""'


__all__ = ["BOOK", "booking_sheet"]
