"""The operation list of a quote: the time of each row, and a mark where it does not look like this part."""

from dataclasses import replace

from barfuncs.catalogue import kinds
from barfuncs.catalogue.kinds import TIMED_OPERATIONS
from barfuncs.catalogue.units import MM_PER_INCH
from barfuncs.tables.taylor import WORK_OF_GROUP
from barfuncs.templates import plausible
from barfuncs.templates.cell_text import number_text
from barfuncs.templates.model import Answer, RowAnswer, Table, make_column
from barfuncs.templates.part_sheet import A_LITTLE, SECTIONS, START, START_LOOK, THREADS
from barfuncs.templates.speeds_sheet import row_of, suggested_feed, suggested_speed

_SAME_SIZE = 0.001
_PITCH_SIZE = "op_start_diameter-0.649519*op_feed_rate"
"""Cell expression: pitch diameter of a thread of 60 degrees, 3/8 sqrt(3) pitches less than its outer one: ISO 68-1, ISO 724."""
_PITCH_SIZE_OFF = 0.2
"""Pitches that it may be off, from memory: no less than the usual tolerances of an outer thread allow, less than half way to its core."""
# Common practice, no source: what no lathe for bar is taken to do without being asked.
_FAST_THREAD, _FAST_SPINDLE, _DEEP_HOLE = 200, 6000, 10  # in/min, rpm, diameters


def _is(*operations: str) -> str:
    """Cell expression: TRUE where a row is one of these operations, FALSE where it is none yet."""
    tests = ",".join(f'op_operation="{operation}"' for operation in operations)
    return f"IFERROR({tests if len(operations) == 1 else f'OR({tests})'},FALSE)"


_ALONG = ("turning", "taper turning", "boring")
_PLUNGED = ("facing", "grooving", "cut-off")
_TURNED, _HOLES = ("turning", "taper turning", "grooving"), ("drilling", "reaming", "boring")
_LIKE = 'IF(OR(op_operation="taper turning",op_operation="boring"),"turning",IF(op_operation="grooving","cut-off",op_operation))'
"""Cell expression: the operation of the sheet Speeds that a row's speed and feed are like."""


def _looks() -> tuple[tuple[str, str], ...]:
    """Cases of a row that does not look like this part, or else what holds it back: condition, words."""
    way, inch = "op_speed*op_feed_rate", f'IF(units="mm",{MM_PER_INCH!r},1)'
    width = 'IF(shape="flat",MAX(size,thickness),size)'
    # A tap, a die and a rolling head need one pass; a taper is none of them.
    what = 'SUBSTITUTE(LOWER(op_note),"taper","")'
    not_single = "+".join(f'ISNUMBER(SEARCH("{word}",{what}))' for word in ("tap", "die", "roll"))
    # Each condition stands in an IF of its own, since AND works out all its parts.
    return (
        (f'IF({_is("drilling", "reaming", "boring", "tapping")},op_start_diameter>=IF(shape="flat",MIN(size,thickness),size)*(1-1E-9),FALSE)',
         '"! hole as large as the bar"'),
        ('IF(op_spindle="second",IFERROR(RIGHT(machine_type,14)<>"second spindle",FALSE),FALSE)', '"! the lathe has no second spindle"'),
        ('IF(op_spindle="second",op_operation="cut-off",FALSE)', '"! cut-off at the second spindle?"'),
        ("op_start_diameter>across_corners*1.002", '"! larger than the bar"'),
        ("op_length>2*part_length", '"! longer than the part"'),
        ("IF(speed_allowed>0,op_top_speed>speed_allowed,FALSE)", '"! above the max. speed"'),
        (f'IF({_is("threading")},IF(ABS(op_start_diameter-thread_size)<={_SAME_SIZE}*thread_size,'
         f"ABS(thread_pitch_size-({_PITCH_SIZE}))>{_PITCH_SIZE_OFF}*op_feed_rate,FALSE),FALSE)",
         f'"! pitch diameter: about "&{number_text(_PITCH_SIZE, 4)}&" at this pitch"'),
        (f'IF({_is("threading", "tapping")},OR(op_feed_rate>0.35*op_start_diameter,op_feed_rate<0.006*{inch}),FALSE)',
         '"! pitch in the right unit?"'),
        ("IF(ISNUMBER(op_usual_feed),OR(op_feed_rate>5*op_usual_feed,op_feed_rate*20<op_usual_feed),FALSE)",
         f'"! feed "&IF(op_feed_rate>op_usual_feed,{number_text("op_feed_rate/op_usual_feed", 0)}&" x the suggestion","a "'
         f'&{number_text("op_usual_feed/op_feed_rate", 0)}&"th of the suggestion")&": right unit?"'),
        ("IF(ISNUMBER(op_usual_speed),op_surface_speed>3*op_usual_speed,FALSE)",
         f'"! speed "&{number_text("op_surface_speed/op_usual_speed", 1)}&" x the suggestion: right unit?"'),
        (f"IF(ISNUMBER(op_usual_passes),IF(op_passes*2<op_usual_passes,{not_single}=0,FALSE),FALSE)",
         '"! passes: single point usually "&op_usual_passes&" at this pitch"'),
        (f'IF({_is("threading", "tapping")},IF(feed_allowed=0,{way}>{_FAST_THREAD}*{inch},FALSE),FALSE)',
         f'"! thread at "&{number_text(way, 0)}&IF(units="mm"," mm/min"," in/min")&": can the lathe?"'),
        (f"IF(op_limit=0,op_speed>{_FAST_SPINDLE},FALSE)", f'"! "&{number_text("op_speed", 0)}&" rpm: max. speed?"'),
        (f'IF(op_operation="drilling",IF(op_length>{_DEEP_HOLE}*op_start_diameter,IF(op_passes=1,op_extra_time=0,FALSE),FALSE),FALSE)',
         f'"! "&{number_text("op_length/op_start_diameter", 0)}&" diameters deep: time for pecks?"'),
        (f'IF({_is("turning", "taper turning", *_PLUNGED)},'
         f"IF(op_start_diameter>={width}*(1-1E-6),op_start_diameter<across_corners*0.99,FALSE),FALSE)",
         f'"! starts at the corners: "&{number_text("across_corners", 3)}'),
        plausible.EDGE_LOOK,
        ("IF(op_limit>0,op_speed>=op_limit,FALSE)",
         f'"i held at "&{number_text("op_speed", 0)}&" rpm by the max. "&IF(feed_allowed=0,"speed",IF({way}>=feed_allowed*(1-1E-9),'
         '"feed","speed"))'),
        ("IF(op_edge_share>0,op_parts_per_edge=0,FALSE)", f'"i parts per edge: an idea, "&{number_text("op_usual_edge", 0)}'),
    )


# With more turns than that the lathe could not follow its own feed.
_FOLLOWED = "MIN(1E6,feed_allowed/op_feed_rate)"
_STATED = "IF(ISBLANK(op_top_speed),speed_allowed,op_top_speed)"
_EDGES = f'IF({_is("facing", *_ALONG)},IF(op_surface_speed>0,IF(op_cut_time>op_passes*op_extra_time,PARTS_PER_EDGE(0,TOOL_LIFE(' \
         'op_surface_speed,taylor_c,taylor_n,units),op_cut_time-op_passes*op_extra_time),""),""),"")'
OPERATIONS = Table(
    name="operations",
    item="op",
    label="Operation list",
    row_label="Operation",
    rows=12,
    columns=(
        make_column("note", "What", kinds.Text, "what is done, in words", width=22),
        make_column("operation", "Operation", kinds.Operation, needed=True, width=12.5),
        replace(make_column("spindle", "Spindle", kinds.Spindle, "main or second; left blank, the main spindle", width=8), default="main"),
        make_column("start_diameter", "Start dia.", kinds.Diameter, blank=0, width=9, instead=START),
        make_column("end_diameter", "End dia.", kinds.Length, blank=0, width=9),
        make_column("length", "Length", kinds.PositiveLength, blank=0, width=9),
        make_column("surface_speed", "Surface speed", kinds.SurfaceSpeed, blank=0, width=10),
        make_column("feed_rate", "Feed per rev.", kinds.FeedRate, blank=0, width=9),
        make_column("top_speed", "Max. speed", kinds.SpindleSpeed, unit="rpm", blank=0, width=9),
        make_column("passes", "Passes", kinds.PositiveCount, blank=1, width=8),
        make_column("extra_time", "Extra time", kinds.Seconds, blank=0, width=8),
        make_column("parts_per_edge", "Parts per edge", kinds.PositiveCount, "parts that one edge makes, as the shop counted them", unit="parts",
                    blank=0, width=9),
        make_column("edge_cost", "Cost of an edge", kinds.Money, blank=0, width=9),
        make_column("edge_change_time", "Change of an edge", kinds.Seconds, blank=0, width=10),
    ),
    answers=(
        RowAnswer("time", "Time", "blank_or_seconds", "seconds", "IF(ISBLANK(op_operation),IF(op_filled=0,0,NA()),op_cut_time+op_sound)", width=8),
        RowAnswer("speed", "Spindle speed", "blank_or_count", "rpm",
                  f'IF(ISBLANK(op_operation),0*op_time,IF({_is(*TIMED_OPERATIONS)},0*op_time,0*op_time+MIN(IF(op_limit>0,op_limit,1E99),'
                  'IF(units="mm",1000,12)*op_surface_speed/(PI()*op_start_diameter))))', width=9),
        RowAnswer("usual_speed", "Suggested speed", "general", "surface_speed", suggested_speed("op_speeds_row"), small=True, width=11),
        RowAnswer("usual_feed", "Suggested feed", "general", "feed_rate",
                  suggested_feed("op_speeds_row", "op_operation", "op_start_diameter"), small=True, width=11),
        RowAnswer("usual_passes", "Usual passes", "general", "",
                  f'IF({_is("threading")},IF(op_feed_rate>0,THREAD_PASSES(op_feed_rate,units),""),"")', small=True),
        RowAnswer("usual_edge", "Idea: parts per edge", "general", "", f'IFERROR(IF(taylor_n=0,"",{_EDGES}),"")', small=True),
        RowAnswer("limit", "Max. speed that holds, 0 for none", "count", "rpm",
                  f'IF(feed_allowed=0,{_STATED},IF(op_feed_rate=0,{_STATED},IF({_is(*_PLUNGED)},'
                  f"{_STATED},IF({_STATED}>0,MIN({_STATED},{_FOLLOWED}),{_FOLLOWED}))))", aside=True),
        RowAnswer("cut_time", "Time of the cuts", "general", "seconds", calls="operation_time", aside=True, refs=(
            *((name, f"op_{name}") for name in ("operation", "start_diameter", "end_diameter", "length", "surface_speed",
                                                "feed_rate", "passes", "extra_time")), ("top_speed", "op_limit"))),
        RowAnswer("like", "Operation whose row of the sheet Speeds holds", "text", "", f'IF(ISBLANK(op_operation),"",{_LIKE})', aside=True),
        RowAnswer("speeds_row", "Row of the sheet Speeds", "count", "", row_of("op_like"), aside=True),
        RowAnswer("edge_share", "Share of an edge that a part uses", "general", "",
                  "0*op_time+0*taylor_n+IF(op_edge_cost+op_edge_change_time=0,0,IF(op_parts_per_edge>0,1/op_parts_per_edge,"
                  "IF(ISNUMBER(op_usual_edge),IF(op_usual_edge>0,1/op_usual_edge,NA()),NA())))", aside=True),
        # A row without an end diameter may turn to any.
        RowAnswer("turns_to", "Diameter it turns to; 1E9 for none, 2E9 for a hole", "count", "length",
                  f'0*op_time+IF({_is(*_TURNED)},op_end_diameter,IF({_is(*_HOLES)},2E9,IF({_is("facing")},'
                  "IF(op_end_diameter>0,op_end_diameter,1E9),1E9)))", aside=True),
        RowAnswer("side", "Tool at the main spindle 1, at the second 2, none 0", "count", "",
                  '0*op_time+IF(ISBLANK(op_operation),0,IF(op_operation="other",0,IF(op_spindle="second",2,1)))', aside=True),
    ),
    calls="operation_time",
    marks_width=30,
    falls_back={"top_speed": "top_speed", "start_diameter": SECTIONS.name},
    wrong_if=(("IF(ISERROR(op_time),FALSE,ISERROR(op_edge_share))", "parts per edge are missing"),),
    looks=(*_looks(), START_LOOK),
)

OPERATION_LOOKS = Answer("operation_looks", "rows of the operation list that do not look like this part", "count",
                         formula=OPERATIONS.to_look_at)
_LEAST = "SMALL(section_size,ROWS(section_size)-part_sections+1)"
_AT = "MATCH(least_section,section_size,0)"


def _named(row: str) -> str:
    """Cell expression: what a section is called, by its row."""
    return f'IF(INDEX(section_note,{row})="","section "&{row},INDEX(section_note,{row}))'


_THINNER = f'IF(least_section<IF(shape="flat",MIN(size,thickness),size)*{1 - A_LITTLE:g},'
_TURNED_TO = f"MIN(op_turns_to)<=least_section*{1 + A_LITTLE:g}"
_DONE = (f'IF(INDEX(section_shape,{_AT})="thread",IF({_TURNED_TO},TRUE,SUMPRODUCT(--(op_like="threading"))>0),'
         f'IF(INDEX(section_shape,{_AT})="round",{_TURNED_TO},SUMPRODUCT((op_like="milling")+(op_like="other"))>0))')
_NO_HOLE = 'IF(largest_bore>0,IF(OR(shape="tube",shape="hexagon tube"),FALSE,MAX(op_turns_to)<2E9),FALSE)'
_NOT_TURNED = (f'IF({_DONE},"",IF(INDEX(section_shape,{_AT})="round","turns down to ",IF(INDEX(section_shape,{_AT})="thread","turns or threads ",'
               f'"mills the flats of "))&{_named(_AT)}&", "&{number_text("least_section", 4)})')
REACHED = (
    Answer("least_section", "size of the thinnest section of the part, 0 where no operation list goes with it", "length", "length",
           formula=f"IF(part_sections>0,IF(cutting_time>0,{_LEAST},0),0)"),
    Answer("thread_pitch_size", "pitch diameter of the thread of the part, where it has one alone", "length", "length",
           formula=f"IF(thread_size>0,SUMPRODUCT({THREADS},section_end_size),0)"),
    Answer("not_turned", "the thinnest section where no row of the operation list turns down to it", "text",
           formula=f'IF(least_section>0,{_THINNER}{_NOT_TURNED},""),"")'),
    Answer("not_reached", "what of the part no row of the operation list makes", "text",
           formula=f'IF(least_section>0,not_turned&IF({_NO_HOLE},IF(not_turned="","","; no row ")&"makes the bore",""),"")'),
)
"""Whether the operation list makes the part that is drawn: as far as a row says how far it turns."""
_TWO_SIDES = 'OR(second_cutting>0,IFERROR(RIGHT(machine_type,14)="second spindle",FALSE))'
NOT_COUNTED = Answer("not_counted", "times beside the cuts that are not given", "text", formula="&".join(
    f'IF({condition},"{words}, ","")' for condition, words in (
        ("IF(ISBLANK(tool_change_time),main_changes+second_changes>0,FALSE)", "time of a tool change"),
        ("ISBLANK(rapid_time)", "rapid moves"), ("ISBLANK(bar_feed_time)", "bar feed"),
        (f"IF(ISBLANK(handover_time),{_TWO_SIDES},FALSE)", "hand-over to the second spindle"))))


def _changes(side: int) -> str:
    """Cell expression: tool changes at one spindle: as many as tools, which come round with every part; none where there is one alone."""
    tools = f"SUMPRODUCT(--(op_side={side}))"
    return f"IF({tools}>1,{tools},0)"


_WORKS = "".join(f'IF(material_group="{group}","{work}",' for group, work in WORK_OF_GROUP.items()) + '""' + ")" * len(WORK_OF_GROUP)
CYCLE_STEPS = (
    Answer("taylor_work", "work that tool life has usual constants for", "text", formula=_WORKS),
    Answer("taylor_n", "n of tool life for the idea of parts per edge, 0 for none", "general", formula='IF(taylor_work="",0,TAYLOR_EXPONENT(tool,taylor_work))'),
    Answer("taylor_c", "C of tool life for that idea, 0 for none", "general", "surface_speed",
           formula='IF(taylor_work="",0,TAYLOR_CONSTANT(tool,taylor_work,units))'),
    Answer("second_cutting", "cuts at the second spindle", "rate", "seconds", formula='SUMPRODUCT((op_spindle="second")*op_time)'),
    Answer("main_changes", "Tool changes at the main spindle", "count", "", formula=f"IF(ISBLANK(tool_changes),{_changes(1)},tool_changes)"),
    Answer("second_changes", "Tool changes at the second spindle", "count", "", formula=_changes(2)),
    Answer("feed_each", "Feed of the bar for one part", "rate", "seconds",
           formula="FEED_TIME_PER_PART(bar_feed_time,strokes,parts_per_feed)"),
    Answer("main_side", "Main spindle, all but hand-over", "rate", "seconds",
           formula="CYCLE_TIME_OF(cutting_time-second_cutting,main_changes,tool_change_time,rapid_time,feed_each)"),
    Answer("second_side", "Second spindle, all but hand-over", "rate", "seconds", formula="second_cutting+second_changes*tool_change_time"),
    Answer("edge_change_each", "Changes of edges, spread over the parts", "figure", "seconds", formula="SUMPRODUCT(op_edge_change_time,op_edge_share)"),
    Answer("tool_each", "Edges used by one part", "money_each", "each", formula="SUMPRODUCT(op_edge_cost,op_edge_share)"),
    Answer("edge_ideas", "rows whose parts per edge are an idea", "count", formula="SUMPRODUCT((op_parts_per_edge=0)*(op_edge_share>0))"),
    *REACHED,
)
LISTED_CYCLE = Answer("listed_cycle", "Cycle time from the operation list", "rate", "seconds",
                      formula="IF(cutting_time>0,TWO_SPINDLE_CYCLE(main_side,second_side,handover_time)+edge_change_each,NA())")
