"""What a function takes without further reading, and how a column among its arguments is told."""

import math
from collections.abc import Sequence
from typing import Any

from barfuncs.catalogue import materials as _materials
from barfuncs.catalogue import units as _units
from barfuncs.catalogue.entry import Argument

_PLAIN = ({float}, {int}, {float, int})


class KnownMaterials:
    """Names and designations of the materials table in use, in lower case."""

    def __contains__(self, text: object) -> bool:
        return text in _materials.active()._by_text


class Quick:
    """What an argument takes without further reading: plain floats, ints and exact texts within these limits."""

    __slots__ = ("gap", "high", "low", "texts", "whole")

    def __init__(self, argument: Argument) -> None:
        kind, self.gap = argument.kind, argument.default is None
        self.low, self.high, self.whole = 1.0, 0.0, False
        self.texts: Any = frozenset(kind.choices) if kind.choices else KnownMaterials() if kind.reader == "material" else ()
        if kind.is_number:
            self.low, self.high, self.whole = kind.closed_low, min(kind.closed_high, 1.7e308), kind.whole

    def takes(self, values: Sequence[Any]) -> bool:
        """Whether it takes every one of the values."""
        classes = set(map(type, values))
        if classes == {str}:
            return all(text in self.texts for text in set(values))
        if type(None) in classes:
            return self.gap and self.takes([v for v in values if v is not None])
        # min and max pass over a NaN, the sum does not.
        return not classes or (classes in _PLAIN and not (self.whole and float in classes)
                               and self.low <= min(values) and max(values) <= self.high and math.isfinite(sum(values)))


def is_column(value: Any) -> bool:
    """Whether a value is a list, a tuple, or an array or Series with rows. A quantity is one value, or refused as none.

    >>> is_column([1, 2]), is_column("12 ft"), is_column(2.25)
    (True, False, False)
    """
    kind = value.__class__
    return kind is list or kind is tuple or bool(
        hasattr(value, "tolist") and getattr(value, "ndim", 0) and not _units.is_quantity(value))
