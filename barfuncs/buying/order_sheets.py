"""The sheets Order, for those who sell, and Goods in, for those who unload, of buy_list.xlsx."""

from dataclasses import dataclass, field, replace

from openpyxl.styles import Font
from openpyxl.utils import get_column_letter as letters
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.buying.grid import DAY, Pen, break_pages, scaled, validate_all
from barfuncs.catalogue import kinds
from barfuncs.catalogue.kinds import SHAPES
from barfuncs.rack.bars import BY_NAME
from barfuncs.rack.goods_in import GOODS_IN, ORDERED
from barfuncs.rack.listing import MARK_LABEL, UNITS_LABEL
from barfuncs.templates import layout
from barfuncs.templates.cell_text import number_text, unit_text
from barfuncs.templates.model import STOP, WRONG, Column, first_wrong, make_column

ORDER = "Order"
UNITS = "buy_units"
U = unit_text("length", UNITS)
CURRENCY = '=IF(ISBLANK(buy_currency),"",buy_currency)'
KG = f'=IF({UNITS}="mm","kg","lb")'

HEAD = (
    make_column("buyer", "From", kinds.Text, "who orders"),
    make_column("deliver_to", "Deliver to", kinds.Text, "where the bars go"),
    make_column("number", "Order number", kinds.Text, "of this order"),
    make_column("order_date", "Order date", kinds.Text, "the day of the order; deliveries are reckoned from it", instead="date"),
    make_column("units", "Units", kinds.Units, "what lengths and sizes are in: in or mm", needed=True),
    make_column("currency", "Currency", kinds.Text, "what prices are in"),
)
"""Typed once, and printed on every page."""
_HEAD_PLACES = ((2, 4), (5, 7), (8, 9), (10, 11), (12, 12), (13, 13))
KIND = (
    *(BY_NAME[name] for name in ("material", "shape", "size", "thickness", "finish", "tolerance")),
    make_column("supplier", "Supplier", kinds.Text, "who is asked; each gets a page of his own"),
)
_KIND_PLACES = ((2, 4), (5, 5), (6, 6), (7, 7), (8, 9), (10, 11), (12, 15))
LINE = (
    make_column("bars", "Bars", kinds.PositiveCount, "bars ordered", needed=True, unit="bars"),
    make_column("length", "Length", kinds.PositiveLength, "length of one bar", needed=True),
    make_column("weight", "Weight of one", kinds.Weight, "weight of one bar"),
    make_column("price", "Price of one", kinds.Money, "agreed price of one bar", needed=True),
    make_column("minimum", "Line minimum", kinds.Money, "what the line costs at least, before the certificate"),
    make_column("fee", "Certificate fee", kinds.Money, "once for the line"),
    replace(BY_NAME["certificate"], help="inspection document after EN 10204 that is wanted; blank is none"),
    make_column("need_by", "Needed by", kinds.Text, "the day on which the bars must be there", instead="date"),
    make_column("lead_days", "Delivery", kinds.Count, "days from the order to the delivery", unit="days"),
    make_column("note", "Note", kinds.Text, "bundles, prices that hold from a weight on"),
)
"""Typed of each line of the order."""
_AT = {"no": 2, "bars": 3, "length": 4, "lengths": 5, "weight": 6, "weights": 7, "price": 8, "minimum": 9, "fee": 10, "money": 11, "certificate": 12,
       "need_by": 13, "lead_days": 14, "note": 15, "mark": 17, "line": 18, "counted": 19, "long": 20, "sawn": 21, "spare": 22, "added": 23, "fees": 24,
       "metal": 25, "each": 26, "worth": 27, "late": 28, "rank": 29, "kind": 30}
_WIDTHS = {"A": 1.5, "B": 5, "C": 7, "D": 11, "E": 12, "F": 12, "G": 11, "H": 11, "I": 11, "J": 11, "K": 13, "L": 10, "M": 12, "N": 9, "O": 30, "P": 2,
           "Q": 40} | {letters(n): 9 for n in range(18, 31)}
_TITLES = 4
_ASIDE = {"line": "Line counted", "counted": "Bars", "long": "Length", "sawn": "Sawn", "spare": "Not sawn", "added": "Minimum adds", "fees": "Certificates",
          "metal": "Bars x price", "each": "Worth left, each length", "worth": "Worth of those not sawn", "late": "Late", "rank": "Number of those not sawn", "kind": "Kind of bar"}
_MONEY = ("price", "minimum", "fee", "money")


@dataclass
class OrderPlaces:
    """Where things stand on the sheet Order: of each page the cells of its kind of bar, of each line its cells."""

    head: dict[str, str] = field(default_factory=dict)
    pages: list[dict[str, str]] = field(default_factory=list)
    lines: list[dict[str, str]] = field(default_factory=list)


def kind_text(at: dict[str, str]) -> str:
    """Cell expression: a kind of bar in words, from its cells."""
    thick = f'IF({at["thickness"]}="",""," x "&{number_text(at["thickness"], 4)})'
    more = "&".join(f'IF({at[n]}="","",", "&{at[n]})' for n in ("finish", "tolerance"))
    return f'IF({at["material"]}="","",{at["material"]}&", "&{at["shape"]}&" "&IF(ISNUMBER({at["size"]}),{number_text(at["size"], 4)},{at["size"]}&"")&{thick}&{more})'


def order_sheet(pen: Pen, sheets: tuple[int, ...]) -> OrderPlaces:
    """A page for each kind of bar, with so many lines each."""
    sheet = layout.add_sheet(pen.book, ORDER, _WIDTHS, landscape=True)
    scaled(sheet, 79)
    layout.goes_to_customer(sheet)
    places = OrderPlaces()
    _head(pen, sheet, places)
    row, no = _TITLES + 1, 0
    blocks: list[tuple[int, int]] = []
    totals: list[tuple[int, str]] = []
    for lines in sheets:
        start = row
        row = _kind(pen, sheet, row, places)
        kind = places.pages[-1]["kind"]
        row = _headings(pen, sheet, row, aside=not totals)
        first_line = row
        for _ in range(lines):
            no += 1
            _line(pen, sheet, row, no, kind, places)
            row += 1
        row = _total(pen, sheet, row, f"{first_line}:{{0}}{row - 1}")
        totals.append((row - 1, kind))
        pen.put(sheet, row, 2, "Please confirm lengths, prices and days. Certificates are after EN 10204. Mark every bundle with its heat; "
                               "say so before you send what is shorter than the length above.", size=9, color=layout.SOFT)
        row += 2
        blocks.append((start, row - 1))
    first, last = (places.lines[n]["bars"][1:] for n in (0, -1))
    for name, column in _AT.items():
        if name in _ASIDE or name in ("no", "certificate", "need_by"):
            layout.name_cell(pen.book, f"buy_order_{name}", sheet, f"{letters(column)}{first}:{letters(column)}{last}")
    layout.name_cell(pen.book, "buy_order_marks", sheet, f"Q{first}:Q{last}")
    blocks.append((row, _all_pages(pen, sheet, row, totals, places)))
    for items, typed in ((KIND, places.pages), (LINE, places.lines)):
        for item in items:
            validate_all(sheet, [cells[item.name] for cells in typed], item)
    break_pages(sheet, blocks, _TITLES, alone=True)
    sheet.print_title_rows = f"1:{_TITLES}"
    sheet.print_area = f"A1:O{blocks[-1][1]}"
    layout.keep_in_view(sheet, f"A{_TITLES + 1}", 90)
    sheet.conditional_formatting.add(f"Q{first}:Q{last}", layout.rule_where(f'LEFT(Q{first},1)="{WRONG}"', font=Font(bold=True)))
    return places


def _head(pen: Pen, sheet: Worksheet, places: OrderPlaces) -> None:
    sheet.row_dimensions[1].height = 26
    pen.put(sheet, 1, 2, '="Order"&IF(ISBLANK(buy_number),""," "&buy_number)', size=18, bold=True, color=layout.ACCENT)
    pen.put(sheet, 1, 8, f'=IF(LEFT(buy_status,{len(STOP)})="{STOP}","{STOP}  Not ready to send: see the sheet Money.","")', bold=True)
    pen.put(sheet, 1, 17, "=buy_status", bold=True)
    for column, (first, last) in zip(HEAD, _HEAD_PLACES, strict=True):
        pen.put(sheet, 2, first, column.label + (" *" if column.needed else ""), size=9, color=layout.SOFT)
        ref = pen.framed(sheet, 3, (first, last), column)
        places.head[column.name] = ref
        layout.name_cell(pen.book, UNITS if column.name == "units" else f"buy_{column.name}", sheet, ref)
        validate_all(sheet, [ref], column)
    sheet[places.head["units"]].value = "in"
    sheet.row_dimensions[4].height = 8


def _kind(pen: Pen, sheet: Worksheet, row: int, places: OrderPlaces) -> int:
    """What bar the page is for: labels, framed cells, and the bar in words."""
    found = {}
    for column, (first, last) in zip(KIND, _KIND_PLACES, strict=True):
        pen.put(sheet, row, first, column.label + (" *" if column.needed else ""), size=9, color=layout.SOFT)
        found[column.name] = pen.framed(sheet, row + 1, (first, last), column)
    sheet.row_dimensions[row + 1].height = 20
    sheet.row_dimensions[row + 2].height = 24
    absolute = {name: f"${ref[0]}${ref[1:]}" for name, ref in found.items()}
    found["kind"] = pen.put(sheet, row + 2, 2, f"={kind_text(absolute)}", size=13, bold=True, color=layout.ACCENT)
    found["row"] = str(row + 1)
    places.pages.append(found)
    return row + 3


def _headings(pen: Pen, sheet: Worksheet, row: int, aside: bool) -> int:
    """Headings of lines; those beside the print only above the first line, since formulas take the columns below as a whole."""
    labels = {c.name: c.label for c in LINE} | {"no": "Line", "lengths": "All lengths", "weights": "Weight", "money": "Money", "mark": MARK_LABEL} | _ASIDE
    units = dict.fromkeys(("length", "lengths", "long"), U) | dict.fromkeys(("weight", "weights"), KG) | dict.fromkeys(_MONEY, CURRENCY) | {
        "lead_days": "days"}
    layout.heading(sheet, "B", "O", row + 1, "")
    for name, column in _AT.items():
        left = name in ("certificate", "note", "mark", "kind")
        if column > _AT["mark"] and not aside:
            continue
        if name in _ASIDE:
            pen.put(sheet, row + 1, column, labels[name], align="left" if left else "right", shrink=True, size=8, color=layout.SOFT)
        else:
            pen.head(sheet, row + 1, column, labels[name], left)
        if name in units and column <= _AT["note"]:
            pen.put(sheet, row, column, units[name], size=8, color=layout.SOFT, align="right")
    return row + 2


def _line(pen: Pen, sheet: Worksheet, row: int, no: int, kind: str, places: OrderPlaces) -> None:
    at = {name: f"{letters(column)}{row}" for name, column in _AT.items()}
    pen.put(sheet, row, _AT["no"], no, align="right", color=layout.SOFT)
    for column in LINE:
        pen.framed(sheet, row, _AT[column.name], column)
    page = places.pages[-1]
    typed = f'COUNTA({at["bars"]}:{at["length"]},{at["weight"]},{at["price"]},{at["minimum"]}:{at["fee"]},{at["certificate"]}:{at["note"]})'
    number = "IF(ISNUMBER({0}),{0}>{1},FALSE)".format
    wrong = (
        (f'${page["material"][0]}${page["material"][1:]}=""', "the material is missing"),
        ("NOT(OR(" + ",".join(f'${page["shape"][0]}${page["shape"][1:]}="{s}"' for s in SHAPES) + "))", "the shape is missing"),
        (f'NOT({number("$" + page["size"][0] + "$" + page["size"][1:], 0)})', "size: a number above 0"),
        (f'NOT(IF(ISNUMBER({at["bars"]}),IF({at["bars"]}>=1,{at["bars"]}=INT({at["bars"]}),FALSE),FALSE))', "bars: a whole number, 1 or more"),
        (f'NOT({number(at["length"], 0)})', "length: a number above 0"),
        *((f'NOT(IF({at[n]}="",TRUE,IF(ISNUMBER({at[n]}),{at[n]}>=0,FALSE)))', f"{what}: a number, 0 or more")
          for n, what in (("weight", "weight"), ("minimum", "line minimum"), ("fee", "certificate fee"), ("lead_days", "delivery"))),
        (f'NOT(IF(ISNUMBER({at["price"]}),{at["price"]}>=0,FALSE))', "the price is missing"),
    )
    pen.put(sheet, row, _AT["mark"], f'=IF({typed}=0,"",IFERROR({first_wrong(wrong)},"{WRONG} a cell shows an error"))', size=9, indent=1)
    used = f'{at["line"]}=1'
    for name, formula, number_ in (("lengths", f'{at["bars"]}*{at["length"]}', "length"), ("weights", f'{at["bars"]}*{at["weight"]}', "weight"),
                                   ("money", f'MAX({at["minimum"]},{at["metal"]})+{at["fees"]}', "money")):
        pen.answer(sheet, row, _AT[name], f'IF({used},{formula},"")', number_)
    whole = f'(INT({at["long"]}*buy_steps+0.0001)/buy_steps)'
    aside = {
        "line": f'IF({typed}=0,0,IF(LEFT({at["mark"]},1)="{WRONG}",0,1))',
        "counted": f'IF({used},{at["bars"]},0)',
        "long": f'IF({used},{at["length"]},0)',
        "sawn": f'SUMIF(buy_saw_line,{at["no"]},buy_saw_bars)',
        "spare": f'MAX(0,{at["counted"]}-{at["sawn"]})',
        "added": f'IF({used},MAX(0,{at["minimum"]}-{at["metal"]}),0)',
        "fees": f'IF({used},IF({at["fee"]}="",0,{at["fee"]}),0)',
        "metal": f'IF({used},{at["bars"]}*{at["price"]},0)',
        "each": f'IF({used},buy_share*{at["price"]}/{whole},0)',
        "worth": f'IF({used},IF({whole}-2*buy_trim_whole+0.000001>=buy_least,{at["spare"]}*{at["each"]}*({whole}-2*buy_trim_whole),0),0)',
        "late": f'IF({used},IF({at["need_by"]}="",0,IF(ISNUMBER({at["need_by"]}),IF(ISNUMBER(buy_order_date),'
                f'IF(buy_order_date+{at["lead_days"]}>{at["need_by"]},1,0),0),0)),0)',
        "rank": f'IF({at["spare"]}>0,MAX({letters(_AT["rank"])}${_TITLES + 1}:{letters(_AT["rank"])}{row - 1})+1,0)',
        "kind": f'IF({used},${kind[0]}${kind[1:]},"")',
    }
    for name, formula in aside.items():
        pen.put(sheet, row, _AT[name], f"={formula}", size=8, color=layout.SOFT, align="left" if name == "kind" else "right")
    places.lines.append({c.name: at[c.name] for c in LINE})


def _total(pen: Pen, sheet: Worksheet, row: int, rows: str) -> int:
    pen.put(sheet, row, 2, "All", bold=True)
    for name, column, number in (("counted", 3, "count"), ("lengths", 5, "length"), ("weights", 7, "weight"), ("money", 11, "money")):
        letter = letters(_AT[name])
        pen.answer(sheet, row, column, f"SUM({letter}{rows.format(letter)})", number, bold=True)
    return row + 1


def _all_pages(pen: Pen, sheet: Worksheet, row: int, totals: list[tuple[int, str]], places: OrderPlaces) -> int:
    """The whole order on a page for the buyer; the last row of it."""
    pen.put(sheet, row, 2, "All pages of this order", size=13, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[row].height = 24
    pen.put(sheet, row + 1, 2, "For the buyer, and not for those who sell: suppliers do not see each other's prices.", size=9, color=layout.SOFT)
    row += 2
    layout.heading(sheet, "B", "O", row, "")
    for column, label in ((2, "Page"), (3, "Bars"), (5, "All lengths"), (7, "Weight"), (11, "Money"), (12, "Bar"), (15, "Supplier")):
        pen.head(sheet, row, column, label, column in (2, 12, 15))
    first = row + 1
    for page, (total, kind) in enumerate(totals, 1):
        row += 1
        pen.put(sheet, row, 2, page, align="left", color=layout.SOFT)
        for column, number in ((3, "count"), (5, "length"), (7, "weight"), (11, "money")):
            pen.answer(sheet, row, column, f"{letters(column)}{total}", number)
        pen.put(sheet, row, (12, 14), f'=IF({kind}="","",{kind})', indent=1, shrink=True)
        supplier = places.pages[page - 1]["supplier"]
        pen.put(sheet, row, 15, f'=IF(ISBLANK({supplier}),"",{supplier})', indent=1, shrink=True)
    row += 1
    pen.put(sheet, row, 2, "All", bold=True)
    for name, column, number in (("bars", 3, "count"), ("lengths", 5, "length"), ("weights", 7, "weight"), ("money", 11, "money")):
        ref = pen.answer(sheet, row, column, f"SUM({letters(column)}{first}:{letters(column)}{row - 1})", number, bold=True)
        layout.name_cell(pen.book, f"buy_all_{name}", sheet, ref)
    pen.put(sheet, row, 12, "before freight", size=9, color=layout.SOFT, indent=1)
    return row


# --- goods in ------------------------------------------------------------------------------------------------------

_GOODS_WIDTHS = dict(zip((letters(n) for n in range(2, len(ORDERED) + 2)), (10, 8, 22, 11, 10, 10, 16, 15, 11, 11, 11, 60), strict=True))


def goods_sheet(pen: Pen, places: OrderPlaces) -> list[str]:
    """The order as `barfuncs rack goods-in` reads it: the cells for the jobs of each line, which alone are typed."""
    sheet = layout.add_sheet(pen.book, GOODS_IN, {"A": 1.5} | _GOODS_WIDTHS, landscape=True)
    layout.put(sheet, "B1", "Goods in", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "What was ordered, as barfuncs rack goods-in reads it from this file. It names jobs: it is not for those who sell.",
               size=9, color=layout.SOFT)
    layout.put(sheet, "B4", UNITS_LABEL)
    layout.put(sheet, "C4", f"={UNITS}")
    head = 7
    at = {c.name: letters(n) for n, c in enumerate(ORDERED, start=2)}
    layout.heading(sheet, "B", letters(len(ORDERED) + 1), head, "")
    for column in ORDERED:
        if column.unit == "length":
            pen.put(sheet, head - 1, _number(at[column.name]), U, size=9, color=layout.SOFT, align="right")
        pen.head(sheet, head, _number(at[column.name]), column.label, column.kind.reader in ("text", "choice"))
    jobs = []
    page_of = [page for page in places.pages for _ in range(sum(1 for line in places.lines if _on(line, page, places)))]
    for n, (line, page) in enumerate(zip(places.lines, page_of, strict=True), 1):
        row = head + n
        used = f"INDEX(buy_order_counted,MATCH({n},buy_order_no,0))>0"
        from_order = {"line": str(n), "bars": f"{ORDER}!{line['bars']}", "length": f"{ORDER}!{line['length']}", "certificate": f"{ORDER}!{line['certificate']}",
                      "shortest": f"IF(COUNTIF(buy_saw_longest,{n})=0,0,SUMIF(buy_saw_longest,{n},buy_saw_used)/COUNTIF(buy_saw_longest,{n}))"} | {c.name: f"{ORDER}!{page[c.name]}" for c in KIND[:6]}
        for column in ORDERED:
            place, number = _number(at[column.name]), "length" if column.unit == "length" else "text"
            if column.name == "jobs":
                jobs.append(pen.framed(sheet, row, place, column))
                continue
            value = from_order[column.name]
            blank = f'IF({value}=0,"",{value})' if column.name == "shortest" else value if column.name == "line" else f'IF({value}="","",{value})'
            pen.answer(sheet, row, place, f'IF({used},{blank},"")', number if column.name != "bars" else "count")
    sheet.page_setup.fitToHeight = 0
    validate_all(sheet, jobs, ORDERED[-1])
    layout.keep_in_view(sheet, f"A{head + 1}")
    return jobs


def _number(letter: str) -> int:
    return ord(letter) - 64


def _on(line: dict[str, str], page: dict[str, str], places: OrderPlaces) -> bool:
    """Whether a line stands on a page: below its head and above the next one."""
    row, top = int(line["bars"][1:]), int(page["row"])
    following = [int(p["row"]) for p in places.pages if int(p["row"]) > top]
    return top < row and (not following or row < following[0])


__all__ = ["DAY", "GOODS_IN", "HEAD", "KIND", "LINE", "ORDER", "OrderPlaces", "Column", "goods_sheet", "kind_text", "order_sheet"]
