"""Template job_plan: one job, its bar, yield, bars, weight, time, checks and set-up sheet."""

from typing import Any

from openpyxl import Workbook

from barfuncs.catalogue import kinds
from barfuncs.functions.quantity import bars_for_confidence
from barfuncs.templates import alone_sheet, bar_for_part, layout, part_sheet, plausible
from barfuncs.templates.bar_data_sheet import bar_data_sheet
from barfuncs.templates.cell_text import WEIGHT_SUFFIX, fixed_text, number_text, part_weight_text
from barfuncs.templates.every_order import (
    ACROSS_CORNERS,
    ALL_FIRST_PARTS,
    BAR,
    BAR_WEIGHT,
    BLANKS_PER_SUPPLIED,
    DENSITY,
    EACH_WEIGHT,
    FRONT,
    JOB,
    KERF_MISSING,
    LATHE,
    LONGEST_PUSH,
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
    RACK,
    RULES,
    SAW_STOP,
    SECTION,
    SECTION_AREA,
    SECTION_WEIGHT,
    SETTING_RATE,
    SUPPLY,
    TOO_WIDE,
    WEIGHT_PER_LENGTH,
    WHOLE_PARTS,
    YIELD,
    bought_formula,
    cuts_formula,
    feeder_takes,
    parts_formula,
    rack_value_formula,
    rest_formula,
    with_first_parts,
)
from barfuncs.templates.form import Form
from barfuncs.templates.materials_sheet import materials_sheet
from barfuncs.templates.model import NOTE, OK, STOP, Answer, Check, Input, Problems, Values
from barfuncs.templates.notes_sheet import notes_sheet
from barfuncs.templates.page import Page, add_page
from barfuncs.templates.setup_sheet import ONE_PERSON, SOURCE, STOPPED, setup_sheet
from barfuncs.templates.setup_sheet import TITLE as SETUP
from barfuncs.templates.shop import Shop
from barfuncs.templates.shop_sheet import (
    LARGEST_SIZE,
    MACHINE_ROW,
    MACHINE_WRONG,
    PROBLEMS,
    SHOP_PROBLEMS,
    put_worked_out_with,
    shop_sheet,
    worked_out_with,
)
from barfuncs.templates.speeds_sheet import MATERIAL_GROUP
from barfuncs.templates.template import Template, Terminal, TerminalColumn, number_shown, status_word
from barfuncs.xlsx.sheetxml import CellError

INPUTS: dict[str, tuple[Input, ...]] = {
    "Job": JOB,
    "Bar": BAR,
    "Part": PART,
    "Order": ORDER,
    "Lathe and feeder": (*LATHE, LONGEST_PUSH),
    "Material price": PRICE,
}
ALL_INPUTS: dict[str, Input] = {i.name: i for group in (*INPUTS.values(), bar_for_part.BAR_FOR_PART, alone_sheet.INPUTS) for i in group}

_BOUGHT = (("price", "material_price"), ("bars", "bought"), ("bar_length", "bought_length"), ("bar_weight", "bought_weight"))
ANSWERS: dict[str, tuple[Answer, ...]] = {
    "Yield": YIELD,
    "Order": (
        Answer("parts_on_average", "Parts to make, on average", "count", "parts",
               calls="parts_to_make", formula=with_first_parts("average_parts")),
        Answer("parts_to_make", "Parts to make, with confidence", "count", "parts", calls="parts_to_make",
               formula=with_first_parts("order_parts")),
        Answer("bars", "Bars to load", "count", "bars", formula="IF(AND(parts_per_bar>0,parts_per_bar<=1E7),COUNT_UP(parts_to_make/parts_per_bar),NA())"),
        BLANKS_PER_SUPPLIED,
        Answer("bought", "Bars to buy", "count", "bars", formula=bought_formula("bars")),
        Answer("cuts", "Saw cuts", "count", "cuts", formula=cuts_formula("bars", "bought")),
        Answer("fewest_bars", "Bars if all were the longest", "count", "bars",
               formula='IF(bars>0,IF(ISBLANK(longest_random_bar),"-",IF(longest_random_bar>=bar_length,COUNT_UP(order_parts/('
                       f'{parts_formula("longest_random_bar")}-first_parts_scrapped)),NA())),NA())'),
        Answer("last_bar_parts", "Parts from the last bar", "count", "parts", formula="parts_to_make-(bars-1)*parts_per_bar"),
        Answer("last_bar_remnant", "Left of the last bar", "length", "length",
               formula="bar_length-end_trim-last_bar_parts*bar_per_part"),
        Answer("whole_bar_quantity", "Good parts the bars give, on average", "count", "parts",
               formula="MAX(quantity,COUNT_DOWN((bars*good_per_bar-setup_parts)*(1-scrap_rate)))"),
        Answer("rack_length", "Back on the rack", "length", "length",
               formula=f"rest_length+IF({RACK},1,0)*(bought*blanks_each-bars)*bar_length"),
    ),
    "Weight": (
        WEIGHT_PER_LENGTH,
        BAR_WEIGHT,
        Answer("weight_to_buy", "Bars to buy", "weight", "weight", formula="bought*bought_weight"),
        Answer("total_weight", "Bars to load", "weight", "weight", formula="bars*bar_weight"),
        Answer("parts_weight", "Parts made", "weight", "weight",
               formula=f"parts_to_make*{EACH_WEIGHT}"),
        Answer("chips_weight", "Chips", "weight", "weight",
               formula="section_weight*(parts_to_make*bar_per_part+bars*end_trim)-parts_weight"),
        Answer("remnants_weight", "Remnants", "weight", "weight",
               formula="section_weight*(MAX(0,bars-1)*remnant+last_bar_remnant-rest_length)"),
        Answer("load_weight", "A full feeder", "weight", "weight",
               formula="MIN(feeder_bars,bars)*bar_weight", needs="feeder_bars"),
    ),
    "Material cost": (
        Answer("material_cost", "Material", "money", "order", calls="material_line_cost", refs=_BOUGHT, needs="material_price price_per"),
        Answer("rack_value", "Less: back on the rack", "money", "order", formula=rack_value_formula("rack_length"),
               needs="material_price price_per"),
        Answer("scrap_credit", "Less: chips and remnants sold", "money", "order", calls="scrap_credit",
               refs=(("remnant_weight", "remnants_weight"),)),
        Answer("net_material", "Material for this order", "money", "order", formula="material_cost-rack_value-scrap_credit",
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
        *alone_sheet.TIMES,
    ),
}
# Steps between that the page does not show among the answers.
_STEPS = (
    MATERIAL_ROW,
    MATERIAL_NAME,
    OWN_PROBLEMS,
    MATERIAL_CAUTION,
    MACHINE_ROW,
    MACHINE_WRONG,
    LARGEST_SIZE,
    SHOP_PROBLEMS,
    STOPPED,
    MATERIAL_GROUP,
    ACROSS_CORNERS,
    DENSITY,
    SECTION_AREA,
    SETTING_RATE,
    SECTION_WEIGHT,
    *plausible.STEPS,
    *FRONT,
    Answer("average_parts", "parts to make on average, before those at the front of every bar", "count", "parts", calls="parts_to_make",
           refs=(("confidence", "0"),)),
    Answer("order_parts", "parts to make with confidence, before those at the front of every bar", "count", "parts", calls="parts_to_make"),
    *part_sheet.TOTALS,
    *part_sheet.steps("plan_"),
    *bar_for_part.STEPS,
    *bar_for_part.ANSWERS,
    *alone_sheet.STEPS,
    *SUPPLY,
    Answer("rest_length", "rest of the last bar that goes back on the rack", "length", "length",
           formula=rest_formula("last_bar_remnant")),
    Answer("rack_weight", "weight of that rest", "weight", "weight", formula="section_weight*rest_length"),
    Answer("parts_total", "length in parts", "length", "", formula="parts_per_bar*part_length"),
    Answer("cutoff_total", "length cut off and faced", "length", "",
           formula="parts_per_bar*(cutoff_width+front_stock)"),
    Answer("length_balance", "length that does not add up", "length", "",
           formula="bar_length-parts_total-cutoff_total-end_trim-remnant"),
    Answer("weight_balance", "weight that does not add up", "weight", "",
           formula="total_weight-parts_weight-chips_weight-remnants_weight-rack_weight"),
)
ALL_ANSWERS: dict[str, Answer] = {
    a.name: a for group in (*ANSWERS.values(), alone_sheet.LIMITS, _STEPS) for a in group
}

FORM = Form("plan_", ALL_INPUTS.values(), ALL_ANSWERS.values(), (part_sheet.SECTIONS, alone_sheet.TOOLS))

HEADLINES = ("parts_per_bar", "bars", "weight_to_buy", "net_material", "run_hours")


def _headline() -> str:
    """Cell expression: the five answers that everybody asks for, in one line; what is not known yet is a dash."""
    pieces = (("plan_parts_per_bar", 0, '" parts per bar"'), ("plan_bars", 0, '" bars"'), ("plan_weight_to_buy", 1, WEIGHT_SUFFIX),
              ("plan_net_material", 2, '" material"'), ("plan_run_hours", 1, '" h run"'))
    return '&"   |   "&'.join(f'IFERROR({fixed_text(name, digits)},"-")&{unit}' for name, digits, unit in pieces)


CHECKS = (
    WHOLE_PARTS,
    SECTION,
    part_sheet.PART_CHECK,
    plausible.UNITS,
    plausible.LENGTHS,
    Check("Feeder", (
        ("IF(ISBLANK(longest_random_bar),FALSE,longest_random_bar<bar_length)", STOP,
         '"The longest of the random lengths is shorter than the bar length, which is the shortest."'),
        ("AND(NOT(ISBLANK(longest_random_bar)),NOT(ISBLANK(supplied_length)))", STOP,
         '"Random lengths are loaded as they come: leave the supplied bar length blank, or the longest random length."'),
        TOO_WIDE,
        SAW_STOP,
        *feeder_takes("MAX(bar_length,longest_random_bar)", strokes=True),
    )),
    bar_for_part.CHECK,
    plausible.STICKOUT,
    Check("Order", (
        *plausible.SCRAP_CASES,
        *plausible.more_than_ordered("quantity", "parts_to_make", "confidence"),
        ("whole_bar_quantity>quantity", NOTE,
         '"The same bars give "&whole_bar_quantity&" good parts, "&whole_bar_quantity-quantity&" more than ordered."'),
        ("TRUE", OK, '"The order uses its bars up."'),
    ), long=True),
    Check("Shelf", (
        ("ISBLANK(bars_on_hand)", NOTE, '"Bars on the shelf are not filled in: the order\'s own bars are taken."'),
        ("bars_on_hand<plan_bars", STOP, '"The order needs "&plan_bars&" bars; "&bars_on_hand&" are there."'),
        ("TRUE", OK, '"There are enough bars."'),
    )),
    Check("Feeder load", (
        ("ISBLANK(feeder_bars)", NOTE, '"Bars the feeder holds are not filled in: no load weight, no hours alone."'),
        (f"plan_bar_weight>{ONE_PERSON}", NOTE,
         f'"One bar weighs "&{number_text("plan_bar_weight", 1)}&{WEIGHT_SUFFIX}&", a full load "&{number_text("plan_load_weight", 1)}&{WEIGHT_SUFFIX}&". Over "'
         f'&{ONE_PERSON}&{WEIGHT_SUFFIX}&" it is not one person\'s lift, even at best."'),
        ("TRUE", OK, f'"One bar weighs "&{number_text("plan_bar_weight", 1)}&{WEIGHT_SUFFIX}&", not more than "&{ONE_PERSON}&{WEIGHT_SUFFIX}&", one '
                     f'person\'s lift at best; a full load "&{number_text("plan_load_weight", 1)}&{WEIGHT_SUFFIX}&"."'),
    )),
    alone_sheet.CHECK,
    plausible.times_check("cycle_time", "ISBLANK(cycle_time)", run_hours="run_hours"),
    plausible.prices_check(),
    Check("Balance", (
        ("IF(ISBLANK(part_weight),FALSE,part_weight>plan_section_weight*part_length*(1+1E-9))", STOP,
         f'"A finished part can\'t weigh more than the bar over its length, "&{part_weight_text("plan_section_weight*part_length")}'
         f'&{WEIGHT_SUFFIX}&"."'),
        ("OR(ABS(plan_length_balance)>1E-6,ABS(plan_weight_balance)>1E-6*(1+plan_total_weight))", STOP,
         '"Lengths or weights do not add up: do not use this sheet."'),
        ("TRUE", OK, '"Parts, chips, remnants and what goes back add up to the bars, in length and in weight."'),
    )),
    MATERIAL,
)


def _plan_sheet(book: Workbook, shop: Shop | None) -> None:
    """Three stacks side by side, inputs, answers, checks: a page that is read on a laptop without going sideways."""
    page = add_page(book, "Plan", {"A": 1.5, "B": 11.5, "C": 30, "D": 17.5, "E": 13.5, "F": 1.5, "G": 30, "H": 12, "I": 9, "J": 1.5, "K": 57, "L": 3,
                                   "M": 20, "N": 12}, landscape=True)
    page.next_row(24)
    page.put("B:D", "Job plan", size=18, bold=True, color=layout.ACCENT)
    page.put("G:I", '=IFERROR(IF(job="","",job&"   ")&IF(part_number="","",part_number),"")', size=12, bold=True, shrink=True)
    page.put("K", '=IF(customer="","",customer)', color=layout.SOFT)
    page.next_row(27)
    FORM.put_status(page, "B:K", "plan")
    page.next_row(18)
    headline = page.put("B:K", "=" + _headline(), size=12, bold=True, color=layout.ACCENT)
    page.name("plan_headline", headline.partition(":")[0])
    page.remark("Fill the framed cells; those marked * are needed. Answers and checks follow. Cautions are on the set-up sheet, which goes to the lathe.")
    page.sheet.row_dimensions[page.row].height = layout.CLOSE
    top = page.row
    for title, items in INPUTS.items():
        FORM.put_group(page, title, items, "BCDE")
    right, checks = page.beside(top), page.beside(top)
    FORM.put_answers(right, ANSWERS, "GHI", bold=HEADLINES, size=10)
    layout.quiet_errors(page.sheet, f"H{top + 2}:H{right.row + 1}")
    FORM.show_checks(checks, CHECKS, "K", short=2, long=3)
    _bar_drawing(checks)
    page.row = max(page.row, right.row, checks.row)
    put_worked_out_with(page.beside(page.row - 1), shop, "G")  # beside the longest stack, so that the page does not get longer
    for line in range(top, page.row + 1):
        page.sheet.row_dimensions[line].height = layout.CLOSE
    page.print_to("K")
    layout.keep_in_view(page.sheet, "A4", zoom=88)


_DRAWING = (
    ("End trim", "end_trim"),
    ("Parts", "plan_parts_total"),
    ("Cut-off and facing", "plan_cutoff_total"),
    ("Remnant", "plan_remnant"),
)
_FILLS = ("FFFFFF", layout.ACCENT, "9C8F9A", "E9DDC3")


def _bar_drawing(page: Page) -> None:
    """The bar as a chart, and its pieces in words; what it is drawn from stands beside the page."""
    page.heading("K", "The bar, front to rear, to scale", size=10)
    aside, first = page.beside(page.row), page.row + 1
    for label, formula in _DRAWING:
        aside.next_row()
        aside.put("M", label, size=9, color=layout.SOFT)
        aside.put("N", "=" + FORM.expression(formula), size=9, color=layout.SOFT, align="right", number="length")
    layout.quiet_errors(page.sheet, f"N{first}:N{aside.row}")
    page.next_row()
    rows = 8
    layout.stacked_bar(page.sheet, first, aside.row, page.take("K", rows).partition(":")[0], 10.8, layout.CLOSE * rows / 28.35, _FILLS, column=13)
    page.skip(rows - 1)
    page.next_row()
    pieces = "&".join(f'"{"; " if n else ""}{label.lower()} "&{number_text(cell, 3)}' for n, (label, cell) in enumerate(_DRAWING))
    page.put("K", "=" + FORM.expression(f'IFERROR({number_text("plan_parts_per_bar", 0)}&" parts of "&{number_text("part_length", 5)}&" and their cut-offs: "'
                                        f'&{pieces},"")'), rows=2, color=layout.SOFT, size=9, wrap=True)
    page.skip()


RESULTS = tuple(a.name for group in ANSWERS.values() for a in group)


def _objections(inputs: Values, answers: Values) -> Problems:
    """Why these inputs give no plan: (input, reason)."""
    if answers["parts_per_bar"] == 0:
        return [("part_length", NO_WHOLE_PART)]
    if answers["good_per_bar"] == 0:
        return [("first_parts_scrapped", ALL_FIRST_PARTS)]
    if inputs["part_weight"] is not None and isinstance(answers["parts_weight"], CellError):
        return [("part_weight", PART_TOO_HEAVY)]
    return part_sheet.objections(answers, "parts_weight")


def _bars_of_random_lengths(inputs: Values, answers: Values, shop: Shop | None) -> dict[str, Any]:
    """Bars to buy of a lot of random lengths: a sum over all lengths, which no cell formula works out."""
    if inputs["longest_random_bar"] is None:
        return {}
    used: dict[str, Any] = {}
    for name in ("scrap_rate", "confidence"):  # left blank, it is the shop's or else the default, as in the cells
        values = (inputs[name], getattr(shop.rates, name) if shop else None, ALL_INPUTS[name].default)
        used[name] = next(value for value in values if value is not None)
    each = answers["bar_per_part"]
    # Where a feed must be full, up to so many parts that would fit are lost. Taken for every bar, it is a bar too many at worst.
    lost = (inputs["parts_per_feed"] - 1) * each if inputs["last_feed"] == kinds.LAST_FEEDS[1] else 0
    first = (inputs["first_parts_scrapped"] or 0) * each
    return {"bars_of_random_lengths": bars_for_confidence(
        inputs["quantity"], inputs["bar_length"], inputs["longest_random_bar"], each, answers["min_remnant"] + lost,
        (inputs["end_trim"] or 0) + first, used["scrap_rate"], inputs["setup_parts"] or 0, used["confidence"])}


def _draw(book: Workbook, shop: Shop | None) -> None:
    _plan_sheet(book, shop)
    setup_sheet(book, FORM)
    part_sheet.part_sheet(book, FORM)
    alone_sheet.alone_sheet(book, FORM)
    shop_sheet(book, FORM, shop)
    materials_sheet(book)
    bar_data_sheet(book)
    notes_sheet(book, FORM, (
        "Yield, bars, parts to make and times: common practice of the trade, worked out as said above, no source.",
        SOURCE,
        *alone_sheet.SOURCES,
        "Weight of chips is what is neither part nor remnant. The last bar is taken to be left as it is after its last part.",
        worked_out_with(shop),
    ), RESULTS, (*PROBLEMS, KERF_MISSING), CHECKS)


def _weight(line: Values) -> str:
    return f"{number_shown(line['total_weight'], 1)} {'kg' if line['units'] == 'mm' else 'lb'}"


TEMPLATE = Template(
    name="job_plan",
    title="Job plan",
    form=FORM,
    checks=CHECKS,
    draw=_draw,
    pages=("Plan", SETUP),
    results=(*RESULTS, *part_sheet.RESULTS, *bar_for_part.RESULTS),
    more_inputs=("quantity",),
    more_results=_bars_of_random_lengths,
    rules=RULES,
    objections=_objections,
    done="planned",
    terminal=Terminal((
        TerminalColumn("Parts\nper bar", lambda line: number_shown(line["parts_per_bar"])),
        TerminalColumn("Bars", lambda line: number_shown(line["bars"])),
        TerminalColumn("Weight", _weight),
        TerminalColumn("Material\nless scrap", lambda line: number_shown(line["net_material"], 2)),
        TerminalColumn("Run\nhours", lambda line: number_shown(line["run_hours"], 1)),
        TerminalColumn("Checks", lambda line: status_word(line), right=False),
    )),
    help="""\
The first row of JOBS names the inputs (see 'barfuncs templates'). Good rows
are done; bad rows are listed and the exit status is then 1. Results of all
jobs go into results.csv and results.xlsx.

Run again, every row is read, and calculated where no workbook made from the
same is there. After a run that was stopped, --resume does the rest at once.
A workbook made from other values is overwritten with --replace alone.
""",
)
