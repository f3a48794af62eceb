"""Yield: what one bar gives."""

from barfuncs.catalogue.counting import count_down
from barfuncs.catalogue.entry import COMMON_PRACTICE, GEOMETRY
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import Count, Length, PositiveCount, PositiveLength, Ratio

_FITS = (("end_trim", "end_trim<=bar_length", "the end trim must not be longer than the bar"),)
_PARTS = "MAX(0,COUNT_DOWN((bar_length-end_trim-min_remnant)/(part_length+cutoff_width+facing)))"
_SAME = "bar_length,part_length,cutoff_width,min_remnant,facing,end_trim"


@cell_function(group="Yield", source=GEOMETRY, formula="part_length+cutoff_width+facing")
def bar_per_part(part_length: PositiveLength, cutoff_width: Length, facing: Length = 0) -> Length:
    """What one part uses of the bar: part length + cut-off width + facing.

    Examples
    --------
    >>> bar_per_part(2.25, 0.125)
    2.375
    """
    return part_length + cutoff_width + facing


@cell_function(group="Yield", source=COMMON_PRACTICE, formula="MAX(grip_length+face_to_cutoff,rear_hold)")
def min_remnant(grip_length: Length, face_to_cutoff: Length, rear_hold: Length = 0) -> Length:
    """Minimum remnant: a bar is finished before it gets shorter than grip length + face to cut-off tool, or than its rear hold.

    Examples
    --------
    >>> min_remnant(2.5, 0.25)
    2.75
    >>> min_remnant(2.5, 0.25, rear_hold=5)
    5.0
    """
    return max(grip_length + face_to_cutoff, rear_hold)


def _parts(bar_length: float, part_length: float, cutoff_width: float, min_remnant: float, facing: float,
           end_trim: float) -> int:
    return max(0, count_down((bar_length - end_trim - min_remnant) / (part_length + cutoff_width + facing)))


@cell_function(group="Yield", source=f"{GEOMETRY}; that a bar is finished at its minimum remnant: {COMMON_PRACTICE}", formula=_PARTS)
def parts_per_bar(bar_length: Length, part_length: PositiveLength, cutoff_width: Length, min_remnant: Length,
                  facing: Length = 0, end_trim: Length = 0) -> Count:
    """Whole parts from one bar; 0 where not one fits.

    Notes
    -----
    floor((bar length - end trim - minimum remnant) / bar per part), never below 0. Rounding noise up to 1e-9 of a
    part never costs a part.

    Examples
    --------
    >>> parts_per_bar(144, 2.25, 0.125, 3)
    59
    >>> parts_per_bar("12 ft", "57.15 mm", "1/8 in", 3, units="in")
    59
    """
    return _parts(bar_length, part_length, cutoff_width, min_remnant, facing, end_trim)


@cell_function(
    group="Yield",
    source=GEOMETRY,
    formula=f"bar_length-end_trim-PARTS_PER_BAR({_SAME})*(part_length+cutoff_width+facing)",
    rules=_FITS,
)
def remnant_length(bar_length: Length, part_length: PositiveLength, cutoff_width: Length, min_remnant: Length,
                   facing: Length = 0, end_trim: Length = 0) -> Length:
    """Length of bar that is left when no further whole part can be made from it.

    Examples
    --------
    >>> remnant_length(144, 2.25, 0.125, 3)
    3.875
    """
    parts = _parts(bar_length, part_length, cutoff_width, min_remnant, facing, end_trim)
    return bar_length - end_trim - parts * (part_length + cutoff_width + facing)


@cell_function(
    group="Yield",
    source=GEOMETRY,
    formula=f"IF(bar_length=0,0,PARTS_PER_BAR({_SAME})*part_length/bar_length)",
)
def bar_use(bar_length: Length, part_length: PositiveLength, cutoff_width: Length, min_remnant: Length,
            facing: Length = 0, end_trim: Length = 0) -> Ratio:
    """Share of the bar's length that ends up in parts (0 to 1).

    Examples
    --------
    >>> round(bar_use(144, 2.25, 0.125, 3), 4)
    0.9219
    """
    if bar_length == 0:
        return 0.0
    return _parts(bar_length, part_length, cutoff_width, min_remnant, facing, end_trim) * part_length / bar_length


@cell_function(group="Yield", source=GEOMETRY, formula="face_to_cutoff+(part_length+cutoff_width+facing)*parts_per_feed+end_trim")
def first_stickout(part_length: PositiveLength, cutoff_width: Length, face_to_cutoff: Length, facing: Length = 0,
                   end_trim: Length = 0, parts_per_feed: PositiveCount = 1) -> Length:
    """Bar in front of the workholding's face before the first part: face to cut-off tool + bar per part + end trim of a new bar.

    Notes
    -----
    Where several parts are made from one feed of the bar, all of them stick out before the first is cut off.

    Examples
    --------
    >>> first_stickout(2.25, 0.125, 0.25)
    2.625
    >>> first_stickout(2.25, 0.125, 0.25, parts_per_feed=3)
    7.375
    """
    return face_to_cutoff + (part_length + cutoff_width + facing) * parts_per_feed + end_trim


@cell_function(group="Yield", source=f"{GEOMETRY}; that a bar is finished at its minimum remnant: {COMMON_PRACTICE}", formula="MAX(0,COUNT_DOWN((length_left-min_remnant)/bar_per_part))")
def parts_left(length_left: Length, bar_per_part: PositiveLength, min_remnant: Length) -> Count:
    """Whole parts that a bar of the given length still gives; its front is faced already.

    Examples
    --------
    >>> parts_left(40, 2.375, 2.75)
    15
    """
    return max(0, count_down((length_left - min_remnant) / bar_per_part))
