"""The sheet "Running alone" of a job plan: what stops the lathe first when nobody is there, and what that rests on."""

from openpyxl import Workbook

from barfuncs.catalogue import kinds
from barfuncs.templates import layout, plausible
from barfuncs.templates.cell_text import number_text
from barfuncs.templates.every_order import EACH_WEIGHT
from barfuncs.templates.form import Form, table_widths
from barfuncs.templates.model import LOOK, NOTE, OK, WRONG, Answer, Check, RowAnswer, Table, make_column, make_input
from barfuncs.templates.page import add_page

TITLE = "Running alone"
INPUTS = (
    make_input("parts_bin", "Parts the parts bin holds", kinds.PositiveCount, unit="parts",
               help_text="parts that the parts bin or catcher holds, or still holds, by the shop's own count"),
    make_input("chip_bin_count", "Parts until the chip bin is full", kinds.PositiveCount, unit="parts",
               help_text="by the shop's own count; left blank, it is worked out from the two below and the weight of a part, typed or that "
                         "of the sheet Part"),
    make_input("chip_bin", "Volume of the chip bin", kinds.BinVolume, from_shop=True,
               help_text="as far as it may be filled, in US gallons or liters"),
    make_input("bulk_factor", "Bulk factor of loose chips", kinds.BulkFactor,
               help_text="how many times the volume of the metal its loose chips take; the shop's own figure. A maker of conveyors prints "
                         "weights that make about 7 to 9 for broken chips of steel, 20 to 49 for loose turnings"),
    make_input("mean_time_between_stops", "Mean time between stops", kinds.PositiveHours, from_shop=True,
               help_text="hours between stops that nobody planned, from the shop's log"),
)

TOOLS = Table(
    name="tools",
    item="tool",
    label="Tools",
    row_label="Tool",
    rows=10,
    columns=(
        make_column("what", "Tool", kinds.Text, "what the setter calls it", width=34),
        make_column("parts_per_edge", "Parts per edge", kinds.PositiveCount, needed=True, unit="parts", width=16),
        make_column("parts_on_edge", "Made on it already", kinds.Count, unit="parts", width=16),
    ),
    answers=(RowAnswer("left", "Left on the edge", "blank_or_count", "parts",
                       f'IF(tool_filled=0,"",IF(LEFT(tool_mark,1)="{WRONG}",NA(),EDGE_PARTS_LEFT(tool_parts_per_edge,tool_parts_on_edge)))', width=14),
             # An edge that is worn at the first stop is changed there, and wears again.
             RowAnswer("next", "Worn behind the first stop", "blank_or_count", "parts",
                       'IF(tool_filled=0,"",tool_left+IF(tool_left<=first_stop_parts,tool_parts_per_edge,0))', aside=True)),
    looks=(("tool_parts_on_edge>=tool_parts_per_edge", '"! used up: change it before the run"'),),
    counted=False,
    marks_width=36,
)

# The chips of a part, as metal. Without the weight of a part nobody knows what is turned off it.
_CHIPS = (f"(section_weight*(bar_per_part+end_trim/parts_per_bar)-{EACH_WEIGHT})/density"
          '*IF(units="mm",1000000,1)')
_TO_GIVE = ('IF(ISBLANK(bulk_factor),IF(ISBLANK(part_weight)," (give bulk factor and weight of a part)"," (give the bulk factor)"),'
            'IF(ISBLANK(part_weight)," (give the weight of a part)",""))')
_ROW = "MATCH(until_edge,tool_left,0)"
LIMITS = (
    Answer("until_order", "The order is done", "count", "parts", formula="parts_to_make"),
    Answer("until_bars", "The bars in the feeder are used up", "count", "parts", formula="MIN(feeder_bars,bars)*parts_per_bar",
           needs="feeder_bars"),
    Answer("until_edge", "The first edge is worn", "count", "parts",
           formula=f'IF({TOOLS.wrong}>0,NA(),IF(COUNT(tool_left)=0,"-",MIN(tool_left)))'),
    Answer("until_parts_bin", "The parts bin is full", "count", "parts", formula='IF(ISBLANK(parts_bin),"-",parts_bin)'),
    Answer("until_chip_bin", "The chip bin is full", "count", "parts",
           formula='IF(ISBLANK(chip_bin_count),IF(ISBLANK(chip_bin),"-",IF(ISBLANK(bulk_factor),"-",IF(chip_volume<=0.000001,"-",'
                   "CHIP_BIN_PARTS(chip_bin,chip_volume,bulk_factor,units)))),chip_bin_count)"),
)
_SECOND = "MATCH(second_stop_parts,tool_next,0)"
_SECOND_EDGE = f'IF(INDEX(tool_what,{_SECOND})="","tool "&{_SECOND},INDEX(tool_what,{_SECOND}))'
_WORDS = (("until_order", '"order done"'), ("until_bars", '"bars used up"'), ("until_edge", 'next_edge'),
          ("until_parts_bin", '"parts bin full"'), ("until_chip_bin", '"chip bin full"'))


def _again(limit: str) -> str:
    """Cell expression: a limit behind the first stop, where what is full or used up then is seen to; more than any where it is not known."""
    return f'IF({limit}="-",1E15,{limit}*IF({limit}<=first_stop_parts,2,1))'


def _edges() -> str:
    """Cell expression: each tool of the list and the parts that are left on its edge."""
    left, what = "INDEX(tool_left,{n})", "INDEX(tool_what,{n})"
    return "&".join(f'IF(ISNUMBER({left}),"; "&IF({what}="","tool #",{what})&": "&{left},"")'.format(n=n).replace("#", str(n))
                    for n in range(1, TOOLS.rows + 1))


STEPS = (
    Answer("edges_to_change", "tools and the parts left on their edges", "text", formula=f"MID({_edges()},3,400)"),
    Answer("chip_volume", "chips of one part as metal, 0 where the weight of a part is not given", "general", "volume",
           formula=f"IF(parts_per_bar>0,IF(ISBLANK(part_weight),0,{_CHIPS}),NA())"),
    Answer("next_edge", "the edge that is worn first", "text",
           formula=f'IF(until_edge="-","","edge of "&IF(INDEX(tool_what,{_ROW})="","tool "&{_ROW},INDEX(tool_what,{_ROW})))'),
    Answer("second_stop_hours", "hours of running up to the second stop", "hours", "hours",
           formula='IF(second_stop_parts="-",IF(first_stop_hours>=0,"-"),RUN_HOURS(second_stop_parts,cycle_time,parts_per_bar,bar_change_time))'),
    Answer("stops_not_known", "what may stop the lathe and is not known", "text",
           formula='MID(IF(until_edge="-",", tool edges","")&IF(until_parts_bin="-",", parts bin","")'
                   f'&IF(until_chip_bin="-",", chip bin"&IF(ISBLANK(chip_bin),"",{_TO_GIVE}),""),3,120)'),
)
TIMES = (
    Answer("first_stop_parts", "First stop when alone, at most after", "count", "parts",
           formula="MIN(until_order,until_bars," + ",".join(f'IF({a.name}="-",1E15,{a.name})' for a in LIMITS[2:]) + ")", needs="feeder_bars"),
    Answer("first_stop_hours", "First stop when alone, at most after", "hours", "hours",
           formula="RUN_HOURS(first_stop_parts,cycle_time,parts_per_bar,bar_change_time)", needs="cycle_time feeder_bars"),
    Answer("first_stop", "What stops it first", "text",
           formula="IF(first_stop_parts>=0,MID(" + "&".join(f'IF({limit}=first_stop_parts,", "&{words},"")' for limit, words in _WORDS)
           + ",3,150),NA())", needs="feeder_bars"),
    Answer("second_stop_parts", "With that put right, at most after", "count", "parts",
           formula='IF(first_stop_parts>=until_order,"-",MIN(until_order,' + ",".join(map(_again, ("until_bars", "until_parts_bin", "until_chip_bin")))
           + ",IF(COUNT(tool_next)=0,1E15,MIN(tool_next))))", needs="feeder_bars"),
    Answer("second_stop", "What stops it then", "text",
           formula='IF(second_stop_parts="-","-",MID(' + "&".join(
               f'IF({when}=second_stop_parts,", {words}","")' for when, words in (
                   ("until_order", "order done"), (_again("until_bars"), "bars used up"), (_again("until_parts_bin"), "parts bin full"),
                   (_again("until_chip_bin"), "chip bin full")))
           + f'&IF(COUNT(tool_next)=0,"",IF(MIN(tool_next)=second_stop_parts,", edge of "&{_SECOND_EDGE},"")),3,150))', needs="feeder_bars"),
    Answer("chance_alone", "Chance to get to the first stop", "percent", "", calls="chance_to_run", refs=(("hours", "first_stop_hours"),),
           needs="mean_time_between_stops cycle_time feeder_bars"),
    Answer("hours_alone", "Runs alone on average, with stops", "hours", "hours", calls="expected_hours",
           refs=(("hours", "first_stop_hours"),), needs="mean_time_between_stops cycle_time feeder_bars"),
)

HOURS = f'IF(ISNUMBER(first_stop_hours),", "&{number_text("first_stop_hours", 1)}&" h","")'
AT_MOST = f'"at most "&{number_text("first_stop_parts", 0)}&" parts"&{HOURS}&": "&first_stop'
"""Cell expression: when the lathe stops and what stops it."""
THEN = (f'"With that put right, then at most "&{number_text("second_stop_parts", 0)}&" parts in all"&IF(ISNUMBER(second_stop_hours),", "&'
        f'{number_text("second_stop_hours", 1)}&" h of running","")&": "&second_stop')
"""Cell expression: when it stops next, where the first stop is not the end of the order."""
CHANCE = f'"Chance to get to the first stop without an unplanned one before it: about "&{number_text("100*chance_alone", 0)}&" %"'
CHECK = Check("First stop", (
    *plausible.ALONE_CASES,
    ("ISBLANK(feeder_bars)", NOTE, '"Not known: bars the feeder holds are not filled in."'),
    ("IF(ISNUMBER(until_edge),until_edge=0,FALSE)", LOOK, '"The "&next_edge&" is used up: change it before the run."'),
    ("LEN(stops_not_known)>0", NOTE, f'"Alone "&{AT_MOST}&". Not known and not counted: "&stops_not_known&"."'),
    ("first_stop_parts>=0", OK, f'"Alone "&{AT_MOST}&". Compared: order, bars, tool edges, parts bin, chip bin."'),
), long=True)
SOURCES = (
    "What stops the lathe first: common practice of the trade, worked out as said above, no source. Parts per edge and what the bins hold: your own counts.",
    "Bulk factor of loose chips: your own figure first; a guide to chip types by a maker of chip conveyors prints 55 to 75 lb/ft3 for broken "
    "chips of steel, 10 to 25 for light turnings, 490 for solid steel.",
    "Chance to get to the first stop: stops that nobody planned come at random and as often in the last hour as in the first, exp(-hours / mean time).",
)

_HOW = (
    "One row for each tool whose edge may wear out before the order is done, by the parts that one edge makes in your shop. With sister tools: "
    "the parts of all their edges.",
    "All figures are at most: a broken tool, a jam or a bar that does not feed stops it sooner. Efficiency is left out.",
    "Leave the lathe alone only as its manual, the shop's rules and local codes allow. The cautions are on the set-up sheet.",
)


def alone_sheet(book: Workbook, form: Form) -> None:
    page = add_page(book, TITLE, table_widths(TOOLS))
    page.title(TITLE)
    for text in _HOW:
        page.next_row(27 if len(text) > 120 else 15)
        page.put("B:F", text, size=9, color=layout.SOFT, wrap=True)
    page.skip()
    last = form.put_table(page, TOOLS)
    page.skip()
    page.heading("B:D", "Bins and stops")
    for item in INPUTS:
        page.next_row()
        form.put_input(page, item.name, "BCD")
    page.skip()
    page.heading("B:D", "What stops it, at most after")
    first = page.row + 1
    for answer in LIMITS:
        page.next_row()
        form.put_answer(page, answer.name, "BCD")
    layout.quiet_errors(page.sheet, f"C{first}:C{page.row}")
    page.skip()
    page.next_row(30)
    page.put("B:F", "=" + form.expression(f'IF(stopped=1,"{LOOK}  See the sheet Plan.",IFERROR("Alone "&{AT_MOST}&IF(stops_not_known="",".",'
                                          '". Not known and not counted: "&stops_not_known&"."),"Not known yet."))'), bold=True, wrap=True)
    for said in (f'IF(second_stop_parts="-","The order is then done.",{THEN}&".")',
                 f'{CHANCE}&", if such stops come at random, "&{number_text("mean_time_between_stops", 1)}&" h apart on average (exponential distribution)."'):
        page.next_row(15)
        page.put("B:F", "=" + form.expression(f'IF(stopped=1,"",IFERROR({said},""))'), wrap=True)
    page.print_to(last)
