"""The operation list of a quote: the time of each row, and a mark where it does not look like this part."""

from barfuncs.catalogue import kinds
from barfuncs.catalogue.units import MM_PER_INCH
from barfuncs.templates.cell_text import number_text
from barfuncs.templates.model import Answer, RowAnswer, Table, make_column
from barfuncs.templates.part_sheet import SECTIONS, START, START_LOOK
from barfuncs.templates.speeds_sheet import row_of, suggested_feed, suggested_speed

# Passes for an external thread by pitch in mm, each up to the middle between two published pitches. Source: Sumitomo
# technical guidance page, external metric threads: 0.75 4, 1 5, 1.25 7, 1.5 8, 1.75 10, 2 12, 2.5 14, 3 16.
THREAD_PASSES = ((0.875, 4), (1.125, 5), (1.375, 7), (1.625, 8), (1.875, 10), (2.25, 12), (2.75, 14))
_MOST_PASSES = 16
# Common practice, no source: what no lathe for bar is taken to do without being asked.
_FAST_THREAD, _FAST_SPINDLE, _DEEP_HOLE = 200, 6000, 10  # in/min, rpm, diameters


def _usual_passes() -> str:
    """Cell expression: how many passes a thread of this pitch usually takes; an empty text for other operations."""
    pitch = f'op_feed_rate*IF(units="mm",1,{MM_PER_INCH!r})'
    passes = str(_MOST_PASSES)
    for widest, count in reversed(THREAD_PASSES):
        passes = f"IF({pitch}<={widest},{count},{passes})"
    return f'IF(IFERROR(op_operation="threading",FALSE),IF(op_feed_rate>0,{passes},""),"")'


def _looks() -> tuple[tuple[str, str], ...]:
    """Cases of a row that does not look like this part, or else what holds it back: condition, words."""
    way, inch = "op_speed*op_feed_rate", f'IF(units="mm",{MM_PER_INCH!r},1)'
    width = 'IF(shape="flat",MAX(size,thickness),size)'
    # A tap, a die and a rolling head need one pass; a taper is none of them.
    what = 'SUBSTITUTE(LOWER(op_note),"taper","")'
    not_single = "+".join(f'ISNUMBER(SEARCH("{word}",{what}))' for word in ("tap", "die", "roll"))
    # Each condition stands in an IF of its own, since AND works out all its parts.
    return (
        ('IF(op_operation="drilling",op_start_diameter>=IF(shape="flat",MIN(size,thickness),size)*(1-1E-9),FALSE)',
         '"! drill as large as the bar"'),
        ("op_start_diameter>across_corners*1.002", '"! larger than the bar"'),
        ("op_length>2*part_length", '"! longer than the part"'),
        ("IF(speed_allowed>0,op_top_speed>speed_allowed,FALSE)", '"! above the max. speed"'),
        (f'IF(op_operation="threading",OR(op_feed_rate>0.35*op_start_diameter,op_feed_rate<0.006*{inch}),FALSE)',
         '"! pitch in the right unit?"'),
        ("IF(ISNUMBER(op_usual_feed),OR(op_feed_rate>5*op_usual_feed,op_feed_rate*20<op_usual_feed),FALSE)",
         f'"! feed "&IF(op_feed_rate>op_usual_feed,{number_text("op_feed_rate/op_usual_feed", 0)}&" x the suggestion","a "'
         f'&{number_text("op_usual_feed/op_feed_rate", 0)}&"th of the suggestion")&": right unit?"'),
        ("IF(ISNUMBER(op_usual_speed),op_surface_speed>3*op_usual_speed,FALSE)",
         f'"! speed "&{number_text("op_surface_speed/op_usual_speed", 1)}&" x the suggestion: right unit?"'),
        (f"IF(ISNUMBER(op_usual_passes),IF(op_passes*2<op_usual_passes,{not_single}=0,FALSE),FALSE)",
         '"! passes: single point usually "&op_usual_passes&" at this pitch"'),
        (f'IF(op_operation="threading",IF(feed_allowed=0,{way}>{_FAST_THREAD}*{inch},FALSE),FALSE)',
         f'"! threading at "&{number_text(way, 0)}&IF(units="mm"," mm/min"," in/min")&": can the lathe?"'),
        (f"IF(op_limit=0,op_speed>{_FAST_SPINDLE},FALSE)", f'"! "&{number_text("op_speed", 0)}&" rpm: max. speed?"'),
        (f'IF(op_operation="drilling",IF(op_length>{_DEEP_HOLE}*op_start_diameter,IF(op_passes=1,op_extra_time=0,FALSE),FALSE),FALSE)',
         f'"! "&{number_text("op_length/op_start_diameter", 0)}&" diameters deep: time for pecks?"'),
        ('IF(OR(op_operation="facing",op_operation="cut-off",op_operation="turning"),'
         f"IF(op_start_diameter>={width}*(1-1E-6),op_start_diameter<across_corners*0.99,FALSE),FALSE)",
         f'"! starts at the corners: "&{number_text("across_corners", 3)}'),
        ("IF(op_limit>0,op_speed>=op_limit,FALSE)",
         f'"i held at "&{number_text("op_speed", 0)}&" rpm by the max. "&IF(feed_allowed=0,"speed",IF({way}>=feed_allowed*(1-1E-9),'
         '"feed","speed"))'),
    )


# With more turns than that the lathe could not follow its own feed.
_FOLLOWED = "MIN(1E6,feed_allowed/op_feed_rate)"
_STATED = "IF(ISBLANK(op_top_speed),speed_allowed,op_top_speed)"
OPERATIONS = Table(
    name="operations",
    item="op",
    label="Operation list",
    row_label="Operation",
    rows=12,
    columns=(
        make_column("note", "What", kinds.Text, "what is done, in words", width=31),
        make_column("operation", "Operation", kinds.Operation, needed=True),
        make_column("start_diameter", "Start dia.", kinds.Diameter, blank=0, width=9.5, instead=START),
        make_column("end_diameter", "End dia.", kinds.Length, blank=0, width=9.5),
        make_column("length", "Length", kinds.PositiveLength, blank=0, width=9.5),
        make_column("surface_speed", "Surface speed", kinds.SurfaceSpeed, blank=0, width=10),
        make_column("feed_rate", "Feed per rev.", kinds.FeedRate, blank=0, width=9.5),
        make_column("top_speed", "Max. speed", kinds.SpindleSpeed, unit="rpm", blank=0, width=9),
        make_column("passes", "Passes", kinds.PositiveCount, blank=1, width=8),
        make_column("extra_time", "Extra time", kinds.Seconds, blank=0, width=8),
    ),
    answers=(
        RowAnswer("time", "Time", "blank_or_seconds", "seconds", "IF(ISBLANK(op_operation),IF(op_filled=0,0,NA()),op_cut_time+op_sound)", width=9),
        RowAnswer("speed", "Spindle speed", "blank_or_count", "rpm",
                  'IF(ISBLANK(op_operation),0*op_time,IF(op_operation="other",0*op_time,0*op_time+MIN(IF(op_limit>0,op_limit,1E99),'
                  'IF(units="mm",1000,12)*op_surface_speed/(PI()*op_start_diameter))))', width=9.5),
        RowAnswer("usual_speed", "Suggested speed", "general", "surface_speed", suggested_speed("op_speeds_row"), small=True, width=11),
        RowAnswer("usual_feed", "Suggested feed", "general", "feed_rate",
                  suggested_feed("op_speeds_row", "op_operation", "op_start_diameter"), small=True, width=11),
        RowAnswer("usual_passes", "Usual passes", "general", "", _usual_passes(), small=True),
        RowAnswer("limit", "Max. speed that holds, 0 for none", "count", "rpm",
                  f'IF(feed_allowed=0,{_STATED},IF(op_feed_rate=0,{_STATED},IF(OR(op_operation="facing",op_operation="cut-off"),'
                  f"{_STATED},IF({_STATED}>0,MIN({_STATED},{_FOLLOWED}),{_FOLLOWED}))))", aside=True),
        RowAnswer("cut_time", "Time of the cuts", "general", "seconds", calls="operation_time", aside=True, refs=(
            *((name, f"op_{name}") for name in ("operation", "start_diameter", "end_diameter", "length", "surface_speed",
                                                "feed_rate", "passes", "extra_time")), ("top_speed", "op_limit"))),
        RowAnswer("speeds_row", "Row of the sheet Speeds", "count", "", row_of("op_operation"), aside=True),
    ),
    calls="operation_time",
    falls_back={"top_speed": "top_speed", "start_diameter": SECTIONS.name},
    looks=(*_looks(), START_LOOK),
)

OPERATION_LOOKS = Answer("operation_looks", "rows of the operation list that do not look like this part", "count",
                         formula=OPERATIONS.to_look_at)
BESIDE_CUTS = "tool_changes*tool_change_time+rapid_time+bar_feed_time"
NOT_COUNTED = Answer("not_counted", "what the operation list leaves out beside the cuts", "text", formula="&".join(
    f'IF({condition},"{words}, ","")' for condition, words in (
        ("tool_changes*tool_change_time=0", "tool changes"), ("rapid_time=0", "rapid moves"), ("bar_feed_time=0", "bar feed"))))
