"""Plausibility: whether the figures of a job are of a size that bar work has, and which slip is likely where they are not.

Every limit here is trade experience: common practice, no source. Lengths are in mm, and wide enough for 1 mm pins through
a guide bush and for 6 in shafts. A check that speaks names the figure and the likely slip; its tick says what was compared.
"""

from collections.abc import Sequence

from barfuncs.kinds import MACHINE_TYPES
from barfuncs.units import KG_PER_LB, MM_PER_INCH
from barfuncs.workbooks.form import LOOK, NOTE, OK, STOP, UNIT_SUFFIX, WEIGHT_SUFFIX, Answer, Check, length_text

Case = tuple[str, str, str]

# --- limits: common practice, no source ----------------------------------------------------------------------------

SHORTEST_BAR, LONGEST_BAR, IMPOSSIBLE_BAR = 550, 6400, 15000
SMALLEST_SIZE, LARGEST_SIZE, IMPOSSIBLE_SIZE = 0.8, 170, 400
HEAVIEST_BAR = 1000
"""kg"""
SHORTEST_FEEDER, LONGEST_FEEDER = 300, 7700
NARROWEST_CUTOFF, WIDEST_CUTOFF = 0.4, 9
LEAST_FACING, MOST_FACING = 0.07, 5
LEAST_TRIM, MOST_TRIM = 0.4, 55
SHORTEST_GRIP, SHORTEST_GRIP_WITH_GUIDE_BUSH, LONGEST_GRIP = 9, 40, 360
NARROWEST_GAP, NARROWEST_GAP_AT_FIXED_HEAD, WIDEST_GAP, WIDEST_GAP_AT_GUIDE_BUSH = 0.45, 0.9, 63, 15
SHORTEST_PART = 0.8
LONGEST_PART, FLATTEST_PART = 60, 0.04
"""Part length in sizes."""
THINNEST_WALL, THINNEST_FLAT, THICKEST_FLAT = 0.015, 0.06, 2
"""Thickness in sizes."""
LONG_STICKOUT, LONG_STICKOUT_WITH_SECOND_SPINDLE, LONG_STICKOUT_OF_A_TUBE = 10, 25, 4
LONG_STICKOUT_OF_SMALL_BAR, LONG_STICKOUT_OF_LARGE_BAR = 30, 15
"""Stick-out in thin sides. The last two where the machine type is not known: a small bar may run through a guide bush."""
NO_LIMIT = 1000
LARGEST_THROUGH_GUIDE_BUSH = 40
THIN_WALL = 1 / 12
LIGHTEST_PART = 0.05
"""Finished part, as a share of the bar over its length."""
SHORTEST_BAR_CHANGE, LONGEST_BAR_CHANGE = 3, 600
SHORTEST_SETUP, LONGEST_SETUP, LONGEST_RUN = 0.15, 24, 8760
"""Hours; the last is a year of days and nights."""
LEAST_EFFICIENCY = 0.3
LEAST_SCRAP, MOST_SCRAP = 0.0008, 0.15
LEAST_PROFIT, MOST_MARGIN, MOST_MARKUP = 0.01, 0.7, 2
LEAST_RATE, MOST_RATE = 10, 500
DATES = (40_000, 60_000)
"""What a spreadsheet keeps for a day of the years 2009 to 2064."""
LIKE_A_DOLLAR = ("$", "US$", "USD", "CA$", "C$", "CAD", "A$", "AUD", "\u20ac", "EUR", "\u00a3", "GBP", "CHF")
"""Currencies of which one is worth roughly a dollar; amounts in others are not judged."""
_PER_KG = (
    (("free-machining steel", "carbon steel", "alloy steel"), (0.4, 40)),
    (("stainless steel", "tool steel"), (0.8, 80)),
    (("aluminum", "brass", "bronze", "copper"), (1, 90)),
    (("titanium", "nickel alloy", "plastic"), (2, 600)),
)
_PER_KG_OF_ANY = (0.2, 300)
"""Price of a bar per kg, least and most, by the material's group."""
_MOST_PER_METER = 3
"""On top of the price by weight: thin bar costs by the meter."""

# --- sentences -----------------------------------------------------------------------------------------------------

def _figure(x: str) -> str:
    return f"ROUND({x},4)"


def _percent(x: str) -> str:
    return f'ROUND(100*{x},2)&" %"'


_LENGTH = f'&{UNIT_SUFFIX}'


def _length(x: str) -> str:
    return f"{_figure(x)}{_LENGTH}"


def _in_the_other_unit(x: str) -> str:
    """Cell expression: the figure read in the unit that the sheet is not in."""
    return (f'IF(units="mm",{_figure(x)}&" in is "&ROUND({x}*{MM_PER_INCH!r},2)&" mm.",'
            f'{_figure(x)}&" mm is "&ROUND({x}/{MM_PER_INCH!r},4)&" in.")')


def _large(name: str, label: str, what: str) -> str:
    twice = f'IF(units="mm","Is it converted twice?",{_in_the_other_unit(name)})'
    return f'"{label} "&{_length(name)}&" is {what}. "&{twice}'


def _too_large(name: str, label: str, limit: float | str, what: str) -> Case:
    return (f"{name}*unit_mm>{limit}", LOOK, _large(name, label, what))


def _too_small(name: str, label: str, limit: float | str, what: str) -> Case:
    twice = f'IF(units="mm",{_in_the_other_unit(name)},"Is it converted twice?")'
    return (f"AND({name}>0,{name}*unit_mm<{limit})", LOOK, f'"{label} "&{_length(name)}&" is {what}. "&{twice}')


# --- steps ---------------------------------------------------------------------------------------------------------

_GUIDE_BUSH = 'IF(ISBLANK(machine_type),FALSE,LEFT(machine_type,10)="guide bush")'

_RANGES = (
    _too_large("cutoff_width", "Cut-off width", WIDEST_CUTOFF, "wide for a cut-off tool"),
    _too_small("cutoff_width", "Cut-off width", NARROWEST_CUTOFF, "narrow for a cut-off tool"),
    _too_large("facing", "Facing", MOST_FACING, "much"),
    _too_small("facing", "Facing", LEAST_FACING, "little"),
    _too_large("end_trim", "End trim", MOST_TRIM, "much"),
    _too_small("end_trim", "End trim", LEAST_TRIM, "little"),
    _too_large("grip_length", "Grip length", LONGEST_GRIP, "long"),
    _too_small("grip_length", "Grip length", f"IF({_GUIDE_BUSH},{SHORTEST_GRIP_WITH_GUIDE_BUSH},{SHORTEST_GRIP})", "short"),
    _too_large("face_to_cutoff", "Face to cut-off tool", WIDEST_GAP, "wide"),
    _too_small("face_to_cutoff", "Face to cut-off tool",
               f"IF(IF(ISBLANK(machine_type),size*unit_mm>{LARGEST_THROUGH_GUIDE_BUSH},NOT({_GUIDE_BUSH})),"
               f"{NARROWEST_GAP_AT_FIXED_HEAD},{NARROWEST_GAP})", "narrow"),
    _too_small("part_length", "Part length", SHORTEST_PART, "short"),
)


def _first_sentence(cases: Sequence[Case]) -> str:
    """Cell expression: the sentence of the first case that holds, or an empty text."""
    formula = '""'
    for condition, _, sentence in reversed(cases):
        formula = f"IF({condition},{sentence},{formula})"
    return formula


def _per_kg(end: int) -> str:
    """Cell expression: the least (0) or the most (1) that a kg of such a material costs."""
    formula = f"{_PER_KG_OF_ANY[end]}"
    for groups, ends in reversed(_PER_KG):
        named = ",".join(f'INDEX(material_groups,material_row)="{g}"' for g in groups)
        formula = f"IF(OR({named}),{ends[end]},{formula})"
    return f"IF(material_row=0,{_PER_KG_OF_ANY[end]},{formula})"


STEPS = (
    Answer("unit_mm", "mm in one unit of length", "general", formula=f'IF(units="mm",1,{MM_PER_INCH!r})'),
    Answer("length_slip", "a length out of what is usual", "text", formula=_first_sentence(_RANGES)),
    Answer("thin_side", "thin side of the bar; of a tube the solid bar that bends as much", "length", "length",
           formula='IF(section_area>0,IF(shape="flat",MIN(size,thickness),IF(OR(shape="tube",shape="hexagon tube"),'
                   "(size^4-(size-2*thickness)^4)^0.25,size)),NA())"),
    Answer("long_stickout", "stick-out in thin sides from which it is called long", "count",
           formula=f"IF(ISBLANK(machine_type),IF(size*unit_mm>{LARGEST_THROUGH_GUIDE_BUSH},{LONG_STICKOUT_OF_LARGE_BAR},"
                   f"{LONG_STICKOUT_OF_SMALL_BAR}),IF({_GUIDE_BUSH},{NO_LIMIT},"
                   f'IF(machine_type="{MACHINE_TYPES[1]}",{LONG_STICKOUT_WITH_SECOND_SPINDLE},{LONG_STICKOUT})))'),
    # Half the surface turned once and the section cut off, at 250 m/min and 0.16 mm; chucking and feeding take two seconds.
    Answer("short_cycle", "shortest cycle of a part of this size", "rate", "seconds",
           formula="2+unit_mm^2*(0.0015*section_area+0.0012*size*MIN(part_length,10*size))"),
    Answer("long_cycle", "longest cycle of a part of this size", "rate", "seconds", formula="400+30*unit_mm*size"),
    Answer("price_kg", "price of the material per kg", "money_each", "",
           formula="MATERIAL_COST(1,material_price,price_per,bar_length,bar_weight,0,0,0,units)/bar_weight"
                   f'/IF(units="mm",1,{KG_PER_LB!r})', needs="material_price price_per"),
    Answer("least_per_kg", "lowest price of such a bar per kg", "money", "", formula=_per_kg(0)),
    Answer("most_per_kg", "highest price of such a bar per kg", "money", "",
           formula=f'{_per_kg(1)}+{_MOST_PER_METER}*bar_length*unit_mm/1000/(bar_weight*IF(units="mm",1,{KG_PER_LB!r}))'),
)


# --- units ---------------------------------------------------------------------------------------------------------

_MAY_BE_DATES = ("size", "thickness", "part_length", "cutoff_width", "facing", "end_trim", "face_to_cutoff", "grip_length")
_LARGEST = f"MAX({','.join(_MAY_BE_DATES)})"


def _date() -> Case:
    label = '"Grip length"'
    labels = ("Size", "Thickness", "Part length", "Cut-off width", "Facing", "End trim", "Face to cut-off tool")
    for name, text in reversed(tuple(zip(_MAY_BE_DATES, labels, strict=False))):
        label = f'IF({name}>={DATES[0]},"{text}",{label})'
    month_day = f'MONTH({_LARGEST})&"/"&DAY({_LARGEST})'
    return (f"AND({_LARGEST}>={DATES[0]},{_LARGEST}<={DATES[1]})", STOP,
            f'{label}&" "&{_LARGEST}&" is the date "&{month_day}&" as a spreadsheet keeps it. Type the fraction as "'
            f'&ROUND(MONTH({_LARGEST})/DAY({_LARGEST}),5)&"."')


_FEET = (f'IF(units="mm",IF(bar_length<7,{_figure("bar_length")}&" m is "&ROUND(1000*bar_length,1)&" mm.",IF(bar_length<=24,'
         f'{_figure("bar_length")}&" ft is "&ROUND({12 * MM_PER_INCH!r}*bar_length,1)&" mm.",{_in_the_other_unit("bar_length")})),'
         f'{_figure("bar_length")}&" ft is "&ROUND(12*bar_length,2)&" in.")')
_LONG_BAR = ('IF(units="mm",ROUND(bar_length/1000,1)&" m",ROUND(bar_length/12,1)&" ft")')


def units_check() -> Check:
    """Size, length and weight of the bar: the whole sheet in the other unit, feet for inches, a date for a fraction."""
    long_bar = (f'"Bar length "&{_length("bar_length")}&" is "&{_LONG_BAR}&", {{}}. "&IF(units="mm","Is it converted twice?",'
                f'{_in_the_other_unit("bar_length")})')
    feeder = ("feeder_longest_bar", "Longest bar the feeder takes")
    feeder_cases = (_too_large(*feeder, LONGEST_FEEDER, "long for a feeder"), _too_small(*feeder, SHORTEST_FEEDER, "short for a feeder"))
    return Check("Units", (
        _date(),
        (f"bar_length*unit_mm>{IMPOSSIBLE_BAR}", STOP, long_bar.format("longer than any bar")),
        (f"size*unit_mm>{IMPOSSIBLE_SIZE}", STOP, _large("size", "Size", "more than any lathe feeds as bar")),
        (f"bar_length*unit_mm>{LONGEST_BAR}", LOOK, long_bar.format("long for a bar")),
        (f"bar_length*unit_mm<{SHORTEST_BAR}", LOOK, f'"Bar length "&{_length("bar_length")}&" is short for a bar; "&{_FEET}'),
        _too_large("size", "Size", LARGEST_SIZE, "large for a bar"),
        _too_small("size", "Size", SMALLEST_SIZE, "small for a bar"),
        (f'bar_weight>IF(units="mm",{HEAVIEST_BAR},{round(HEAVIEST_BAR / KG_PER_LB)})', LOOK,
         f'"One bar weighs "&ROUND(bar_weight,0)&{WEIGHT_SUFFIX}&": is each figure in the unit of the sheet?"'),
        *((f"IF(ISBLANK(feeder_longest_bar),FALSE,{condition})", word, text) for condition, word, text in feeder_cases),
        ("TRUE", OK, f'"A bar "&{_length("bar_length")}&" long, "&{_length("size")}&" across and "&ROUND(bar_weight,2)&'
                     f'{WEIGHT_SUFFIX}&" in weight is within what is usual."'),
    ))


# --- lengths -------------------------------------------------------------------------------------------------------

_TUBE = 'OR(shape="tube",shape="hexagon tube")'
_MISSING = "(min_remnant+bar_per_part-remnant)"


def lengths_check() -> Check:
    """Each length against the others: another unit in one cell, two cells that are swapped."""
    return Check("Lengths", (
        ("cutoff_width=0", LOOK, '"Cut-off width is 0: no bar is counted for cutting off."'),
        ("grip_length=0", LOOK, '"Grip length is 0: nothing would hold the bar while its last part is cut."'),
        ("cutoff_width>=part_length", LOOK,
         f'"Cut-off width "&{_length("cutoff_width")}&" is no less than part length "&{_length("part_length")}'
         '&": are they swapped, or in two units?"'),
        ('length_slip<>""', LOOK, "length_slip"),
        ("cutoff_width*unit_mm>0.8+0.5*size*unit_mm", LOOK,
         f'"Cut-off width "&{_length("cutoff_width")}&" is wide for size "&{_length("size")}&": is each in the unit of the sheet?"'),
        (f"cutoff_width*unit_mm<0.35+0.016*unit_mm*IF({_TUBE},2*thickness,size)", LOOK,
         f'"Cut-off width "&{_length("cutoff_width")}&" is narrow for size "&{_length("size")}'
         '&": is each in the unit of the sheet, and the size not the length?"'),
        ("facing>1.5*cutoff_width", LOOK, f'"Facing "&{_length("facing")}&" is more than cut-off width "&{_length("cutoff_width")}'
                                          '&": are they swapped?"'),
        ("face_to_cutoff>grip_length", LOOK,
         f'"Face to cut-off tool "&{_length("face_to_cutoff")}&" is more than grip length "&{_length("grip_length")}'
         '&": are they swapped?"'),
        (f"face_to_cutoff*unit_mm>IF({_GUIDE_BUSH},{WIDEST_GAP_AT_GUIDE_BUSH},8+3*size*unit_mm)", LOOK,
         f'"Face to cut-off tool "&{_length("face_to_cutoff")}&" is wide for this bar. "&{_in_the_other_unit("face_to_cutoff")}'),
        (f"part_length>{LONGEST_PART}*size", LOOK,
         f'"Part length "&{_length("part_length")}&" is "&ROUND(part_length/size,0)&" times the size. "&{_in_the_other_unit("part_length")}'),
        (f"part_length<{FLATTEST_PART}*size", LOOK,
         f'"Part length "&{_length("part_length")}&" is little for size "&{_length("size")}&". "&{_in_the_other_unit("part_length")}'),
        (f'OR(AND(thickness>0,thickness<size*IF(shape="flat",{THINNEST_FLAT},{THINNEST_WALL})),AND(shape="flat",thickness>{THICKEST_FLAT}*size))', LOOK,
         f'"Thickness "&{_length("thickness")}&" does not look right for size "&{_length("size")}&". "&{_in_the_other_unit("thickness")}'),
        (f"IF(ISBLANK(part_weight),FALSE,part_weight<{LIGHTEST_PART}*IFERROR(section_weight*part_length,0))", LOOK,
         f'"A finished part weighs "&{_figure("part_weight")}&{WEIGHT_SUFFIX}&", "&{_percent("part_weight/(section_weight*part_length)")}'
         '&" of the bar over its length: is each in the unit of the sheet?"'),
        ("min_remnant>0.5*bar_length", LOOK,
         '"Grip and the gap to the cut-off tool keep back "&ROUND(100*min_remnant/bar_length,0)&" % of the bar."'),
        (f"AND({_MISSING}<0.25*bar_per_part,bar_per_part>0.05*bar_length,IF(ISBLANK(feeder_longest_bar),FALSE,"
         f"bar_length+{_MISSING}<=feeder_longest_bar))", NOTE,
         f'"A bar longer by "&{length_text(_MISSING)}&" would give one part more."'),
        ("TRUE", OK, f'"Cut-off, facing, trim, grip and gap go with size "&{_length("size")}&" and part length "&{_length("part_length")}&"."'),
    ))


_TIMES = (f'ROUND(first_stickout/thin_side,1)&" times "&IF(shape="flat","the thin side, "&{_length("thin_side")},'
          f'IF({_TUBE},"a solid bar that bends as much, "&{_length("thin_side")},"the size"))')

STICKOUT = Check("Stick-out", (
    (f"AND({_TUBE},thickness<size*{THIN_WALL!r},first_stickout>{LONG_STICKOUT_OF_A_TUBE}*thin_side,long_stickout<{NO_LIMIT})", LOOK,
     f'"A tube with a wall of "&{_length("thickness")}&" sticks out "&{_length("first_stickout")}&": think about chatter and clamping."'),
    ("first_stickout>long_stickout*thin_side", LOOK,
     f'"The first stick-out, "&{_length("first_stickout")}&", is long, "&{_TIMES}'
     f'&IF(long_stickout={LONG_STICKOUT_OF_SMALL_BAR},": does it run through a guide bush?",": support it, or check the part length.")'),
    ("TRUE", NOTE, f'"The first stick-out is "&{_length("first_stickout")}&", "&{_TIMES}'
                   f'&IF({_GUIDE_BUSH},", held at the guide bush.",". The machine\'s manual says what it may be.")'),
))


# --- times ---------------------------------------------------------------------------------------------------------

_LONG_CYCLE = 'IF(long_cycle<90,ROUND(long_cycle,0)&" s",ROUND(long_cycle/60,0)&" min")'


def times_check(cycle: str, blank: str, run_hours: str = "") -> Check:
    """Times against what a part of this size takes. `cycle` is the cycle time; `blank` tells that there is none."""
    run: tuple[Case, ...] = ((f"{run_hours}>{LONGEST_RUN}", LOOK, f'"The run takes "&ROUND({run_hours},0)&" h, "&ROUND({run_hours}/24,0)'
                              '&" days and nights: are quantity and cycle time right?"'),) if run_hours else ()
    return Check("Times", (
        (f"efficiency<{LEAST_EFFICIENCY}", LOOK, f'"Efficiency "&{_percent("efficiency")}&" means that the lathe stands most of the time."'),
        (f"AND(bar_change_time>0,bar_change_time<{SHORTEST_BAR_CHANGE})", LOOK,
         f'"Bar change "&{_figure("bar_change_time")}&" s is short; "&{_figure("bar_change_time")}&" min is "&ROUND(60*bar_change_time,1)&" s."'),
        (f"bar_change_time>{LONGEST_BAR_CHANGE}", LOOK,
         f'"Bar change "&{_figure("bar_change_time")}&" s is "&ROUND(bar_change_time/60,1)&" min, long."'),
        (f"setup_hours>{LONGEST_SETUP}", LOOK,
         f'"Set-up time "&{_figure("setup_hours")}&" h is long; "&{_figure("setup_hours")}&" min is "&ROUND(setup_hours/60,2)&" h."'),
        (f"AND(setup_hours>0,setup_hours<{SHORTEST_SETUP})", LOOK,
         f'"Set-up time "&{_figure("setup_hours")}&" h is "&ROUND(60*setup_hours,1)&" min, short."'),
        (blank, NOTE, '"No cycle time is filled in."'),
        (f"{cycle}<short_cycle", LOOK,
         f'"A cycle of "&ROUND({cycle},2)&" s is short for a part of this size; "&ROUND({cycle},2)&" min is "&ROUND(60*{cycle},1)&" s."'),
        (f"{cycle}>long_cycle", LOOK, f'"A cycle of "&ROUND({cycle},2)&" s is "&ROUND({cycle}/60,1)&" min, long for a part of this size."'),
        *run,
        ("TRUE", OK, f'"A cycle of "&ROUND({cycle},1)&" s is between "&ROUND(short_cycle,0)&" s and "&{_LONG_CYCLE}'
                     '&", what parts of this size take."'),
    ))


# --- order ---------------------------------------------------------------------------------------------------------

SCRAP_CASES: tuple[Case, ...] = (
    (f"scrap_rate>{MOST_SCRAP}", LOOK, f'"Scrap rate "&{_percent("scrap_rate")}&" is high. Is it "&ROUND(scrap_rate,4)&" %?"'),
    (f"AND(scrap_rate>0,scrap_rate<{LEAST_SCRAP})", LOOK,
     '"Scrap rate "&ROUND(100*scrap_rate,4)&" % is low. Is it "&ROUND(10000*scrap_rate,2)&" %?"'),
)


def more_than_ordered(quantity: str, parts_to_make: str) -> tuple[Case, ...]:
    """Cases for a run that makes many more than are ordered: a LOOK where that is unusual, with the reasons."""
    more = f"({parts_to_make}-{quantity})"
    sentence = (f'{parts_to_make}&" parts to make for "&{quantity}&" ordered, "&ROUND(100*{more}/{quantity},0)&" % more: "'
                f'&setup_parts&" set-up pieces, "&({more}-setup_parts)&" for a scrap rate of "&{_percent("scrap_rate")}&"."')
    return ((f"OR({more}>10+0.1*{quantity},setup_parts>{quantity},{more}-setup_parts>={quantity})", LOOK, sentence),
            (f"{more}>0.1*{quantity}", NOTE, sentence))


# --- money ---------------------------------------------------------------------------------------------------------

_PER_WEIGHT = f'IF(units="mm",ROUND(price_kg,2)&" per kg",ROUND(price_kg*{KG_PER_LB!r},2)&" per lb")'
_CREDIT_KG = f'MAX(chip_price,remnant_price)/IF(units="mm",1,{KG_PER_LB!r})'
_PRICED = "IFERROR(price_kg,0)>0"


def _rate(name: str, label: str) -> tuple[Case, ...]:
    return (
        (f"AND(IFERROR({name},0)>0,IFERROR({name},0)<{LEAST_RATE})", LOOK,
         f'"{label} "&ROUND({name},2)&" an hour is low; "&ROUND({name},2)&" a minute is "&ROUND(60*{name},2)&" an hour."'),
        (f"IFERROR({name},0)>{MOST_RATE}", LOOK,
         f'"{label} "&ROUND({name},2)&" an hour is high. Is it for more than an hour?"'),
    )


def prices_check(dollars: str = "TRUE", more: Sequence[Case] = ()) -> Check:
    """Prices and rates as amounts. `dollars` tells that the currency is worth about as much as a dollar; `more` goes first."""
    cases = (
        *_rate("machine_rate", "Machine rate"),
        *_rate("setup_rate", "Set-up rate"),
        ("IFERROR(price_kg>most_per_kg,FALSE)", LOOK,
         f'"Material at "&{_figure("material_price")}&" per "&price_per&" costs "&{_PER_WEIGHT}&", much for it. Is the price for another unit?"'),
        ("IFERROR(AND(price_kg>0,price_kg<least_per_kg),FALSE)", LOOK,
         f'"Material at "&{_figure("material_price")}&" per "&price_per&" costs "&{_PER_WEIGHT}&", little for it. Is the price for another unit?"'),
    )
    return Check("Prices and rates", (
        *more,
        *((condition if dollars == "TRUE" else f"IF({dollars},{condition},FALSE)", word, text) for condition, word, text in cases),
        (f"IF({_PRICED},{_CREDIT_KG}>0.85*price_kg,FALSE)", LOOK,
         f'"Chips or remnants bring "&ROUND(100*{_CREDIT_KG}/price_kg,0)&" % of what their weight of bar costs. Is each price for the right unit?"'),
        (f"NOT({_PRICED})", NOTE, '"The price of the material is not filled in: there is nothing to compare."'),
        ("TRUE", OK, f'"The material costs "&{_PER_WEIGHT}&"; it and the rates are within what is usual."'),
    ))


PROFIT_CASES: tuple[Case, ...] = (
    (f"markup>{MOST_MARKUP}", LOOK, f'"Markup "&{_percent("markup")}&" makes the price "&ROUND(1+markup,2)&" times the cost. Is it "&ROUND(markup,4)&" %?"'),
    (f"margin>{MOST_MARGIN}", LOOK, f'"Margin "&{_percent("margin")}&" makes the price "&ROUND(1/(1-margin),2)&" times the cost. Is it "&ROUND(margin,4)&" %?"'),
    *((f"AND({name}>0,{name}<{LEAST_PROFIT})", LOOK, f'"{label} "&ROUND(100*{name},4)&" % is low. Is it "&ROUND(10000*{name},2)&" %?"')
      for name, label in (("margin", "Margin"), ("markup", "Markup"))),
)
"""Margin and markup that look like a percentage typed as a number, or the other way round."""


# --- the customer's page -------------------------------------------------------------------------------------------

_ON_THE_PAGE = "customer,part_number,attention,quote_number,quote_date,valid_until,part_description,delivery"


def _day(cell: str) -> str:
    """Cell expression: a date typed as one, or as a text such as 2027-03-31; 0 for anything else."""
    typed = f"DATE(VALUE(LEFT({cell},4)),VALUE(MID({cell},6,2)),VALUE(MID({cell},9,2)))"
    return f'IF(ISNUMBER({cell}),{cell},IF(MID({cell},5,1)="-",IFERROR({typed},0),0))'


def _written(cell: str) -> str:
    return f'IF(ISNUMBER({cell}),YEAR({cell})&"-"&MONTH({cell})&"-"&DAY({cell}),{cell})'


QUOTATION = Check("Quotation", (
    (f"AND({_day('quote_date')}>0,{_day('valid_until')}>0,{_day('valid_until')}<{_day('quote_date')})", STOP,
     f'"Valid until "&{_written("valid_until")}&" is before the date, "&{_written("quote_date")}&"."'),
    ('quote_problems<>""', NOTE, '"Not ready yet."'),
    (f"AND(ISBLANK(seller),COUNTA({_ON_THE_PAGE})>0)", LOOK, '"The customer\'s page names no sender: fill in your company on the sheet Quotation."'),
    ("ISBLANK(seller)", NOTE, '"Nothing is filled in on the sheet Quotation."'),
    ("TRUE", OK, '"The customer\'s page names its sender, and does not lapse before its date."'),
))
