"""The sheets of a quote: costing, operations, prices, and the page for the customer."""

from openpyxl import Workbook
from openpyxl.chart import Reference, ScatterChart, Series
from openpyxl.chart.marker import Marker
from openpyxl.styles import Alignment, Border, Font, Side

from barfuncs.templates import layout
from barfuncs.templates.cell_text import UNIT_SUFFIX, fixed_text, number_text
from barfuncs.templates.form import put_framed, table_widths
from barfuncs.templates.model import LOOK, STOP
from barfuncs.templates.page import Page, add_page
from barfuncs.templates.quote.brackets import BRACKETS
from barfuncs.templates.quote.checks import CHECKS
from barfuncs.templates.quote.costs import COSTING, WHAT_IFS
from barfuncs.templates.quote.form import FORM
from barfuncs.templates.quote.inputs import BREAKS, CYCLE_INPUTS, INPUTS, LETTER, MORE_COSTS, QUANTITIES, TOOL, WHAT_IF
from barfuncs.templates.quote.more_costs import PROCESSES
from barfuncs.templates.quote.operations import OPERATIONS
from barfuncs.templates.shop import Shop
from barfuncs.templates.shop_sheet import put_worked_out_with


def costing_sheet(book: Workbook, shop: Shop | None) -> None:
    """Two stacks side by side: inputs, and answers with the checks."""
    page = add_page(book, "Costing", {"A": 1.5, "B": 11.5, "C": 30, "D": 19, "E": 15, "F": 2, "G": 32, "H": 13, "I": 14})
    page.next_row(24)
    page.put("B:D", "Quote: costing", size=18, bold=True, color=layout.ACCENT)
    page.put("G:I", '=IFERROR(IF(job="","",job&"   ")&IF(part_number="","",part_number),"")', size=12, bold=True, shrink=True)
    page.next_row(27)
    FORM.put_status(page, "B:I", "quote")
    page.next_row(18)
    page.put("B:I", "=" + _headline(), size=12, bold=True, color=layout.ACCENT, shrink=True)
    page.remark("Fill the framed cells; those marked * are needed. For the customer print the sheet Quotation "
                "alone, not the workbook.")
    top = page.row
    job, *others = INPUTS.items()
    FORM.put_group(page, *job, "BCDE")
    first = page.row + 1
    for n, item in zip(BREAKS, QUANTITIES, strict=True):
        page.next_row()
        if page.row == first:
            page.put("B", "Quantities, price each", rows=len(QUANTITIES), bold=True, color=layout.ACCENT, wrap=True)
        page.put("C", item.label + (" *" if item.needed else ""))
        put_framed(page, item, "D")
        price = page.take("E")
        layout.style_answer(page.sheet, price, "price", bold=True)
        page.sheet[price].value = f'=IF(ISBLANK(quantity_{n}),"",quote_price_{n})'
    layout.overline(page.sheet, "BC", first)
    page.name_rows("quote_quantities", "D", first)
    layout.quiet_errors(page.sheet, f"E{first}:E{page.row}")
    for title, items in others:
        FORM.put_group(page, title, items, "BCDE")
    right = page.beside(top)
    FORM.put_answers(right, COSTING, "GHI", size=10)
    layout.quiet_errors(page.sheet, f"H{top + 2}:H{right.row + 1}")
    FORM.show_checks(right, CHECKS, "G:I", short=2, long=4)
    page.row = max(page.row, right.row)
    page.next_row()
    page.put("B", "Times and prices are for planning. Before parts are made, the machine's manual, the shop's "
                  "rules, local codes and licensed engineers come first.", italic=True, color=layout.SOFT, size=9)
    put_worked_out_with(page, shop)
    for line in range(top, page.row + 1):
        page.sheet.row_dimensions[line].height = layout.CLOSE
    page.print_to("I")
    layout.keep_in_view(page.sheet, "A4")


def _headline() -> str:
    """Cell expression: quantities and the price each, in one line; what is not known yet is a dash."""
    pieces = []
    for n in BREAKS:
        price = f"quote_price_{n}"
        shown = fixed_text(price, f"2+2*(ROUND({price},2)<>ROUND({price},4))")
        pieces.append(f'IF(ISBLANK(quantity_{n}),"",IFERROR({fixed_text(f"use_quantity_{n}", 0)},"-")&" at "&IFERROR({shown},"-")&"     ")')
    return "&".join(pieces)


_WHAT_EACH_NEEDS = (
    "turning: start diameter, length, surface speed, feed. boring: the finished bore as the start diameter, the largest that is cut. reaming: likewise.",
    "taper turning: the larger end as the start diameter, the smaller as the end diameter, length along the axis.",
    "facing, grooving and cut-off: start and end diameter (0 = to the center), surface speed, feed, max. speed.",
    '="A bar that is not round starts at its corners"&IFERROR(IF(quote_across_corners>use_size*(1+1E-9),": this one at "&'
    f'{number_text("quote_across_corners", 3)}&{UNIT_SUFFIX},""),"")&"."',
    "drilling: start diameter = the drill's, length = full depth (a 118 degree point is added), surface speed, feed.",
    "threading: start diameter, length with run-in and run-out, surface speed, feed = the pitch, passes. tapping: the same; out again as it went in.",
    "knurling, milling, cross drilling, other: extra time alone. Extra time counts for each pass. Max. speed, where given, holds for all.",
    "Spindle: with cuts at the second one the longer side counts, and the hand-over. Rapid moves and bar feed count at the main spindle.",
    "Tool changes: as many as rows with a tool (all but other), unless typed. A clamp or hand-over comes on top of both sides.",
    "Edges: parts per edge as you counted them. An idea stands in for turning, boring and facing where constants of tool life are known.",
    "Suggested speeds and feeds come from the sheet Speeds, for the material's group: where to start, and yours to change there.",
    "Usual passes: for external threads with a single-point tool, as published by a maker of such tools.",
    "Never above the speed limits of workholding, feeder and bar; the machine's manual comes first.",
)


_CYCLE = ("cutting_time", "main_changes", "second_changes", "feed_each", "main_side", "second_side", "edge_change_each", "listed_cycle", "cycle", "tool_each")


def operations_sheet(book: Workbook) -> None:
    page = add_page(book, "Operations", table_widths(OPERATIONS), landscape=True)
    sheet = page.sheet
    page.title("Operation list")
    page.remark("One row for each operation of one part, in any order; leave the rest blank. The cycle time below "
                "counts unless one is filled in on the sheet Costing.")
    page.skip()
    last = FORM.put_table(page, OPERATIONS)
    top = page.row - OPERATIONS.rows + 1
    page.skip()
    right = page.beside(page.row)
    page.heading("B:F", "Cycle time")
    for item in (TOOL, *CYCLE_INPUTS):
        page.next_row()
        FORM.put_input(page, item.name, "BEF")
    first = page.row + 1
    for name in _CYCLE:
        answer = FORM.answers[name]
        page.next_row()
        page.put("B", answer.label, bold=name == "cycle")
        ref = page.take("E")
        layout.style_answer(sheet, ref, answer.number)
        sheet[ref].value = f"=quote_{name}"
        page.put("F", {"seconds": "s"}.get(answer.unit, answer.unit), color=layout.SOFT, size=9, indent=1)
    layout.quiet_errors(sheet, f"E{first}:E{page.row}")
    right.heading(f"H:{last}", "What each operation needs")
    for text in _WHAT_EACH_NEEDS:
        right.next_row()
        right.put("H", text, size=9)
    page.row = max(page.row, right.row) + 1
    page.print_to(last)
    layout.keep_in_view(sheet, f"D{top}", zoom=85)


_LINES = ("parts_to_make", "sure", "bars", "bought", "material_cost", "rack_value", "scrap_credit", "machine_cost", "setup_cost", "other_cost", "tool_cost",
          "process_cost", "inspection_cost", "packing_cost", "order_cost", "cost_each", "margin", "price", "shown", "total", "value")
_STRONG = ("order_cost", "price", "value")


_AT_A_QUANTITY = (("E", "Quantity", ""), ("F", "Inspected", "inspected"), ("G", "of it sample", "sample"), ("H", "Accept up to", "accepted"),
                  ("I", "Boxes", "boxes"))
_MORE_REMARKS = (
    "A row costs the larger of its minimum and its rate times the parts, their weight, surface or hours, or the lot. Freight comes on top. No row, no cost.",
    "By weight the finished part counts (sheet Costing); where that is blank, the bar over the part's length.",
    "Sample: ISO 2859-1, single sampling, normal inspection. An AQL between two of the standard counts as the lower one. First parts and one in",
    "so many are counted of all parts that are made.",
)


_BRACKET_REMARKS = (
    "Price brackets, where the supplier has them: from a row's quantity on its price stands in for the material price of the sheet Costing, for all that is",
    "bought, at each quantity and in the what-ifs; below the first row the material price holds. They cost: bars and surcharge of the fewest bars.",
)


def more_costs_sheet(book: Workbook) -> None:
    page = add_page(book, "More costs", table_widths(PROCESSES), landscape=True)
    sheet = page.sheet
    page.title("More costs")
    page.remark("Outside work, price brackets, inspection, packing, and how the price is shown. What is left blank costs nothing; "
                "what it all costs at each quantity stands on the sheet Prices.")
    page.skip()
    last = FORM.put_table(page, PROCESSES)
    for text in _MORE_REMARKS:
        page.next_row()
        page.put("B", text, size=9, color=layout.SOFT)
    page.skip()
    FORM.put_table(page, BRACKETS)
    for text in _BRACKET_REMARKS:
        page.next_row()
        page.put("B", text, size=9, color=layout.SOFT)
    page.skip()
    right = page.beside(page.row)
    FORM.put_inputs(page, MORE_COSTS, "BCD")
    right.heading(f"E:{last}", "What is inspected and packed")
    right.next_row()
    for column, head, _ in _AT_A_QUANTITY:
        right.put(column, head, size=9, color=layout.SOFT, align="left" if column == last else "right", indent=int(column == last))
    first = right.row + 1
    for n in BREAKS:
        right.next_row()
        for column, _, name in _AT_A_QUANTITY:
            if name:
                ref = FORM.put_value(right, f"{name}_{n}", column)
            else:
                ref = right.take(column)
                layout.style_answer(sheet, ref, "count")
                sheet[ref].value = f'=IF(ISBLANK(quantity_{n}),"",use_quantity_{n})'
            if column == last:
                sheet[ref].alignment = Alignment(horizontal="left", vertical="center", indent=1)
    shown = f"F{first}:{last}{right.row}"
    # One rule, and without a name: the engine works rules out too, each time.
    sheet.conditional_formatting.add(shown, layout.rule_where(f'$E{first}=""', font=Font(color=layout.GROUND), stopIfTrue=True))
    layout.quiet_errors(sheet, shown)
    right.skip()
    right.next_row()
    right.put("E", "Parts in a box")
    layout.quiet_errors(sheet, FORM.put_value(right, "parts_in_box", "H"))
    right.skip()
    _what_is_bought(right, last)
    page.row = max(page.row, right.row)
    page.print_to(last)


def _what_is_bought(page: Page, last: str) -> None:
    """What each quantity buys, and the price that holds for it; nothing where there are no brackets."""
    sheet, columns = page.sheet, ("F", "G", "H")
    page.heading(f"E:{last}", "What each quantity buys, where there are price brackets")
    page.next_row()
    for column, head in zip(("E", *columns), ("Quantity", "Buys", "Price used", "Costs"), strict=True):
        page.put(column, head, size=9, color=layout.SOFT, align="right")
    first = page.row + 1
    for n in BREAKS:
        page.next_row()
        ref = page.take("E")
        layout.style_answer(sheet, ref, "count")
        sheet[ref].value = f'=IF(IFERROR(quote_brackets_used,0)=0,"",IF(ISBLANK(quantity_{n}),"",use_quantity_{n}))'
        for column, name in zip(columns, ("buys", "material_at", "bars_cost"), strict=True):
            FORM.put_value(page, f"{name}_{n}", column)
        page.put(last, f'=IF(IFERROR(quote_cheaper_{n},0)>0,"{LOOK} more bars cost less in total","")', size=9, bold=True, color=layout.ACCENT, indent=1)
    shown = f"F{first}:H{page.row}"
    sheet.conditional_formatting.add(shown, layout.rule_where(f'$E{first}=""', font=Font(color="FFFFFF"), stopIfTrue=True))
    layout.quiet_errors(sheet, shown)


def prices_sheet(book: Workbook) -> None:
    page = add_page(book, "Prices", {"A": 1.5, "B": 35, **dict.fromkeys("CDEFGH", 14.5), "I": 10}, landscape=True)
    sheet, columns = page.sheet, dict(zip(BREAKS, "CDEFGH", strict=True))
    page.title("Price by quantity")
    page.next_row(28)
    page.put("B:I", "=quote_status", bold=True, wrap=True)
    page.skip()
    page.heading("B:I", "Cost and price of an order")
    layout.put(sheet, f"I{page.row}", "=quote_currency_shown", color=layout.SOFT, indent=1, shrink=True)
    page.next_row()
    first = page.row + 1
    page.put("B", "Quantity", bold=True)
    for n, column in columns.items():
        ref = page.take(column)
        layout.style_answer(sheet, ref, "count", bold=True)
        sheet[ref].value = f'=IF(ISBLANK(quantity_{n}),"",use_quantity_{n})'
    price_row, top = 0, page.row + 1
    for name in _LINES:
        page.next_row()
        page.put("B", FORM.answers[f"{name}_1"].label.removesuffix(" at quantity 1"), bold=name in _STRONG)
        price_row = page.row if name == "price" else price_row
        for n, column in columns.items():
            FORM.put_value(page, f"{name}_{n}", column, bold=name in _STRONG)
    page.next_row()
    page.put("B", "Note")
    for n, column in columns.items():
        page.put(column, f'=IF(IFERROR(quote_costs_more_{n},0)>0,"{LOOK} costs more each","")', size=9, bold=True,
                 color=layout.ACCENT, align="right")
    page.skip()
    page.heading("B:I", "The same bars used up")
    for name, label in (("whole", "Most good parts from these bars"), ("cost_each_whole", "Cost each"),
                        ("price_whole", "Price each"), ("total_whole", "Order total")):
        page.next_row()
        page.put("B", label, bold=name == "price_whole")
        for n, column in columns.items():
            FORM.put_value(page, f"{name}_{n}", column, bold=name == "price_whole")
    # A quantity that is not asked for leaves its column blank. One rule, and without a name: the engine works rules out too.
    shown = f"C{first}:H{page.row}"
    sheet.conditional_formatting.add(shown, layout.rule_where(f'C${first - 1}=""', font=Font(color=layout.GROUND), stopIfTrue=True))
    layout.quiet_errors(sheet, shown)
    page.skip()
    page.heading("B:F", "What if, before rounding")
    beside = page.beside(page.row)
    page.next_row()
    FORM.put_input(page, WHAT_IF.name, "BCD")
    page.next_row()
    for column, head in zip("CDEF", ("Price each", "Change", "Change in %", "Bars to buy"), strict=True):
        page.put(column, head, size=9, color=layout.SOFT, align="right")
    first = page.row
    for tag, (label, _) in WHAT_IFS.items():
        page.next_row()
        page.put("B", label)
        FORM.put_value(page, f"price_if_{tag}", "C")
        sheet[FORM.put_value(page, f"change_{tag}", "D")].number_format = "+#,##0.0000;-#,##0.0000;0"
        sheet[FORM.put_value(page, f"change_share_{tag}", "E")].number_format = "+0.0%;-0.0%;0.0%"
        sheet[FORM.put_value(page, f"bars_said_{tag}", "F")].alignment = Alignment(horizontal="right", vertical="center", shrink_to_fit=True)
    layout.quiet_errors(sheet, f"C{first + 1}:F{page.row}")
    _price_chart(beside, price_row)
    page.row = max(page.row, beside.row + 14)
    page.print_to("I")
    layout.keep_in_view(sheet, f"C{top}")


def _price_chart(page: Page, price_row: int) -> None:
    """Price each against quantity, from the smallest quantity to the largest whatever the order they are filled in."""
    sheet, row = page.sheet, page.row
    page.put("K", "For the chart", size=9, color=layout.SOFT)
    below = page.beside(row)
    below.next_row()
    below.put("K", "quantity", size=9, color=layout.SOFT)
    below.put("L", "price each", size=9, color=layout.SOFT)
    first = below.row + 1
    for n in BREAKS:
        line = below.next_row()
        for column, formula in (("K", f"=IF(ISERROR(SMALL(quote_quantities,{n})),NA(),SMALL(quote_quantities,{n}))"),
                                ("L", f"=INDEX($C${price_row}:$H${price_row},1,MATCH(K{line},quote_quantities,0))")):
            ref = below.take(column)
            sheet[ref].value = formula
            sheet[ref].font = layout.font(9, color=layout.SOFT)
    last = below.row
    layout.quiet_errors(sheet, f"K{first}:L{last}")
    chart = ScatterChart()
    chart.style = 2
    chart.scatterStyle = "lineMarker"
    series = Series(Reference(sheet, min_col=12, min_row=first, max_row=last),
                    Reference(sheet, min_col=11, min_row=first, max_row=last), title="Price each")
    series.marker = Marker("circle", size=8)
    series.marker.graphicalProperties.solidFill = layout.ACCENT
    series.marker.graphicalProperties.line.solidFill = layout.INK
    series.graphicalProperties.line.solidFill = layout.INK
    series.graphicalProperties.line.width = 15875
    series.smooth = False
    chart.series.append(series)
    chart.legend = None
    chart.x_axis.title, chart.y_axis.title = "Quantity", "Price each"
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.scaling.min = chart.y_axis.scaling.min = 0
    chart.x_axis.number_format, chart.y_axis.number_format = "#,##0", "#,##0.00"
    chart.x_axis.majorGridlines = None
    chart.width, chart.height = 7.3, 6.6  # type: ignore[assignment]
    sheet.add_chart(chart, page.take("G:I", 15).partition(":")[0])


def customer_sheet(book: Workbook) -> None:
    """One page for the customer. What is filled in for it stands beside the page, outside what is printed."""
    page = add_page(book, "Quotation", {"A": 1.5, "B": 22, "C": 20, "D": 20, "E": 26, "F": 3, "G": 22, "H": 44, "I": 4})
    sheet, aside = page.sheet, page.beside(1)
    layout.goes_to_customer(sheet)
    aside.heading("G:I", "Fill in for this page (not printed)")
    for item in LETTER:
        aside.next_row()
        FORM.put_input(aside, item.name, "GHI")
        sheet[f"H{aside.row}"].number_format = "yyyy-mm-dd" if item.name in ("quote_date", "valid_until") else "General"
    aside.next_row(30)
    blanks = {"customer": "customer", "quote_number": "number", "quote_date": "date", "quote_currency_shown": "currency"}
    blank = "&".join(f'IF({name}="",", {word}","")' for name, word in blanks.items())
    aside.put("G:H", f'=IF(quote_problems<>"","",IF(LEN({blank})>0,"{LOOK}  Blank on this page: "'
                     f'&MID({blank},3,60)&".",""))', bold=True, color=layout.ACCENT, wrap=True)
    aside.next_row()
    aside.put("G", "Print or export this sheet alone, then send that: the workbook holds your costs.", bold=True, color=layout.ACCENT)
    page.next_row(24)
    page.put("B:E", "=quote_seller_said", size=16, bold=True, color=layout.ACCENT, shrink=True)
    for name in ("seller_address", "seller_contact"):
        page.next_row()
        page.put("B:E", f"=quote_{name}_said", color=layout.SOFT, shrink=True)
    page.skip()
    page.next_row(26)
    page.put("B", "Quotation", size=18, bold=True)
    page.next_row(44)
    ready = page.put("B:E", f'=IF(quote_problems<>"","{STOP}  Not ready to send. Fill in or correct: "&LEFT(quote_problems,'
                            f'LEN(quote_problems)-2)&".",IF(LEFT(quote_status,{len(STOP)})="{STOP}","{STOP}  Not ready to send: '
                            'see the sheet Costing.",""))', bold=True, color=layout.ACCENT, wrap=True).partition(":")[0]
    facts = (("Number", _shown("quote_number")), ("Date", _shown("quote_date")), ("Valid until", "=quote_valid_said"),
             ("Customer", _shown("customer")), ("Address", _shown("customer_address")), ("Attention", _shown("attention")),
             ("Your reference", _shown("reference")), ("Part", _shown("part_description")), ("Part number", _shown("part_number")),
             ("Drawing", '=IF(drawing="","",drawing&IF(revision="",""," revision "&revision))'),
             ("Material", "=quote_material_said"), ("Certificates", _shown("certificate_line")), ("Lead time", _shown("lead_time")))
    for label, formula in facts:
        row = page.next_row(30 if label in ("Address", "Part", "Material", "Certificates") else 17)
        page.put("B", f'=IF(C{row}="","","{label}")', size=11, color=layout.SOFT, wrap=True)
        page.put("C:E", formula, size=11, wrap=True)
        if label in ("Date", "Valid until"):
            sheet[f"C{row}"].number_format = "yyyy-mm-dd"
    page.skip()
    page.next_row()
    money = 'IF(quote_currency_shown="","",", "&quote_currency_shown)'
    each = 'IFERROR(IF(use_priced_per="part","Price each","Price for "&use_priced_per),"Price each")'
    total = 'IFERROR(IF(LEN(quote_value_said)>0,"Order total","Total"),"Total")'
    for column, head in (("B", '="Quantity"'), ("C", f"={each}&{money}"), ("D", f"={total}&{money}"),
                         ("E", '=IFERROR(IF(use_offer_whole_bars="yes","From the same bars",""),"")')):
        ref = page.put(column, head, size=11, bold=True, color=layout.ACCENT, align="right", shrink=True)
        sheet[ref].border = Border(bottom=Side(style="medium", color=layout.ACCENT))
    first = page.row + 1
    for n in BREAKS:
        page.next_row(20)
        wanted = f'IF(OR(ISBLANK(quantity_{n}),$B${ready[1:]}<>""),"",'
        for column, formula, number in (("B", f"use_quantity_{n}", "count"), ("C", f"quote_shown_{n}", "price"),
                                        ("D", f"quote_value_{n}", "money"), ("E", f"quote_offer_{n}", "text")):
            page.put(column, f"={wanted}{formula})", size=11, align="right", number=number, bold=column == "C")
    layout.quiet_errors(sheet, f"B{first}:E{page.row}")
    for label, name in (("Set-up, once", "setup_line"), ("Tooling, once", "tooling_line"), ("Freight, once", "freight_line")):
        page.next_row()
        row = page.row
        said = "quote_freight_line" if name == "freight_line" else f'IF(quote_{name}>0,quote_{name},"")'
        page.put("D", f'=IF($B${ready[1:]}<>"","",{said})', size=11, align="right", number="money")
        page.put("B", f'=IFERROR(IF(D{row}="","","{label}"),"")', size=11, align="right")
    page.next_row()
    page.put("B:E", f'=IF($B${ready[1:]}<>"","",quote_value_said)', size=9, color=layout.SOFT, shrink=True)
    layout.quiet_errors(sheet, f"B{page.row}")
    for label, formula, height in (("Delivery", _shown("delivery"), 28), ("Terms", "=quote_terms_said", 42), ("Tax", "=quote_tax_wording_said", 28),
                                   ("Remark", _shown("remark"), 70), ("Notes", "=quote_quotation_notes_said", 42)):
        row = page.next_row(height)
        page.put("B", f'=IF(C{row}="","","{label}")', color=layout.SOFT, wrap=True)
        page.put("C:E", formula, wrap=True)
    page.next_row()
    page.print_to("E")


def _shown(name: str) -> str:
    return f'=IF(ISBLANK({name}),"",{name})'
