"""Template quotation: lines filled in by hand, with the prices that quotes gave; nothing of the costs is in the file."""

from copy import copy
from dataclasses import replace
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Side

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
from barfuncs.templates.page import Page, add_page
from barfuncs.templates.plausible import VALID_UNTIL, day_of
from barfuncs.templates.quote.inputs import LETTER
from barfuncs.templates.quote.said import day_text
from barfuncs.templates.shop import Shop
from barfuncs.templates.template import ForCustomer, Template, Terminal, TerminalColumn, number_shown, status_word

ROWS = 60
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
    Answer("freight_line", "Freight", "money", formula='IF(ISBLANK(freight_charged),"",freight_charged)'),
    Answer("sum_total", "Total of all, where each line has one quantity", "money",
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
        ('seller=""', LOOK, '"The quotation names no sender, unless the shop file gives one: fill in your company."'),
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
    page = add_page(book, "Notes", {"A": 1.5, "B": 58, "C": 88, "D": 10})
    page.sheet.page_setup.fitToHeight = 0
    page.title("Notes")
    page.skip()
    page.heading("B:C", "What each input means")
    for item in FORM.inputs.values():
        page.next_row()
        page.put("B", item.label)
        page.put("C", item.help[:1].upper() + item.help[1:] + ".", size=9)
    page.skip()
    page.heading("B:C", "Steps between")
    for name in FORM.answers:
        if FORM.prefix + name not in book.defined_names:
            page.next_row()
            FORM.put_answer(page, name, "BCD")
            page.sheet[f"C{page.row}"].alignment = Alignment(horizontal="left")
    page.skip()
    page.heading("B:C", "Inputs as used: the default where one is blank, an error where it is out of its limits")
    FORM.put_used(page, ("line_count", "prices"), _PROBLEMS)
    page.print_to("D")


def _fill_in_sheet(book: Workbook, shop: Shop | None) -> None:
    page = add_page(book, "Fill in", table_widths(LINES), landscape=True)
    sheet = page.sheet
    sheet.page_setup.fitToHeight = 0
    page.title("Quotation")
    page.remark("Fill the framed cells; those marked * are needed. One row a part and quantity; a row with a blank part is another quantity of the line above.")
    page.next_row(30)
    FORM.put_status(page, "B:I", "quotation")
    layout.keep_in_view(sheet, f"A{page.row + 1}")
    page.skip()
    right = page.beside(page.row)
    groups = list(INPUTS.items())
    for here, columns, titles in ((page, ("B", "C:E", "F"), groups[:2]), (right, ("G", "I:L", "M"), groups[2:])):
        for title, items in titles:
            here.heading(f"{columns[0]}:{columns[2]}", title)
            for item in items:
                here.next_row()
                here.put(columns[0], item.label, size=10)
                _framed(here, item, columns[1], _of_the_shop(shop, item.name))
                here.put(columns[2], item.unit if item.unit == "days" else None, size=9, color=layout.SOFT, indent=1)
    page.row = max(page.row, right.row)
    page.skip()
    for answer in ANSWERS:
        page.next_row()
        page.put("B", answer.label)
        FORM.put_value(page, answer.name, "C", bold=answer.name == "sum_total")
    page.skip()
    FORM.put_checks(page, CHECKS)
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
    """A page for the customer to print from the spreadsheet. Its rows are as many as the table's; what stands below a table goes above."""
    page = add_page(book, "Page", {"A": 1.5, "B": 5, "C": 58, "D": 12, "E": 13, "F": 14}, landscape=False)
    sheet = page.sheet
    sheet.page_setup.fitToHeight = 0
    page.next_row(24)
    page.put("B:F", _shown("seller"), size=16, bold=True, color=layout.ACCENT)
    for name in ("seller_address", "seller_contact"):
        page.next_row()
        page.put("B:F", _shown(name), color=layout.SOFT)
    page.skip()
    page.next_row(26)
    page.put("B:F", '="Quotation"&IF(quote_number="",""," "&quote_number)', size=18, bold=True)
    page.next_row(30)
    ready = page.put("B:F", f'=IF(LEFT(quotation_status,{len(STOP)})="{STOP}","{STOP}  Not ready to send: see the sheet Fill in.","")', bold=True,
                     color=layout.ACCENT, wrap=True).partition(":")[0]
    left = (_shown("customer"), _shown("customer_address"), '=IF(attention="","","Attention: "&attention)')
    right = (("Date", _shown("quote_date")), ("Valid until", "=quotation_valid_said"), ("Reference", _shown("reference")))
    for text, (label, formula) in zip(left, right, strict=True):
        row = page.next_row(27)
        page.put("B:C", text, wrap=True)
        page.put("D", f'=IF(E{row}="","","{label}")', color=layout.SOFT, wrap=True)
        page.put("E:F", formula, wrap=True)
        if label != "Reference":
            sheet[f"E{row}"].number_format = "yyyy-mm-dd"
    said = "&".join(f'IF({name}="","","{label}: "&{name}&CHAR(10))' for label, name in (
        ("Delivery", "delivery"), ("Terms", "terms"), ("Tax", "tax_wording"), ("Remark", "remark"), ("Notes", "quotation_notes")))
    page.next_row(135)
    page.put("B:F", f"={said}", wrap=True)
    page.next_row(18)
    for column, formula in (("B", "No."), ("C", "Part"), ("D", "Quantity"), ("E", _with_currency("Price")), ("F", _with_currency("Total"))):
        page.put(column, formula, bold=True, color=layout.ACCENT, align="left" if column in "BC" else "right")
        sheet[f"{column}{page.row}"].border = Border(bottom=Side(style="medium", color=layout.ACCENT))
    sheet.print_title_rows = f"{page.row}:{page.row}"
    stopped = f"$B${ready[1:]}<>\"\""
    for row in range(1, ROWS + 1):
        page.next_row(26)
        cells = {name: _cell(book, f"line_{name}", row) for name in (c.name for c in LINES.columns)}
        total, number = _cell(book, "quotation_line_total", row), _cell(book, "quotation_line_number", row)
        facts = "&".join(f'IF({cells[name]}="","",", {words}"&{cells[name]})' for name, words in (
            ("part_number", ""), ("drawing", "drawing "), ("revision", "revision "), ("material", ""), ("certificate", ""), ("remark", "")))
        once = "&".join(f'IF({cells[name]}="","",", {words} once "&{fixed_text(cells[name], 2)})' for name, words in (("setup", "set-up"), ("tooling", "tooling")))
        lead = f'IF({cells["lead_time"]}="","",IF({cells["part"]}="","",", ")&"lead time "&{cells["lead_time"]})'
        per = f'IF(OR({cells["priced_per"]}="",{cells["priced_per"]}="part"),"",IF({cells["part"]}="","",", ")&"price for "&{cells["priced_per"]})'
        blank = f'IF({stopped},"",'
        page.put("B", f'={blank}IF({cells["part"]}="","",{number}))')
        page.put("C", f'={blank}{cells["part"]}&{facts}&{once}&{per}&{lead})', size=9, wrap=True)
        page.put("D", f'={blank}IF({cells["quantity"]}="","",{cells["quantity"]}))', align="right", number="count")
        page.put("E", f'={blank}IF({cells["price"]}="","",{cells["price"]}))', align="right", number="price", bold=True)
        page.put("F", f'={blank}IF({total}=0,"",{total}))', align="right", number="money")
    for label, name in (("Freight", "freight_line"), ("Total", "sum_total")):
        page.next_row(18)
        page.put("F", f'=IF({stopped},"",quotation_{name})', align="right", number="money", bold=True)
        page.put("C", f'=IFERROR(IF(F{page.row}="","","{label}"),"")', bold=True)
    page.print_to("F")


def _cell(book: Workbook, name: str, row: int) -> str:
    """The reference of the n-th cell of a named column."""
    sheet, _, cells = str(book.defined_names[name].attr_text).rpartition("!")
    _, column, first = cells.partition(":")[0].split("$")
    return f"{sheet}!${column}${int(first) + row - 1}"


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
    return "" if value is None else f"{value:.15g}" if isinstance(value, float) else " ".join(str(value).split())


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
    terminal=Terminal((TerminalColumn("Lines", lambda line: number_shown(line.get("line_count"))), TerminalColumn("Checks", status_word, right=False))),
    help="",
    for_customer=ForCustomer((*FORM.inputs, *(i.name for i in LINES.inputs())),
                             ("freight_line", "valid_said", "paper_said", *(LINES.row_name(n, "total") for n in range(1, ROWS + 1))), _said),
)
