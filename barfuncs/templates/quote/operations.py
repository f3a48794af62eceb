"""The operation list of a quote: the time of each row, and a mark where it does not look like this part."""

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula
from barfuncs.catalogue.units import MM_PER_INCH
from barfuncs.templates.every_order import BAR
from barfuncs.templates.model import STOP, Answer, number_text
from barfuncs.templates.quote.inputs import OPERATION_COLUMNS, OPERATION_INPUTS, OPERATIONS

_UNITS_KIND = next(i.kind for i in BAR if i.name == "units")


def operation_answers(n: int) -> tuple[Answer, ...]:
    """The top speed that holds for a row of the operation list, 0 for none; the row's time, and its spindle speed at the start."""
    cells = {name: f"op_{n}_{name}" for name in OPERATION_COLUMNS} | {"top_speed": f"quote_op_{n}_limit", "units": "use_units"}
    own = next(i for i in OPERATION_INPUTS if i.name == f"op_{n}_top_speed")
    others = ",".join(f"op_{n}_{name}" for name in list(OPERATION_COLUMNS)[1:])
    time = cell_formula(CATALOGUE["operation_time"], cells, known={"use_units": _UNITS_KIND, f"quote_op_{n}_limit": own.kind})
    cell, turns = f"op_{n}_", f"op_{n}_limit"
    stated = f"IF(ISBLANK({own.name}),speed_allowed,{own.used_formula()})"
    followed = f"MIN(1E6,feed_allowed/{cell}feed_rate)"  # with more turns the lathe could not follow
    return (
        Answer(turns, f"Max. speed of operation {n}", "count", "rpm",
               f'IF(OR(feed_allowed=0,ISBLANK({cell}feed_rate),{cell}operation="facing",{cell}operation="cut-off"),{stated},'
               f"IF({stated}>0,MIN({stated},{followed}),{followed}))"),
        Answer(f"op_{n}_time", f"Time of operation {n}", "general", "seconds",
               f"IF(ISBLANK({cell}operation),IF(COUNTA({others})=0,0,NA()),{time})"),
        Answer(f"op_{n}_speed", f"Spindle speed of operation {n}, at its start", "count", "rpm",
               f'IF(OR(ISBLANK({cell}operation),{cell}operation="other"),0*op_{n}_time,0*op_{n}_time+MIN(IF({turns}>0,{turns},1E99),'
               f'IF(units="mm",1000,12)*{cell}surface_speed/(PI()*{cell}start_diameter)))'),
        Answer(f"op_{n}_mark", f"mark of operation {n}", "text", formula=_operation_mark(n)),
    )


# Passes for an external thread by pitch in mm, each up to the middle between two published pitches. Source: Sumitomo
# technical guidance page, external metric threads: 0.75 4, 1 5, 1.25 7, 1.5 8, 1.75 10, 2 12, 2.5 14, 3 16.
THREAD_PASSES = ((0.875, 4), (1.125, 5), (1.375, 7), (1.625, 8), (1.875, 10), (2.25, 12), (2.75, 14))
_MOST_PASSES = 16
# Common practice, no source: what no lathe for bar is taken to do without being asked.
_FAST_THREAD, _FAST_SPINDLE, _DEEP_HOLE = 200, 6000, 10  # in/min, rpm, diameters


def usual_passes(n: int) -> str:
    """Cell expression: how many passes a thread of this pitch usually takes; an empty text for other operations."""
    pitch = f'op_{n}_feed_rate*IF(units="mm",1,{MM_PER_INCH!r})'
    passes = str(_MOST_PASSES)
    for widest, count in reversed(THREAD_PASSES):
        passes = f"IF({pitch}<={widest},{count},{passes})"
    return f'IF(op_{n}_operation="threading",IF(ISNUMBER(op_{n}_feed_rate),{passes},""),"")'


def _operation_mark(n: int) -> str:
    """Cell expression: what is wrong with a row of the operation list, or does not look like this part, or else what holds it back."""
    c = f"op_{n}_"
    kind, start, feed, speed, limit = f"{c}operation", f"{c}start_diameter", f"{c}feed_rate", f"{c}speed", f"{c}limit"
    usual_speed, usual_feed, usual_passes = (f"usual_{what}_{n}" for what in ("speed", "feed", "passes"))
    way, inch = f"{speed}*{feed}", f'IF(units="mm",{MM_PER_INCH!r},1)'
    width = 'IF(shape="flat",MAX(size,thickness),size)'
    one_pass = f"IF(ISBLANK({c}passes),1,{c}passes)"
    # A tap, a die and a rolling head need one pass; a taper is none of them.
    what = f'SUBSTITUTE(LOWER({c}note),"taper","")'
    not_single = "+".join(f'ISNUMBER(SEARCH("{word}",{what}))' for word in ("tap", "die", "roll"))
    # Blank cells count as 0 here. Each condition stands in an IF of its own, since AND works out all its parts.
    cases = (
        (f"ISERROR({c}time)", f'IF(ISBLANK({kind}),"{STOP} pick an operation","{STOP} fill in or correct")'),
        (f"ISBLANK({kind})", '""'),
        (f'IF({kind}="drilling",{start}>=IF(shape="flat",MIN(size,thickness),size)*(1-1E-9),FALSE)', '"! drill as large as the bar"'),
        (f"{start}>across_corners*1.002", '"! larger than the bar"'),
        (f"{c}length>2*part_length", '"! longer than the part"'),
        (f"IF(speed_allowed>0,{c}top_speed>speed_allowed,FALSE)", '"! above the max. speed"'),
        (f'IF({kind}="threading",OR({feed}>0.35*{start},{feed}<0.006*{inch}),FALSE)', '"! pitch in the right unit?"'),
        (f"IF(ISNUMBER({usual_feed}),OR({feed}>5*{usual_feed},{feed}*20<{usual_feed}),FALSE)",
         f'"! feed "&IF({feed}>{usual_feed},{number_text(f"{feed}/{usual_feed}", 0)}&" x the suggestion","a "&{number_text(f"{usual_feed}/{feed}", 0)}&"th of the suggestion")'
         '&": right unit?"'),
        (f"IF(ISNUMBER({usual_speed}),{c}surface_speed>3*{usual_speed},FALSE)",
         f'"! speed "&{number_text(f"{c}surface_speed/{usual_speed}", 1)}&" x the suggestion: right unit?"'),
        (f"IF(ISNUMBER({usual_passes}),IF({one_pass}*2<{usual_passes},{not_single}=0,FALSE),FALSE)",
         f'"! passes: single point usually "&{usual_passes}&" at this pitch"'),
        (f'IF({kind}="threading",IF(feed_allowed=0,{way}>{_FAST_THREAD}*{inch},FALSE),FALSE)',
         f'"! threading at "&{number_text(way, 0)}&IF(units="mm"," mm/min"," in/min")&": can the lathe?"'),
        (f"IF({limit}=0,{speed}>{_FAST_SPINDLE},FALSE)", f'"! "&{number_text(speed, 0)}&" rpm: max. speed?"'),
        (f'IF({kind}="drilling",IF({c}length>{_DEEP_HOLE}*{start},IF({one_pass}=1,{c}extra_time=0,FALSE),FALSE),FALSE)',
         f'"! "&{number_text(f"{c}length/{start}", 0)}&" diameters deep: time for pecks?"'),
        (f'IF(OR({kind}="facing",{kind}="cut-off",{kind}="turning"),IF({start}>={width}*(1-1E-6),{start}<across_corners*0.99,FALSE),FALSE)',
         f'"! starts at the corners: "&{number_text("across_corners", 3)}'),
        (f"IF({limit}>0,{speed}>={limit},FALSE)",
         f'"i held at "&{number_text(speed, 0)}&" rpm by the max. "&IF(feed_allowed=0,"speed",IF({way}>=feed_allowed*(1-1E-9),"feed","speed"))'),
    )
    mark = '""'
    for condition, words in reversed(cases):
        mark = f"IF({condition},{words},{mark})"
    return mark


OPERATION_LOOKS = Answer("operation_looks", "rows of the operation list that do not look like this part", "count",
                         formula="+".join(f'(LEFT(op_{n}_mark,1)="!")' for n in OPERATIONS))
BESIDE_CUTS = "tool_changes*tool_change_time+rapid_time+bar_feed_time"
NOT_COUNTED = Answer("not_counted", "what the operation list leaves out beside the cuts", "text", formula="&".join(
    f'IF({condition},"{words}, ","")' for condition, words in (
        ("tool_changes*tool_change_time=0", "tool changes"), ("rapid_time=0", "rapid moves"), ("bar_feed_time=0", "bar feed"))))
