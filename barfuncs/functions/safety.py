"""Safety: values that belong beside a caution. None of them replaces the machine's manual."""

from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import Length, Ratio, Size


@cell_function(group="Safety", source=COMMON_PRACTICE, formula="stickout/size")
def stickout_ratio(stickout: Length, size: Size) -> Ratio:
    """Stick-out in diameters. We know of no public rule that gives a number which is safe: the machine's manual does.

    Examples
    --------
    >>> stickout_ratio(2.625, 0.75)
    3.5
    """
    return stickout / size
