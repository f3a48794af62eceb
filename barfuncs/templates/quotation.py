"""Template quotation: lines filled in by hand, with the prices that quotes gave; nothing of the costs is in the file."""

from collections.abc import Iterable
from copy import copy
from dataclasses import replace
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, Side

from barfuncs.catalogue import kinds
from barfuncs.templates import layout
from barfuncs.templates.cell_text import fixed_text
from barfuncs.templates.form import Form, put_framed, table_widths
from barfuncs.templates.model import (
    LOOK,
    NOTE,
    OK,
    STOP,
    Answer,
    Check,
    Missing,
    RowAnswer,
    Table,
    Values,
    make_column,
    make_input,
)
from barfuncs.templates.notes_sheet import begin_notes, end_notes
from barfuncs.templates.page import Page, add_page
from barfuncs.templates.plausible import VALID_UNTIL, day_of
from barfuncs.templates.quote.inputs import LETTER
from barfuncs.templates.quote.said import day_text
from barfuncs.templates.shop import Shop
from barfuncs.templates.template import ForCustomer, Template, Terminal, TerminalColumn, number_shown, status_word
from barfuncs.text.characters import in_words

ROWS = 60
PAGE_ROWS = 30
"""Rows of prices, freight and total on the sheet Page, which is one page."""
WORD_ROWS = 4
"""Rows that each line has there for its words: part, numbers, material, certificate."""
SAID_ROWS, SAID_WIDTH, MOST_SAID = 14, 110, 5000
_OF_THE_QUOTE = {item.name: replace(item, from_shop=False) for item in LETTER}
INPUTS = {
    "You": tuple(_OF_THE_QUOTE[name] for name in ("seller", "seller_address", "seller_contact")),
    "The customer": (
        make_input("customer", "Customer *", kinds.Text, help_text="who gets the quotation"),
        *(_OF_THE_QUOTE[name] for name in ("customer_address", "attention", "reference")),
    ),
    "The quotation": (
        replace(_OF_THE_QUOTE["quote_number"], label="Quote number *"), *(_OF_THE_QUOTE[name] for name in ("quote_date", "valid_until", "valid_days")),
        replace(_OF_THE_QUOTE["currency"], label="Currency *"), _OF_THE_QUOTE["freight_charged"],
        replace(_OF_THE_QUOTE["paper"], help="paper of the quotation that is sent; left blank, A4"),
    ),
    "What you say": (*(_OF_THE_QUOTE[name] for name in ("delivery", "terms", "tax_wording")),
                     replace(_OF_THE_QUOTE["remark"], help="anything else that the customer should read"), _OF_THE_QUOTE["quotation_notes"]),
}
_PER = "".join(f'IF(line_priced_per="{name}",{count},' for name, count in kinds.PRICED_PER.items()) + "NA()" + ")" * len(kinds.PRICED_PER)
_WORDS = ("part_number", "drawing", "revision", "material", "certificate", "remark")
_MORE = "&".join(f"line_{name}" for name in _WORDS)
LINES = Table(
    name="lines",
    item="line",
    label="Lines",
    row_label="Row",
    rows=ROWS,
    columns=(
        make_column("part", "Part", kinds.Text, "what the part is called; left blank, the row is another quantity of the line above", width=26),
        make_column("part_number", "Part number", kinds.Text, "number of the part", width=15),
        make_column("drawing", "Drawing", kinds.Text, "number of the drawing", width=15),
        make_column("revision", "Revision", kinds.Text, "revision of the drawing", width=10),
        make_column("material", "Material", kinds.Text, "material, shape and size, as the customer should read it", width=24),
        make_column("certificate", "Certificates", kinds.Text, "what comes along: material certificate, inspection report", width=22),
        make_column("quantity", "Quantity", kinds.PositiveCount, "good parts", needed=True, unit="parts", width=11),
        make_column("price", "Price", kinds.Money, "price for one of what stands beside it", needed=True, width=12),
        make_column("priced_per", "Price is for", kinds.PricedPer, "left blank, one part", blank="part", width=12),
        make_column("lead_time", "Lead time", kinds.Text, "from the order on; left blank, that of the row above", width=17),
        make_column("setup", "Set-up, once", kinds.Money, "set-up charged once, in the first row of a line", blank=0, width=12),
        make_column("tooling", "Tooling, once", kinds.Money, "tooling charged once, in the first row of a line", blank=0, width=12),
        make_column("remark", "Remark", kinds.LongText, "what the customer should read of this part", width=26),
    ),
    answers=(
        RowAnswer("total", "Total", "blank_or_money", "", f"IF(line_filled=0,0,COUNT_DOWN(line_quantity*line_price/{_PER}*100+0.5)/100)", width=13),
        RowAnswer("number", "line number so far", "count", "", 'above_line_number+(line_part<>"")', aside=True),
        RowAnswer("place", "row on the sheet Page", "count", "",
                  'IF(line_part<>"",MAX(above_line_room,above_line_place)+1,above_line_place+(line_filled>0))', aside=True),
        RowAnswer("room", "row on the sheet Page down to which the line has its words", "count", "",
                  f'IF(line_part<>"",line_place+{WORD_ROWS - 1},above_line_room)', aside=True),
        RowAnswer("told", "remarks so far", "text", "", f'IF(above_line_told=0,"",above_line_told)&IF(OR(line_remark="",LEN(above_line_told)>{MOST_SAID}),"",'
                  f'"No. "&line_number&": "&line_remark&CHAR(10))', aside=True),
        RowAnswer("bare", "1 for a row with words alone", "count", "", f'IF(line_filled>0,0,IF(line_part&{_MORE}&line_lead_time="",0,1))', aside=True),
    ),
    wrong_if=(
        (f'IF(line_part="",{_MORE}<>"",FALSE)', "part is missing: without it the row is a quantity of the line above"),
        ('IF(line_part="",line_number=0,FALSE)', "part is missing"),
        ('IF(line_part="",line_setup+line_tooling>0,FALSE)', "set-up and tooling belong into the first row of the line"),
        ("line_price=0", "price is 0"),
    ),
    marks_width=40,
)
ANSWERS = (
    Answer("line_count", "Lines", "count", formula="MAX(line_number)"),
    Answer("prices", "Prices", "count", formula="COUNT(line_quantity)"),
    Answer("once", "Set-up and tooling", "money", formula="SUM(line_setup)+SUM(line_tooling)"),
    Answer("freight_line", "Freight, once", "money", formula='IF(ISBLANK(freight_charged),"",freight_charged)'),
    Answer("sum_total", "Total, if one quantity a line", "money",
           formula='IF(prices=line_count,SUM(line_total)+once+IF(ISBLANK(freight_charged),0,freight_charged),"")'),
)
STEPS = (
    Answer("bare_rows", "rows with words alone", "count", formula="SUM(line_bare)"),
    Answer("valid_said", "last day on the quotation", "text",
           formula=VALID_UNTIL),
    Answer("paper_said", "paper of the quotation", "text", formula='IF(ISBLANK(paper),"",paper)'),
)
FORM = Form("quotation_", (item for group in INPUTS.values() for item in group), (*ANSWERS, *STEPS), (LINES,))
CHECKS = (
    Check("Lines", (
        ("bare_rows>0", STOP, '"A row has words, but no quantity and no price."'),
        ("prices=0", NOTE, '"No line yet."'),
        ("TRUE", OK, 'line_count&IF(line_count=1," line with "," lines with ")&prices&IF(prices=1," price; "," prices; ")&"each row has its quantity and its price."'),
    )),
    Check("Dates", (
        (f"IF({day_of('quote_date')}*{day_of('valid_said')}>0,{day_of('valid_said')}<{day_of('quote_date')},FALSE)", STOP, '"The prices lapse before the date of the quotation."'),
        ('quote_date=""', LOOK, '"The quotation has no date."'),
        ('valid_said=""', NOTE, '"Nothing says until when the prices hold."'),
        ("TRUE", OK, '"The prices do not lapse before the date."'),
    )),
    Check("Sender", (
        ('seller=""', LOOK, '"No sender, unless the shop file gives one: fill in your company."'),
        ("TRUE", OK, '"The quotation names its sender."'),
    )),
)
_PROBLEMS = (
    Missing('quote_number=""', "quote number", input="quote_number"),
    Missing('customer=""', "customer", input="customer"),
    Missing('currency=""', "currency", input="currency"),
    Missing("prices=0", "a line with quantity and price", input="lines"),
)


def _draw(book: Workbook, shop: Shop | None) -> None:
    _fill_in_sheet(book, shop)
    _customer_sheet(book)
    end_notes(begin_notes(book, FORM), book, FORM, ("line_count", "prices"), _PROBLEMS)


def _fill_in_sheet(book: Workbook, shop: Shop | None) -> None:
    page = add_page(book, "Fill in", table_widths(LINES), landscape=True)
    sheet = page.sheet
    sheet.page_setup.fitToHeight = 0
    page.title("Quotation")
    page.remark("Fill the framed cells; those marked * are needed. One row a part and quantity; a row with a blank part is another quantity of the line above.")
    page.next_row(30)
    FORM.put_status(page, "B:I", "quotation")
    layout.keep_in_view(sheet, f"A{page.row + 1}", 88)
    page.skip()
    right = page.beside(page.row)
    for title, items in INPUTS.items():
        page.heading("B:E", title)
        for item in items:
            page.next_row()
            page.put("B", item.label, size=10)
            _framed(page, item, "C:E", _of_the_shop(shop, item.name))
            page.put("F", item.unit if item.unit == "days" else None, size=9, color=layout.SOFT, indent=1)
    right.heading("G:L", "In all")
    for answer in ANSWERS:
        right.next_row()
        right.put("G:H", answer.label)
        FORM.put_value(right, answer.name, "I", bold=answer.name == "sum_total")
    right.skip()
    FORM.put_checks(right, CHECKS, "N", "G")
    page.skip()
    last = FORM.put_table(page, LINES)
    page.print_to(last)


def _framed(page: Page, item: Any, columns: str, value: Any) -> None:
    """The framed cell of an input, over several columns."""
    first, _, last = columns.partition(":")
    put_framed(page, item, first)
    cell = page.sheet[f"{first}{page.row}"]
    if value is not None:
        cell.value = value
        if isinstance(value, str):
            cell.data_type = "s"  # a text stays a text, whatever it begins with
    cell.alignment = Alignment(horizontal="left", vertical="center", shrink_to_fit=True)
    if item.name in ("quote_date", "valid_until"):
        cell.number_format = "yyyy-mm-dd"
    page.take(f"{chr(ord(first) + 1)}:{last}")
    for letter in range(ord(first) + 1, ord(last) + 1):
        page.sheet[f"{chr(letter)}{page.row}"].border = copy(cell.border)
    page.sheet.merge_cells(f"{first}{page.row}:{last}{page.row}")


def _of_the_shop(shop: Shop | None, name: str) -> Any:
    """What a shop's own template has filled in already."""
    if shop is None:
        return None
    return shop.rates.currency if name == "currency" else getattr(shop.letterhead, name, None)


def _customer_sheet(book: Workbook) -> None:
    """One page for the customer to print from the spreadsheet. Its rows look up which line and quantity each of them shows."""
    page = add_page(book, "Page", {"A": 1.5, "B": 5, "C": 46, "D": 10, "E": 12, "F": 13, "G": 14, "H": 3, **dict.fromkeys("IJK", 6)}, landscape=False)
    sheet = page.sheet
    layout.goes_to_customer(sheet)
    page.next_row(24)
    page.put("B:G", _shown("seller"), size=16, bold=True, color=layout.ACCENT)
    for name in ("seller_address", "seller_contact"):
        page.next_row()
        page.put("B:G", _shown(name), color=layout.SOFT)
    page.skip()
    page.next_row(26)
    page.put("B:G", '="Quotation"&IF(quote_number="",""," "&quote_number)', size=18, bold=True)
    page.next_row(30)
    page.put("J", "=MAX(MAX(quotation_line_place),MAX(quotation_line_room))", size=8, color=layout.SOFT)
    last = f"$J${page.row}"
    told = f"INDEX(quotation_line_told,{ROWS})"
    said = f"{told}&" + "&".join(f'IF({name}="","","{label}: "&{name}&CHAR(10))' for label, name in (
        ("Delivery", "delivery"), ("Terms", "terms"), ("Tax", "tax_wording"), ("Remark", "remark"), ("Notes", "quotation_notes")))
    foot = page.row + 4 + 1 + PAGE_ROWS + 1
    breaks = f'LEN(B{foot})-LEN(SUBSTITUTE(B{foot},CHAR(10),""))'
    too_long = f"IF({last}+2>{PAGE_ROWS},TRUE,LEN(B{foot})/{SAID_WIDTH}+{breaks}>{SAID_ROWS})"
    page.put("B:G", f'=IF(LEFT(quotation_status,{len(STOP)})="{STOP}","{STOP}  Not ready to send: see the sheet Fill in.",'
             f'IF({too_long},"{STOP}  More than this page holds: give the file to barfuncs quotation.",""))', bold=True, color=layout.ACCENT, wrap=True)
    stopped = f"$B${page.row}<>\"\""
    left = (_shown("customer"), _shown("customer_address"), '=IF(attention="","","Attention: "&attention)')
    right = (("Date", _shown("quote_date")), ("Valid until", "=quotation_valid_said"), ("Your reference", _shown("reference")))
    for text, (label, formula) in zip(left, right, strict=True):
        row = page.next_row(27)
        page.put("B:C", text, wrap=True)
        page.put("D:E", f'=IF(F{row}="","","{label}")', color=layout.SOFT, wrap=True)
        page.put("F:G", formula, wrap=True, align="left")
        if label != "Your reference":
            sheet[f"F{row}"].number_format = "yyyy-mm-dd"
    page.skip()
    page.next_row(18)
    for column, formula in (("B", "No."), ("C", "Part"), ("D", "Quantity"), ("E", _with_currency("Price")), ("F", _with_currency("Total")), ("G", "Lead time")):
        page.put(column, formula, bold=True, color=layout.ACCENT, align="left" if column in "BC" else "right")
        sheet[f"{column}{page.row}"].border = Border(bottom=Side(style="medium", color=layout.ACCENT))
    first = page.row + 1
    for row in range(1, PAGE_ROWS + 1):
        at = page.next_row(15)
        line, priced, word = f"$I{at}", f"$J{at}", f"$K{at}"
        of_line = {name: f"INDEX(line_{name},{line})" for name in (c.name for c in LINES.columns)}
        room = f"INDEX(quotation_line_room,MATCH({row + WORD_ROWS - 1},quotation_line_room,1))"
        for column, formula in (("I", f"=IF({stopped},0,IFERROR(MATCH({room},quotation_line_room,0),0))"),
                                ("J", f"=IF({stopped},0,IFERROR(MATCH({row},quotation_line_place,0),0))"),
                                ("K", f"=IF({line}=0,0,{row + WORD_ROWS}-INDEX(quotation_line_room,{line}))")):
            page.put(column, formula, size=8, color=layout.SOFT)
        numbers = _listed(f'IF({of_line[name]}="","",", {words}"&{of_line[name]})' for name, words in (("part_number", ""), ("drawing", "drawing "), ("revision", "revision ")))
        extras = _listed((
            f'IF({of_line["certificate"]}="","",", "&{of_line["certificate"]})',
            *(f'IF({of_line[name]}="","",", {words} once "&{fixed_text(of_line[name], 2)})' for name, words in (("setup", "set-up"), ("tooling", "tooling"))),
            f'IF(OR({of_line["priced_per"]}="",{of_line["priced_per"]}="part"),"",", price for "&{of_line["priced_per"]})'))
        after = f"{row}-{last}"
        page.put("B", f'=IF({word}=1,INDEX(quotation_line_number,{line}),"")', align="left")
        page.put("C", f'=IF({word}=1,{of_line["part"]},IF({word}=2,{numbers},IF({word}=3,{of_line["material"]}&"",IF({word}=4,{extras},'
                 f'IF(OR({stopped},F{at}=""),"",IF({after}=1,"Freight, once",IF({after}=2,"Total","")))))))')
        page.put("D", f'=IF({priced}=0,"",INDEX(line_quantity,{priced}))', align="right", number="count")
        page.put("E", f'=IF({priced}=0,"",INDEX(line_price,{priced}))', align="right", number="price", bold=True)
        page.put("F", f'=IF({priced}>0,INDEX(quotation_line_total,{priced}),IF({stopped},"",IF({after}=1,quotation_freight_line,IF({after}=2,quotation_sum_total,""))))',
                 align="right", number="money")
        page.put("G", f'=IF({priced}=0,"",INDEX(line_lead_time,{priced})&"")', align="right")
        for column in "CG":
            sheet[f"{column}{at}"].alignment = Alignment(horizontal="left" if column == "C" else "right", vertical="center", shrink_to_fit=True)
    rule = Border(top=Side(style="thin", color=layout.SOFT))
    for columns, look in (("B:C", {"font": Font(bold=True), "border": rule}), ("D:G", {"border": rule})):  # one rule a cell: LibreOffice takes the first
        cells = f"{columns[0]}{first}:{columns[2]}{page.row}"
        sheet.conditional_formatting.add(cells, layout.rule_where(f"$K{first}=1", **look))
    page.next_row(12 * SAID_ROWS)
    assert page.row == foot
    page.put("B:G", f"={said}", size=9, wrap=True)
    page.print_to("G")


def _listed(parts: Iterable[str]) -> str:
    """The formula for parts that begin with a comma each, as a list."""
    return f"MID({'&'.join(parts)},3,500)"


def _with_currency(text: str) -> str:
    return f'="{text}"&IF(currency="","",", "&currency)'


def _shown(name: str) -> str:
    return f'=IF(ISBLANK({name}),"",{name})'


_WHOLE = {"number": "quote_number", "customer": "customer", "customer_address": "customer_address", "attention": "attention",
          "reference": "reference", "delivery": "delivery", "seller": "seller", "seller_address": "seller_address",
          "seller_contact": "seller_contact", "terms": "terms", "tax_note": "tax_wording", "notes": "quotation_notes", "currency": "currency", "remark": "remark"}


def _said(inputs: Values, answers: Values) -> dict[str, Any]:
    whole: dict[str, Any] = {name: _text(inputs[source]) for name, source in _WHOLE.items()}
    freight = answers["freight_line"]
    whole |= {"date": day_text(inputs["quote_date"]), "valid_until": day_text(answers["valid_said"]), "paper": _text(answers["paper_said"]),
              "freight": None if freight in (None, "") else _number(freight, "freight charged")}
    lines: list[dict[str, Any]] = []
    for row in range(1, ROWS + 1):
        cells = {column.name: inputs[LINES.row_name(row, column.name)] for column in LINES.columns}
        if cells["quantity"] in (None, ""):
            continue
        per = _text(cells["priced_per"]) or "part"
        if _text(cells["part"]):
            lines.append({"description": _text(cells["part"]), **{name: _text(cells[name]) for name in _WORDS}, "priced_per": per, "quantities": [],
                          "setup": _number(cells["setup"] or 0.0, f"row {row}: set-up"), "tooling": _number(cells["tooling"] or 0.0, f"row {row}: tooling")})
        if not lines:
            raise ValueError(f"row {row} has no part")
        if per != lines[-1]["priced_per"]:
            raise ValueError(f"row {row}: the price is for {per}, that of the first row of the line for {lines[-1]['priced_per']}")
        before = lines[-1]["quantities"][-1]["lead_time"] if lines[-1]["quantities"] else ""
        lines[-1]["quantities"].append({
            "quantity": _number(cells["quantity"], f"row {row}: quantity"), "price": _number(cells["price"], f"row {row}: price"),
            "total": _number(answers[LINES.row_name(row, "total")], f"row {row}: total"), "lead_time": _text(cells["lead_time"]) or before})
    return {**whole, "lines": lines}


def _text(value: Any) -> str:
    if isinstance(value, bool) or (isinstance(value, str) and type(value) is not str):
        raise ValueError(f"{value} stands where a text should")
    return in_words(value)


def _number(value: Any, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError(f"{what} is no number")
    return float(value)


TEMPLATE = Template(
    name="quotation",
    title="Quotation",
    form=FORM,
    checks=CHECKS,
    draw=_draw,
    results=(),
    pages=("Page",),
    terminal=Terminal((TerminalColumn("Lines", lambda line: number_shown(line.get("line_count"))), TerminalColumn("Checks", status_word, right=False))),
    help="",
    for_customer=ForCustomer((*FORM.inputs, *(i.name for i in LINES.inputs())),
                             ("freight_line", "valid_said", "paper_said", *(LINES.row_name(n, "total") for n in range(1, ROWS + 1))), _said,
                             tuple((LINES.row_name(n, "total"), f"total in row {n}") for n in range(1, ROWS + 1))),
)
