"""Inputs and answers that every template of one order has: the job, the bar, the part, the order, the lathe, the price."""

from barfuncs.catalogue import kinds
from barfuncs.templates.cell_text import length_text, number_text
from barfuncs.templates.materials_sheet import CAUTION_FORMULA, DENSITY_FORMULA, ROW_FORMULA
from barfuncs.templates.model import LOOK, NOTE, OK, STOP, Answer, Check, Missing, across, make_input, rules_of
from barfuncs.templates.shop import MACHINE_TYPE_HELP

JOB = (
    make_input("job", "Job", kinds.Text, help_text="the shop's number or name of this job"),
    make_input("customer", "Customer", kinds.Text, help_text="who ordered the parts"),
    make_input("part_number", "Part number", kinds.Text, help_text="number of the part on its drawing"),
    make_input("drawing", "Drawing number", kinds.Text, help_text="number of the drawing that the part is made to"),
    make_input("revision", "Revision", kinds.Text, help_text="revision of that drawing"),
)
BAR = (
    make_input("units", "Units", kinds.Units, needed=True, help_text="in (inch, lb, ft/min) or mm (mm, kg, m/min), for the whole job"),
    make_input("material", "Material", kinds.Material, needed=True, source="material_names",
           help_text="pick a name, or type a designation (EN, UNS, AISI), what people call it (360 brass), or a density in lb/in3 "
                         "or g/cm3"),
    make_input("shape", "Shape", kinds.Shape, "round", needed=True),
    make_input("size", "Size", kinds.Size, needed=True, from_part=True,
               help_text="diameter of a round bar or tube, otherwise the width across flats; left blank, the smallest bar for the part "
                         "that the sheet Part draws"),
    make_input("thickness", "Thickness", kinds.PositiveLength, blank=0),
    make_input("supplied_length", "Supplied bar length", kinds.PositiveLength, from_shop=True,
               help_text="length of the bar as it is bought, where it is sawn into blanks; left blank, the bar is not sawn"),
    make_input("kerf", "Saw kerf", kinds.Length, from_shop=True,
               help_text="width that the saw turns to chips with each cut; needed where the bar is sawn"),
    make_input("bar_length", "Bar length", kinds.PositiveLength, needed=True,
           help_text="length of the bar, or of the piece sawn from it, that is loaded; of random lengths the shortest"),
    make_input("longest_random_bar", "Longest bar of random lengths", kinds.PositiveLength, blank=0,
           help_text="only where the supplier sends random lengths: the longest one"),
)
PART = (
    make_input("part_length", "Part length", kinds.PositiveLength, needed=True, from_part=True),
    make_input("cutoff_width", "Cut-off width", kinds.Length, needed=True),
    make_input("facing", "Facing", kinds.Length, 0),
    make_input("end_trim", "End trim of a new bar", kinds.Length, 0),
    make_input("second_spindle_stock", "Stock for the second spindle", kinds.Length, 0),
    make_input("first_parts_scrapped", "First parts of every bar scrapped", kinds.Count, 0, unit="parts"),
    make_input("parts_per_feed", "Parts from one feed of the bar", kinds.PositiveCount, 1, unit="parts"),
    make_input("last_feed", "The last feed of a bar gives", kinds.LastFeed, kinds.LAST_FEEDS[0],
               help_text="only where several parts are made from one feed: as many as still fit, or nothing unless all of them fit"),
    make_input("part_weight", "Weight of a finished part", kinds.PositiveWeight, blank=0,
           help_text="weight of one finished part; left blank, that of the sheet Part, or else the bar over the part's length",
           from_part=True),
)
ORDER = (
    make_input("quantity", "Order quantity", kinds.PositiveCount, needed=True, unit="parts"),
    make_input("scrap_rate", "Scrap rate", kinds.ScrapRate, 0, from_shop=True),
    make_input("setup_parts", "Set-up pieces", kinds.Count, 0, unit="parts"),
    make_input("confidence", "Confidence that the order is filled", kinds.Confidence, 0.95, from_shop=True,
               help_text="how sure the parts to make must be to fill the order: 95% means in 19 orders of 20"),
    make_input("bars_on_hand", "Bars on the shelf", kinds.Count, unit="bars",
           help_text="bars there are for this run; left blank, as many as the order needs"),
)
LATHE = (
    make_input("machine", "Machine", kinds.Text, source="machines_name",
               help_text="a lathe from the sheet Shop, which then gives what is left blank here; or nothing"),
    make_input("machine_type", "Machine type", kinds.MachineType, from_shop=True, help_text=MACHINE_TYPE_HELP),
    make_input("face_to_cutoff", "Face to cut-off tool", kinds.Length, needed=True, from_shop=True),
    make_input("grip_length", "Grip length", kinds.Length, needed=True, from_shop=True),
    make_input("rear_hold", "Rear hold", kinds.Length, blank=0, from_shop=True,
               help_text="bar that the gripper or the pusher at its rear keeps from being used up; left blank, the grip length decides"),
    make_input("feeder_longest_bar", "Longest bar the feeder takes", kinds.PositiveLength, from_shop=True,
           help_text="longest bar that the feeder takes, from its manual"),
    make_input("feeder_bars", "Bars the feeder holds", kinds.PositiveCount, unit="bars", from_shop=True,
           help_text="bars of this size in a full feeder"),
    make_input("top_speed", "Max. speed", kinds.SpindleSpeed, unit="rpm", from_shop=True),
    make_input("cycle_time", "Cycle time", kinds.PositiveSeconds),
    make_input("bar_change_time", "Bar change", kinds.Seconds, 0, from_shop=True),
    make_input("efficiency", "Efficiency (share of the time running)", kinds.Efficiency, 1, from_shop=True),
    make_input("setup_hours", "Set-up time", kinds.Hours, 0),
    make_input("machine_rate", "Machine rate", kinds.Money, unit="per_hour", from_shop=True),
    make_input("setup_rate", "Set-up rate", kinds.Money, unit="per_hour", from_shop=True,
               help_text="the shop's rate for setting, per hour; left blank, the machine rate"),
)
LONGEST_PUSH = make_input("longest_push", "Longest push of the bar feed", kinds.PositiveLength, from_shop=True)
PRICE = (
    make_input("material_price", "Material price", kinds.Money, unit="price_per", from_shop=True,
               help_text="price of the bar for each lb, kg, ft ... that is picked below"),
    make_input("price_per", "Material price is per", kinds.PricePer, from_shop=True),
    make_input("cuts_per_bar", "Saw cuts charged per bar bought", kinds.Count, unit="cuts",
               help_text="saw cuts that the supplier charges for, on each bar bought; left blank, the cuts that the blanks need"),
    make_input("cut_charge", "Charge per cut", kinds.Money, 0, unit="each", from_shop=True),
    make_input("minimum_charge", "Minimum charge", kinds.Money, 0, unit="order", from_shop=True),
    make_input("material_surcharge", "Material surcharge", kinds.Money, 0, unit="per_weight", from_shop=True,
               help_text="what is charged on top of the price for each lb or kg of bar, such as for alloy; the shop's goes with the shop's price alone"),
    make_input("certificate_fee", "Certificate fee", kinds.Money, 0, unit="order", from_shop=True),
    make_input("material_freight", "Freight of the material", kinds.Money, 0, unit="order", from_shop=True),
    make_input("last_bar_rest", "Rest of the last bar", kinds.LastBarRest, kinds.LAST_BAR_RESTS[0], from_shop=True,
               help_text="charged to the job, or back on the rack: then the job pays for what it uses"),
    make_input("chip_price", "Credit for chips", kinds.Money, 0, unit="per_weight", from_shop=True),
    make_input("remnant_price", "Credit for remnants", kinds.Money, 0, unit="per_weight", from_shop=True),
)

RULES = (
    *rules_of("section_area"),
    across("longest_random_bar", "longest_random_bar>=bar_length", "must not be shorter than the bar length (the shortest bar)"),
    across("end_trim", "end_trim<=bar_length", "must not be longer than the bar"),
    across("bar_length", "bar_length<=supplied_length*1.000000001", "must not be longer than the supplied bar that it is sawn from"),
)
"""What holds between the inputs of one job."""

SIZE_TEXT = f'{number_text("use_size", 5)}&IF(ISBLANK(thickness),""," x "&{number_text("thickness", 5)})'
"""Cell expression: the size of the bar, and its thickness where it has one."""
ALL_FIRST_PARTS = "all parts of a bar are scrapped as its first ones"
NO_WHOLE_PART = "no whole part fits this bar: minimum remnant, end trim and the bar for one part are longer"
PART_TOO_HEAVY = "is more than the bar over the length of the part weighs"

_FULL_FEEDS = f'last_feed="{kinds.LAST_FEEDS[1]}"'


def parts_formula(bar_length: str) -> str:
    """Cell expression: parts of a bar of a length."""
    parts = f"PARTS_PER_BAR({bar_length},part_length,cutoff_width,min_remnant,front_stock,end_trim)"
    return f"IF({_FULL_FEEDS},PARTS_IN_FULL_FEEDS({parts},parts_per_feed),{parts}+0*parts_per_feed)"


def with_first_parts(parts: str, good_per_bar: str = "good_per_bar") -> str:
    """Cell expression: so many parts and those at the front of every bar that are scrapped."""
    return (f"IF(first_parts_scrapped=0,{parts},IF({good_per_bar}>0,{parts}+first_parts_scrapped*COUNT_UP({parts}/{good_per_bar}),NA()))")


YIELD = (
    Answer("bar_per_part", "Bar per part", "length", "length", calls="bar_per_part", refs=(("facing", "front_stock"),)),
    Answer("min_remnant", "Minimum remnant", "length", "length", calls="min_remnant"),
    Answer("parts_per_bar", "Parts per bar", "count", "parts", calls="parts_per_bar", formula=parts_formula("bar_length")),
    Answer("remnant", "Remnant", "length", "length", formula="IF(end_trim<=bar_length,bar_length-end_trim-parts_per_bar*bar_per_part,NA())"),
    Answer("bar_use", "Use of the bar", "percent", "", formula="parts_per_bar*part_length/bar_length"),
    Answer("first_stickout", "First stick-out", "length", "length", calls="first_stickout", refs=(("facing", "front_stock"),)),
    Answer("stickout_ratio", "First stick-out in diameters", "ratio", "x size", calls="stickout_ratio",
           refs=(("stickout", "first_stickout"),)),
)
STROKES = Answer("strokes", "strokes that one feed of the bar takes, as far as the longest push is known", "count", "",
                 formula="IF(ISBLANK(longest_push),1,FEED_STROKES(bar_per_part,longest_push,parts_per_feed))")
FRONT = (
    STROKES,
    Answer("front_stock", "stock of a part that is faced off, or turned off at the second spindle", "length", "length",
           formula="facing+second_spindle_stock"),
    Answer("good_per_bar", "parts of a bar without the first ones that are scrapped", "count", "parts", calls="good_parts_per_bar"),
)
# The material is looked up once: the table is the slowest part of a recalculation.
MATERIAL_ROW = Answer("material_row", "row of the material in the table, 0 for none", "count", formula=ROW_FORMULA)
MATERIAL_NAME = Answer("material_name", "name of the material in the table, or as it is typed", "text",
                       formula="IF(material_row>0,INDEX(material_names,material_row),material)")
OWN_PROBLEMS = Answer("own_problems", "rows of your own materials that can't be used", "count",
                      formula='SUMPRODUCT(--(own_material_marks<>""))')
MATERIAL_CAUTION = Answer("material_caution", "caution of the material", "text", formula=CAUTION_FORMULA)
DENSITY = Answer("density", "density of the material", "density", "density", calls="material_density",
                 formula=DENSITY_FORMULA)
SECTION_AREA = Answer("section_area", "area of the section", "general", "area", calls="section_area")
ACROSS_CORNERS = Answer("across_corners", "largest width of the bar", "length", "length", calls="across_corners",
                        formula="IF(section_area>0,ACROSS_CORNERS(shape,size,thickness),NA())")
SETTING_RATE = Answer("setting_rate", "rate for setting", "money", "per_hour",
                      formula="IF(ISBLANK(setup_rate),machine_rate,setup_rate)", needs="machine_rate")
SECTION_WEIGHT = Answer("section_weight", "weight per unit of length", "part_weight", "",
                        formula='weight_per_length/IF(units="mm",1000,12)')
WEIGHT_PER_LENGTH = Answer("weight_per_length", "Weight per length", "weight_per_length", "weight_per_length",
                           calls="weight_per_length", formula='section_area*density*IF(units="mm",0.001,12)')
EACH_WEIGHT = ("IF(ISBLANK(part_weight),section_weight*part_length,IF(part_weight<=section_weight*part_length*(1+1E-9),"
               "MIN(part_weight,section_weight*part_length),NA()))")
"""Cell expression: the weight of a finished part. One that weighs what the bar does over its length is not too heavy by a hair."""
BAR_WEIGHT = Answer("bar_weight", "One bar", "weight", "weight", calls="bar_weight", formula="section_weight*bar_length")

# Bars are bought as supplied and sawn, bought cut to length (priced per blank), or loaded as they are supplied.
BLANKS_PER_SUPPLIED = Answer(
    "blanks_per_supplied", "Blanks per supplied bar", "count", "blanks",
    formula="IF(bar_length>0,IF(ISBLANK(supplied_length),1,BLANKS_PER_SUPPLIED_BAR(supplied_length,bar_length,kerf)),NA())")


def cuts_each_formula(bar_length: str) -> str:
    """Cell expression: cuts that part a supplied bar into blanks of a length."""
    return f"IF({bar_length}>0,IF(ISBLANK(supplied_length),0,CUTS_PER_SUPPLIED_BAR(supplied_length,{bar_length},kerf)),NA())"


def bought_length_formula(bar_length: str, blanks: str) -> str:
    """Cell expression: length of a bar to buy; none where it gives no blank."""
    return f"IF({blanks}>0,IF(OR(ISBLANK(supplied_length),bought_as_blanks=1),{bar_length},supplied_length),NA())"


def longer_than_feeder(length: str) -> str:
    """Cell expression: TRUE where the feeder is known not to take a bar of a length."""
    return f"IF(ISBLANK(feeder_longest_bar),FALSE,{length}>feeder_longest_bar*(1+1E-9))"


SUPPLY = (
    Answer("cuts_per_supplied", "cuts that part a supplied bar into blanks", "count", formula=cuts_each_formula("bar_length")),
    Answer("bought_as_blanks", "1 where the price is for a blank that is bought cut to length", "count",
           formula='IF(bar_length>0,IF(ISBLANK(price_per),0,IF(price_per="blank",1,0)),NA())'),
    Answer("blanks_each", "blanks from one bar that is bought", "count",
           formula="IF(bought_as_blanks=1,1,blanks_per_supplied)"),
    Answer("bought_length", "length of a bar that is bought", "length", "length",
           formula=bought_length_formula("bar_length", "blanks_per_supplied")),
    Answer("bought_weight", "weight of a bar that is bought", "weight", "weight", formula="section_weight*bought_length"),
)
RACK = f'last_bar_rest="{kinds.LAST_BAR_RESTS[1]}"'
"""Cell expression: TRUE where the rest of the last bar goes back on the rack."""

def bought_formula(bars: str, blanks_each: str = "blanks_each") -> str:
    """Cell expression: bars to buy for so many bars to load."""
    return f"IF({blanks_each}>0,COUNT_UP({bars}/{blanks_each}),NA())"


def cuts_formula(bars: str, bought: str, blanks_each: str = "blanks_each", cuts_each: str = "cuts_per_supplied") -> str:
    """Cell expression: saw cuts to pay for. The last bar is sawn no further than the order needs."""
    needed = f"MAX(0,{bought}-1)*{cuts_each}+MIN({cuts_each},{bars}-({bought}-1)*{blanks_each})"
    return f"IF(ISBLANK(cuts_per_bar),IF(bought_as_blanks=1,0*{bars},{needed}),{bought}*cuts_per_bar)"


def rest_formula(remnant: str) -> str:
    """Cell expression: what of the last bar goes back on the rack; a rest that gives no further part is a remnant."""
    return f"IF({RACK},1,0)*IF({remnant}>=(min_remnant+bar_per_part+end_trim)*(1-1E-9),{remnant},0)"


def rack_value_formula(length: str, price: str = "material_price", bought_length: str = "bought_length",
                       bought_weight: str = "bought_weight", surcharge: str = "material_surcharge") -> str:
    """Cell expression: what a length of the bar cost with its surcharge, without cuts, minimum charge, certificate and freight."""
    bar = f"(MATERIAL_COST(1,{price},price_per,{bought_length},{bought_weight},0,0,0,units)+{surcharge}*{bought_weight})"
    return f"{bar}*{length}/{bought_length}"


KERF_MISSING = Missing("AND(NOT(ISBLANK(supplied_length)),ISBLANK(kerf))", "saw kerf", input="kerf")
_AS_BLANKS = "IF(ISBLANK(supplied_length),0,COUNT_DOWN(supplied_length/bar_length))"
SAW_STOP = ("blanks_per_supplied=0", STOP, f'"The blank, "&{length_text("bar_length")}&", is longer than the supplied bar, "'
            f'&{length_text("supplied_length")}&"."')
SAW_LOOK = (f"{_AS_BLANKS}>blanks_per_supplied", LOOK,
            f'{_AS_BLANKS}&" blanks and the cuts between them need "'
            f'&{length_text(f"{_AS_BLANKS}*(bar_length+kerf)-kerf")}&": a supplied bar gives "&blanks_per_supplied&"."')


_MORE_STROKES = ("strokes>1", LOOK, f'"The bar feed pushes "&{length_text("longest_push")}&" at most; a feed of "'
                 f'&{length_text("bar_per_part*parts_per_feed")}&" takes "&strokes&" strokes. The cycle time must hold all of them."')


def feeder_takes(longest: str, strokes: bool = False) -> tuple[tuple[str, str, str], ...]:
    """The last cases of the check on the feeder, for a bar of the length `longest`; with `strokes` also where one push is too short."""
    return (
        (longer_than_feeder(longest), STOP,
         f'"The bar is longer than the feeder takes by "&{length_text(f"{longest}-feeder_longest_bar")}&": saw it first."'),
        SAW_LOOK,
        *((_MORE_STROKES,) if strokes else ()),
        ("ISBLANK(feeder_longest_bar)", NOTE, '"The longest bar that the feeder takes is not filled in."'),
        ("TRUE", OK, f'"Bars up to "&{length_text("feeder_longest_bar")}&"; this one is "&{length_text(longest)}&"."'),
    )


WHOLE_PARTS = Check("Whole parts", (
    ("parts_per_bar=0", STOP, '"No whole part fits this bar. Minimum remnant, end trim and the bar for one part need "'
                              f'&{length_text("min_remnant+end_trim+bar_per_part")}&"."'),
    ("good_per_bar=0", STOP, '"All "&parts_per_bar&" parts of a bar are scrapped as its first ones."'),
    ("TRUE", OK, '"One bar gives "&parts_per_bar&" whole parts"&IF(first_parts_scrapped=0,".",", of which "&good_per_bar&" are not scrapped '
                 'as its first ones.")'),
))
SECTION = Check("Section", (
    # An input that is not known yet leaves it open, and is named in the status line.
    ("IF(AND(size>0,thickness>=0,LEN(shape)>0),ISERROR(section_area),FALSE)", STOP,
     '"Shape, size and thickness do not go together: a flat or a tube needs a thickness (a wall thinner than half '
     'the size), a solid bar none."'),
    ("TRUE", OK, '"Shape, size and thickness go together: "&shape&", "&'
                f'{number_text("section_area", 3)}&IF(units="mm"," mm2."," in2.")'),
), long=True)
MATERIAL = Check("Material", (
    ("own_problems>0", STOP, '"Sheet Materials: a row of your own can\'t be used, see the mark beside it."'),
    ('material_caution<>""', LOOK, "material_caution"),
    ("AND(density>0,material_row=0)", LOOK, '"Not in the materials table: cautions are not known here. Ask for the safety data sheet."'),
    ("TRUE", OK, '"No caution in the materials table. Ask for the safety data sheet."'),
), long=True)
TOO_WIDE = ("IF(largest_size>0,across_corners>largest_size*(1+1E-9),FALSE)", STOP,
            f'"The bar is "&{length_text("across_corners")}&" wide; through the spindle goes "&{length_text("largest_size")}&"."')
"""A case of a check: the bar doesn't go through the spindle of the machine that is picked."""
