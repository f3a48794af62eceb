"""Plausibility: whether the figures of a job are of a size that bar work has, and which slip is likely where they are not.

Every limit here is trade experience: common practice, no source. They are wide enough for 1 mm pins through a guide bush and
for 6 in shafts. A check that speaks names the figure and the likely slip; its tick says what was compared.
"""

from collections.abc import Sequence

from barfuncs.catalogue.kinds import MACHINE_TYPES
from barfuncs.catalogue.units import KG_PER_LB, MM_PER_INCH
from barfuncs.templates.cell_text import HAIR, UNIT_SUFFIX, WEIGHT_SUFFIX, number_text, part_weight_text
from barfuncs.templates.model import LOOK, NOTE, OK, STOP, Answer, Check

Case = tuple[str, str, str]
"""Condition, word, sentence, as in a check."""
Limit = tuple[str, str, str]
"""A figure as a share of its limit (a cell expression: more than 1 is out of the usual), word, sentence."""

# --- limits: common practice, no source; lengths in mm -------------------------------------------------------------

SHORTEST_BAR, LONGEST_BAR, IMPOSSIBLE_BAR = 550, 6400, 15000
SMALLEST_SIZE, LARGEST_SIZE, IMPOSSIBLE_SIZE = 0.8, 170, 400
HEAVIEST_BAR = 1000
"""kg"""
SHORTEST_FEEDER, LONGEST_FEEDER, LONGEST_SUPPLIED = 300, 7700, 12_500
NARROWEST_CUTOFF, WIDEST_CUTOFF = 0.4, 9
LEAST_FACING, MOST_FACING = 0.07, 5
LEAST_TRIM, MOST_TRIM = 0.4, 55
LEAST_KERF, MOST_KERF = 0.3, 10
SHORTEST_GRIP, SHORTEST_GRIP_AT_GUIDE_BUSH, LONGEST_GRIP = 9, 40, 360
NARROWEST_GAP, NARROWEST_GAP_AT_FIXED_HEAD, WIDEST_GAP, WIDEST_GAP_AT_GUIDE_BUSH = 0.45, 0.9, 63, 15
SHORTEST_PART = 0.8
LONGEST_PART, FLATTEST_PART = 60, 0.04
"""Part length in sizes."""
THINNEST_WALL, THINNEST_FLAT, THICKEST_FLAT = 0.015, 0.06, 2
"""Thickness in sizes."""
LIGHTEST_PART = 0.05
"""Finished part, as a share of the bar over its length."""
MOST_KEPT_BACK = 0.5
"""Minimum remnant, as a share of the bar."""
LONG_STICKOUT, LONG_STICKOUT_WITH_SECOND_SPINDLE, LONG_STICKOUT_OF_THIN_TUBE = 10, 25, 4
LONG_STICKOUT_OF_LARGE_BAR, LONG_STICKOUT_OF_SMALL_BAR, NO_LIMIT = 15, 30, 1000
"""Stick-out in thin sides. Large and small bar: where the machine type is not known, since a small one may run through a
guide bush, which holds it at the tool."""
LARGEST_THROUGH_GUIDE_BUSH = 40
THIN_WALL = 1 / 12
LEAST_EFFICIENCY = 0.3
SHORTEST_BAR_CHANGE, LONGEST_BAR_CHANGE = 3, 600
SHORTEST_SETUP, LONGEST_SETUP, LONGEST_RUN = 0.15, 24, 8760
"""Hours; the last is a year of days and nights."""
SHORTEST_INSPECTION, LONGEST_INSPECTION = 5, 7200
SHORTEST_TOOL_CHANGE, LONGEST_TOOL_CHANGE = 0.15, 60
"""Seconds."""
LONGEST_BETWEEN_STOPS = 200
"""Hours from one stop that nobody planned to the next."""
HEAVIEST_BOX = 1000
"""kg: more is no pallet box."""
LEAST_BULK, MOST_BULK = 2, 100
SMALLEST_CHIP_BIN, LARGEST_CHIP_BIN = 4, 3000
"""Liters."""
DEAREST_EDGE = 150
LEAST_SCRAP, MOST_SCRAP = 0.0008, 0.15
LEAST_PROFIT, MOST_MARGIN, MOST_MARKUP = 0.01, 0.7, 2
LEAST_RATE, MOST_RATE = 10, 500
LIKE_A_DOLLAR = ("$", "US$", "USD", "CA$", "C$", "CAD", "A$", "AUD", "\u20ac", "EUR", "\u00a3", "GBP", "CHF")
"""Currencies of which one is worth roughly a dollar; amounts in others are not judged."""
PER_KG = (
    (("free-machining steel", "carbon steel", "alloy steel"), (0.4, 40)),
    (("stainless steel", "tool steel"), (0.8, 80)),
    (("aluminum", "brass", "bronze", "copper"), (1, 90)),
    (("titanium", "nickel alloy"), (2, 600)),
    (("plastic",), (1, 1000)),
)
PER_KG_OF_OTHERS = (0.2, 300)
"""Price of a bar per kg, least and most, by the material's group."""
MOST_PER_METER = 3
"""On top of the most by weight: thin bar costs by the meter."""
MOST_SURCHARGE = 3
"""Surcharge of a material as a share of its price: that of an alloy may well be more than the price."""
MOST_CREDIT = 0.85
"""What chips or remnants bring, as a share of what their weight of bar costs."""

# --- expressions ---------------------------------------------------------------------------------------------------

_TUBE = 'OR(shape="tube",shape="hexagon tube")'
_AT_GUIDE_BUSH = 'IF(ISBLANK(machine_type),FALSE,LEFT(machine_type,10)="guide bush")'
_KG = f'IF(units="mm",1,{KG_PER_LB!r})'


def _figure(x: str, digits: int = 3) -> str:
    """Cell expression: a number as text, a whole one without decimals. Shorter than `number_text`, of which the formulas could
    not hold so many."""
    return f"FIXED({x}{HAIR},{digits}*(ABS({x}-ROUND({x},0))>1E-9),TRUE)"


def _length(x: str) -> str:
    return f"{_figure(x)}&{UNIT_SUFFIX}"


def _percent(x: str) -> str:
    return f'{_figure(f"(100*{x})", 2)}&" %"'


_IF_LARGE = 'IF(units="mm",": is it converted twice?",": is it in mm?")'
_IF_SMALL = 'IF(units="mm",": is it in inches?",": is it converted twice?")'


def _above(name: str, most: float | str) -> str:
    """A length as a share of the most that it may be."""
    return f"{name}*unit_mm/{most}"


def _below(name: str, least: float | str) -> str:
    """The least that a length may be as a share of it; 0 is not judged."""
    return f"IF({name},{least}/({name}*unit_mm),0)"


def _two(name: str, label: str, words: str, other: str, other_label: str) -> str:
    return f'"{label} "&{_length(name)}&" is {words} {other_label} "&{_length(other)}'


def _check(topic: str, limits: Sequence[Limit], *otherwise: Case, long: bool = False) -> Check:
    """A check that speaks where a figure is over its limit, and says `otherwise` where none is."""
    words = [(f"MAX({','.join(share for share, w, _ in limits if w == word)})>1", word)
             for word in (STOP, LOOK) if any(w == word for _, w, _ in limits)]
    over = [(f"{share}>1", word, sentence) for share, word, sentence in limits]
    return Check(topic, (*over, *otherwise), long, (*words, *((condition, word) for condition, word, _ in otherwise)))


def _per_kg(end: int) -> str:
    """Cell expression: the least (0) or the most (1) that a kg of such a material costs."""
    formula = f"{PER_KG_OF_OTHERS[end]}"
    for groups, ends in reversed(PER_KG):
        named = ",".join(f'INDEX(material_groups,material_row)="{g}"' for g in groups)
        formula = f"IF(OR({named}),{ends[end]},{formula})"
    return f"IF(material_row=0,{PER_KG_OF_OTHERS[end]},{formula})"


STEPS = (
    Answer("unit_mm", "mm in one unit of length", "general", formula=f'IF(units="mm",1,{MM_PER_INCH!r})'),
    Answer("thin_side", "thin side of the bar; of a tube the solid bar that bends as much", "length", "length",
           formula=f'IF(section_area>0,IF(shape="flat",MIN(size,thickness),IF({_TUBE},(size^4-(size-2*thickness)^4)^0.25,size)),NA())'),
    Answer("long_stickout", "stick-out in thin sides from which it is called long", "count",
           formula=f"IF(ISBLANK(machine_type),IF(size*unit_mm>{LARGEST_THROUGH_GUIDE_BUSH},{LONG_STICKOUT_OF_LARGE_BAR},"
                   f"{LONG_STICKOUT_OF_SMALL_BAR}),IF({_AT_GUIDE_BUSH},{NO_LIMIT},"
                   f'IF(machine_type="{MACHINE_TYPES[1]}",{LONG_STICKOUT_WITH_SECOND_SPINDLE},{LONG_STICKOUT})))'),
    # A quarter of the surface turned once and the section cut off, at 250 m/min and 0.16 mm; feeding takes two seconds.
    Answer("short_cycle", "shortest cycle of a part of this size", "rate", "seconds",
           formula=f"IF(size*unit_mm>{LARGEST_SIZE},0,2+unit_mm^2*(0.0015*section_area+0.0012*size*MIN(part_length,10*size)))"),
    Answer("long_cycle", "longest cycle of a part of this size", "rate", "seconds",
           formula="400+30*unit_mm*size+0.02*unit_mm^2*size*part_length"),
    Answer("price_kg", "price of the material per kg", "money_each", "",
           formula=f"MATERIAL_COST(1,material_price,price_per,bought_length,bought_weight,0,0,0,units)/(bought_weight*{_KG})",
           needs="material_price price_per"),
    Answer("least_per_kg", "lowest price of such a bar per kg", "money", "", formula=_per_kg(0)),
    Answer("most_per_kg", "highest price of such a bar per kg", "money", "",
           formula=f"{_per_kg(1)}+{MOST_PER_METER}*bar_length*unit_mm/1000/(bar_weight*{_KG})"),
)

# --- units: size, length and weight of the bar ---------------------------------------------------------------------

def _long_bar(what: str) -> str:
    return (f'"Bar length "&{_length("bar_length")}&" is "&IF(units="mm",{_figure("(bar_length/1000)", 1)}&" m, {what}: is it converted twice?",'
            f'{_figure("(bar_length/12)", 1)}&" ft, {what}; "&{_figure("bar_length")}&" mm is "&{_figure(f"(bar_length/{MM_PER_INCH!r})", 2)}&" in.")')


# What is read in feet, meters or inches, and what that is in the units of the sheet.
_READ_AS = (f'IF(units="mm",IF(bar_length<7," m is "&{_figure("(1000*bar_length)", 1)},IF(bar_length<=24," ft is "&{_figure(f"({12 * MM_PER_INCH!r}*bar_length)", 1)},'
            f'" in is "&{_figure(f"({MM_PER_INCH!r}*bar_length)", 1)}))&" mm."," ft is "&{_figure("(12*bar_length)", 2)}&" in.")')
_LARGE_SIZE = f'"Size "&{_length("size")}&" is large for a bar"&{_IF_LARGE}'

UNITS = _check("Units", (
    (_above("bar_length", IMPOSSIBLE_BAR), STOP, _long_bar("longer than any bar")),
    (_above("size", IMPOSSIBLE_SIZE), STOP, _LARGE_SIZE),
    (_above("bar_length", LONGEST_BAR), LOOK, _long_bar("long for a bar")),
    (_below("bar_length", SHORTEST_BAR), LOOK,
     f'"Bar length "&{_length("bar_length")}&" is short for a bar; "&{_figure("bar_length")}&{_READ_AS}'),
    (_above("size", LARGEST_SIZE), LOOK, _LARGE_SIZE),
    (_below("size", SMALLEST_SIZE), LOOK, f'"Size "&{_length("size")}&" is small for a bar"&{_IF_SMALL}'),
    (f"IF(ISBLANK(feeder_longest_bar),0,MAX({_above('feeder_longest_bar', LONGEST_FEEDER)},{_below('feeder_longest_bar', SHORTEST_FEEDER)}))",
     LOOK, f'"Longest bar the feeder takes is "&{_length("feeder_longest_bar")}&": is it in another unit?"'),
    (f"IF(ISBLANK(supplied_length),0,{_above('supplied_length', LONGEST_SUPPLIED)})", LOOK,
     f'"Supplied bar length "&{_length("supplied_length")}&" is long"&{_IF_LARGE}'),
    (f"bar_weight*{_KG}/{HEAVIEST_BAR}", LOOK,
     f'"One bar weighs "&{number_text("bar_weight", 0)}&{WEIGHT_SUFFIX}&": is each figure in the unit of the sheet?"'),
), ("TRUE", OK, f'"A bar "&{_length("bar_length")}&" long, "&{_length("size")}&" across and "&{_figure("bar_weight", 2)}&'
                f'{WEIGHT_SUFFIX}&" in weight is within what is usual."'))

# --- lengths: each against the others ------------------------------------------------------------------------------

_FIXED_HEAD_GAP = f"IF(long_stickout<{LONG_STICKOUT_OF_SMALL_BAR},{NARROWEST_GAP_AT_FIXED_HEAD},{NARROWEST_GAP})"

LENGTHS = _check("Lengths", (
    ("IF(cutoff_width,0,2)", LOOK, '"Cut-off width is 0: no bar is counted for cutting off."'),
    ("IF(grip_length,0,2)", LOOK, '"Grip length is 0: nothing would hold the bar while its last part is cut."'),
    ("1.000001*cutoff_width/part_length", LOOK,
     f'{_two("cutoff_width", "Cut-off width", "no less than", "part_length", "part length")}&": are they swapped, or in two units?"'),
    (_above("cutoff_width", WIDEST_CUTOFF), LOOK, f'"Cut-off width "&{_length("cutoff_width")}&" is wide"&{_IF_LARGE}'),
    (_below("cutoff_width", NARROWEST_CUTOFF), LOOK, f'"Cut-off width "&{_length("cutoff_width")}&" is narrow"&{_IF_SMALL}'),
    ("cutoff_width*unit_mm/(0.8+0.5*size*unit_mm)", LOOK,
     f'{_two("cutoff_width", "Cut-off width", "wide for", "size", "size")}&": is one in another unit?"'),
    (f"IF(cutoff_width,(0.35+0.016*unit_mm*IF({_TUBE},2*thickness,size))/(cutoff_width*unit_mm),0)", LOOK,
     f'{_two("cutoff_width", "Cut-off width", "narrow for", "size", "size")}&": is one in another unit, or the size swapped?"'),
    ("IF(cutoff_width,facing/(1.5*cutoff_width),0)", LOOK,
     f'{_two("facing", "Facing", "more than", "cutoff_width", "cut-off width")}&": are they swapped?"'),
    (_above("facing", MOST_FACING), LOOK, f'"Facing "&{_length("facing")}&" is large"&{_IF_LARGE}'),
    (_below("facing", LEAST_FACING), LOOK, f'"Facing "&{_length("facing")}&" is small"&{_IF_SMALL}'),
    (_above("end_trim", MOST_TRIM), LOOK, f'"End trim "&{_length("end_trim")}&" is large"&{_IF_LARGE}'),
    (_below("end_trim", LEAST_TRIM), LOOK, f'"End trim "&{_length("end_trim")}&" is small"&{_IF_SMALL}'),
    (f"IF(ISBLANK(kerf),0,MAX({_above('kerf', MOST_KERF)},{_below('kerf', LEAST_KERF)}))", LOOK,
     f'"Saw kerf "&{_length("kerf")}&" does not look right: is it in another unit?"'),
    (_above("grip_length", LONGEST_GRIP), LOOK, f'"Grip length "&{_length("grip_length")}&" is long"&{_IF_LARGE}'),
    (_below("grip_length", f"IF({_AT_GUIDE_BUSH},{SHORTEST_GRIP_AT_GUIDE_BUSH},{SHORTEST_GRIP})"), LOOK,
     f'"Grip length "&{_length("grip_length")}&" is short"&{_IF_SMALL}'),
    ("IF(grip_length,face_to_cutoff/grip_length,0)", LOOK,
     f'{_two("face_to_cutoff", "Face to cut-off tool", "more than", "grip_length", "grip length")}&": are they swapped?"'),
    (f"MAX({_above('face_to_cutoff', WIDEST_GAP)},"
     f"{_above('face_to_cutoff', f'IF({_AT_GUIDE_BUSH},{WIDEST_GAP_AT_GUIDE_BUSH},8+3*size*unit_mm)')})", LOOK,
     f'"Face to cut-off tool "&{_length("face_to_cutoff")}&" is wide for this bar"&{_IF_LARGE}'),
    (_below("face_to_cutoff", _FIXED_HEAD_GAP), LOOK, f'"Face to cut-off tool "&{_length("face_to_cutoff")}&" is narrow"&{_IF_SMALL}'),
    (f"MAX({_below('part_length', SHORTEST_PART)},part_length/({LONGEST_PART}*size),{FLATTEST_PART}*size/part_length)", LOOK,
     f'"Part length "&{_length("part_length")}&" is "&{_figure("(part_length/size)", 2)}&" times the size: is one in another unit?"'),
    (f'IF(thickness,MAX(IF(shape="flat",{THINNEST_FLAT},{THINNEST_WALL})*size/thickness,thickness/({THICKEST_FLAT}*size)),0)', LOOK,
     f'"Thickness "&{_length("thickness")}&" is "&{_figure("(thickness/size)", 3)}&" times the size: is one in another unit?"'),
    (f"IF(ISBLANK(part_weight),0,IFERROR({LIGHTEST_PART}*section_weight*part_length/part_weight,0))", LOOK,
     f'"A finished part weighs "&{part_weight_text("part_weight")}&{WEIGHT_SUFFIX}&", "&{_percent("part_weight/(section_weight*part_length)")}'
     '&" of the bar over its length: is one figure in another unit?"'),
    (f"min_remnant/({MOST_KEPT_BACK}*bar_length)", LOOK,
     f'"Grip and the gap to the cut-off tool keep back "&{number_text("100*min_remnant/bar_length", 0)}&" % of the bar."'),
), ("TRUE", OK, f'"Cut-off, facing, trim, grip and gap go with size "&{_length("size")}&" and part length "&{_length("part_length")}&"."'))

_IN_THIN_SIDES = (f'{_figure("(first_stickout/thin_side)", 1)}&" times "&IF(shape="flat","the thin side, "&{_length("thin_side")},'
                  f'IF({_TUBE},"a solid bar that bends as much, "&{_length("thin_side")},"the size"))')

STICKOUT = _check("Stick-out", (
    (f"IF({_TUBE},IF(thickness<size*{THIN_WALL!r},IF(long_stickout<{NO_LIMIT},first_stickout/({LONG_STICKOUT_OF_THIN_TUBE}*thin_side),0),0),0)", LOOK,
     f'"A tube with a wall of "&{_length("thickness")}&" sticks out "&{_length("first_stickout")}&": think about chatter and clamping."'),
    ("first_stickout/(long_stickout*thin_side)", LOOK,
     f'"The first stick-out, "&{_length("first_stickout")}&", is long, "&{_IN_THIN_SIDES}'
     f'&IF(long_stickout={LONG_STICKOUT_OF_SMALL_BAR},": does it run through a guide bush?",": support it, or check the part length.")'),
), ("TRUE", NOTE, f'"The first stick-out is "&{_length("first_stickout")}&", "&{_IN_THIN_SIDES}'
                  f'&IF({_AT_GUIDE_BUSH},", held at the guide bush.",". The machine\'s manual says what it may be.")'))

# --- times ---------------------------------------------------------------------------------------------------------

_LONG_CYCLE = f'{number_text("long_cycle/60", 0)}&" min"'


def times_check(cycle: str, missing: str, *more: Limit, run_hours: str = "") -> Check:
    """Times against what a part of this size takes. `cycle` is the cycle time; `missing` tells that there is none."""
    as_minutes = f'"; "&{_figure(cycle, 2)}&" min is "&{_figure(f"(60*{cycle})", 1)}&" s."'
    limits: list[Limit] = [
        (f"{LEAST_EFFICIENCY}/efficiency", LOOK, f'"Efficiency "&{_percent("efficiency")}&" means that the lathe stands most of the time."'),
        (f"IF(bar_change_time,{SHORTEST_BAR_CHANGE}/bar_change_time,0)", LOOK,
         f'"Bar change "&{_figure("bar_change_time")}&" s is short; "&{_figure("bar_change_time")}&" min is "&{_figure("(60*bar_change_time)", 1)}&" s."'),
        (f"bar_change_time/{LONGEST_BAR_CHANGE}", LOOK,
         f'"Bar change "&{_figure("bar_change_time")}&" s is "&{_figure("(bar_change_time/60)", 1)}&" min, long."'),
        (f"setup_hours/{LONGEST_SETUP}", LOOK,
         f'"Set-up time "&{_figure("setup_hours")}&" h is long; "&{_figure("setup_hours")}&" min is "&{_figure("(setup_hours/60)", 2)}&" h."'),
        (f"IF(setup_hours,{SHORTEST_SETUP}/setup_hours,0)", LOOK,
         f'"Set-up time "&{_figure("setup_hours")}&" h is "&{_figure("(60*setup_hours)", 1)}&" min, short."'),
        (f"IF({missing},0,short_cycle/{cycle})", LOOK, f'"A cycle of "&{_figure(cycle, 2)}&" s is short for a part of this size"&{as_minutes}'),
        (f"IF({missing},0,{cycle}/long_cycle)", LOOK, f'"A cycle of "&{_figure(cycle, 2)}&" s is "&{_figure(f"({cycle}/60)", 1)}&" min, long for a part of this size."'),
    ]
    if run_hours:
        limits.append((f"IF({missing},0,{run_hours}/{LONGEST_RUN})", LOOK,
                       f'"The run takes "&{number_text(run_hours, 0)}&" h, more than a year of days and nights: are quantity and cycle time right?"'))
    return _check("Times", (*limits, *more), (missing, NOTE, '"No cycle time is filled in: no hours."'),
                  ("TRUE", OK, f'"A cycle of "&{_figure(cycle, 1)}&" s is between "&{number_text("short_cycle", 0)}&" s and "&{_LONG_CYCLE}'
                               '&", what parts of this size take."'))


def _given(name: str, condition: str) -> str:
    """Cell expression: a condition on an input that may be blank, which is then not judged."""
    return f"IF(ISBLANK({name}),FALSE,{condition})"


def _short(name: str, least: float) -> str:
    return f"IF({name}>0,{name}<{least},FALSE)"


INSPECTION_CASES: tuple[Case, ...] = (
    (_short("inspection_time", SHORTEST_INSPECTION), LOOK, f'"Time to inspect one part, "&{_figure("inspection_time")}&" s, is short; "'
     f'&{_figure("inspection_time")}&" min is "&{_figure("(60*inspection_time)", 1)}&" s."'),
    (f"inspection_time>{LONGEST_INSPECTION}", LOOK,
     f'"Time to inspect one part, "&{_figure("inspection_time")}&" s, is "&{_figure("(inspection_time/3600)", 1)}&" h, long."'),
)
BOX_CASES: tuple[Case, ...] = (
    (f"box_weight*{_KG}>{HEAVIEST_BOX}", LOOK, f'"A box of "&{_figure("box_weight")}&{WEIGHT_SUFFIX}&" is heavier than a pallet takes: is it in "'
     '&IF(units="mm","grams?","grams or ounces?")'),
)
TOOL_CHANGE_CASES: tuple[Case, ...] = (
    (_short("tool_change_time", SHORTEST_TOOL_CHANGE), LOOK, f'"A tool change of "&{_figure("tool_change_time")}&" s is short; "'
     f'&{_figure("tool_change_time")}&" min is "&{_figure("(60*tool_change_time)", 1)}&" s."'),
    (f"tool_change_time>{LONGEST_TOOL_CHANGE}", LOOK, f'"A tool change of "&{_figure("tool_change_time")}&" s is long: is it the change of a worn edge?"'),
)
EDGE_LOOK = (f"IF(like_dollars>0,op_edge_cost>{DEAREST_EDGE},FALSE)", f'"! edge costs "&{_figure("op_edge_cost", 2)}&": a whole tool, or cents?"')
"""A row of the operation list: condition, words."""
_LITERS = 'chip_bin*IF(units="mm",1,3.785411784)'
_CHIP_BIN = f'"Volume of the chip bin, "&{_figure("chip_bin")}&IF(units="mm"," l"," gal")&", is '
ALONE_CASES: tuple[Case, ...] = (
    (_given("mean_time_between_stops", f"mean_time_between_stops>{LONGEST_BETWEEN_STOPS}"), LOOK,
     f'"Mean time between stops, "&{_figure("mean_time_between_stops")}&" h, is long; "&{_figure("mean_time_between_stops")}&" min is "'
     f'&{_figure("(mean_time_between_stops/60)", 1)}&" h."'),
    (_given("bulk_factor", f"bulk_factor<{LEAST_BULK}"), LOOK,
     f'"Bulk factor "&{_figure("bulk_factor")}&" is that of solid metal: loose chips take many times the volume."'),
    (_given("bulk_factor", f"bulk_factor>{MOST_BULK}"), LOOK, f'"Bulk factor "&{_figure("bulk_factor")}&" is high: is it a percentage?"'),
    (_given("chip_bin", f"{_LITERS}>{LARGEST_CHIP_BIN}"), LOOK, f'{_CHIP_BIN}large: is it in "&IF(units="mm","cm3?","in3?")'),
    (_given("chip_bin", f"{_LITERS}<{SMALLEST_CHIP_BIN}"), LOOK, f'{_CHIP_BIN}small: is it in "&IF(units="mm","m3?","ft3?")'),
)

# --- order ---------------------------------------------------------------------------------------------------------

SCRAP_CASES: tuple[Case, ...] = (
    (f"scrap_rate>{MOST_SCRAP}", LOOK, f'"Scrap rate "&{_percent("scrap_rate")}&" is high. Is it "&{_figure("scrap_rate")}&" %?"'),
    (f"IF(scrap_rate,scrap_rate<{LEAST_SCRAP},FALSE)", LOOK,
     f'"Scrap rate "&{_percent("scrap_rate")}&" is low. Is it "&{_percent("100*scrap_rate")}&"?"'),
)


def more_than_ordered(quantity: str, parts_to_make: str, sure: str = "") -> tuple[Case, ...]:
    """Cases for a run that makes many more than are ordered: a LOOK where that is unusual, with the reasons. `sure` is the
    confidence that the parts to make give, where they are not an average."""
    more = f"({parts_to_make}-{quantity})"
    confident = f'&", "&{_percent(sure)}&" sure"' if sure else ""
    # Parts to make with the first ones take the same bars as without them.
    first = f"IF(first_parts_scrapped=0,0,first_parts_scrapped*COUNT_UP({parts_to_make}/parts_per_bar))"
    sentence = (f'{parts_to_make}&" parts to make for "&{quantity}&" ordered, "&{number_text(f"100*{more}/{quantity}", 0)}&" % more: "'
                f'&setup_parts&" set-up pieces, "&({more}-setup_parts-{first})&" for a scrap rate of "&{_percent("scrap_rate")}{confident}'
                f'&IF(first_parts_scrapped=0,"",", "&{first}&" first parts of bars")&"."')
    return ((f"OR({more}>10+0.1*{quantity},setup_parts>{quantity},{more}-setup_parts>={quantity})", LOOK, sentence),
            (f"{more}>0.1*{quantity}", NOTE, sentence))


# --- money ---------------------------------------------------------------------------------------------------------

_PER_WEIGHT = f'{_figure(f"(price_kg*{_KG})", 2)}&IF(units="mm"," per kg"," per lb")'
_MATERIAL_COSTS = f'"Material at "&{_figure("material_price")}&" per "&price_per&" costs "&{_PER_WEIGHT}'


def _judged(share: str, missing: str, dollars: str) -> str:
    return f"IF({missing},0,{share})" if dollars == "TRUE" else f"IF({dollars},IF({missing},0,{share}),0)"


def _rate(name: str, label: str, dollars: str) -> tuple[Limit, ...]:
    return (
        (_judged(f"IF({name},{LEAST_RATE}/{name},0)", f"ISBLANK({name})", dollars), LOOK,
         f'"{label} "&{_figure(name, 2)}&" an hour is low; "&{_figure(name, 2)}&" a minute is "&{_figure(f"(60*{name})", 2)}&" an hour."'),
        (_judged(f"{name}/{MOST_RATE}", f"ISBLANK({name})", dollars), LOOK, f'"{label} "&{_figure(name, 2)}&" an hour is high. Is it for more than an hour?"'),
    )


def prices_check(dollars: str = "TRUE", more: tuple[Limit, ...] = ()) -> Check:
    """Prices and rates as amounts. `dollars` tells that the currency is worth about as much as a dollar; `more` are cases of one template alone."""
    credit, missing = f"MAX(chip_price,remnant_price)/{_KG}", "IFERROR(price_kg=0,TRUE)"
    return _check("Prices and rates", (
        *_rate("machine_rate", "Machine rate", dollars),
        *_rate("setup_rate", "Set-up rate", dollars),
        (_judged("price_kg/most_per_kg", missing, dollars), LOOK, f'{_MATERIAL_COSTS}&", much for it. Is the price for another unit?"'),
        (_judged("least_per_kg/price_kg", missing, dollars), LOOK, f'{_MATERIAL_COSTS}&", little for it. Is the price for another unit?"'),
        (f"IF({missing},0,material_surcharge/({MOST_SURCHARGE}*price_kg*{_KG}))", LOOK,
         f'"The surcharge is "&{number_text(f"100*material_surcharge/(price_kg*{_KG})", 0)}&" % of the price of the material. Is it for each "'
         f'&IF(units="mm","kg","lb")&", and not in the price already?"'),
        (f"IF({missing},0,{credit}/({MOST_CREDIT}*price_kg))", LOOK,
         f'"For their weight, chips or remnants bring "&{number_text(f"100*{credit}/price_kg", 0)}&" % of what the bar costs. Is each price for the right unit?"'),
        *more,
    ), (missing, NOTE, '"No price of the material is filled in, or not what it is per: no material cost."'),
        ("TRUE", OK, f'{_MATERIAL_COSTS}&"; that and the rates are within what is usual."'))


PROFIT_CASES: tuple[Case, ...] = (
    (f"markup>{MOST_MARKUP}", LOOK,
     f'"Markup "&{_percent("markup")}&" makes the price "&{_figure("(1+markup)", 2)}&" times the cost. Is it "&{_figure("markup")}&" %?"'),
    (f"margin>{MOST_MARGIN}", LOOK,
     f'"Margin "&{_percent("margin")}&" makes the price "&{_figure("(1/(1-margin))", 2)}&" times the cost. Is it "&{_figure("margin")}&" %?"'),
    *((f"IF({name},{name}<{LEAST_PROFIT},FALSE)", LOOK, f'"{label} "&{_percent(name)}&" is low. Is it "&{_percent(f"100*{name}")}&"?"')
      for name, label in (("margin", "Margin"), ("markup", "Markup"))),
)
"""Margin and markup that look like a percentage typed as a number, or the other way round."""

# --- the customer's page -------------------------------------------------------------------------------------------

_ON_THE_PAGE = "customer,part_number,attention,quote_number,quote_date,valid_until,part_description,delivery,reference,lead_time"


def day_of(cell: str) -> str:
    """Cell expression: a date typed as one, or as a text such as 2027-03-31; 0 for anything else."""
    typed = f"DATE(VALUE(LEFT({cell},4)),VALUE(MID({cell},6,2)),VALUE(MID({cell},9,2)))"
    return f'IF(ISNUMBER({cell}),{cell},IF(MID({cell},5,1)="-",IFERROR({typed},0),0))'


VALID_UNTIL = ('IF(valid_until<>"",valid_until,IF(ISBLANK(valid_days),"",'
               f'IF(valid_days*{day_of("quote_date")}>0,{day_of("quote_date")}+valid_days,"")))')
"""Cell expression: the last day of a quotation, as it is typed or so many days from its date; else a blank text."""


def _written(cell: str) -> str:
    return f'IF(ISNUMBER({cell}),YEAR({cell})&"-"&MONTH({cell})&"-"&DAY({cell}),{cell})'


QUOTATION = Check("Quotation", (
    (f"IF(OR(ISBLANK(quote_date),ISBLANK(valid_until)),FALSE,IF({day_of('valid_until')}>0,{day_of('valid_until')}<{day_of('quote_date')},FALSE))",
     STOP, f'"Valid until "&{_written("valid_until")}&" is before the date, "&{_written("quote_date")}&"."'),
    ('quote_problems<>""', NOTE, '"Not ready yet."'),
    (f'IF(seller_said="",COUNTA({_ON_THE_PAGE})>0,FALSE)', LOOK,
     '"The customer\'s page names no sender: fill in your company on the sheet Quotation."'),
    ('seller_said=""', NOTE, '"Nothing is filled in on the sheet Quotation."'),
    ('currency_shown=""', NOTE, '"The customer\'s page names no currency: fill it in on the sheet Quotation, or give a shop file that names it."'),
    ("TRUE", OK, '"The customer\'s page names its sender and its currency, and does not lapse before its date."'),
))
