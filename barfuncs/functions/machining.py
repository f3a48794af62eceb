"""Machining time: spindle speed, and the seconds that one cut takes at the programmed feed.

Only the time in the cut is counted. Rapid moves, tool changes, run-in and dwell come on top, unless they are part of
the length that is given.
"""

import math

from barfuncs.catalogue.entry import COMMON_PRACTICE, GEOMETRY
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    TIMED_OPERATIONS,
    Count,
    Diameter,
    FeedRate,
    Length,
    Operation,
    Pitch,
    PointAngle,
    PositiveCount,
    PositiveLength,
    Seconds,
    SpindleSpeed,
    SurfaceSpeed,
    Units,
)
from barfuncs.catalogue.units import MM_PER_INCH

_FEED_MESSAGE = "the feed per revolution must be less than the diameter; a feed per minute is not meant"
_TURNING_RULES = (("feed_rate", "feed_rate<diameter", _FEED_MESSAGE),)
_FEED_RULE = ("feed_rate", "feed_rate<outer_diameter", _FEED_MESSAGE)
_INNER = "inner_diameter<outer_diameter"
_FACING_RULES = (("inner_diameter", _INNER, "the inner diameter must be less than the outer diameter"), _FEED_RULE)
_CUTOFF_RULES = (("inner_diameter", _INNER, "the bore must be less than the outer diameter"), _FEED_RULE)

# Surface speed is in feet or meters, diameter in inches or millimetres.
_SPEED_SCALE = 'IF(units="mm",1000,12)'
# The diameter at which the top speed is reached, kept within the cut.
_SWITCH = f"MIN(outer_diameter,MAX(inner_diameter,{_SPEED_SCALE}*surface_speed/(PI()*top_speed)))"


@cell_function(
    group="Time",
    source="definition of surface speed; F. D. Jones, Turning and Boring",
    formula=f"IF(top_speed>0,MIN(top_speed,{_SPEED_SCALE}*surface_speed/(PI()*diameter)),"
            f"{_SPEED_SCALE}*surface_speed/(PI()*diameter))",
)
def spindle_speed(surface_speed: SurfaceSpeed, diameter: Diameter, top_speed: SpindleSpeed | None = None,
                  units: Units = "in") -> SpindleSpeed:
    """Spindle speed for a surface speed at a diameter, revolutions per minute, not above the top speed.

    Notes
    -----
    12 V / (pi d) with V in ft/min and d in inch; 1000 V / (pi d) with V in m/min and d in mm. The definition of surface
    speed, so it holds at any diameter. Without a top speed nothing limits the result: the limits of the machine, the
    workholding and the bar are not known here.

    Examples
    --------
    >>> round(spindle_speed(400, 0.75))
    2037
    >>> round(spindle_speed("120 m/min", "19 mm"))
    2010
    >>> spindle_speed(400, 0.25, 5000)
    5000.0
    """
    speed = _speed_scale(units) * surface_speed / (math.pi * diameter)
    return min(float(top_speed), speed) if top_speed else speed


@cell_function(
    group="Time",
    source="M. P. Groover, Fundamentals of Modern Manufacturing, chapter on turning",
    formula="60*passes*length/(feed_rate*SPINDLE_SPEED(surface_speed,diameter,top_speed,units))",
    rules=_TURNING_RULES,
)
def turning_time(length: PositiveLength, diameter: Diameter, surface_speed: SurfaceSpeed, feed_rate: FeedRate,
                 top_speed: SpindleSpeed | None = None, passes: PositiveCount = 1, units: Units = "in") -> Seconds:
    """Seconds that turning along a cylinder takes.

    Notes
    -----
    60 * passes * length / (feed rate * spindle speed), every pass at the speed that belongs to `diameter`: the largest
    diameter that is cut. In turning that is the diameter before the cut (a hexagon or square bar across its corners);
    where constant surface speed raises the spindle speed on the smaller diameters of later passes, the real time is a
    little shorter. In boring it is the finished bore: a smaller one would give a spindle speed too high and a time too
    short. A taper at constant surface speed takes the time of its mean diameter, as long as the top speed is not reached.

    Examples
    --------
    >>> round(turning_time(2, 0.75, 400, 0.005), 2)
    11.78
    >>> round(turning_time("50 mm", "19 mm", "120 m/min", "0.12 mm/rev", top_speed=1800, passes=2), 2)
    27.78
    """
    speed = spindle_speed.core(surface_speed, diameter, top_speed, units)
    return float(60 * passes * length / (feed_rate * speed))


@cell_function(
    group="Time",
    source=f"{GEOMETRY}, integrated; the formulas of cutting-tool makers' technical guides for facing and cut-off are the same",
    formula=f"60*(PI()*(outer_diameter-{_SWITCH})*(outer_diameter+{_SWITCH})"
            f"/(4*{_SPEED_SCALE}*surface_speed*feed_rate)"
            f"+({_SWITCH}-inner_diameter)/(2*feed_rate*top_speed))",
    rules=_FACING_RULES,
)
def facing_time(outer_diameter: PositiveLength, inner_diameter: Length, surface_speed: SurfaceSpeed,
                feed_rate: FeedRate, top_speed: SpindleSpeed, units: Units = "in") -> Seconds:
    """Seconds that one facing cut from an outer to an inner diameter takes, at constant surface speed.

    Notes
    -----
    The spindle speed rises as the diameter shrinks, until the top speed is reached at the diameter
    k V / (pi top speed), k = 12 or 1000; from there inwards it stays. With s that diameter, but not above the outer
    and not below the inner one:

    60 * (pi (outer^2 - s^2) / (4 k V feed rate) + (s - inner) / (2 feed rate * top speed))

    the integral of dr / (feed rate * spindle speed) over the radius. The spindle is taken to follow the tool without
    delay. A cut at one spindle speed n throughout: give n for the top speed and a surface speed of at least
    pi * outer * n / k. Where the tool starts outside the work at this feed, give the diameter where it starts: on a
    hexagon, square or octagon bar that is across the corners (`across_corners`), not the flats.

    Examples
    --------
    >>> round(facing_time(0.75, 0, 400, 0.004, 4000), 3)
    1.739
    >>> round(facing_time("50 mm", 0, "200 m/min", "0.1 mm", 3000), 3)
    6.952
    """
    scale = _speed_scale(units)
    switch = min(outer_diameter, max(inner_diameter, scale * surface_speed / (math.pi * top_speed)))
    rising = math.pi * (outer_diameter - switch) * (outer_diameter + switch) / (4 * scale * surface_speed * feed_rate)
    return 60 * (rising + (switch - inner_diameter) / (2 * feed_rate * top_speed))


@cell_function(
    group="Time",
    source="that of `facing_time`",
    formula="FACING_TIME(outer_diameter,inner_diameter,surface_speed,feed_rate,top_speed,units)",
    rules=_CUTOFF_RULES,
)
def cutoff_time(outer_diameter: PositiveLength, inner_diameter: Length, surface_speed: SurfaceSpeed,
                feed_rate: FeedRate, top_speed: SpindleSpeed, units: Units = "in") -> Seconds:
    """Seconds that cutting the part off takes, at constant surface speed; the inner diameter is the bore, 0 for solid.

    Notes
    -----
    The same as `facing_time`: constant surface speed until the top speed is reached, then constant speed, one feed
    rate from the outer diameter (of a hexagon, square or octagon bar across its corners) to the bore or the center. Where the program lowers the speed or the feed before the
    part drops, add two cuts: one down to that diameter, one from it.

    Examples
    --------
    >>> round(cutoff_time(0.75, 0, 300, 0.002, 3000), 3)
    4.636
    >>> round(cutoff_time(0.75, 0.5, 300, 0.002, 3000), 3)
    2.045
    """
    return float(facing_time.core(outer_diameter, inner_diameter, surface_speed, feed_rate, top_speed, units))


@cell_function(
    group="Time",
    source="M. P. Groover, Fundamentals of Modern Manufacturing, chapter on drilling",
    formula="60*(depth+diameter/2*TAN((90-point_angle/2)*PI()/180))"
            "/(feed_rate*SPINDLE_SPEED(surface_speed,diameter,top_speed,units))",
    rules=_TURNING_RULES,
)
def drilling_time(depth: PositiveLength, diameter: Diameter, surface_speed: SurfaceSpeed, feed_rate: FeedRate,
                  point_angle: PointAngle = 118, top_speed: SpindleSpeed | None = None,
                  units: Units = "in") -> Seconds:
    """Seconds that drilling from the solid takes, to the full diameter over the full depth.

    Notes
    -----
    60 * (depth + d / 2 * tan(90 - point angle / 2)) / (feed rate * spindle speed), in one go without retracting. The
    second term is the drill's point: it comes on top of `depth`, both where the drill goes through and where it stops
    in a hole that has its full diameter to that depth. For a depth that already counts the point, give 180 for the
    point angle. Small drills ask for more turns than most spindles have: without a top speed nothing limits them. Pecks
    come on top.

    Examples
    --------
    >>> round(drilling_time(1, 0.25, 80, 0.004), 2)
    13.19
    >>> round(drilling_time("25 mm", "20 mm", "20 m/min", "0.25 mm/rev", 180), 2)
    18.85
    >>> round(drilling_time(0.25, 0.0625, 450, 0.001, top_speed=6000), 2)
    2.69
    """
    speed = spindle_speed.core(surface_speed, diameter, top_speed, units)
    point = diameter / 2 * math.tan((90 - point_angle / 2) * math.pi / 180)
    return float(60 * (depth + point) / (feed_rate * speed))


@cell_function(
    group="Time",
    source=f"{GEOMETRY}; the formula of a cutting-tool maker's technical guide for threading is the same",
    formula="60*passes*(length+clearance)/(pitch*spindle_speed)",
    rules=(("pitch", "pitch<=length", "the pitch can't be more than the length of the thread; for threads per inch "
                                      "give 1 / threads per inch"),),
)
def threading_time(length: PositiveLength, pitch: Pitch, passes: PositiveCount, spindle_speed: SpindleSpeed,
                   clearance: Length, units: Units = "in") -> Seconds:
    """Seconds that cutting a thread with a single-point tool takes, without the way back between passes.

    Notes
    -----
    60 * passes * (length + clearance) / (pitch * spindle speed). The clearance is the way at the thread's feed before
    and after the thread, run-in and run-out together. For a thread with several starts give the pitch, not the lead,
    and the passes of one start: that each start is cut by itself and that the tool moves by the lead cancel out. A
    die or a tap in one pass takes the same formula with passes = 1; the way out, where it turns back, comes on top.

    Examples
    --------
    >>> round(threading_time(0.75, 1 / 20, 6, 800, 0.2), 2)
    8.55
    >>> round(threading_time("20 mm", "1.5 mm", 8, 1000, "4.5 mm"), 2)
    7.84
    """
    return 60 * passes * (length + clearance) / (pitch * spindle_speed)


# Passes for an external thread by pitch in mm, each up to the middle between two published pitches. Source: Sumitomo
# technical guidance page, external metric threads.
THREAD_PASSES = ((0.875, 4), (1.125, 5), (1.375, 7), (1.625, 8), (1.875, 10), (2.25, 12), (2.75, 14))
_MOST_PASSES = 16
_PITCH_MM = f'pitch*IF(units="mm",1,{MM_PER_INCH!r})'


def _passes_formula() -> str:
    formula = str(_MOST_PASSES)
    for widest, count in reversed(THREAD_PASSES):
        formula = f"IF({_PITCH_MM}<={widest},{count},{formula})"
    return formula


@cell_function(
    group="Time",
    source="technical guidance of a maker of cutting tools, external metric threads: 0.75 4, 1 5, 1.25 7, 1.5 8, 1.75 10, 2 12, 2.5 14, 3 16",
    formula=_passes_formula(),
)
def thread_passes(pitch: Pitch, units: Units = "in") -> Count:
    """Usual passes of a single-point tool for an external thread of a pitch.

    Notes
    -----
    Published for the pitches 0.75 to 3 mm; a pitch between two of them counts as the nearer. A finer one gets the 4 of
    0.75 mm, a coarser one the 16 of 3 mm: there it is no more than an idea, and on the low side.

    Examples
    --------
    >>> thread_passes(1 / 20), thread_passes("8 tpi", units="in")
    (7, 16)
    >>> thread_passes(1.5, "mm")
    8
    """
    in_mm = pitch * (1 if units == "mm" else MM_PER_INCH)
    return next((count for widest, count in THREAD_PASSES if in_mm <= widest), _MOST_PASSES)


_SLOPE = "SQRT(length^2+((start_diameter-end_diameter)/2)^2)"


@cell_function(
    group="Time",
    source=f"{GEOMETRY}, integrated",
    formula=f"FACING_TIME(start_diameter,end_diameter,surface_speed,feed_rate,IF(top_speed>0,top_speed,1E6),units)*{_SLOPE}*2/(start_diameter-end_diameter)",
    rules=(
        ("end_diameter", "end_diameter<start_diameter", "a taper ends at a smaller diameter than it starts; give the larger end as the start"),
        ("feed_rate", "feed_rate<start_diameter", _FEED_MESSAGE),
    ),
)
def taper_time(length: PositiveLength, start_diameter: Diameter, end_diameter: Length, surface_speed: SurfaceSpeed,
               feed_rate: FeedRate, top_speed: SpindleSpeed | None = None, units: Units = "in") -> Seconds:
    """Seconds that one pass along a taper takes, at constant surface speed up to the top speed.

    Notes
    -----
    The length is along the axis, the feed along the taper, as a control moves the tool. The time is that of facing between
    the two diameters, times the way along the taper / the way across. Without a top speed the spindle goes up to 1,000,000
    rpm. It is the same whichever end comes first: the larger one is the start diameter.

    Examples
    --------
    >>> round(taper_time(2, 1, 0.5, 400, 0.005), 2)
    11.87
    >>> round(taper_time("50 mm", "19 mm", "10 mm", "120 m/min", "0.12 mm/rev", 1800, "mm"), 2)
    13.95
    """
    across = facing_time.core(start_diameter, end_diameter, surface_speed, feed_rate, top_speed or 1e6, units)
    way = math.sqrt(length ** 2 + ((start_diameter - end_diameter) / 2) ** 2)
    return float(across * way * 2 / (start_diameter - end_diameter))


_OTHER = ",".join(f'operation="{timed}"' for timed in TIMED_OPERATIONS)
_IS_FACE = 'operation="facing",operation="cut-off",operation="grooving"'
_NO_FACE = 'operation<>"facing",operation<>"cut-off",operation<>"grooving"'
# All others are a way at a feed per revolution: a drill goes further by its point, a tap comes out as it went in.
_WAY = 'length*IF(operation="tapping",2,1)+IF(operation="drilling",start_diameter/2*TAN((90-118/2)*PI()/180),0)'
_AS_A_TIME = "knurling, milling, cross drilling and other"


@cell_function(
    group="Time",
    source="those of `turning_time`, `taper_time`, `facing_time`, `drilling_time` and `threading_time`",
    formula=f"passes*(extra_time+IF(OR({_OTHER}),0,IF(OR({_IS_FACE},operation=\"taper turning\"),"
            "FACING_TIME(start_diameter,end_diameter,surface_speed,feed_rate,IF(top_speed>0,top_speed,1E6),units)"
            f'*IF(operation="taper turning",{_SLOPE}*2/(start_diameter-end_diameter),1),'
            f"TURNING_TIME({_WAY},start_diameter,surface_speed,feed_rate,top_speed,1,units))))",
    rules=(
        ("start_diameter", f"OR({_OTHER},start_diameter>0)", f"every operation but {_AS_A_TIME} needs a start diameter"),
        ("end_diameter", f'OR(AND({_NO_FACE},operation<>"taper turning"),start_diameter=0,end_diameter<start_diameter)',
         "facing, grooving, cut-off and tapers end at a smaller diameter than they start"),
        ("length", f"OR({_OTHER},{_IS_FACE},length>0)", "every operation along the bar needs a length"),
        ("surface_speed", f"OR({_OTHER},surface_speed>0)", f"every operation but {_AS_A_TIME} needs a surface speed"),
        ("feed_rate", f"OR({_OTHER},feed_rate>0)",
         f"every operation but {_AS_A_TIME} needs a feed per revolution, a thread its pitch"),
        ("feed_rate", f"OR({_OTHER},start_diameter=0,feed_rate<start_diameter)", _FEED_MESSAGE),
        ("feed_rate", 'OR(AND(operation<>"threading",operation<>"tapping"),length=0,feed_rate<=length)',
         "the pitch can't be more than the length of the thread"),
        ("top_speed", f"OR(AND({_NO_FACE}),top_speed>0)", "facing, grooving and cut-off need a top speed"),
        ("extra_time", f"OR(AND({_OTHER.replace('=', '<>')}),extra_time>0)", f"{_AS_A_TIME} need the time that they take"),
    ),
)
def operation_time(operation: Operation, start_diameter: Diameter | None = None, end_diameter: Length = 0,
                   length: PositiveLength | None = None, surface_speed: SurfaceSpeed | None = None,
                   feed_rate: FeedRate | None = None, top_speed: SpindleSpeed | None = None,
                   passes: PositiveCount = 1, extra_time: Seconds = 0, units: Units = "in") -> Seconds:
    """Seconds of one operation of a part: one row of an operation list.

    Notes
    -----
    passes * (time of one pass + extra time). One pass is `turning_time`, also for boring and reaming; `taper_time`;
    `facing_time` for facing, grooving and cut-off; `drilling_time` with a 118 degree point; or `threading_time` at the
    spindle speed of `spindle_speed`, for tapping in and out again at that speed. A thread's feed per revolution is its
    pitch, its length counts run-in and run-out. For boring, give the finished bore as the start diameter, the largest
    that is cut; facing and cut-off of a hexagon, square or octagon bar start at its corners, a taper at its larger end.
    The top speed, where given, holds for drilling and threading too. Where the machine can't follow a thread, its highest
    feed per minute / pitch is the top speed. The end diameter counts for facing, grooving, cut-off and tapers, the length
    for all but the first three; knurling, milling, cross drilling and other are the extra time alone.

    Examples
    --------
    >>> round(operation_time("turning", 0.75, length=2, surface_speed=400, feed_rate=0.005, passes=2, extra_time=1.5), 2)
    26.56
    >>> round(operation_time("cut-off", "19 mm", 0, None, "90 m/min", "0.05 mm/rev", 3000, units="mm"), 2)
    4.74
    >>> operation_time("milling", extra_time=4)
    4.0
    >>> operation_time("tapping", 0.25, length=0.5, surface_speed=40, feed_rate=1 / 20) \\
    ...     == 2 * operation_time("threading", 0.25, length=0.5, surface_speed=40, feed_rate=1 / 20)
    True
    """
    if operation in TIMED_OPERATIONS:
        return float(passes * extra_time)
    # The rules have seen to it that what the operation needs is there.
    assert start_diameter is not None
    assert surface_speed is not None
    if operation in ("facing", "cut-off", "grooving"):
        cut = facing_time.core(start_diameter, end_diameter, surface_speed, feed_rate, top_speed, units)
    elif operation == "taper turning":
        cut = taper_time.core(length, start_diameter, end_diameter, surface_speed, feed_rate, top_speed, units)
    elif operation in ("turning", "boring", "reaming"):
        cut = turning_time.core(length, start_diameter, surface_speed, feed_rate, top_speed, 1, units)
    elif operation == "drilling":
        cut = drilling_time.core(length, start_diameter, surface_speed, feed_rate, 118, top_speed, units)
    else:
        speed = spindle_speed.core(surface_speed, start_diameter, top_speed, units)
        cut = threading_time.core(length, feed_rate, 2 if operation == "tapping" else 1, speed, 0, units)
    return float(passes * (extra_time + cut))


@cell_function(group="Time", source=COMMON_PRACTICE, formula="cutting_time+tool_changes*tool_change_time+rapid_time+bar_feed_time")
def cycle_time_of(cutting_time: Seconds, tool_changes: Count = 0, tool_change_time: Seconds = 0,
                  rapid_time: Seconds = 0, bar_feed_time: Seconds = 0) -> Seconds:
    """Cycle time of a part: its operations together, tool changes, rapid moves and the feed of the bar.

    Notes
    -----
    The cutting time is the sum of `operation_time` over the operations that follow one another; what a second tool
    does at the same time does not count.

    Examples
    --------
    >>> cycle_time_of(31.5, 5, 1.5, 4, 2)
    45.0
    """
    return float(cutting_time + tool_changes * tool_change_time + rapid_time + bar_feed_time)


def _speed_scale(units: str) -> float:
    return 1000 if units == "mm" else 12
