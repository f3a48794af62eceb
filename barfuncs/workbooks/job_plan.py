"""Template job_plan: one job, its bar, yield, bars, weight, time, setter's sheet and checks."""

import functools
from dataclasses import dataclass
from typing import Any, get_args

from openpyxl import Workbook
from openpyxl.chart import BarChart, Reference
from openpyxl.chart.layout import Layout, ManualLayout
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs import kinds, materials
from barfuncs.catalogue import CATALOGUE, expand
from barfuncs.glossary import ARGUMENTS
from barfuncs.kinds import Kind
from barfuncs.stock import MATERIAL_MATCHES
from barfuncs.workbooks import layout
from barfuncs.workbooks.package import pack, read_parts


@dataclass(frozen=True)
class Input:
    """One input cell. `needed` ones must be filled before there is a plan."""

    name: str
    label: str
    kind: Kind
    help: str
    default: Any = None
    needed: bool = False
    unit: str = ""

    @property
    def number(self) -> str:
        if self.kind.reader == "fraction":
            return "percent"
        return "general" if self.kind.is_number else "text"


@dataclass(frozen=True)
class Answer:
    """One calculated cell: a function of the catalogue (`calls`), or a formula over named cells."""

    name: str
    label: str
    number: str
    unit: str = ""
    formula: str = ""
    calls: str = ""
    refs: tuple[tuple[str, str], ...] = ()


def _kind(alias: Any) -> Kind:
    return next(m for m in get_args(alias)[1:] if isinstance(m, Kind))


def _input(name: str, label: str, alias: Any, default: Any = None, needed: bool = False, unit: str = "",
           help_text: str = "") -> Input:
    kind = _kind(alias)
    return Input(name, label, kind, help_text or ARGUMENTS[name], default, needed, unit or kind.dimension or "")


INPUTS: dict[str, tuple[Input, ...]] = {
    "Job": (
        _input("job", "Job", kinds.Text, help_text="the shop's number or name of this job"),
        _input("customer", "Customer", kinds.Text, help_text="who ordered the parts"),
        _input("part_number", "Part number", kinds.Text, help_text="number of the part on its drawing"),
    ),
    "Bar": (
        _input("units", "Units", kinds.Units, "in", True),
        _input("material", "Material", kinds.Material, needed=True,
               help_text="pick a name, or type a designation (EN, UNS, AISI) or a density in lb/in3 or g/cm3"),
        _input("shape", "Shape", kinds.Shape, "round", True),
        _input("size", "Size", kinds.PositiveLength, needed=True),
        _input("thickness", "Thickness", kinds.PositiveLength),
        _input("bar_length", "Bar length", kinds.PositiveLength, needed=True,
               help_text="length of the bar as it goes into the feeder; of random lengths the shortest"),
        _input("longest_bar", "Longest bar of random lengths", kinds.PositiveLength,
               help_text="only where the supplier sends random lengths: the longest one"),
    ),
    "Part": (
        _input("part_length", "Part length", kinds.PositiveLength, needed=True),
        _input("cutoff_width", "Cut-off width", kinds.Length, needed=True),
        _input("facing", "Facing", kinds.Length, 0),
        _input("end_trim", "End trim of a new bar", kinds.Length, 0),
        _input("part_weight", "Weight of a finished part", kinds.PositiveWeight,
               help_text="weight of one finished part; left blank, the bar over the part's length is taken"),
    ),
    "Order": (
        _input("quantity", "Order quantity", kinds.PositiveCount, needed=True, unit="parts"),
        _input("scrap_rate", "Scrap rate", kinds.ScrapRate, 0),
        _input("setup_parts", "Set-up pieces", kinds.Count, 0, unit="parts"),
        _input("bars_on_hand", "Bars on the shelf", kinds.Count, unit="bars",
               help_text="bars there are for this run; left blank, as many as the order needs"),
    ),
    "Lathe and feeder": (
        _input("standoff", "Standoff", kinds.Length, needed=True),
        _input("grip_length", "Grip length", kinds.Length, needed=True),
        _input("longest_feeder_bar", "Longest bar the feeder takes", kinds.PositiveLength,
               help_text="longest bar that the feeder takes, from its manual"),
        _input("feeder_bars", "Bars the feeder holds", kinds.PositiveCount, unit="bars",
               help_text="bars of this size in a full feeder"),
        _input("cycle_time", "Cycle time", kinds.PositiveSeconds),
        _input("bar_change_time", "Bar change", kinds.Seconds, 0),
        _input("efficiency", "Efficiency", kinds.Efficiency, 1),
        _input("setup_hours", "Set-up", kinds.Hours, 0),
        _input("machine_rate", "Machine rate", kinds.Money, unit="per_hour"),
    ),
    "Material price": (
        _input("price", "Price", kinds.Money, unit="price_per", help_text="price of the bar for one of the unit below"),
        _input("price_per", "Price is per", kinds.PricePer),
        _input("cuts_per_bar", "Saw cuts per bar", kinds.Count, 0, unit="cuts",
               help_text="saw cuts that the supplier charges for, on each bar"),
        _input("cut_charge", "Charge per cut", kinds.Money, 0, unit="each"),
        _input("minimum_charge", "Minimum charge", kinds.Money, 0, unit="order"),
        _input("chip_price", "Return for chips", kinds.Money, 0, unit="per_weight"),
        _input("remnant_price", "Return for remnants", kinds.Money, 0, unit="per_weight"),
    ),
}
STOP_INPUTS = (
    _input("stop_parts", "Stop after so many parts", kinds.Count, unit="parts",
           help_text="the run ends after so many parts; blank = until the bars run out"),
    _input("stop_bars", "Stop after so many bars", kinds.Count, unit="bars",
           help_text="the run ends after so many bars; blank = until the bars run out"),
    _input("stop_length", "Stop after so much length fed", kinds.Length,
           help_text="the run ends after so much length fed; blank = until the bars run out"),
)
ALL_INPUTS: dict[str, Input] = {i.name: i for group in (*INPUTS.values(), STOP_INPUTS) for i in group}

_P = "plan_"
_BAR_ARGUMENTS = (("min_remnant", "plan_min_remnant"),)
_ORDER_ARGUMENTS = (("parts_per_bar", "plan_parts_per_bar"),)
_DENSITY = (("material", "plan_density"),)  # looked up once: the table is the slowest part of a recalculation
_NEED_PRICE = "OR(ISBLANK(price),ISBLANK(price_per))"


def _formula_where(names: str, formula: str) -> str:
    """`formula`, or #N/A where one of the inputs it rests on is blank or bad."""
    tests = []
    for name in names.split():
        condition = ALL_INPUTS[name].kind.cell_condition(name)
        if not ALL_INPUTS[name].needed and ALL_INPUTS[name].default is not None:
            condition = f"OR(ISBLANK({name}),AND({condition}))"
        tests.append(condition)
    return f"IF(AND({','.join(tests)}),{formula},NA())"


ANSWERS: dict[str, tuple[Answer, ...]] = {
    "Yield": (
        Answer("feed", "Feed per part", "length", "length", calls="feed_per_part"),
        Answer("min_remnant", "Shortest remnant", "length", "length", calls="shortest_remnant"),
        Answer("parts_per_bar", "Parts per bar", "count", "parts", calls="parts_per_bar", refs=_BAR_ARGUMENTS),
        Answer("remnant", "Remnant", "length", "length", calls="remnant_length", refs=_BAR_ARGUMENTS),
        Answer("bar_use", "Use of the bar", "percent", "", calls="bar_use", refs=_BAR_ARGUMENTS),
        Answer("first_stickout", "First stick-out", "length", "length", calls="first_stickout"),
        Answer("stickout_ratio", "First stick-out in diameters", "ratio", "x size", calls="stickout_ratio",
               refs=(("stickout", "plan_first_stickout"),)),
    ),
    "Order": (
        Answer("starts", "Starts", "count", "parts", calls="starts_for_quantity"),
        Answer("bars", "Bars", "count", "bars", calls="bars_for_quantity", refs=_ORDER_ARGUMENTS),
        Answer("fewest_bars", "Bars if all were the longest", "count", "bars",
               formula='IF(ISBLANK(longest_bar),"-",' + _formula_where(
                   "longest_bar bar_length",
                   "IF(longest_bar<bar_length,NA(),COUNT_UP(plan_starts/PARTS_PER_BAR(longest_bar,part_length,"
                   "cutoff_width,plan_min_remnant,facing,end_trim)))") + ")"),
        Answer("last_bar_parts", "Parts from the last bar", "count", "parts", calls="last_bar_parts",
               refs=_ORDER_ARGUMENTS),
        Answer("last_bar_remnant", "Left of the last bar", "length", "length",
               formula="bar_length-end_trim-plan_last_bar_parts*plan_feed"),
        Answer("whole_bar_quantity", "Good parts the same bars give", "count", "parts", calls="whole_bar_quantity",
               refs=_ORDER_ARGUMENTS),
        Answer("fed_length", "Length fed in all", "length", "length", calls="fed_length",
               refs=(("parts", "plan_starts"), ("feed", "plan_feed"))),
    ),
    "Weight": (
        Answer("weight_per_length", "Weight per length", "weight_per_length", "weight_per_length",
               calls="weight_per_length", refs=_DENSITY),
        Answer("bar_weight", "One bar", "weight", "weight", calls="bar_weight",
               refs=(("length", "bar_length"), *_DENSITY)),
        Answer("total_weight", "All bars", "weight", "weight", formula="plan_bars*plan_bar_weight"),
        Answer("parts_weight", "Parts made", "weight", "weight",
               formula='plan_starts*IF(ISBLANK(part_weight),plan_section_weight*part_length,'
                       'IF(AND(ISNUMBER(part_weight),part_weight>0,part_weight<=plan_section_weight*part_length),'
                       'part_weight,NA()))'),
        Answer("chips_weight", "Chips", "weight", "weight",
               formula="plan_section_weight*(plan_starts*plan_feed+plan_bars*end_trim)-plan_parts_weight"),
        Answer("remnants_weight", "Remnants", "weight", "weight",
               formula="plan_section_weight*(MAX(0,plan_bars-1)*plan_remnant+plan_last_bar_remnant)"),
        Answer("load_weight", "A full feeder", "weight", "weight",
               formula=_formula_where("feeder_bars", "MIN(feeder_bars,plan_bars)*plan_bar_weight")),
    ),
    "Material cost": (
        Answer("material_cost", "Material", "money", "order", calls="material_cost",
               refs=(("bars", "plan_bars"), ("bar_weight", "plan_bar_weight"), ("cuts", "plan_cuts"))),
        Answer("scrap_return", "Return for chips and remnants", "money", "order", calls="scrap_return",
               refs=(("bars", "plan_bars"), ("bar_weight", "plan_bar_weight"), ("parts_weight", "plan_parts_weight"),
                     ("remnant_weight", "plan_remnants_weight"))),
        Answer("net_material", "Material less return", "money", "order", formula="plan_material_cost-plan_scrap_return"),
        Answer("material_each", "Material per good part", "money_each", "each", formula="plan_net_material/quantity"),
        Answer("machine_cost", "Lathe, set-up and run", "money", "order",
               formula=_formula_where("machine_rate", "plan_total_hours*machine_rate")),
    ),
    "Time": (
        Answer("run_hours", "Run", "hours", "hours", calls="run_hours",
               refs=(("starts", "plan_starts"), *_ORDER_ARGUMENTS)),
        Answer("total_hours", "Set-up and run", "hours", "hours",
               formula=_formula_where("setup_hours", "setup_hours+plan_run_hours")),
        Answer("parts_per_hour", "Parts per hour, bar changes counted", "rate", "per_hour_parts",
               formula="plan_starts/plan_run_hours"),
        Answer("unattended_hours", "Runs alone with a full feeder", "hours", "hours", calls="unattended_hours",
               refs=(("bars_loaded", "feeder_bars"), *_ORDER_ARGUMENTS)),
        Answer("feeder_loads", "Feeder loads", "count", "loads",
               formula=_formula_where("feeder_bars", "COUNT_UP(plan_bars/feeder_bars)")),
    ),
}
# Steps between that the page does not show among the answers.
_STEPS = (
    Answer("section_weight", "weight per unit of length", "weight", "",
           formula='plan_weight_per_length/IF(units="mm",1000,12)'),
    Answer("cuts", "saw cuts in all", "count", "", formula=_formula_where("cuts_per_bar", "plan_bars*cuts_per_bar")),
    Answer("parts_total", "length in parts", "length", "", formula="plan_parts_per_bar*part_length"),
    Answer("cutoff_total", "length cut off and faced", "length", "",
           formula="plan_parts_per_bar*(cutoff_width+facing)"),
    Answer("length_balance", "length that does not add up", "length", "",
           formula="bar_length-plan_parts_total-plan_cutoff_total-end_trim-plan_remnant"),
    Answer("weight_balance", "weight that does not add up", "weight", "",
           formula="plan_total_weight-plan_parts_weight-plan_chips_weight-plan_remnants_weight"),
)
_LIMIT = "plan_bars_at_hand*plan_parts_per_bar"


def _stop(name: str, parts: str) -> str:
    condition = ALL_INPUTS[name].kind.cell_condition(name)
    return f"IF(ISBLANK({name}),{_LIMIT},IF(AND({condition}),{parts},NA()))"


_STOP_ANSWERS = (
    Answer("bars_at_hand", "Bars at hand", "count", "bars",
           formula="IF(ISBLANK(bars_on_hand),plan_bars,IF(AND("
                   + ALL_INPUTS["bars_on_hand"].kind.cell_condition("bars_on_hand") + "),bars_on_hand,NA()))"),
    Answer("run_parts", "Parts the run makes", "count", "parts",
           formula=f"MIN({_LIMIT},{_stop('stop_parts', 'stop_parts')},"
                   f"{_stop('stop_bars', 'stop_bars*plan_parts_per_bar')},"
                   f"{_stop('stop_length', 'COUNT_DOWN(stop_length/plan_feed)')})"),
)
ALL_ANSWERS: dict[str, Answer] = {
    a.name: a for group in (*ANSWERS.values(), _STEPS, _STOP_ANSWERS) for a in group
}

HEADLINES = ("parts_per_bar", "bars", "total_weight", "net_material", "run_hours")


def _headline() -> str:
    """Cell expression: the five answers that everybody asks for, in one line; what is not known yet is a dash."""
    pieces = (('TEXT(plan_parts_per_bar,"#,##0")', '" parts per bar"'), ('TEXT(plan_bars,"#,##0")', '" bars"'),
              ('TEXT(plan_total_weight,"#,##0.0")', 'IF(units="mm"," kg"," lb")'),
              ('TEXT(plan_net_material,"#,##0.00")', '" material"'), ('TEXT(plan_run_hours,"#,##0.0")', '" h run"'))
    return '&"   |   "&'.join(f'IFERROR({value},"-")&{unit}' for value, unit in pieces)


def answer_formula(answer: Answer) -> str:
    """The native formula of an answer, without the leading `=`."""
    if answer.calls:
        return CATALOGUE[answer.calls].cell_formula(dict(answer.refs))
    return expand(answer.formula, {})


_U = 'IF(units="mm"," mm"," in")'
_W = 'IF(units="mm"," kg"," lb")'


def _len(x: str) -> str:
    return f'ROUND({x},3)&{_U}'


@dataclass(frozen=True)
class Check:
    """Cases in order; the first whose condition holds speaks. Each: condition, word, sentence as a cell expression."""

    topic: str
    cases: tuple[tuple[str, str, str], ...]
    long: bool = False


STOP, LOOK, NOTE, OK = "\u2715 STOP", "! LOOK", "i NOTE", "\u2713 OK"


def _problem_list() -> str:
    """Cell expression: the labels of all inputs that are missing or out of their limits."""
    pieces = []
    for item in ALL_INPUTS.values():
        name, label = item.name, f'"{item.label.lower()}, "'
        if item.kind.reader == "text":
            continue
        if item.kind.reader == "material":
            pieces.append(f'IF(ISERROR(plan_density),{label},"")')
            continue
        condition = f"AND({item.kind.cell_condition(name)})"
        if not item.needed:
            condition = f"OR(ISBLANK({name}),{condition})"
        pieces.append(f'IF({condition},"",{label})')
    return "&".join(pieces)


CHECKS = (
    Check("Whole parts", (
        ("plan_parts_per_bar=0", STOP, '"No whole part fits this bar. Shortest remnant, end trim and one feed need "'
                                       f'&{_len("plan_min_remnant+end_trim+plan_feed")}&"."'),
        ("TRUE", OK, '"One bar gives "&plan_parts_per_bar&" whole parts."'),
    )),
    Check("Section", (
        ("ISERROR(plan_weight_per_length)", STOP,
         '"Shape, size and thickness do not go together: a flat or a tube needs a thickness (a wall thinner than half '
         'the size), a solid bar none."'),
        ("TRUE", OK, '"Shape, size and thickness go together."'),
    ), long=True),
    Check("Feeder", (
        ("ISBLANK(longest_feeder_bar)", NOTE, '"The longest bar that the feeder takes is not filled in."'),
        ("MAX(bar_length,longest_bar)>longest_feeder_bar*(1+1E-9)", STOP,
         f'"The bar is longer than the feeder takes by "&{_len("MAX(bar_length,longest_bar)-longest_feeder_bar")}'
         '&": saw it first."'),
        ("TRUE", OK, '"The feeder takes this bar."'),
    )),
    Check("Stick-out", (
        ("plan_stickout_ratio>3*(1+1E-9)", LOOK,
         f'"The first stick-out is "&{_len("plan_first_stickout")}&", "&ROUND(plan_stickout_ratio,1)&" times the size. '
         'Over three, think about support, speed and chatter (common practice, no source)."'),
        ("TRUE", OK, '"The first stick-out is "&ROUND(plan_stickout_ratio,1)&" times the size, three or less."'),
    ), long=True),
    Check("Remnant", (
        ("plan_remnant>plan_feed*(1+1E-9)", NOTE,
         f'"The remnant is longer than one feed. A bar longer by "&{_len("plan_min_remnant+plan_feed-plan_remnant")}'
         '&" would give one more part."'),
        ("TRUE", OK, f'"The remnant, "&{_len("plan_remnant")}&", is no longer than one feed."'),
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
        ("TRUE", OK, '"There are bars enough."'),
    )),
    Check("Stop rule", (
        ("plan_run_parts<plan_starts", LOOK,
         '"The run stops at "&plan_run_parts&" parts, "&plan_starts-plan_run_parts&" before the order is filled."'),
        ("TRUE", OK, '"The run makes "&plan_run_parts&" parts; the order needs "&plan_starts&"."'),
    )),
    Check("Feeder load", (
        ("ISBLANK(feeder_bars)", NOTE, '"Bars the feeder holds are not filled in: no load weight, no hours alone."'),
        ("TRUE", NOTE, f'"A full load weighs "&ROUND(plan_load_weight,1)&{_W}&", one bar "&ROUND(plan_bar_weight,1)&{_W}'
                       '&". Lift within the shop\'s rules."'),
    )),
    Check("Time and price", (
        (f"AND(ISBLANK(cycle_time),{_NEED_PRICE})", NOTE, '"Cycle time and price are not filled in: no hours, no cost."'),
        ("ISBLANK(cycle_time)", NOTE, '"The cycle time is not filled in: no hours."'),
        (_NEED_PRICE, NOTE, '"The price or what it is per is not filled in: no material cost."'),
        ("TRUE", OK, '"Cycle time and price are filled in."'),
    )),
    Check("Balance", (
        ("OR(ABS(plan_length_balance)>1E-6,ABS(plan_weight_balance)>1E-6*(1+plan_total_weight))", STOP,
         '"Lengths or weights do not add up: do not use this sheet."'),
        ("TRUE", OK, '"Parts, chips and remnants add up to the bars, in length and in weight."'),
    )),
    Check("Material", (
        ('plan_material_caution<>""', LOOK, "plan_material_caution"),
        ("TRUE", OK, '"No caution in the materials table. Ask for the safety data sheet."'),
    ), long=True),
)

CAUTIONS = (
    "Bar that turns behind the spindle whips: support and enclose it over its whole length, also when the feeder is pushed back.",
    "Keep below the speed limits of the workholding, the feeder and the bar; a bent bar allows less. The lowest limit holds.",
    "Hexagon, square and flat bar runs out of balance and needs the right guide; start slowly and listen.",
    "A long stick-out bends, chatters and can throw the part. No public rule gives a safe number: the machine's manual does.",
    "Remnants and sawn ends have sharp edges. Wear gloves to handle them, never near a turning spindle.",
    "Fine chips of titanium and magnesium burn. Never use water on them; have a class D extinguisher and the shop's fire rules at hand.",
    "Free-machining alloys may hold lead: keep dust and fume down, wash hands before eating.",
    "Bars are heavy and long: lift with help or a hoist, and keep the way clear.",
    "The machine's and feeder's manuals, the shop's rules, local codes and licensed practice come before this sheet.",
)

_UNIT_FORMULAS = {
    "length": '=IF(units="mm","mm","in")',
    "weight": '=IF(units="mm","kg","lb")',
    "weight_per_length": '=IF(units="mm","kg/m","lb/ft")',
    "per_weight": '=IF(units="mm","per kg","per lb")',
    "price_per": '=IF(ISBLANK(price_per),"","per "&price_per)',
}
_UNIT_WORDS = {"seconds": "s", "hours": "h", "per_hour": "per h", "per_hour_parts": "parts/h", "order": "the order"}


def _unit(key: str) -> str:
    return _UNIT_FORMULAS.get(key) or _UNIT_WORDS.get(key, key)


def _answer_name(name: str) -> str:
    return _P + name


def _first_case(check: Check, part: int) -> str:
    formula = '"?"'
    for case in reversed(check.cases):
        text = f'"{case[1]}"' if part == 1 else f'"{check.topic}: "&{case[2]}'
        formula = text if case[0] == "TRUE" else f"IF({case[0]},{text},{formula})"
    blank = '"\u00b7 \u00b7 \u00b7"' if part == 1 else f'"{check.topic}: not known yet."'
    return f"=IFERROR({formula},{blank})"


def _put_input(book: Workbook, sheet: Worksheet, item: Input, columns: str, row: int) -> None:
    label, value, unit = tuple(columns)
    layout.put(sheet, f"{label}{row}", item.label + (" *" if item.needed else ""))
    layout.style_input(sheet, f"{value}{row}", item.number)
    sheet[f"{value}{row}"].value = item.default
    layout.put(sheet, f"{unit}{row}", _unit(item.unit) if item.unit else None, color=layout.SOFT, size=9, indent=1)
    source = "material_names" if item.kind.reader == "material" else None
    layout.validate(sheet, f"{value}{row}", item.kind, item.label, item.help, source)
    layout.name_cell(book, item.name, sheet, f"{value}{row}")


def _put_answer(book: Workbook, sheet: Worksheet, answer: Answer, columns: str, row: int) -> None:
    label, value, unit = tuple(columns)
    layout.put(sheet, f"{label}{row}", answer.label)
    layout.style_answer(sheet, f"{value}{row}", answer.number)
    sheet[f"{value}{row}"].value = "=" + answer_formula(answer)
    layout.put(sheet, f"{unit}{row}", _unit(answer.unit) if answer.unit else None, color=layout.SOFT, size=9, indent=1)
    layout.name_cell(book, _answer_name(answer.name), sheet, f"{value}{row}")


def _plan_sheet(book: Workbook) -> Worksheet:
    sheet = layout.add_sheet(book, "Plan", {"A": 1.5, "B": 29, "C": 21, "D": 9, "E": 2.5, "F": 34, "G": 13, "H": 10})
    layout.put(sheet, "B1", "Job plan", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "Fill the framed cells; those marked * are needed. The answers on the right follow.",
               color=layout.SOFT, size=9)
    layout.put(sheet, "F1", '=IFERROR(IF(job="","",job&"   ")&IF(part_number="","",part_number),"")', size=12, bold=True)
    layout.put(sheet, "F2", '=IF(customer="","",customer)', color=layout.SOFT)
    status = (f'=IF(plan_problems<>"","{STOP}  Fill in or correct: "&LEFT(plan_problems,LEN(plan_problems)-2)&".",'
              f'IF(COUNTIF(plan_check_words,"{STOP}")>0,"{STOP}  See the checks below.",'
              f'IF(COUNTIF(plan_check_words,"{LOOK}")>0,"{LOOK}  The plan is complete. See the checks below.",'
              f'"{OK}  The plan is complete, no check objects.")))')
    layout.put(sheet, "B3", status, bold=True, wrap=True)
    sheet.merge_cells("B3:H3")
    sheet.row_dimensions[3].height = 30
    layout.name_cell(book, "plan_status", sheet, "B3")
    layout.put(sheet, "B4", "=" + _headline(), size=12, bold=True, color=layout.ACCENT)
    sheet.merge_cells("B4:H4")
    sheet.row_dimensions[4].height = 24
    layout.name_cell(book, "plan_headline", sheet, "B4")
    row = 5
    for title, items in INPUTS.items():
        layout.heading(sheet, "B", "D", row, title)
        row += 1
        for item in items:
            _put_input(book, sheet, item, "BCD", row)
            row += 1
    inputs_end = row
    row = 5
    for title, answers in ANSWERS.items():
        layout.heading(sheet, "F", "H", row, title)
        row += 1
        for answer in answers:
            _put_answer(book, sheet, answer, "FGH", row)
            if answer.name in HEADLINES:
                sheet[f"F{row}"].font = sheet[f"G{row}"].font = layout.font(11, bold=True)
            row += 1
    layout.quiet_errors(sheet, f"G6:G{row}")
    row = max(row, inputs_end) + 1
    for line in range(5, row):
        sheet.row_dimensions[line].height = 15.5
    row = _bar_drawing(sheet, row)
    _checks(book, sheet, row)
    return sheet


_DRAWING = (
    ("End trim", "IF(ISNUMBER(end_trim),end_trim,0)"),
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
        layout.put(sheet, f"C{first + offset}", "=" + formula, align="right", number="length")
        layout.put(sheet, f"D{first + offset}", _unit("length"), color=layout.SOFT, size=9, indent=1)
    last = first + len(_DRAWING) - 1
    layout.put(sheet, f"B{last + 1}", '=IFERROR(plan_parts_per_bar&" parts of "&part_length&" and their cut-offs","")',
               color=layout.SOFT, size=9)
    layout.quiet_errors(sheet, f"C{first}:C{last}")
    _stacked_bar(sheet, first, last, f"E{first}", 12.6, 3.4, _FILLS)
    return row + 8


def _checks(book: Workbook, sheet: Worksheet, row: int) -> None:
    layout.heading(sheet, "B", "H", row, "Checks")
    first = row + 1
    for offset, check in enumerate(CHECKS):
        line = first + offset
        layout.put(sheet, f"B{line}", _first_case(check, 1), bold=True, wrap=True)
        layout.put(sheet, f"C{line}", _first_case(check, 2), wrap=True)
        sheet.merge_cells(f"C{line}:H{line}")
        sheet.row_dimensions[line].height = 27 if check.long else 15
    last = first + len(CHECKS) - 1
    layout.name_cell(book, "plan_check_words", sheet, f"B{first}:B{last}")
    strong = Side(style="medium", color=layout.INK)
    sheet.conditional_formatting.add(f"B{first}:B{last}", layout.rule_where(
        f'OR(B{first}="{STOP}",B{first}="{LOOK}")', font=Font(color=layout.ACCENT, bold=True),
        border=Border(left=strong)))
    layout.put(sheet, f"B{last + 2}", "Cautions are on the setter's sheet. Give it to the person at the lathe.",
               italic=True, color=layout.SOFT, size=9)
    sheet.print_area = f"A1:H{last + 2}"


def _setter_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, "Setter", {"A": 1.5, "B": 36, "C": 15, "D": 9, "E": 2.5, "F": 42})
    layout.put(sheet, "B1", "Setter's sheet", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "F1", '=IF(job="","",job&"   ")&IF(part_number="","",part_number)', size=12, bold=True)
    layout.put(sheet, "B2", '=IFERROR(IF(customer="","",customer&"   ")&IF(material="","",material&"   ")&shape&" "&size&'
                            f'IF(ISBLANK(thickness),""," x "&thickness)&{_U},"")', color=layout.SOFT)
    layout.heading(sheet, "B", "F", 4, "Lengths to key in")
    layout.put(sheet, "F4", "As your control calls it (write it in)", size=11, bold=True, color=layout.ACCENT)
    keyed = (("Feed per part", "plan_feed"), ("First stick-out, with end trim", "plan_first_stickout"),
             ("Shortest remnant", "plan_min_remnant"), ("Bar length", "bar_length"))
    for row, (label, ref) in enumerate(keyed, start=5):
        layout.put(sheet, f"B{row}", label, size=11)
        layout.style_answer(sheet, f"C{row}", "length", bold=True)
        sheet[f"C{row}"].value = f"=IF(ISNUMBER({ref}),{ref},NA())"
        layout.put(sheet, f"D{row}", _unit("length"), color=layout.SOFT, indent=1)
        layout.style_input(sheet, f"F{row}", "text")
        sheet.row_dimensions[row].height = 22
    layout.quiet_errors(sheet, "C5:C24")
    layout.heading(sheet, "B", "F", 10, "Stop rule: fill one, or leave all blank to run until the bars run out")
    for row, (item, wanted) in enumerate(zip(STOP_INPUTS, ("plan_starts", "plan_bars", "plan_fed_length"), strict=True),
                                         start=11):
        _put_input(book, sheet, item, "BCD", row)
        layout.put(sheet, f"F{row}", f'=IFERROR("the order needs "&ROUND({wanted},3)&" "&D{row},"")', color=layout.SOFT)
    row = 14
    for answer in _STOP_ANSWERS:
        _put_answer(book, sheet, answer, "BCD", row)
        row += 1
    layout.put(sheet, f"B{row}", '=IFERROR(IF(plan_run_parts<plan_bars_at_hand*plan_parts_per_bar,'
               '"The run ends by the stop rule after "&plan_run_parts&" parts.",'
               '"No limit in force: the run ends when the bars run out, after "&plan_run_parts&" parts."),"")', bold=True)
    layout.name_cell(book, "plan_stop_reason", sheet, f"B{row}")
    layout.heading(sheet, "B", "F", 18, "In front of the workholding's face, to scale")
    pieces = (("Standoff", "standoff"), ("Cut-off", "cutoff_width"), ("Part", "part_length"), ("Facing", "facing"),
              ("End trim (new bar)", "end_trim"))
    for line, (label, ref) in enumerate(pieces, start=19):
        layout.put(sheet, f"B{line}", label)
        layout.put(sheet, f"C{line}", f"=IF(OR(ISBLANK({ref}),ISNUMBER({ref})),0+{ref},NA())", align="right",
                   number="length")
        layout.put(sheet, f"D{line}", _unit("length"), color=layout.SOFT, size=9, indent=1)
    _stacked_bar(sheet, 19, 23, "E18", 9.2, 3.9, ("FFFFFF", "9C8F9A", layout.ACCENT, "D9CBD6", "E9DDC3"))
    line = 25
    line += 1
    layout.heading(sheet, "B", "F", line, "Cautions")
    for text in CAUTIONS:
        line += 1
        layout.put(sheet, f"B{line}", text, wrap=True)
        sheet.merge_cells(f"B{line}:F{line}")
        sheet.row_dimensions[line].height = 15 if len(text) < 105 else 27
    sheet.print_area = f"A1:F{line}"


def _materials_sheet(book: Workbook) -> None:
    widths = {"A": 1.5, "B": 27, "C": 18, "D": 10, "E": 12, "F": 9, "G": 8, "H": 8, "I": 44, "J": 44}
    sheet = layout.add_sheet(book, "Materials", widths, landscape=True)
    sheet.page_setup.fitToHeight = 0
    sheet.print_title_rows = "4:4"
    layout.put(sheet, "B1", "Materials", size=18, bold=True, color=layout.ACCENT)
    layout.put(sheet, "B2", "Your own materials go into the framed rows; they count before the table below. "
                            "Density in g/cm3. Check a value against the supplier's data sheet before it matters.",
               color=layout.SOFT, size=9)
    heads = ("Name", "Group", "Designations", None, None, None, "g/cm3", "Source of the density", "Caution")
    for column, head in zip("BCDEFGHIJ", heads, strict=True):
        layout.put(sheet, f"{column}4", head, bold=True, color=layout.ACCENT)
    row = 5
    for own in range(row, row + materials.OWN_ROWS):
        for column, number in (("B", "text"), ("H", "general")):
            layout.style_input(sheet, f"{column}{own}", number)
    density_kind = CATALOGUE["material_density"].result
    layout.validate(sheet, f"H{row}:H{row + materials.OWN_ROWS - 1}", density_kind, "Density", "density in g/cm3")
    own_last = row + materials.OWN_ROWS - 1
    layout.name_cell(book, "own_material_names", sheet, f"B{row}:B{own_last}")
    layout.name_cell(book, "own_material_densities", sheet, f"H{row}:H{own_last}")
    first = own_last + 1
    table = materials.builtin().rows
    for line, item in enumerate(table, start=first):
        codes = (*item.designations, *[None] * 4)[:4]
        lines = max(-(-len(text) // 46) for text in (item.density_source, item.caution, "-"))
        sheet.row_dimensions[line].height = 3 + 12 * lines
        values = (item.name, item.group, *codes, item.density, item.density_source, item.caution or None)
        for column, value in zip("BCDEFGHIJ", values, strict=True):
            layout.put(sheet, f"{column}{line}", value, size=9, align="right" if column == "H" else "left",
                       wrap=column in "IJ", number="density" if column == "H" else "general",
                       indent=1 if column == "I" else 0)
    last = first + len(table) - 1
    for name, column in (("material_names", "B"), ("material_code_1", "D"), ("material_code_2", "E"),
                         ("material_code_3", "F"), ("material_code_4", "G"), ("material_densities", "H"),
                         ("material_cautions", "J")):
        layout.name_cell(book, name, sheet, f"{column}{first}:{column}{last}")
    # Row numbers in a column of their own: ROW() over a range is not the same in every spreadsheet program.
    for line in range(first, last + 1):
        layout.put(sheet, f"A{line}", line - first + 1, size=1, color="FFFFFF")
    layout.name_cell(book, "material_rows", sheet, f"A{first}:A{last}")
    sheet.freeze_panes = "A5"


def _notes_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, "Notes", {"A": 1.5, "B": 30, "C": 92})
    layout.put(sheet, "B1", "Notes", size=18, bold=True, color=layout.ACCENT)
    row = 3
    layout.heading(sheet, "B", "C", row, "What each input means")
    for item in ALL_INPUTS.values():
        row += 1
        layout.put(sheet, f"B{row}", item.label)
        layout.put(sheet, f"C{row}", item.help[:1].upper() + item.help[1:] + ".", size=9)
    row += 2
    layout.heading(sheet, "B", "C", row, "How the answers are worked out")
    notes = [a.calls for group in ANSWERS.values() for a in group if a.calls]
    for name in dict.fromkeys(notes):
        row += 1
        layout.put(sheet, f"B{row}", CATALOGUE[name].cell_name, size=9)
        layout.put(sheet, f"C{row}", CATALOGUE[name].summary, size=9)
    row += 2
    layout.heading(sheet, "B", "C", row, "Sources")
    for text in (
        "Sections from geometry with sharp corners. Densities: the source stands beside each value on the sheet Materials.",
        "Inch 25.4 mm and pound 0.45359237 kg, both exact (yard and pound agreement of 1959).",
        "Yield, bars, starts and times: common practice of the trade, worked out as said above, no source.",
        "Whole numbers are rounded with a tolerance of a billionth, so that 12.6 / 0.1 counts as 126.",
        "Weight of chips is what is neither part nor remnant. The last bar is taken to be left as it is after its last part.",
    ):
        row += 1
        layout.put(sheet, f"B{row}", text, size=9)
    row += 2
    layout.heading(sheet, "B", "C", row, "Steps between")
    for line, answer in enumerate(_STEPS, start=row + 1):
        _put_answer(book, sheet, answer, "BCD", line)
        sheet[f"B{line}"].font = layout.font(9, color=layout.SOFT)
        sheet[f"C{line}"].alignment = Alignment(horizontal="left")
    line = row + 1 + len(_STEPS)
    density = CATALOGUE["material_density"].cell_formula()
    row_match = f"SUMPRODUCT(({MATERIAL_MATCHES})*material_rows)"
    extra = (
        ("density", "density", f"={density}"),
        ("material_row", "row of the material in the table, 0 for none", f"=IF(ISTEXT(material),{row_match},0)"),
        ("material_caution", "caution of the material",
         '=IF(plan_material_row>0,T(INDEX(material_cautions,plan_material_row)),"")'),
        ("problems", "inputs to fill in or correct", "=" + _problem_list()),
    )
    for name, label, formula in extra:
        layout.put(sheet, f"B{line}", label, size=9, color=layout.SOFT)
        layout.style_answer(sheet, f"C{line}", "text" if name != "density" else "weight_per_length")
        sheet[f"C{line}"].value = formula
        sheet[f"C{line}"].alignment = Alignment(horizontal="left", vertical="top", wrap_text=True)
        layout.name_cell(book, _answer_name(name), sheet, f"C{line}")
        line += 1
    layout.quiet_errors(sheet, f"C{row + 1}:C{line}")
    sheet.print_area = f"A1:C{line}"


@functools.cache
def build() -> bytes:
    """The template as the bytes of an xlsx file, without calculated values. The same on every day and machine."""
    book = layout.new_workbook("Job plan")
    _plan_sheet(book)
    _setter_sheet(book)
    _materials_sheet(book)
    _notes_sheet(book)
    import io

    buffer = io.BytesIO()
    book.save(buffer)
    return pack(layout.settled(read_parts(buffer.getvalue())))
