"""Template job_plan: one job, its bar, yield, bars, weight, time, setter's sheet and checks."""

import functools
from collections.abc import Mapping
from typing import Any

from openpyxl import Workbook
from openpyxl.chart import BarChart, Reference
from openpyxl.chart.layout import Layout, ManualLayout
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs import kinds
from barfuncs.workbooks import layout
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
    ORDER,
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
    WEIGHT_SUFFIX,
    Answer,
    Check,
    Form,
    Input,
    fixed_text,
    length_text,
    make_input,
    number_text,
    unit_text,
)
from barfuncs.workbooks.materials_sheet import materials_sheet
from barfuncs.workbooks.notes_sheet import notes_sheet
from barfuncs.workbooks.package import pack
from barfuncs.workbooks.sheetxml import CellError
from barfuncs.workbooks.shop import Shop
from barfuncs.workbooks.shop_sheet import LARGEST_SIZE, MACHINE_ROW, PROBLEMS, SHOP_PROBLEMS, shop_sheet

INPUTS: dict[str, tuple[Input, ...]] = {
    "Job": JOB,
    "Bar": BAR,
    "Part": PART,
    "Order": ORDER,
    "Lathe and feeder": LATHE,
    "Material price": PRICE,
}
STOP_INPUTS = (
    make_input("stop_parts", "Stop after this many parts", kinds.Count, unit="parts",
               help_text="the run ends after this many parts; blank = until the bars run out"),
    make_input("stop_bars", "Stop after this many bars", kinds.Count, unit="bars",
               help_text="the run ends after this many bars; blank = until the bars run out"),
    make_input("stop_length", "Stop after this length fed", kinds.Length,
               help_text="the run ends when this length of bar has been fed; blank = until the bars run out"),
)
ALL_INPUTS: dict[str, Input] = {i.name: i for group in (*INPUTS.values(), STOP_INPUTS) for i in group}

ANSWERS: dict[str, tuple[Answer, ...]] = {
    "Yield": YIELD,
    "Order": (
        Answer("parts_to_make", "Parts to make, scrap included", "count", "parts", calls="parts_to_make"),
        Answer("bars", "Bars", "count", "bars", calls="bars_for_quantity"),
        Answer("fewest_bars", "Bars if all were the longest", "count", "bars",
               formula='IF(ISBLANK(longest_random_bar),"-",IF(AND(longest_random_bar>=bar_length,bars>0),COUNT_UP(parts_to_make/'
                       'PARTS_PER_BAR(longest_random_bar,part_length,cutoff_width,min_remnant,facing,end_trim)),NA()))'),
        Answer("last_bar_parts", "Parts from the last bar", "count", "parts", calls="last_bar_parts"),
        Answer("last_bar_remnant", "Left of the last bar", "length", "length",
               formula="bar_length-end_trim-last_bar_parts*bar_per_part"),
        Answer("whole_bar_quantity", "Good parts the same bars give", "count", "parts", calls="whole_bar_quantity"),
        Answer("fed_length", "Length fed in all", "length", "length", calls="fed_length",
               refs=(("parts", "parts_to_make"),)),
    ),
    "Weight": (
        WEIGHT_PER_LENGTH,
        BAR_WEIGHT,
        Answer("total_weight", "All bars", "weight", "weight", formula="bars*bar_weight"),
        Answer("parts_weight", "Parts made", "weight", "weight",
               formula=f"parts_to_make*{EACH_WEIGHT}"),
        Answer("chips_weight", "Chips", "weight", "weight",
               formula="section_weight*(parts_to_make*bar_per_part+bars*end_trim)-parts_weight"),
        Answer("remnants_weight", "Remnants", "weight", "weight",
               formula="section_weight*(MAX(0,bars-1)*remnant+last_bar_remnant)"),
        Answer("load_weight", "A full feeder", "weight", "weight",
               formula="MIN(feeder_bars,bars)*bar_weight", needs="feeder_bars"),
    ),
    "Material cost": (
        Answer("material_cost", "Material", "money", "order", calls="material_cost", refs=(("price", "material_price"),), needs="material_price price_per"),
        Answer("scrap_credit", "Scrap credit", "money", "order", calls="scrap_credit",
               refs=(("remnant_weight", "remnants_weight"),)),
        Answer("net_material", "Material less scrap credit", "money", "order", formula="material_cost-scrap_credit",
               needs="material_price price_per"),
        Answer("material_each", "Material per good part", "money_each", "each", formula="net_material/quantity",
               needs="material_price price_per"),
        Answer("machine_cost", "Lathe, set-up and run", "money", "order",
               formula="setup_hours*setting_rate+run_hours*machine_rate", needs="machine_rate cycle_time"),
    ),
    "Time": (
        Answer("run_hours", "Run", "hours", "hours", calls="run_hours", needs="cycle_time"),
        Answer("total_hours", "Set-up and run", "hours", "hours",
               formula="setup_hours+run_hours", needs="cycle_time"),
        Answer("parts_per_hour", "Parts per hour, bar changes counted", "rate", "per_hour_parts",
               formula="parts_to_make/run_hours", needs="cycle_time"),
        # The last load may hold the whole order, of which the last bar is not used up.
        Answer("unattended_hours", "Runs alone on a full feeder, no stops", "hours", "hours", calls="unattended_hours",
               formula="IF(feeder_bars<bars,"
                       "UNATTENDED_HOURS(feeder_bars,parts_per_bar,cycle_time,bar_change_time),"
                       "RUN_HOURS(parts_to_make,cycle_time,parts_per_bar,bar_change_time))",
               needs="cycle_time feeder_bars"),
        Answer("feeder_loads", "Feeder loads", "count", "loads", formula="COUNT_UP(bars/feeder_bars)",
               needs="feeder_bars"),
    ),
}
# Steps between that the page does not show among the answers.
_STEPS = (
    MATERIAL_ROW,
    MATERIAL_NAME,
    OWN_PROBLEMS,
    MATERIAL_CAUTION,
    MACHINE_ROW,
    LARGEST_SIZE,
    SHOP_PROBLEMS,
    ACROSS_CORNERS,
    DENSITY,
    SECTION_AREA,
    SETTING_RATE,
    SECTION_WEIGHT,
    Answer("cuts", "saw cuts in all", "count", "", formula="bars*cuts_per_bar"),
    Answer("parts_total", "length in parts", "length", "", formula="parts_per_bar*part_length"),
    Answer("cutoff_total", "length cut off and faced", "length", "",
           formula="parts_per_bar*(cutoff_width+facing)"),
    Answer("length_balance", "length that does not add up", "length", "",
           formula="bar_length-parts_total-cutoff_total-end_trim-remnant"),
    Answer("weight_balance", "weight that does not add up", "weight", "",
           formula="total_weight-parts_weight-chips_weight-remnants_weight"),
)
_LIMIT = "bars_at_hand*parts_per_bar"


def _stop(name: str, parts: str) -> str:
    return f"IF(ISBLANK({name}),{_LIMIT},{parts})"


_STOP_ANSWERS = (
    Answer("bars_at_hand", "Bars at hand", "count", "bars",
           formula="IF(ISBLANK(bars_on_hand),bars,bars_on_hand)"),
    Answer("run_parts", "Parts the run makes", "count", "parts",
           formula=f"MIN({_LIMIT},{_stop('stop_parts', 'stop_parts')},"
                   f"{_stop('stop_bars', 'stop_bars*parts_per_bar')},"
                   f"{_stop('stop_length', 'COUNT_DOWN(stop_length/bar_per_part)')})"),
)
ALL_ANSWERS: dict[str, Answer] = {
    a.name: a for group in (*ANSWERS.values(), _STEPS, _STOP_ANSWERS) for a in group
}

FORM = Form("plan_", ALL_INPUTS.values(), ALL_ANSWERS.values())

HEADLINES = ("parts_per_bar", "bars", "total_weight", "net_material", "run_hours")


def _headline() -> str:
    """Cell expression: the five answers that everybody asks for, in one line; what is not known yet is a dash."""
    pieces = (("plan_parts_per_bar", 0, '" parts per bar"'), ("plan_bars", 0, '" bars"'), ("plan_total_weight", 1, WEIGHT_SUFFIX),
              ("plan_net_material", 2, '" material"'), ("plan_run_hours", 1, '" h run"'))
    return '&"   |   "&'.join(f'IFERROR({fixed_text(name, digits)},"-")&{unit}' for name, digits, unit in pieces)


CHECKS = (
    WHOLE_PARTS,
    SECTION,
    Check("Feeder", (
        ("IF(ISBLANK(longest_random_bar),FALSE,longest_random_bar<bar_length)", STOP,
         '"The longest of the random lengths is shorter than the bar length, which is the shortest."'),
        TOO_WIDE,
        ("ISBLANK(feeder_longest_bar)", NOTE, '"The longest bar that the feeder takes is not filled in."'),
        ("MAX(bar_length,longest_random_bar)>feeder_longest_bar*(1+1E-9)", STOP,
         f'"The bar is longer than the feeder takes by "&{length_text("MAX(bar_length,longest_random_bar)-feeder_longest_bar")}'
         '&": saw it first."'),
        ("TRUE", OK, '"The feeder takes this bar."'),
    )),
    Check("Stick-out", (
        ("plan_stickout_ratio>3*(1+1E-9)", LOOK,
         f'"The first stick-out is "&{length_text("plan_first_stickout")}&", "&{number_text("plan_stickout_ratio", 1)}&" times the size. '
         'Over three, think about support, speed and chatter (common practice, no source)."'),
        ("TRUE", OK, f'"The first stick-out is "&{number_text("plan_stickout_ratio", 1)}&" times the size, three or less."'),
    ), long=True),
    Check("Remnant", (
        ("plan_remnant>plan_bar_per_part*(1+1E-9)", NOTE,
         f'"The remnant is longer than the bar for one part. A bar longer by "&{length_text("plan_min_remnant+plan_bar_per_part-plan_remnant")}'
         '&" would give one more part."'),
        ("TRUE", OK, f'"The remnant, "&{length_text("plan_remnant")}&", is no longer than the bar for one part."'),
    )),
    Check("Order", (
        ("plan_whole_bar_quantity>quantity", NOTE,
         '"The same bars give "&plan_whole_bar_quantity&" good parts, "&plan_whole_bar_quantity-quantity&" more than '
         'ordered."'),
        ("TRUE", OK, '"The order uses its bars up."'),
    )),
    Check("Shelf", (
        ("ISBLANK(bars_on_hand)", NOTE, '"Bars on the shelf are not filled in: the order\'s own bars are taken."'),
        ("plan_bars_at_hand<plan_bars", STOP, '"The order needs "&plan_bars&" bars; "&plan_bars_at_hand&" are there."'),
        ("TRUE", OK, '"There are enough bars."'),
    )),
    Check("Stop rule", (
        ("plan_run_parts=0", STOP, '"The run makes no parts."'),
        ("plan_run_parts<plan_parts_to_make", LOOK,
         '"The run stops at "&plan_run_parts&" parts, "&plan_parts_to_make-plan_run_parts&" before the order is filled."'),
        ("TRUE", OK, '"The run makes "&plan_run_parts&" parts; the order needs "&plan_parts_to_make&"."'),
    )),
    Check("Feeder load", (
        ("ISBLANK(feeder_bars)", NOTE, '"Bars the feeder holds are not filled in: no load weight, no hours alone."'),
        ("TRUE", NOTE, f'"A full load weighs "&{number_text("plan_load_weight", 1)}&{WEIGHT_SUFFIX}&", one bar "&{number_text("plan_bar_weight", 1)}&{WEIGHT_SUFFIX}'
                       '&". Lift within the shop\'s rules."'),
    )),
    Check("Time and price", (
        ("AND(ISBLANK(cycle_time),OR(ISBLANK(material_price),ISBLANK(price_per)))", NOTE, '"Cycle time and price are not filled in: no hours, no cost."'),
        ("ISBLANK(cycle_time)", NOTE, '"The cycle time is not filled in: no hours."'),
        ("OR(ISBLANK(material_price),ISBLANK(price_per))", NOTE, '"The price or what it is per is not filled in: no material cost."'),
        ("TRUE", OK, '"Cycle time and price are filled in."'),
    )),
    Check("Balance", (
        ("IF(ISBLANK(part_weight),FALSE,part_weight>plan_section_weight*part_length*(1+1E-9))", STOP,
         f'"A finished part can\'t weigh more than the bar over its length, "&{number_text("plan_section_weight*part_length", 4)}'
         f'&{WEIGHT_SUFFIX}&"."'),
        ("OR(ABS(plan_length_balance)>1E-6,ABS(plan_weight_balance)>1E-6*(1+plan_total_weight))", STOP,
         '"Lengths or weights do not add up: do not use this sheet."'),
        ("TRUE", OK, '"Parts, chips and remnants add up to the bars, in length and in weight."'),
    )),
    MATERIAL,
)

CAUTIONS = (
    "Bar that turns behind the spindle whips: support and enclose it over its whole length, also when the feeder is pushed back.",
    "Keep below the speed limits of the workholding, the feeder and the bar; a bent bar allows less. The lowest limit holds.",
    "Hexagon, octagon, square and flat bar runs out of balance and needs the right guide; start slowly and listen.",
    "A long stick-out bends, chatters and can throw the part. No public rule gives a safe number: the machine's manual does.",
    "Remnants and sawn ends have sharp edges. Wear gloves to handle them, never near a turning spindle.",
    "Fine chips of titanium and magnesium burn. Never use water on them; have a class D extinguisher and the shop's fire rules at hand.",
    "Free-machining alloys may hold lead: keep dust and fume down, wash hands before eating.",
    "Bars are heavy and long: lift with help or a hoist, and keep the way clear.",
    "The machine's and feeder's manuals, the shop's rules, local codes and licensed engineers come before this sheet.",
)

def _plan_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, "Plan", {"A": 1.5, "B": 29, "C": 21, "D": 17, "E": 2.5, "F": 34, "G": 13, "H": 10})
    layout.put(sheet, "B1", "Job plan", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "Fill the framed cells; those marked * are needed. The answers on the right follow.",
               color=layout.SOFT, size=9)
    layout.put(sheet, "F1", '=IFERROR(IF(job="","",job&"   ")&IF(part_number="","",part_number),"")', size=12, bold=True)
    layout.put(sheet, "F2", '=IF(customer="","",customer)', color=layout.SOFT)
    FORM.put_status(book, sheet, "B3", "plan")
    sheet.merge_cells("B3:H3")
    sheet.row_dimensions[3].height = 30
    layout.put(sheet, "B4", "=" + _headline(), size=12, bold=True, color=layout.ACCENT)
    sheet.merge_cells("B4:H4")
    sheet.row_dimensions[4].height = 24
    layout.name_cell(book, "plan_headline", sheet, "B4")
    row = 5
    for title, items in INPUTS.items():
        layout.heading(sheet, "B", "D", row, title)
        row += 1
        for item in items:
            FORM.put_input(book, sheet, item.name, "BCD", row)
            row += 1
    inputs_end = row
    row = 5
    for title, answers in ANSWERS.items():
        layout.heading(sheet, "F", "H", row, title)
        row += 1
        for answer in answers:
            FORM.put_answer(book, sheet, answer.name, "FGH", row)
            if answer.name in HEADLINES:
                sheet[f"F{row}"].font = sheet[f"G{row}"].font = layout.font(11, bold=True)
            row += 1
    layout.quiet_errors(sheet, f"G6:G{row}")
    row = max(row, inputs_end) + 1
    for line in range(5, row):
        sheet.row_dimensions[line].height = 15.5
    row = _bar_drawing(sheet, row)
    row = FORM.put_checks(book, sheet, CHECKS, row)
    layout.put(sheet, f"B{row + 1}", "Cautions are on the setter's sheet. Give it to the person at the lathe.",
               italic=True, color=layout.SOFT, size=9)
    sheet.print_area = f"A1:H{row + 1}"


_DRAWING = (
    ("End trim", "end_trim"),
    ("Parts", "plan_parts_total"),
    ("Cut-off and facing", "plan_cutoff_total"),
    ("Remnant", "plan_remnant"),
)
_FILLS = ("FFFFFF", layout.ACCENT, "9C8F9A", "E9DDC3")


def _stacked_bar(sheet: Worksheet, first_row: int, last_row: int, anchor: str, width: float, height: float,
                 fills: tuple[str, ...]) -> None:
    """Lengths one behind the other, to scale. Outlines keep the pieces apart in black and white."""
    chart = BarChart()
    chart.type, chart.grouping, chart.overlap, chart.gapWidth = "bar", "stacked", 100, 30
    chart.style = 2
    for row in range(first_row, last_row + 1):
        # Column numbers: B holds the piece's name, C its length.
        chart.add_data(Reference(sheet, min_col=2, max_col=3, min_row=row), from_rows=True, titles_from_data=True)
    for series, fill in zip(chart.series, fills, strict=True):
        series.graphicalProperties = GraphicalProperties(solidFill=fill)
        series.graphicalProperties.line.solidFill = layout.INK
        series.graphicalProperties.line.width = 9525
        series.invertIfNegative = False
    chart.legend.position = "b"
    chart.y_axis.delete = False
    chart.x_axis.delete = True
    chart.y_axis.majorGridlines = None
    chart.y_axis.scaling.min = 0
    chart.y_axis.number_format = "#,##0.##"
    chart.layout = Layout(manualLayout=ManualLayout(xMode="edge", yMode="edge", x=0.03, y=0.08, w=0.94, h=0.5))
    chart.width, chart.height = width, height  # type: ignore[assignment]
    sheet.add_chart(chart, anchor)


def _bar_drawing(sheet: Worksheet, row: int) -> int:
    layout.heading(sheet, "B", "H", row, "The bar, front to rear, to scale")
    first = row + 1
    for offset, (label, formula) in enumerate(_DRAWING):
        layout.put(sheet, f"B{first + offset}", label)
        layout.put(sheet, f"C{first + offset}", "=" + FORM.expression(formula), align="right", number="length")
        layout.put(sheet, f"D{first + offset}", unit_text("length"), color=layout.SOFT, size=9, indent=1)
    last = first + len(_DRAWING) - 1
    layout.put(sheet, f"B{last + 1}", f'=IFERROR(plan_parts_per_bar&" parts of "&{number_text("part_length", 5)}&" and their cut-offs","")',
               color=layout.SOFT, size=9)
    layout.quiet_errors(sheet, f"C{first}:C{last}")
    _stacked_bar(sheet, first, last, f"E{first}", 12.6, 3.4, _FILLS)
    return row + 8


def _setter_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, "Setter", {"A": 1.5, "B": 36, "C": 15, "D": 9, "E": 2.5, "F": 42})
    layout.put(sheet, "B1", "Setter's sheet", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "F1", '=IF(job="","",job&"   ")&IF(part_number="","",part_number)', size=12, bold=True)
    layout.put(sheet, "B2", '=IFERROR(IF(customer="","",customer&"   ")&IF(material="","",material&"   ")&shape&" "&'
                            f'{SIZE_TEXT}&{UNIT_SUFFIX},"")', color=layout.SOFT)
    layout.heading(sheet, "B", "F", 4, "Lengths to key in")
    layout.put(sheet, "F4", "As your control calls it (write it in)", size=11, bold=True, color=layout.ACCENT)
    keyed = (("Bar per part", "plan_bar_per_part"), ("First stick-out, with end trim", "plan_first_stickout"),
             ("Minimum remnant", "plan_min_remnant"), ("Bar length", "bar_length"))
    for row, (label, ref) in enumerate(keyed, start=5):
        layout.put(sheet, f"B{row}", label, size=11)
        layout.style_answer(sheet, f"C{row}", "length", bold=True)
        sheet[f"C{row}"].value = "=" + FORM.expression(ref)
        layout.put(sheet, f"D{row}", unit_text("length"), color=layout.SOFT, indent=1)
        layout.style_input(sheet, f"F{row}", "text")
        sheet.row_dimensions[row].height = 22
    layout.quiet_errors(sheet, "C5:C24")
    layout.heading(sheet, "B", "F", 10, "Stop rule: leave blank to run until the bars run out; of several the first ends the run")
    for row, (item, wanted) in enumerate(zip(STOP_INPUTS, ("plan_parts_to_make", "plan_bars", "plan_fed_length"), strict=True),
                                         start=11):
        FORM.put_input(book, sheet, item.name, "BCD", row)
        layout.put(sheet, f"F{row}", f'=IFERROR("the order needs "&{fixed_text(wanted, 3 if item.unit == "length" else 0)}&" "&D{row},"")', color=layout.SOFT)
    row = 14
    for answer in _STOP_ANSWERS:
        FORM.put_answer(book, sheet, answer.name, "BCD", row)
        row += 1
    layout.put(sheet, f"B{row}", '=IFERROR(IF(plan_run_parts<plan_bars_at_hand*plan_parts_per_bar,'
               '"The run ends by the stop rule after "&plan_run_parts&" parts.",IF(plan_run_parts=0,"The run makes no parts.",'
               '"No limit in force: the run ends when the bars run out, after "&plan_run_parts&" parts.")),"")', bold=True)
    layout.name_cell(book, "plan_stop_reason", sheet, f"B{row}")
    layout.heading(sheet, "B", "F", 18, "In front of the workholding's face, to scale")
    pieces = (("Face to cut-off tool", "face_to_cutoff"), ("Cut-off", "cutoff_width"), ("Part", "part_length"), ("Facing", "facing"),
              ("End trim (new bar)", "end_trim"))
    for line, (label, ref) in enumerate(pieces, start=19):
        layout.put(sheet, f"B{line}", label)
        layout.put(sheet, f"C{line}", "=" + FORM.expression(ref), align="right",
                   number="length")
        layout.put(sheet, f"D{line}", unit_text("length"), color=layout.SOFT, size=9, indent=1)
    _stacked_bar(sheet, 19, 23, "E19", 9.2, 3.6, ("FFFFFF", "9C8F9A", layout.ACCENT, "D9CBD6", "E9DDC3"))
    line = 25
    line += 1
    layout.heading(sheet, "B", "F", line, "Cautions")
    for text in CAUTIONS:
        line += 1
        layout.put(sheet, f"B{line}", text, wrap=True)
        sheet.merge_cells(f"B{line}:F{line}")
        sheet.row_dimensions[line].height = 15 if len(text) < 125 else 27
    sheet.print_area = f"A1:F{line}"


RESULTS = tuple(a.name for group in ANSWERS.values() for a in group)
"""The answers that go into a table of results, besides the inputs that say which job it is."""


def objections(inputs: Mapping[str, Any], answers: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Why these inputs give no plan: (input, reason)."""
    if answers["parts_per_bar"] == 0:
        return [("part_length", NO_WHOLE_PART)]
    if inputs["part_weight"] is not None and isinstance(answers["parts_weight"], CellError):
        return [("part_weight", PART_TOO_HEAVY)]
    return []


@functools.cache
def build(shop: Shop | None = None) -> bytes:
    """The template as the bytes of an xlsx file, without calculated values. The same on every day and machine.

    `shop` fills its sheet Shop, from which a job picks its machine, prices and rates.
    """
    book = layout.new_workbook("Job plan")
    _plan_sheet(book)
    _setter_sheet(book)
    shop_sheet(book, FORM, shop)
    materials_sheet(book)
    notes_sheet(book, FORM, (
        "Yield, bars, parts to make and times: common practice of the trade, worked out as said above, no source.",
        "Weight of chips is what is neither part nor remnant. The last bar is taken to be left as it is after its last part.",
    ), RESULTS, PROBLEMS)
    return pack(layout.parts_of(book))
