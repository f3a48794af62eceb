"""Feeding the bar: several parts a feed, strokes, parts scrapped at the front of every bar, two spindles."""

from barfuncs.catalogue.counting import count_up
from barfuncs.catalogue.entry import COMMON_PRACTICE, GEOMETRY
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import Count, PositiveCount, PositiveLength, Seconds


@cell_function(group="Time", source=GEOMETRY, formula="(COUNT_UP(bar_per_part*parts_per_feed/longest_push))")
def feed_strokes(bar_per_part: PositiveLength, longest_push: PositiveLength, parts_per_feed: PositiveCount = 1) -> Count:
    """Strokes that one feed of the bar takes: more than one where it is longer than the longest push.

    Examples
    --------
    >>> feed_strokes(2.375, 12)
    1
    >>> feed_strokes(15, 12), feed_strokes(2.375, 12, 6)
    (2, 2)
    """
    return count_up(bar_per_part * parts_per_feed / longest_push)


@cell_function(group="Time", source=COMMON_PRACTICE, formula="time_per_stroke*feed_strokes/parts_per_feed")
def feed_time_per_part(time_per_stroke: Seconds, feed_strokes: PositiveCount = 1, parts_per_feed: PositiveCount = 1) -> Seconds:
    """Time of feeding the bar that one part bears: every stroke takes its time, and the parts of one feed share it.

    Notes
    -----
    Of the last feed of a bar fewer parts may come; what these bear more is left out.

    Examples
    --------
    >>> feed_time_per_part(2), feed_time_per_part(2, 2), feed_time_per_part(2, 2, 6)
    (2.0, 4.0, 0.6666666666666666)
    """
    return float(time_per_stroke * feed_strokes / parts_per_feed)


@cell_function(group="Yield", source=COMMON_PRACTICE, formula="(INT((parts_per_bar+0.5)/parts_per_feed)*parts_per_feed)")
def parts_in_full_feeds(parts_per_bar: Count, parts_per_feed: PositiveCount = 1) -> Count:
    """Parts of a bar where each feed makes the same number of parts and a rest that gives fewer is not used.

    Notes
    -----
    `parts_per_bar` counts every part that still fits: right where the program lets the last feed of a bar be a short one.

    Examples
    --------
    >>> parts_in_full_feeds(59, 6)
    54
    """
    return parts_per_bar // parts_per_feed * parts_per_feed


@cell_function(group="Yield", source=COMMON_PRACTICE, formula="MAX(0,parts_per_bar-first_parts_scrapped)")
def good_parts_per_bar(parts_per_bar: Count, first_parts_scrapped: Count = 0) -> Count:
    """Parts of a bar less those at its front that are scrapped every time.

    Examples
    --------
    >>> good_parts_per_bar(59, 1)
    58
    """
    return max(0, parts_per_bar - first_parts_scrapped)


@cell_function(
    group="Quantity",
    source=GEOMETRY,
    formula="(parts_to_make+first_parts_scrapped*COUNT_UP(parts_to_make/MAX(1,parts_per_bar-first_parts_scrapped)))",
    rules=(("first_parts_scrapped", "first_parts_scrapped<parts_per_bar",
            "the first parts that are scrapped must be fewer than the parts of a bar"),),
)
def parts_with_first_scrapped(parts_to_make: Count, parts_per_bar: PositiveCount, first_parts_scrapped: Count = 0) -> Count:
    """Parts to make with those at the front of every bar that are scrapped, for the bars that this takes.

    Notes
    -----
    parts to make + first parts scrapped * bars, bars = parts to make / (parts per bar - first parts scrapped), rounded up.
    So many parts / parts per bar, rounded up, are the same bars. The last bar has first parts too.

    Examples
    --------
    >>> parts_with_first_scrapped(1036, 59, 1)
    1054
    >>> parts_with_first_scrapped(58, 59, 1), parts_with_first_scrapped(59, 59, 1)
    (59, 61)
    """
    return parts_to_make + first_parts_scrapped * count_up(parts_to_make / max(1, parts_per_bar - first_parts_scrapped))


@cell_function(group="Time", source=COMMON_PRACTICE, formula="MAX(main_time,second_time)+handover_time")
def two_spindle_cycle(main_time: Seconds, second_time: Seconds = 0, handover_time: Seconds = 0) -> Seconds:
    """Cycle time of a lathe with two spindles: the longer of the two sides, and the hand-over.

    Notes
    -----
    While the second spindle finishes one part the main spindle makes the next; only in the hand-over does each wait for
    the other. Without a second side it is the main side and its clamping. Tools that serve one spindle at a time, as on one
    turret alone, do not work at once: add the two sides up there.

    Examples
    --------
    >>> two_spindle_cycle(32, 18, 3), two_spindle_cycle(32, 41, 3)
    (35.0, 44.0)
    """
    return float(max(main_time, second_time) + handover_time)
