"""The one floor and the one ceiling of every count, in Python and in a cell.

A count must not be spoilt by rounding noise: 12.6 / 0.1 is 125.99999999999999 in floating point and means 126. The
tolerance is 1e-9 of a count. Division noise grows with the count, so 1e-15 of the count is added, which is the larger
of the two only above a million.
"""

import math

TOLERANCE = 1e-9
RELATIVE = 1e-15

CELL_MACROS = {
    "COUNT_DOWN": "INT(({x})*(1+1E-15)+1E-9)",
    "COUNT_UP": "-INT(1E-9-({x})*(1-1E-15))",
}


def count_down(x: float) -> int:
    """Largest whole number not above `x`, forgiving rounding noise.

    >>> count_down(12.6 / 0.1), count_down(2.999)
    (126, 2)
    """
    return math.floor(x * (1 + RELATIVE) + TOLERANCE)


def count_up(x: float) -> int:
    """Smallest whole number not below `x`, forgiving rounding noise.

    >>> count_up(97 / (1 - 0.03)), count_up(2.001)
    (100, 3)
    """
    return -math.floor(TOLERANCE - x * (1 - RELATIVE))
