"""Template quote: cycle time from an operation list, cost build-up at six quantities, what-ifs, a page for the customer."""

import dataclasses
import functools
from collections.abc import Iterable, Mapping
from typing import Any

from openpyxl import Workbook
from openpyxl.chart import Reference, ScatterChart, Series
from openpyxl.chart.marker import Marker
from openpyxl.styles import Border, Font, Side
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs import kinds
from barfuncs.catalogue import CATALOGUE
from barfuncs.glossary import ARGUMENTS
from barfuncs.workbooks import layout, speeds_sheet
from barfuncs.workbooks.bar_order import (
    ACROSS_CORNERS,
    BAR,
    BAR_WEIGHT,
    DENSITY,
    EACH_WEIGHT,
    JOB,
    LATHE,
    MATERIAL,
    MATERIAL_CAUTION,
    MATERIAL_NAME,
    MATERIAL_ROW,
    NO_WHOLE_PART,
    OWN_PROBLEMS,
    PART,
    PART_TOO_HEAVY,
    PRICE,
    SECTION,
    SECTION_AREA,
    SECTION_WEIGHT,
    SETTING_RATE,
    SIZE_TEXT,
    TOO_WIDE,
    WEIGHT_PER_LENGTH,
    WHOLE_PARTS,
    YIELD,
)
from barfuncs.workbooks.form import (
    LOOK,
    NOTE,
    OK,
    STOP,
    UNIT_SUFFIX,
    Answer,
    Check,
    Form,
    Input,
    length_text,
    make_input,
    number_text,
    put_framed,
    unit_text,
)
from barfuncs.workbooks.materials_sheet import materials_sheet
from barfuncs.workbooks.notes_sheet import notes_sheet
from barfuncs.workbooks.package import pack
from barfuncs.workbooks.sheetxml import CellError
from barfuncs.workbooks.shop import Shop
from barfuncs.workbooks.shop_sheet import LARGEST_SIZE, MACHINE_ROW, PROBLEMS, SHOP_PROBLEMS, shop_sheet
from barfuncs.workbooks.speeds_sheet import suggestion

BREAKS = range(1, 7)
OPERATIONS = range(1, 13)
OPERATION_COLUMNS = {"operation": "Operation", "start_diameter": "Start dia.", "end_diameter": "End dia.", "length": "Length",
                     "surface_speed": "Surface speed", "feed_rate": "Feed per rev.", "top_speed": "Max. speed",
                     "passes": "Passes", "extra_time": "Extra time"}


def _needed(items: Iterable[Input], *names: str) -> tuple[Input, ...]:
    """What a plan can do without and a quote can't."""
    return tuple(dataclasses.replace(i, needed=True) if i.name in names else i for i in items)


INPUTS: dict[str, tuple[Input, ...]] = {
    "Job": (
        *JOB,
        make_input("drawing", "Drawing number", kinds.Text, help_text="number of the drawing that the quote is for"),
        make_input("revision", "Revision", kinds.Text, help_text="revision of that drawing"),
    ),
    "Bar": tuple(i for i in BAR if i.name != "longest_random_bar"),
    "Part": (
        *PART,
        make_input("scrap_rate", "Scrap rate", kinds.ScrapRate, 0, from_shop=True),
        make_input("setup_parts", "Set-up pieces", kinds.Count, 0, unit="parts"),
    ),
    "Lathe": (
        *_needed((i for i in LATHE if i.name != "feeder_bars"), "machine_rate"),
        make_input("top_speed", "Max. speed", kinds.SpindleSpeed, from_shop=True, unit="rpm",
                   help_text="where an operation has none of its own: highest spindle speed that machine, workholding and bar allow"),
    ),
    "Material price": _needed(PRICE, "material_price", "price_per"),
    "Other costs and price": (
        make_input("other_per_part", "Other costs each good part", kinds.Money, 0, unit="each", from_shop=True),
        make_input("other_per_order", "Other costs of the order", kinds.Money, 0, unit="order", from_shop=True),
        make_input("tooling", "Tooling of this order", kinds.Money, 0, unit="order", from_shop=True),
        make_input("margin", "Margin (share of the price)", kinds.Margin, blank=0, from_shop=True,
                   help_text="profit as a share of the price; give this or the markup"),
        make_input("markup", "Markup (share of the cost)", kinds.Markup, blank=0, from_shop=True,
                   help_text="profit as a share of the cost; give this or the margin"),
        make_input("rounding", "Rounding of the price each", kinds.PriceRounding, "nearest 0.01", from_shop=True),
    ),
}
QUANTITIES = tuple(make_input(f"quantity_{n}", f"Quantity {n}", kinds.PositiveCount, needed=n == 1, unit="parts",
                              help_text="good parts to quote") for n in BREAKS)
WHAT_IF = make_input("what_if_quantity", "Quantity for the what-ifs", kinds.PositiveCount, unit="parts",
                     help_text="left blank, the first quantity")
TOOL = make_input("tool", "Cutting edge (for the suggestions)", speeds_sheet.Tool, "carbide", help_text="what the tools' edges are made of")
CYCLE_INPUTS = (
    make_input("tool_changes", "Tool changes", kinds.Count, 0, unit="each"),
    make_input("tool_change_time", "Time of a tool change", kinds.Seconds, 0),
    make_input("rapid_time", "Rapid moves together", kinds.Seconds, 0),
    make_input("bar_feed_time", "Bar feed", kinds.Seconds, 0),
)
_OPERATION_KINDS = (kinds.Operation, kinds.Diameter, kinds.Length, kinds.PositiveLength, kinds.SurfaceSpeed, kinds.FeedRate,
                    kinds.SpindleSpeed, kinds.PositiveCount, kinds.Seconds)
# Tested by the formula of their row, since what an operation needs depends on what it is.
OPERATION_INPUTS = tuple(
    make_input(f"op_{n}_{name}", f"Operation {n}, {head.lower()}", alias, help_text=ARGUMENTS[name])
    for n in OPERATIONS for (name, head), alias in zip(OPERATION_COLUMNS.items(), _OPERATION_KINDS, strict=True))
OPERATION_NOTES = tuple(make_input(f"op_{n}_note", f"Operation {n}, what", kinds.Text, help_text="what is done, in words")
                        for n in OPERATIONS)

LETTER: tuple[Input, ...] = (
    make_input("seller", "Your company", kinds.Text, help_text="your company, as it stands on the customer's page"),
    make_input("seller_address", "Address", kinds.Text, help_text="your address, in one line"),
    make_input("seller_contact", "Contact", kinds.Text, help_text="who to ask: name, telephone, mail"),
    make_input("attention", "For the attention of", kinds.Text, help_text="the customer's person"),
    make_input("quote_number", "Quote number", kinds.Text, help_text="your number of this quote"),
    make_input("quote_date", "Date", kinds.Text, help_text="date of this quote"),
    make_input("valid_until", "Valid until", kinds.Text, help_text="the day on which the prices lapse"),
    make_input("currency", "Currency", kinds.Text, from_shop=True, help_text="symbol or letters of the currency"),
    make_input("part_description", "Part", kinds.Text, help_text="what the part is called"),
    make_input("material_line", "Material", kinds.Text, help_text="left blank, material, shape and size of the bar"),
    make_input("certificate_line", "Certificates", kinds.Text, "Material certificate on request",
               help_text="what comes along: material certificate, inspection report"),
    make_input("delivery", "Delivery", kinds.Text, help_text="when and how you deliver"),
    make_input("terms", "Terms", kinds.Text, "Net 30 days. Prices without tax.",
               help_text="terms of payment and delivery"),
    make_input("remark", "Remark", kinds.Text, help_text="anything else that the customer should read"),
)


def _chain(tag: str, quantity: str, of: str, **other: str) -> tuple[Answer, ...]:
    """The cost build-up of one quantity. `other` says which cells stand for arguments that this one changes."""

    def a(name: str, label: str, number: str, unit: str = "", formula: str = "", calls: str = "", **refs: str) -> Answer:
        return Answer(f"{name}_{tag}", f"{label} {of}", number, unit, formula, calls,
                      tuple({"quantity": quantity, "cycle_time": "cycle", "price": "material_price", **other, **refs}.items()))

    def mine(*names: str) -> dict[str, str]:
        return {name: f"{name}_{tag}" for name in names}

    lines = mine("material_cost", "scrap_credit", "machine_cost", "setup_cost", "other_cost")
    return (
        a("parts_to_make", "Parts to make, on average", "count", "parts", calls="parts_to_make"),
        a("bars", "Bars", "count", "bars", calls="bars_for_quantity"),
        a("cuts", "Saw cuts", "count", formula=f"bars_{tag}*cuts_per_bar"),
        a("material_cost", "Material", "money", "order", calls="material_cost", **mine("bars", "cuts")),
        a("scrap_credit", "Less: chips and remnants sold", "money", "order", calls="order_credit", **mine("parts_to_make", "bars"),
          part_weight="each_weight"),
        a("machine_cost", "Machine time", "money", "order", calls="machine_cost", **mine("parts_to_make")),
        a("setup_cost", "Set-up", "money", "order", calls="setup_cost", setup_rate="setting_rate"),
        a("other_cost", "Other and tooling", "money", "order", calls="other_cost"),
        a("order_cost", "Total cost", "money", "order", calls="order_cost", **lines),
        a("cost_each", "Cost each", "money_each", "each", formula=f"order_cost_{tag}/{quantity}"),
    )


def _priced(tag: str, quantity: str, of: str) -> tuple[Answer, ...]:
    return (
        *_chain(tag, quantity, of),
        Answer(f"price_{tag}", f"Price each {of}", "price", "each", calls="quoted_price",
               refs=(("cost", f"cost_each_{tag}"), ("margin", "margin_counted")), needs=quantity if quantity.startswith("quantity") else ""),
        Answer(f"total_{tag}", f"Order total {of}", "money", "order", calls="order_total",
               refs=(("quantity", quantity), ("price", f"price_{tag}"))),
    )


def _break(n: int) -> tuple[Answer, ...]:
    quantity, of = f"quantity_{n}", f"at quantity {n}"
    return (
        *_priced(str(n), quantity, of),
        Answer(f"whole_{n}", f"Most good parts from these bars {of}", "count", "parts", calls="whole_bar_quantity",
               refs=(("quantity", quantity),)),
        Answer(f"margin_{n}", f"Margin after rounding {of}", "percent", "", calls="margin_of",
               refs=(("price", f"price_{n}"), ("cost", f"cost_each_{n}"))),
    )


WHAT_IFS: dict[str, tuple[str, dict[str, str]]] = {
    "now": ("As it is", {}),
    "cycle": ("Cycle 1 second longer", {"cycle_time": "cycle_longer"}),
    "scrap": ("1 % more scrap", {"scrap_rate": "scrap_more"}),
    "price": ("Material +10 %", {"price": "price_more"}),
    "longer": ("Bar longer by one part", {"bar_length": "bar_longer", "bar_weight": "weight_longer",
                                                      "parts_per_bar": "parts_longer"}),
    "shorter": ("Bar shorter by one part", {"bar_length": "bar_shorter", "bar_weight": "weight_shorter",
                                                        "parts_per_bar": "parts_shorter"}),
    "bar": ("One bar more used up", {}),
}


def _other_bar(tag: str, sign: str) -> tuple[Answer, ...]:
    return (
        Answer(f"bar_{tag}", f"bar {tag} by one part", "length", "length", formula=f"bar_length{sign}bar_per_part"),
        Answer(f"weight_{tag}", f"weight of a bar {tag} by one part", "weight", "weight", formula=f"section_weight*bar_{tag}"),
        Answer(f"parts_{tag}", f"parts of a bar {tag} by one part", "count", "parts", calls="parts_per_bar",
               refs=(("bar_length", f"bar_{tag}"),)),
    )


def _what_if(tag: str) -> tuple[Answer, ...]:
    label, other = WHAT_IFS[tag]
    chain = _chain(f"if_{tag}", "what_if", f"if {label[0].lower()}{label[1:]}", **other)
    if tag == "bar":
        chain = tuple(Answer(a.name, a.label, a.number, a.unit, "bars_if_now+1") if a.name == "bars_if_bar" else a
                      for a in chain)
    return (
        *chain,
        Answer(f"price_if_{tag}", label, "money_each", "each", formula=f"cost_each_if_{tag}/(1-margin_counted)*(1+markup)"),
        Answer(f"change_{tag}", f"Change: {label}", "money_each", "each", formula=f"price_if_{tag}-price_if_now"),
        Answer(f"change_share_{tag}", f"Change in %: {label}", "percent", "", formula=f"change_{tag}/price_if_now"),
    )


_UNITS_KIND = next(i.kind for i in BAR if i.name == "units")


def _operation(n: int) -> tuple[Answer, ...]:
    """The top speed that holds for a row of the operation list, 0 for none, and the row's time."""
    cells = {name: f"op_{n}_{name}" for name in OPERATION_COLUMNS} | {"top_speed": f"quote_op_{n}_limit", "units": "use_units"}
    own = next(i for i in OPERATION_INPUTS if i.name == f"op_{n}_top_speed")
    others = ",".join(f"op_{n}_{name}" for name in list(OPERATION_COLUMNS)[1:])
    time = CATALOGUE["operation_time"].cell_formula(cells, known={"use_units": _UNITS_KIND, f"quote_op_{n}_limit": own.kind})
    return (
        Answer(f"op_{n}_limit", f"Max. speed of operation {n}", "count", "rpm",
               f"IF(ISBLANK({own.name}),IF(ISBLANK(top_speed),0,top_speed),{own.used_formula()})"),
        Answer(f"op_{n}_time", f"Time of operation {n}", "general", "seconds",
               f"IF(ISBLANK(op_{n}_operation),IF(COUNTA({others})=0,0,NA()),{time})"),
    )


OPERATION_LOOKS = Answer("operation_looks", "rows of the operation list that do not look like this part", "count",
                         formula='COUNTIF(operation_marks,"!*")')
CYCLE = (
    Answer("cutting_time", "Operations", "rate", "seconds", formula="+".join(f"op_{n}_time" for n in OPERATIONS)),
    Answer("listed_cycle", "Cycle time from the operation list", "rate", "seconds",
           formula="IF(cutting_time>0,CYCLE_TIME_OF(cutting_time,tool_changes,tool_change_time,rapid_time,bar_feed_time),NA())"),
    Answer("cycle", "Cycle time used", "rate", "seconds", formula="IF(ISBLANK(cycle_time),listed_cycle,cycle_time)"),
)
STEPS = (
    MATERIAL_ROW,
    MATERIAL_NAME,
    OWN_PROBLEMS,
    MATERIAL_CAUTION,
    speeds_sheet.MATERIAL_GROUP,
    MACHINE_ROW,
    LARGEST_SIZE,
    SHOP_PROBLEMS,
    ACROSS_CORNERS,
    DENSITY,
    SECTION_AREA,
    SECTION_WEIGHT,
    Answer("each_weight", "weight of a finished part", "weight_per_length", "weight",
           formula=EACH_WEIGHT),
    Answer("gross_weight", "weight of what one part uses of the bar", "weight_per_length", "weight",
           formula="section_weight*bar_per_part"),
    Answer("trim_weight", "weight of one end trim", "weight_per_length", "weight", formula="section_weight*end_trim"),
    Answer("currency_shown", "currency on the quote", "text",
           formula='IF(ISBLANK(currency),IF(shop_currency="","$",shop_currency),currency)'),
    SETTING_RATE,
    Answer("margin_counted", "margin, where either margin or markup is given", "percent",
           formula="IF(OR(AND(ISBLANK(margin),ISBLANK(markup)),margin*markup>0),NA(),margin)"),
    Answer("what_if", "quantity for the what-ifs", "count", "parts",
           formula="IF(ISBLANK(what_if_quantity),quantity_1,what_if_quantity)"),
    Answer("cycle_longer", "cycle time and 1 second", "rate", "seconds", formula="cycle+1"),
    Answer("scrap_more", "scrap rate and 1 %", "percent", "", formula="scrap_rate+0.01"),
    Answer("price_more", "price of the material and 10 %", "money_each", "price_per", formula="material_price*1.1"),
    *_other_bar("longer", "+"),
    *_other_bar("shorter", "-"),
)
BREAK_ANSWERS = {n: _break(n) for n in BREAKS}
# The same bars, used up: what a part would cost if all of them were ordered.
WHOLE_ANSWERS = {n: _priced(f"whole_{n}", f"whole_{n}", f"for all parts of the bars at quantity {n}") for n in BREAKS}
COSTS_MORE = (
    *(Answer(f"costs_more_{n}", f"smaller quantities that cost less each than quantity {n}", "count", formula="+".join(
        f"IF(OR(ISBLANK(quantity_{m}),ISBLANK(quantity_{n})),0,(quantity_{m}<quantity_{n})*(cost_each_{m}<cost_each_{n}*(1-1E-9)))"
         for m in BREAKS if m != n)) for n in BREAKS),
    Answer("costs_more", "pairs of quantities of which the larger costs more each", "count",
           formula="+".join(f"costs_more_{n}" for n in BREAKS)),
)
PRICE_CHECKS = (
    Answer("price_is_nothing", "quantities whose price each is 0", "count",
           formula="+".join(f"IF(ISBLANK(quantity_{n}),0,--(price_{n}=0))" for n in BREAKS)),
    Answer("below_cost", "quantities whose price each is below the cost", "count",
           formula="+".join(f"IF(ISBLANK(quantity_{n}),0,(price_{n}<cost_each_{n}*(1-1E-9))*(margin+markup>0))" for n in BREAKS)),
)
WHAT_IF_ANSWERS = {tag: _what_if(tag) for tag in WHAT_IFS}
COSTING = {"Bar": (*YIELD, WEIGHT_PER_LENGTH, BAR_WEIGHT), "Cycle time": CYCLE}

FORM = Form("quote_", (i for group in (*INPUTS.values(), QUANTITIES, (WHAT_IF, TOOL), CYCLE_INPUTS, LETTER) for i in group),
            (a for group in (*COSTING.values(), STEPS, *(_operation(n) for n in OPERATIONS), *BREAK_ANSWERS.values(),
                             *WHOLE_ANSWERS.values(), *WHAT_IF_ANSWERS.values(), COSTS_MORE, PRICE_CHECKS, (OPERATION_LOOKS,)) for a in group))
RESULTS = ("parts_per_bar", "bar_weight", "cycle",
           *(f"{name}_{n}" for n in BREAKS for name in ("bars", "whole", "cost_each", "price", "total")))
"""The answers that go into a table of results, besides the inputs that say which quote it is."""
ALL_INPUTS: dict[str, Input] = {**FORM.inputs, **{i.name: i for i in (*OPERATION_INPUTS, *OPERATION_NOTES)}}


_COSTS = ("material_cost", "machine_cost", "setup_cost", "other_cost")
CREDIT_TOO_HIGH = "has no price: chips and remnants would bring more than everything else costs"
_TOO_HIGH = "+".join(f"IFERROR(--(scrap_credit_{n}>{'+'.join(f'{line}_{n}' for line in _COSTS)}),0)" for n in BREAKS)

CHECKS = (
    WHOLE_PARTS,
    SECTION,
    Check("Feeder", (
        TOO_WIDE,
        ("ISBLANK(feeder_longest_bar)", NOTE, '"The longest bar that the feeder takes is not filled in."'),
        ("bar_length>feeder_longest_bar*(1+1E-9)", STOP,
         f'"The bar is longer than the feeder takes by "&{length_text("bar_length-feeder_longest_bar")}&": price blanks."'),
        ("TRUE", OK, '"The feeder takes this bar."'),
    )),
    Check("Part weight", (
        ("IF(ISBLANK(part_weight),FALSE,part_weight>section_weight*part_length*(1+1E-9))", STOP,
         '"A finished part can\'t weigh more than the bar over its length."'),
        ("ISBLANK(part_weight)", NOTE, '"Not filled in: the credit for chips is reckoned with parts as heavy as the bar over '
                                       'their length, so it is on the low side."'),
        ("TRUE", OK, '"A finished part weighs no more than the bar over its length."'),
    ), long=True),
    Check("Time", (
        ("setup_hours=0", LOOK, f'"No set-up time is counted. A part takes "&{number_text("cycle", 1)}&" s."'),
        ("AND(NOT(ISBLANK(cycle_time)),ISNUMBER(listed_cycle))", LOOK,
         f'"The cycle time that is filled in counts, "&{number_text("cycle_time", 1)}&" s; the operation list gives "'
         f'&{number_text("listed_cycle", 1)}&" s."'),
        ("TRUE", OK, f'"A part takes "&{number_text("cycle", 1)}&" s."'),
    )),
    Check("Operations", (
        ("operation_looks>0", LOOK, '"Sheet Operations: a row does not look like this part, see the mark beside it."'),
        ("cutting_time=0", OK, '"No operation list."'),
        ("TRUE", OK, '"The operations go with the bar, the part and the machine."'),
    )),
    Check("Scrap credit", (
        ("chip_price+remnant_price=0", OK, '"No credit for chips and remnants is counted."'),
        ("MAX(chip_price,remnant_price)*bar_weight*bars_1>material_cost_1", LOOK,
         '"For their weight, chips or remnants bring more than the bar costs. Is each price for the right unit?"'),
        ("TRUE", OK, '"For their weight, chips and remnants bring less than the bar costs."'),
    )),
    Check("Price", (
        ("margin*markup>0", STOP, '"Give a margin or a markup, not both."'),
        (f"{_TOO_HIGH}>0", STOP, f'"A quantity {CREDIT_TOO_HIGH}."'),
        ("price_is_nothing>0", STOP, '"The price each is rounded down to nothing: choose a finer rounding."'),
        ("material_price*machine_rate=0", LOOK, '"The price of the material or the machine rate is 0."'),
        ('AND(currency<>"",shop_currency<>"",currency<>shop_currency)', LOOK,
         '"The quote is in "&currency&", the sheet Shop in "&shop_currency&": nothing is converted."'),
        ("below_cost>0", LOOK, '"Rounding brings a price below the cost."'),
        ('rounding="none"', LOOK, '"The price each is not rounded: what is shown times the quantity may differ from the total."'),
        ("margin+markup=0", LOOK, '"Neither margin nor markup: the price is the cost."'),
        ("TRUE", OK, 'IF(margin>0,"The margin is a share of the price.","The markup is a share of the cost.")'),
    )),
    Check("Larger quantities", (
        ("costs_more>0", LOOK, '"A larger quantity costs more each than a smaller one, because whole bars are bought and '
                                 'little of the last one is used, or scrap makes one part more: see the sheet Prices."'),
        ("TRUE", OK, '"No larger quantity costs more each than a smaller one."'),
    ), long=True),
    MATERIAL,
)
_MORE_PROBLEMS = (
    *PROBLEMS,
    ("ISERROR(cutting_time)", "operation list"),
    ("AND(ISBLANK(cycle_time),NOT(ISERROR(cutting_time)),ISERROR(listed_cycle))", "cycle time (or the operation list)"),
    ("AND(ISBLANK(margin),ISBLANK(markup))", "margin (or markup; 0 % counts)"),
)


def _costing_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, "Costing", {"A": 1.5, "B": 29, "C": 21, "D": 17, "E": 2.5, "F": 34, "G": 13, "H": 11})
    layout.put(sheet, "B1", "Quote: costing", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "Fill the framed cells; those marked * are needed. For the customer print the sheet Quotation "
                            "alone, not the workbook.", color=layout.SOFT, size=9)
    layout.put(sheet, "F1", '=IFERROR(IF(job="","",job&"   ")&IF(part_number="","",part_number),"")', size=12, bold=True,
               shrink=True)
    sheet.merge_cells("F1:H1")
    FORM.put_status(book, sheet, "B3", "quote")
    sheet.merge_cells("B3:H3")
    sheet.row_dimensions[3].height = 30
    row = 5
    for title, items in INPUTS.items():
        layout.heading(sheet, "B", "D", row, title)
        row += 1
        for item in items:
            FORM.put_input(book, sheet, item.name, "BCD", row)
            row += 1
    inputs_end = row
    row = 5
    layout.heading(sheet, "F", "H", row, "Quantities, and the price each")
    for n in BREAKS:
        row += 1
        item = FORM.inputs[f"quantity_{n}"]
        layout.put(sheet, f"F{row}", item.label + (" *" if item.needed else ""))
        put_framed(book, sheet, item, f"G{row}")
        layout.style_answer(sheet, f"H{row}", "price", bold=True)
        sheet[f"H{row}"].value = f'=IF(ISBLANK(quantity_{n}),"",quote_price_{n})'
    layout.name_cell(book, "quote_quantities", sheet, f"G6:G{row}")
    layout.quiet_errors(sheet, f"H6:H{row}")
    row += 1
    for title, answers in COSTING.items():
        layout.heading(sheet, "F", "H", row, title)
        row += 1
        for answer in answers:
            FORM.put_answer(book, sheet, answer.name, "FGH", row)
            row += 1
    layout.quiet_errors(sheet, f"G13:G{row}")
    for line in range(5, inputs_end):
        sheet.row_dimensions[line].height = 15.5
    row = FORM.put_checks(book, sheet, CHECKS, inputs_end + 1)
    layout.put(sheet, f"B{row + 1}", "Times and prices are for planning. Before parts are made, the machine's manual, the shop's "
               "rules, local codes and licensed engineers come first.", italic=True, color=layout.SOFT, size=9)
    sheet.print_area = f"A1:H{row + 1}"


def _operation_mark(n: int, row: int) -> str:
    """Cell expression: what is wrong with a row of the operation list, or does not look like this part."""
    cell = f"op_{n}_"
    return (f'IF(ISERROR(op_{n}_time),IF(ISBLANK({cell}operation),"{STOP} pick an operation","{STOP} fill in or correct"),'
            f'IF(N({cell}start_diameter)>across_corners*(1+1E-9),"! larger than the bar",'
            f'IF(N({cell}length)>2*part_length,"! longer than the part",'
            # An IF within, since AND works out all its parts.
            f'IF(IF(ISBLANK(top_speed),FALSE,N({cell}top_speed)>top_speed),"! above the max. speed",'
            f'IF(AND(ISNUMBER($N{row}),N({cell}feed_rate)>5*N($N{row})),"! feed in the right unit?","")))))')


def _operations_sheet(book: Workbook) -> None:
    widths = {"A": 1.5, "B": 31, "C": 12, "D": 10, "E": 10, "F": 10, "G": 13, "H": 12, "I": 10, "J": 8, "K": 10, "L": 9, "M": 18,
              "N": 18, "O": 24}
    sheet = layout.add_sheet(book, "Operations", widths, landscape=True)
    layout.put(sheet, "B1", "Operation list", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "One row for each operation of one part, in any order; leave the rest blank. The cycle time below "
                            "counts unless one is filled in on the sheet Costing.", color=layout.SOFT, size=9)
    layout.heading(sheet, "B", "O", 4, "What")
    units = ("", "length", "length", "length", "surface_speed", "feed_rate", "rpm", "", "seconds")
    for column, head, unit in zip("CDEFGHIJK", OPERATION_COLUMNS.values(), units, strict=True):
        layout.put(sheet, f"{column}4", head, bold=True, color=layout.ACCENT, align="left" if column == "C" else "right")
        layout.put(sheet, f"{column}5", unit_text(unit) or None, color=layout.SOFT, size=9, align="right")
    layout.put(sheet, "L4", "Time", bold=True, color=layout.ACCENT, align="right")
    layout.put(sheet, "L5", "s", color=layout.SOFT, size=9, align="right")
    for column, head, unit in (("M", "Speed, suggested", "surface_speed"), ("N", "Feed, suggested", "feed_rate")):
        layout.put(sheet, f"{column}4", head, bold=True, color=layout.ACCENT, align="right")
        layout.put(sheet, f"{column}5", unit_text(unit), color=layout.SOFT, size=9, align="right")
    inputs = {i.name: i for i in (*OPERATION_INPUTS, *OPERATION_NOTES)}
    for n, row in zip(OPERATIONS, range(6, 6 + len(OPERATIONS)), strict=True):
        put_framed(book, sheet, inputs[f"op_{n}_note"], f"B{row}")
        for column, name in zip("CDEFGHIJK", OPERATION_COLUMNS, strict=True):
            put_framed(book, sheet, inputs[f"op_{n}_{name}"], f"{column}{row}")
        FORM.put_value(book, sheet, f"op_{n}_time", f"L{row}")
        sheet[f"L{row}"].number_format = "0.00;-0.00;"
        for column, what in (("M", "speed"), ("N", "feed")):
            layout.put(sheet, f"{column}{row}", "=" + FORM.expression(suggestion(f"op_{n}_operation", what)), size=9,
                       color=layout.SOFT, align="right", number="general")
        layout.put(sheet, f"O{row}", "=" + FORM.expression(_operation_mark(n, row)), bold=True, color=layout.ACCENT, size=9, indent=1)
        sheet.row_dimensions[row].height = 17
    layout.name_cell(book, "operation_marks", sheet, f"O6:O{5 + len(OPERATIONS)}")
    row = 7 + len(OPERATIONS)
    layout.heading(sheet, "B", "D", row, "Cycle time")
    row += 1
    FORM.put_input(book, sheet, TOOL.name, "BCD", row)
    for item in CYCLE_INPUTS:
        row += 1
        FORM.put_input(book, sheet, item.name, "BCD", row)
    for name in ("cutting_time", "listed_cycle", "cycle"):
        row += 1
        layout.put(sheet, f"B{row}", FORM.answers[name].label)
        layout.style_answer(sheet, f"C{row}", "rate")
        sheet[f"C{row}"].value = f"=quote_{name}"
        layout.put(sheet, f"D{row}", "s", color=layout.SOFT, size=9, indent=1)
    layout.quiet_errors(sheet, f"C{row - 2}:C{row}")
    row = 7 + len(OPERATIONS)
    layout.heading(sheet, "F", "O", row, "What each operation needs")
    for text in (
        "turning: start diameter, length, surface speed, feed. For boring, give the bore as the start diameter.",
        "facing and cut-off: start and end diameter (0 = to the centre), surface speed, feed, max. speed.",
        "drilling: start diameter = the drill's, length = full depth (a 118 degree point is added), surface speed, feed.",
        "threading: start diameter, length with run-in and run-out, surface speed, feed = the pitch, passes.",
        "other: extra time alone. Extra time counts for each pass. Max. speed, where given, holds for all.",
        "Suggestions come from the sheet Speeds, for the material's group; they are where to start, and yours to change there.",
        "Never above the speed limits of workholding, feeder and bar; the machine's manual comes first.",
    ):
        row += 1
        layout.put(sheet, f"F{row}", text, size=9)
    sheet.print_area = f"A1:O{row + 2}"


_LINES = ("parts_to_make", "bars", "material_cost", "scrap_credit", "machine_cost", "setup_cost", "other_cost", "order_cost",
          "cost_each", "margin", "price", "total")
_STRONG = ("order_cost", "price", "total")


def _prices_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, "Prices", {"A": 1.5, "B": 35, **dict.fromkeys("CDEFGH", 14.5), "I": 10}, landscape=True)
    layout.put(sheet, "B1", "Prices at six quantities", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "=quote_status", bold=True, wrap=True)
    sheet.merge_cells("B2:I2")
    sheet.row_dimensions[2].height = 28
    layout.heading(sheet, "B", "I", 4, "Cost and price of an order")
    layout.put(sheet, "I4", "=quote_currency_shown", color=layout.SOFT, indent=1, shrink=True)
    columns = dict(zip(BREAKS, "CDEFGH", strict=True))
    layout.put(sheet, "B5", "Quantity", bold=True)
    for n, column in columns.items():
        layout.style_answer(sheet, f"{column}5", "count", bold=True)
        sheet[f"{column}5"].value = f'=IF(ISBLANK(quantity_{n}),"",use_quantity_{n})'
    row = price_row = 5
    for name in _LINES:
        row += 1
        answer = FORM.answers[f"{name}_1"]
        layout.put(sheet, f"B{row}", answer.label.removesuffix(" at quantity 1"), bold=name in _STRONG)
        price_row = row if name == "price" else price_row
        for n, column in columns.items():
            FORM.put_value(book, sheet, f"{name}_{n}", f"{column}{row}", bold=name in _STRONG)
    row += 1
    layout.put(sheet, f"B{row}", "Note")
    for n, column in columns.items():
        layout.put(sheet, f"{column}{row}", f'=IF(IFERROR(quote_costs_more_{n},0)>0,"{LOOK} costs more each","")', size=9, bold=True,
                   color=layout.ACCENT, align="right")
    row += 2
    layout.heading(sheet, "B", "I", row, "The same bars used up")
    for name, label in (("whole", "Most good parts from these bars"), ("cost_each_whole", "Cost each"),
                        ("price_whole", "Price each"), ("total_whole", "Order total")):
        row += 1
        layout.put(sheet, f"B{row}", label, bold=name == "price_whole")
        for n, column in columns.items():
            FORM.put_value(book, sheet, f"{name}_{n}", f"{column}{row}", bold=name == "price_whole")
    for n, column in columns.items():
        # A quantity that is not asked for leaves its column blank.
        sheet.conditional_formatting.add(f"{column}6:{column}{row}", layout.rule_where(
            f"ISBLANK(quantity_{n})", font=Font(color="FFFFFF"), stopIfTrue=True))
        layout.quiet_errors(sheet, f"{column}6:{column}{row}")
    row += 2
    first = row
    layout.heading(sheet, "B", "E", row, "What if, before rounding")
    row += 1
    FORM.put_input(book, sheet, WHAT_IF.name, "BCD", row)
    row += 1
    for column, head in zip("CDE", ("Price each", "Change", "Change in %"), strict=True):
        layout.put(sheet, f"{column}{row}", head, size=9, color=layout.SOFT, align="right")
    for tag, (label, _) in WHAT_IFS.items():
        row += 1
        layout.put(sheet, f"B{row}", label)
        FORM.put_value(book, sheet, f"price_if_{tag}", f"C{row}")
        FORM.put_value(book, sheet, f"change_{tag}", f"D{row}")
        sheet[f"D{row}"].number_format = "+#,##0.0000;-#,##0.0000;0"
        FORM.put_value(book, sheet, f"change_share_{tag}", f"E{row}")
        sheet[f"E{row}"].number_format = "+0.0%;-0.0%;0.0%"
    layout.quiet_errors(sheet, f"C{first + 3}:E{row}")
    _price_chart(sheet, first, price_row)
    sheet.print_area = f"A1:I{max(row, first + 16)}"


def _price_chart(sheet: Worksheet, row: int, price_row: int) -> None:
    """Price each against quantity, from the smallest quantity to the largest whatever the order they are filled in."""
    layout.put(sheet, f"K{row}", "For the chart", size=9, color=layout.SOFT)
    layout.put(sheet, f"K{row + 1}", "quantity", size=9, color=layout.SOFT)
    layout.put(sheet, f"L{row + 1}", "price each", size=9, color=layout.SOFT)
    first, last = row + 2, row + 1 + len(BREAKS)
    for n, line in zip(BREAKS, range(first, last + 1), strict=True):
        sheet[f"K{line}"].value = f"=IF(ISERROR(SMALL(quote_quantities,{n})),NA(),SMALL(quote_quantities,{n}))"
        sheet[f"L{line}"].value = f"=INDEX($C${price_row}:$H${price_row},1,MATCH(K{line},quote_quantities,0))"
        for column in "KL":
            sheet[f"{column}{line}"].font = layout.font(9, color=layout.SOFT)
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
    chart.width, chart.height = 11.5, 6.6  # type: ignore[assignment]
    sheet.add_chart(chart, f"F{row}")


def _customer_sheet(book: Workbook) -> None:
    """One page for the customer. What is filled in for it stands beside the page, outside what is printed."""
    widths = {"A": 1.5, "B": 22, "C": 20, "D": 20, "E": 26, "F": 3, "G": 22, "H": 44, "I": 4}
    sheet = layout.add_sheet(book, "Quotation", widths)
    layout.heading(sheet, "G", "I", 2, "Fill in for this page (not printed)")
    for row, item in enumerate(LETTER, start=3):
        FORM.put_input(book, sheet, item.name, "GHI", row)
        sheet[f"H{row}"].number_format = "yyyy-mm-dd" if item.name in ("quote_date", "valid_until") else "General"
    layout.put(sheet, "G18", "Print or export this sheet alone, then send that: the workbook holds your costs.", bold=True, color=layout.ACCENT)
    layout.put(sheet, "B1", _shown("seller"), size=16, bold=True, color=layout.ACCENT, shrink=True)
    sheet.row_dimensions[1].height = 24
    layout.put(sheet, "B2", _shown("seller_address"), color=layout.SOFT, shrink=True)
    layout.put(sheet, "B3", _shown("seller_contact"), color=layout.SOFT, shrink=True)
    for row in (1, 2, 3):
        sheet.merge_cells(f"B{row}:E{row}")
    layout.put(sheet, "B5", "Quotation", size=18, bold=True)
    sheet.row_dimensions[5].height = 26
    layout.put(sheet, "B6", f'=IF(quote_problems<>"","{STOP}  Not ready to send. Fill in or correct: "&LEFT(quote_problems,'
                            f'LEN(quote_problems)-2)&".",IF(LEFT(quote_status,{len(STOP)})="{STOP}","{STOP}  Not ready to send: '
                            'see the sheet Costing.",""))', bold=True, color=layout.ACCENT, wrap=True)
    sheet.merge_cells("B6:E6")
    sheet.row_dimensions[6].height = 44
    described = '=IFERROR(IF(ISBLANK(material_line),IF(ISBLANK(material),"",material&", "&shape&" "&' \
                f'{SIZE_TEXT}&{UNIT_SUFFIX}),material_line),"")'
    facts = (("Number", _shown("quote_number")), ("Date", _shown("quote_date")), ("Valid until", _shown("valid_until")),
             ("Customer", _shown("customer")), ("Attention", _shown("attention")),
             ("Part", _shown("part_description")), ("Part number", _shown("part_number")),
             ("Drawing", '=IF(drawing="","",drawing&IF(revision="",""," revision "&revision))'),
             ("Material", described), ("Certificates", _shown("certificate_line")))
    row = 7
    for label, formula in facts:
        layout.put(sheet, f"B{row}", f'=IF(C{row}="","","{label}")', size=11, color=layout.SOFT)
        layout.put(sheet, f"C{row}", formula, size=11, shrink=True)
        sheet.merge_cells(f"C{row}:E{row}")
        sheet.row_dimensions[row].height = 18
        if label in ("Date", "Valid until"):
            sheet[f"C{row}"].number_format = "yyyy-mm-dd"
        row += 1
    row += 1
    money = '", "&quote_currency_shown'
    for column, head in (("B", '="Quantity"'), ("C", f'="Price each"&{money}'), ("D", f'="Total"&{money}')):
        layout.put(sheet, f"{column}{row}", head, size=11, bold=True, color=layout.ACCENT, align="right", shrink=True)
    for column in "BCD":
        sheet[f"{column}{row}"].border = Border(bottom=Side(style="medium", color=layout.ACCENT))
    for n in BREAKS:
        row += 1
        sheet.row_dimensions[row].height = 20
        wanted = f'IF(OR(ISBLANK(quantity_{n}),$B$6<>""),"",'
        for column, formula, number in (("B", f"use_quantity_{n}", "count"), ("C", f"quote_price_{n}", "price"),
                                        ("D", f"quote_total_{n}", "money")):
            layout.put(sheet, f"{column}{row}", f"={wanted}{formula})", size=11, align="right", number=number,
                       bold=column == "C")
    layout.quiet_errors(sheet, f"B{row - len(BREAKS) + 1}:D{row}")
    row += 2
    for label, name in (("Delivery", "delivery"), ("Terms", "terms"), ("Remark", "remark")):
        layout.put(sheet, f"B{row}", f'=IF(C{row}="","","{label}")', size=11, color=layout.SOFT, wrap=True)
        layout.put(sheet, f"C{row}", _shown(name), size=11, wrap=True)
        sheet.merge_cells(f"C{row}:E{row}")
        sheet.row_dimensions[row].height = 30
        row += 1
    sheet.print_area = f"A1:E{row}"


def _shown(name: str) -> str:
    return f'=IF(ISBLANK({name}),"",{name})'


def objections(inputs: Mapping[str, Any], answers: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Why these inputs give no quote: (input, reason)."""
    if answers["parts_per_bar"] == 0:
        return [("part_length", NO_WHOLE_PART)]
    if inputs["part_weight"] is not None and isinstance(answers["each_weight"], CellError):
        return [("part_weight", PART_TOO_HEAVY)]
    if inputs["margin"] is not None and inputs["markup"] is not None and inputs["margin"] * inputs["markup"]:
        return [("markup", "give a margin or a markup, not both")]
    for n in BREAKS:
        if inputs[f"quantity_{n}"] is not None and isinstance(answers[f"price_{n}"], CellError):
            lines = [answers[f"{line}_{n}"] for line in ("scrap_credit", *_COSTS)]
            numbers = [line for line in lines if isinstance(line, float)]
            too_high = len(numbers) == len(lines) and numbers[0] > sum(numbers[1:])
            return [(f"quantity_{n}", CREDIT_TOO_HIGH if too_high else "has no price: its bars, hours or costs are beyond all limits")]
    return []


@functools.cache
def build(shop: Shop | None = None) -> bytes:
    """The template as the bytes of an xlsx file, without calculated values. The same on every day and machine.

    `shop` fills its sheet Shop, from which a job picks its machine, prices and rates.
    """
    book = layout.new_workbook("Quote")
    _costing_sheet(book)
    _operations_sheet(book)
    _prices_sheet(book)
    _customer_sheet(book)
    shop_sheet(book, FORM, shop)
    materials_sheet(book)
    speeds_sheet.speeds_sheet(book, shop.speeds if shop else None)
    notes_sheet(book, FORM, (
        "Cost build-up, margin and markup: common practice of the trade, worked out as said above, no source.",
        "Half a rounding step goes up. The order total is the rounded price each times the quantity.",
    ), (f"price_{n}" for n in BREAKS), _MORE_PROBLEMS)
    return pack(layout.parts_of(book))
