"""Kinds of bar from several files as one: sizes that came through the other unit, and conditions that are written in other letters."""

from bisect import bisect_left, insort

from barfuncs.buying.records import BarStock, condition_of
from barfuncs.catalogue.kinds import TOLERANCE_CLASSES, Length, kind_of
from barfuncs.catalogue.reading import in_units
from barfuncs.rack.bars import same

_LENGTH = kind_of(Length)
_SAME_SIZE = {"in": 0.0001 / 25.4, "mm": 0.0001}
"""What rounding leaves between two spellings of one size: the rack keeps 0.0001 mm or 0.000001 in."""


def length_in(value: float, units: str, wanted: str) -> float:
    """A length in other units.

    >>> length_in(19, "mm", "in") * 25.4, length_in(12, "in", "in")
    (19.0, 12)
    """
    return in_units(value, _LENGTH, units, wanted)


class Stocks:
    """Kinds of bar in one system of units. What is the same bar is the same record, whichever file and units it comes from.

    >>> stocks = Stocks("in")
    >>> stocks.of("Brass C36000", "round", 19, None, "Drawn", "", "mm") == stocks.of("Brass C36000", "round", 0.748031, None, "drawn", "", "in")
    True
    >>> stocks.of("Brass C36000", "round", 0.75, None, "drawn", "", "in").size
    0.75
    """

    def __init__(self, units: str) -> None:
        self.units = units
        self._sizes: list[float] = []
        self._conditions: dict[str, str] = {}

    def size(self, value: float, units: str) -> float:
        """A size in the units of this system, as it was first written."""
        size = length_in(value, units, self.units)
        at = bisect_left(self._sizes, size - _SAME_SIZE[self.units])
        if at < len(self._sizes) and self._sizes[at] <= size + _SAME_SIZE[self.units]:
            return self._sizes[at]
        insort(self._sizes, size)
        return size

    def of(self, material: str, shape: str, size: float, thickness: float | None, finish: str | None, tolerance: str | None, units: str) -> BarStock:
        """The kind of bar; `units` are those of size and thickness."""
        condition = condition_of(finish or "", tolerance or TOLERANCE_CLASSES[0])
        return BarStock(material, shape, self.size(size, units), self.size(thickness, units) if thickness else None,
                        self._conditions.setdefault(same(condition), condition))
