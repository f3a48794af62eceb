"""Sawing: blanks from a bar as it is supplied."""

from barfuncs.catalogue.counting import count_down
from barfuncs.catalogue.entry import GEOMETRY
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import Count, Length, PositiveLength

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
