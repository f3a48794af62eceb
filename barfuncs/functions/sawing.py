"""Sawing: blanks from a bar as it is supplied, equal ones, or such that the bar gives most parts."""

from typing import Any

from barfuncs.catalogue.counting import count_down
from barfuncs.catalogue.entry import COMMON_PRACTICE, GEOMETRY
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import Count, CountColumn, Length, LengthColumn, NoYes, PositiveLength
from barfuncs.errors import InputError

_BLANKS = "COUNT_DOWN((supplied_length+kerf)/(blank_length+kerf))"
# What is left behind the last blank, in blanks, so that one tolerance serves both counts.
_REST = f"(supplied_length-{_BLANKS}*(blank_length+kerf)+kerf)/(blank_length+kerf)>1E-9"


@cell_function(group="Sawing", source=GEOMETRY, formula=_BLANKS)
def blanks_per_supplied_bar(supplied_length: PositiveLength, blank_length: PositiveLength, kerf: Length) -> Count:
    """Blanks of one length that a supplied bar gives; 0 where the bar is shorter than a blank.

    Notes
    -----
    floor((supplied length + kerf) / (blank length + kerf)): between two blanks lies one kerf, behind the last one none.

    Examples
    --------
    >>> blanks_per_supplied_bar(144, 48, 0.125), blanks_per_supplied_bar("12 ft", "47.9 in", "1/8 in", units="in")
    (2, 3)
    """
    return count_down((supplied_length + kerf) / (blank_length + kerf))


@cell_function(group="Sawing", source=GEOMETRY, formula=f"IF({_BLANKS}=0,0,{_BLANKS}-IF({_REST},0,1))")
def cuts_per_supplied_bar(supplied_length: PositiveLength, blank_length: PositiveLength, kerf: Length) -> Count:
    """Saw cuts that part a supplied bar into blanks: one behind each blank, but behind the last one where nothing is left.

    Examples
    --------
    >>> cuts_per_supplied_bar(144, 48, 0.125), cuts_per_supplied_bar(144, 72, 0), cuts_per_supplied_bar(144, 144, 0.125)
    (2, 1, 0)
    """
    blanks = blanks_per_supplied_bar.core(supplied_length, blank_length, kerf)
    rest = supplied_length - blanks * (blank_length + kerf) + kerf
    return blanks - (0 if rest / (blank_length + kerf) > 1e-9 else 1) if blanks else 0


_TRIMMED = (("trim", "2*trim<=supplied_length*(1+1E-9)", "the trims of both ends must not be longer than the bar"),
            ("shortest_blank", "shortest_blank<=longest_blank", "the shortest blank must not be longer than the longest"))
MOST_EQUAL = 12
"""Numbers of equal blanks that are tried, beside that of the longest blanks: a cell can't repeat a calculation."""
_MOST_BLANKS = 1000
_CLOSE = 1e-9

# One kerf goes with every blank, and the bar has one more, since behind the last blank no cut is needed.
_USABLE = "(supplied_length-2*trim+kerf)"
_MOST = "MAX(0,COUNT_DOWN((longest_blank-min_remnant-end_trim)/bar_per_part))"
_FEWEST = f"COUNT_DOWN({_USABLE}/(MAX(shortest_blank,{_MOST}*bar_per_part+min_remnant+end_trim)+kerf))"
_PADDED = "MAX(0,shortest_blank-min_remnant-end_trim)"
_MORE = f"({_FEWEST}+1)"
_SHORT_WITH_KERF = f"({_PADDED}+min_remnant+end_trim+kerf)"
_ONE_MORE = (
    f"IF({_MORE}*{_SHORT_WITH_KERF}>{_USABLE}*(1+1E-9),0,MIN(COUNT_DOWN(({_USABLE}-{_MORE}*(min_remnant+end_trim+kerf))/bar_per_part),"
    f"{_MORE}*COUNT_DOWN({_PADDED}/bar_per_part)+COUNT_DOWN(({_USABLE}-{_MORE}*{_SHORT_WITH_KERF})"
    f"/((COUNT_DOWN({_PADDED}/bar_per_part)+1)*bar_per_part-{_PADDED}))))"
)
_EQUAL = ",".join(
    f"{n}*({n}*(shortest_blank+kerf)<={_USABLE}*(1+1E-9))"
    f"*COUNT_DOWN((MIN(longest_blank,{_USABLE}/{n}-kerf)-min_remnant-end_trim)/bar_per_part)" for n in range(1, MOST_EQUAL + 1))
"""Parts of so many equal blanks."""


def split(supplied_length: float, longest_blank: float, kerf: float, bar_per_part: float, min_remnant: float, end_trim: float,
          shortest_blank: float, trim: float, equal_blanks: str) -> tuple[int, int]:
    """Most parts, and the fewest blanks that give them.

    Of blanks that may be unequal, so many as the longest are tried, and one more: each further blank costs end trim, minimum
    remnant and a kerf, and gains nothing, since the last split had room for all parts of its length but one.
    """
    usable = supplied_length - 2 * trim + kerf
    most = max(0, count_down((longest_blank - min_remnant - end_trim) / bar_per_part))
    if most < 1:
        return 0, 0
    blanks = max(0, count_down(usable / (max(shortest_blank, most * bar_per_part + min_remnant + end_trim) + kerf)))
    found = (blanks * most, blanks)
    if equal_blanks == "yes":
        for n in range(1, MOST_EQUAL + 1):
            if n * (shortest_blank + kerf) <= usable * (1 + _CLOSE):
                each = count_down((min(longest_blank, usable / n - kerf) - min_remnant - end_trim) / bar_per_part)
                if n * each > found[0] or (n * each == found[0] and n < found[1]):
                    found = (n * each, n)
        return found
    padded = max(0.0, shortest_blank - min_remnant - end_trim)
    more, shortest = blanks + 1, padded + min_remnant + end_trim + kerf
    if more * shortest <= usable * (1 + _CLOSE):
        parts = min(count_down((usable - more * (min_remnant + end_trim + kerf)) / bar_per_part),
                    more * count_down(padded / bar_per_part)
                    + count_down((usable - more * shortest) / ((count_down(padded / bar_per_part) + 1) * bar_per_part - padded)))
        if parts > found[0]:
            return parts, more
    return found


def shared_out(parts: int, blanks: int) -> list[int]:
    """Parts of each blank, most first; no two differ by more than one."""
    each, rest = divmod(parts, blanks)
    return [each + 1] * rest + [each] * (blanks - rest)


_SPLIT_SOURCE = f"{GEOMETRY}; that a bar is finished at its minimum remnant: {COMMON_PRACTICE}"


@cell_function(
    group="Sawing",
    source=_SPLIT_SOURCE,
    formula=f'IF({_MOST}=0,0,MAX(0,{_FEWEST}*{_MOST},IF(equal_blanks="yes",MAX({_EQUAL}),{_ONE_MORE})))',
    rules=_TRIMMED,
)
def parts_per_supplied_bar(supplied_length: PositiveLength, longest_blank: PositiveLength, kerf: Length, bar_per_part: PositiveLength,
                           min_remnant: Length, end_trim: Length = 0, shortest_blank: Length = 0, trim: Length = 0,
                           equal_blanks: NoYes = "no") -> Count:
    """Most whole parts from one supplied bar that is sawn into blanks for the feeder; the blanks need not be equal.

    Notes
    -----
    A blank is as long as its parts, its end trim and its minimum remnant, or as the shortest that the feeder takes, if that is
    longer. One kerf lies between two blanks; the kerf of a cut that trims an end counts as trim. Equal blanks are as good as the
    best of up to 12 of them, or as many as the longest ones that the feeder takes: unequal ones are never worse.

    Examples
    --------
    >>> parts_per_supplied_bar(144, 47.5, 0.125, 2.375, 3), parts_per_supplied_bar(144, 47.5, 0.125, 2.375, 3, equal_blanks="yes")
    (55, 54)
    """
    return split(supplied_length, longest_blank, kerf, bar_per_part, min_remnant, end_trim, shortest_blank, trim, equal_blanks)[0]


def _blanks(where: str, *given: Any) -> list[int]:
    parts, blanks = split(*given)
    if not parts:
        raise InputError(where, [("supplied_length", "no whole part comes from this bar in blanks that the feeder takes")])
    if blanks > _MOST_BLANKS:
        raise InputError(where, [("longest_blank", f"{blanks:,} blanks come from one bar; a column has at most {_MOST_BLANKS:,}")])
    return shared_out(parts, blanks)


_COLUMN = "its result is a column, one row for each blank; PARTS_PER_SUPPLIED_BAR gives their parts in all"


@cell_function(group="Sawing", source=f"as of `parts_per_supplied_bar`; blanks as equal as can be: {COMMON_PRACTICE}", no_formula=_COLUMN,
               rules=_TRIMMED)
def blank_parts(supplied_length: PositiveLength, longest_blank: PositiveLength, kerf: Length, bar_per_part: PositiveLength,
                min_remnant: Length, end_trim: Length = 0, shortest_blank: Length = 0, trim: Length = 0,
                equal_blanks: NoYes = "no") -> CountColumn:
    """Parts of each blank that a supplied bar is sawn into: most parts in the fewest blanks, as equal as can be, longest first.

    Examples
    --------
    >>> blank_parts(144, 47.5, 0.125, 2.375, 3)
    [14, 14, 14, 13]
    """
    return _blanks("blank_parts", supplied_length, longest_blank, kerf, bar_per_part, min_remnant, end_trim, shortest_blank, trim,
                   equal_blanks)


@cell_function(group="Sawing", source="as of `blank_parts`", no_formula=_COLUMN, rules=_TRIMMED)
def blank_lengths(supplied_length: PositiveLength, longest_blank: PositiveLength, kerf: Length, bar_per_part: PositiveLength,
                  min_remnant: Length, end_trim: Length = 0, shortest_blank: Length = 0, trim: Length = 0,
                  equal_blanks: NoYes = "no") -> LengthColumn:
    """Lengths to saw a supplied bar to, one for each of `blank_parts`: what its parts need, or the shortest that the feeder takes.

    Notes
    -----
    They are the least that the parts need: the saw's own tolerance comes on top where the bar has room for it.

    Examples
    --------
    >>> blank_lengths(144, 47.5, 0.125, 2.375, 3)
    [36.25, 36.25, 36.25, 33.875]
    """
    parts = _blanks("blank_lengths", supplied_length, longest_blank, kerf, bar_per_part, min_remnant, end_trim, shortest_blank, trim,
                    equal_blanks)
    return [blank_for(n, bar_per_part, min_remnant, end_trim, shortest_blank) for n in parts]


def blank_for(parts: int, bar_per_part: float, min_remnant: float, end_trim: float, shortest_blank: float) -> float:
    """Length of the blank for so many parts."""
    return max(shortest_blank, parts * bar_per_part + min_remnant + end_trim)
