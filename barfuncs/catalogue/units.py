"""Lengths, weights, times and other values as people write them, and pint quantities at the boundary.

A parser returns plain floats and the system that the text named: "in", "mm", or None for a bare number, which is in
whatever units the caller works in. What can be read in two ways is refused, never guessed.

>>> parse_length("12' 6-1/2\\"")
(150.5, 'in')
"""

import functools
import math
import numbers
import re
import sys
import unicodedata
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, NoReturn

from barfuncs.errors import BarfuncsError, shown
from barfuncs.text.pattern import pattern

if TYPE_CHECKING:
    import pint

MM_PER_INCH = 25.4
KG_PER_LB = 0.45359237
M_PER_FT = 0.3048
L_PER_GAL = 3.785411784
LB_IN3_PER_G_CM3 = 25.4**3 / (453.59237 * 1000)

System = Literal["in", "mm"]

# Spindle speed is "1/minute" and feed is a plain length per revolution: in pint a revolution is 2*pi rad, so that
# 1000 rpm * 0.1 mm would come out as 628 mm/min.
UNIT_NAMES: dict[str, dict[str, str]] = {
    "length": {"in": "inch", "mm": "millimeter"},
    "area": {"in": "inch**2", "mm": "millimeter**2"},
    "volume": {"in": "inch**3", "mm": "millimeter**3"},
    "weight": {"in": "pound", "mm": "kilogram"},
    "weight_per_length": {"in": "pound/foot", "mm": "kilogram/meter"},
    "density": {"in": "pound/inch**3", "mm": "gram/centimeter**3"},
    "surface_speed": {"in": "foot/minute", "mm": "meter/minute"},
    "price_by_weight": {"in": "1/pound", "mm": "1/kilogram"},
    "seconds": {"in": "second", "mm": "second"},
    "minutes": {"in": "minute", "mm": "minute"},
    "hours": {"in": "hour", "mm": "hour"},
    "spindle_speed": {"in": "1/minute", "mm": "1/minute"},
    "feed_rate": {"in": "inch", "mm": "millimeter"},
    "feed_speed": {"in": "inch/minute", "mm": "millimeter/minute"},
    "angle": {"in": "degree", "mm": "degree"},
    "bin_volume": {"in": "gallon", "mm": "liter"},
}


class TextError(BarfuncsError):
    """A text can't be read. The message names the text and says what to write instead."""


class UnitError(BarfuncsError):
    """A quantity doesn't fit: wrong dimension, unknown unit, or not one real number."""


# --- text ----------------------------------------------------------------------------------------------------------

_LONGEST_TEXT = 64

_CHARACTERS = str.maketrans(
    dict.fromkeys("\u00a0\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000", " ")
    | dict.fromkeys("′’‘ʹ´", "'")
    | dict.fromkeys("″”“ʺ", '"')
    | dict.fromkeys("‐‑", "-")
    | {"⁄": "/"}
)
_FRACTION_SIGNS = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5",
    "⅙": "1/6", "⅚": "5/6", "⅐": "1/7", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅑": "1/9", "⅒": "1/10",
}
_SIGNS = "".join(_FRACTION_SIGNS)
_FRACTION_SIGN = pattern(f"(-?)([{_SIGNS}])")
# A dash stands for a hyphen between a whole number and its fraction, and after feet. Elsewhere it may mean "to".
_LONG_DASH = pattern(f"(?<=') ?[–—−]|(?<=[0-9]) ?[–—−] ?(?=[0-9]+ ?/|[{_SIGNS}])")

# At most two digits of exponent: an exact fraction of 1e99999999 would fill the memory.
_NUMBER = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:e[+-]?[0-9]{1,2})?"
_AMOUNT = rf"(?:[0-9]+(?: ?- ?| )[0-9]+ ?/ ?[0-9]+|[0-9]+ ?/ ?[0-9]+|{_NUMBER})"
_TERM = rf"({_AMOUNT}) ?(?:([a-z]+)\.?|(['\"]))?"
_ONE_TERM = pattern(_TERM)
_TWO_TERMS = pattern(rf"{_TERM}( ?-? ?){_TERM}")
_MIXED = pattern(r"(?:([0-9]+)(?: ?- ?| ))?([0-9]+) ?/ ?([0-9]+)")
# "3ft.25in": the point may end the unit or begin the number.
_UNCLEAR_POINT = pattern(r"[a-z]\.[0-9]")
_PLAIN = pattern(_NUMBER)
_AMOUNT_AND_REST = pattern(rf"({_AMOUNT}) ?([a-z\"].*)?")
# "1.250" where the comma is the decimal sign: 1250 to most who write so, 1.25 to the rest.
_POINT_GROUP = pattern(r"(?<![0-9.,])[1-9][0-9]{0,2}\.[0-9]{3}(?![0-9])")


class _Unit(NamedTuple):
    name: str
    factor: Fraction
    system: System


def _spellings(table: Mapping[tuple[str, int | Fraction, System], str]) -> dict[str, _Unit]:
    known: dict[str, _Unit] = {}
    for (name, factor, system), spellings in table.items():
        known |= dict.fromkeys(spellings.split(), _Unit(name, Fraction(factor), system))
    return known


_LENGTHS = _spellings({
    ("in", 1, "in"): "in inch inches ins \"",
    ("ft", 12, "in"): "ft foot feet '",
    ("yd", 36, "in"): "yd yds yard yards",
    ("thou", Fraction(1, 1000), "in"): "thou",
    ("mm", 1, "mm"): "mm millimeter millimeters millimetre millimetres",
    ("cm", 10, "mm"): "cm centimeter centimeters centimetre centimetres",
    ("m", 1000, "mm"): "m meter meters metre metres",
})
_WEIGHTS = _spellings({
    ("lb", 1, "in"): "lb lbs pound pounds",
    ("oz", Fraction(1, 16), "in"): "oz ounce ounces",
    ("kg", 1, "mm"): "kg kgs kilo kilos kilogram kilograms kilogramme kilogrammes",
    ("g", Fraction(1, 1000), "mm"): "g gram grams gramme grammes",
    ("t", 1000, "mm"): "t tonne tonnes",
})
_TIMES = _spellings({
    ("h", 3600, "mm"): "h hr hrs hour hours",
    ("min", 60, "mm"): "min mins minute minutes",
    ("s", 1, "mm"): "s sec secs second seconds",
})
_DENSITIES = _spellings({
    ("g/cm3", 1, "mm"): "g/cm3 g/cc g/ccm g/cucm g/ml kg/dm3 kg/l t/m3 gram/cm3 grams/cm3",
    ("kg/m3", Fraction(1, 1000), "mm"): "kg/m3 kg/cum",
    ("lb/in3", 1, "in"): "lb/in3 lb/cuin lb/inch3 lb/cuinch pound/cuinch pounds/cuinch",
    ("lb/ft3", Fraction(1, 1728), "in"): "lb/ft3 lb/cuft lb/foot3 lb/cufoot pound/cufoot pounds/cufoot",
})
_BIN_VOLUMES = _spellings({
    ("gal", 1, "in"): "gal gallon gallons usgal",
    ("ft3", Fraction(1728, 231), "in"): "ft3 cuft foot3 cufoot cufeet",
    ("yd3", Fraction(46656, 231), "in"): "yd3 cuyd yard3 cuyard cuyards",
    ("L", 1, "mm"): "l ltr liter liters litre litres dm3",
    ("m3", 1000, "mm"): "m3 cum cumeter cumeters cumetre cumetres",
})
_SPEEDS = _spellings({
    ("sfm", 1, "in"): "sfm sfpm fpm ft/min feet/min foot/min ft/minute feet/minute",
    ("m/min", 1, "mm"): "m/min m/minute meter/min meters/min metre/min metres/min meters/minute metres/minute smm",
    ("m/s", 60, "mm"): "m/s m/sec",
})


def _per_turn(words: str) -> str:
    return " ".join(word + turn for word in words.split() for turn in ("", "/rev", "/revolution", "/r", "/turn"))


_FEEDS = _spellings({
    ("in/rev", 1, "in"): "ipr " + _per_turn('in inch inches "'),
    ("thou/rev", Fraction(1, 1000), "in"): _per_turn("thou"),
    ("mm/rev", 1, "mm"): _per_turn("mm millimeter millimeters millimetre millimetres"),
})
_FEED_SPEEDS = _spellings({
    ("in/min", 1, "in"): "ipm in/min inch/min inches/min in/minute inch/minute inches/minute",
    ("ft/min", 12, "in"): "ft/min feet/min foot/min",
    ("mm/min", 1, "mm"): "mm/min mm/minute millimeter/min millimeters/min millimetre/min millimetres/min",
    ("m/min", 1000, "mm"): "m/min m/minute meter/min meters/min metre/min metres/min",
})
# The system means nothing for the next two.
_TURNS = _spellings({
    ("rpm", 1, "mm"): "rpm rev/min r/min revs/min rev/minute revolutions/min revolutions/minute min-1",
    ("rev/s", 60, "mm"): "rev/s rps r/s rev/sec revs/s revolutions/second",
})
_ANGLES = _spellings({("deg", 1, "mm"): "deg degree degrees"})
_PER_INCH = pattern(r"(.*?) ?(?:tpi|threads ?(?:/|per) ?inch|threads ?(?:/|per) ?in)\.?")

_REFUSED_LENGTHS = dict.fromkeys(
    ("mil", "mils"), "'mil' is a thousandth of an inch to some and a millimeter to others: write thou or mm"
)
_REFUSED_WEIGHTS = {
    **dict.fromkeys(("ton", "tons"), "'ton' may be 2000 lb, 2240 lb or 1000 kg: write lb, kg or t (1000 kg)"),
    "cwt": "'cwt' may be 100 lb or 112 lb: write lb",
}
_REFUSED_TIMES = {"m": "'m' may be minutes or meters: write min"}


def _refuse(text: object, noun: str, reason: str) -> NoReturn:
    raise TextError(f"{shown(text, _LONGEST_TEXT + 2)} can't be read as {noun}: {reason}")


def _tidy(text: str, noun: str, example: str) -> str:
    """The text in lower case with one kind of space, quote, hyphen and fraction. Refuses what no parser reads."""
    if not isinstance(text, str):
        _refuse(text, noun, f"it is not a text; write for example {example}")
    if len(text) > _LONGEST_TEXT:
        _refuse(text, noun, f"it is longer than {_LONGEST_TEXT} characters; write for example {example}")
    tidy = text.strip()
    if not tidy:
        _refuse(text, noun, f"it is blank; write for example {example}")
    if len(tidy.splitlines()) > 1:
        _refuse(text, noun, f"it has more than one line; write for example {example}")
    if not tidy.isascii():
        tidy = _LONG_DASH.sub("-", tidy.translate(_CHARACTERS))
        tidy = _FRACTION_SIGN.sub(lambda m: (m[1] or " ") + _FRACTION_SIGNS[m[2]] + " ", tidy)
    tidy = tidy.replace("\t", " ").replace("`", "'").replace("''", '"')
    if "  " in tidy:
        tidy = re.sub(" +", " ", tidy)
    return tidy.strip(" ").lower()


def _no_sign(text: str, tidy: str, noun: str) -> None:
    if tidy[0] in "+-−–—":
        _refuse(text, noun, "a sign is not allowed here; write a number of zero or more, without a sign")


def _only_ascii(text: str, tidy: str, noun: str, example: str) -> None:
    if tidy.isascii() and tidy.isprintable():
        return
    odd = next(c for c in tidy if not 32 <= ord(c) < 127)
    if unicodedata.numeric(odd, None) is not None:
        _refuse(text, noun, f"the character {odd!r} is no plain digit; write for example {example}")
    _refuse(text, noun, f"the character {odd!r} means nothing here; write for example {example}")


def _point_for_comma(text: str, tidy: str, noun: str, decimal_comma: bool) -> str:
    """The text with a decimal point, for values that never carry thousands separators."""
    if not decimal_comma:
        if "," in tidy:
            _refuse(text, noun, "a comma may be a decimal sign or a thousands separator; write a decimal point and no "
                                "thousands separator, such as 12.5 or 1250")
        return tidy
    if _POINT_GROUP.search(tidy):
        _refuse(text, noun, "with a decimal comma, a point before three digits may be a thousands separator; "
                            "write 1250 or 1,25")
    if tidy.count(",") > 1 or ("," in tidy and re.search(r"\.[0-9]|[0-9]\.", tidy)):
        _refuse(text, noun, "write one decimal comma and no thousands separator, such as 12,5 or 1250")
    return tidy.replace(",", ".")


def _amount(text: str, amount: str, noun: str) -> Fraction:
    mixed = _MIXED.fullmatch(amount)
    if not mixed:
        return Fraction(amount)
    whole, top, bottom = mixed[1], int(mixed[2]), int(mixed[3])
    if bottom == 0:
        _refuse(text, noun, "a fraction can't have a zero below the line")
    if whole is None:
        return Fraction(top, bottom)
    if top >= bottom:
        _refuse(text, noun, f"the fraction next to {whole} must be less than 1; write for example 1 3/8")
    return int(whole) + Fraction(top, bottom)


def _float(text: str, value: Fraction, noun: str) -> float:
    try:
        return float(value)
    except OverflowError:
        _refuse(text, noun, "the number is too large")


def _known(units: Mapping[str, _Unit]) -> str:
    return ", ".join(dict.fromkeys(unit.name for unit in units.values()))


def _unit(text: str, spelling: str, noun: str, units: Mapping[str, _Unit], refused: Mapping[str, str]) -> _Unit:
    if spelling in refused:
        _refuse(text, noun, refused[spelling])
    if spelling not in units:
        _refuse(text, noun, f"the unit {spelling!r} is unknown; known are {_known(units)}")
    return units[spelling]


def _unreadable(text: str, tidy: str, noun: str, example: str) -> NoReturn:
    if tidy.count("/") > 1:
        _refuse(text, noun, f"it has more than one '/'; write for example {example}")
    if tidy[0] in "'\"":
        _refuse(text, noun, f"the foot or inch mark goes after the number; write for example {example}")
    if re.match("[a-z_$]", tidy):
        _refuse(text, noun, f"it doesn't start with a number; write for example {example}")
    _refuse(text, noun, f"write for example {example}")


def _measure(
    text: str, noun: str, example: str, units: Mapping[str, _Unit], refused: Mapping[str, str],
    pair: tuple[str, str], decimal_comma: bool,
) -> tuple[float, str | None]:
    """Read one amount with or without a unit, or a pair such as feet and inches."""
    tidy = _tidy(text, noun, example)
    _no_sign(text, tidy, noun)
    _only_ascii(text, tidy, noun, example)
    tidy = _point_for_comma(text, tidy, noun, decimal_comma)
    if one := _ONE_TERM.fullmatch(tidy):
        amount = _amount(text, one[1], noun)
        spelling = one[2] or one[3]
        if spelling is None:
            return _float(text, amount, noun), None
        unit = _unit(text, spelling, noun, units, refused)
        return _float(text, amount * unit.factor, noun), unit.system
    two = _TWO_TERMS.fullmatch(tidy)
    if not two:
        _unreadable(text, tidy, noun, example)
    if not (two[2] or two[3]):
        _refuse(text, noun, f"it has two numbers with no unit between them; write for example {example}")
    _no_unclear_point(text, tidy, noun)
    large = _unit(text, two[2] or two[3], noun, units, refused)
    spelling = two[6] or two[7]
    small = _unit(text, spelling, noun, units, refused) if spelling else None
    if small and small.system != large.system:
        inch, metric = (large, small) if large.system == "in" else (small, large)
        _refuse(text, noun, f"it has {inch.name} next to a metric unit ({metric.name}); write one or the other")
    if large.name != pair[0] or (small and small.name != pair[1]):
        _refuse(text, noun, f"of two units, only {pair[0]} then {pair[1]} go together; write one unit")
    whole, rest = _amount(text, two[1], noun), _amount(text, two[5], noun)
    if whole.denominator != 1:
        _refuse(text, noun, f"the {large.name} before {pair[1]} must be a whole number; write one unit")
    if small is None:
        # "5 ft2" may be an area, "1'200" a thousands separator, "5 lb 3" anything.
        if pair != ("ft", "in") or (two[2] and not two[4]) or rest >= 12:
            _refuse(text, noun, f"the second number has no unit; write for example {example}")
        small = units[pair[1]]
    if rest * small.factor >= large.factor:
        both = whole * large.factor / small.factor + rest
        _refuse(text, noun, f"{two[5]} {small.name} is a whole {large.name} or more, which may be a slip; if not, write "
                            f"{float(both):.10g} {small.name}")
    return _float(text, whole * large.factor + rest * small.factor, noun), large.system


_ACROSS_SIGN, _ACROSS_WORD = "[Øø⌀∅Φφ]", r"(?:dia(?:m(?:eter)?)?|o\.?d)\.?"
_BEFORE_SIZE = pattern(rf"\s*(?:{_ACROSS_SIGN}|{_ACROSS_WORD})\s*", re.IGNORECASE)
_BEHIND_SIZE = pattern(rf"\s*(?:{_ACROSS_SIGN}|(?<![a-z]){_ACROSS_WORD})\s*$", re.IGNORECASE)


def without_diameter_sign(text: str) -> str:
    """A size without the diameter sign, or the word for it, that stands before or behind it.

    >>> without_diameter_sign("\u00d8 25"), without_diameter_sign("1/2 in dia."), without_diameter_sign("1 OD")
    ('25', '1/2 in', '1')
    """
    before = _BEFORE_SIZE.match(text)
    return _BEHIND_SIZE.sub("", text[before.end():] if before else text)


def _no_unclear_point(text: str, tidy: str, noun: str) -> None:
    if unclear := _UNCLEAR_POINT.search(tidy):
        at = unclear.start() + 1
        _refuse(text, noun, f"the point may end the unit or begin the number: write {tidy[:at]} {tidy[at + 1:]} or "
                            f"{tidy[:at]} 0{tidy[at:]}")


def parse_length(text: str, *, decimal_comma: bool = False) -> tuple[float, str | None]:
    """Read a length: (inches, "in"), (mm, "mm") or (number, None) for a bare number or fraction.

    >>> parse_length("1-3/8 in"), parse_length("3.66 m"), parse_length("1 3/8")
    ((1.375, 'in'), (3660.0, 'mm'), (1.375, None))
    >>> parse_length("12,5 mm", decimal_comma=True)
    (12.5, 'mm')
    >>> parse_length("8 mil")
    Traceback (most recent call last):
    ...
    barfuncs.catalogue.units.TextError: '8 mil' can't be read as a length: 'mil' is a thousandth of an inch to some and a \
millimeter to others: write thou or mm
    """
    return _measure(text, "a length", "12' 6-1/2\", 1 3/8 in or 19 mm", _LENGTHS, _REFUSED_LENGTHS, ("ft", "in"),
                    decimal_comma)


def parse_weight(text: str, *, decimal_comma: bool = False) -> tuple[float, str | None]:
    """Read a weight: (lb, "in"), (kg, "mm") or (number, None).

    >>> parse_weight("12 oz"), parse_weight("1.2 t"), parse_weight("40")
    ((0.75, 'in'), (1200.0, 'mm'), (40.0, None))
    """
    return _measure(text, "a weight", "250 lb or 120 kg", _WEIGHTS, _REFUSED_WEIGHTS, ("lb", "oz"), decimal_comma)


# The raised 3 of a unit, g/cm³; next to a digit it is part of a fraction and no plain digit.
_CUBED = pattern("(?<=[a-z])³")


def _per_unit(
    text: str, noun: str, example: str, units: Mapping[str, _Unit], decimal_comma: bool
) -> tuple[float, str | None]:
    """Read one amount with or without a unit that holds a '/' or a '3'."""
    tidy = _CUBED.sub("3", _tidy(text, noun, example))
    _no_sign(text, tidy, noun)
    _only_ascii(text, tidy, noun, example)
    tidy = _point_for_comma(text, tidy, noun, decimal_comma)
    match = _AMOUNT_AND_REST.fullmatch(tidy)
    if not match:
        _unreadable(text, tidy, noun, example)
    amount = _amount(text, match[1], noun)
    if not match[2]:
        return _float(text, amount, noun), None
    spelling = re.sub(r"\bper\b", "/", match[2])
    spelling = re.sub(r"[ .^*]", "", re.sub(r"\bcubic\b", "cu", spelling)).replace("lbs/", "lb/")
    if spelling not in units:
        _refuse(text, noun, f"the unit {match[2]!r} is unknown; known are {_known(units)}")
    unit = units[spelling]
    return _float(text, amount * unit.factor, noun), unit.system


def parse_density(text: str, *, decimal_comma: bool = False) -> tuple[float, str | None]:
    """Read a density: (lb/in3, "in"), (g/cm3, "mm") or (number, None).

    >>> parse_density("7850 kg/m3"), parse_density("0.284 lb/cu in"), parse_density("7.85")
    ((7.85, 'mm'), (0.284, 'in'), (7.85, None))
    """
    return _per_unit(text, "a density", "7.85 g/cm3 or 0.284 lb/in3", _DENSITIES, decimal_comma)


def parse_bin_volume(text: str, *, decimal_comma: bool = False) -> tuple[float, str | None]:
    """Read the volume of a bin: (US gallons, "in"), (liters, "mm") or (number, None).

    >>> parse_bin_volume("55 gal"), parse_bin_volume("77 cu ft"), parse_bin_volume("0.5 m3")
    ((55.0, 'in'), (576.0, 'in'), (500.0, 'mm'))
    """
    return _per_unit(text, "a volume", "55 gal or 200 l", _BIN_VOLUMES, decimal_comma)


def parse_speed(text: str, *, decimal_comma: bool = False) -> tuple[float, str | None]:
    """Read a surface speed: (ft/min, "in"), (m/min, "mm") or (number, None).

    >>> parse_speed("400 sfm"), parse_speed("120 m/min")
    ((400.0, 'in'), (120.0, 'mm'))
    """
    return _per_unit(text, "a surface speed", "400 sfm or 120 m/min", _SPEEDS, decimal_comma)


def parse_feed(text: str, *, decimal_comma: bool = False) -> tuple[float, str | None]:
    """Read a feed per revolution: (inches, "in"), (mm, "mm") or (number, None). A feed per minute is refused.

    >>> parse_feed("0.004 in/rev"), parse_feed("4 thou"), parse_feed("0.1 mm")
    ((0.004, 'in'), (0.004, 'in'), (0.1, 'mm'))
    """
    return _per_unit(text, "a feed per revolution", "0.004 in/rev or 0.1 mm/rev", _FEEDS, decimal_comma)


def parse_feed_speed(text: str, *, decimal_comma: bool = False) -> tuple[float, str | None]:
    """Read a feed per minute: (in/min, "in"), (mm/min, "mm") or (number, None). A feed per revolution is refused.

    >>> parse_feed_speed("200 in/min"), parse_feed_speed("5 m/min"), parse_feed_speed("5000")
    ((200.0, 'in'), (5000.0, 'mm'), (5000.0, None))
    """
    return _per_unit(text, "a feed per minute", "200 in/min or 5000 mm/min", _FEED_SPEEDS, decimal_comma)


_THOUSANDS = pattern(r" *([1-9][0-9]{0,2})([.,])[0-9]{3}(?:\2[0-9]{3})*(?![0-9.,])")


def parse_spindle_speed(text: str, *, decimal_comma: bool = False) -> float:
    """Read a spindle speed in revolutions per minute.

    >>> parse_spindle_speed("2,500 rpm"), parse_spindle_speed("40 rev/s"), parse_spindle_speed("2500")
    (2500.0, 2400.0, 2500.0)
    """
    noun, example = "a spindle speed", "2500 rpm"
    plain = text
    if isinstance(text, str) and (found := _THOUSANDS.match(text)):
        # No spindle turns at 2.5 a minute, so that three digits behind a sign are hundreds; but a sign that is not the
        # thousands separator here is a doubt.
        if found[2] != ("." if decimal_comma else ","):
            _refuse(text, noun, f"the {'comma' if found[2] == ',' else 'point'} before three digits may be a thousands "
                                f"separator; write for example {example}")
        plain = found[0].replace(found[2], "") + text[found.end():]
    return _per_unit(plain, noun, example, _TURNS, decimal_comma)[0]


def parse_angle(text: str, *, decimal_comma: bool = False) -> float:
    """Read an angle in degrees.

    >>> parse_angle("118 deg"), parse_angle("118°"), parse_angle("118")
    (118.0, 118.0, 118.0)
    """
    plain = text.replace("°", " deg") if isinstance(text, str) else text
    return _per_unit(plain, "an angle", "118 deg", _ANGLES, decimal_comma)[0]


def parse_pitch(text: str, *, decimal_comma: bool = False) -> tuple[float, str | None]:
    """Read the pitch of a thread, a length or threads per inch: (inches, "in"), (mm, "mm") or (number, None).

    >>> parse_pitch("1.5 mm"), parse_pitch("20 tpi"), parse_pitch("1/20 in")
    ((1.5, 'mm'), (0.05, 'in'), (0.05, 'in'))
    """
    noun, example = "a pitch", "1.5 mm or 20 tpi"
    tidy = _tidy(text, noun, example)
    per_inch = _PER_INCH.fullmatch(tidy)
    if not per_inch:
        return _measure(text, noun, example, _LENGTHS, _REFUSED_LENGTHS, ("ft", "in"), decimal_comma)
    _no_sign(text, tidy, noun)
    _only_ascii(text, tidy, noun, example)
    threads = _point_for_comma(text, per_inch[1], noun, decimal_comma)
    if not re.fullmatch(_AMOUNT, threads):
        _unreadable(text, tidy, noun, example)
    amount = _amount(text, threads, noun)
    if not amount:
        _refuse(text, noun, "no threads have no pitch; write for example 20 tpi")
    return _float(text, 1 / amount, noun), "in"


def parse_time(text: str, *, decimal_comma: bool = False) -> tuple[float, bool]:
    """Read a time: (seconds, True) where the text has a unit, (number, False) where it is bare.

    >>> parse_time("1 min 20 s"), parse_time("1.5 min"), parse_time("80")
    ((80.0, True), (90.0, True), (80.0, False))
    """
    noun, example = "a time", "45 s, 1 min 20 s or 2 h"
    tidy = _tidy(text, noun, example)
    _no_sign(text, tidy, noun)
    if ":" in tidy:
        _refuse(text, noun, "it may be hours and minutes or minutes and seconds; write for example 1 h 30 min or "
                            "1 min 30 s")
    _only_ascii(text, tidy, noun, example)
    tidy = _point_for_comma(text, tidy, noun, decimal_comma)
    _no_unclear_point(text, tidy, noun)
    total, last, position, bare = Fraction(0), None, 0, False
    while position < len(tidy):
        term = _ONE_TERM.match(tidy, position)
        if not term or term[3] or bare:
            _unreadable(text, tidy, noun, example)
        amount = _amount(text, term[1], noun)
        if not term[2]:
            if last:
                _refuse(text, noun, f"the last number has no unit; write for example {example}")
            total, bare = amount, True
        else:
            unit = _unit(text, term[2], noun, _TIMES, _REFUSED_TIMES)
            if last and (unit.factor >= last.factor or (total / last.factor).denominator != 1):
                _refuse(text, noun, "whole hours, whole minutes, then seconds go together, such as 1 h 30 min")
            total, last = total + amount * unit.factor, unit
        position = term.end()
        if tidy[position : position + 1] == " ":
            position += 1
    return _float(text, total, noun), not bare


def _plain_number(text: str, tidy: str, noun: str, example: str, decimal_comma: bool) -> Fraction:
    """A decimal number with an optional sign; thousands groups only where they can be nothing else."""
    _only_ascii(text, tidy, noun, example)
    sign = -1 if tidy[0] == "-" else 1
    digits = tidy[1:] if tidy[0] in "+-" else tidy
    point, group = (",", ".") if decimal_comma else (".", ",")
    p, g = re.escape(point), re.escape(group)
    if re.fullmatch(rf"[1-9][0-9]{{0,2}}(?:(?:{g}[0-9]{{3}}){{2,}}(?:{p}[0-9]*)?|{g}[0-9]{{3}}{p}[0-9]*)", digits):
        digits = digits.replace(group, "")
    elif decimal_comma:
        digits = _point_for_comma(text, digits, noun, True)
    elif "," in digits:
        _refuse(text, noun, "a comma may be a decimal sign or a thousands separator; write 1375, 1.375 or 1,375.00")
    digits = digits.replace(",", ".")
    if not _PLAIN.fullmatch(digits):
        _refuse(text, noun, f"write a plain decimal number without a unit, for example {example}")
    return sign * Fraction(digits)


def parse_number(text: str, *, decimal_comma: bool = False) -> float:
    """Read a plain number. A currency sign may come first.

    >>> parse_number("$1,250.00"), parse_number("0.75")
    (1250.0, 0.75)
    """
    noun, example = "a number", "1250 or 12.5"
    tidy = _tidy(text, noun, example)
    if tidy[0] in "$€£¥":
        tidy = tidy[1:].lstrip(" ")
        if not tidy:
            _refuse(text, noun, f"it has no digits; write for example {example}")
    return _float(text, _plain_number(text, tidy, noun, example, decimal_comma), noun)


def parse_count(text: str) -> int:
    """Read a whole number of parts or bars.

    >>> parse_count("1,200 pcs"), parse_count("12.0")
    (1200, 12)
    """
    noun, example = "a count", "1200 or 1,200 pcs"
    tidy = _tidy(text, noun, example)
    _no_sign(text, tidy, noun)
    digits = re.sub(r" ?(?:pcs?|pieces?|parts?|bars?|ea|each)\.?$", "", tidy)
    if re.fullmatch(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+", digits):
        digits = digits.replace(",", "")
    if re.fullmatch(r"[1-9][0-9]{0,2}(?:\.[0-9]{3})+", digits):
        _refuse(text, noun, f"a point before three digits may be a thousands separator; write for example {example}")
    if "," in digits or not digits:
        _refuse(text, noun, f"write a whole number, for example {example}")
    value = _plain_number(text, digits, noun, example, False)
    if value.denominator != 1:
        _refuse(text, noun, "it is not a whole number")
    return int(value)


def parse_fraction(text: str, *, decimal_comma: bool = False) -> float:
    """Read a share: a percentage, or a number as it is.

    >>> parse_fraction("3 %"), parse_fraction("0.03")
    (0.03, 0.03)
    """
    noun, example = "a fraction", "3% or 0.03"
    tidy = _tidy(text, noun, example)
    percent = tidy.endswith("%")
    digits = tidy.removesuffix("%").rstrip(" ")
    if not digits:
        _refuse(text, noun, f"it has no digits; write for example {example}")
    value = _plain_number(text, digits, noun, example, decimal_comma)
    return _float(text, value / 100 if percent else value, noun)


# --- pint ----------------------------------------------------------------------------------------------------------


@functools.cache
def registry() -> "pint.UnitRegistry[Any]":
    """The one pint registry: pint's application registry, so that results combine with `pint.Quantity`."""
    import pint

    application: Any = pint.get_application_registry  # untyped in pint
    ureg: pint.UnitRegistry[Any] = application()
    return ureg


def is_quantity(value: object) -> bool:
    """Whether a value is a pint Quantity of any registry. Does not import pint.

    >>> is_quantity(2.25), is_quantity("2.25 in")
    (False, False)
    """
    return "pint" in sys.modules and hasattr(type(value), "magnitude") and hasattr(type(value), "units")


def _unit_text(q: Any) -> str:
    """Units by their full names, whatever the registry's own format or language is."""
    return " * ".join(f"{name} ** {power}" for name, power in sorted(q.unit_items())) or "dimensionless"


# Angles are spelled out: pint calls a revolution 2*pi of nothing.
_PER_TURN = {"spindle_speed": ("turn/minute", 1), "feed_rate": ("{}/turn", -1), "angle": ("degree", 1)}


@functools.lru_cache(maxsize=512)
def _factor(given: str, dimension: str, units: str) -> tuple[float, float]:
    """(multiply by, divide by) that turns a value in `given` into the target unit."""
    import pint

    ureg = registry()
    target = UNIT_NAMES[dimension][units]
    try:
        container = ureg.parse_units(given)
    except pint.UndefinedUnitError:
        raise UnitError(f"a value in {target} expected, the unit {_shown(given)!r} is unknown; convert it first, "
                        f"for example with .to({target!r})") from None
    names = [name for name, _ in ureg.Quantity(1, container).unit_items()]
    hint = ""
    if "mil" in names:
        hint = " (pint's 'mil' is an angle; a thousandth of an inch is 'thou')"
    if any("parsec" in name for name in names):
        raise UnitError(f"a value in {target} expected, {_shown(given)!r} given (pint reads 'pcs' as parsec; give a "
                        "count as a plain number)")
    if ureg.get_dimensionality(container) != ureg.get_dimensionality(ureg.parse_units(target)):
        raise UnitError(f"a value in {target} expected, {_shown(given)!r} given{hint}")
    if any("radian" in str(ureg.get_base_units(name)[1]) for name in names):
        if dimension not in _PER_TURN:
            raise UnitError(f"a value in {target} expected, {_shown(given)!r} given, which holds an angle: pint counts "
                            f"a revolution as 2*pi; convert it to a plain {target} first")
        per_turn, expected = _PER_TURN[dimension]
        target = per_turn.format(target)
        turns = dict(ureg.Quantity(1, container).to_base_units().unit_items()).get("radian")
        if turns != expected:
            raise UnitError(f"a value in {target} expected, {_shown(given)!r} given")
    elif dimension == "angle":
        raise UnitError(f"a value in {target} expected, {_shown(given)!r} given")
    factor = float(ureg.convert(1, container, ureg.parse_units(target)))
    # pint makes a foot 12.000000000000002 inch, which can cost the last part of a bar: where the factor or its inverse
    # is a short decimal, that is the exact one.
    times, over = f"{factor:.15g}", f"{1 / factor:.15g}"
    if min(len(times), len(over)) > 14:
        return factor, 1.0
    return (float(times), 1.0) if len(times) <= len(over) else (1.0, float(over))


def _shown(given: str) -> str:
    return re.sub(r" \*\* 1(?![0-9.])", "", given)


def from_quantity(q: Any, dimension: str, units: str) -> float:
    """The magnitude of a pint Quantity, of any registry, in the unit `UNIT_NAMES[dimension][units]`.

    >>> from_quantity(registry().Quantity(12, "foot"), "length", "in")
    144.0
    """
    target = UNIT_NAMES[dimension][units]
    magnitude = q.magnitude
    if getattr(magnitude, "shape", None) == ():
        magnitude = magnitude[()]
    if isinstance(magnitude, bool) or not isinstance(magnitude, (numbers.Real, Decimal)):
        raise UnitError(f"one number in {target} expected, a quantity of {type(magnitude).__name__} given")
    times, over = _factor(_unit_text(q), dimension, units)
    try:
        value = float(magnitude) * times / over
    except (ArithmeticError, ValueError):  # more digits than a float holds, a signalling NaN
        value = math.nan
    if not math.isfinite(value):
        raise UnitError(f"a finite number in {target} expected, {shown(magnitude)} given")
    return value


_INCH_WORDS = ("inch", "foot", "feet", "thou", "mil_length", "yard", "mile", "furlong", "pound", "ounce", "grain", "gallon",
               "stone", "hundredweight")


def quantity_system(q: Any) -> System | None:
    """Whether a quantity's units are of the inch or the metric kind; None where they hold no length or weight.

    >>> quantity_system(registry().Quantity(12, "foot")), quantity_system(registry().Quantity(45, "second"))
    ('in', None)
    """
    names = [name for name, _ in q.unit_items()]
    if any(word in name for name in names for word in _INCH_WORDS) or {"ton", "short_ton", "long_ton"} & set(names):
        return "in"
    return "mm" if {"[length]", "[mass]"} & set(q.dimensionality) else None


def to_quantity(value: float, dimension: str, units: str) -> "pint.Quantity[Any]":
    """A plain number as a pint Quantity.

    >>> print(to_quantity(2.25, "length", "in"))
    2.25 inch
    """
    return registry().Quantity(value, UNIT_NAMES[dimension][units])
